// The clock of the slate: goes on from the server's time, so that a phone set wrong does not mislead.

const MINUTE = 60_000;

function hoursAndMinutes(instant: number): string {
  return new Date(instant).toISOString().slice(11, 16);
}

/** Keep every `[data-utc]` clock of the page going. */
export function runClock(root: ParentNode): void {
  const place = root.querySelector<HTMLElement>("[data-utc]");
  const utc = place?.querySelector<HTMLElement>("[data-clock=utc]");
  if (!place || !utc) return;
  const ship = place.querySelector<HTMLElement>("[data-clock=ship]");
  const began = Date.parse(place.dataset["utc"] ?? "");
  const offset = Number(place.dataset["offset"] ?? "0") * MINUTE;
  if (Number.isNaN(began)) return;
  const since = performance.now();
  const tick = (): void => {
    const now = began + performance.now() - since;
    utc.textContent = hoursAndMinutes(now);
    if (ship) ship.textContent = hoursAndMinutes(now + offset);
    window.setTimeout(tick, MINUTE - (now % MINUTE) + 20);
  };
  tick();
}
