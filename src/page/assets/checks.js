// The checks of a formula: what each is called, its figure and whether the limit is a floor or a ceiling, why, what would mend it, and
// the way to what it is about. Those that pass are listed too.

import { bench } from "./bench.js";
import { make, number, sentence } from "./make.js";
import { showPowder } from "./powders.js";
import { showIngredient, showPart } from "./whole.js";

const LEVELS = { stop: "Stop", caution: "Caution", "not-judged": "Not judged", pass: "Passes" };
const BOUNDS = { "at-least": "at least", "at-most": "at most", exactly: "to be" };
const PARTS = { phases: "phases", powders: "powders", acid: "acid", base: "base", fill: "container", use: "use" };

/** What forbids the scrub, in few words. */
export const stopsOf = ({ whole, formula = [] }) =>
  whole
    ? whole.checks.filter((c) => c.verdict === "stop").map(headOf)
    : formula.filter((c) => c.level === "stop").map((c) => c.text);

/** The same by their names alone. */
export const stopNames = (answer) =>
  answer.whole ? answer.whole.checks.filter((c) => c.verdict === "stop").map((c) => c.name) : stopsOf(answer);

/** Name, figure and limit. */
function headOf({ name, value, limit, bound, unit }) {
  if (value === null) return name;
  const figure = `${name} ${number(value)}${unit ? ` ${unit}` : ""}`;
  return limit === null ? figure : `${figure}, ${BOUNDS[bound] ?? "limit"} ${number(limit)}`;
}

/** All checks, or why there are none; tables that changed on disk first. */
export function checks({ whole, formula = [], changed = [] }) {
  const open = new Set([...document.querySelectorAll(".checks details[open]")].map((d) => d.dataset.check));
  const notes = changed.map((text) => make("li", { class: "warn" }, make("strong", {}, LEVELS.caution), " ", sentence(text)));
  const unread = whole ? [] : formula.filter((c) => c.level === "stop");
  const broken = unread.map((c) => make("li", { class: "stop harm" }, make("strong", {}, LEVELS.stop), " ", c.text));
  const all = whole?.checks ?? [];
  const grave = all.filter((c) => c.verdict === "stop" || c.verdict === "caution");
  const shown = [...notes, ...broken, ...grave.map((c) => line(c, open))];
  const quiet = (verdict, title) => {
    const some = all.filter((c) => c.verdict === verdict);
    if (some.length === 0) return "";
    return make(
      "details",
      { class: "quiet-checks", "data-check": verdict, open: open.has(verdict) },
      make("summary", {}, `${title}: ${some.length}`),
      make("ul", { class: "checks" }, some.map((c) => line(c, open))),
    );
  };
  if (shown.length + all.length === 0) return [];
  return [
    make(
      "section",
      { class: "checks", "aria-label": "Checks of the formula" },
      shown.length ? make("ul", { class: "checks" }, shown) : "",
      quiet("not-judged", "Checks that are not judged, for want of data"),
      quiet("pass", "Checks that pass"),
    ),
  ];
}

/** What stops the scrub is open, the others open on demand and stay so. */
function line(check, open) {
  const isStop = check.verdict === "stop";
  const beside = check.verdict === "caution" || isStop ? check.open : [];
  return make(
    "li",
    { class: isStop ? "stop harm" : check.verdict },
    make(
      "details",
      { "data-check": check.key, open: isStop || open.has(check.key) },
      make("summary", {}, make("strong", {}, LEVELS[check.verdict]), " ", headOf(check)),
      make("p", {}, `${sentence(check.why)}.`),
      beside.map((text) => make("p", {}, `Not judged: ${sentence(text)}.`)),
      check.mend ? make("p", { class: "mend" }, make("strong", {}, "What would mend it: "), `${sentence(check.mend)}.`) : "",
      make("div", { class: "row leads" }, leads(check)),
      make("p", { class: "source" }, `${check.status}: ${check.source}`),
    ),
  );
}

/** Ingredients that a check leads to; one that names more is about the part that they are in. */
const MOST_LEADS = 4;

/** Buttons to the ingredients that it names, and to its part of the scrub. */
function leads(check) {
  const to = (id, label, onclick) => make("button", { type: "button", id: `to-${check.key}-${id}`, onclick }, label);
  const lines = check.lines.slice(0, MOST_LEADS).map((at) => [at, bench.answer.whole.lines[at]]);
  const named = lines.map(([at, { name, powder }]) =>
    to(at, `Go to ${name}`, () => (powder ? showPowder(placeOf(name)) : showIngredient(at))),
  );
  const part = () => (check.part === "powders" ? showPowder(0) : showPart(check.part));
  return [...named, to(check.part, `Go to the ${PARTS[check.part]}`, part)];
}

const placeOf = (name) => bench.answer.report.powders.findIndex((p) => p.name === name);
