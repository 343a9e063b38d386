// The run page: times a run from mark to mark, notes what the instruments show, and says where each tap is.
import { NotKept } from "../capture/store";
import { Awake, buzz, onPress, onTouch } from "../capture/press";
import { newId, type KeptTap } from "../capture/tap";
import { Outbox, type Outcome, type Pressed } from "../outbox";
import { isLaptop, type Laptop } from "./answer";
import { Entries } from "./entries";
import { clockWasSet, elapsedOf, expectedOf, lastPress, openRun, runsOf, type Direction, type Run } from "./model";
import { part, show, write } from "./parts";
import { showOthers, showResult, showRuns, showTaps } from "./lists";
import { clockTime, standingWords, stopwatch, tapWords } from "./words";

/** Two marks nearer than this are one press, made twice. */
const TWICE_MS = 1500;
/** A run shorter than this was hardly one: STOP asks again. */
const SHORT_MS = 20_000;
const SURE_MS = 6000;
const LOOK_MS = 20_000;
/** A finished run can be made void here for so long; later it is withdrawn on the laptop. */
const RECENT_MS = 3600_000;

type Reading = Pick<Pressed, "kind" | "value">;

export class RunPage {
  private readonly outbox: Outbox;
  private readonly entries: Entries;
  private readonly awake = new Awake();
  private taps: KeptTap[] = [];
  private runs: Run[] = [];
  private open: Run | undefined;
  private laptop: Laptop | undefined;
  private direction: Direction = "out";
  private next = newId();
  private lastMark = 0;
  private reasons: Record<string, string> = {};
  private chosen = false;
  private unknown = false;
  private unsure: number | undefined;
  private busy: Promise<void> = Promise.resolve();

  constructor(private readonly trial: number) {
    this.outbox = new Outbox("run", trial, (run, outcomes) => void this.learned(run, outcomes));
    this.entries = new Entries((reading, at) => this.read(reading, at));
  }

  /** Find what was kept, then begin. */
  async begin(): Promise<void> {
    this.listen();
    try {
      const known = await this.outbox.store.noted<Laptop>(`trial ${this.trial}`);
      if (isLaptop(known, this.trial)) this.laptop = known;
      this.reasons = (await this.outbox.store.noted<Record<string, string>>(`reasons ${this.trial}`)) ?? {};
      await this.entries.restore(this.outbox.store);
      this.outbox.onChange(() => void this.look());
      await this.outbox.open();
      part("page").dataset["ready"] = "yes";
    } catch (error) {
      this.notKept(error, "");
      return;
    }
    window.setInterval(() => this.tick(), 100);
    window.setInterval(() => void this.ask(), LOOK_MS);
    document.addEventListener("visibilitychange", () => void this.ask());
    window.addEventListener("online", () => void this.ask());
    await this.ask();
  }

  private listen(): void {
    onTouch(part("start"), (at) => this.start(at));
    onTouch(part("stop"), (at) => this.stop(at));
    onPress(part("keep"), (at) => this.finish("keep", at));
    onPress(part("void"), (at) => this.finish("drop", at));
    onPress(part("undo"), (at) => this.takeBack(at));
    for (const way of ["out", "back"] as const) onPress(part(way), (at) => this.turn(way, at));
  }

  /** Keep what was pressed, in the order of pressing, and say at once if it could not be kept. */
  private press(run: string, at: number, readings: readonly Reading[]): void {
    const by = this.entries.notedBy;
    const pressed = readings.map((reading) => ({ ...reading, run_id: run, pressed_at_ms: at, by }));
    const words = readings.map((reading) => `${tapWords(reading as KeptTap)} at ${clockTime(at)}`)[0] ?? "";
    this.busy = this.busy
      .then(() => this.outbox.keep(pressed))
      .then(
        () => {
          buzz(40);
          show("trouble", false);
        },
        (error: unknown) => this.notKept(error, words),
      );
  }

  private notKept(error: unknown, words: string): void {
    buzz(200, 100, 200);
    if (!(error instanceof NotKept)) console.error(error);
    const why = error instanceof NotKept ? error.message : "the page met a fault of its own";
    const what = words ? `${words} is NOT kept` : "This page cannot keep anything";
    write("trouble", `${what}: ${why}. Write times and readings down on paper.`);
    show("trouble", true);
  }

