// Elements. Data go in as text only, never as markup.

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

export const byId = (id) => document.getElementById(id);

/** Writes a number with so many digits, without an exponent. */
export function number(value, digits = 3) {
  if (value === null || value === undefined || !Number.isFinite(value)) return "–";
  const padded = Math.abs(value) < 10 ** digits && value !== 0;
  return formatter(digits, padded).format(value);
}

// Making one takes longer than using it a hundred times.
const formatters = new Map();

function formatter(digits, padded) {
  const key = `${digits} ${padded}`;
  if (!formatters.has(key)) {
    const shortest = padded ? { minimumSignificantDigits: digits } : {};
    formatters.set(
      key,
      new Intl.NumberFormat("en", { maximumSignificantDigits: digits, ...shortest, useGrouping: false }),
    );
  }
  return formatters.get(key);
}

/** A share in percent; what is next to nothing is said to be. */
export const percent = (value) => (value > 0 && value < 0.01 ? "<0.01 %" : `${number(value)} %`);

/** Opens the dialog with a title and children; `close` ends it. */
export function openDialog(title, ...children) {
  const dialog = byId("dialog");
  const close = () => dialog.close();
  dialog.replaceChildren(
    make("h2", { id: "dialog-title" }, title),
    ...children,
    make("button", { type: "button", class: "close", onclick: close }, "Close"),
  );
  if (!dialog.open) dialog.showModal();
  return close;
}

export function say(text) {
  byId("news").textContent = text;
}

export function complain(text) {
  byId("trouble").hidden = !text;
  byId("trouble").textContent = text ?? "";
}
