// The wall's own screen: one for each moment of the job, the next thing to do
// largest and under the thumb.
import { forms } from "../forms.js";
import { loadsNow, offer, onChute, pouring } from "../moment.js";
import { stretchName } from "../places.js";
import { minutesLeft, rises } from "../sums.js";
import { waits } from "../told.js";
import { h, key, keys, mark, note, state, wallState } from "../ui.js";
import { T } from "../words.js";
import { notes } from "./walls.js";
import { stripTimes } from "./strip.js";

export function moment(app, wall) {
  const m = app.momentOf(wall), view = moments[m](app, wall);
  const alerts = wall.alerts.filter(waits);
  return {
    title: wall.name,
    look: [
      h("div", { class: "head" }, h("h1", {}, T("phone.moment." + m)), wallState(wall)),
      ...notes(app), silent(app, m), recorded(app),
      alerts.length > 0 && key("alerts", T(`alert.${alerts[0].kind}.name`), { sort: alerts[0].priority === "urgent" ? "key-hold" : "", icon: alerts[0].priority === "urgent" ? "hold" : "watch", more: T("phone.alerts.more", { n: alerts.length }), press: () => app.go(`#w/${wall.wall}/alerts`) }),
      ...view.look,
    ],
    thumb: [keys(...view.keys.filter(Boolean), key("more", T("phone.more"), { press: () => app.go(`#w/${wall.wall}/more`) }))],
    main: view.main ? [view.main] : null,
  };
}

/** What was just recorded, with the way to mend it. */
function recorded(app) {
  if (!app.recorded) return null;
  const e = app.state.outbox.find((x) => x.number === app.recorded.number);
  if (!e) return null;
  return h("div", { class: "slab recorded" }, h("p", {}, mark("done"), h("b", {}, T("phone.recorded", { what: app.recorded.text })), h("span", { class: "small" }, " " + T("phone.fate." + e.fate))),
    key("mend", T("phone.mend"), { sort: "key-small", press: () => app.go("#entry/" + e.number) }));
}

/** Said where it matters: this phone cannot be felt or heard. */
function silent(app, m) {
  if (m !== "place") return null;
  const { vibrate, sound } = app.silent;
  if (sound && vibrate) return note("watch", "watch", T("phone.silent.both"));
  if (sound) return note("watch", "watch", T("phone.silent.sound"));
  return vibrate ? note("wait", "nolink", T("phone.silent.vibrate")) : null;
}

const to = (app, wall, name, text, options = {}) => app.engine.mayRecord(forms[name].kind ?? name) && key(name, text ?? T("phone.form." + name), { ...options, press: () => app.go(`#w/${wall.wall}/do/${name}`) });

const done = (unknown, kind) => unknown.some((e) => e.kind === kind && !e.voided);

/** How many items of a list are open, own answers counted. */
export function openItems(app, wall, list) {
  const c = wall.checks.find((x) => x.list === list);
  if (!c) return null;
  const own = new Map(app.unknown(wall).filter((e) => e.kind === "check.answered" && e.data.list === list && !e.voided).map((e) => [e.data.item, e.versions.at(-1)]));
  return c.open.filter((o) => !own.has(o.item) || own.get(o.item).answer === "no");
}

const moments = { ready, place, straighten, hold, strip, done: finished };

function ready(app, wall) {
  const unknown = app.unknown(wall), open = openItems(app, wall, "before") ?? [];
  const planned = wall.braces.filter((b) => b.state === "planned").length > 0 && !done(unknown, "brace.set");
  const lineRead = wall.line.read !== null || done(unknown, "line.read");
  const steps = [
    { good: !planned, name: T("phone.ready.braces"), key: (sort) => to(app, wall, "brace.set", null, { sort }) },
    { good: lineRead, name: T("phone.ready.line"), key: (sort) => to(app, wall, "line.read", null, { sort }) },
    { good: open.length === 0, name: T("phone.ready.checks", { n: open.length }), key: (sort) => app.engine.mayRecord("check.answered") && key("check", T("phone.form.check"), { sort, more: T("phone.ready.checks", { n: open.length }), press: () => app.go(`#w/${wall.wall}/check/before`) }) },
    { good: false, last: true, key: (sort) => to(app, wall, "pour.started", null, { sort }) },
  ];
  const first = steps.findIndex((s) => !s.good);
  return {
    look: [h("ul", { class: "steps" }, ...steps.filter((s) => !s.last).map((s) => h("li", {}, s.good ? state("done", s.name) : state("nolink", s.name))))],
    keys: steps.filter((_, i) => i !== first).map((s) => s.key("")),
    main: steps[first].key("key-main key-large"),
  };
}

