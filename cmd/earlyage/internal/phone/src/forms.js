// What is entered, kind by kind: fields, what they begin with, what is out of
// range, and the data of the event. A field: name (its member in the data), sort,
// dim, least and most (refused beyond), low and high (asked about beyond), need.
import { loadsNow, offer, onChute } from "./moment.js";
import { rises } from "./sums.js";
import { T } from "./words.js";

const token = /^[a-z0-9-]{1,40}$/;

/** What a person types as a mark, as the record writes it. */
export const asToken = (text) => text.trim().toLowerCase().replace(/[^a-z0-9-]+/g, "-").replace(/^-+|-+$/g, "").slice(0, 40);

const place = (name, need = true) => ({ name, sort: "place", need });
const time = (name = "at", need = false) => ({ name, sort: "time", need });
const num = (name, dim, least, most, low, high, need = false) => ({ name, sort: "number", dim, least, most, low, high, need });
const choice = (name, options, need = true) => ({ name, sort: "choice", options, need });
const words = (name, need = false) => ({ name, sort: "text", need });
const braces = (states, all) => ({ name: "braces", sort: "braces", states, all, need: true });
const loads = (need, only) => ({ name: "load", sort: "load", need, only });
const one = (id, set = {}) => ({ id, set });
const done = [one("record")];

const standing = ["standing", "disturbed", "may-strip"];
const whole = (ctx) => ({ from_m: 0, to_m: ctx.wall.length_m });

const slump = num("slump_mm", "thickness", 0, 300, 40, 230);
const fresh = num("celsius", "temperature", -10, 60, 2, 40);
const water = num("water_l", "liquid", 0, 500, 0, 120);

