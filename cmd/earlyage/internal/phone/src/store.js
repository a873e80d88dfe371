// The queue in IndexedDB. Each method is one transaction that is on the disk
// when it resolves, or has changed nothing; tabs take turns by the database's own
// locks. A page that ends in the middle of one leaves what was before it.
import { openDB } from "idb";
import * as book from "./book.js";
import { encode, mostBody, renumber, uuid7 } from "./envelope.js";
import { noClock } from "./clock.js";
import { hex } from "./sign.js";
import * as told from "./told.js";
import { EngineError } from "./error.js";

const rootName = "earlyage";
const storeName = (d) => `earlyage/${d.site}/${d.device}`;
const strict = { durability: "strict" };
const ballast = 4 << 20; // bytes
const mostBytes = 32 << 10; // of bodies that are under way at once

/** What stands beside the queues: who this phone is. */
export class Root {
  #base = new Base(rootName, (db) => db.createObjectStore("keep"));

  get(key) {
    return this.#base.run("get " + key, (db) => db.get("keep", key));
  }

  /** Writes all or nothing; a value of undefined takes the key out. */
  set(values) {
    return this.#base.run("set", async (db) => {
      const tx = db.transaction("keep", "readwrite", strict);
      await done(tx, Object.entries(values).map(([k, v]) => (v === undefined ? tx.store.delete(k) : tx.store.put(v, k))));
    });
  }

  close() {
    return this.#base.close();
  }
}

/** The queue of one device. */
export class Store {
  #base;

