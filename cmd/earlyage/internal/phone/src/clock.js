// The hub's time, by the phone's two clocks: the wall clock, which people and
// networks set, and the browser's own, which only runs on, but may stand still
// while the phone sleeps. A wall clock that ran less than the other was put back,
// by that much; one that ran more was put forward or the phone slept, and nobody
// can tell which. So a known step back is corrected, and a step forward shows as
// a jump of the offset at the next contact, where the hub judges it.

const slack = 1000; // ms between the two that mean nothing

export const noClock = { offset: null, seen: 0, doubt: false };

export class Clock {
  #kept;
  #hub = 0; // the hub's time when the two clocks were last read together
  #wall = 0;
  #mono = 0;

  /** kept: offset (ms, null never in contact), seen (the latest wall time that
   * the storage has), doubt (the clock was put back while no page ran). */
  constructor(kept) {
    this.take(kept);
  }

  /** Goes on from what is kept. */
  take(kept) {
    const now = Date.now();
    this.#kept = { ...kept, doubt: kept.doubt || now < kept.seen - slack };
    this.#set(Math.max(now, this.#kept.doubt ? kept.seen : 0) + (kept.offset ?? 0));
  }

  #set(hub) {
    this.#hub = hub;
    this.#wall = Date.now();
    this.#mono = performance.now();
  }

  /** The hub has told its time, in ms; trip is how long question and answer took. */
  contact(at, trip) {
    this.#set(at + trip / 2);
    this.#kept = { offset: this.#hub - this.#wall, seen: this.#wall, doubt: false };
    return this.kept();
  }

  /** Reads both clocks; tells whether what is kept has changed by a step back. */
  look() {
    const back = performance.now() - this.#mono - (Date.now() - this.#wall);
    if (back <= slack) {
      this.#kept.seen = Math.max(this.#kept.seen, Date.now());
      return false;
    }
    this.#set(this.now());
    if (this.#kept.offset !== null) this.#kept.offset = this.#hub - this.#wall;
    this.#kept.seen = this.#wall;
    return true;
  }

  now() {
    return this.#hub + Math.max(performance.now() - this.#mono, Date.now() - this.#wall);
  }

  kept() {
    return { ...this.#kept };
  }

  get doubt() {
    return this.#kept.doubt;
  }

  /** Hub time minus phone time for an entry made now; null: not known. */
  offset() {
    this.look();
    return this.#kept.doubt ? null : this.#kept.offset;
  }
}
