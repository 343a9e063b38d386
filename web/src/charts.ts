// Draws each declared chart in the ink of the theme; the interpreter lets it run without evaluating text as code.
import { expressionInterpreter } from "vega-interpreter";
import embed, { type Result, type VisualizationSpec } from "vega-embed";

const drawn = new Map<HTMLElement, Result>();

/** The face of the charts as this page carries it; a specification names the one of the PDF writer. */
const FACES: readonly [string, string] = ["DejaVu Sans Mono", "DejaVu Mono"];

async function draw(place: HTMLElement): Promise<void> {
  const address = new URL(place.dataset["chart"] ?? "", location.href);
  address.searchParams.set("theme", document.documentElement.dataset["theme"] ?? "day");
  const answer = await fetch(address, { headers: { accept: "application/json" } });
  if (!answer.ok) {
    place.textContent = "This chart could not be drawn; its numbers stand below.";
    return;
  }
  const spec = JSON.parse((await answer.text()).replaceAll(...FACES)) as VisualizationSpec;
  drawn.get(place)?.finalize();
  const result = await embed(place, { ...spec, width: "container" } as VisualizationSpec, {
    actions: false,
    ast: true,
    defaultStyle: false,
    expr: expressionInterpreter,
    hover: false,
    renderer: "svg",
    tooltip: false,
  });
  drawn.set(place, result);
  // The place itself carries the one description; what the drawing says of its parts would only be noise.
  place.querySelector("svg")?.setAttribute("aria-hidden", "true");
}

/** Draw every `[data-chart]` of the page, and draw them again when the theme changes. */
export async function drawCharts(root: ParentNode): Promise<void> {
  const places = [...root.querySelectorAll<HTMLElement>("[data-chart]")];
  document.addEventListener("themechange", () => {
    for (const place of places) void draw(place);
  });
  await document.fonts.load(`11px "${FACES[1]}"`);
  await Promise.all(places.map(draw));
}
