// The base script of every page. Everything works without it; it adds the live clock, the theme without a reload, the
// charts, and the care for a form that must not be sent twice or lost.
import { guardForms } from "./entry";
import { fillInline } from "./inline";
import { foldOnPhone } from "./folds";
import { runClock } from "./clock";
import { watchTheme } from "./theme";
import { scrollSections } from "./sections";

runClock(document);
watchTheme(document);
guardForms(document);
foldOnPhone(document);
scrollSections(document);
void fillInline(document);

const places = document.querySelectorAll<HTMLElement>("[data-chart]");
if (places.length > 0) {
  const seen = new IntersectionObserver(
    (entries) => {
      if (!entries.some((entry) => entry.isIntersecting)) return;
      seen.disconnect();
      void import("./charts").then(({ drawCharts }) => drawCharts(document));
    },
    { rootMargin: "600px" },
  );
  for (const place of places) seen.observe(place);
}
