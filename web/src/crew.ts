// The small pages of the crew link. The join code comes in the fragment of the address, which no server ever sees.
import { watchTheme } from "./theme";

watchTheme(document);

function fillCode(): void {
  const code = document.querySelector<HTMLInputElement>("#code");
  const given = location.hash.slice(1);
  if (!code || !/^[0-9A-Za-z-]{4,16}$/.test(given)) return;
  code.value = given;
  history.replaceState(null, "", location.pathname);
  document.querySelector<HTMLInputElement>("#name")?.focus();
}

fillCode();
window.addEventListener("hashchange", fillCode);
