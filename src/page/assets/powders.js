// The powders of the scrub in hand, a line each: what it is, its share, its median size, what it does to the index. One of them is
// open: parts, grade, grains. Lines are built anew only when what they consist of changes; otherwise their values are filled in, so
// that nothing moves under the pointer or loses the focus.

import { bench, tableOf } from "./bench.js";
import { edit, forget, forgive, live, numberBox, pickers, put, rebuild, textBox } from "./controls.js";
import { ofPowder } from "./edits.js";
import { INCI, LISTS, LOT, MICROBES, TRACES, fieldOf, putField } from "./fields.js";
import { fillGrade, gradeOf } from "./grade.js";
import { fillGrains, grains } from "./grains.js";
import { byId, make, number, percent } from "./make.js";
import { explained } from "./meaning.js";
import { dropsOn } from "./tables.js";

/** How a powder stands in the whole scrub: key, label and kind. */
const FIELDS = [["phase", "Goes in with", "phase"], INCI, LOT, MICROBES, LISTS, TRACES];

let built = "";
/** The powder whose card is open, by its position. */
let opened = null;

/** What a size is stated by; a change of it needs other controls. */
const outline = ({ definition, forms }) =>
  JSON.stringify([
    bench.draft.file,
    forms,
    (definition.phase ?? []).map((p) => p.name),
    definition.powder.map((p) => [p.material, p.traces_tested, Object.keys(p), Object.keys(p.size ?? {}), p.size?.mesh, tableOf(p.size)]),
  ]);

export function showPowders(isNew) {
  if (isNew) {
    opened = null;
    forget();
  }
  forgive(byId("making"));
  const { answer } = bench;
  const now = outline(answer);
  if (now !== built) rebuild(() => build(answer));
  else fill(answer);
  built = now;
}

function build(answer) {
  const open = new Set([...document.querySelectorAll("#powders details[open]")].map((d) => d.id));
  if (opened >= answer.definition.powder.length) opened = answer.definition.powder.length - 1;
  byId("scrub-head").replaceChildren(...head(answer));
  byId("powders").replaceChildren(...answer.definition.powder.map((powder, i) => card(answer, powder, i)));
  open.forEach((id) => byId(id)?.setAttribute("open", ""));
  fill(answer);
}

function head({ definition }) {
  const scrub = (key) => (value) => [{ do: "scrub", values: { [key]: value } }];
  const load = scrub("powder_load_pct");
  const slider = make("input", {
    id: "load-slide",
    type: "range",
    min: "0.1",
    max: "60",
    "aria-label": "Powder load, % of the scrub",
  });
  byId("scrub-head").dataset.errors = "";
  return [
    textBox("scrub-name", "Name", definition.scrub.name, scrub("name")),
    explained(make("span", { class: "label" }, "Powder load"), "load"),
    make(
      "div",
      { class: "row" },
      make(
        "span",
        { class: "grow" },
        live(slider, (v) => load(Number(v)), 0.5),
      ),
      numberBox("load", "% of the scrub", definition.scrub.powder_load_pct, load),
    ),
    make("p", { class: "error", role: "alert" }),
  ];
}

