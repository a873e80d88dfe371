// The page: which screen stands, what it is drawn from, and what runs by the clock.
import { alarm, sounds, unlock } from "./alarm.js";
import { clock, quantity } from "./format.js";
import { momentOf } from "./moment.js";
import { jointState, minutesLeft, oldest, surface, unknownTo } from "./sums.js";
import { h, Live, note } from "./ui.js";
import { strip } from "./strip.js";
import { Telling } from "./telling.js";
import { has, lang, languages, load, T, wanted } from "./words.js";
import * as screens from "./screens/index.js";

const fresh = 60_000; // ms in which the hub's word may be shown as may strip
const settle = 250; // ms in which a second touch of a glove does nothing
const once = 60_000; // ms in which an alert rings once
const keepWall = "earlyage-wall";

/** Starts the page on an engine (a promise of one). */
export async function start(opening) {
  await load(wanted(languages()));
  const app = new App();
  try {
    app.open(await opening);
  } catch (err) {
    document.querySelector("#screen").replaceChildren(h("h1", {}, T("phone.trouble.title")), note("hold", "hold", T(err.code === "insecure" ? "phone.trouble.insecure" : "phone.trouble.storage")), h("p", { class: "small" }, String(err.message)));
  }
  return app;
}

class App {
  live = new Live();
  topLive = new Live();
  engine = null;
  form = null; // what is being entered: {route, …}
  recorded = null; // the entry just made: {number, text}
  problem = ""; // what went wrong with it
  #drawnAt = 0;
  #route = null;
  #later = false;
  #rung = new Set();
  #heardAt = new Map(); // by alert, ms of the page's clock

