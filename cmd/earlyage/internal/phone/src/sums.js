// What a phone may reckon by itself, and no more: it subtracts from the absolute
// deadlines that the hub gave it, lays its own unsent lifts on what the hub knew
// at the wall's least limit, and adds up their rise. Doubt makes a joint earlier.
// Pure. Lengths are whole millimetres inside, so that ends meet.

const minute = 60_000;
const remembered = 10 * minute; // entered so late is remembered …
const slack = 15 * minute; // … to this
const hour = 60 * minute;

const mm = (m) => Math.round(m * 1000);
const ms = (t) => (t ? Date.parse(t) : null);

/** What this phone recorded on a wall that a sheet does not know yet: all entries
 * after the number that the sheet is up to, but those set aside. Lifts carry all
 * their versions. upto is the sheet's device.upto. */
export function unknownTo(upto, outbox, wall) {
  const list = outbox.filter((e) => e.wall === wall && e.number > upto && e.fate !== "aside");
  const changes = list.filter((e) => e.kind === "record.amended" || e.kind === "record.voided");
  return list.filter((e) => !changes.includes(e)).map((e) => {
    const own = changes.filter((c) => c.data.target?.id === e.id);
    return {
      ...e,
      versions: [e.data, ...own.filter((c) => c.kind === "record.amended").map((c) => c.data.data)],
      voided: own.some((c) => c.kind === "record.voided"),
    };
  }).concat(changes.filter((c) => !list.some((e) => e.id === c.data.target?.id)).map((c) => ({ ...c, versions: [c.data], voided: false })));
}

/** The stretches that a lift lies on, in mm; on a closed wall it may run round
 * station 0. */
export function stretches(data, wall) {
  const from = mm(data.from_m), to = mm(data.to_m), length = mm(wall.length_m);
  const lo = Math.min(from, to), hi = Math.max(from, to);
  if (!wall.closed) return [[lo, hi]];
  const round = data.way === "forward" ? to < from : data.way === "backward" ? to > from : hi - lo > length / 2 && !(lo === 0 && hi === length);
  return round ? [[0, lo], [hi, length]].filter(([a, b]) => b > a) : [[lo, hi]];
}

/** When a lift was placed at the earliest, by the hub's clock. */
export function placed(data, entered, offset) {
  const began = ms(data.began) ?? ms(data.ended) ?? entered;
  const ended = ms(data.ended) ?? began;
  return began - (entered - ended > remembered ? slack : 0) + offset;
}

/** The open surface of a wall as far as this phone knows it: what the hub said,
 * and the phone's own lifts on it, in order of station. Each part: from, to, top
 * (mm), deadline and closing (ms by the hub's clock; null: nothing closes), rise
 * and now (mm), own. offset: ms to add to the phone's clock. */
export function surface(wall, unknown, offset = 0) {
  let parts = wall.fronts.map((f) => ({
    from: mm(f.from_m), to: mm(f.to_m), top: mm(f.top_m), end: mm(f.end_m), deadline: ms(f.deadline), closing: ms(f.closing),
    rise: mm(f.rise_m), now: mm(f.now_m), full: mm(f.full_m), fullFrom: ms(f.full_from), own: false,
  }));
  for (const e of unknown.filter((x) => x.kind === "lift.placed").sort((a, b) => a.number - b.number)) {
    parts = lay(parts, e, wall, offset);
  }
  return parts.sort((a, b) => a.from - b.from || a.to - b.to);
}

/** Lays one own lift. It ends the joint below only where every version of it does. */
function lay(parts, e, wall, offset) {
  const least = Math.floor(wall.lift.least_min) * minute;
  const at = Math.min(...e.versions.map((v) => placed(v, e.entered, offset)));
  const deadline = at + least, closing = deadline - Math.max(least / 5, 15 * minute);
  const covers = e.versions.map((v) => stretches(v, wall));
  const out = [];
  for (const p of parts) {
    const cuts = [p.from, p.to, ...covers.flat(2)].filter((x) => x >= p.from && x <= p.to).sort((a, b) => a - b);
    for (let i = 1; i < cuts.length; i++) {
      const [from, to] = [cuts[i - 1], cuts[i]];
      if (from === to) continue;
      const on = covers.map((list) => list.some(([a, b]) => a <= from && to <= b));
      const tops = e.versions.filter((_, n) => on[n]).map((v) => (v.top_m !== undefined ? mm(v.top_m) : p.top + mm(v.depth_m)));
      const top = Math.min(...tops), most = Math.max(...tops);
      if (!on.some(Boolean) || most <= p.top) {
        join(out, { ...p, from, to });
        continue;
      }
      const rise = most - p.top;
      const next = { ...p, from, to, rise: p.rise + rise, now: Math.max(0, p.now - rise), fullFrom: null, own: true };
      if (on.every(Boolean) && !e.voided && top > p.top) {
        Object.assign(next, { top, deadline: top >= mm(wall.top_m) ? null : deadline, closing: top >= mm(wall.top_m) ? null : closing });
      } else if (p.deadline === null || deadline < p.deadline) {
        Object.assign(next, { deadline, closing });
      }
      join(out, next);
    }
  }
  return out;
}

/** Adds a part to the one before it where they are the same. */
function join(out, p) {
  const last = out.at(-1);
  if (last && last.to === p.from && Object.keys(p).every((k) => k === "from" || k === "to" || last[k] === p[k])) last.to = p.to;
  else out.push(p);
}

/** The open joint that ends first, with the whole run that ends with it; null:
 * nothing closes. */
export function oldest(parts) {
  const open = parts.filter((p) => p.deadline !== null);
  if (!open.length) return null;
  const first = open.reduce((a, b) => (b.deadline < a.deadline ? b : a));
  const out = { ...first };
  for (const p of parts) if (p.deadline === first.deadline && p.from === out.to) out.to = p.to;
  return out;
}

/** Whole minutes until a moment, rounded down; below zero it is past. */
export const minutesLeft = (deadline, now) => Math.floor((deadline - now) / minute);

/** Whole hours until a moment, rounded up, never below zero. */
export const hoursLeft = (moment, now) => Math.max(0, Math.ceil((moment - now) / hour));

/** live, closing or past-limit. */
export function jointState(part, now) {
  if (now >= part.deadline) return "past-limit";
  return now >= part.closing ? "closing" : "live";
}

/** The height at which most of some parts stand: beside an opening a little stands
 * elsewhere. */
export function level(parts) {
  const lengths = new Map();
  for (const p of parts) lengths.set(p.top, (lengths.get(p.top) ?? 0) + p.to - p.from);
  return [...lengths].sort((a, b) => b[1] - a[1] || a[0] - b[0])[0]?.[0] ?? 0;
}

/** The rise of a run: the greatest there, and the least that may still be placed
 * where it is the rise that holds it, not the room. */
export function rises(parts, from, to) {
  const here = parts.filter((p) => p.to > from && p.from < to);
  if (!here.length) return null;
  const held = here.filter((p) => p.now < p.end - p.top); // the others only have no more room
  const now = held.length ? Math.min(...held.map((p) => p.now)) : Math.max(...here.map((p) => p.now));
  return { rise: Math.max(...here.map((p) => p.rise)), now, top: level(here), held: held.length > 0 };
}
