// Care for what is being typed: nothing is sent twice, and a page is not left with words in it unasked.

function changed(form: HTMLFormElement): boolean {
  return [...form.elements].some((element) => {
    if (element instanceof HTMLInputElement) {
      if (element.type === "hidden") return false;
      const ticks = element.type === "checkbox" || element.type === "radio";
      return ticks ? element.checked !== element.defaultChecked : element.value !== element.defaultValue;
    }
    return element instanceof HTMLTextAreaElement && element.value !== element.defaultValue;
  });
}

/** Watch every form that changes the workbook. */
export function guardForms(root: ParentNode): void {
  const forms = [...root.querySelectorAll<HTMLFormElement>("form[method=post]:not([data-theme-switch])")];
  let sending = false;
  for (const form of forms) {
    form.addEventListener("submit", (event) => {
      if (sending) event.preventDefault();
      sending = true;
    });
  }
  // A page shown again by the back button is ready to send again.
  window.addEventListener("pageshow", () => {
    sending = false;
  });
  window.addEventListener("beforeunload", (event) => {
    if (!sending && forms.some(changed)) event.preventDefault();
  });
  root.querySelector<HTMLElement>(".wrong")?.focus();
}
