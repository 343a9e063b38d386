// What the laptop tells the page of the trial, and what the page shows of it.

export interface Laptop {
  readonly trial: {
    readonly id: number;
    readonly title: string;
    readonly instrument: string;
    readonly course: string;
    readonly length_nm: number;
    readonly course_true_deg: number | null;
    readonly speed_resolution_kn: number;
    readonly distance_resolution_nm: number;
    readonly withdrawn: boolean;
    readonly demo: boolean;
  };
  readonly runs: readonly {
    readonly id: string;
    readonly number: number;
    readonly direction: string;
    readonly elapsed_s: number;
    readonly group: string;
    readonly factor: string;
    readonly last_reading_kn: number | null;
    readonly log_stop_nm: number | null;
    readonly rpm: number | null;
    readonly heading_compass_deg: number | null;
  }[];
  /** One an engine setting, in the order of running. */
  readonly groups: readonly {
    readonly label: string;
    readonly runs: number;
    readonly factor: string;
    readonly plus_minus: string;
    readonly value: number | null;
    readonly hand: string;
    readonly says: string;
    /** What keeps these runs from giving a factor; empty where there is one. */
    readonly missing: string;
  }[];
  readonly open: readonly {
    readonly run_id: string;
    readonly device: string;
    readonly words: string;
    /** Why it is not among the runs although it was kept. */
    readonly reasons: string;
  }[];
  readonly people: readonly string[];
}

/** Tell what the laptop says of this trial from anything else. */
export function isLaptop(data: unknown, trial: number): data is Laptop {
  const said = data as Partial<Laptop> | null;
  return said?.trial?.id === trial && Array.isArray(said.runs) && Array.isArray(said.people);
}
