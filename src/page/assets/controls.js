// Controls of the scrub in hand: what is put into them, what is taken from them, and where an error of theirs stands.

import { change } from "./bench.js";
import { byId, make, marked } from "./make.js";

/** What the page last put into a control or took from it; anything else in there is still being typed. */
const known = new WeakMap();
/** Sliders that are being moved: the page must not move them too. */
const moving = new WeakMap();
/** Controls that show another text than the value that they stand for: how a value is put into them. */
const writers = new WeakMap();
/** What the scrub holds of a control, as the page last put it there. */
const stated = new WeakMap();
/** Boxes whose text was refused and stands there still, by id: that text, why (at the box, and named), what the scrub holds meanwhile. */
const refused = new Map();
let gestures = 0;
let building = false;

/** What the pickers offer, from the program's tables. */
export let pickers = null;
export const usePickers = (tables) => (pickers = tables);

export const isTyped = (control) => known.has(control) && control.value !== known.get(control);

/** What is in a control has been read, or was put there by the page. */
export const settle = (control) => known.set(control, control.value);
export const writesBy = (control, write) => writers.set(control, write);

export function set(control, value) {
  const write = writers.get(control);
  if (write) write(value);
  else {
    if (control.type === "range") reachTo(control, readNumber(String(value)));
    control.value = textOf(control, value);
  }
  settle(control);
  stated.set(control, control.value);
}

/** A value as a control writes it: a slider takes a point in every language. */
function textOf(control, value) {
  if (control.type === "range") return String(readNumber(String(value)));
  return String(marked(value ?? ""));
}

/** A slider reaches what its box holds. */
function reachTo(slider, value) {
  if (value > Number(slider.max)) slider.max = value;
  if (value < Number(slider.min)) slider.min = value;
}

/** Puts a value into a control, save into one in use, and one whose text was refused while the scrub holds what it did. */
export function put(id, value) {
  const control = byId(id);
  if (!control || moving.has(control)) return;
  if (refused.get(id)?.stated === textOf(control, value)) return;
  pardon(control);
  if (!(isTyped(control) && control === document.activeElement)) set(control, value);
}

/** Takes what is being typed, before something else is done with the scrub. */
export function takeTyped() {
  const control = document.activeElement;
  if (isTyped(control)) control.dispatchEvent(new Event("change"));
}

/** Has controls built anew; the one in use keeps the focus, with what is being typed. */
export function rebuild(build) {
  const before = document.activeElement;
  const typed = isTyped(before) ? before.value : null;
  const where = placeOf(before);
  building = true;
  build();
  building = false;
  for (const [id, { text, here, stated: then }] of refused) {
    const control = byId(id);
    if (control && stated.get(control) === then) {
      mark(control, text);
      tellAt(control, here);
      tell(cardOf(control));
    } else refused.delete(id);
  }
  const now = before?.isConnected ? before : where();
  now?.focus();
  if (now && typed !== null) now.value = typed;
}

/** How an element is found again when what it is in was built anew: by its id, or by its place in what has one. */
function placeOf(element) {
  if (!element || element === document.body) return () => null;
  if (element.id) return () => byId(element.id);
  const home = element.closest("[id]");
  const alike = () => [...(byId(home?.id)?.querySelectorAll(element.tagName) ?? [])];
  const at = alike().indexOf(element);
  return () => alike()[at];
}

export const isBuilding = () => building;

/** Sends edits, to the scrub in hand or where `send` says; what is wrong with them stands at the card they came from. Whether they were made. */
export async function edit(edits, { control, gesture, more, send = change } = {}) {
  const given = control?.value;
  try {
    await send(edits, gesture, more);
    return true;
  } catch (error) {
    refuse(control, error.message, given);
    return false;
  }
}

export function refuse(control, message, given) {
  // The card may have been built anew meanwhile.
  const now = byId(control?.id) ?? control;
  const card = cardOf(now);
  const alone = () => (card.querySelector(".error").textContent = message);
  if (!now?.matches("input, select, textarea")) return alone();
  now.setAttribute("aria-invalid", "true");
  // What is shown is what was asked for, marked as wrong.
  if (moving.has(now) || writers.has(now)) return alone();
  mark(now, given);
  if (given === stated.get(now)) return alone();
  const here = short(now, message);
  refused.set(now.id, { text: given, here, message: named(now, message), stated: stated.get(now) });
  tellAt(now, here);
  tell(card);
}

/** What is wrong stands at its box for who sees it; at its card it is read out too. */
function tellAt(control, message = "") {
  const label = control.closest("label");
  label?.querySelector(".wrong-here")?.remove();
  if (message) label?.append(make("span", { class: "wrong-here", "aria-hidden": "true" }, message));
}

/** What is wrong with a box begins with what the box is called: a card may have several. */
function named(control, message) {
  const label = labelOf(control);
  return message.startsWith(label) ? message : `${label}: ${message}`;
}

const labelOf = (control) => control.labels?.[0]?.firstChild?.textContent.trim() ?? "";

/** The same at the box itself, where neither its name nor its place in the file need be said. */
function short(control, message) {
  const plain = message.startsWith(labelOf(control)) ? message.slice(labelOf(control).length).replace(/^: /, "") : message;
  return plain.replace(/^\S+\.toml(:\d+)*:\s*/, "").replace(/^[a-z0-9_]+: /, "");
}