  private start(at: number): void {
    if (this.open || at - this.lastMark < TWICE_MS) return;
    this.lastMark = at;
    const before = this.entries.standing.map(([kind, value]) => ({ kind, value }));
    this.press(this.next, at, [{ kind: "start", value: "" }, { kind: "direction", value: this.direction }, ...before]);
    this.next = newId();
  }

  private stop(at: number): void {
    const run = this.open;
    if (!run || run.stop || at - this.lastMark < TWICE_MS) return;
    let mark = at;
    if (elapsedOf(run, at) < SHORT_MS) {
      if (this.unsure === undefined) {
        this.unsure = at;
        window.setTimeout(() => this.calm(), SURE_MS);
        write("sure", `Only ${stopwatch(elapsedOf(run, at))} since START. Press STOP again if the run is over.`);
        show("sure", true);
        return;
      }
      mark = this.unsure; // the first press was at the mark; the second only says that it was meant
    }
    this.calm();
    this.lastMark = at;
    this.press(run.id, mark, [{ kind: "stop", value: "" }]);
  }

  private calm(): void {
    this.unsure = undefined;
    show("sure", false);
  }

  private turn(way: Direction, at: number): void {
    this.direction = way;
    this.chosen = true;
    if (this.open && this.open.direction !== way) this.press(this.open.id, at, [{ kind: "direction", value: way }]);
    this.draw();
  }

  private read(reading: Reading, at: number): void {
    const run = this.open ?? (reading.kind === "remark" ? this.runs.at(-1) : undefined);
    if (run) this.press(run.id, at, [reading]);
  }

  private finish(kind: "keep" | "drop", at: number): void {
    if (!this.open || at - this.lastMark < TWICE_MS) return;
    this.lastMark = at; // what follows stands in the same place, and must not be pressed by the same shaking hand
    this.press(this.open.id, at, [{ kind, value: "" }]);
  }

  private takeBack(at: number): void {
    const run = this.open ?? this.runs.at(-1);
    const tap = run && lastPress(run);
    if (!run || !tap) return;
    this.lastMark = 0; // a press that was taken back may be made again at once
    this.press(run.id, at, [run.kept ? { kind: "drop", value: "" } : { kind: "strike", value: tap.id }]);
  }

  /** Look again at what is kept. */
  private async look(): Promise<void> {
    this.taps = await this.outbox.taps().catch(() => this.taps);
    this.runs = runsOf(this.taps);
    const open = openRun(this.runs);
    if (open?.id !== this.open?.id) {
      this.chosen = false;
      this.calm();
    }
    this.open = open;
    if (open) this.direction = open.direction;
    this.preset();
    this.entries.follow(this.open, this.laptop);
    this.entries.offer(this.runs, this.laptop);
    this.draw();
  }

  /** After a run one way comes one the other way, until the hand says otherwise. */
  private preset(): void {
    if (this.open || this.chosen) return;
    const known = new Set(this.laptop?.runs.map((run) => run.id));
    const own = this.runs.filter((run) => run.kept).at(-1);
    const last = own && !known.has(own.id) ? own : (this.laptop?.runs.at(-1) ?? own);
    this.direction = last?.direction === "out" ? "back" : "out";
  }

  /** Ask the laptop how the trial stands. */
  private async ask(): Promise<void> {
    if (document.visibilityState !== "visible") return;
    try {
      const answer = await fetch(`/trials/${this.trial}/run.json`, { cache: "no-store", signal: AbortSignal.timeout(8000) });
      this.outbox.heard(answer.status);
      if (answer.ok) await this.heard(await answer.json());
      this.unknown = answer.status === 404 || answer.status === 422;
      this.drawDoubt();
    } catch {
      this.outbox.heard(0);
    }
  }

  /** Remember why a run is not among those of the trial: only the answer to its taps says it. */
  private async learned(run: unknown, outcomes: readonly Outcome[]): Promise<void> {
    for (const { run_id, reasons } of outcomes) this.reasons[run_id] = reasons.join(" ");
    await this.outbox.store.note(`reasons ${this.trial}`, this.reasons).catch(() => undefined);
    await this.heard(run);
  }

