// Before there is anything to show: joining, and waiting for the first sheet.
import { h, key, note } from "../ui.js";
import { has, T } from "../words.js";
import { tongues } from "./about.js";

/** The code of a link: the last part of what was scanned or typed. */
const codeOf = (text) => /(?:#join[./])?([A-Za-z0-9-]+)\s*$/.exec(text.split("#").at(-1))?.[1] ?? "";

export function join(app) {
  const f = (app.joinForm ??= { code: app.code ?? "", name: "" });
  if (app.code) [f.code, app.code] = [app.code, null];
  const send = async () => {
    app.problem = "";
    try {
      await app.engine.join(codeOf(f.code), f.name.trim().toLowerCase());
      app.joinForm = null;
      app.go("#walls");
    } catch (err) {
      const text = "phone.join." + (err.code === "code" ? "code-ended" : err.code);
      app.problem = has(text) ? T(text) : T("phone.error.other", { why: err.message });
      app.draw();
    }
  };
  const ready = f.code !== "";
  return {
    title: T("phone.join.title"),
    look: [
      h("h1", {}, T("phone.join.title")),
      h("p", { class: "lead" }, ready ? T("phone.join.ready") : T("phone.join.how")),
      h("label", { class: "field" }, T("phone.join.code"), h("input", { type: "text", "data-k": "code", value: f.code, autocapitalize: "off", autocomplete: "off", spellcheck: "false", oninput: (e) => (f.code = e.target.value) })),
      h("p", { class: "small" }, T("phone.join.keeps")),
      tongues(app),
    ],
    thumb: [
      app.problem && note("hold", "hold", app.problem),
      app.state.joining ? note("wait", "again", T("phone.join.wait")) : key("join", T("phone.join.do"), { sort: "key-main", icon: "in", press: send }),
    ],
  };
}

/** Joined, and the hub has not yet told of the site. */
export function waiting(app) {
  return {
    title: T("phone.waiting.title"),
    look: [h("h1", {}, T("phone.waiting.title")), h("p", { class: "lead" }, T("phone.waiting.why"))],
    thumb: [key("hurry", T("phone.hurry"), { sort: "key-main", icon: "again", press: () => app.engine.hurry() })],
  };
}