function mark(control, text) {
  control.value = text;
  settle(control);
  control.setAttribute("aria-invalid", "true");
}

/** Where it is told what is wrong with a control. */
const cardOf = (control) => control?.closest("[data-errors]") ?? byId("scrub-head");

/** What is still wrong on a card. */
function tell(card) {
  const own = [...card.querySelectorAll("[aria-invalid]")].filter((e) => cardOf(e) === card);
  card.querySelector(".error").textContent = own.flatMap((e) => refused.get(e.id)?.message ?? []).join("\n");
}

/** A box is asked anew, or holds what the scrub does. */
function pardon(control) {
  if (!refused.delete(control.id)) return;
  control.removeAttribute("aria-invalid");
  tellAt(control);
  tell(cardOf(control));
}

/** What was wrong is over, but for boxes whose text was refused and stands there still. */
export function forgive(within) {
  for (const e of within.querySelectorAll("[aria-invalid]")) if (!refused.has(e.id)) e.removeAttribute("aria-invalid");
  within.querySelectorAll("[data-errors]").forEach(tell);
}

/** Another scrub is in hand: nothing that was refused is about it. */
export const forget = () => refused.clear();

const KEYS = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 };

/** A slider whose moves until it is let go are one step to undo; `step` is what an arrow key moves it by. */
export function live(control, edits, step) {
  let last = Promise.resolve();
  let begun = control.value; // what Escape brings back
  let givenUp = false;
  control.step = "any";
  const move = () => {
    settle(control);
    moving.set(control, {});
    last = edit(edits(control.value), { control, gesture: gestures });
  };
  const letGo = () => {
    gestures += 1;
    givenUp = false;
    const move = moving.get(control);
    last.then(() => moving.get(control) === move && moving.delete(control));
  };
  control.addEventListener("focus", () => (begun = control.value));
  control.addEventListener("pointerdown", () => (begun = control.value));
  control.addEventListener("input", () => {
    if (givenUp) control.value = begun;
    else move();
  });
  control.addEventListener("change", letGo);
  control.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && control.value !== begun) {
      givenUp = control.matches(":active");
      control.value = begun;
      move();
      if (!givenUp) letGo();
    }
    const by = KEYS[event.key];
    if (!by || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    control.value = (Math.round(Number(control.value) / step) + by) * step;
    move();
    letGo();
  });
  return control;
}

/** A box whose text is taken when it is confirmed: by Enter, or by leaving it. Escape brings the old one back. */
function box(control, label, value, taken) {
  set(control, value);
  // What was put back into a box by the page is no change to the browser; leaving the box takes it all the same.
  // One that was refused is asked again: what was in its way may be gone.
  const left = () => {
    if (building || !(isTyped(control) || refused.has(control.id))) return;
    pardon(control);
    taken();
  };
  for (const event of ["change", "blur"]) control.addEventListener(event, left);
  control.addEventListener("keydown", (event) => {
    if (event.key !== "Escape" || !(isTyped(control) || refused.has(control.id))) return;
    event.stopPropagation();
    event.preventDefault();
    set(control, stated.get(control));
    pardon(control);
  });
  return make("label", { class: "box", for: control.id }, label, control);
}

/** A number as people write it, with a point or a comma; null where it is none. */
export function readNumber(text) {
  const plain = text.trim().replace(",", ".");
  // Digits beyond all numbers come to none: JSON has no word for infinity.
  const isWritten = /^[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?$/i.test(plain) && Number.isFinite(Number(plain));
  return isWritten ? Number(plain) : null;
}

/** A number box; where `optional`, empty takes the key out. `send` as of `edit`. */
export function numberBox(id, label, value, edits, { optional = false, send, ...attributes } = {}) {
  const control = make("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", ...attributes });
  return box(control, label, value, () => {
    const empty = control.value.trim() === "";
    const number = readNumber(control.value);
    if (number === null && !(empty && optional)) {
      const before = stated.get(control);
      return refuse(control, `${label}: a number is wanted${before && `; it is still ${before}`}`, control.value);
    }
    settle(control);
    edit(edits(empty ? null : number), { control, send });
  });
}

export function textBox(id, label, value, edits, { send, ...attributes } = {}) {
  const control = make("input", { id, type: "text", ...attributes });
  return box(control, label, value, () => {
    settle(control);
    edit(edits(control.value.trim()), { control, send });
  });
}

/** A box to tick. */
export function tick(id, label, value, edits, { send } = {}) {
  const control = make("input", { id, type: "checkbox" });
  control.checked = value === true;
  control.addEventListener("change", () => edit(edits(control.checked), { control, send }));
  return make("label", { class: "tick", for: id }, control, label);
}

/** A list of a form that is sent as a whole; what changes the scrub at once is a `picker`. */
export function choice(id, label, options, value) {
  const list = make("select", { id }, options);
  // A list has no value before it has what to choose from.
  list.value = value;
  return make("label", { class: "box", for: id }, label, list);
}

export const option = (value, text, attributes = {}) => make("option", { value, ...attributes }, text ?? value);
