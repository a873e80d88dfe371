// One entry: its fields above, its keys below, under the thumb.
import { stamp } from "../envelope.js";
import { dataOf, forms, fromData, problems } from "../forms.js";
import { fieldOf, picker } from "../fields.js";
import { h, key, note } from "../ui.js";
import { T } from "../words.js";

const late = 10 * 60_000; // what is entered later than this is remembered

/** wall, the form's name, and of an amendment the entry's number. */
export function do_(app, wall, name, number) {
  const spec = forms[name];
  const kind = spec?.kind ?? name;
  if (!spec || !app.engine.mayRecord(kind)) return { title: T("phone.not-allowed"), look: [h("h1", {}, T("phone.not-allowed")), h("p", {}, T("phone.not-allowed.why"))], thumb: [back(app)] };
  const entry = number ? app.state.outbox.find((e) => e.number === Number(number)) : null;
  const ctx = context(app, wall, entry);
  const route = ["do", wall.wall, name, number].filter((x) => x !== undefined).join("/");
  if (app.form?.route !== route) app.form = { route, open: "", asked: [], reason: "", values: begin(spec, ctx, entry) };
  const form = app.form, v = form.values, title = T("phone.form." + name);
  const open = spec.fields(ctx).find((f) => f.name === form.open);
  if (open) return { title, look: [h("h1", {}, T("phone.field." + open.name)), picker(app, open, v, ctx)], thumb: [key("picked", T("phone.back"), { icon: "back", press: () => pick(app) })] };
  const told = !entry && spec.tell?.(v, ctx);
  return {
    title,
    look: [
      h("h1", {}, entry ? T("phone.amend.title", { what: title }) : title),
      told && note(told.over ? "watch" : "wait", told.over ? "watch" : "placing", told.text),
      spec.warn?.(v, ctx) && note("hold", "hold", spec.warn(v, ctx)),
      h("div", { class: "fields" }, ...spec.fields(ctx).map((f) => fieldOf(app, f, v, ctx))),
      entry && reason(form),
      remembered(spec, v, ctx) && note("watch", "watch", T("phone.remembered")),
    ],
    thumb: [back(app)],
    main: [
      ...form.asked.map((p) => note(p.hard ? "hold" : "watch", p.hard ? "hold" : "watch", p.text)),
      app.problem && note("hold", "hold", app.problem),
      ...spec.keys.map((k, i) => key("do-" + k.id, keyText(form, k), { sort: i === 0 ? "key-main" : "", icon: spec.keys.length === 1 && "keep", press: () => submit(app, spec, ctx, k, name) })),
    ],
  };
}

export function context(app, wall, entry) {
  return { app, wall, entry, unknown: app.unknown(wall), moment: app.momentOf(wall), now: Date.now(), offset: app.state.offsetMs ?? 0, stamp };
}

function begin(spec, ctx, entry) {
  if (entry) return fromData(spec, entry.data, ctx);
  const v = { ...(spec.init?.(ctx) ?? {}) };
  for (const f of spec.fields(ctx)) {
    if (f.sort === "braces") v.braces ??= f.all ? ctx.wall.braces.filter((b) => f.states.includes(b.state)).map((b) => b.name) : [];
  }
  return v;
}

const back = (app) => key("back", T("phone.back"), { icon: "back", press: () => app.back() });

function keyText(form, k) {
  const asking = form.asked.length && form.asked.every((p) => !p.hard) && form.by === k.id;
  return asking ? T("phone.right", { what: T("phone.do." + k.id) }) : T("phone.do." + k.id);
}

function pick(app) {
  app.form.open = "";
  app.draw();
}

function remembered(spec, v, ctx) {
  const times = spec.fields(ctx).filter((f) => f.sort === "time" && ["at", "ended"].includes(f.name)).map((f) => v[f.name]).filter(Boolean);
  return times.some((t) => (ctx.entry?.entered ?? ctx.now) - t > late);
}

function reason(form) {
  return h("label", { class: "field" }, T("phone.field.why"), h("input", { type: "text", maxlength: 500, value: form.reason, "data-k": "why", oninput: (e) => (form.reason = e.target.value) }));
}

/** Out of range is refused; what is unusual is asked about once. */
async function submit(app, spec, ctx, k, name) {
  const form = app.form, v = form.values;
  ctx = context(app, ctx.wall, ctx.entry);
  const { hard, soft } = problems(spec, v, ctx);
  if (ctx.entry && !form.reason.trim()) hard.push(T("phone.range.need", { field: T("phone.field.why") }));
  const asked = form.by === k.id && !hard.length && form.asked.length === soft.length && soft.every((t, i) => form.asked[i].text === t);
  if (hard.length || (soft.length && !asked)) {
    form.by = k.id;
    form.asked = [...hard.map((text) => ({ hard: true, text })), ...soft.map((text) => ({ text }))];
    app.say(form.asked.map((p) => p.text).join(" "));
    app.draw();
    document.querySelector(`[data-k="do-${k.id}"]`)?.scrollIntoView({ block: "nearest" });
    return;
  }
  const kind = spec.kind ?? name, data = dataOf(spec, v, ctx, k.set);
  if (ctx.entry) {
    if (await app.amend(ctx.entry.number, keepTime(data, ctx), form.reason.trim(), T("kind.record.amended"))) app.go("#outbox");
    return;
  }
  for (const [first, its] of spec.before?.(v, ctx) ?? []) {
    if (!(await app.record(ctx.wall.wall, first, its, {}, T("kind." + first)))) return;
  }
  if (!(await app.record(ctx.wall.wall, kind, data, {}, T("kind." + kind)))) return;
  app.form = null;
  app.go("#w/" + ctx.wall.wall);
}

/** An amendment replaces the data whole: when it happened stays what it was. */
function keepTime(data, ctx) {
  const old = ctx.entry.data;
  for (const m of ["at", "ended", "began"]) if (old[m] && !data[m]) data[m] = old[m];
  if (!data.at && !data.ended && !data.to && !("from_m" in data && "top_m" in data)) data.at = ctx.stamp(ctx.entry.at ?? ctx.entry.entered);
  if ("top_m" in data && "from_m" in data && !data.ended && ctx.entry.kind === "lift.placed") data.ended = ctx.stamp(ctx.entry.entered);
  return data;
}
