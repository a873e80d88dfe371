// Building blocks: elements, marks, keys. Everything is made by DOM calls; no text
// of the record is ever read as markup.
import { T } from "./words.js";

const svgNS = "http://www.w3.org/2000/svg";

/** An element. Properties: class, data-… and attributes; on… are listeners;
 * false and null leave an attribute out. */
export function h(tag, props = {}, ...children) {
  const e = document.createElement(tag);
  for (const [name, value] of Object.entries(props ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) e.addEventListener(name.slice(2), value);
    else e.setAttribute(name, value === true ? "" : value);
  }
  e.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false));
  return e;
}

export function mark(name) {
  const svg = document.createElementNS(svgNS, "svg");
  svg.setAttribute("class", "mark");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS(svgNS, "use");
  use.setAttribute("href", document.documentElement.dataset.marks + "#" + name);
  svg.append(use);
  return svg;
}

/** A state: mark, word, colour. */
export const state = (name, word) => h("span", { class: "state state-" + name }, mark(name), h("span", {}, word));

/** What a gloved thumb presses. id keeps the focus on it when the screen is drawn anew. */
export function key(id, text, { more, press, sort = "", icon, pressed, label } = {}) {
  return h("button", {
    type: "button", class: `key ${sort}`.trim(), "data-k": id, onclick: press,
    "aria-pressed": pressed === undefined ? null : String(pressed), "aria-label": label,
  }, icon && mark(icon), h("span", { class: "key-text" }, text, more && h("span", { class: "key-more" }, more)));
}

export const note = (sort, icon, ...text) => h("p", { class: `note note-${sort}` }, mark(icon), h("span", {}, ...text));

export const keys = (...list) => h("div", { class: "keys" }, ...list);

// The states of a wall and how they are shown.
const walls = { planned: "nolink", placing: "placing", curing: "curing", stripped: "done", "handed-over": "done" };

/** A wall's state. May strip stands on the screen of the braces alone, from a fresh
 * answer and beside the caution; here the hub is to be asked. */
export function wallState(wall) {
  if (wall.state === "may-strip") return state("nolink", T("phone.ask-hub"));
  return state(walls[wall.state] ?? "nolink", T("state." + wall.state));
}

const joints = { live: "placing", closing: "watch", "past-limit": "hold" };
export const jointMark = (s) => joints[s];

/** Nodes that change as time passes: each is asked every second. */
export class Live {
  #list = [];

  clear() {
    this.#list = [];
  }

  /** An element whose content make() gives; it is made anew when its text changes. */
  put(tag, props, make) {
    const e = h(tag, props);
    const show = () => {
      const next = h(tag, {}, make());
      const old = e.childNodes;
      const same = next.childNodes.length === old.length && [...next.childNodes].every((n, i) => n.isEqualNode(old[i]));
      if (!same) e.replaceChildren(...next.childNodes);
    };
    show();
    this.#list.push(show);
    return e;
  }

  tick() {
    for (const show of this.#list) show();
  }
}
