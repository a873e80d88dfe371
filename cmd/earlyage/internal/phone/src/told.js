// What this phone is told of alerts, and what of it was shown. Pure. What is kept
// is one value: had, what was shown and when, by message and by alert; and list, the
// messages that wait to be shown. What is told twice, or by a second channel, is
// shown once; what is told anew after it was shown is shown anew.
import answers from "./answers.js";

const keepFor = 30 * 24 * 60 * 60_000; // ms
const most = 200; // messages that wait

export const nothing = { had: {}, list: [] };

const byId = (m) => "message " + m.id;
const byAlert = (alert, m) => `alert ${alert} ${stateOf(m)}`;
const at = (m) => Date.parse(m.at ?? "") || 0;

/** What of an alert a message tells: raised or cleared. */
export const stateOf = (m) => (m.what === "cleared" ? "cleared" : "raised");

/** Whether an alert of the snapshot waits for its answer. One that is not raised
 * yet has no state. */
export const waits = (a) => ["", "unacknowledged", "latched unacknowledged"].includes(a.state ?? "");

/** Whether one of these roles may answer a kind of alert. */
export const mayAnswer = (kind, roles) => (answers[kind] ?? []).some((r) => roles.includes(r));

export const whoAnswers = (kind) => answers[kind] ?? [];

/** Whether everything that a message tells was shown after it was made. */
function covered(had, m) {
  const alerts = m.alerts ?? [];
  return alerts.length > 0 && alerts.every((a) => (had[byAlert(a, m)] ?? -1) >= at(m));
}

function valid(m) {
  return typeof m?.id === "string" && m.id !== "" && typeof m.first === "string" && (m.alerts === undefined || (Array.isArray(m.alerts) && m.alerts.every((a) => typeof a === "string")));
}

/** Takes a message in. The same value: it says nothing new. */
export function hear(kept, m, now) {
  if (!valid(m) || byId(m) in kept.had || kept.list.some((x) => x.id === m.id)) return kept;
  const had = Object.fromEntries(Object.entries(kept.had).filter(([, when]) => now - when < keepFor));
  if (covered(had, m)) return { had: { ...had, [byId(m)]: now }, list: kept.list };
  // What is over need not be told as if it stood.
  const over = (x) => m.what === "cleared" && x.what === "raised" && (x.alerts ?? []).every((a) => (m.alerts ?? []).includes(a));
  const list = [...kept.list.filter((x) => !over(x) && now - at(x) < keepFor), m].sort(order).slice(0, most);
  return { had, list };
}

/** Marks a message as shown. The same value: it was before. */
export function show(kept, m, now) {
  if (m.id ? byId(m) in kept.had : covered(kept.had, m)) return kept;
  const had = { ...kept.had };
  if (m.id) had[byId(m)] = now;
  for (const a of m.alerts ?? []) had[byAlert(a, m)] = Math.max(now, at(m), had[byAlert(a, m)] ?? 0);
  return { had, list: kept.list.filter((x) => x.id !== m.id && !covered(had, x)) };
}

const ranks = ["urgent", "high", "medium", "low"];
const rank = (m) => (m.urgent ? 0 : (ranks.indexOf(m.priority) + 5) % 5);
const order = (a, b) => rank(a) - rank(b) || at(a) - at(b);

/** All alerts of a snapshot, each with its wall; none: the whole site. */
export const alertsOf = (sheet) => (sheet ? [...(sheet.walls ?? []).flatMap((w) => (w.alerts ?? []).map((a) => ({ ...a, wall: w.wall }))), ...(sheet.alerts ?? []).map((a) => ({ ...a, wall: "" }))] : []);

/** What is to be shown now, the most urgent first: what was told and not shown,
 * and what the snapshot says was told to this person while the phone was away. */
export function toShow(kept, sheet, roles) {
  const known = new Map(alertsOf(sheet).map((a) => [a.id, a])), since = Date.parse(sheet?.at ?? "") || 0;
  const settled = (m) => m.what === "raised" && since > at(m) && (m.alerts ?? []).length > 0 && m.alerts.every((a) => known.has(a) && !waits(known.get(a)));
  const list = kept.list.filter((m) => !settled(m));
  const missed = [...known.values()].map((a) => missedOf(kept, a, roles)).filter((m) => m && !list.some((x) => (x.alerts ?? []).includes(m.alerts[0])));
  return [...list, ...missed].sort(order);
}

/** An alert of the snapshot as a message, where its person was told and this phone
 * has not shown it; null otherwise. */
function missedOf(kept, a, roles) {
  if (!a.id || !waits(a)) return null;
  const m = { id: a.message ?? "", what: "raised", alerts: [a.id], kind: a.kind, wall: a.wall, priority: a.priority, urgent: a.priority === "urgent", at: a.since, first: "", text: a.text, missed: true };
  const mine = a.told || (m.urgent && mayAnswer(a.kind, roles));
  const had = m.id ? byId(m) in kept.had : byAlert(a.id, m) in kept.had;
  return mine && !had ? m : null;
}

/** What is recorded of a message that was shown: one entry for each of its alerts
 * whose kind is known. Alerts of the whole company are not of this site's record. */
export function entriesOf(m, sheet, site) {
  if (m.site && m.site !== site) return [];
  const known = new Map(alertsOf(sheet).map((a) => [a.id, a]));
  return (m.alerts ?? []).flatMap((alert) => {
    const kind = m.alerts.length === 1 && m.kind ? m.kind : known.get(alert)?.kind;
    if (!kind) return [];
    const wall = known.get(alert)?.wall ?? m.wall ?? "";
    return [{ wall, kind: "alert.shown", data: { alert, kind, state: stateOf(m), ...(m.id ? { message: m.id } : {}) } }];
  });
}
