// The alerts of a wall: what it is, how it stands, what the hub says, what to do.
import { priorityMark } from "../telling.js";
import { mayAnswer, waits } from "../told.js";
import { h, key, keys, note, state } from "../ui.js";
import { has, T } from "../words.js";

export function alerts(app, wall) {
  const list = [...wall.alerts.map((a) => ({ ...a, wall: wall.wall })), ...app.sheet.alerts.map((a) => ({ ...a, wall: "" }))];
  return {
    title: T("phone.alerts"),
    look: [
      h("h1", {}, T("phone.alerts")),
      h("p", { class: "small" }, T("phone.strip.as-of", { time: app.time(app.sheet.at) })),
      list.length === 0 && h("p", { class: "lead" }, T("phone.alerts.none")),
      ...list.map((a) => one(app, a)),
      app.problem && note("hold", "hold", app.problem),
    ],
    thumb: [key("back", T("phone.back"), { icon: "back", press: () => app.back() })],
  };
}

const marks = { acknowledged: "curing", "latched acknowledged": "curing", "returned unacknowledged": "watch", shelved: "nolink", "out of service": "nolink" };

/** What this phone has recorded of an alert that the snapshot does not know yet. */
const own = (app, a, kind) => a.id && app.state.outbox.findLast((e) => e.kind === kind && e.data.alert === a.id && e.fate !== "aside" && e.number > (app.sheet.device?.upto ?? 0));

function one(app, a) {
  const may = a.id && mayAnswer(a.kind, app.state.joined.roles) && app.engine.mayRecord("alert.acknowledged");
  const seen = own(app, a, "alert.acknowledged"), later = own(app, a, "alert.shelved"), said = (kind, data, text) => app.record(a.wall, kind, { alert: a.id, kind: a.kind, ...data }, {}, text).then(() => app.draw());
  return h("section", { class: "slab" },
    h("h2", {}, state(priorityMark(a.priority), T(`alert.${a.kind}.name`))),
    h("p", { class: "head" }, h("b", {}, T("phone.priority." + (a.priority || "high"))), stateOf(a)),
    (seen || later) && h("p", {}, state("placing", T(seen ? "phone.alert.seen" : "phone.alert.put-off")), h("span", { class: "small" }, " " + T("phone.alert.on-the-way"))),
    a.until && h("p", { class: "small" }, T("phone.alert.until", { time: app.time(a.until), why: a.reason })),
    h("p", { lang: "en" }, a.text), waits(a) && h("p", {}, h("b", {}, T(`alert.${a.kind}.do`))),
    h("p", { class: "small" }, T("phone.alert.since", { time: app.time(a.since) })),
    may && keys(
      !a.acknowledged && !seen && key("seen-" + a.id, T("phone.alert.see"), { icon: "keep", press: () => said("alert.acknowledged", {}, T("kind.alert.acknowledged")) }),
      a.state === "shelved" ? key("unshelve-" + a.id, T("phone.alert.unshelve"), { press: () => said("alert.unshelved", {}, T("kind.alert.unshelved")) })
        : waits(a) && !seen && !later && key("later-" + a.id, T("phone.alert.later"), { press: () => app.telling.putOff(a) })));
}

/** How an alert stands, in the standard's words. */
function stateOf(a) {
  const name = (a.state || "not raised").replaceAll(" ", "-"), mark = a.state ? (marks[a.state] ?? priorityMark(a.priority)) : "nolink";
  return state(mark, T(has("phone.alarm." + name) ? "phone.alarm." + name : "alarm." + name));
}