function place(app, wall) {
  const unknown = app.unknown(wall), off = app.state.offsetMs ?? 0;
  const stopped = pouring(wall, unknown) === "stopped";
  const o = offer(wall, unknown, Date.now(), off), chute = onChute(loadsNow(wall, unknown, off));
  const lift = T("phone.offer", { run: stretchName(app, wall, o.from, o.to), top: app.q("length", o.top) });
  return {
    look: [
      app.live.put("div", { class: "facts-now" }, () => now(app, wall, o)),
    ],
    keys: [
      chute && to(app, wall, "load.discharged"), to(app, wall, "load.arrived"), to(app, wall, "lift.consolidated"),
      to(app, wall, "temperature.read"), !stopped && to(app, wall, "pour.stopped"), to(app, wall, "pour.finished"),
    ],
    main: stopped ? to(app, wall, "pour.resumed", null, { sort: "key-main key-large" }) : to(app, wall, "lift.placed", null, { sort: "key-main key-large", icon: "placing", more: lift }),
  };
}

/** By itself, also without a signal: rise against its limit, and the load on the chute. */
function now(app, wall, o) {
  const parts = app.surface(wall), off = app.state.offsetMs ?? 0, at = app.engine.now();
  const here = rises(parts, Math.min(o.from, o.to) * 1000, Math.max(o.from, o.to) * 1000);
  const chute = onChute(loadsNow(wall, app.unknown(wall), off)), out = [];
  if (here) {
    const full = here.now <= 0;
    out.push(h("p", { class: "fact" + (full ? " fact-watch" : "") }, h("span", { class: "fact-name" }, T("phone.rise")), h("b", {}, T("phone.rise.of", { rise: app.q("length", here.rise / 1000), limit: app.q("length", wall.lift.rise_m) })),
      h("span", {}, full ? T("phone.rise.full") : T("phone.rise.now", { now: app.q("length", here.now / 1000) }), from(app, parts, o))));
  }
  if (chute) out.push(load(app, chute, at));
  return out;
}

/** From when a full lift: the hub's word alone. */
function from(app, parts, o) {
  const f = parts.filter((p) => p.fullFrom && p.to > Math.min(o.from, o.to) * 1000 && p.from < Math.max(o.from, o.to) * 1000).sort((a, b) => b.fullFrom - a.fullFrom)[0];
  return f && f.fullFrom > app.engine.now() ? " " + T("phone.rise.from", { full: app.q("length", f.full / 1000), time: app.time(f.fullFrom, true) }) : "";
}

function load(app, l, at) {
  const age = l.batched ? minutesLeft(at, l.batched) : null, left = l.old ? minutesLeft(l.old, at) : null;
  const s = left === null ? "" : left < 0 ? " fact-hold" : left < 15 ? " fact-watch" : "";
  return h("p", { class: "fact" + s }, h("span", { class: "fact-name" }, T("phone.chute", { load: l.load })),
    h("b", {}, age === null ? T("phone.chute.unknown") : T("phone.chute.age", { n: age })),
    left !== null && h("span", {}, left < 0 ? T("phone.chute.old", { time: app.time(l.old) }) : T("phone.chute.left", { n: left })));
}

function straighten(app, wall) {
  const l = wall.line;
  return {
    look: [note("watch", "watch", T("phone.straighten.do")), h("p", {}, T("phone.straighten.limit", { limit: app.q("thickness", l.limit_mm) })),
      l.after && l.read && h("p", {}, T("phone.straighten.last", { worst: app.q("thickness", l.worst_mm), time: app.time(l.read) }))],
    keys: [to(app, wall, "line.corrected"), to(app, wall, "temperature.read"), to(app, wall, "pour.resumed")],
    main: to(app, wall, "line.read", null, { sort: "key-main key-large" }),
  };
}

function hold(app, wall) {
  const open = openItems(app, wall, "after") ?? [];
  return {
    look: [stripTimes(app, wall), !wall.line.good && note("watch", "watch", T("phone.line.bad", { worst: app.q("thickness", wall.line.worst_mm) }))],
    keys: [
      to(app, wall, "brace.inspected"), to(app, wall, "min-max"), to(app, wall, "brace.disturbed"), to(app, wall, "line.read"),
      open.length > 0 && app.engine.mayRecord("check.answered") && key("check", T("phone.form.check"), { more: T("phone.ready.checks", { n: open.length }), press: () => app.go(`#w/${wall.wall}/check/after`) }),
      key("to-strip", T("phone.moment.strip"), { press: () => app.go(`#w/${wall.wall}/strip`) }),
    ],
    main: to(app, wall, "temperature.read", null, { sort: "key-main key-large" }),
  };
}

function strip(app, wall) {
  return {
    look: [stripTimes(app, wall)],
    keys: [to(app, wall, "temperature.read"), to(app, wall, "brace.inspected")],
    main: key("to-strip", T("phone.moment.strip"), { sort: "key-main key-large", press: () => app.go(`#w/${wall.wall}/strip`) }),
  };
}

function finished(app, wall) {
  return { look: [h("p", { class: "lead" }, T("phone.done.why"))], keys: [to(app, wall, "temperature.read"), to(app, wall, "form.moved")], main: null };
}
