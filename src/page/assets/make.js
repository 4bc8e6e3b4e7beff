// Elements, and numbers as they are written. Data go in as text only, never as markup.

export function make(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

export function draw(tag, attributes = {}, ...children) {
  return filled(document.createElementNS("http://www.w3.org/2000/svg", tag), attributes, children);
}

function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name === "value") element.value = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat().filter((c) => c !== undefined && c !== null && c !== false));
  return element;
}

/** A table with a row of heads: texts, or cells of their own. */
export function table(heads, rows) {
  const head = (h) => (h instanceof Node ? h : make("th", { scope: "col" }, h));
  return make("table", {}, make("thead", {}, make("tr", {}, heads.map(head))), make("tbody", {}, rows));
}

/** Puts children in, but leaves those that are the same already: what stays need not be laid out again. */
export function refill(at, ...children) {
  const now = [...at.children];
  if (now.length !== children.length) at.replaceChildren(...children);
  else children.forEach((child, i) => now[i].isEqualNode(child) || now[i].replaceWith(child));
}

export const byId = (id) => document.getElementById(id);

/** A button with nothing to do just now is marked, not disabled: it keeps the focus. */
export const rest = (button, resting) =>
  resting ? button.setAttribute("aria-disabled", "true") : button.removeAttribute("aria-disabled");
export const rests = (button) => button.hasAttribute("aria-disabled");

/** The decimal mark of the browser's language. */
const MARK = new Intl.NumberFormat(navigator.language).formatToParts(0.5).find((part) => part.type === "decimal").value;

const withMark = (text) => text.replace(".", MARK);

/** A number, all of its digits, with that mark; what is none is left as it is. */
export const marked = (value) => (typeof value === "number" ? withMark(String(value)) : value);

/** What in a sentence is no number to be read: what is quoted, what stands in a file; and a number that is none of those. */
const PIECES = /"[^"]*"|`[^`]*`|(?<![\w./=]|[A-Za-z]-|= )\d+\.\d+(?!\w|\.\w)/g;

/** A sentence of the program, its numbers with that mark; what is to be typed into a file keeps the point. */
export const sentence = (text) =>
  MARK === "." ? text : text.replace(PIECES, (piece) => (/^\d/.test(piece) ? withMark(piece) : piece));

/**
 * Writes a number, but for its mark, as the reports do, by the one rule of `significant` in src/report/layout.rs: so many significant digits,
 * every digit before the point whatever they are, halves to the even digit, and an exponent only for what is next to nothing
 * or beyond counting.
 */
export function number(value, digits = 3) {
  if (value === 0) return "0";
  if (!Number.isFinite(value)) return "–";
  const size = Math.abs(value);
  if (size < 1e-6 || size >= 1e15) return withMark(value.toExponential(digits - 1).replace("+", ""));
  // All digits of the number go in, since a writer would take only the shortest that tell it from its neighbours.
  return withMark(writer(digits, size >= 10 ** digits).format(value.toPrecision(100)));
}

// Making one takes longer than using it a hundred times.
const writers = new Map();

function writer(digits, whole) {
  const key = whole ? "whole" : digits;
  if (!writers.has(key)) {
    const places = whole
      ? { maximumFractionDigits: 0 }
      : { minimumSignificantDigits: digits, maximumSignificantDigits: digits };
    writers.set(key, new Intl.NumberFormat("en", { ...places, useGrouping: false, roundingMode: "halfEven" }));
  }
  return writers.get(key);
}

/** A share in percent; what is next to nothing is said to be. */
export const percent = (value) => (value > 0 && value < 0.01 ? "<0.01 %" : `${number(value)} %`);