  private async heard(data: unknown): Promise<void> {
    if (!isLaptop(data, this.trial)) return;
    this.laptop = data;
    this.preset();
    this.entries.follow(this.open, data);
    this.entries.offer(this.runs, data);
    this.draw();
    await this.outbox.store.note(`trial ${this.trial}`, data).catch(() => undefined);
  }

  private draw(): void {
    const { open, laptop } = this;
    const running = open !== undefined && !open.stop;
    write("course", laptop ? `${laptop.trial.course}, ${laptop.trial.length_nm.toFixed(3)} nm` : "Course not yet heard from the laptop");
    write("standing", standingWords(this.outbox.count, this.outbox.link));
    part("standing").dataset["link"] = this.outbox.count.here ? "here" : this.outbox.link;
    show("rejoin", this.outbox.link === "let go" && "crew" in document.documentElement.dataset);
    show("demo", laptop?.trial.demo ?? false);
    part("page").dataset["state"] = open ? (running ? "running" : "stopped") : "ready";
    show("start", !open);
    show("stop", running);
    show("ended", open !== undefined && !running);
    show("reading", open !== undefined);
    show("more", open !== undefined);
    const course = laptop?.trial.course_true_deg;
    for (const way of ["out", "back"] as const) {
      part(way).setAttribute("aria-pressed", `${this.direction === way}`);
      const true_deg = course == null ? "" : ` ${`${Math.round(way === "out" ? course : course + 180) % 360}`.padStart(3, "0")}°T`;
      write(`${way}-course`, true_deg);
    }
    this.drawUndo();
    this.drawDoubt();
    const set = open && clockWasSet(open);
    show("clock-set", set !== undefined);
    if (set !== undefined) write("clock-set", `The clock of this phone was set by ${(set / 1000).toFixed(1)} s during the run: its time is not to be trusted.`);
    show("settings", !running && part("settings").childElementCount > 0);
    showResult(laptop, this.runs);
    showRuns(laptop, this.runs, this.reasons);
    showTaps(this.taps);
    showOthers(laptop, this.runs);
    this.awake.want(running);
    this.tick();
  }

  private drawDoubt(): void {
    const withdrawn = this.laptop?.trial.withdrawn ?? false;
    const words = withdrawn ? "This trial was withdrawn: its runs count for nothing." : "The laptop has no such trial over a measured course.";
    show("doubt", withdrawn || this.unknown);
    write("doubt", `${words} Taps are kept all the same.`);
  }

  private drawUndo(): void {
    const run = this.open ?? this.runs.at(-1);
    const tap = run && lastPress(run);
    const soon = tap !== undefined && (this.open !== undefined || Date.now() - tap.pressed_at_ms < RECENT_MS);
    show("undo", soon);
    if (soon) write("undo", run?.kept ? `Make the last run void: ${stopwatch(elapsedOf(run, 0))}` : `Take back: ${tapWords(tap)}`);
  }

  private tick(): void {
    const { open, laptop } = this;
    const now = Date.now();
    write("elapsed", stopwatch(open ? elapsedOf(open, now) : 0));
    if (!open?.start || open.stop) {
      write("expected", open?.stop ? "Stopped. Keep this run, or make it void." : "Press START as the marks come in line.");
      return;
    }
    const earlier = [...(laptop?.runs ?? [])];
    const value = laptop?.groups.find((group) => group.value !== null)?.value ?? null;
    const expected = expectedOf(open, { length_nm: laptop?.trial.length_nm ?? null, earlier, factor: value });
    if (!expected) {
      write("expected", "Read the log to see when the run should end.");
      return;
    }
    const left = open.start.pressed_at_ms + expected.ms - now;
    const when = left > 0 ? `in ${stopwatch(left).slice(0, -2)}` : `${stopwatch(-left).slice(0, -2)} ago`;
    write("expected", `End expected at ${clockTime(now + left)}, ${when}: ${expected.from}.`);
  }
}
