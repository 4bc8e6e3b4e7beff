// A box for one key of the scrub file by the kind of its value: how the value is shown, how what is typed is read.

import { bench } from "./bench.js";
import { edit, numberBox, pickers, put, readNumber, textBox, tick } from "./controls.js";
import { setAt } from "./edits.js";
import { marked } from "./make.js";
import { picker } from "./picker.js";

/** The value at a path of a file, the scrub in hand unless another is named. */
export const valueAt = (at, definition = bench.answer.definition) => at.reduce((value, step) => value?.[step], definition);

/** Boxes of whatever goes into a scrub, powder or ingredient, on the shelf or in the scrub: key, label and kind. */
export const NAME = ["name", "Name", "text"];
export const INCI = ["inci", "INCI name", "text"];
export const LOT = ["lot", "Lot", "text"];
export const PRICE = ["price_per_kg", "Price per kg"];
export const MICROBES = ["cfu_per_g", "Microbes, CFU/g"];
export const LISTS = ["lists_checked", "Looked up in the lists on, year-month-day", "text"];
export const TRACES = ["traces_tested", "Traces tested", "flag"];

const NOT_STATED = { value: "", text: "not stated" };
const YES_NO = [NOT_STATED, { value: "yes", text: "yes" }, { value: "no", text: "no" }];
const named = (names) => names.map((n) => ({ value: n, text: n }));

/** What a chosen key may be, by kind. */
const OPTIONS = {
  "yes-no": () => YES_NO,
  kind: () => [NOT_STATED, ...named(pickers.kinds)],
  acid: () => [
    { value: "", text: "no acid" },
    ...pickers.acids.map((a) => ({ value: a.key, text: a.name, more: a.key })),
  ],
  phase: () => [NOT_STATED, ...named((bench.answer.definition.phase ?? []).map((p) => p.name))],
  preservative: () => [
    { value: "", text: "by its INCI name" },
    ...pickers.preservatives.map((p) => ({ value: p.key, text: p.name, more: p.key })),
  ],
};

/** Texts that stand for more than one value, by kind: shown as, and read as; what cannot be read is sent as it is, for the program to refuse. */
const WRITTEN = {
  text: { shown: (value) => value ?? "", read: (text) => text },
  size: { shown: (size) => (typeof size === "string" ? size : spread(size)), read: (text) => readSize(text) },
  list: { shown: (words) => (words ?? []).join(", "), read: (text) => parted(text, ",") },
  range: {
    shown: (ends) => (ends ?? []).map(marked).join(" to "),
    read: (text) => numbers(text.split(/\s*(?:to|–|;)\s*|\s+-\s+/)) ?? text,
    numeric: true,
  },
  pair: {
    shown: (value, [first, second]) => (value ? `${marked(value[first])}; ${marked(value[second])}` : ""),
    read: (text, keys) => {
      const both = numbers(text.split(/\s*;\s*|\s+/));
      return both?.length === 2 ? Object.fromEntries(keys.map((key, i) => [key, both[i]])) : text;
    },
    numeric: true,
  },
  shares: {
    shown: (shares) => (shares ?? []).map((s) => `${s.inci} ${marked(s.pct)}`).join("; "),
    read: (text) => {
      const all = parted(text, ";").map(share);
      return all.every(Boolean) ? all : text;
    },
  },
};

/** A size that is stated by median and spread alone. */
const spread = (size) => (size?.gsd !== undefined && Object.keys(size).length === 2 ? `${marked(size.d50_um)}; ${marked(size.gsd)}` : "");

/** A size as it is typed: D50 and spread, or words for the program. */
export const readSize = (text) => WRITTEN.pair.read(text.trim(), ["d50_um", "gsd"]);

const parted = (text, mark) => text.split(mark).map((w) => w.trim()).filter(Boolean);

/** All of these as numbers; nothing where one is none. */
function numbers(words) {
  const all = words.map(readNumber);
  return all.every((number) => number !== null) ? all : null;
}

/** "Linalool 12 %" as a name and a share. */
function share(text) {
  const [, inci, pct] = text.match(/^(.*\S)\s+([^\s%]+)\s*%?$/) ?? [];
  const number = pct === undefined ? null : readNumber(pct);
  return number === null ? null : { inci, pct: number };
}

/** A value as its box shows it. */
export function shownAs([, , kind = "number", more], value) {
  if (kind === "yes-no") return value === undefined ? "" : value ? "yes" : "no";
  return WRITTEN[kind] ? WRITTEN[kind].shown(value, more) : (value ?? "");
}

/** A chosen word as the edits that it asks for. */
function readAs(kind, value, at, key) {
  if (kind === "acid" && value === "") return [{ do: "take-out", at }];
  if (kind === "yes-no") return [setAt(at, { [key]: value === "" ? null : value === "yes" })];
  return [setAt(at, { [key]: value || null })];
}

/**
 * A box for one key of the table at a path: `field` is its key, its label, its kind and what more the kind needs. Of another file than
 * the scrub in hand, its `definition` is given, and where to `send` edits.
 */
export function fieldOf(at, ids, field, { definition, send } = {}) {
  const [key, label, kind = "number", more] = field;
  const id = ids + key;
  const now = valueAt(at, definition)?.[key];
  const edits = (value) => [setAt(at, { [key]: value })];
  if (OPTIONS[kind]) {
    const taken = (value, control) => edit(readAs(kind, value, at, key), { control, send });
    return picker(id, label, OPTIONS[kind](), shownAs(field, now), taken);
  }
  if (kind === "flag") return tick(id, label, now, (on) => edits(on || null), { send });
  if (!WRITTEN[kind]) return numberBox(id, label, now, edits, { optional: true, send });
  const { read, numeric } = WRITTEN[kind];
  const attributes = { send, ...(numeric ? { inputmode: "decimal" } : {}) };
  return textBox(id, label, shownAs(field, now), (text) => edits(text === "" ? null : read(text, more)), attributes);
}

/** Puts the value of a key into its box; what is ticked is built anew where it changes. */
export function putField(ids, field, value) {
  if (field[2] !== "flag") put(ids + field[0], shownAs(field, value));
}
