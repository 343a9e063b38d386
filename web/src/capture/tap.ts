// What a tap is: one press or reading made on a capture page, with the time of the press and what is known of the clock.

/** Where a tap is by now: on this device only, on the laptop, or refused there (and still on this device). */
export type Where = "here" | "laptop" | "refused";

export interface Tap {
  readonly id: string;
  readonly trial_id: number;
  readonly run_id: string;
  readonly page: string;
  readonly kind: string;
  readonly value: string;
  /** Wall clock of this device at the press, in milliseconds since 1970. */
  readonly pressed_at_ms: number;
  /** Laptop's clock minus this device's, and its standard uncertainty; null while never measured. */
  readonly clock_offset_ms: number | null;
  readonly clock_offset_u_ms: number | null;
  readonly by: string;
}

export interface KeptTap extends Tap {
  /** Order in which it was kept on this device. */
  readonly seq: number;
  readonly where: Where;
  /** What the laptop said when it refused. */
  readonly words: string;
}

/** Return a random identity; plain http has no `randomUUID`. */
export function newId(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = ((bytes[6] ?? 0) & 0x0f) | 0x40;
  bytes[8] = ((bytes[8] ?? 0) & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}