  constructor(device) {
    this.device = device;
    this.#base = new Base(storeName(device), (db) => {
      db.createObjectStore("keep");
      db.createObjectStore("body"); // apart, so that what becomes of an entry costs few bytes
      const events = db.createObjectStore("event", { keyPath: "number" });
      events.createIndex("queue", ["queue", "number"]);
      events.createIndex("aside", ["aside", "number"]);
    });
  }

  close() {
    return this.#base.close();
  }

  /** Room is kept by bytes that mean nothing, since a browser need not say how much
   * there is: when a write finds none, they are dropped, nothing is recorded any
   * more, and what was recorded can still be sent and marked. It tells whether
   * they are there, or could be put there now. */
  async room() {
    if (await this.#base.run("look for room", (db) => db.getKey("keep", "ballast"))) return true;
    const bytes = new Uint8Array(ballast);
    for (let i = 0; i < ballast; i += 1 << 16) crypto.getRandomValues(bytes.subarray(i, i + (1 << 16)));
    return this.keep("ballast", bytes).then(() => true, (err) => {
      if (err.code === "full") return false;
      throw err;
    });
  }

  async #write(name, change) {
    try {
      return await this.#once(name, change);
    } catch (err) {
      if (err.code !== "full") throw err;
      await this.#base.run("make room", (db) => db.delete("keep", "ballast"));
      if (change.refusable) throw err;
      return this.#once(name, change);
    }
  }

  #once(name, change) {
    return this.#base.run(name, async (db) => {
      const tx = db.transaction(["event", "body", "keep"], "readwrite", strict);
      const t = new Turn(tx, this.device);
      let result;
      try {
        await t.open();
        result = await change(t);
        await t.save();
      } catch (err) {
        abort(tx);
        await tx.done.catch(() => {});
        throw tx.error ?? err; // what ended the transaction says more than what it interrupted
      }
      await tx.done;
      return result;
    });
  }

  /** Records an entry under the next number, and returns it as it is kept. */
  add(entry) {
    return this.#write("record", Object.assign((t) => t.add(entry), { refusable: true }));
  }

  get(number) {
    return this.#base.run("read an entry", (db) => db.get("event", number));
  }

  /** The first entries that wait, each with its message id, which is on the disk
   * before anything is sent: a retry has the same. When nothing waits, and it is
   * time, a report is made. */
  plan(most, skip, entered) {
    return this.#write("plan", async (t) => {
      let list = await t.waiting(most, skip);
      if (list.length === 0 && skip.size === 0) {
        const report = book.due(t.counts, entered.entered);
        if (report) {
          await t.add({ ...entered, wall: "", kind: book.reportKind, data: report });
          list = await t.waiting(most, skip);
        }
      }
      await t.trying(list);
      return Promise.all(list.map(async (e) => ({ ...e, body: await t.bodies.get(e.number) })));
    });
  }

  /** The server has stored numbers: pairs of number and stream sequence. */
  acked(pairs, now) {
    return this.#write("acknowledge", (t) => t.acked(pairs, now));
  }

  /** The server will not take an entry: why, in words. */
  stuck(list) {
    return this.#write("note", async (t) => {
      for (const [number, why] of list) {
        const e = await t.events.get(number);
        if (e && e.stuck !== why) await t.put({ ...e, stuck: why });
      }
    });
  }

  /** Takes a receipt in; returns how many entries are sent again. One that says
   * less than the one before is taken in only where fell is what was returned as
   * fell the last time, so that nothing was heard since; otherwise nothing is
   * changed. */
  settle(r, now, fell) {
    return this.#write("settle", (t) => t.settle(r, now, fell));
  }

  /** How many entries the hub has not said to have. */
  open() {
    return this.#base.run("count", (db) => db.countFromIndex("event", "queue"));
  }

  /** Deletes what was sent 30 days ago and the hub has. */
  forget(now) {
    return this.#write("forget", (t) => t.forget(now - book.keepFor));
  }

  /** Keeps the clock; f gets what is kept. */
  clock(f) {
    return this.#write("keep the clock", async (t) => (t.clock = f(t.clock)));
  }

  /** Takes a message in that waits to be shown. */
  hear(message, now) {
    return this.#write("hear", async (t) => {
      const was = await t.told(), next = told.hear(was, message, now);
      if (next !== was) await t.kept.put(next, "told");
    });
  }

  /** A message was shown: it is marked and its entries are recorded, all or nothing.
   * False: it was marked before, and nothing is recorded again. */
  show(message, entries, now) {
    return this.#write("show", Object.assign(async (t) => {
      const was = await t.told(), next = told.show(was, message, now);
      if (next === was) return false;
      for (const e of entries) await t.add(e);
      await t.kept.put(next, "told");
      return true;
    }, { refusable: true }));
  }

  /** What was told, see told.js. */
  async told() {
    return (await this.kept("told")) ?? told.nothing;
  }

  keep(key, value) {
    return this.#base.run("keep " + key, (db) => db.put("keep", value, key));
  }

  kept(key) {
    return this.#base.run("read " + key, (db) => db.get("keep", key));
  }

  /** What a person is shown: all that is not folded, all set aside, the newest,
   * each with its data. known: data by id, which never change; they are added to. */
  list(newest, known) {
    return this.#base.run("list", async (db) => {
      const tx = db.transaction(["event", "body", "keep"]);
      const events = tx.objectStore("event"), bodies = tx.objectStore("body");
      const [open, aside, counts] = await Promise.all([
        events.index("queue").getAll(), events.index("aside").getAll(), tx.objectStore("keep").get("counts"),
      ]);
      const last = counts?.last ?? 0;
      const late = await events.getAll(IDBKeyRange.lowerBound(Math.max(1, last - newest + 1)));
      const all = [...new Map([...open, ...aside, ...late].map((e) => [e.number, e])).values()];
      await Promise.all(all.map(async (e) => known.has(e.id) || known.set(e.id, JSON.parse(await bodies.get(e.number)).data)));
      return all.map((e) => ({ ...e, data: known.get(e.id) })).sort((a, b) => a.number - b.number);
    });
  }
}

/** One writing transaction. */
class Turn {
  constructor(tx, device) {
    this.events = tx.objectStore("event");
    this.bodies = tx.objectStore("body");
    this.kept = tx.objectStore("keep");
    this.device = device;
  }

  async open() {
    const [counts, contact, clock] = await Promise.all([this.kept.get("counts"), this.kept.get("contact"), this.kept.get("clock")]);
    this.counts = structuredClone(counts ?? book.noCounts);
    this.contact = contact ?? book.noContact;
    this.clock = clock ?? noClock;
    this.was = [JSON.stringify(this.counts), this.contact, this.clock];
  }

