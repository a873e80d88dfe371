// Which wall.
import { minutesLeft } from "../sums.js";
import { h, key, note, wallState } from "../ui.js";
import { T } from "../words.js";

const order = ["placing", "planned", "may-strip", "curing", "stripped", "handed-over"];

export function walls(app) {
  const list = [...app.sheet.walls].sort((a, b) => order.indexOf(a.state) - order.indexOf(b.state) || (a.wall < b.wall ? -1 : 1));
  return {
    title: T("phone.walls.title"),
    look: [
      h("h1", {}, T("phone.walls.title")), h("p", { class: "eyebrow" }, app.sheet.site.name),
      ...notes(app),
      h("div", { class: "keys" }, ...list.map((w) => key("wall-" + w.wall, w.name, { sort: app.chosen?.wall === w.wall ? "key-now" : "", more: [wallState(w), " ", next(app, w)], press: () => app.choose(w.wall) }))),
      list.length === 0 && h("p", {}, T("phone.walls.none")),
    ],
    thumb: [key("about", T("phone.about.title"), { press: () => app.go("#about") })],
  };
}

function next(app, w) {
  if (app.momentOf(w) === "place") {
    const j = app.joint(w);
    return j ? T("phone.joint.left", { n: Math.max(0, minutesLeft(j.deadline, app.engine.now())) }) : "";
  }
  return T("phone.moment." + app.momentOf(w));
}

/** What is wrong with the phone or its link. */
export function notes(app) {
  return [
    ...app.state.troubles.map((t) => note("hold", "hold", T("phone.trouble." + t))),
    !app.sheet.level && note("watch", "watch", T("phone.trouble.level")),
    app.state.update && key("update", T("phone.update"), { more: T("phone.update.why"), icon: "again", press: () => app.engine.update() }),
  ];
}
