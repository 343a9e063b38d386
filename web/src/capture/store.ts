// The database of the browser: taps, and what a page wants to find again. A tap is kept when its transaction has
// completed with strict durability, that is, when it is on the disk; local storage would lose it if the browser died.
import type { KeptTap, Tap, Where } from "./tap";

const NAME = "truemile-capture";
const TAPS = "taps";
const NOTES = "notes";

/** The device does not keep what it is given; the message says why, in words for the skipper. */
export class NotKept extends Error {}

function wordsOf(error: DOMException | Error | null): string {
  switch (error?.name) {
    case "QuotaExceededError":
      return "the storage of this device is full";
    case "InvalidStateError":
    case "SecurityError":
    case "UnknownError":
    case "VersionError":
      return "this browser does not let the page keep anything (a private window, or storage switched off?)";
    default:
      return `this browser could not write (${error?.name ?? "no reason given"})`;
  }
}

function asked<T>(request: IDBRequest<T>): Promise<T> {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(new NotKept(wordsOf(request.error)));
  });
}

function completed(transaction: IDBTransaction): Promise<void> {
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onerror = () => reject(new NotKept(wordsOf(transaction.error)));
    transaction.onabort = () => reject(new NotKept(wordsOf(transaction.error)));
  });
}

function begun(): IDBOpenDBRequest {
  try {
    return indexedDB.open(NAME, 1);
  } catch (error) {
    throw new NotKept(wordsOf(error as DOMException));
  }
}

function opened(): Promise<IDBDatabase> {
  return new Promise((resolve, reject) => {
    if (!("indexedDB" in window)) {
      reject(new NotKept("this browser has no storage for pages"));
      return;
    }
    const request = begun();
    request.onupgradeneeded = () => {
      const taps = request.result.createObjectStore(TAPS, { keyPath: "seq", autoIncrement: true });
      taps.createIndex("id", "id", { unique: true });
      taps.createIndex("where", "where");
      taps.createIndex("trial", "trial_id");
      request.result.createObjectStore(NOTES);
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(new NotKept(wordsOf(request.error)));
  });
}

/** What the laptop said of each tap of a batch. */
export type Verdicts = ReadonlyMap<string, { readonly where: Where; readonly words: string }>;

export class Store {
  private database: Promise<IDBDatabase> | undefined;

  /** Return the database, opened again if the browser closed it. */
  private open(): Promise<IDBDatabase> {
    this.database ??= opened().then(
      (database) => {
        const forget = (): void => {
          this.database = undefined;
        };
        database.onclose = forget;
        database.onversionchange = () => {
          database.close();
          forget();
        };
        return database;
      },
      (error: unknown) => {
        this.database = undefined;
        throw error;
      },
    );
    return this.database;
  }

  private async begin(name: string, mode: IDBTransactionMode): Promise<IDBTransaction> {
    const database = await this.open();
    try {
      return database.transaction(name, mode, { durability: mode === "readwrite" ? "strict" : "default" });
    } catch (error) {
      this.database = undefined;
      throw new NotKept(wordsOf(error as DOMException));
    }
  }

  /** Keep taps, all or none; returns once they are on the disk. */
  async keep(taps: readonly Tap[]): Promise<void> {
    const transaction = await this.begin(TAPS, "readwrite");
    const done = completed(transaction);
    try {
      for (const tap of taps) transaction.objectStore(TAPS).add({ ...tap, where: "here", words: "" });
    } catch (error) {
      transaction.abort();
      await done.catch(() => undefined);
      throw new NotKept(wordsOf(error as DOMException));
    }
    await done;
  }

  /** Return the taps of a trial in the order they were kept. */
  async ofTrial(trial: number): Promise<KeptTap[]> {
    const taps = (await this.begin(TAPS, "readonly")).objectStore(TAPS).index("trial");
    return asked<KeptTap[]>(taps.getAll(trial));
  }

  /** Return the oldest taps that the laptop does not have. */
  async waiting(most: number): Promise<KeptTap[]> {
    const taps = (await this.begin(TAPS, "readonly")).objectStore(TAPS).index("where");
    return asked<KeptTap[]>(taps.getAll("here", most));
  }

  /** Count the taps that are in a given place. */
  async count(where: Where): Promise<number> {
    return asked((await this.begin(TAPS, "readonly")).objectStore(TAPS).index("where").count(where));
  }

  /** Note what the laptop said. */
  async settle(taps: readonly KeptTap[], verdicts: Verdicts): Promise<void> {
    const transaction = await this.begin(TAPS, "readwrite");
    const done = completed(transaction);
    for (const tap of taps) {
      const verdict = verdicts.get(tap.id);
      if (verdict) transaction.objectStore(TAPS).put({ ...tap, ...verdict });
    }
    await done;
  }

  /** Forget taps that the laptop has had for long. */
  async forget(before_ms: number): Promise<void> {
    const transaction = await this.begin(TAPS, "readwrite");
    const done = completed(transaction);
    const walk = transaction.objectStore(TAPS).index("where").openCursor("laptop");
    walk.onsuccess = () => {
      const cursor = walk.result;
      if (!cursor) return;
      if ((cursor.value as KeptTap).pressed_at_ms < before_ms) cursor.delete();
      cursor.continue();
    };
    await done;
  }

  /** Keep a note of the page under a name. */
  async note(name: string, value: unknown): Promise<void> {
    const transaction = await this.begin(NOTES, "readwrite");
    const done = completed(transaction);
    transaction.objectStore(NOTES).put(value, name);
    await done;
  }

  /** Return a note, or undefined. */
  async noted<T>(name: string): Promise<T | undefined> {
    return asked<T | undefined>((await this.begin(NOTES, "readonly")).objectStore(NOTES).get(name));
  }
}
