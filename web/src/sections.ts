// On a phone the section bar is longer than the screen: bring the present section into view.

/** Scroll the section bar, not the page, to the present section. */
export function scrollSections(root: ParentNode): void {
  const bar = root.querySelector<HTMLElement>(".sections ul");
  const here = bar?.querySelector<HTMLElement>("[aria-current]");
  if (bar && here) bar.scrollLeft = here.offsetLeft - (bar.clientWidth - here.offsetWidth) / 2;
}
