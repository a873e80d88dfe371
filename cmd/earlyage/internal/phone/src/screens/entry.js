// One entry that was recorded here: what it says, where it is, and how it is mended.
import { forms } from "../forms.js";
import { h, key, note } from "../ui.js";
import { T } from "../words.js";
import { fate, nameOf, what } from "./outbox.js";

export function entry(app, number) {
  const e = app.state.outbox.find((x) => x.number === number);
  if (!e) return { title: "", look: [h("h1", {}, T("phone.entry.none"))], thumb: [key("back", T("phone.back"), { press: () => app.go("#outbox") })] };
  const route = "entry/" + number;
  if (app.form?.route !== route) app.form = { route, reason: "", why: "" };
  const f = app.form, name = e.kind === "temperature.read" && e.data.min_c !== undefined ? "min-max" : e.kind;
  const fixed = e.kind.startsWith("record.") || e.kind === "device.reported";
  const withdrawn = app.state.outbox.some((x) => x.kind === "record.voided" && x.data.target?.id === e.id);
  const out = async () => {
    if (!f.reason.trim()) {
      f.why = T("phone.range.need", { field: T("phone.field.why") });
      app.say(f.why);
      app.draw();
      return;
    }
    if (await app.withdraw(number, f.reason.trim())) app.go("#outbox");
  };
  return {
    title: nameOf(e),
    look: [
      h("h1", {}, nameOf(e)), h("p", { class: "lead" }, what(app, e)), h("p", {}, fate(e)), h("p", {}, T("phone.fate." + e.fate + ".why")),
      e.reason && note("hold", "hold", e.reason),
      withdrawn && note("wait", "end", T("phone.entry.withdrawn")),
      !fixed && !withdrawn && h("label", { class: "field" }, T("phone.field.why"), h("input", { type: "text", maxlength: 500, "data-k": "why", value: f.reason, oninput: (x) => (f.reason = x.target.value) })),
    ],
    thumb: [
      f.why && note("hold", "hold", f.why), app.problem && note("hold", "hold", app.problem),
      !fixed && !withdrawn && key("withdraw", T("phone.withdraw"), { sort: "key-hold", icon: "end", press: out }),
      !fixed && !withdrawn && forms[name] && app.wall(e.wall) && key("amend", T("phone.amend"), { sort: "key-main", press: () => app.go(`#w/${e.wall}/do/${name}/${number}`) }),
      key("back", T("phone.back"), { icon: "back", press: () => app.back() }),
    ],
  };
}
