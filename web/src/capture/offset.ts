// How far the clock of this device is from the laptop's: several questions, and the quickest answer counts most.
import type { Store } from "./store";

const ADDRESS = "/capture/clock.json";
const QUESTIONS = 6;
const PAUSE_MS = 120;
const AGAIN_MS = 60_000;
const PATIENCE_MS = 4000;
/** A quartz clock goes wrong by about 2 s a day; so much does the uncertainty grow with age. */
const DRIFT = 25e-6;
/** The wall clock was set, or the device slept, if it and the steady clock part by more. */
const SET_MS = 50;

export interface Offset {
  /** Laptop's clock minus this device's. */
  readonly ms: number;
  /** Standard uncertainty: the answer may have come from any moment of the round trip. */
  readonly u_ms: number;
  readonly measured_at_ms: number;
}

/** Return the offset of one round trip. */
export function offsetOf(sent_ms: number, got_ms: number, laptop_ms: number): Offset {
  const ms = laptop_ms - (sent_ms + got_ms) / 2;
  return { ms, u_ms: Math.max(1, (got_ms - sent_ms) / 2) / Math.sqrt(3), measured_at_ms: got_ms };
}

/** Return the uncertainty of an offset that was measured a while ago. */
export function aged(offset: Offset, now_ms: number): Offset {
  const drift_ms = Math.abs(now_ms - offset.measured_at_ms) * DRIFT;
  return { ...offset, u_ms: Math.hypot(offset.u_ms, drift_ms) };
}

async function ask(): Promise<Offset> {
  const sent = Date.now();
  const began = performance.now();
  const answer = await fetch(ADDRESS, { cache: "no-store", signal: AbortSignal.timeout(PATIENCE_MS) });
  const took = performance.now() - began;
  if (!answer.ok) throw new Error(`the laptop answered ${answer.status}`);
  const { utc_ms } = (await answer.json()) as { utc_ms: number };
  if (!Number.isFinite(utc_ms)) throw new Error("the laptop named no time");
  return offsetOf(sent, sent + took, utc_ms);
}

export class LaptopClock {
  private best: Offset | undefined;
  private gap = Date.now() - performance.now();

  constructor(private readonly store: Store) {}

  /** Begin with what was measured before, and go on measuring while the page is open. */
  async watch(): Promise<void> {
    this.best = await this.store.noted<Offset>("clock").catch(() => undefined);
    const again = (): void => void this.measure();
    window.setInterval(again, AGAIN_MS);
    window.addEventListener("online", again);
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") again();
    });
    again();
  }

  /** Return what is known of the offset at an instant. */
  at(now_ms: number): Offset | undefined {
    return this.best && aged(this.best, now_ms);
  }

  /** Ask the laptop a few times and keep the best answer. */
  async measure(): Promise<void> {
    const gap = Date.now() - performance.now();
    const wasSet = Math.abs(gap - this.gap) > SET_MS;
    this.gap = gap;
    let found: Offset | undefined;
    for (let question = 0; question < QUESTIONS; question += 1) {
      try {
        const offset = await ask();
        if (!found || offset.u_ms < found.u_ms) found = offset;
      } catch {
        break; // the laptop is away; the taps do not wait for it
      }
      await new Promise((resolve) => window.setTimeout(resolve, PAUSE_MS));
    }
    if (!found) return;
    const before = wasSet ? undefined : this.at(found.measured_at_ms);
    const agrees = before && Math.abs(before.ms - found.ms) <= 3 * Math.hypot(before.u_ms, found.u_ms);
    if (before && agrees && before.u_ms <= found.u_ms) return;
    this.best = found;
    await this.store.note("clock", found).catch(() => undefined);
  }
}
