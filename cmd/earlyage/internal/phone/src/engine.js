// The engine of the crew's page: it records without a signal, and the hub gets
// everything once, in order. See engine.d.ts.
import { Clock, noClock } from "./clock.js";
import { Drain } from "./drain.js";
import { flaw, mayRecord, sourceOf, stamp, token } from "./envelope.js";
import { EngineError } from "./error.js";
import { Hub } from "./hub.js";
import { Push } from "./push.js";
import { newKey, Signer } from "./sign.js";
import { Root, Store } from "./store.js";
import { Shell } from "./shell.js";
import { Tabs } from "./tabs.js";
import { entriesOf, nothing, toShow } from "./told.js";

const reserve = 2 << 20; // bytes that are left for what was recorded already to be sent
const newest = 100; // folded entries that are shown
const quiet = 50; // ms between two changes that are told
const young = 60_000; // ms that an answer may be old
const forgetEvery = 60 * 60_000;
const settleDown = 1_000; // ms from the hub's word to the question for a new snapshot

export { EngineError };

/** Opens what this phone keeps. options: nats and base, where the hub is; wait, ms
 * for each of its answers; pause, the shortest and longest ms between two tries to
 * reach it; shell false: no service worker. */
export async function openEngine(options = {}) {
  if (!window.isSecureContext) throw new EngineError("insecure", "this address is not encrypted: the browser keeps nothing safely for such a page");
  const e = new Engine(options);
  await e.open();
  return e;
}

class Engine {
  #root = new Root();
  #options;
  #hub;
  #me = null; // who this phone is: what stands in the root, and its store, signer, clock, tabs, drain
  #joining = null;
  #sheet = null;
  #asked = null; // when the sheet was asked for: {wall, mono}
  #link = "down";
  #troubles = new Set();
  #space = { used: 0, quota: 0 };
  #full = false;
  #persisted = false;
  #shell;
  #told = nothing;
  #changes = new Set();
  #alerts = new Set();
  #telling = null;
  #refreshing = null;
  #forgot = 0;
  #stop = new AbortController();
  state;

  constructor(options) {
    this.#options = { nats: "/nats", base: "", wait: 10_000, pause: [500, 15_000], ...options };
    this.#hub = new Hub(this.#options.base);
    this.#shell = new Shell(() => this.#tell());
    this.state = this.#compose([]);
  }

