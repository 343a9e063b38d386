// A run is what its taps say. The page remembers nothing else, so that it finds itself again after the browser died.
import type { KeptTap } from "../capture/tap";

export type Direction = "out" | "back";

export interface Run {
  readonly id: string;
  readonly direction: Direction;
  readonly group: string;
  readonly start: KeptTap | undefined;
  readonly stop: KeptTap | undefined;
  readonly speeds: readonly KeptTap[];
  readonly single: ReadonlyMap<string, KeptTap>;
  readonly kept: boolean;
  readonly dropped: boolean;
  /** All taps that count, in the order of pressing. */
  readonly taps: readonly KeptTap[];
}

/** Return the taps that nobody struck out; a strike may itself be struck out by a later one. */
function counting(taps: readonly KeptTap[]): KeptTap[] {
  const struck = new Set<string>();
  for (const tap of [...taps].reverse()) {
    if (tap.kind === "strike" && !struck.has(tap.id)) struck.add(tap.value);
  }
  return taps.filter((tap) => tap.kind !== "strike" && !struck.has(tap.id));
}

/** The last start counts, with the first stop after it, as the laptop reckons too. */
function runOf(id: string, all: readonly KeptTap[]): Run {
  const taps = counting(all);
  const last = (kind: string): KeptTap | undefined => taps.filter((tap) => tap.kind === kind).at(-1);
  const start = last("start");
  const end = taps.filter((tap) => tap.kind === "keep" || tap.kind === "drop").at(-1)?.kind;
  return {
    id,
    direction: last("direction")?.value === "back" ? "back" : "out",
    group: last("group")?.value ?? "",
    start,
    stop: start && taps.find((tap) => tap.kind === "stop" && tap.seq > start.seq),
    speeds: taps.filter((tap) => tap.kind === "speed"),
    single: new Map(taps.map((tap) => [tap.kind, tap])),
    kept: end === "keep",
    dropped: end === "drop",
    taps,
  };
}

/** Return the runs of a trial as this device knows them, oldest first. */
export function runsOf(taps: readonly KeptTap[]): Run[] {
  const byRun = new Map<string, KeptTap[]>();
  for (const tap of taps) byRun.set(tap.run_id, [...(byRun.get(tap.run_id) ?? []), tap]);
  return [...byRun].map(([id, own]) => runOf(id, own)).filter((run) => run.start || run.kept || run.dropped);
}

/** Return the run that is being made: begun, and neither kept nor void. */
export function openRun(runs: readonly Run[]): Run | undefined {
  return runs.filter((run) => run.start && !run.kept && !run.dropped).at(-1);
}

/** Return how long a run took or has taken, in milliseconds of this device's clock. */
export function elapsedOf(run: Run, now_ms: number): number {
  return run.start ? Math.max(0, (run.stop?.pressed_at_ms ?? now_ms) - run.start.pressed_at_ms) : 0;
}

/** Return by how much the clock of this device was set between start and stop, if that is beyond doubt. */
export function clockWasSet(run: Run): number | undefined {
  const [from, to] = [run.start, run.stop];
  if (from?.clock_offset_ms == null || to?.clock_offset_ms == null) return undefined;
  const change = to.clock_offset_ms - from.clock_offset_ms;
  const doubt = 3 * Math.hypot(from.clock_offset_u_ms ?? 0, to.clock_offset_u_ms ?? 0) + 100;
  return Math.abs(change) > doubt ? change : undefined;
}

const NOT_TAKEN_BACK = new Set(["keep", "direction", "group", "helm", "timed_by", "noted_by"]);

/** Return the last press of a run that can be taken back. */
export function lastPress(run: Run): KeptTap | undefined {
  return run.taps.filter((tap) => !NOT_TAKEN_BACK.has(tap.kind)).at(-1);
}

export interface Pace {
  readonly length_nm: number | null;
  /** Elapsed times of earlier runs, newest last. */
  readonly earlier: readonly { direction: string; group: string; elapsed_s: number }[];
  readonly factor: number | null;
}

/** Return how long the run will take in all, in milliseconds, and from what that is known. */
export function expectedOf(run: Run, pace: Pace): { readonly ms: number; readonly from: string } | undefined {
  const alike = pace.earlier.filter((each) => each.direction === run.direction && each.group === run.group).at(-1);
  if (alike) return { ms: alike.elapsed_s * 1000, from: "as the run before" };
  const read = Number(run.speeds.at(-1)?.value);
  if (!pace.length_nm || !(read > 0.2)) return undefined;
  return { ms: (pace.length_nm / (read * (pace.factor ?? 1))) * 3_600_000, from: "by the last reading, without stream" };
}
