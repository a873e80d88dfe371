// Everything else that can be recorded, by what it is about.
import { forms } from "../forms.js";
import { h, key } from "../ui.js";
import { T } from "../words.js";

const groups = {
  pour: ["lift.placed", "lift.consolidated", "load.arrived", "load.discharged", "load.rejected", "pour.started", "pour.stopped", "pour.resumed", "pour.finished", "joint.felt", "stretch.left-low"],
  wall: ["line.read", "line.corrected", "form.moved", "concrete.inspected", "wall.tied-in", "specimen.made"],
  braces: ["brace.set", "brace.inspected", "brace.disturbed", "brace.stripped", "hold.placed"],
  weather: ["temperature.read", "min-max", "wind.read", "protection.placed", "protection.removed"],
};

export function more(app, wall) {
  const may = (name) => app.engine.mayRecord(forms[name].kind ?? name);
  return {
    title: T("phone.more"),
    look: [
      h("h1", {}, T("phone.more")),
      ...wall.checks.filter(() => app.engine.mayRecord("check.answered")).map((c) => key("check-" + c.list, T("phone.check." + c.list), { sort: "key-plain", press: () => app.go(`#w/${wall.wall}/check/${c.list}`) })),
      key("to-strip", T("phone.moment.strip"), { sort: "key-plain", press: () => app.go(`#w/${wall.wall}/strip`) }),
      ...Object.entries(groups).flatMap(([group, list]) => {
        const names = list.filter(may);
        return names.length ? [h("h2", {}, T("phone.group." + group)), h("div", { class: "keys" }, ...names.map((n) => key(n, T("phone.form." + n), { press: () => app.go(`#w/${wall.wall}/do/${n}`) })))] : [];
      }),
      wall.open.length > 0 && h("section", { class: "slab" }, h("h2", {}, T("phone.points.open")), h("ul", { class: "plain", lang: "en" }, ...wall.open.map((t) => h("li", {}, t)))),
    ],
    thumb: [key("about", T("phone.about.title"), { press: () => app.go("#about") }), key("back", T("phone.back"), { icon: "back", press: () => app.back() })],
  };
}