  async told() {
    return (await this.kept.get("told")) ?? told.nothing;
  }

  async save() {
    const [counts, contact, clock] = this.was;
    if (JSON.stringify(this.counts) !== counts) await this.kept.put(this.counts, "counts");
    if (this.contact !== contact) await this.kept.put(this.contact, "contact");
    if (this.clock !== clock) await this.kept.put(this.clock, "clock");
  }

  /** Puts an entry where it belongs in the queue. */
  put(e) {
    const place = book.place(e, this.contact);
    const out = { ...e, queue: place };
    if (place === undefined) delete out.queue;
    if (place !== 1) delete out.stuck;
    return this.events.put(out);
  }

  async add({ wall, kind, data, at = null, entered, offset, by, clock }) {
    const number = book.nextNumber(this.counts, this.contact);
    const id = uuid7(entered);
    const before = wall ? (this.counts.walls[wall] ?? 0) : 0;
    const body = encode({ id, device: this.device, wall, kind, entered, number, before, by, offset, data });
    const size = new TextEncoder().encode(body).length;
    if (size > mostBody) throw new EngineError("invalid", `${kind} is larger than ${mostBody} bytes`);
    const e = { number, id, wall, kind, at, entered, size, tried: false, done: false, msg: "", seq: 0, doneAt: 0, again: 0, reason: "", queue: 1 };
    await Promise.all([this.put(e), this.bodies.put(body, number)]);
    this.#count(number, wall, kind);
    // The offset is left as it is: another tab may have spoken to the hub since.
    if (clock) this.clock = { ...this.clock, seen: Math.max(this.clock.seen, entered), doubt: this.clock.doubt || clock.doubt };
    return { ...e, data: JSON.parse(body).data };
  }