  async open() {
    const [current, pending] = [await this.#root.get("current"), await this.#root.get("pending")];
    if (current) await this.#begin(current);
    if (this.#options.shell !== false) this.#shell.open();
    await this.#measure();
    await this.#refreshState();
    for (const [target, name] of [[window, "online"], [window, "pageshow"], [document, "visibilitychange"]]) {
      target.addEventListener(name, () => this.#look(), { signal: this.#stop.signal });
    }
    navigator.serviceWorker?.addEventListener("message", ({ data }) => this.#pushed(data), { signal: this.#stop.signal });
    this.#pushed({ told: "" });
    // A code whose answer was lost is redeemed by the same key.
    if (pending && !current) this.join(pending.code, pending.name).catch(() => {});
  }

  async close() {
    this.#stop.abort();
    clearTimeout(this.#telling);
    clearTimeout(this.#refreshing);
    await this.#end();
    await this.#root.close();
  }

  // ---- who this phone is ----

  async join(code, name = "") {
    if (this.#me && !this.#troubles.has("not-admitted")) throw new EngineError("joined", `this phone is ${sourceOf(this.#me.joined)}`);
    if (this.#joining?.code === code) return this.#joining.done;
    const done = this.#join(code, name).finally(() => {
      this.#joining = null;
      this.#tell();
    });
    this.#joining = { code, done };
    this.#tell();
    return done;
  }

  async #join(code, name) {
    this.#persisted = (await navigator.storage?.persist?.().catch(() => false)) ?? false;
    const was = await this.#root.get("pending");
    // The seed is on the disk before the hub hears of the key: a key that the hub
    // knows is never lost by the phone.
    const pending = was?.code === code ? was : { code, name, ...newKey() };
    if (pending !== was) await this.#root.set({ pending });
    let answer;
    try {
      answer = await this.#hub.join(pending);
    } catch (err) {
      if (err.code !== "no-link") await this.#root.set({ pending: undefined });
      throw err;
    }
    const current = { site: answer.site, device: answer.device, person: answer.person ?? "", roles: answer.roles ?? [], hubKey: answer.hub_key ?? "", seed: pending.seed };
    const { seed, ...plain } = current;
    const devices = [...((await this.#root.get("devices")) ?? []), { site: plain.site, device: plain.device }];
    await this.#root.set({ current, devices, pending: undefined });
    await this.#end();
    await this.#begin(current);
    await this.#refreshState();
    this.#me.tabs.say({ joined: true });
    this.#pushed({ told: "" });
    return this.state.joined;
  }

  async #begin({ seed, ...joined }) {
    const store = new Store(joined);
    const clock = new Clock((await store.kept("clock")) ?? noClock);
    const stop = new AbortController();
    const me = (this.#me = { joined, seed, store, signer: new Signer(seed), clock, stop, data: new Map() });
    me.push = new Push((method, path, body) => this.#hub.ask(method, path, body, me.joined, me.signer), { get: () => store.kept("push"), set: (v) => store.keep("push", v) });
    const kept = await store.kept("sheet");
    this.#sheet = kept?.sheet ?? null;
    this.#asked = kept ? { wall: kept.asked, mono: null } : null;
    this.#troubles.clear();
    if (clock.doubt) await store.clock(() => clock.kept());
    me.drain = new Drain(this.#host(me));
    me.tabs = new Tabs(sourceOf(joined), {
      work: (end) => this.#own(me, end),
      hear: (m) => this.#hear(me, m),
      rise: () => this.#hear(me, { clock: true, sheet: true, joined: true }),
    });
    me.tabs.open();
  }

  async #end() {
    const me = this.#me;
    if (!me) return;
    this.#me = null;
    this.#link = "down";
    me.stop.abort();
    me.drain.drop();
    me.tabs.close();
    await me.store.close();
  }

  /** What the drain needs and tells. */
  #host(me) {
    const tell = (m) => {
      me.tabs.say(m);
      this.#hear(me, m);
    };
    return {
      store: me.store, clock: me.clock, signer: me.signer, device: me.joined, wait: this.#options.wait, pause: this.#options.pause,
      url: new URL(this.#options.nats, location.href).href.replace(/^http/, "ws"),
      up: (up) => {
        if ((this.#link === "up") === up) return;
        tell({ link: up ? "up" : "down" });
        if (up) this.#greet(me);
      },
      trouble: (code, on) => this.#troubles.has(code) !== on && tell({ trouble: code, on }),
      changed: () => tell({ changed: true }),
      heard: (alert) => tell({ alert }),
      told: (message) => this.#take(me, message),
      contact: async (at, trip) => {
        const now = me.clock.contact(at, trip);
        await me.store.clock(() => now);
        me.tabs.say({ clock: true });
      },
      keepClock: () => this.#keepClock(),
      stale: () => this.#stale(me),
      forget: async () => {
        if (performance.now() - this.#forgot < forgetEvery && this.#forgot) return;
        this.#forgot = performance.now();
        await me.store.forget(Date.now());
      },
    };
  }

  /** This tab has the link until it ends. */
  async #own(me, end) {
    const stop = new AbortController();
    const halt = () => {
      stop.abort();
      me.drain.drop();
    };
    for (const s of [end, me.stop.signal]) s.addEventListener("abort", halt);
    if (!me.stop.signal.aborted) await me.drain.run(stop.signal);
  }

  /** Asks for roles and snapshot when the link has come up. */
  async #greet(me) {
    try {
      const who = await this.#hub.get("/api/v1/me", me.joined, me.signer);
      const roles = [...new Set([...(who.roles?.[me.joined.site] ?? []), ...(who.roles?._ ?? [])])];
      if (roles.length && roles.join() !== me.joined.roles.join()) {
        me.joined = { ...me.joined, roles };
        await this.#root.set({ current: { ...me.joined, seed: me.seed } });
        me.tabs.say({ joined: true });
      }
      await this.refresh();
      await me.push.look();
    } catch {
      // the next contact asks again; the sheet's age says how old it is
    }
    this.#tell();
  }

  /** What tabs say to each other, and the drain to its own. */
  async #hear(me, m) {
    if (me !== this.#me) return;
    if (m.link) this.#link = m.link;
    if (m.trouble) this.#troubles[m.on ? "add" : "delete"](m.trouble);
    if (m.wake) me.drain.wake();
    if (m.alert) {
      for (const fn of this.#alerts) fn(m.alert);
      this.#stale(me);
    }
    if (m.hello && me.tabs.works) me.tabs.say({ link: this.#link, troubles: [...this.#troubles] });
    if (m.troubles) this.#troubles = new Set(m.troubles);
    if (m.clock) me.clock.take((await me.store.kept("clock")) ?? noClock);
    if (m.sheet) await this.#takeSheet(me);
    if (m.joined) await this.#takeRoles(me);
    this.#tell();
  }

  /** The hub knows something newer than the sheet: the tab with the link asks. */
  #stale(me) {
    if (!me.tabs.works || this.#refreshing) return;
    this.#refreshing = setTimeout(() => {
      this.#refreshing = null;
      if (me === this.#me) this.refresh().catch(() => {}); // the sheet's age says how old it is
    }, settleDown);
  }

  async #takeSheet(me) {
    const kept = await me.store.kept("sheet");
    if (!kept) return;
    this.#sheet = kept.sheet;
    this.#asked = { wall: kept.asked, mono: null };
  }

  async #takeRoles(me) {
    const current = await this.#root.get("current");
    if (current && sourceOf(current) === sourceOf(me.joined)) me.joined = { ...me.joined, roles: current.roles };
  }

  #look() {
    if (document.visibilityState !== "visible") return;
    this.#measure().then(() => this.#tell(), () => {}); // what is wrong with the storage shows when it is written
    if (this.#me?.clock.look()) this.#keepClock();
    this.#pushed({ told: "" });
    this.#me?.tabs.check();
    this.hurry();
  }

  async #keepClock() {
    const { clock, store, tabs } = this.#me;
    await store.clock(() => clock.kept()).catch(() => {});
    tabs.say({ clock: true });
  }

  // ---- recording ----

  mayRecord(kind) {
    return mayRecord(kind, this.#me?.joined.roles ?? []);
  }

  async record(wall, kind, data = {}, { at } = {}) {
    const me = this.#known();
    const why = flaw(wall, kind);
    if (why) throw new EngineError("invalid", why);
    if (kind === "device.reported" || !this.mayRecord(kind)) throw new EngineError("not-allowed", `${kind} is not for ${me.joined.roles.join(", ")}`);
    const when = at === undefined || at === null ? null : new Date(at).getTime();
    if (Number.isNaN(when)) throw new EngineError("invalid", `at ${at}: no time`);
    await this.#measure();
    if (this.#full) throw this.#noRoom();
    if (me.clock.look()) await this.#keepClock();
    let kept;
    try {
      kept = await me.store.add(this.#entryOf(me, wall, kind, data, when));
    } catch (err) {
      if (err.code === "full") throw this.#noRoom(err);
      throw err;
    }
    this.#send(me);
    this.#publish([...this.state.outbox.filter((e) => e.number !== kept.number), shown(kept)]);
    this.#tell();
    return kept.number;
  }

  #entryOf(me, wall, kind, data, when) {
    return {
      wall: wall || "", kind, at: when, entered: Date.now(), offset: me.clock.offset(), clock: me.clock.kept(), by: me.joined.person,
      data: when === null ? data : { ...data, at: stamp(when) },
    };
  }

  /** What was recorded goes to the hub, by the tab that has the link. */
  #send(me) {
    me.tabs.say({ wake: true, changed: true });
    me.drain.wake();
    me.tabs.check();
  }

  async amend(number, data, reason) {
    const e = await this.#entry(number);
    if (!this.mayRecord(e.kind)) throw new EngineError("not-allowed", `${e.kind} is not for ${this.#me.joined.roles.join(", ")}`);
    return this.record(e.wall, "record.amended", { target: this.#target(e), kind: e.kind, data, reason });
  }

  async withdraw(number, reason) {
    const e = await this.#entry(number);
    return this.record(e.wall, "record.voided", { target: this.#target(e), reason });
  }

  #target(e) {
    return { source: sourceOf(this.#me.joined), id: e.id };
  }

  async #entry(number) {
    const e = await this.#known().store.get(number);
    if (!e) throw new EngineError("unknown", `this phone has no entry ${number}`);
    if (e.kind.startsWith("record.") || e.kind === "device.reported") throw new EngineError("invalid", `${e.kind} is not changed: withdraw what it was about`);
    return e;
  }

  #known() {
    if (!this.#me) throw new EngineError("not-joined", "this phone has not joined a site");
    return this.#me;
  }

  async #measure() {
    const e = await navigator.storage?.estimate?.().catch(() => null);
    if (e) this.#space = { used: e.usage ?? 0, quota: e.quota ?? 0 };
    this.#persisted ||= (await navigator.storage?.persisted?.().catch(() => false)) ?? false;
    const { used, quota } = this.#space;
    this.#full = (quota > 0 && quota - used < reserve) || (this.#me !== null && !(await this.#me.store.room()));
    this.#troubles[this.#full ? "add" : "delete"]("full");
  }

  #noRoom(cause) {
    this.#full = true;
    this.#troubles.add("full");
    this.#tell();
    return new EngineError("full", "the phone has no room left to record safely; what was recorded is kept", cause);
  }

  // ---- what is told ----

  /** A message of the hub's waits on the disk until it was shown. False: there it
   * cannot wait; the snapshot, which is asked for, says what it tells too. */
  async #take(me, message) {
    let kept = true;
    try {
      await me.store.hear(message, this.now());
      me.tabs.say({ changed: true });
    } catch (err) {
      kept = false;
      this.#troubles.add(err.code ?? "damaged");
    }
    this.#stale(me);
    this.#tell();
    return kept;
  }

  async shown(message) {
    const me = this.#known();
    await this.#measure();
    if (this.#full) throw this.#noRoom(); // what is left is for what was recorded to be sent
    if (me.clock.look()) await this.#keepClock();
    const list = this.mayRecord("alert.shown") ? entriesOf(message, this.#sheet, me.joined.site) : [];
    const entries = list.map((e) => this.#entryOf(me, e.wall, e.kind, e.data, Date.now()));
    if (!(await me.store.show(message, entries, this.now()))) return false;
    this.#shell.quiet(message).catch(() => {}); // a notification that stays says nothing wrong
    this.#send(me);
    this.#tell();
    return true;
  }

  /** Takes what came by push: the service worker has laid it down. */
  async #pushed(data) {
    const me = this.#me;
    if (!me || !("caches" in window)) return;
    if (data?.subscription) await me.push.look().catch(() => {}); // asked again when the link comes up
    if (typeof data?.told !== "string") return;
    const laid = await caches.open("told");
    for (const at of await laid.keys()) {
      const message = await (await laid.match(at))?.json().catch(() => null);
      if (await this.#take(me, message)) await laid.delete(at); // else it is taken when there is room
    }
  }

  push(change = "state") {
    return this.#known().push[change]();
  }

  // ---- the snapshot ----

  async refresh() {
    const me = this.#known();
    const asked = { wall: Date.now(), mono: performance.now() };
    const sheet = await this.#hub.get(`/api/v1/phone/${me.joined.site}`, me.joined, me.signer);
    if (me !== this.#me) throw new EngineError("not-joined", "this phone is another device now");
    this.#sheet = sheet;
    this.#asked = asked;
    if (!this.#full) {
      await me.store.keep("sheet", { sheet, asked: asked.wall });
      me.tabs.say({ sheet: true });
    }
    this.#tell();
    return sheet;
  }

  async ask(wall) {
    if (!token.test(wall)) throw new EngineError("invalid", `wall ${wall}`);
    const sheet = await this.refresh();
    if (this.#age() >= young) throw new EngineError("no-link", "the answer came too late");
    if (!sheet?.walls?.some((w) => w.wall === wall)) throw new EngineError("unknown", `the hub does not name wall ${wall}`);
    return sheet;
  }

  /** By the clock that says more: one stands still while the phone sleeps, the
   * other can be put back. What an earlier page or another tab has asked for is
   * never "just now": this page does not know both clocks of then. */
  #age() {
    if (!this.#asked) return Infinity;
    const { wall, mono } = this.#asked;
    return Math.max(mono === null ? young : performance.now() - mono, Date.now() - wall);
  }

  // ---- what is shown ----

  now() {
    return this.#me?.clock.now() ?? Date.now();
  }

  onChange(fn) {
    this.#changes.add(fn);
    return () => this.#changes.delete(fn);
  }

  onAlert(fn) {
    this.#alerts.add(fn);
    return () => this.#alerts.delete(fn);
  }

  hurry() {
    this.#me?.drain.wake();
    this.#me?.tabs.say({ wake: true });
  }

  update() {
    this.#shell.update();
  }

  async earlier() {
    const all = [];
    for (const d of (await this.#root.get("devices")) ?? []) {
      if (this.#me && sourceOf(d) === sourceOf(this.#me.joined)) continue;
      const store = new Store(d);
      all.push({ ...d, outbox: (await store.list(newest, new Map())).map(shown) });
      await store.close();
    }
    return all;
  }

  #tell() {
    if (this.#telling || this.#stop.signal.aborted) return;
    this.#telling = setTimeout(() => {
      this.#telling = null;
      this.#refreshState().catch((err) => console.warn("state", err));
    }, quiet);
  }

  async #refreshState() {
    let list = [], told = nothing;
    const me = this.#me;
    if (me) [list, told] = await Promise.all([me.store.list(newest, me.data).then((all) => all.map(shown)), me.store.told()]);
    if (me !== this.#me || this.#stop.signal.aborted) return;
    this.#told = told;
    this.#publish(list);
  }

  #publish(list) {
    this.state = this.#compose(list);
    for (const fn of this.#changes) fn(this.state);
  }

  #compose(outbox) {
    const me = this.#me, age = () => this.#age();
    const troubles = [...this.#troubles];
    if (me?.clock.doubt) troubles.push("clock");
    return Object.freeze({
      joined: me ? Object.freeze({ ...me.joined }) : null, joining: this.#joining !== null, link: this.#link,
      offsetMs: me && !me.clock.doubt ? me.clock.kept().offset : null,
      outbox: Object.freeze(outbox), waiting: outbox.filter((e) => e.fate === "waiting" && !idle(e)).length,
      told: Object.freeze(me ? toShow(this.#told, this.#sheet, me.joined.roles) : []),
      sheet: this.#sheet, get sheetAge() { return age(); },
      persisted: this.#persisted, space: this.#space, canVibrate: "vibrate" in navigator,
      canSound: "AudioContext" in window && (navigator.userActivation?.hasBeenActive ?? false),
      troubles: Object.freeze(troubles), update: this.#shell.waiting,
    });
  }
}

/** That something was shown, which the hub will not take from this phone: nobody
 * waits for it, and nobody can mend it. */
const idle = (e) => e.kind === "alert.shown" && e.reason !== "";

/** An entry as a person is shown it. */
function shown(e) {
  const fate = e.reason ? "aside" : e.queue === 1 ? "waiting" : e.queue === 2 ? "sent" : "folded";
  return Object.freeze({
    number: e.number, id: e.id, wall: e.wall, kind: e.kind, data: e.data, at: e.at ?? momentOf(e.data), entered: e.entered, fate, reason: e.reason || e.stuck || "",
  });
}

function momentOf(data) {
  const t = Date.parse(data?.at ?? data?.ended ?? "");
  return Number.isNaN(t) ? null : t;
}