export const forms = {
  "lift.placed": {
    fields: () => [place("from_m"), place("to_m"), num("top_m", "length", 0.01, 15, 0.05, 15, true), time("ended"), time("began"), loads(false)],
    init: (ctx) => {
      const o = offer(ctx.wall, ctx.unknown, ctx.now, ctx.offset);
      return { from_m: o.from, to_m: o.to, top_m: o.top, ended: null, began: o.began, load: onChute(loadsNow(ctx.wall, ctx.unknown))?.load ?? "" };
    },
    keys: [one("vibrated", { vibrated: true }), one("placed")],
    check: checkLift,
    // A lift that says when it began says when it ended too.
    finish: (d, v, ctx) => (d.began && !d.ended ? { ...d, ended: ctx.stamp(ctx.now) } : d),
    tell: tellRise,
  },
  "lift.consolidated": {
    fields: () => [place("from_m"), place("to_m"), time()],
    init: (ctx) => {
      const last = ctx.unknown.filter((e) => e.kind === "lift.placed").at(-1)?.versions.at(-1) ?? { from_m: ctx.wall.lift.from_m, to_m: ctx.wall.lift.to_m };
      return last.from_m === undefined ? whole(ctx) : { from_m: last.from_m, to_m: last.to_m };
    },
    keys: [one("vibrated-now", { vibrated: true }), one("not-vibrated", { vibrated: false })],
  },
  "load.arrived": {
    fields: () => [loads(true, ["ordered", "on-the-road"]), time("batched"), words("ticket"), slump, fresh, water, time()],
    init: (ctx) => {
      const next = loadsNow(ctx.wall, ctx.unknown, ctx.offset).find((l) => l.state !== "arrived");
      return { load: next?.load ?? "", batched: next?.batched ?? null, was: next?.batched ?? null, ticket: "" };
    },
    keys: done,
    check: (v, ctx) => (v.batched && ctx.now - v.batched > 5 * 3600_000 ? [T("phone.doubt.batched", { time: ctx.app.time(v.batched) })] : []),
    // When water met cement is an entry of its own.
    before: (v, ctx) => (v.batched && v.batched !== v.was ? [["load.batched", { load: v.load, at: ctx.stamp(v.batched), ...(v.ticket ? { ticket: v.ticket } : {}) }]] : []),
    leave: ["batched", "ticket"],
  },
  "load.discharged": {
    fields: () => [loads(true, ["arrived", "on-the-road"]), time("ended")],
    init: (ctx) => ({ load: onChute(loadsNow(ctx.wall, ctx.unknown))?.load ?? "", ended: null }),
    keys: done,
  },
  "load.rejected": {
    fields: () => [loads(true), { ...choice("reason", ["old", "wet", "stiff", "hot", "cold", "other"]), say: true }, time()],
    init: (ctx) => ({ load: onChute(loadsNow(ctx.wall, ctx.unknown))?.load ?? "" }),
    keys: done,
  },
  "pour.started": { fields: () => [time()], keys: done },
  "pour.resumed": { fields: () => [time()], keys: done },
  "pour.finished": { fields: () => [time()], keys: done, warn: () => T("phone.finish.warn") },
  "pour.stopped": {
    fields: () => [{ ...choice("reason", ["concrete", "pump", "weather", "form", "people", "day"]), say: true }, place("at_m", false), time()],
    keys: [one("stop"), one("stop-planned", { planned: true })],
  },
  "temperature.read": {
    fields: () => [choice("place", ["top", "core", "face", "air", "fresh"]), num("celsius", "temperature", -50, 100, -15, 45, true), time()],
    init: (ctx) => ({ place: ctx.moment === "place" ? "fresh" : "top" }),
    keys: done,
    finish: (d) => ({ ...d, instrument: "thermometer" }),
  },
  "min-max": {
    kind: "temperature.read",
    fields: () => [choice("place", ["top", "core", "face", "air"]), num("min_c", "temperature", -50, 100, -20, 45, true), num("max_c", "temperature", -50, 100, -20, 60, true), time("from", true), time("to")],
    init: () => ({ place: "top", from: null }),
    keys: done,
    check: (v) => (v.max_c < v.min_c ? [{ hard: T("phone.range.min-max") }] : []),
    finish: (d, v, ctx) => ({ ...d, to: d.to ?? ctx.stamp(ctx.now), instrument: "min-max" }),
  },
  "brace.set": {
    fields: () => [braces(["planned"], true), time()],
    keys: done,
    finish: (d, v, ctx) => ({ ...d, braces: v.braces.map((name) => ({ name, at_m: ctx.wall.braces.find((b) => b.name === name).at_m })) }),
  },
  "brace.inspected": { fields: () => [braces(standing, true), words("note"), time()], keys: [one("sound", { sound: true }), one("not-sound", { sound: false })] },
  "brace.disturbed": { fields: () => [braces(standing, false), choice("cause", ["knocked", "wind", "thaw", "other"]), words("note"), time()], keys: done },
  "brace.stripped": {
    fields: () => [braces(standing, false), words("note"), time()],
    keys: done,
    warn: (v, ctx) => (early(v, ctx) ? T("phone.strip.early") : ""),
    finish: (d, v, ctx) => {
      const permits = new Set(v.braces.map((n) => ctx.wall.braces.find((b) => b.name === n)?.permit));
      const permit = permits.size === 1 ? [...permits][0] : "";
      return permit ? { ...d, permit } : d;
    },
  },
  "line.read": {
    fields: (ctx) => [{ name: "points", sort: "points", need: true, at: linePlaces(ctx.wall) }, num("lean_mm", "thickness", -500, 500, -40, 40), time()],
    init: () => ({ points: {} }),
    keys: done,
    finish: (d, v, ctx) => ({
      ...d, when: ["ready", "place"].includes(ctx.moment) ? "before" : "after",
      points: Object.entries(v.points).map(([at, off]) => ({ at_m: Number(at), off_mm: off })).sort((a, b) => a.at_m - b.at_m),
    }),
    back: (d) => ({ ...d, points: Object.fromEntries(d.points.map((p) => [p.at_m, p.off_mm])) }),
  },
  "line.corrected": { fields: () => [words("note"), time()], keys: done },
  "joint.felt": { fields: () => [place("from_m"), place("to_m"), time()], init: feltAt, keys: [one("sinks", { sinks: true }), one("sinks-not", { sinks: false })] },
  "form.moved": { fields: () => [place("at_m"), choice("what", ["bulge", "blow-out", "lift"]), num("moved_mm", "thickness", 0, 2000, 0, 300), words("note"), time()], keys: done },
  "protection.placed": { fields: () => [choice("what", ["cover", "blanket", "heat", "wet-cure", "membrane"]), words("note"), time()], keys: done },
  "protection.removed": { fields: () => [choice("what", ["cover", "blanket", "heat", "wet-cure", "membrane"]), words("note"), time()], keys: done },
  "wind.read": { fields: () => [num("gust_mps", "speed", 0, 90, 0, 40, true), time()], keys: done },
  "hold.placed": { fields: () => [words("reason", true), time()], keys: done, finish: (d, v, ctx) => ({ ...d, hold: "h-" + Math.floor(ctx.now / 1000).toString(36) }), warn: () => T("phone.hold.warn") },
  "concrete.inspected": { fields: () => [choice("finding", ["sound", "honeycomb", "crack", "void", "frozen", "other"]), words("note"), time()], keys: done },
  "wall.tied-in": { fields: () => [choice("support", ["floor", "roof", "cross-wall", "other"]), words("note"), time()], keys: done },
  "stretch.left-low": { fields: () => [place("from_m"), place("to_m"), num("top_m", "length", 0, 15, 0, 15, true), words("reason", true), time()], keys: done },
  "specimen.made": { fields: () => [{ ...words("specimen", true), token: true }, choice("cured", ["wall", "laboratory"]), loads(false), time()], keys: done },
};

/** Where the line is read: the braces, else the ends and the middle. */
function linePlaces(wall) {
  const at = wall.places.filter((p) => p.kind === "brace").map((p) => p.at_m);
  return at.length > 1 ? [...new Set(at)] : [0, wall.length_m / 2, wall.length_m];
}

function feltAt(ctx) {
  const j = ctx.app.joint(ctx.wall);
  return j ? { from_m: j.from / 1000, to_m: j.to / 1000 } : whole(ctx);
}

