// A check list, item by item: the text large, reason and tolerance one touch away.
import { parse, said } from "../format.js";
import { h, key, keys, note, state } from "../ui.js";
import { T } from "../words.js";
import { openItems } from "./moment.js";

const dims = { m: "length", mm: "thickness", "m/s": "speed", "°C": "temperature" };

export function check(app, wall, list, id) {
  const items = app.sheet.lists.find((l) => l.name === list)?.items ?? [];
  const open = openItems(app, wall, list) ?? [];
  if (id) return one(app, wall, list, items.find((i) => i.id === id), open);
  return overview(app, wall, list, items, open);
}

const path = (wall, list, id) => `#w/${wall.wall}/check/${list}` + (id ? "/" + id : "");

function overview(app, wall, list, items, open) {
  const isOpen = new Map(open.map((o) => [o.item, o.why]));
  const stops = open.filter((o) => o.item !== "rest"), rest = isOpen.has("rest");
  const next = stops[0];
  const sign_ = (sort) => rest && key("sign", T("phone.check.sign"), { sort, more: T("phone.check.sign.why"), press: () => sign(app, wall, list) });
  return {
    title: T("phone.check." + list),
    look: [
      h("h1", {}, T("phone.check." + list)),
      h("p", { class: "lead" }, open.length ? T("phone.ready.checks", { n: open.length }) : T("phone.check.done")),
      h("ul", { class: "rows" }, ...items.filter((i) => !i.waived).map((i) => row(app, wall, list, i, isOpen, rest))),
    ],
    thumb: [
      key("back", T("phone.back"), { icon: "back", press: () => app.go("#w/" + wall.wall) }),
      next && sign_(""),
    ],
    main: [
      app.problem && note("hold", "hold", app.problem),
      !next && sign_("key-main key-large"),
      next && key("next", T("phone.check.next"), { sort: "key-main key-large", more: items.find((i) => i.id === next.item)?.text, press: () => app.go(path(wall, list, next.item)) }),
    ],
  };
}

function row(app, wall, list, item, isOpen, rest) {
  const answer = own(app, wall, list, item.id) ?? wall.checks.find((c) => c.list === list)?.answers.find((a) => a.item === item.id);
  const word = isOpen.has(item.id) ? state("hold", T("phone.check.open")) : answer ? state("done", T("phone.answer." + answer.answer)) : rest ? state("nolink", T("phone.check.unsigned")) : state("done", T("phone.check.signed"));
  return h("li", {}, key("item-" + item.id, item.text, { sort: "key-plain", more: word, press: () => app.go(path(wall, list, item.id)) }));
}

function own(app, wall, list, id) {
  return app.unknown(wall).filter((e) => e.kind === "check.answered" && e.data.list === list && e.data.item === id && !e.voided).at(-1)?.versions.at(-1);
}

async function sign(app, wall, list) {
  if (await app.record(wall.wall, "check.answered", { list, item: "rest", answer: "yes" }, {}, T("kind.check.answered"))) app.go("#w/" + wall.wall);
}

/** One item. A number that is asked for is caught by its range; one that is out of
 * tolerance is recorded as it is, with its answer. */
function one(app, wall, list, item, open) {
  if (!item) return { title: "", look: [h("h1", {}, T("phone.check.unknown"))], thumb: [key("back", T("phone.back"), { press: () => app.back() })] };
  const route = ["check", wall.wall, list, item.id].join("/");
  if (app.form?.route !== route) app.form = { route, value: "", note: "", asked: "", why: "" };
  const f = app.form, dim = dims[item.unit] ?? "plain", units = app.units;
  const unit = said("0", item.unit, units).replace(/^[\d.]+ ?/, "");
  return {
    title: item.text,
    look: [
      h("h1", { class: "check-text", lang: app.sheet.lang }, item.text),
      h("details", { class: "slab" }, h("summary", { "data-k": "why" }, T("phone.check.why")),
        h("p", { lang: app.sheet.lang }, item.reason), item.tolerance && h("p", {}, h("b", {}, tolerance(item, units))),
        h("p", { class: "small", lang: "en" }, [item.source, item.status].filter(Boolean).join(" · "))),
      item.asks && h("label", { class: "field" }, T("phone.check.value", { unit }), h("input", { type: "text", inputmode: "decimal", autocomplete: "off", "data-k": "value", value: f.value, oninput: (e) => { f.value = e.target.value; f.asked = ""; } })),
      h("label", { class: "field" }, T("phone.field.note"), h("input", { type: "text", maxlength: 500, "data-k": "note", value: f.note, oninput: (e) => (f.note = e.target.value) })),
    ],
    thumb: [key("back", T("phone.back"), { icon: "back", press: () => app.back() })],
    main: [
      f.why && note("hold", "hold", f.why), f.asked && note("watch", "watch", f.asked), app.problem && note("hold", "hold", app.problem),
      keys(
        key("no", T("phone.answer.no"), { sort: "key-hold", icon: "end", press: () => answer(app, wall, list, item, "no", dim, open) }),
        key("waived", T("phone.answer.waived"), { press: () => answer(app, wall, list, item, "waived", dim, open) })),
      key("yes", f.asked ? T("phone.right", { what: T("phone.answer.yes") }) : T("phone.answer.yes"), { sort: "key-main key-large", icon: "keep", press: () => answer(app, wall, list, item, "yes", dim, open) }),
    ],
  };
}

function tolerance(item, units) {
  const q = (v) => said(String(v), item.unit, units);
  if (item.least !== undefined && item.most !== undefined) return T("phone.tolerance.between", { least: q(item.least), most: q(item.most) });
  if (item.most !== undefined) return T("phone.tolerance.most", { most: q(item.most) });
  if (item.least !== undefined) return T("phone.tolerance.least", { least: q(item.least) });
  return item.value !== undefined ? q(item.value) : item.tolerance;
}

async function answer(app, wall, list, item, said_, dim, open) {
  const f = app.form, value = f.value.trim() === "" ? undefined : parse(dim, f.value, app.units);
  [f.why, app.problem] = ["", ""];
  if (Number.isNaN(value)) f.why = T("phone.range.number", { field: T("phone.check.number") });
  else if (said_ === "yes" && item.asks && value === undefined) f.why = T("phone.range.need", { field: T("phone.check.number") });
  else if (said_ !== "yes" && item.stop && !f.note.trim()) f.why = T("phone.range.need", { field: T("phone.field.note") });
  const out = value !== undefined && ((item.least !== undefined && value < item.least) || (item.most !== undefined && value > item.most));
  const doubt = !f.why && said_ === "yes" && out ? T("phone.doubt.tolerance", { value: said(String(value), item.unit, app.units) }) : "";
  if (f.why || (doubt && f.asked !== doubt)) {
    f.asked = doubt;
    app.say(f.why || doubt);
    app.draw();
    return;
  }
  const data = { list, item: item.id, answer: said_ };
  if (value !== undefined) data.value = value;
  if (f.note.trim()) data.note = f.note.trim();
  if (!(await app.record(wall.wall, "check.answered", data, {}, T("kind.check.answered")))) return;
  app.form = null;
  const next = open.find((o) => o.item !== item.id && o.item !== "rest");
  app.go(next && open.some((o) => o.item === item.id) ? path(wall, list, next.item) : path(wall, list));
}