function card(answer, powder, i) {
  const id = (name) => `p${i}-${name}`;
  const slider = make("input", {
    id: id("share"),
    type: "range",
    min: "0.01",
    max: "99.99",
    "aria-label": `Share of powder ${i + 1}, % of the powders`,
  });
  const share = (v) => [{ do: "share", powder: i, pct: Number(v) }];
  const alone = answer.definition.powder.length === 1;
  slider.disabled = alone;
  const remove = make(
    "button",
    { type: "button", class: "quiet", id: id("remove"), disabled: alone, onclick: () => takeOut(i, remove) },
    "Take out",
  );
  const fold = make(
    "button",
    { type: "button", class: "fold", id: id("fold"), "aria-controls": id("body"), onclick: () => unfold(i) },
    make("span", { class: "chip", id: id("chip"), "aria-hidden": "true" }),
    make("span", { class: "who" }, make("span", { id: id("title") }), make("span", { class: "source", id: id("is") })),
  );
  const line = make(
    "li",
    { class: "card powder", "data-errors": "", id: id("card") },
    make("h3", {}, fold),
    live(slider, share, 0.1),
    make("p", { class: "facts", id: id("facts") }),
    make("p", { class: "error", role: "alert" }),
    make(
      "div",
      { class: "body", id: id("body"), hidden: true },
      make(
        "div",
        { class: "row" },
        numberBox(id("pct"), "% of powders", null, share, { disabled: alone }),
        numberBox(id("parts"), "parts", powder.parts, (v) => ofPowder(i, { parts: v })),
        remove,
      ),
      gradeOf(answer.forms[i], powder.size, i),
      grains(powder, i),
      make(
        "details",
        { id: id("place") },
        make("summary", {}, "In the whole scrub"),
        make("div", { class: "row" }, FIELDS.map((field) => fieldOf(["powder", i], id(""), field))),
      ),
    ),
  );
  dropsOn(line, i, () => opened === i || unfold(i));
  return line;
}

/** Opens a card and closes the one that was open, or closes it. */
function unfold(i) {
  opened = opened === i ? null : i;
  folded();
}

/** Opens a powder's card and brings it into sight. */
export function showPowder(i) {
  opened = i;
  folded();
  byId(`p${i}-fold`).focus();
}

function folded() {
  bench.answer.definition.powder.forEach((_, i) => {
    byId(`p${i}-body`).hidden = i !== opened;
    byId(`p${i}-fold`).setAttribute("aria-expanded", String(i === opened));
  });
}

async function takeOut(i, control) {
  // The neighbour that takes the place is open then, as this one was.
  if (!(await edit([{ do: "remove", powder: i }], { control }))) return;
  // The focus goes on to it, or to what can still be done.
  const next = [byId(`p${i}-remove`), byId(`p${i - 1}-remove`), byId("add")].find((b) => b && !b.disabled);
  next.focus();
}

/** Puts the values of the answer into the controls. */
function fill({ definition, report, charts, forms }) {
  put("scrub-name", definition.scrub.name);
  put("load", definition.scrub.powder_load_pct);
  put("load-slide", definition.scrub.powder_load_pct);
  const pens = new Map(charts.charts[0].curves.filter((c) => c.powder !== null).map((c) => [c.powder, c.key]));
  folded();
  report.powders.forEach((powder, i) => {
    const stated = definition.powder[i];
    byId(`p${i}-title`).textContent = powder.name;
    byId(`p${i}-is`).textContent = materialOf(powder);
    byId(`p${i}-facts`).textContent =
      `${percent(powder.mass_pct)} · D50 ${number(powder.d50_um)} µm · ${percent(powder.index_share_pct)} of the index`;
    byId(`p${i}-chip`).className = `chip ${pens.get(i) ?? "powder-other"}`;
    put(`p${i}-share`, number(powder.mass_pct));
    put(`p${i}-pct`, number(powder.mass_pct));
    put(`p${i}-parts`, stated.parts);
    byId(`p${i}-share`).setAttribute("aria-valuetext", `${powder.name}, ${number(powder.mass_pct)} %`);
    fillGrade(stated.size, forms[i], powder, i);
    fillGrains(stated, powder, i);
    for (const field of FIELDS) putField(`p${i}-`, field, stated[field[0]]);
  });
}

/** What it is made of, where its name does not say so. */
function materialOf({ name, material }) {
  const known = pickers.materials.find((m) => m.key === material);
  return known ? (known.name === name ? "" : known.name) : "own data";
}

export async function addPowder(control) {
  const last = bench.answer.definition.powder.length;
  opened = last;
  if (!(await edit([{ do: "add", values: newPowder() }], { control }))) return;
  byId(`p${last}-grains`).open = true;
  byId(`p${last}-material`).focus();
}

/** A powder to start from, under a name that no other has. */
function newPowder() {
  const taken = bench.answer.report.powders.map((p) => p.name);
  const material = pickers.materials.find((m) => !m.refused && !taken.includes(m.name));
  return { material: material.key, parts: 1, size: { d50_um: 100, gsd: 1.5 } };
}
