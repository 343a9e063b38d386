// The outbox of every capture page: a tap is kept on this device first, then sent until the laptop has acknowledged it.
// Sending a tap twice does no harm, for the laptop knows it by its identity; so several tabs may send at once.
import { LaptopClock } from "./capture/offset";
import { NotKept, Store, type Verdicts } from "./capture/store";
import { newId, type KeptTap, type Tap, type Where } from "./capture/tap";

const ADDRESS = "/capture/taps";
const BATCH = 100;
const PATIENCE_MS = 10_000;
const SOONEST_MS = 1000;
const LATEST_MS = 30_000;
const REMEMBER_MS = 30 * 24 * 3600 * 1000;

/** How it stands with the laptop. */
export type Link = "quiet" | "sending" | "away" | "let go" | "refusing";

export interface Count {
  readonly here: number;
  readonly refused: number;
}

interface Device {
  readonly id: string;
  readonly name: string;
}

interface Answer {
  readonly acknowledged: readonly string[];
  readonly refused: readonly { readonly id: string; readonly error: string }[];
  readonly run?: unknown;
  readonly outcomes?: readonly Outcome[];
}

/** What became of a run on the laptop, and why it is not among the runs of the trial if it was called whole. */
export interface Outcome {
  readonly run_id: string;
  readonly reasons: readonly string[];
}

/** What a tap needs besides what the outbox knows. */
export type Pressed = Pick<Tap, "run_id" | "kind" | "value" | "pressed_at_ms" | "by">;

function isAnswer(data: unknown): data is Answer {
  const answer = data as Partial<Answer> | null;
  return Array.isArray(answer?.acknowledged) && Array.isArray(answer?.refused);
}

function verdictsOf(answer: Answer): Verdicts {
  const verdicts = new Map<string, { where: Where; words: string }>();
  for (const id of answer.acknowledged) verdicts.set(id, { where: "laptop", words: "" });
  for (const { id, error } of answer.refused) {
    // A tap may be kept and complained of: then it is on the laptop, with words.
    verdicts.set(id, { where: verdicts.has(id) ? "laptop" : "refused", words: error });
  }
  return verdicts;
}

function deviceName(): string {
  const kind = /Android|iPhone|iPad|Windows|Mac OS|Linux/.exec(navigator.userAgent)?.[0] ?? "browser";
  return kind === "Mac OS" ? "Mac" : kind;
}

export class Outbox {
  readonly store = new Store();
  readonly clock = new LaptopClock(this.store);
  link: Link = "quiet";
  count: Count = { here: 0, refused: 0 };

  private device: Device = { id: "", name: "" };
  private readonly tabs = "BroadcastChannel" in window ? new BroadcastChannel("truemile-capture") : undefined;
  private readonly listeners: (() => void)[] = [];
  private sending = false;
  private again = false;
  private failures = 0;
  private timer: number | undefined;

  constructor(
    private readonly page: string,
    private readonly trial: number,
    /** Is given what the laptop says of the trial, and of the runs that it was sent taps of. */
    private readonly news: (run: unknown, outcomes: readonly Outcome[]) => void,
  ) {}

