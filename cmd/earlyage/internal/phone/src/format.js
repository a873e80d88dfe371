// Quantities and times as people on the site read and type them. Pure but for the
// language and the site's zone, which are given.

const foot = 0.3048, inch = 0.0254, mph = 0.44704, yard3 = 0.764554857984;

// What a dimension is inside, and how each system shows it: symbol, what one of
// it is inside, what is added, digits, the step of a stepper.
const dimensions = {
  length: { si: ["m", 1, 0, 2, 0.05], us: ["ft", foot, 0, 2, 0.25] },
  station: { si: ["m", 1, 0, 1, 0.5], us: ["ft", foot, 0, 1, 1] },
  thickness: { si: ["mm", 1, 0, 0, 1], us: ["in", inch * 1000, 0, 2, 0.125] }, // inside: mm
  temperature: { si: ["°C", 1, 0, 1, 1], us: ["°F", 5 / 9, 32, 1, 1] },
  speed: { si: ["m/s", 1, 0, 1, 1], us: ["mph", mph, 0, 1, 1] },
  volume: { si: ["m³", 1, 0, 1, 0.5], us: ["yd³", yard3, 0, 1, 0.5] },
  liquid: { si: ["L", 1, 0, 0, 5], us: ["gal", 3.785411784, 0, 1, 1] }, // inside: litres
  plain: { si: ["", 1, 0, 3, 1], us: ["", 1, 0, 3, 1] },
};

const of = (dim, units) => (dimensions[dim] ?? dimensions.plain)[units === "us" ? "us" : "si"];

export const symbol = (dim, units) => of(dim, units)[0];
export const step = (dim, units) => of(dim, units)[1] * of(dim, units)[4];

/** The number alone. */
export function number(dim, value, units) {
  const [, one, zero, digits] = of(dim, units);
  const text = (value / one + zero).toFixed(digits);
  const short = dim === "plain" ? String(Number(text)) : text;
  return Number(short) === 0 ? short.replace("-", "") : short;
}

/** The number with its unit. */
export const quantity = (dim, value, units) => (number(dim, value, units) + " " + symbol(dim, units)).trim();

/** Reads what was typed: digits with a point or a comma. NaN: nothing readable. */
export function parse(dim, text, units) {
  const plain = text.trim().replace(",", ".").replace("−", "-");
  if (!/^-?\d*\.?\d*$/.test(plain) || !/\d/.test(plain)) return NaN;
  const [, one, zero] = of(dim, units);
  return Math.round((Number(plain) - zero) * one * 1e6) / 1e6;
}

/** Adds whole steps, on the grid of steps that people read. */
export function stepped(dim, value, steps, units) {
  const [, one, zero, , by] = of(dim, units);
  const at = value / one + zero;
  const next = steps > 0 ? Math.floor(at / by + 1e-6) + steps : Math.ceil(at / by - 1e-6) + steps;
  return Math.round((next * by - zero) * one * 1e6) / 1e6;
}

// The units of criteria and of check lists.
const known = { m: "length", mm: "thickness", "m/s": "speed", "°C": "temperature" };

/** A value that the hub wrote in SI, with its unit; words stand for themselves. */
export function said(value, unit, units) {
  if (value === "" || Number.isNaN(Number(value))) return [value, value && unit].filter(Boolean).join(" ");
  return known[unit] ? quantity(known[unit], Number(value), units) : `${value} ${unit}`.trim();
}

const minute = 60_000;

/** Times in the site's zone. up: a time to strip goes up to the minute, all others down. */
export function clock(ms, { zone, lang, now, up = false }) {
  const at = (up ? Math.ceil(ms / minute) : Math.floor(ms / minute)) * minute;
  const part = (options, t) => new Intl.DateTimeFormat(lang, { timeZone: zone, ...options }).format(t);
  const time = part({ hour: "2-digit", minute: "2-digit", hourCycle: "h23" }, at);
  const day = { year: "numeric", month: "numeric", day: "numeric" };
  if (part(day, at) === part(day, now)) return time;
  return `${part({ weekday: "short" }, at)} ${part({ day: "numeric" }, at)} ${part({ month: "short" }, at)} ${time}`;
}
