// What the hub tells stands over whatever screen there is, large, until the person
// has answered or closed it. That it was shown is said once it was painted on a page
// that is looked at.
import { stamp } from "./envelope.js";
import { mayAnswer, whoAnswers } from "./told.js";
import { h, key, keys, note, state } from "./ui.js";
import { has, T } from "./words.js";

const hour = 3600_000;
const putOffs = [0.5, 1, 4, 8]; // h; longer is nobody allowed
const reasons = ["doing", "waiting", "watched"];
const guard = 600; // ms in which a thumb that was on its way presses nothing
const settle = 250; // ms in which a second touch of a glove does nothing
const marks = { urgent: "hold", high: "watch", medium: "watch", low: "nolink" };

const markOf = (m) => m.id || [m.what, ...(m.alerts ?? [])].join(" ");

export const priorityMark = (p) => marks[p] ?? "watch";

/** A page that is looked at has been painted with what stands on it now. */
function painted() {
  return new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(document.visibilityState === "visible"))));
}

const lookedAt = () => new Promise((done) => document.addEventListener("visibilitychange", () => done(), { once: true }));

export class Telling {
  #app;
  #box = h("dialog", { class: "told" });
  #now = null; // the message that stands there
  #later = []; // what gave way to something urgent: {message, form, from}
  #done = new Set(); // what this page has shown, by mark
  #rung = new Set();
  #form = null; // of putting off: {reason, own, problem}
  #still = null;
  #from = ""; // form: the screen that it came from, or the message
  #deaf = 0; // until when, by the page's clock, nothing is pressed

