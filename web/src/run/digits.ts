// A number set digit by digit with presses large enough for cold hands: no keyboard comes up and hides the page.

interface Shape {
  /** Digits before and after the point. */
  readonly whole: number;
  readonly decimals: number;
  readonly label: string;
}

const PLACES: Readonly<Record<number, string>> = {
  4: "ten thousands",
  3: "thousands",
  2: "hundreds",
  1: "tens",
  0: "ones",
  [-1]: "tenths",
  [-2]: "hundredths",
  [-3]: "thousandths",
};

export class Digits {
  private units = 0;
  private readonly figures: HTMLElement[] = [];

  constructor(
    root: HTMLElement,
    private readonly shape: Shape,
  ) {
    root.classList.add("digits");
    root.setAttribute("role", "group");
    root.setAttribute("aria-label", shape.label);
    for (let place = shape.whole - 1; place >= -shape.decimals; place -= 1) {
      if (place === -1) root.append(Object.assign(document.createElement("span"), { textContent: ".", className: "point" }));
      root.append(this.column(place));
    }
    this.show();
  }

  /** The number with all its decimals, as it would be written down. */
  get text(): string {
    return (this.units / 10 ** this.shape.decimals).toFixed(this.shape.decimals);
  }

  /** Show a number. */
  set(value: number): void {
    const most = 10 ** (this.shape.whole + this.shape.decimals);
    const units = Math.round(value * 10 ** this.shape.decimals);
    this.units = ((units % most) + most) % most;
    this.show();
  }

  private column(place: number): HTMLElement {
    const column = document.createElement("span");
    column.className = "digit";
    const figure = Object.assign(document.createElement("output"), { className: "figure" });
    figure.setAttribute("aria-label", PLACES[place] ?? "digit");
    this.figures.push(figure);
    column.append(this.key("+", place, 1), figure, this.key("−", place, -1));
    return column;
  }

  private key(sign: string, place: number, step: number): HTMLButtonElement {
    const key = Object.assign(document.createElement("button"), { type: "button", textContent: sign });
    key.setAttribute("aria-label", `${PLACES[place] ?? "digit"}, ${step > 0 ? "one more" : "one less"}`);
    // Carries, as the wheels of a counter do.
    key.addEventListener("click", () => {
      const most = 10 ** (this.shape.whole + this.shape.decimals);
      const next = this.units + step * 10 ** (place + this.shape.decimals);
      this.units = ((next % most) + most) % most;
      this.show();
    });
    return key;
  }

  private show(): void {
    const text = `${this.units}`.padStart(this.figures.length, "0");
    this.figures.forEach((figure, at) => (figure.textContent = text[at] ?? "0"));
  }
}
