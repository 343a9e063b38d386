// Long working folds on a phone, so that what comes after it is not far away; on paper everything is open.

const PHONE = "(max-width: 40rem)";

/** Fold what may fold on a phone, except where the answer stands in it; open all of it for printing. */
export function foldOnPhone(root: ParentNode): void {
  const folds = [...root.querySelectorAll<HTMLDetailsElement>("details[data-folds]")];
  if (window.matchMedia(PHONE).matches) {
    for (const fold of folds) fold.open = fold.querySelector("[data-result]") !== null;
  }
  for (const link of root.querySelectorAll<HTMLElement>("[data-opens]")) {
    link.addEventListener("click", () => {
      const fold = document.getElementById(link.dataset["opens"] ?? "");
      if (fold instanceof HTMLDetailsElement) fold.open = true;
    });
  }
  window.addEventListener("beforeprint", () => {
    for (const fold of folds) fold.open = true;
  });
}
