// The body of an event: CloudEvents 1.0 in JSON, as the hub reads it. Pure, but
// for the random bytes of an id.
import kinds from "./kinds.js";

export const mostBody = 256 << 10; // bytes

export const token = /^[a-z0-9-]{1,40}$/;

/** A UUID of version 7: 48 bits of time, then random bits. */
export function uuid7(ms) {
  const b = crypto.getRandomValues(new Uint8Array(16));
  new DataView(b.buffer).setUint16(0, Math.floor(ms / 2 ** 32));
  new DataView(b.buffer).setUint32(2, ms % 2 ** 32);
  b[6] = 0x70 | (b[6] & 0x0f);
  b[8] = 0x80 | (b[8] & 0x3f);
  const h = Array.from(b, (x) => x.toString(16).padStart(2, "0")).join("");
  return `${h.slice(0, 8)}-${h.slice(8, 12)}-${h.slice(12, 16)}-${h.slice(16, 20)}-${h.slice(20)}`;
}

/** RFC 3339 in milliseconds with the phone's offset from UTC at that moment. */
export function stamp(ms) {
  const east = -Math.round(new Date(ms).getTimezoneOffset());
  const two = (n) => String(n).padStart(2, "0");
  const sign = east < 0 ? "-" : "+", off = Math.abs(east);
  return new Date(ms + east * 60000).toISOString().slice(0, -1) + sign + two(Math.floor(off / 60)) + ":" + two(off % 60);
}

export const sourceOf = (device) => `/site/${device.site}/device/${device.device}`;

/** The subject that an event is published to. */
export const subjectOf = (site, wall, kind) => `pour.${site}.${wall || "_"}.${kind}`;

const digits = (n) => String(n).padStart(20, "0");

/** The text of an event. offset null: the device was never in contact. */
export function encode({ id, device, wall, kind, entered, number, before, by, offset, data }) {
  const e = { specversion: "1.0", id, source: sourceOf(device), type: `earlyage.${kind}.v1` };
  if (wall) e.subject = wall;
  e.time = stamp(entered);
  e.datacontenttype = "application/json";
  e.sequence = digits(number);
  if (before) e.wallsequence = digits(before);
  if (by) e.by = by;
  if (offset !== null) e.clockoffset = String(Math.round(offset));
  e.data = data;
  return JSON.stringify(e, wellFormed);
}

/** The same event under another number. */
export function renumber(body, number, before) {
  const e = JSON.parse(body);
  e.sequence = digits(number);
  delete e.wallsequence;
  if (!before) return JSON.stringify(e);
  const { data, ...rest } = e; // the data stands last
  return JSON.stringify({ ...rest, wallsequence: digits(before), data });
}

/** Half a character cannot be written in UTF-8, and would be refused. */
function wellFormed(_, v) {
  return typeof v === "string" && v.toWellFormed ? v.toWellFormed() : v;
}

/** Whether roles may record a kind. */
export function mayRecord(kind, roles) {
  return (kinds[kind]?.by ?? []).some((r) => roles.includes(r));
}

/** Why an event cannot be recorded, or "". */
export function flaw(wall, kind) {
  const k = kinds[kind];
  if (!k) return `no kind is named ${kind}`;
  if (wall && !token.test(wall)) return `wall ${wall}: a-z, 0-9 and -, at most 40`;
  if (!wall && k.on === "wall") return `${kind} needs a wall`;
  if (wall && k.on === "site") return `${kind} is about the whole site`;
  return "";
}