  open(engine) {
    this.engine = engine;
    this.telling = new Telling(this);
    engine.onChange(() => this.changed());
    engine.onAlert((a) => this.#heard(a));
    addEventListener("hashchange", () => this.draw());
    document.addEventListener("keydown", unlock);
    // What lies under a thumb is not exchanged before it is lifted.
    document.addEventListener("pointerdown", () => { unlock(); this.#pressing = true; }, true);
    for (const end of ["pointerup", "pointercancel"]) {
      document.addEventListener(end, () => setTimeout(() => { this.#pressing = false; if (this.#later) this.changed(); }), true);
    }
    document.addEventListener("focusout", () => this.#later && setTimeout(() => this.#later && this.draw()));
    // A glove that touches twice must not press what has just come under it.
    document.addEventListener("click", (e) => performance.now() - this.#drawnAt < settle && this.#moved && (e.preventDefault(), e.stopPropagation()), true);
    setInterval(() => this.tick(), 1000);
    this.#takeCode();
    this.draw();
    this.changed();
  }

  #moved = false;
  #pressing = false;
  #still = null;

  /** A link with a code: /phone#join.CODE. The code leaves the address at once. */
  #takeCode() {
    const code = /^#join\.(.+)$/.exec(location.hash)?.[1];
    if (!code) return;
    this.code = decodeURIComponent(code);
    history.replaceState(null, "", "/phone");
  }

  // ---- what screens are drawn from ----

  get state() {
    return this.engine.state;
  }

  get sheet() {
    return this.state.sheet;
  }

  get units() {
    return this.sheet?.site.units ?? "si";
  }

  q(dim, value) {
    return quantity(dim, value, this.units);
  }

  /** A moment in the site's zone. */
  time(ms, up = false) {
    return clock(typeof ms === "string" ? Date.parse(ms) : ms, { zone: this.sheet?.site.zone || "UTC", lang, now: this.engine.now(), up });
  }

  wall(name) {
    return this.sheet?.walls.find((w) => w.wall === name) ?? null;
  }

  get chosen() {
    return this.wall(localStorage.getItem(keepWall) ?? "");
  }

  choose(name) {
    localStorage.setItem(keepWall, name);
    this.recorded = null;
    this.go("#w/" + name);
  }

  unknown(wall) {
    return unknownTo(this.sheet?.device.upto ?? 0, this.state.outbox, wall.wall);
  }

  surface(wall) {
    return surface(wall, this.unknown(wall), this.state.offsetMs ?? 0);
  }

  joint(wall) {
    return oldest(this.surface(wall));
  }

  momentOf(wall) {
    return momentOf(wall, this.unknown(wall));
  }

  /** Whether the hub's word on a wall is young enough, from the head of the stream,
   * and nothing of this phone's is missing in it. */
  fresh(wall) {
    return this.state.sheetAge < fresh && this.sheet.level && this.unknown(wall).length === 0;
  }

  // ---- going about ----

  go(route) {
    if (location.hash === route) return this.draw();
    delete document.body.dataset.still; // till the screen that it leads to has come
    location.hash = route;
  }

  back() {
    history.back();
  }

  /** The screen that the address names. */
  route() {
    if (!this.state.joined) return ["join"];
    if (!this.sheet) return location.hash === "#outbox" ? ["outbox"] : ["waiting"];
    const [name, wall, ...rest] = location.hash.slice(1).split("/");
    if (["outbox", "walls", "about"].includes(name)) return [name];
    if (name === "entry") return ["entry", Number(wall)];
    const w = name === "w" ? this.wall(wall) : this.chosen;
    if (!w) return ["walls"];
    return [rest[0] ?? "moment", w, ...rest.slice(1)];
  }

  changed() {
    this.#ring();
    const at = document.activeElement;
    if (this.#pressing) {
      this.#later = true;
      return;
    }
    if (this.state.joined) this.telling.look();
    // What is being typed is left alone until it is done.
    if (at && at.matches("#screen input, #screen textarea, #screen summary") && !this.problem) {
      this.#later = true;
      this.#drawStrip();
      return;
    }
    this.draw();
  }

  draw() {
    this.#later = false;
    const [name, ...args] = this.route();
    const route = [name, ...args.map((a) => a?.wall ?? a)].join("/");
    const moved = route !== this.#route;
    if (moved) {
      this.problem = "";
      if (this.form?.route !== route) this.form = null;
      if (!["moment", "outbox", "entry"].includes(name)) this.recorded = null;
    }
    this.#route = route;
    const focus = document.activeElement?.dataset?.k;
    this.live.clear();
    const screen = document.querySelector("#screen");
    const view = (screens[name] ?? screens.moment)(this, ...args);
    screen.className = "screen screen-" + name;
    screen.replaceChildren(...[h("div", { class: "look" }, ...view.look.flat().filter(Boolean)), h("div", { class: "thumb" }, ...(view.thumb ?? []).flat().filter(Boolean)), view.main && h("div", { class: "main-keys" }, ...view.main.flat().filter(Boolean))].filter(Boolean));
    document.title = (view.title ? view.title + " · " : "") + "earlyage";
    this.#drawStrip();
    this.#moved = moved;
    if (moved) {
      this.#drawnAt = performance.now();
      delete document.body.dataset.still;
      clearTimeout(this.#still);
      this.#still = setTimeout(() => (document.body.dataset.still = ""), settle);
      scrollTo(0, 0);
      screen.focus({ preventScroll: true });
    } else {
      if (performance.now() - this.#drawnAt >= settle) document.body.dataset.still = "";
      if (focus) document.querySelector(`[data-k="${CSS.escape(focus)}"]`)?.focus({ preventScroll: true });
    }
  }

  #drawStrip() {
    const top = document.querySelector("#strip");
    const focus = top.contains(document.activeElement) ? document.activeElement.dataset.k : null;
    this.topLive.clear();
    top.replaceChildren(...strip(this));
    if (focus) top.querySelector(`[data-k="${CSS.escape(focus)}"]`)?.focus();
  }

  tick() {
    this.live.tick();
    this.topLive.tick();
    this.#ring();
  }

  say(text) {
    document.querySelector("#said").textContent = text;
  }

  // ---- what is urgent ----

  get silent() {
    return { vibrate: !this.state.canVibrate, sound: !sounds() };
  }

  alarm(text) {
    this.say(text);
    return alarm(this.state.canVibrate);
  }

  /** Whether an alert was heard on this page a moment ago; now it is. The hub's word
   * and a message of it ring once, and what is told again rings again. */
  rang(alert) {
    const now = performance.now(), before = now - (this.#heardAt.get(alert) ?? -Infinity) < once;
    this.#heardAt.set(alert, now);
    return before;
  }

  /** The hub's word of an alert. */
  #heard(event) {
    const a = event.data ?? {};
    if (!event.type?.includes("alert.raised") || a.priority !== "urgent") return;
    if (event.subject && this.chosen && event.subject !== this.chosen.wall) return;
    if (!this.rang(a.alert)) this.alarm(T(`alert.${a.kind}.name`));
  }

  /** A joint that is closing, at a quarter of an hour, at five minutes, and past its limit. */
  #ring() {
    const wall = this.state.joined && this.chosen;
    if (!wall || this.momentOf(wall) !== "place") return;
    const joint = this.joint(wall);
    if (!joint) return;
    const now = this.engine.now(), left = minutesLeft(joint.deadline, now);
    const level = left < 0 ? 0 : left < 5 ? 5 : jointState(joint, now) === "closing" ? 15 : null;
    const mark = `${wall.wall} ${joint.deadline} ${level}`;
    if (level === null || this.#rung.has(mark)) return;
    this.#rung.add(mark);
    this.alarm(left < 0 ? T("phone.joint.past") : T("phone.joint.say", { n: left }));
  }

  /** Whether messages come while the page is closed, or a change of it. */
  async push(change) {
    this.pushProblem = "";
    try {
      this.pushing = await this.engine.push(change);
    } catch (err) {
      this.pushing ??= "off";
      this.pushProblem = T("phone.push.failed", { why: err.message });
      this.say(this.pushProblem);
    }
    this.draw();
  }

  // ---- recording ----

  /** Records, and says so only when it is on the phone's storage. */
  async record(wall, kind, data, when, text) {
    return this.#enter(() => this.engine.record(wall, kind, data, when), text);
  }

  async amend(number, data, reason, text) {
    return this.#enter(() => this.engine.amend(number, data, reason), text);
  }

  async withdraw(number, reason) {
    return this.#enter(() => this.engine.withdraw(number, reason), T("kind.record.voided"));
  }

  #entering = false;

  async #enter(f, text) {
    if (this.#entering) return null;
    this.#entering = true;
    this.problem = "";
    try {
      const number = await f();
      this.recorded = { number, text };
      this.say(T("phone.recorded", { what: text }));
      if (this.state.canVibrate) navigator.vibrate(60);
      return number;
    } catch (err) {
      this.problem = has("phone.error." + err.code) ? T("phone.error." + err.code) : T("phone.error.other", { why: err.message });
      this.alarm(this.problem);
      this.draw();
      return null;
    } finally {
      this.#entering = false;
    }
  }
}
