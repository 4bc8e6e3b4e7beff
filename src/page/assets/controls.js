// Controls of the scrub in hand: what is put into them, what is taken from them, and where an error of theirs stands.

import { change } from "./bench.js";
import { byId, make } from "./make.js";

/** What the page last put into a control or took from it; anything else in there is still being typed. */
const known = new WeakMap();
/** Sliders that are being moved: the page must not move them too. */
const moving = new WeakMap();
let gestures = 0;
let building = false;

/** What the pickers offer, from the program's tables. */
export let pickers = null;
export const usePickers = (tables) => (pickers = tables);

const isTyped = (control) => known.has(control) && (control.value !== known.get(control) || control.validity.badInput);

function set(control, value) {
  control.value = value ?? "";
  known.set(control, control.value);
}

/** Puts a value into a control, save into one in use. */
export function put(id, value) {
  const control = byId(id);
  if (!control || moving.has(control)) return;
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
  building = true;
  build();
  building = false;
  const now = byId(before?.id);
  now?.focus();
  if (now && typed !== null) now.value = typed;
}

/** Sends edits; what is wrong with them stands at the card they came from. Whether they were made. */
export async function edit(edits, { control, gesture, more } = {}) {
  const given = control?.value;
  try {
    await change(edits, gesture, more);
    return true;
  } catch (error) {
    refuse(control, error.message, given);
    return false;
  }
}

function refuse(control, message, given) {
  // The card may have been built anew meanwhile.
  const now = byId(control?.id) ?? control;
  const box = now?.closest("[data-errors]") ?? byId("scrub-head");
  box.querySelector(".error").textContent = message;
  if (!now?.matches("input, select")) return;
  if (!moving.has(now)) set(now, given);
  now.setAttribute("aria-invalid", "true");
}

/** Nothing is wrong any more: what is shown now has been read. */
export function forgive(within) {
  within.querySelectorAll("[aria-invalid]").forEach((e) => e.removeAttribute("aria-invalid"));
  within.querySelectorAll(".error").forEach((e) => e.replaceChildren());
}

/** A slider whose moves until it is let go are one step to undo. */
export function live(control, edits) {
  let last = Promise.resolve();
  control.addEventListener("input", () => {
    known.set(control, control.value);
    moving.set(control, {});
    last = edit(edits(control.value), { control, gesture: gestures });
  });
  control.addEventListener("change", () => {
    gestures += 1;
    const move = moving.get(control);
    last.then(() => moving.get(control) === move && moving.delete(control));
  });
  return control;
}

function box(control, label, value, taken) {
  set(control, value);
  // What was put back into a box by the page is no change to the browser; leaving the box takes it all the same.
  const left = () => !building && isTyped(control) && taken();
  for (const event of ["change", "blur"]) control.addEventListener(event, left);
  return make("label", { class: "box", for: control.id }, label, control);
}

/** A number box; where `optional`, empty takes the key out. */
export function numberBox(id, label, value, edits, { optional = false, ...attributes } = {}) {
  const control = make("input", { id, type: "number", step: "any", min: "0", inputmode: "decimal", ...attributes });
  return box(control, label, value, () => {
    const empty = control.value === "";
    if (control.validity.badInput || (empty && !optional)) {
      const before = known.get(control);
      return refuse(control, `${label}: a number is wanted${before && `; it is still ${before}`}`, before);
    }
    known.set(control, control.value);
    edit(edits(empty ? null : Number(control.value)), { control });
  });
}

export function textBox(id, label, value, edits, attributes = {}) {
  const control = make("input", { id, type: "text", ...attributes });
  return box(control, label, value, () => {
    known.set(control, control.value);
    edit(edits(control.value), { control });
  });
}

export function choice(id, label, options, value, chosen) {
  const control = make("select", { id }, options);
  set(control, value);
  control.addEventListener("change", () => {
    known.set(control, control.value);
    chosen(control.value, control);
  });
  return make("label", { class: "box", for: id }, label, control);
}

export const option = (value, text, attributes = {}) => make("option", { value, ...attributes }, text ?? value);
