// How times, taps and places are written on the run page.
import type { KeptTap, Where } from "../capture/tap";
import type { Count, Link } from "../outbox";

const NAMES: Readonly<Record<string, string>> = {
  start: "START",
  stop: "STOP",
  speed: "Log read",
  log_start: "Counter at start",
  log_stop: "Counter at stop",
  rpm: "Engine rpm",
  compass: "Compass course",
  group: "Engine setting",
  direction: "Direction",
  helm: "Helm",
  timed_by: "Timed by",
  noted_by: "Noted by",
  remark: "Remark",
  keep: "Run kept",
  drop: "Run void",
  strike: "Press taken back",
};

/** Write a time as minutes and seconds with tenths, hours where needed. */
export function stopwatch(ms: number): string {
  const tenths = Math.floor(ms / 100);
  const seconds = ((tenths % 600) / 10).toFixed(1).padStart(4, "0");
  const minutes = Math.floor(tenths / 600);
  return minutes < 60 ? `${minutes}:${seconds}` : `${Math.floor(minutes / 60)}:${`${minutes % 60}`.padStart(2, "0")}:${seconds}`;
}

/** Write the time of day of this device, to the second. */
export function clockTime(at_ms: number): string {
  return new Date(at_ms).toLocaleTimeString("en-GB", { hour12: false });
}

/** Say where a tap is. */
export function placeWords(where: Where): string {
  return { here: "kept here", laptop: "on the laptop", refused: "kept here, refused by the laptop" }[where];
}

/** Say what a tap is. */
export function tapWords(tap: KeptTap): string {
  if (tap.kind === "strike") return "Press taken back";
  const name = NAMES[tap.kind] ?? tap.kind;
  return tap.value ? `${name} ${tap.value}` : name;
}

function taps(count: number): string {
  return count === 1 ? "1 tap" : `${count} taps`;
}

/** Say how it stands, in one line. */
export function standingWords(count: Count, link: Link): string {
  const refused = count.refused ? ` ${taps(count.refused)} refused by the laptop and kept here: see Every tap.` : "";
  if (link === "let go") {
    return `The laptop has let this phone go. ${count.here ? `${taps(count.here)} kept here.` : "Nothing waits here."}${refused}`;
  }
  if (count.here === 0) return link === "away" ? `Laptop not in reach. Nothing waits here.${refused}` : `All taps are on the laptop.${refused}`;
  if (link === "refusing") return `${taps(count.here)} kept here; the laptop does not take them.${refused}`;
  return `${taps(count.here)} kept here, ${link === "away" ? "waiting for the laptop." : "going to the laptop."}${refused}`;
}
