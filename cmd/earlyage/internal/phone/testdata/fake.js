// Of the tests: the page on an engine that a test holds in its hand. The clock
// stands where the test puts it; nothing is sent anywhere.
import { mayRecord } from "../src/envelope.js";
import { start } from "../src/app.js";

const real = Date;
let at = null; // ms that the clock shows; null: the real time
window.Date = class extends real {
  constructor(...args) {
    if (args.length) super(...args);
    else super(Date.now());
  }
  static now() {
    return at ?? real.now();
  }
};

class Fake {
  changes = new Set();
  alerts = new Set();
  recorded = []; // [wall, kind, data]
  next = ""; // the code of the next error of record, join or ask
  answer = null; // what ask gives
  base = {
    joined: null, joining: false, link: "up", offsetMs: 0, outbox: [], sheet: null, sheetAge: Infinity, persisted: true,
    space: { used: 2e6, quota: 5e8 }, canVibrate: true, canSound: false, troubles: [], update: false, told: [],
  };
  shownHere = []; // messages that the page says it showed
  pushes = "off";

  get state() {
    return { ...this.base, waiting: this.base.outbox.filter((e) => e.fate === "waiting").length };
  }

  set(change) {
    Object.assign(this.base, change);
    for (const fn of this.changes) fn(this.state);
  }

  clock(ms) {
    at = ms;
  }

  onChange(fn) {
    this.changes.add(fn);
    return () => this.changes.delete(fn);
  }

  onAlert(fn) {
    this.alerts.add(fn);
    return () => this.alerts.delete(fn);
  }

  now() {
    return Date.now() + (this.base.offsetMs ?? 0);
  }

  mayRecord(kind) {
    return mayRecord(kind, this.base.joined?.roles ?? []);
  }

  #fail() {
    if (!this.next) return;
    const err = new Error("the test says " + this.next);
    [err.code, this.next] = [this.next, ""];
    throw err;
  }

  async join(code) {
    this.#fail();
    this.joinedBy = code;
    this.set({ joined: { site: "north", device: "phone-a", person: "p-1", roles: ["foreman"], hubKey: "" } });
    return this.base.joined;
  }

  async record(wall, kind, data = {}, { at: when } = {}) {
    this.#fail();
    const number = Math.max(0, ...this.base.outbox.map((e) => e.number)) + 1;
    const moment = when ?? (Date.parse(data.at ?? data.ended ?? "") || null);
    const e = { number, id: "e" + number, wall, kind, data: structuredClone(data), at: moment, entered: Date.now(), fate: "waiting", reason: "" };
    this.recorded.push({ wall, kind, data: e.data });
    this.set({ outbox: [...this.base.outbox, e] });
    return number;
  }

  amend(number, data, reason) {
    const e = this.base.outbox.find((x) => x.number === number);
    return this.record(e.wall, "record.amended", { target: { source: "/site/north/device/phone-a", id: e.id }, kind: e.kind, data, reason });
  }

  withdraw(number, reason) {
    const e = this.base.outbox.find((x) => x.number === number);
    return this.record(e.wall, "record.voided", { target: { source: "/site/north/device/phone-a", id: e.id }, reason });
  }

  async refresh() {
    return this.base.sheet;
  }

  async ask() {
    this.#fail();
    this.set({ sheet: this.answer ?? this.base.sheet, sheetAge: 1000 });
    return this.base.sheet;
  }

  async shown(message) {
    if (this.shownHere.some((m) => m.id === message.id)) return false;
    this.shownHere.push(message);
    this.set({ told: this.base.told.filter((m) => m.id !== message.id) });
    return true;
  }

  async push(change = "state") {
    this.#fail();
    if (change !== "state") this.pushes = change;
    return this.pushes;
  }

  hurry() {
    this.hurried = true;
  }

  async earlier() {
    return [];
  }

  update() {
    this.updated = true;
  }

  async close() {}
}

window.fake = new Fake();
window.buzzed = [];
navigator.vibrate = (pattern) => window.buzzed.push(pattern) > 0;
if (sessionStorage.getItem("fake")) {
  const { clock, ...state } = JSON.parse(sessionStorage.getItem("fake"));
  at = clock ?? null;
  Object.assign(window.fake.base, state);
}
window.started = start(Promise.resolve(window.fake)).then((app) => (window.app = app));

// Opens the form of putting off, as a press does.
window.later = async () => {
  while (!("still" in document.querySelector(".told").dataset)) await new Promise((ok) => setTimeout(ok, 20));
  document.querySelector('[data-k="told-later"]').click();
};
