// What a blend is to be: the form of an aim, and the keys of `[aim]` that it stands for. Of a file that is opened only what is changed
// in the form becomes another value: what the form cannot show stays as it is written.

import { bench } from "./bench.js";
import { choice, option, pickers, readNumber } from "./controls.js";
import { byId, make, marked } from "./make.js";

const GOALS = [
  ["least-change", "least change"],
  ["closest-curve", "closest curve"],
  ["cheapest", "cheapest"],
  ["fewest-powders", "fewest powders"],
];
/** Lists of scrubs: id, label, and what an empty choice means. */
const SCRUBS = [
  ["from", "Least change: of", "the scrub in hand"],
  ["curve", "Closest curve: to that of", "the scrub in hand"],
  ["like", "Index like that of", "none"],
  ["into", "Goes into", "none named"],
];
/** Percentiles of a curve that no scrub has. */
const CURVE = ["d10_um", "d50_um", "d90_um"];

/** The keys that the form is filled with, and what it said right after that. */
let filled = {};
let shown = {};

const field = (id, label, attributes = {}) =>
  make(
    "label",
    { class: "box", for: `aim-${id}` },
    label,
    make("input", { id: `aim-${id}`, type: "text", autocomplete: "off", ...attributes }),
  );
const numeric = (id, label, attributes = {}) => field(id, label, { inputmode: "decimal", ...attributes });
const row = (...boxes) => make("div", { class: "row" }, boxes);
const scrubChoice = ([id, label]) => choice(`aim-${id}`, label, [], "");

/** The boxes of the form; those of lists are filled by `offer`. */
export const boxes = () => [
  row(
    field("name", "Name"),
    choice("aim-shelf", "Shelf", [], ""),
    choice(
      "aim-goal",
      "Wanted",
      GOALS.map(([v, t]) => option(v, t)),
      GOALS[0][0],
    ),
  ),
  row(
    choice("aim-band-how", "To be", [option("band", "no harsher than"), option("band_exactly", "exactly")], "band"),
    choice("aim-band", "Band", [option("", "any band"), ...pickers.bands.map((b) => option(b))], ""),
    numeric("sure", "That band in so many of 100 draws", { placeholder: "90" }),
  ),
  row(
    numeric("index-low", "Index at least"),
    numeric("index-high", "Index at most"),
    numeric("load-low", "Load at least, %"),
    numeric("load-high", "Load at most, %"),
  ),
  row(
    numeric("d99", "D99 at most, µm"),
    numeric("powders", "Powders at most"),
    numeric("batch", "Batch, g"),
    field("without", "Without (tags, materials, names)", { placeholder: "nut, mineral" }),
  ),
  make(
    "details",
    { id: "aim-more" },
    make("summary", {}, "More targets: a curve, another scrub, a panel's score, what is finer"),
    row(...SCRUBS.slice(0, 2).map(scrubChoice)),
    row(
      numeric("d10_um", "or to D10, µm"),
      numeric("d50_um", "D50, µm"),
      numeric("d90_um", "D90, µm"),
    ),
    row(...SCRUBS.slice(2).map(scrubChoice)),
    make(
      "label",
      { class: "tick", for: "aim-avoid" },
      make("input", { id: "aim-avoid", type: "checkbox" }),
      "Leave out powders that would go wrong in that scrub",
    ),
    row(
      numeric("score-low", "Score of the panel, at least"),
      numeric("score-high", "at most"),
      field("calibration", "Calibration, its file", { placeholder: "panel.toml" }),
    ),
    make(
      "fieldset",
      {},
      make("legend", {}, "So much finer than a size, % by mass"),
      make("div", { id: "aim-passing" }),
      make("button", { type: "button", class: "quiet", id: "aim-passing-more", onclick: () => addLimit().focus() }, "Add a size"),
    ),
  ),
];

/** A limit on what is finer than a size; its first box. */
function addLimit({ um = "", min = "", max = "" } = {}) {
  const limits = byId("aim-passing");
  const n = limits.children.length;
  const box = (key, label, value) => numeric(`passing-${n}-${key}`, label, { value: marked(value) });
  limits.append(row(box("um", "finer than, µm", um), box("min", "at least, %", min), box("max", "at most, %", max)));
  return byId(`aim-passing-${n}-um`);
}

/** Fills the lists with what the folder holds now; what is chosen stays so. */
export function offer({ shelves, scrubs }) {
  put(
    "shelf",
    shelves.map((s) => [s.file, `${s.file} (${s.powders.length} powders)`]),
  );
  const files = scrubs.map((s) => [s.file, s.name]);
  for (const [id, , none] of SCRUBS) put(id, [["", none], ...files]);
}

function put(id, options) {
  const list = byId(`aim-${id}`);
  const chosen = list.value;
  // A file that was chosen and is gone is still named: the program says that it is gone.
  const all = !chosen || options.some(([value]) => value === chosen) ? options : [...options, [chosen, chosen]];
  list.replaceChildren(...all.map(([value, text]) => option(value, text)));
  list.value = chosen || all[0]?.[0];
}

