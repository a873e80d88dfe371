// The strip on top of every screen: the wall, the link, the oldest open joint, and
// what is not yet with the hub.
import { jointState, minutesLeft } from "./sums.js";
import { h, jointMark, mark, state } from "./ui.js";
import { T } from "./words.js";
import { stretchName } from "./places.js";

export function strip(app) {
  if (!app.state.joined) return [h("p", { class: "band-name" }, h("span", {}, "earlyage"))];
  const wall = app.route()[1]?.wall ? app.route()[1] : app.chosen;
  return [
    h("nav", { class: "strip-top", "aria-label": T("phone.strip.label") },
      h("button", { type: "button", class: "strip-wall", "data-k": "walls", onclick: () => app.go("#walls") },
        h("span", { class: "strip-name" }, wall ? wall.name : T("phone.walls.title")), h("span", { class: "small" }, T("phone.walls.other"))),
      h("button", { type: "button", class: "strip-out", "data-k": "outbox", onclick: () => app.go("#outbox") }, link(app), unsent(app))),
    wall && app.momentOf(wall) === "place" ? app.topLive.put("div", { class: "strip-joint" }, () => joint(app, wall)) : null,
  ].filter(Boolean);
}

function link(app) {
  return app.state.link === "up" ? state("done", T("phone.link.up")) : state("nolink", T("phone.link.down"));
}

function unsent(app) {
  const n = app.state.waiting, aside = app.state.outbox.filter((e) => e.fate === "aside" && e.kind !== "alert.shown").length;
  if (aside) return h("span", { class: "strip-count state-hold" }, T("phone.strip.aside", { n: aside }));
  return h("span", { class: "strip-count" }, n ? T("phone.strip.waiting", { n }) : T("phone.strip.none"));
}

/** Minutes left on the oldest open joint, and where. */
export function joint(app, wall) {
  const j = app.joint(wall);
  if (!j) return [state("nolink", T("phone.joint.none"))];
  const now = app.engine.now(), left = minutesLeft(j.deadline, now), s = jointState(j, now);
  return [
    h("span", { class: `joint joint-${s}` }, mark(jointMark(s)),
      h("span", { class: "joint-left" }, left < 0 ? T("phone.joint.past") : T("phone.joint.left", { n: left })),
      left >= 0 && h("span", { class: "joint-word" }, T("phone.joint." + s))),
    h("span", { class: "joint-where" }, stretchName(app, wall, j.from / 1000, j.to / 1000), j.own ? " · " + T("phone.joint.own") : ""),
  ];
}
