// The texts of the page: one file for each language, kept on the phone with it.

let texts = {};
export let lang = "en";

/** The language that the person chose, else the browser's, else English. */
export function wanted(have) {
  const kept = /(?:^|; )lang=([a-z]+)/.exec(document.cookie)?.[1];
  const list = [kept, ...navigator.languages.map((l) => l.slice(0, 2))];
  return list.find((l) => have.includes(l)) ?? "en";
}

export function languages() {
  return Object.keys(document.documentElement.dataset).filter((k) => k.startsWith("words")).map((k) => k.slice(5).toLowerCase());
}

const pathOf = (l) => document.documentElement.dataset["words" + l[0].toUpperCase() + l.slice(1)];

export async function load(l) {
  const r = await fetch(pathOf(l));
  if (!r.ok) throw new Error(`texts ${l}: ${r.status}`);
  texts = await r.json();
  lang = l;
  document.documentElement.lang = l;
}

export async function choose(l) {
  document.cookie = `lang=${l}; path=/; max-age=31536000; samesite=lax`;
  await load(l);
}

/** The text of a key, its variable parts filled in. */
export function T(key, parts = {}) {
  const text = texts[key];
  if (text === undefined) return key;
  return text.replace(/\{([a-z]+)\}/g, (whole, name) => (name in parts ? String(parts[name]) : whole));
}

export const has = (key) => key in texts;
