// The lower half of the run page: what the laptop made of the runs, the runs themselves, and every tap with its place.
import type { KeptTap } from "../capture/tap";
import type { Laptop } from "./answer";
import { elapsedOf, type Run } from "./model";
import { made, part } from "./parts";
import { clockTime, placeWords, stopwatch, tapWords } from "./words";

function placed(taps: readonly KeptTap[]): HTMLElement {
  const where = taps.some((tap) => tap.where === "refused") ? "refused" : taps.some((tap) => tap.where === "here") ? "here" : "laptop";
  return made("span", `place ${where}`, placeWords(where));
}

function resultOf(group: Laptop["groups"][number], several: boolean): HTMLElement {
  const box = made("div", "answer");
  const name = several ? `Log factor, ${group.label || "other runs"}` : "Log factor";
  if (!group.factor) {
    box.append(made("span", "", several ? `${name}: none yet` : "No factor yet"), made("p", "more", group.missing));
    return box;
  }
  const big = made("span", "big", `${group.factor} `);
  big.append(made("span", "pm", `± ${group.plus_minus}`));
  box.append(made("span", "", name), big, made("p", "more", `The log reads ${group.says}. By hand: ${group.hand}. From ${group.runs} runs.`));
  return box;
}

/** Show the factor of each engine setting, or that the laptop has still to work it out. */
export function showResult(laptop: Laptop | undefined, runs: readonly Run[]): void {
  const place = part("result");
  const unsent = runs.filter((run) => run.kept && run.taps.some((tap) => tap.where === "here")).length;
  const now = runs.at(-1)?.group ?? laptop?.runs.at(-1)?.group;
  const groups = [...(laptop?.groups ?? [])].sort((one, other) => Number(other.label === now) - Number(one.label === now));
  const boxes = groups.map((group) => resultOf(group, groups.length > 1));
  const waiting = unsent ? [made("p", "waiting", `${unsent === 1 ? "1 run" : `${unsent} runs`} more: waiting for the laptop to work it out.`)] : [];
  place.replaceChildren(...boxes, ...waiting);
}

function rowOf(words: string, more: string, place: HTMLElement): HTMLElement {
  const row = made("li");
  const name = made("span", "name", words);
  name.append(made("span", "num", ` ${more}`));
  row.append(name, place);
  return row;
}

/** List the runs: those of this device, and those that only the laptop knows. */
export function showRuns(laptop: Laptop | undefined, runs: readonly Run[], faults: Readonly<Record<string, string>>): void {
  const own = new Set(runs.map((run) => run.id));
  const rows = (laptop?.runs ?? [])
    .filter((run) => !own.has(run.id))
    .map((run) => rowOf(`${run.direction} ${run.group}`.trim(), stopwatch(run.elapsed_s * 1000), made("span", "place laptop", "on the laptop")));
  for (const run of runs) {
    if (!run.kept && !run.dropped) continue;
    const words = `${run.direction} ${run.group}`.trim() + (run.dropped ? ", void" : "");
    const readings = run.speeds.map((tap) => tap.value).join(" ");
    const row = rowOf(words, `${stopwatch(elapsedOf(run, Date.now()))}${readings ? ` · ${readings}` : ""}`, placed(run.taps));
    const left = run.kept && laptop?.open.find((each) => each.run_id === run.id);
    const reasons = left ? left.reasons || faults[run.id] : "";
    if (reasons) row.append(made("p", "said", `Not among the runs of the trial: ${reasons}`));
    rows.push(row);
  }
  part("runs").replaceChildren(...rows);
  part("no-runs").hidden = rows.length > 0;
}

/** List every tap with its time and where it is, newest first. */
export function showTaps(taps: readonly KeptTap[]): void {
  const rows = [...taps].reverse().map((tap) => {
    const row = rowOf(tapWords(tap), clockTime(tap.pressed_at_ms), made("span", `place ${tap.where}`, placeWords(tap.where)));
    row.dataset["tap"] = tap.id;
    row.dataset["at"] = `${tap.pressed_at_ms}`;
    row.dataset["where"] = tap.where;
    if (tap.words) row.append(made("p", "said", tap.words));
    return row;
  });
  part("taps").replaceChildren(...rows);
}

/** Say what runs other devices are timing. */
export function showOthers(laptop: Laptop | undefined, runs: readonly Run[]): void {
  const own = new Set(runs.map((run) => run.id));
  const others = (laptop?.open ?? []).filter((each) => !own.has(each.run_id));
  part("others").replaceChildren(...others.map((each) => made("p", "", `${each.device} is timing a run: ${each.words}.`)));
}
