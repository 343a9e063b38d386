// Finds the parts of the run page; a missing one is a fault of the page and must be loud.

/** Return the part of a name. */
export function part<T extends HTMLElement = HTMLElement>(name: string): T {
  const found = document.querySelector<T>(`[data-part="${name}"]`);
  if (!found) throw new Error(`The run page has no part ${name}.`);
  return found;
}

/** Write into a part, only if that changes it: a reader of the screen is told once. */
export function write(name: string, words: string): void {
  const place = part(name);
  if (place.textContent !== words) place.textContent = words;
}

/** Show or hide a part. */
export function show(name: string, visible: boolean): void {
  part(name).hidden = !visible;
}

/** Return a new element with a class and words. */
export function made<K extends keyof HTMLElementTagNameMap>(tag: K, className = "", words = ""): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  if (className) element.className = className;
  if (words) element.textContent = words;
  return element;
}
