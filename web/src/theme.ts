// Day and night without a reload; the cookie lets the server send the next page in the right theme from its first byte.

export type Theme = "day" | "night";

const YEAR_S = 365 * 24 * 3600;

/** Return the theme that the page shows now. */
export function theme(): Theme {
  return document.documentElement.dataset["theme"] === "night" ? "night" : "day";
}

function show(next: Theme, form: HTMLFormElement): void {
  document.documentElement.dataset["theme"] = next;
  document.cookie = `theme=${next}; path=/; max-age=${YEAR_S}; samesite=strict`;
  const other: Theme = next === "night" ? "day" : "night";
  const value = form.querySelector<HTMLInputElement>("input[name=theme]");
  const button = form.querySelector("button");
  if (value) value.value = other;
  if (button) button.textContent = other === "night" ? "Night" : "Day";
  document.dispatchEvent(new CustomEvent("themechange"));
}

/** Let the button of the slate change the theme in place. */
export function watchTheme(root: ParentNode): void {
  const form = root.querySelector<HTMLFormElement>("form[data-theme-switch]");
  form?.addEventListener("submit", (event) => {
    event.preventDefault();
    show(theme() === "night" ? "day" : "night", form);
  });
}
