// What the hub says of the braces. May strip stands here only from its answer under
// a minute old, beside the caution; everything else is to be asked for.
import { said } from "../format.js";
import { hoursLeft } from "../sums.js";
import { h, key, note, state } from "../ui.js";
import { T } from "../words.js";

/** The hours to the earliest strip, as the absolute deadline that was given, with
 * the caution. */
export function stripTimes(app, wall) {
  return app.live.put("div", { class: "slab" }, () => {
    if (app.unknown(wall).length) return [state("nolink", T("phone.ask-hub")), h("p", {}, T("phone.strip.unknown"))];
    return [...deadline(app, wall.strip), h("p", { class: "small" }, T("phone.strip.as-of", { time: app.time(app.sheet.at) })), h("p", { class: "small" }, T("phone.caution"))];
  });
}

function deadline(app, s) {
  const now = app.engine.now();
  const floor = s.criteria.find((c) => c.name === "floor")?.at;
  const sure = Date.parse(s.earliest ?? floor ?? "");
  if (s.earliest && sure <= now) return [h("p", { class: "lead" }, state("nolink", T("phone.ask-hub")))];
  return [
    sure > now && h("p", { class: "lead" }, h("b", {}, T("phone.strip.earliest", { time: app.time(sure, true) })), " · " + T("phone.hours", { n: hoursLeft(sure, now) })),
    !s.earliest && h("p", {}, h("b", {}, T("phone.strip.waits", { what: T("criterion." + s.governs) }))),
    !s.earliest && s.expected.likely && h("p", {}, T("phone.strip.expected", { time: app.time(s.expected.likely, true), late: app.time(s.expected.late ?? s.expected.likely, true) })),
  ].filter(Boolean);
}

export function strip(app, wall) {
  const f = (app.form?.route === "strip/" + wall.wall ? app.form : (app.form = { route: "strip/" + wall.wall, asking: false, why: "" }));
  const ask = async () => {
    if (f.asking) return;
    f.asking = true;
    f.why = "";
    app.draw();
    try {
      await app.engine.ask(wall.wall);
    } catch (err) {
      f.why = T("phone.ask." + (err.code === "no-link" ? "no-link" : "other"), { why: err.message });
      app.say(f.why);
    }
    f.asking = false;
    app.draw();
  };
  // Drawn anew when the answer has become old.
  app.live.put("span", {}, () => {
    const fresh = app.fresh(wall);
    if (f.fresh !== undefined && f.fresh !== fresh) queueMicrotask(() => app.draw());
    f.fresh = fresh;
    return [];
  });
  const fresh = app.fresh(wall), may = fresh ? wall.braces.filter((b) => b.may_strip && b.permit) : [];
  return {
    title: T("phone.moment.strip"),
    look: [
      h("h1", {}, T("phone.moment.strip")),
      note("hold", "watch", T("phone.caution")),
      fresh ? answer(app, wall) : [h("p", { class: "lead" }, state("nolink", T("phone.ask-hub"))), h("p", {}, app.unknown(wall).length ? T("phone.strip.unknown") : T("phone.strip.stale"))],
      f.why && note("hold", "hold", f.why),
    ],
    thumb: [
      key("back", T("phone.back"), { icon: "back", press: () => app.back() }),
      may.length > 0 && app.engine.mayRecord("brace.stripped") && key("brace.stripped", T("phone.form.brace.stripped"), { press: () => app.go(`#w/${wall.wall}/do/brace.stripped`) }),
    ],
    main: [
      key("ask", f.asking ? T("phone.asking") : T("phone.ask-hub.do"), { sort: "key-main key-large", icon: "again", press: ask }),
    ],
  };
}

/** The hub's answer, brace by brace, and why. */
function answer(app, wall) {
  const s = wall.strip;
  return [
    app.live.put("p", { class: "small" }, () => [T("phone.strip.age", { n: Math.ceil(app.state.sheetAge / 1000) })]),
    s.permits.length ? h("p", {}, T("phone.permit", { list: s.permits.map((p) => p.number).join(", ") })) : note("hold", "hold", T("phone.permit.none")),
    h("ul", { class: "rows" }, ...wall.braces.filter((b) => b.state !== "planned").map((b) => brace(app, b))),
    h("h2", {}, T("phone.strip.why")),
    h("ul", { class: "rows" }, ...s.criteria.map((c) => criterion(app, c, s))),
  ];
}

function brace(app, b) {
  const time = b.earliest ?? b.likely;
  const word = b.state === "stripped" ? state("done", T("phone.brace.stripped"))
    : b.may_strip ? state("done", T("state.may-strip"))
      : state("hold", b.state === "disturbed" ? T("phone.brace.disturbed") : T("phone.brace.wait"));
  return h("li", { class: "row brace" }, h("p", { class: "row-name" }, b.name, h("span", { class: "small" }, app.q("station", b.at_m))),
    h("p", { class: "brace-say" }, word,
      b.state !== "stripped" && !b.may_strip && h("span", { class: "small" }, T("phone.strip.waits", { what: T("criterion." + b.governs) }),
        time && Date.parse(time) > app.engine.now() ? ` · ${app.time(time, true)} · ${T("phone.hours", { n: hoursLeft(Date.parse(time), app.engine.now()) })}` : ""),
      b.permit && b.state !== "stripped" && h("span", { class: "small" }, T("phone.permit", { list: b.permit }))));
}

function criterion(app, c, s) {
  const have = [c.have && said(c.have, c.unit, app.units), c.need && T("phone.need", { need: said(c.need, c.unit, app.units) })].filter(Boolean).join(" · ");
  return h("li", { class: "row" }, h("p", { class: "row-name" }, T("criterion." + c.name), h("span", { class: "small" }, have), c.note && h("span", { class: "small", lang: "en" }, c.note)),
    c.met ? state("done", T("phone.met")) : state(c.name === s.governs ? "hold" : "nolink", T("phone.not-met")));
}
