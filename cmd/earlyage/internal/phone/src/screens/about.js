// This phone: who it is, whether it can be felt and heard, its storage, its language.
import { h, key, note, state } from "../ui.js";
import { choose, lang, languages, T } from "../words.js";

const names = { en: "English", es: "Español" };

export function tongues(app) {
  return h("div", { class: "keys" }, ...languages().map((l) => h("button", {
    type: "button", class: "key key-small", "data-k": "lang-" + l, lang: l, "aria-pressed": String(l === lang), onclick: () => choose(l).then(() => { app.draw(); return app.engine.refresh(); }).catch(() => {}),
  }, names[l] ?? l)));
}

/** Whether messages come while the page is closed; a key where that can be changed. */
function pushed(app) {
  const now = app.pushing ?? "none", text = { on: "done", off: "nolink", denied: "watch", none: "nolink" };
  return h("div", {}, h("dt", {}, T("phone.push.title")), h("dd", {}, state(text[now], T("phone.push." + now)), app.pushProblem && note("hold", "hold", app.pushProblem),
    (now === "on" || now === "off") && key("push", T(now === "on" ? "phone.push.end" : "phone.push.begin"), { pressed: now === "on", press: () => app.push(now === "on" ? "off" : "on") })));
}

export function about(app) {
  if (app.pushing === undefined) app.push("state");
  const { joined, space, persisted, canVibrate } = app.state, { sound } = app.silent;
  const yes = (good, a, b) => (good ? state("done", a) : state("watch", b));
  return {
    title: T("phone.about.title"),
    look: [
      h("h1", {}, T("phone.about.title")),
      h("dl", { class: "facts" },
        h("div", {}, h("dt", {}, T("phone.about.device")), h("dd", {}, joined.device)),
        h("div", {}, h("dt", {}, T("phone.about.site")), h("dd", {}, app.sheet?.site.name ?? joined.site)),
        h("div", {}, h("dt", {}, T("phone.about.roles")), h("dd", {}, joined.roles.map((r) => T("role." + r)).join(", "))),
        h("div", {}, h("dt", {}, T("phone.about.sheet")), h("dd", {}, app.sheet ? app.time(app.sheet.at) : T("phone.none"))),
        h("div", {}, h("dt", {}, T("phone.about.vibration")), h("dd", {}, yes(canVibrate, T("phone.yes"), T("phone.silent.vibrate")))),
        h("div", {}, h("dt", {}, T("phone.about.sound")), h("dd", {}, yes(!sound, T("phone.yes"), T("phone.silent.sound")))),
        h("div", {}, h("dt", {}, T("phone.about.storage")), h("dd", {}, yes(persisted, T("phone.about.persisted"), T("phone.outbox.kept")), h("br"), T("phone.about.space", { used: (space.used / 1e6).toFixed(1), quota: Math.round(space.quota / 1e6) }))),
        pushed(app)),
      tongues(app),
    ],
    thumb: [
      key("try", T("phone.about.try"), { press: () => { const r = app.alarm(T("phone.about.try")); app.say(T(r.felt || r.heard ? "phone.about.tried" : "phone.silent.both")); } }),
      key("back", T("phone.back"), { icon: "back", press: () => app.back() }),
    ],
  };
}