  #count(number, wall, kind) {
    this.counts.last = Math.max(this.counts.last, number);
    if (wall) this.counts.walls[wall] = number; // the number before means the wall's; the whole site has none
    if (kind === book.reportKind) this.counts.reported = number;
  }

  #tried(e) {
    const c = this.counts;
    c.tried = Math.max(c.tried, e.number);
    if (e.wall) c.triedWalls[e.wall] = Math.max(c.triedWalls[e.wall] ?? 0, e.number);
    if (e.kind === book.reportKind) c.triedReport = Math.max(c.triedReport, e.number);
  }

  async waiting(most, skip) {
    const list = await this.events.index("queue").getAll(IDBKeyRange.bound([1, 0], [1, Infinity]), most + skip.size);
    let size = 0;
    return list.filter((e) => !skip.has(e.number)).filter((e, i) => (size += e.size) <= mostBytes || i === 0);
  }

  async trying(list) {
    for (const e of list) {
      if (e.tried && e.msg) continue;
      e.tried = true;
      e.msg = hex(crypto.getRandomValues(new Uint8Array(16)));
      this.#tried(e);
      await this.put(e);
    }
  }

  #done(e, now) {
    e.tried = true;
    e.done = true;
    e.doneAt = now;
    this.#tried(e);
    const key = e.kind === book.reportKind ? "saidAt" : "entryAt";
    this.counts[key] = Math.max(this.counts[key], now);
  }

  async acked(pairs, now) {
    for (const [number, seq] of pairs) {
      const e = await this.events.get(number);
      if (!e || (e.done && e.seq === seq)) continue;
      e.seq = seq;
      this.#done(e, now);
      await this.put(e);
    }
  }

  async settle(r, now, confirmed) {
    const before = this.contact;
    const fell = before.known && book.fell(r, before);
    const mark = JSON.stringify(before);
    if (fell && mark !== confirmed) return { again: 0, fell: mark };
    const c = (this.contact = { ...r, known: true, refused: r.refused.filter((x) => x.number > r.upto).map((x) => ({ number: x.number })) });
    if (before.known && same(before, c)) this.contact = before;
    let again = 0;
    for (const e of await this.#concerned(c)) {
      const was = JSON.stringify(e);
      if (book.settled(e, c)) {
        if (!e.done) this.#done(e, now);
      } else if (book.overdue(e, c, now, fell)) {
        Object.assign(e, { msg: "", done: false, seq: 0, again: e.again + 1 });
        again++;
      }
      if (JSON.stringify(e) !== was || e.queue !== book.place(e, c)) await this.put(e);
    }
    for (const x of r.refused) await this.#refused(x);
    await this.#renumber(c);
    return { again, fell: null };
  }

  /** The entries that a receipt may say something new of. */
  async #concerned(c) {
    const lists = await Promise.all([
      this.events.index("queue").getAll(),
      this.events.getAll(IDBKeyRange.lowerBound(c.upto, true)),
      ...c.missing.map((s) => this.events.getAll(IDBKeyRange.bound(s.from, s.to))),
    ]);
    return new Map(lists.flat().map((e) => [e.number, e])).values();
  }

  async #refused({ number, reason }) {
    const e = await this.events.get(number);
    if (e && e.tried && !e.reason) await this.put({ ...e, reason: reason || "refused", aside: 1 });
  }

  /** Gives new numbers to entries that never left this phone when the hub holds
   * their numbers from elsewhere: an old copy of the storage was put back. The
   * ids stay. */
  async #renumber(c) {
    const move = (await this.events.index("queue").getAll(IDBKeyRange.bound([1, 0], [1, Infinity]))).filter((e) => !e.tried);
    if (!move.some((e) => book.holds(c, e.number))) return;
    const counts = this.counts;
    let number = Math.max(book.top(c), counts.tried);
    counts.walls = { ...counts.triedWalls };
    counts.reported = counts.triedReport;
    for (const e of move) {
      e.body = await this.bodies.get(e.number);
      await Promise.all([this.events.delete(e.number), this.bodies.delete(e.number)]);
    }
    for (const { body, ...e } of move) {
      if (e.kind === book.reportKind) continue; // it speaks of the old numbers; a new one is made
      number++;
      e.number = number;
      await Promise.all([this.put(e), this.bodies.put(renumber(body, number, e.wall ? (counts.walls[e.wall] ?? 0) : 0), number)]);
      if (e.wall) counts.walls[e.wall] = number;
    }
    counts.last = number;
  }

  async forget(before) {
    for (let cur = await this.events.openCursor(); cur; cur = await cur.continue()) {
      const e = cur.value;
      if (e.entered >= before) break;
      if (e.done && e.doneAt < before && e.queue === undefined) await Promise.all([cur.delete(), this.bodies.delete(e.number)]);
    }
  }
}

const same = (a, b) => JSON.stringify({ ...a, at: 0 }) === JSON.stringify({ ...b, at: 0 });

/** A database that is opened again when the browser has closed it. */
class Base {
  #name;
  #make;
  #db = null;

  constructor(name, make) {
    this.#name = name;
    this.#make = make;
  }

  #open() {
    const forget = () => (this.#db = null);
    return (this.#db ??= openDB(this.#name, 1, {
      upgrade: this.#make, terminated: forget,
      blocking: (_, __, event) => { forget(); event.target.close(); },
    }).catch((err) => { forget(); throw err; }));
  }

  async run(what, f) {
    for (let last = false; ; last = true) {
      try {
        return await f(await this.#open());
      } catch (err) {
        // A connection that the browser has ended did nothing; a new one may.
        if (!last && err.name === "InvalidStateError") {
          this.#db = null;
          continue;
        }
        throw trouble(what, err);
      }
    }
  }

  async close() {
    const db = await this.#db?.catch(() => null);
    this.#db = null;
    db?.close();
  }
}

/** Waits for a transaction and for what was asked in it. */
async function done(tx, asked) {
  await Promise.all([...asked, tx.done]);
}

function abort(tx) {
  try {
    tx.abort();
  } catch {
    // it has ended by itself
  }
}

function trouble(what, err) {
  if (err instanceof EngineError) return err;
  const code = err.name === "QuotaExceededError" ? "full" : "damaged";
  return new EngineError(code, `${what}: ${err.message || err.name}`, err);
}
