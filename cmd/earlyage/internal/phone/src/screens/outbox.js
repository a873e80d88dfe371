// Everything that was recorded here, and what became of it.
import { said } from "../format.js";
import { stationName } from "../places.js";
import { h, key, note, state } from "../ui.js";
import { T } from "../words.js";

export const fates = { waiting: "nolink", sent: "curing", folded: "done", aside: "hold" };
const late = 10 * 60_000;

export function outbox(app) {
  const list = [...app.state.outbox].reverse().sort((a, b) => (b.fate === "aside") - (a.fate === "aside"));
  return {
    title: T("phone.outbox.title"),
    look: [
      h("h1", {}, T("phone.outbox.title")),
      h("p", {}, app.state.waiting ? T("phone.outbox.waiting", { n: app.state.waiting }) : T("phone.outbox.none")),
      list.length === 0 && h("p", { class: "lead" }, T("phone.outbox.empty")),
      h("ul", { class: "rows" }, ...list.map((e) => h("li", {}, key("entry-" + e.number, nameOf(e), { sort: "key-plain", more: [what(app, e), h("br"), fate(e), e.fate === "aside" ? h("span", { class: "small aside" }, e.reason) : ""], press: () => app.go("#entry/" + e.number) })))),
      !app.state.persisted && note("wait", "watch", T("phone.outbox.kept")),
    ],
    thumb: [
      app.state.waiting > 0 && key("hurry", T("phone.hurry"), { icon: "again", press: () => app.engine.hurry() }),
      key("back", T("phone.back"), { icon: "back", press: () => app.back() }),
    ],
  };
}

export const nameOf = (e) => T("kind." + e.kind);

export const fate = (e) => state(fates[e.fate], T("phone.fate." + e.fate));

/** One line of an entry: where, how much, when. */
export function what(app, e) {
  const d = e.kind === "record.amended" ? e.data.data : e.data, wall = app.wall(e.wall);
  const place = (m) => (wall ? stationName(app, wall, m) : app.q("station", m));
  const at = e.at ?? e.entered;
  return [
    wall && wall.name,
    d.from_m !== undefined && T("phone.run", { from: place(d.from_m), to: place(d.to_m) }),
    d.top_m !== undefined && app.q("length", d.top_m),
    d.celsius !== undefined && app.q("temperature", d.celsius),
    d.value !== undefined && said(String(d.value), "", app.units),
    d.load,
    Array.isArray(d.braces) && d.braces.map((b) => b.name ?? b).join(", "),
    app.time(at + (app.state.offsetMs ?? 0)),
    e.entered - at > late && T("phone.remembered.word"),
  ].filter(Boolean).join(" · ");
}