  constructor(app) {
    this.#app = app;
    document.body.append(this.#box);
    this.#box.addEventListener("cancel", (e) => { e.preventDefault(); this.#back(); });
    this.#box.addEventListener("click", (e) => performance.now() < this.#deaf && (e.preventDefault(), e.stopPropagation()), true);
  }

  get open() {
    return this.#box.open;
  }

  /** Looks whether there is something to be shown. */
  look() {
    const list = this.#app.state.told.filter((m) => !this.#done.has(markOf(m)));
    for (const m of list) this.#ring(m);
    const first = list.find((m) => !this.#now || markOf(m) !== markOf(this.#now));
    if (first && !this.#now) return this.#put(first);
    if (first?.urgent && !this.#now.urgent) {
      this.#later.unshift({ message: this.#now, form: this.#form, from: this.#from });
      return this.#put(first);
    }
    this.#count();
  }

  /** What is urgent is heard as it comes, seen or not. */
  #ring(m) {
    const mark = markOf(m);
    if (this.#rung.has(mark)) return;
    this.#rung.add(mark);
    const heard = (m.alerts ?? []).map((a) => this.#app.rang(a));
    if (m.urgent && m.what !== "cleared" && !(heard.length && heard.every(Boolean))) this.#app.alarm(this.#first(m));
    else this.#app.say(this.#first(m));
  }

  #first(m) {
    if (m.first) return m.first;
    return T("phone.told.missed", { place: this.#app.wall(m.wall)?.name ?? this.#app.sheet?.site.name ?? "", what: T(`alert.${m.kind}.name`) });
  }

  #put(m) {
    this.#now = m;
    this.#form = null;
    this.#draw(guard);
    this.#confirm(m);
  }

  /** Says that it was shown, once it was. */
  async #confirm(m) {
    while (!(await painted())) await lookedAt();
    if (this.#now !== m || !this.#box.open) return;
    this.#done.add(markOf(m));
    try {
      await this.#app.engine.shown(m);
    } catch (err) {
      console.warn("shown", err.message); // it is shown again when the page is opened anew
    }
  }

  /** Puts an alert of the list off, which is a message's form too. */
  putOff(a) {
    this.#now = { id: "", what: "raised", alerts: [a.id], kind: a.kind, wall: a.wall, priority: a.priority, first: T(`alert.${a.kind}.name`) };
    this.#form = { reason: "", own: "", problem: "" };
    this.#from = "list";
    this.#draw(guard);
  }

  /** deaf: ms in which nothing is pressed. */
  #draw(deaf = settle) {
    const m = this.#now;
    this.#deaf = performance.now() + deaf;
    delete this.#box.dataset.still;
    clearTimeout(this.#still);
    this.#still = setTimeout(() => (this.#box.dataset.still = ""), deaf);
    this.#box.setAttribute("aria-labelledby", "told-first");
    this.#box.replaceChildren(...(this.#form ? this.#putOffForm(m) : this.#message(m)).flat().filter(Boolean));
    if (!this.#box.open) this.#box.showModal();
    this.#box.scrollTo(0, 0);
    this.#box.focus();
    this.#count();
  }

  #message(m) {
    const app = this.#app, may = this.#may(m), urgent = m.urgent && m.what !== "cleared";
    const word = m.what === "raised" ? T("phone.priority." + (m.priority || "high")) : T("phone.told." + m.what);
    return [
      h("div", { class: "told-look" },
        h("p", { class: "told-head" }, state(m.what === "cleared" ? "done" : m.what === "raised" ? priorityMark(m.priority) : "nolink", word), h("span", { class: "told-link" }), h("span", { class: "small" }, T(m.missed ? "phone.alert.since" : "phone.told.at", { time: app.time(m.at) }))),
        h("h2", { id: "told-first", class: urgent ? "told-urgent" : "" }, this.#first(m)),
        m.what === "raised" && has(`alert.${m.kind}.do`) && h("p", { class: "told-do" }, h("b", {}, T(`alert.${m.kind}.do`))),
        m.text && h("p", { lang: "en" }, m.text),
        m.plain && (m.what === "raised" && m.kind ? h("details", { class: "slab" }, h("summary", {}, T("phone.told.whole")), h("p", { class: "told-plain" }, m.plain)) : h("p", { class: "told-plain" }, m.plain)),
        app.problem && note("hold", "hold", app.problem),
        m.what === "raised" && m.kind && !may && h("p", { class: "small" }, T("phone.told.others", { who: whoAnswers(m.kind).map((r) => T("role." + r)).join(", ") })),
        h("p", { class: "small told-more" })),
      h("div", { class: "told-keys" },
        may && key("told-act", T("phone.alert.see"), { sort: "key-main key-large", icon: "keep", press: () => this.#act(m) }),
        keys(may && key("told-later", T("phone.alert.later"), { press: () => { this.#from = "message"; this.#form = { reason: "", own: "", problem: "" }; this.#draw(); } }),
          key("told-close", T("phone.told.close"), { press: () => this.#close() }))),
    ];
  }

  #may(m) {
    return m.what === "raised" && (m.alerts ?? []).length === 1 && mayAnswer(m.kind, this.#app.state.joined?.roles ?? []) && this.#app.engine.mayRecord("alert.acknowledged");
  }

  /** How long and why, in one form: never over 8 h. */
  #putOffForm(m) {
    const f = this.#form;
    const own = h("input", { type: "text", maxlength: 500, "data-k": "later-own", value: f.own, oninput: (e) => { f.own = e.target.value; f.reason = ""; for (const b of this.#box.querySelectorAll("[aria-pressed]")) b.setAttribute("aria-pressed", "false"); } });
    return [
      h("div", { class: "told-look" }, h("h2", { id: "told-first" }, T("phone.later.title", { what: this.#first(m) })),
        f.problem && note("hold", "hold", f.problem),
        h("fieldset", { class: "field-choice" }, h("legend", {}, T("phone.later.why")),
          h("div", { class: "picks" }, ...reasons.map((r) => key("later-" + r, T("phone.later.reason." + r), { sort: "key-choice", pressed: f.reason === r, press: () => { f.reason = r; f.own = ""; this.#draw(); } }))),
          h("label", { class: "field" }, T("phone.later.own"), own))),
      h("div", { class: "told-keys told-flow" }, h("p", {}, h("b", {}, T("phone.later.long"))),
        keys(...putOffs.map((n) => key("later-h-" + n * 60, n < 1 ? T("phone.later.minutes", { n: n * 60 }) : T("phone.later.hours", { n }), { press: () => this.#shelve(m, n) }))),
        key("later-back", T("phone.back"), { icon: "back", press: () => this.#back() })),
    ];
  }

  async #act(m) {
    if ((await this.#app.record(m.wall ?? "", "alert.acknowledged", { alert: m.alerts[0], kind: m.kind }, {}, T("kind.alert.acknowledged"))) === null) return this.#draw();
    this.#close();
  }

  async #shelve(m, hours) {
    const f = this.#form, reason = f.own.trim() || (f.reason && T("phone.later.reason." + f.reason));
    if (!reason) {
      f.problem = T("phone.later.need");
      this.#app.say(f.problem);
      return this.#draw();
    }
    const from = Date.now(), data = { alert: m.alerts[0], kind: m.kind, at: stamp(from), until: stamp(from + hours * hour), reason };
    const number = await this.#app.record(m.wall ?? "", "alert.shelved", data, {}, T("kind.alert.shelved"));
    if (number === null) {
      f.problem = this.#app.problem;
      return this.#draw();
    }
    this.#close();
  }

  #back() {
    if (!this.#form || this.#from === "list") return this.#close();
    this.#form = null;
    this.#draw();
  }

  #close() {
    this.#box.close();
    this.#now = this.#form = null;
    this.look();
    const next = this.#now ? null : this.#later.shift();
    if (next) {
      [this.#now, this.#form, this.#from] = [next.message, next.form, next.from];
      this.#draw(guard);
    }
    if (!this.#box.open) this.#app.draw();
  }

  /** How much else waits, and that an answer stays on the phone for now. */
  #count() {
    const at = this.#box.querySelector(".told-more");
    if (!this.#now) return;
    const n = this.#later.length + this.#app.state.told.filter((m) => !this.#done.has(markOf(m)) && markOf(m) !== markOf(this.#now)).length;
    if (at) at.textContent = n ? T("phone.told.more", { n }) : "";
    this.#box.querySelector(".told-link")?.replaceChildren(this.#app.state.link === "up" ? "" : state("nolink", T("phone.link.down")));
  }
}