  /** Open the outbox and begin to send what waits; raises NotKept where this device keeps nothing. */
  async open(): Promise<void> {
    let device = await this.store.noted<Device>("device");
    if (!device) {
      device = { id: newId(), name: deviceName() };
      await this.store.note("device", device);
    }
    this.device = device;
    await this.store.forget(Date.now() - REMEMBER_MS);
    this.tabs?.addEventListener("message", () => void this.tell());
    window.addEventListener("online", () => this.soon());
    window.addEventListener("pageshow", () => this.soon());
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") this.soon();
    });
    await this.tell();
    void this.clock.watch();
    this.soon();
  }

  /** Call a function whenever taps or the link have changed. */
  onChange(listener: () => void): void {
    this.listeners.push(listener);
  }

  /** Keep presses made at one go; returns once they are safe on this device, and raises NotKept if they are not. */
  async keep(pressed: readonly Pressed[]): Promise<void> {
    const taps = pressed.map((press): Tap => {
      const offset = this.clock.at(press.pressed_at_ms);
      return {
        ...press,
        id: newId(),
        trial_id: this.trial,
        page: this.page,
        clock_offset_ms: offset?.ms ?? null,
        clock_offset_u_ms: offset?.u_ms ?? null,
      };
    });
    await this.store.keep(taps);
    this.tabs?.postMessage("kept");
    await this.tell();
    this.soon();
  }

  /** Return the taps of this trial in the order they were kept. */
  taps(): Promise<KeptTap[]> {
    return this.store.ofTrial(this.trial);
  }

  /** Send now what waits. */
  soon(): void {
    window.clearTimeout(this.timer);
    this.timer = undefined;
    void this.send();
  }

  /** Take note of how another question to the laptop was answered; 0 for not at all. */
  heard(status: number): void {
    const before = this.link;
    if (status === 401) this.link = "let go";
    else if (status === 0 || status >= 500) this.link = before === "quiet" ? "away" : before;
    else if (status < 400 && (before === "away" || before === "let go")) {
      this.link = "quiet";
      this.failures = 0;
      this.soon();
    }
    if (this.link !== before) void this.tell();
  }

  private async tell(): Promise<void> {
    try {
      this.count = { here: await this.store.count("here"), refused: await this.store.count("refused") };
    } catch (error) {
      if (!(error instanceof NotKept)) throw error;
    }
    for (const listener of this.listeners) listener();
  }

  private async send(): Promise<void> {
    if (this.sending) {
      this.again = true;
      return;
    }
    this.sending = true;
    try {
      do {
        this.again = false;
        await this.sendAll();
      } while (this.again && this.link === "quiet");
    } catch (error) {
      if (!(error instanceof NotKept)) throw error;
      this.later("away");
    } finally {
      this.sending = false;
      await this.tell();
    }
  }

  private async sendAll(): Promise<void> {
    for (;;) {
      const batch = await this.store.waiting(BATCH);
      if (batch.length === 0) {
        if (this.link !== "let go") this.link = "quiet";
        this.failures = 0;
        return;
      }
      if (this.link !== "let go") this.link = "sending";
      const answer = await this.post(batch);
      if (!answer) return;
      await this.store.settle(batch, verdictsOf(answer));
      this.tabs?.postMessage("sent");
      this.link = "quiet";
      this.failures = 0;
      await this.tell();
      this.news(answer.run, answer.outcomes ?? []);
      if (verdictsOf(answer).size === 0) {
        this.later("refusing"); // an answer that names none of them would be asked for for ever
        return;
      }
    }
  }

  private async post(batch: readonly KeptTap[]): Promise<Answer | undefined> {
    const taps = batch.map(({ seq: _seq, where: _where, words: _words, ...tap }) => tap);
    try {
      const answer = await fetch(ADDRESS, {
        method: "POST",
        headers: { "content-type": "application/json", accept: "application/json" },
        body: JSON.stringify({ device: this.device, trial_id: this.trial, taps }),
        cache: "no-store",
        signal: AbortSignal.timeout(PATIENCE_MS),
      });
      const data: unknown = answer.ok ? await answer.json() : undefined;
      if (isAnswer(data)) return data;
      this.later(answer.status === 401 ? "let go" : answer.status >= 500 || answer.status === 429 ? "away" : "refusing");
    } catch {
      this.later("away"); // no answer, or half of one: it is sent again
    }
    return undefined;
  }

  /** Try again after a pause that grows. */
  private later(link: Link): void {
    this.link = link;
    const pause = Math.min(LATEST_MS, SOONEST_MS * 2 ** this.failures) * (0.75 + Math.random() / 2);
    this.failures += 1;
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => void this.send(), pause);
  }
}