/** The slips of a lift. */
function checkLift(v, ctx) {
  const out = [], { wall, app } = ctx;
  if (v.top_m > wall.height_m) out.push({ hard: T("phone.range.top", { most: app.q("length", wall.height_m) }) });
  if (v.ended && v.began && v.began > v.ended) out.push({ hard: T("phone.range.began") });
  const here = rises(app.surface(wall), Math.min(v.from_m, v.to_m) * 1000, Math.max(v.from_m, v.to_m) * 1000);
  if (!here || ctx.entry) return out;
  const depth = v.top_m - here.top / 1000;
  if (depth <= 0) out.push(T("phone.doubt.below", { top: app.q("length", here.top / 1000) }));
  if (depth > 1.2) out.push(T("phone.doubt.deep", { depth: app.q("length", depth) }));
  return out;
}

/** What may rise where the lift goes, before it is placed. */
function tellRise(v, ctx) {
  const { wall, app } = ctx;
  const from = Math.min(v.from_m, v.to_m) * 1000, to = Math.max(v.from_m, v.to_m) * 1000;
  const parts = app.surface(wall), here = rises(parts, from, to);
  if (!here || Number.isNaN(v.top_m)) return null;
  const over = parts.some((p) => p.to > from && p.from < to && Math.min(v.top_m * 1000, p.end) - p.top > p.now + 0.5);
  const text = T("phone.rise.here", { rise: app.q("length", here.rise / 1000), limit: app.q("length", wall.lift.rise_m), now: app.q("length", here.now / 1000) });
  return { over, text };
}

const early = (v, ctx) => !ctx.app.fresh(ctx.wall) || (v.braces ?? []).some((n) => !ctx.wall.braces.find((b) => b.name === n)?.may_strip) || !(v.braces ?? []).length;

/** What may be told of a value: refused, or asked about. */
export function problems(spec, v, ctx) {
  const hard = [], soft = [];
  for (const f of spec.fields(ctx)) {
    const value = v[f.name], label = T("phone.field." + f.name);
    const empty = value === undefined || value === null || value === "" || (Array.isArray(value) && !value.length) || (f.sort === "points" && Object.keys(value).length < 2);
    if (f.need && empty) hard.push(T("phone.range.need", { field: label }));
    if (empty) continue;
    if (f.sort === "number") {
      if (Number.isNaN(value)) hard.push(T("phone.range.number", { field: label }));
      else if (value < f.least || value > f.most) hard.push(T("phone.range.between", { field: label, least: ctx.app.q(f.dim, f.least), most: ctx.app.q(f.dim, f.most) }));
      else if (value < f.low || value > f.high) soft.push(T("phone.doubt.value", { field: label, value: ctx.app.q(f.dim, value) }));
    }
    if (f.sort === "points") {
      const off = Object.values(value);
      if (off.some((x) => Number.isNaN(x) || Math.abs(x) > 500)) hard.push(T("phone.range.number", { field: label }));
      else if (off.some((x) => Math.abs(x) > 50)) soft.push(T("phone.doubt.value", { field: label, value: ctx.app.q("thickness", off.find((x) => Math.abs(x) > 50)) }));
    }
    if (f.sort === "time" && value > ctx.now + 60_000) hard.push(T("phone.range.future"));
    if ((f.sort === "load" || f.token) && !token.test(value)) hard.push(T("phone.range.mark", { field: label }));
  }
  if ("from_m" in v && "to_m" in v && v.from_m === v.to_m) hard.push(T("phone.range.same"));
  for (const p of spec.check?.(v, ctx) ?? []) (p.hard ? hard : soft).push(p.hard ?? p);
  return { hard, soft };
}

const round = (x) => Math.round(x * 1000) / 1000;

/** The data of the event. Times that are now are left to the entry. */
export function dataOf(spec, v, ctx, set = {}) {
  const d = {};
  for (const f of spec.fields(ctx)) {
    const value = v[f.name];
    if (spec.leave?.includes(f.name) || value === undefined || value === null || value === "") continue;
    if (f.sort === "time") d[f.name] = ctx.stamp(value);
    else if (f.sort === "number" || f.sort === "place") d[f.name] = round(value);
    else if (f.sort === "choice" && f.say) d[f.name] = T(`phone.choice.${f.name}.${value}`);
    else d[f.name] = typeof value === "string" ? value.trim() : value;
  }
  return spec.finish ? spec.finish({ ...d, ...set }, v, ctx) : { ...d, ...set };
}

/** What the form begins with when an entry is amended. */
export function fromData(spec, data, ctx) {
  const d = spec.back ? spec.back(data) : data, v = {};
  for (const f of spec.fields(ctx)) {
    if (f.sort === "time") v[f.name] = Date.parse(d[f.name] ?? "") || null;
    else if (f.sort === "braces") v[f.name] = (d.braces ?? []).map((b) => b.name ?? b);
    else if (f.sort === "choice" && f.say) v[f.name] = f.options.find((o) => T(`phone.choice.${f.name}.${o}`) === d[f.name]);
    else if (d[f.name] !== undefined) v[f.name] = d[f.name];
  }
  return v;
}
