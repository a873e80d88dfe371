// The alerts of a wall: what it is, what the hub says, what to do.
import { h, key, note, state } from "../ui.js";
import { T } from "../words.js";

const marks = { urgent: "hold", high: "watch", medium: "watch", low: "nolink" };

export function alerts(app, wall) {
  const list = [...wall.alerts, ...app.sheet.alerts];
  return {
    title: T("phone.alerts"),
    look: [
      h("h1", {}, T("phone.alerts")),
      h("p", { class: "small" }, T("phone.strip.as-of", { time: app.time(app.sheet.at) })),
      list.length === 0 && h("p", { class: "lead" }, T("phone.alerts.none")),
      ...list.map((a) => one(app, wall, a)),
      app.problem && note("hold", "hold", app.problem),
    ],
    thumb: [key("back", T("phone.back"), { icon: "back", press: () => app.back() })],
  };
}

function one(app, wall, a) {
  const seen = a.acknowledged || app.state.outbox.some((e) => e.kind === "alert.acknowledged" && e.data.alert === a.id && e.fate !== "aside");
  const may = a.id && a.who.some((r) => app.state.joined.roles.includes(r)) && app.engine.mayRecord("alert.acknowledged");
  const on = wall.alerts.includes(a) ? wall.wall : "";
  return h("section", { class: "slab" },
    h("h2", {}, state(marks[a.priority], T(`alert.${a.kind}.name`))),
    h("p", { lang: "en" }, a.text), h("p", {}, h("b", {}, T(`alert.${a.kind}.do`))),
    h("p", { class: "small" }, T("phone.alert.since", { time: app.time(a.since) })),
    seen ? state("done", T("phone.alert.seen")) : may && key("seen-" + a.id, T("phone.alert.see"), { icon: "keep", press: () => app.record(on, "alert.acknowledged", { alert: a.id, kind: a.kind }, {}, T("kind.alert.acknowledged")).then(() => app.draw()) }));
}
