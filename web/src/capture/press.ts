// The moment of a press, and presses that wet hands and screen readers can make.

/** A touch makes a click as well; the two are one press. */
const SAME_PRESS_MS = 60;

/**
 * Return the wall clock at the moment of an event.
 *
 * The age of the event is taken from the wall clock of now. `performance.timeOrigin + event.timeStamp` is the same on a
 * device that was awake all the time; after a sleep it falls behind, for the steady clock of many devices sleeps too.
 */
export function pressedAt(event: Event): number {
  return Date.now() - Math.max(0, performance.now() - event.timeStamp);
}

/** Act at the first touch: for marks, where every tenth counts and a sliding finger must not undo the press. */
export function onTouch(button: HTMLElement, act: (at_ms: number) => void): void {
  let touched = false;
  button.addEventListener("pointerdown", (event) => {
    if (!event.isPrimary || event.button !== 0) return;
    touched = true;
    act(pressedAt(event));
  });
  for (const end of ["pointerup", "pointercancel"]) {
    window.addEventListener(end, () => {
      if (touched) window.setTimeout(() => (touched = false), SAME_PRESS_MS);
    });
  }
  // Keyboards and screen readers click without touching.
  button.addEventListener("click", (event) => {
    if (!touched) act(pressedAt(event));
  });
}

/** Act on a whole press, with the time of its beginning. */
export function onPress(button: HTMLElement, act: (at_ms: number) => void): void {
  let began: number | undefined;
  button.addEventListener("pointerdown", (event) => {
    began = pressedAt(event);
  });
  button.addEventListener("click", (event) => {
    act(event.detail === 0 || began === undefined ? pressedAt(event) : began);
    began = undefined;
  });
}

/** Answer a press in the hand, where the device can. */
export function buzz(...pattern: number[]): void {
  if ("vibrate" in navigator) navigator.vibrate(pattern);
}

/** Keep the screen on while something runs, where the browser allows it. */
export class Awake {
  private lock: WakeLockSentinel | undefined;
  private wanted = false;

  constructor() {
    document.addEventListener("visibilitychange", () => void this.take());
  }

  /** Say whether the screen is to stay on. */
  want(wanted: boolean): void {
    if (wanted === this.wanted) return;
    this.wanted = wanted;
    if (wanted) void this.take();
    else void this.lock?.release();
  }

  private async take(): Promise<void> {
    if (!this.wanted || document.visibilityState !== "visible" || !("wakeLock" in navigator)) return;
    try {
      this.lock = await navigator.wakeLock.request("screen");
    } catch {
      this.lock = undefined; // a low battery refuses; the times do not depend on it
    }
  }
}
