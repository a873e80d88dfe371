// Fields of an entry: what a thumb in a glove can set.
import { number, parse, step, stepped, symbol } from "./format.js";
import { asToken } from "./forms.js";
import { loadsNow } from "./moment.js";
import { placeName, stationName } from "./places.js";
import { h, key } from "./ui.js";
import { T } from "./words.js";

const minute = 60_000;

export function fieldOf(app, f, v, ctx) {
  return ({ place: chosen, load: chosen, braces: chosen, number: numeric, time: moment, choice, text, points }[f.sort])(app, f, v, ctx);
}

const label = (f) => T("phone.field." + f.name);

/** A field whose value is picked on a screen of its own. */
function chosen(app, f, v, ctx) {
  return key("pick-" + f.name, label(f), { sort: "key-field", more: valueOf(app, f, v, ctx), press: () => { app.form.open = f.name; app.draw(); } });
}

function valueOf(app, f, v, ctx) {
  const value = v[f.name];
  if (f.sort === "braces") return value?.length ? value.join(", ") : T("phone.none");
  if (value === undefined || value === null || value === "") return T("phone.not-said");
  if (f.sort === "load") return value;
  const name = stationName(app, ctx.wall, value), plain = app.q("station", value);
  return name === plain ? plain : `${name} · ${plain}`;
}

export function picker(app, f, v, ctx) {
  const set = (value) => {
    v[f.name] = value;
    app.form.open = "";
    app.form.asked = [];
    app.draw();
  };
  if (f.sort === "place") return pickPlace(app, f, v, ctx, set);
  if (f.sort === "load") return pickLoad(app, f, v, ctx, set);
  return pickBraces(app, f, v, ctx);
}

function pickPlace(app, f, v, ctx, set) {
  return h("div", { class: "picks" },
    ...ctx.wall.places.map((p, i) => key("place-" + i, placeName(p), { more: app.q("station", p.at_m), pressed: v[f.name] === p.at_m, press: () => set(p.at_m) })),
    numeric(app, { ...f, sort: "number", dim: "station", least: 0, most: ctx.wall.length_m }, v, ctx));
}

function pickLoad(app, f, v, ctx, set) {
  const list = loadsNow(ctx.wall, ctx.unknown, ctx.offset).filter((l) => !f.only || f.only.includes(l.state));
  const mark = h("input", { type: "text", maxlength: 40, autocapitalize: "off", autocomplete: "off", "data-k": "mark", value: "" });
  return h("div", { class: "picks" },
    ...list.map((l) => key("load-" + l.load, l.load, { more: [T("phone.load." + l.state), l.ticket].filter(Boolean).join(" · "), pressed: v.load === l.load, press: () => { if ("batched" in v) v.batched = v.was = l.batched; set(l.load); } })),
    !f.need && key("load-none", T("phone.not-said"), { press: () => set("") }),
    h("label", { class: "field wide" }, T("phone.load.other"), mark),
    key("load-set", T("phone.load.set"), { icon: "keep", press: () => asToken(mark.value) && set(asToken(mark.value)) }));
}

function pickBraces(app, f, v, ctx) {
  const list = ctx.wall.braces.filter((b) => f.states.includes(b.state));
  const put = (names) => { v.braces = names; app.form.asked = []; app.draw(); };
  return h("div", { class: "picks" },
    key("all", T("phone.braces.all"), { pressed: v.braces.length === list.length && list.length > 0, press: () => put(v.braces.length === list.length ? [] : list.map((b) => b.name)) }),
    ...list.map((b) => key("brace-" + b.name, b.name, {
      more: app.q("station", b.at_m), pressed: v.braces.includes(b.name),
      press: () => put(v.braces.includes(b.name) ? v.braces.filter((n) => n !== b.name) : [...v.braces, b.name]),
    })));
}

/** A number: typed, or stepped by two large keys. */
function numeric(app, f, v) {
  const units = app.units, unit = symbol(f.dim, units), id = "f-" + f.name;
  const value = v[f.name];
  const input = h("input", {
    id, type: "text", inputmode: f.least < 0 ? "text" : "decimal", autocomplete: "off", "data-k": id,
    value: value === undefined || value === null || Number.isNaN(value) ? "" : number(f.dim, value, units),
    oninput: (e) => { v[f.name] = e.target.value.trim() === "" ? undefined : parse(f.dim, e.target.value, units); app.form.asked = []; },
  });
  const by = (n) => () => {
    const at = Number.isFinite(v[f.name]) ? stepped(f.dim, v[f.name], n, units) : Math.max(f.least, 0);
    v[f.name] = Math.min(f.most, Math.max(f.least, at));
    input.value = number(f.dim, v[f.name], units);
    app.form.asked = [];
    app.draw();
  };
  const size = number("plain", step(f.dim, units), "si");
  return h("div", { class: "field-number" }, h("label", { for: id }, label(f), unit && ` (${unit})`),
    h("div", { class: "stepper", "data-step": size },
      h("button", { type: "button", class: "key key-step", "data-k": id + "-less", "aria-label": T("phone.less", { field: label(f) }), onclick: by(-1) }, "−"),
      input,
      h("button", { type: "button", class: "key key-step", "data-k": id + "-more", "aria-label": T("phone.more-of", { field: label(f) }), onclick: by(1) }, "+")));
}

