// What the screens may ask of the engine. Times are milliseconds of Unix time by
// the phone's own clock where nothing else is said.

/** What became of an entry: still on the phone alone; acknowledged by the hub's
 * server; in the record, by the hub's receipt; refused by the hub, with a reason. */
export type Fate = "waiting" | "sent" | "folded" | "aside";

export interface Entry {
  readonly number: number; // from 1, without gaps; a number of an entry that never left may change
  readonly id: string;
  readonly wall: string; // "": the whole site
  readonly kind: string;
  readonly data: any;
  readonly at: number | null; // when it happened, where the entry says so in one moment
  readonly entered: number; // when it was recorded
  readonly fate: Fate;
  readonly reason: string; // of fate aside: the hub's words
}

/** What the hub tells this phone's person: notice.Body of the hub. missed: it was
 * told while the phone was away, and is taken from the snapshot: first is empty, and
 * text is the hub's own, in English. */
export interface Told {
  readonly id: string; // "": not known
  readonly what: "raised" | "cleared" | "summary" | "sheet" | "test";
  readonly alerts?: readonly string[];
  readonly kind?: string;
  readonly site?: string;
  readonly wall?: string;
  readonly priority?: string;
  readonly urgent?: boolean;
  readonly at: string;
  readonly first: string;
  readonly plain?: string;
  readonly text?: string;
  readonly missed?: boolean;
}

export interface Joined {
  readonly site: string;
  readonly device: string;
  readonly person: string;
  readonly roles: string[];
  readonly hubKey: string;
}

/** What is wrong now, as codes:
 * not-admitted  the hub does not know this phone's key any more; everything is kept
 * full          there is no room to record safely
 * damaged       the phone's storage cannot be written
 * clock         the phone's clock was changed while nobody could tell by how much
 * no-hub        the server is there, and no hub answers behind it */
export type Trouble = "not-admitted" | "full" | "damaged" | "clock" | "no-hub";

export interface State {
  readonly joined: Joined | null;
  readonly joining: boolean; // a code is being redeemed
  readonly link: "up" | "down";
  readonly offsetMs: number | null; // hub time minus phone time; null: not known
  readonly outbox: readonly Entry[]; // in order of number: all that is not folded, all set aside, the newest 100 folded
  readonly waiting: number; // entries that are on this phone alone
  readonly told: readonly Told[]; // what is to be shown, the most urgent first
  readonly sheet: any; // the hub's last snapshot of the site; null: none yet
  readonly sheetAge: number; // ms since it was asked for; never too small
  readonly persisted: boolean; // the browser promised not to clear the storage by itself
  readonly space: { readonly used: number; readonly quota: number }; // bytes
  readonly canVibrate: boolean;
  readonly canSound: boolean; // a sound may be played now: the person has touched the page
  readonly troubles: readonly Trouble[];
  readonly update: boolean; // a newer page is ready: update() goes over to it
}

/** Codes of errors: full, damaged, not-joined, not-allowed (role, or a kind that
 * is not a person's), invalid (wall or data that cannot be recorded), unknown (no such
 * number), no-link, not-admitted, joined (it has joined already), code (the invitation
 * is used up or too old), refused (by the hub, in its words), insecure (openEngine: the page was not loaded by https). */
export class EngineError extends Error {
  readonly code: string;
}

export interface Engine {
  readonly state: State;
  /** fn is called after each change, at most every 50 ms; returns what ends it. */
  onChange(fn: (state: State) => void): () => void;
  /** fn gets the hub's word of an alert as it comes: the parsed event. */
  onAlert(fn: (event: any) => void): () => void;
  /** The hub's time as well as it is known; never behind a clock that was put back. */
  now(): number;
  mayRecord(kind: string): boolean;
  /** The page has shown a message, and its person could see it: recorded once. False:
   * it was before. */
  shown(message: Told): Promise<boolean>;
  /** Messages while the page is closed: whether they come, or a change that a press
   * asked for. none: the browser cannot; denied: its person said no to it. */
  push(change?: "state" | "on" | "off"): Promise<"none" | "denied" | "off" | "on">;
  /** Redeems a code; name is the wanted name of the device, "" for any. */
  join(code: string, name?: string): Promise<Joined>;
  /** Is resolved when the entry is on the phone's storage. wall "" is the whole site. */
  record(wall: string, kind: string, data?: object, when?: { at?: Date | number | string }): Promise<number>;
  /** Replaces the whole data of an own entry. */
  amend(number: number, data: object, reason: string): Promise<number>;
  /** Takes an own entry out. */
  withdraw(number: number, reason: string): Promise<number>;
  /** Gets a new snapshot, if the hub can be reached; throws otherwise. */
  refresh(): Promise<any>;
  /** A snapshot that is under 60 s old and names the wall, or throws. */
  ask(wall: string): Promise<any>;
  /** Tries the link now instead of after the pause. */
  hurry(): void;
  /** Entries of devices that this phone was before it joined anew. */
  earlier(): Promise<{ site: string; device: string; outbox: Entry[] }[]>;
  /** Goes over to the newer page. */
  update(): void;
  close(): Promise<void>;
}

export function openEngine(options?: {
  nats?: string; // where the websocket is, "/nats"
  base?: string; // before the paths of the API, ""
  wait?: number; // ms for each answer of the hub, 10 000
  pause?: [number, number]; // shortest and longest ms between two tries, 500 and 15 000
  shell?: boolean; // false: no service worker
}): Promise<Engine>;