/** Chooses from a list what it may not offer. */
function choose(id, value) {
  const list = byId(`aim-${id}`);
  if (![...list.options].some((o) => o.value === value)) list.append(option(value, value));
  list.value = value;
}

/** Fills the form with the keys of an aim, as they stand in a file. */
export function fillWish(aim) {
  fillBoxes(aim);
  filled = aim;
  shown = said();
}

/** Writes keys of an aim into the boxes. */
export function fillBoxes(aim) {
  const write = (id, value) => (byId(`aim-${id}`).value = marked(value ?? ""));
  const range = (id, ends) => ["low", "high"].forEach((end, i) => write(`${id}-${end}`, ends?.[i]));
  write("name", aim.name);
  if (aim.shelf) choose("shelf", aim.shelf);
  if (aim.goal) choose("goal", aim.goal);
  write("band-how", aim.band_exactly === undefined ? "band" : "band_exactly");
  choose("band", nameOfBand(aim.band_exactly ?? aim.band ?? ""));
  range("index", aim.index);
  range("load", aim.load_pct);
  range("score", typeof aim.score === "number" ? [aim.score, aim.score] : aim.score);
  for (const [id, key] of [["sure", "sure"], ["d99", "d99_um"], ["powders", "max_powders"], ["batch", "batch_g"], ["calibration", "calibration"]])
    write(id, aim[key]);
  write("without", aim.without?.join(", "));
  for (const id of ["from", "like", "into"]) choose(id, aim[id] ?? "");
  choose("curve", typeof aim.curve === "string" ? aim.curve : "");
  for (const key of CURVE) write(key, aim.curve?.[key]);
  byId("aim-avoid").checked = aim.avoid_wrong === true;
  byId("aim-passing").replaceChildren();
  (aim.passing_pct ?? []).forEach(addLimit);
}

/** What the form said at a time is in the file now, which holds these keys; what was typed since is not. */
export function settleWish(aim, then) {
  filled = aim;
  shown = then;
}

/** A band as the list has it: a file may write delicate-face. */
const nameOfBand = (name) => pickers.bands.find((b) => b === name.replace(/-/g, " ")) ?? name;

/** The keys that are another value than the form was filled with; null for one that is taken out. */
export function changes() {
  const now = said();
  return Object.fromEntries(Object.entries(now).filter(([key, value]) => JSON.stringify(value) !== JSON.stringify(shown[key])));
}

/** What is asked for: the keys that the form was filled with, and what was changed since. */
export const wanted = () => ({ ...filled, ...(filled.goal ? {} : said()), ...changes() });

/** What the form says, by the keys of an aim. */
export function said() {
  const value = (id) => byId(`aim-${id}`).value.trim();
  // What is no number goes as it is: the program says what is wanted.
  const one = (id) => (value(id) === "" ? null : (readNumber(value(id)) ?? value(id)));
  const range = (id, least, most) => {
    const [low, high] = [one(`${id}-low`), one(`${id}-high`)];
    return low === null && high === null ? null : [low ?? least, high ?? most];
  };
  const goal = value("goal");
  const passing = limits(one);
  const percentiles = CURVE.flatMap((key) => (one(key) === null ? [] : [[key, one(key)]]));
  const like = value("like") || null;
  // A curve that the file states in another way stays.
  const other = typeof filled.curve === "object" && !CURVE.some((key) => key in filled.curve) ? filled.curve : null;
  const curve = percentiles.length
    ? Object.fromEntries(percentiles)
    : value("curve") || other || (passing || like ? null : bench.draft.file);
  const score = range("score", one("score-high"), one("score-low"));
  const how = value("band-how");
  return {
    name: value("name") || "Found here",
    shelf: value("shelf"),
    goal,
    band: (how === "band" && value("band")) || null,
    band_exactly: (how === "band_exactly" && value("band")) || null,
    sure: one("sure"),
    index: range("index", 0, 1e6),
    like,
    score: score && score[0] === score[1] ? score[0] : score,
    calibration: value("calibration") || null,
    load_pct: range("load", 0, 100),
    d99_um: one("d99"),
    max_powders: one("powders"),
    batch_g: one("batch"),
    without: worded(value("without")),
    from: goal === "least-change" ? value("from") || (like ? null : bench.draft.file) : null,
    curve: goal === "closest-curve" ? curve : null,
    into: value("into") || null,
    avoid_wrong: byId("aim-avoid").checked || null,
    passing_pct: passing,
  };
}

function worded(text) {
  const words = text.split(",").map((w) => w.trim()).filter(Boolean);
  return words.length ? words : null;
}

/** Limits of which anything is said. */
function limits(one) {
  const all = [...byId("aim-passing").children].map((_, n) =>
    Object.fromEntries(["um", "min", "max"].map((key) => [key, one(`passing-${n}-${key}`)]).filter(([, v]) => v !== null)),
  );
  const stated = all.filter((limit) => Object.keys(limit).length);
  return stated.length ? stated : null;
}