/** When: now, or so many minutes ago. */
function moment(app, f, v, ctx) {
  const value = v[f.name], id = "t-" + f.name, nowIs = ["at", "ended", "to"].includes(f.name);
  const shown = value ? app.time(value + ctx.offset) : T(nowIs ? "phone.now" : "phone.not-said");
  const by = (n) => () => {
    const at = (value ?? ctx.now) + n * minute;
    v[f.name] = nowIs && at > ctx.now - minute / 2 ? null : Math.min(at, ctx.now);
    app.form.asked = [];
    app.draw();
  };
  const far = value ? Math.max(1, Math.min(60, Math.round((ctx.now - value) / minute / 10) * 5)) : nowIs ? 5 : 10;
  return h("div", { class: "field-number", role: "group", "aria-label": label(f) }, h("span", { class: "field-label" }, label(f)),
    h("div", { class: "stepper" },
      h("button", { type: "button", class: "key key-step", "data-k": id + "-less", "aria-label": T("phone.earlier", { n: far }), onclick: by(-far) }, "−"),
      h("output", { class: "stepper-value" }, shown, value && h("span", { class: "small" }, T("phone.ago", { n: Math.round((ctx.now - value) / minute) }))),
      h("button", { type: "button", class: "key key-step", "data-k": id + "-more", "aria-label": T("phone.later", { n: 1 }), onclick: by(value ? Math.max(1, Math.min(5, far)) : 0) }, "+")));
}

function choice(app, f, v) {
  return h("fieldset", { class: "field-choice" }, h("legend", {}, label(f)),
    h("div", { class: "picks" }, ...f.options.map((o) => key(`c-${f.name}-${o}`, T(`phone.choice.${f.name}.${o}`), {
      sort: "key-choice", pressed: v[f.name] === o, press: () => { v[f.name] = o; app.form.asked = []; app.draw(); },
    }))));
}

function text(app, f, v) {
  return h("label", { class: "field" }, label(f), h("input", {
    type: "text", maxlength: 500, "data-k": "f-" + f.name, value: v[f.name] ?? "",
    oninput: (e) => { v[f.name] = f.token ? asToken(e.target.value) : e.target.value; app.form.asked = []; },
  }));
}

/** A reading at each place: typed, with its sign set by a key. */
function points(app, f, v, ctx) {
  const unit = symbol("thickness", app.units);
  return h("fieldset", { class: "field-points" }, h("legend", {}, T("phone.points", { unit })),
    h("p", { class: "small" }, T("phone.points.sign")),
    ...f.at.map((at, i) => {
      const id = "p-" + i, name = stationName(app, ctx.wall, at), has = v.points[at] !== undefined;
      const input = h("input", {
        id, type: "text", inputmode: "decimal", autocomplete: "off", "data-k": id, value: has && !Number.isNaN(v.points[at]) ? number("thickness", v.points[at], app.units) : "",
        oninput: (e) => {
          if (e.target.value.trim() === "") delete v.points[at];
          else v.points[at] = parse("thickness", e.target.value, app.units);
          app.form.asked = [];
        },
      });
      const turn = () => { if (has && v.points[at]) v.points[at] = -v.points[at]; app.draw(); };
      const by = (n) => () => { v.points[at] = stepped("thickness", v.points[at] || 0, n, app.units); app.draw(); };
      return h("div", { class: "field-number" }, h("label", { for: id }, name),
        h("div", { class: "stepper" },
          h("button", { type: "button", class: "key key-step", "data-k": id + "-less", "aria-label": T("phone.less", { field: name }), onclick: by(-1) }, "−"), input,
          h("button", { type: "button", class: "key key-step", "data-k": id + "-more", "aria-label": T("phone.more-of", { field: name }), onclick: by(1) }, "+"),
          h("button", { type: "button", class: "key key-step", "data-k": id + "-turn", "aria-label": T("phone.turn", { field: name }), onclick: turn }, "±")));
    }));
}
