// Brings a part that takes the server a moment into the page that links to it.

/** Fill every `[data-inline]` with the part of the page it links to; the link stays where that fails. */
export async function fillInline(root: ParentNode): Promise<void> {
  for (const place of root.querySelectorAll<HTMLElement>("[data-inline]")) {
    const answer = await fetch(place.dataset["inline"] ?? "").catch(() => undefined);
    if (!answer?.ok) continue;
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const part = page.getElementById("inline");
    if (part) place.replaceWith(...part.children);
  }
}
