// Which screen a wall is at, and what the next lift is offered as: from the hub's
// sheet and from what this phone recorded since. Pure.
import { level, surface } from "./sums.js";

const recent = 90 * 60_000; // ms in which the last lift's end is the next one's beginning

/** What the phone's own entries say of placing: null where they say nothing. */
function ownPour(unknown) {
  let at = null;
  for (const e of unknown) {
    if (e.voided) continue;
    if (["pour.started", "pour.resumed", "lift.placed"].includes(e.kind)) at = "going";
    if (e.kind === "pour.stopped") at = "stopped";
    if (e.kind === "pour.finished") at = "finished";
  }
  return at;
}

/** none, going, stopped or finished. */
export function pouring(wall, unknown) {
  const own = ownPour(unknown);
  if (own) return own;
  if (wall.state === "planned") return "none";
  if (wall.state !== "placing") return "finished";
  return wall.pour.stopped ? "stopped" : "going";
}

/** ready, place, straighten, hold, strip or done. */
export function momentOf(wall, unknown) {
  if (wall.state === "stripped" || wall.state === "handed-over") return "done";
  const pour = pouring(wall, unknown);
  if (pour === "none") return "ready";
  if (pour !== "finished") return "place";
  const read = unknown.findLastIndex((e) => e.kind === "line.read" && e.data.when === "after" && !e.voided);
  const moved = unknown.findLastIndex((e) => ["lift.placed", "line.corrected", "pour.finished"].includes(e.kind));
  const due = moved >= 0 ? read < moved : wall.line.due && read < 0;
  if (due) return "straighten";
  return wall.state === "may-strip" ? "strip" : "hold";
}

/** The last lift: this phone's own, else the one that the hub knows. */
export function lastLift(wall, unknown) {
  const own = unknown.filter((e) => e.kind === "lift.placed" && !e.voided).at(-1);
  if (own) {
    const d = own.versions.at(-1);
    return { from: d.from_m, to: d.to_m, top: d.top_m, depth: d.depth_m ?? 0, ended: Date.parse(d.ended ?? "") || own.entered, own: true };
  }
  const { from_m: from, to_m: to, depth_m: depth, ended } = wall.lift;
  return from === undefined ? null : { from, to, depth, ended: Date.parse(ended ?? "") || null, own: false };
}

const usual = 0.6; // m, a first lift (common practice, no source)

/** The next lift: where the last one ended, or round again; as high as the last.
 * now is by the phone's clock. */
export function offer(wall, unknown, now, offset = 0) {
  const last = lastLift(wall, unknown);
  const length = wall.length_m;
  const [from, to] = last ? follow(last, wall) : [0, length];
  const parts = surface(wall, unknown, offset).filter((p) => p.to > Math.min(from, to) * 1000 && p.from < Math.max(from, to) * 1000);
  const top = level(parts) / 1000;
  const depth = (last && depthOf(last, wall)) || usual;
  const end = parts.length ? Math.max(...parts.map((p) => p.end)) / 1000 : wall.top_m;
  const began = [last?.ended, startOf(wall, unknown)].filter((t) => t && t <= now && now - t < recent);
  return { from, to, top: round(Math.min(top + depth, end || wall.top_m)), began: began.length ? Math.max(...began) : null };
}

function depthOf(last, wall) {
  if (last.depth) return last.depth;
  // An own lift that gave its top: as high as it rose over what the hub knew.
  const parts = surface(wall, []).filter((p) => p.to > Math.min(last.from, last.to) * 1000 && p.from < Math.max(last.from, last.to) * 1000);
  const below = level(parts) / 1000;
  return last.top > below ? Math.min(last.top - below, wall.lift.depth_m || usual) : wall.lift.depth_m;
}

/** From and to of the lift after one. */
function follow(last, wall) {
  const length = wall.length_m, run = last.to - last.from;
  if (Math.abs(run) > 0.9 * length) return [last.from, last.to];
  if (wall.closed) {
    const to = last.to + run;
    return [last.to % length, ((to % length) + length) % length || length];
  }
  if (run > 0 && last.to >= length - 0.05) return [0, Math.min(run, length)];
  if (run < 0 && last.to <= 0.05) return [length, Math.max(length + run, 0)];
  return [last.to, Math.min(length, Math.max(0, last.to + run))];
}

function startOf(wall, unknown) {
  const own = unknown.filter((e) => ["pour.started", "pour.resumed"].includes(e.kind)).map((e) => e.at ?? e.entered);
  return Math.max(...own, Date.parse(wall.pour.started ?? "") || 0) || null;
}

const round = (m) => Math.round(m * 1000) / 1000;

/** The load on the chute: the oldest that is on site and not emptied; own entries
 * count. */
export function loadsNow(wall, unknown, offset = 0) {
  const gone = new Set(unknown.filter((e) => ["load.discharged", "load.rejected"].includes(e.kind) && !e.voided).map((e) => e.data.load));
  const all = new Map(wall.loads.map((l) => [l.load, { load: l.load, ticket: l.ticket, state: l.state, batched: Date.parse(l.batched ?? "") || null, old: Date.parse(l.old ?? "") || null }]));
  for (const e of unknown.filter((x) => !x.voided)) {
    if (e.kind !== "load.arrived" && e.kind !== "load.batched") continue;
    const l = all.get(e.data.load) ?? { load: e.data.load, ticket: "", state: "on-the-road", batched: null, old: null };
    if (e.kind === "load.arrived") l.state = "arrived";
    else l.batched = Math.min(l.batched ?? Infinity, Date.parse(e.data.at) + offset);
    all.set(l.load, l);
  }
  return [...all.values()].filter((l) => !gone.has(l.load));
}

export const onChute = (loads) => loads.filter((l) => l.state === "arrived").sort((a, b) => (a.batched ?? 0) - (b.batched ?? 0))[0] ?? null;
