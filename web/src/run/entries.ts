// What is read and noted during a run: the log's speed by one big stepper, the rest digit by digit, and who does what.
import { onPress } from "../capture/press";
import type { Store } from "../capture/store";
import type { KeptTap } from "../capture/tap";
import type { Pressed } from "../outbox";
import type { Laptop } from "./answer";
import { Digits } from "./digits";
import type { Run } from "./model";
import { made, part, write } from "./parts";
import { placeWords } from "./words";

const ROLES = ["helm", "timed_by", "noted_by"] as const;
const NUMBERS = ["log_start", "log_stop", "rpm", "compass"] as const;
const NOTE = "who and how";

type Name = (typeof NUMBERS)[number];
type Note = (reading: Pick<Pressed, "kind" | "value">, at: number) => void;

export class Entries {
  private speed = 5;
  private step = 0.1;
  private touched = false;
  private named = false;
  private run: string | undefined;
  private store: Store | undefined;
  private open: Run | undefined;
  private readonly digits: Record<Name, Digits>;

  constructor(private readonly note: Note) {
    const shape = (label: string, whole: number, decimals: number) => ({ label, whole, decimals });
    this.digits = {
      log_start: new Digits(part("log_start"), shape("Distance counter at the start, miles", 4, 2)),
      log_stop: new Digits(part("log_stop"), shape("Distance counter at the stop, miles", 4, 2)),
      rpm: new Digits(part("rpm"), shape("Engine speed, revolutions a minute", 4, 0)),
      compass: new Digits(part("compass"), shape("Compass course steered, degrees", 3, 0)),
    };
    for (const name of NUMBERS) onPress(part(`note-${name}`), (at) => this.note({ kind: name, value: this.digits[name].text }, at));
    onPress(part("slower"), () => this.stepped(-1));
    onPress(part("faster"), () => this.stepped(1));
    onPress(part("read"), (at) => this.note({ kind: "speed", value: this.text }, at));
    for (const name of [...ROLES, "group"]) part<HTMLInputElement>(name).addEventListener("change", () => this.changed(name));
    part("remark-send").addEventListener("click", () => this.remark());
    this.stepped(0);
  }

  /** Who notes, as it goes with every tap. */
  get notedBy(): string {
    return part<HTMLInputElement>("noted_by").value.trim();
  }

  /** What holds for the whole run, noted at its start. */
  get standing(): readonly (readonly [string, string])[] {
    const filled = [...ROLES, "group"].map((name) => [name, part<HTMLInputElement>(name).value.trim()] as const);
    return filled.filter(([, value]) => value !== "");
  }

  /** Fill in what was typed before. */
  async restore(store: Store): Promise<void> {
    this.store = store;
    const typed = await store.noted<Record<string, string>>(NOTE);
    for (const [name, value] of Object.entries(typed ?? {})) part<HTMLInputElement>(name).value = value;
  }

  /** Follow the run that is being made, and what the laptop knows of the trial. */
  follow(open: Run | undefined, laptop: Laptop | undefined): void {
    this.open = open;
    if (laptop) {
      this.step = laptop.trial.speed_resolution_kn;
      this.names(laptop.people);
    }
    const last = open?.speeds.at(-1)?.value ?? laptop?.runs.at(-1)?.last_reading_kn;
    if (!this.touched && last != null) this.speed = Number(last);
    if (open?.id !== this.run) {
      this.run = open?.id;
      this.preset(laptop);
    }
    this.stepped(0);
    this.readings(open);
    for (const name of NUMBERS) {
      const tap = open?.single.get(name);
      write(`state-${name}`, tap ? `Noted: ${tap.value}, ${placeWords(tap.where)}.` : "Not noted.");
    }
  }

  /** Offer the engine settings that were named before, each as one press. */
  offer(runs: readonly Run[], laptop: Laptop | undefined): void {
    const labels = [...new Set([...(laptop?.runs ?? []), ...runs].map((run) => run.group).filter((label) => label !== ""))];
    const box = part<HTMLInputElement>("group");
    if (!this.named && !box.value && labels.length > 0) box.value = laptop?.runs.at(-1)?.group ?? labels.at(-1) ?? "";
    this.named ||= labels.length > 0;
    part("settings").replaceChildren(
      ...labels.map((label) => {
        const button = Object.assign(made("button", "big-press", label), { type: "button" });
        button.setAttribute("aria-pressed", `${box.value.trim() === label}`);
        button.addEventListener("click", () => {
          box.value = label;
          this.changed("group");
          this.offer(runs, laptop);
        });
        return button;
      }),
    );
  }

  private get text(): string {
    const decimals = Math.max(0, Math.ceil(-Math.log10(this.step) - 1e-9));
    return this.speed.toFixed(decimals);
  }

  private stepped(by: number): void {
    if (by) this.touched = true;
    this.speed = Math.max(0, Math.round((this.speed + by * this.step) / this.step) * this.step);
    write("speed", this.text);
    write("slower", `− ${this.step}`);
    write("faster", `+ ${this.step}`);
  }

  /** Before a run nothing is known better than what the last one ended with. */
  private preset(laptop: Laptop | undefined): void {
    const last = laptop?.runs.at(-1);
    if (last?.log_stop_nm != null) {
      this.digits.log_start.set(last.log_stop_nm);
      this.digits.log_stop.set(last.log_stop_nm + (laptop?.trial.length_nm ?? 0));
    }
    if (last?.rpm != null) this.digits.rpm.set(last.rpm);
    const alike = laptop?.runs.filter((run) => run.direction === this.open?.direction).at(-1);
    const compass = alike?.heading_compass_deg ?? laptop?.trial.course_true_deg;
    if (compass != null) this.digits.compass.set(alike || this.open?.direction !== "back" ? compass : (compass + 180) % 360);
  }

  private readings(open: Run | undefined): void {
    const list = (open?.speeds ?? []).map((tap: KeptTap) => {
      const item = made("li", `place ${tap.where}`, tap.value);
      item.append(made("span", "unseen", ` ${placeWords(tap.where)}`));
      return item;
    });
    part("readings").replaceChildren(...list);
    const here = open?.speeds.filter((tap) => tap.where !== "laptop").length ?? 0;
    const there = (open?.speeds.length ?? 0) - here;
    const words = [there ? `${there} on the laptop` : "", here ? `${here} kept here` : ""].filter(Boolean).join(", ");
    write("readings-where", words ? `Readings: ${words}.` : "No reading yet.");
  }

  private names(people: readonly string[]): void {
    const list = part("people");
    if (list.childElementCount === people.length) return;
    list.replaceChildren(...people.map((name) => Object.assign(document.createElement("option"), { value: name })));
  }

  private changed(name: string): void {
    const typed = Object.fromEntries([...ROLES, "group"].map((each) => [each, part<HTMLInputElement>(each).value.trim()]));
    void this.store?.note(NOTE, typed).catch(() => undefined); // only a convenience; the taps carry it
    if (this.open) this.note({ kind: name, value: typed[name] ?? "" }, Date.now());
  }

  private remark(): void {
    const box = part<HTMLInputElement>("remark");
    const value = box.value.trim();
    if (!value) return;
    this.note({ kind: "remark", value }, Date.now());
    box.value = "";
  }
}
