// What a receipt means for the entries of a queue, as the outbox of every device
// judges it. Pure.

const minute = 60_000;
export const keepFor = 30 * 24 * 60 * minute; // how long entries stay after they were sent
const reportAgain = 12 * 60 * minute; // how old the last report may be while entries are kept
const againFirst = 10 * minute; // the stream's duplicate window
const againMost = 24 * 60 * minute;
const mostReportWalls = 2000;

export const reportKind = "device.reported";

/** A receipt with all its members. */
export function receipt(r) {
  return {
    upto: r.upto ?? 0, refused: r.refused ?? [], through: r.through ?? 0,
    high: r.high ?? 0, missing: r.missing ?? [], at: r.at ? Date.parse(r.at) : NaN,
  };
}

export const noContact = { known: false, upto: 0, refused: [], through: 0, high: 0, missing: [] };

export const noCounts = {
  last: 0, walls: {}, // greatest number, and by wall
  tried: 0, triedWalls: {}, triedReport: 0, // of what may have left the phone
  reported: 0, // number of the last device.reported
  saidAt: 0, entryAt: 0, // when a report, and any other entry, was last acknowledged
};

/** Whether the hub has the entry with a number, folded or refused. */
export function holds(c, number) {
  if (c.missing.some((s) => s.from <= number && number <= s.to)) return false;
  return number <= Math.max(c.upto, c.high) || c.refused.some((r) => r.number === number);
}

/** The greatest number that the hub knows of. */
export function top(c) {
  return c.refused.reduce((most, r) => Math.max(most, r.number), Math.max(c.upto, c.high));
}

/** The number of the next entry. The hub may hold numbers that this storage does
 * not know, when an old copy of it was put back. */
export function nextNumber(counts, c) {
  return (holds(c, counts.last + 1) ? Math.max(counts.last, top(c)) : counts.last) + 1;
}

/** A number that never left the phone is never settled, whatever the hub says. */
export const settled = (e, c) => e.tried && holds(c, e.number);

/** Whether the hub knows less than it did. */
export function fell(c, before) {
  return c.upto < before.upto || c.through < before.through || (c.high !== 0 && c.high < before.high);
}

/** Whether an acknowledged entry that the hub still does not hold is published
 * once more: the receipt has fallen, the hub has folded past it, or it is long. */
export function overdue(e, c, now, hasFallen) {
  if (!e.done || settled(e, c)) return false;
  const wait = Math.min(againFirst * 2 ** Math.min(e.again, 10), againMost);
  const passed = e.again === 0 && c.through >= e.seq;
  return hasFallen || passed || Math.abs(now - e.doneAt) > wait; // a clock that was set back does not stop it
}

/** The data of a device.reported that has to be made, or null. It is asked when
 * nothing waits. */
export function due(counts, now) {
  const entries = counts.entryAt > 0 && counts.entryAt >= now - keepFor;
  const old = counts.saidAt > 0 && Math.abs(now - counts.saidAt) >= reportAgain;
  if (counts.last <= counts.reported && !(entries && old)) return null;
  const walls = Object.entries(counts.walls)
    .filter(([, last]) => last > counts.reported)
    .map(([wall, last]) => ({ wall, last }))
    .sort((a, b) => (a.wall < b.wall ? -1 : 1))
    .slice(0, mostReportWalls);
  return walls.length ? { last: counts.last, walls } : { last: counts.last };
}

/** Where an entry stands in the queue: 1 to be sent, 2 sent and not settled,
 * undefined: the hub has it. */
export function place(e, c) {
  if (settled(e, c)) return undefined;
  return e.done ? 2 : 1;
}
