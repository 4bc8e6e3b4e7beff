// The whole scrub beside its powders: phases with their ingredients, acid, base, container, use. Built anew only when what there is
// changes; otherwise values are filled in. What it comes to, the program says.

import { bench } from "./bench.js";
import { edit, numberBox, pickers, put, rebuild, refuse, textBox, tick } from "./controls.js";
import { ofPowder, setAt } from "./edits.js";
import { INCI, LISTS, LOT, MICROBES, NAME, PRICE, TRACES, fieldOf, putField, shownAs, valueAt } from "./fields.js";
import { byId, make, marked, number, percent } from "./make.js";
import { picker } from "./picker.js";

/** Tables of the file with one value a key: label and kind of each. */
const SECTIONS = {
  acid: {
    title: "Acid",
    none: "no acid exfoliant",
    fields: [
      ["key", "Which acid", "acid"],
      ["final_ph", "pH of the finished scrub"],
      ["window", "pH window, such as 4.5 to 5", "range"],
    ],
  },
  base: {
    title: "Base",
    none: "nothing stated of the scrub without its powders",
    fields: [
      ["density_g_cm3", "Density, g/cm³"],
      ["yield_stress_pa", "Yield stress, Pa"],
      ["bead", "or bead that just stays: mm; g/cm³", "pair", ["mm", "density_g_cm3"]],
      ["slump", "or slump of a cylinder: height; slump, mm", "pair", ["height_mm", "slump_mm"]],
      ["viscosity_pa_s", "Viscosity at rest, Pa·s"],
      ["ph", "pH, of a scrub without acid"],
      ["water_activity", "Water activity, 0 to 1"],
    ],
  },
  fill: {
    title: "Container",
    none: "no container stated",
    fields: [
      ["container_ml", "To the brim, mL"],
      ["orifice_mm", "Opening, mm"],
      ["jar", "A jar, without a narrow opening", "flag"],
      ["net_g", "Net content, g"],
      ["net_ml", "or net content, mL"],
      ["shelf_days", "Days on the shelf"],
    ],
  },
  use: {
    title: "Use",
    none: "nothing stated of its use",
    fields: [
      ["kind", "What it is", "kind"],
      ["rinse_off", "Rinsed off", "yes-no"],
      ["per_week", "Uses a week"],
      ["salon", "For trained people", "flag"],
      ["regions", "Sold in, with commas", "list"],
      ["on_market", "On the market from, year-month-day", "text"],
    ],
  },
  label: {
    title: "Label",
    none: "nothing stated for the label",
    fields: [
      ["responsible", "Responsible person and address", "text"],
      ["made_in", "Made in", "text"],
      ["function", "What it is for", "text"],
      ["durability_months", "Best before, months"],
      ["pao_months", "Once open, months"],
    ],
  },
};

const FIELDS = [
  NAME,
  INCI,
  ["strength_pct", "Strength of a solution, %"],
  PRICE,
  ["density_g_cm3", "Density, g/cm³"],
  LOT,
  ["preservative", "Preservative", "preservative"],
  ["parts", "Parts of a blend: INCI name %; …", "shares"],
  ["allergens", "Allergens in it: INCI name %; …", "shares"],
  MICROBES,
  LISTS,
  TRACES,
];

let built = "";
/** The ingredient whose row is open: its phase and position. */
let opened = null;

const shape = ({ definition: d }) =>
  JSON.stringify([
    bench.draft.file,
    (d.phase ?? []).map((p) => [p.name, (p.ingredient ?? []).map((i) => [i.fill === true, i.functions, i.traces_tested])]),
    Object.keys(SECTIONS).map((key) => key in d),
    d.fill?.jar,
    d.use?.salon,
  ]);

export function showWhole() {
  const now = shape(bench.answer);
  if (now !== built) rebuild(build);
  built = now;
  fill();
}

function build() {
  const { definition } = bench.answer;
  const box = byId("whole");
  const open = new Set([...box.querySelectorAll("details[open]")].map((d) => d.id));
  const phases = definition.phase ?? [];
  box.replaceChildren(
    make(
      "details",
      { id: "part-phases", open: open.has("part-phases"), "data-errors": "" },
      make("summary", {}, make("h3", {}, "Phases and ingredients"), " ", make("span", { class: "source", id: "total" })),
      make("p", { class: "error", role: "alert" }),
      make("ol", { id: "phases" }, phases.map((phase, p) => phaseOf(phase, p, phases.length))),
      make("button", { type: "button", id: "add-phase", onclick: () => addPhase() }, "Add a phase"),
    ),
    ...Object.keys(SECTIONS).map((key) => section(key, open)),
  );
}

function section(key, open) {
  const { title, fields } = SECTIONS[key];
  return make(
    "details",
    { id: `part-${key}`, open: open.has(`part-${key}`), "data-errors": "" },
    make("summary", {}, make("h3", {}, title), " ", make("span", { class: "source", id: `now-${key}` })),
    make("div", { class: "row" }, fields.map((field) => fieldOf([key], `${key}-`, field))),
    make("p", { class: "error", role: "alert" }),
  );
}

function phaseOf(phase, p, count) {
  const at = ["phase", p];
  const id = (name) => `f${p}-${name}`;
  const ingredients = phase.ingredient ?? [];
  const move = (to) => edit([{ do: "move", at, to }], { control: byId(id("name")) }).then(() => focus(`f${to}-name`));
  /** Powders that go in with it would be left without a phase. */
  const takeOut = () => {
    const { definition, report } = bench.answer;
    const inIt = report.powders.filter((_, i) => definition.powder[i].phase === valueAt(at).name).map(({ name }) => name);
    if (inIt.length === 0) return edit([{ do: "take-out", at }], { control: byId(id("name")) });
    const [go, them] = inIt.length > 1 ? ["go", "each of them"] : ["goes", "it"];
    const out = byId(id("out"));
    refuse(out, `${inIt.join(" and ")} ${go} in with this phase: first choose another phase for ${them}, under “In the whole scrub” of the powder.`);
  };
  const rename = (name) => [
    setAt(at, { name }),
    // The powders that go in with it name it.
    ...bench.answer.definition.powder.flatMap((powder, i) =>
      powder.phase === valueAt(at).name ? ofPowder(i, { phase: name }) : [],
    ),
  ];
  return make(
    "li",
    { class: "card phase", "data-errors": "" },
    make(
      "div",
      { class: "row" },
      textBox(id("name"), `Phase ${p + 1}`, phase.name, rename),
      numberBox(id("temperature_c"), "°C", phase.temperature_c, (v) => [setAt(at, { temperature_c: v })], { optional: true }),
      order(id, `phase ${phase.name}`, p, count, move, takeOut),
    ),
    textBox(id("note"), "What to do", phase.note, (v) => [setAt(at, { note: v || null })]),
    make("p", { class: "error", role: "alert" }),
    make(
      "ol",
      { class: "ingredients" },
      ingredients.map((i, n) => ingredientOf(i, p, n, ingredients.length)),
    ),
    make("button", { type: "button", class: "quiet", id: id("add"), onclick: () => addIngredient(p) }, "Add an ingredient"),
  );
}

/** Buttons that move an entry up, down, or out. */
function order(id, name, at, count, move, takeOut) {
  const button = (key, label, sign, onclick, off) =>
    make(
      "button",
      { type: "button", class: "quiet", id: id(key), disabled: off, onclick, title: label },
      make("span", { "aria-hidden": "true" }, sign),
      make("span", { class: "unseen" }, `${label}: ${name}`),
    );
  return make(
    "span",
    { class: "order" },
    button("up", "Move up", "↑", () => move(at - 1), at === 0),
    button("down", "Move down", "↓", () => move(at + 1), at === count - 1),
    button("out", "Take out", "✕", takeOut, false),
  );
}

function ingredientOf(ingredient, p, n, count) {
  const at = ["phase", p, "ingredient", n];
  const id = (name) => `f${p}-${n}-${name}`;
  const control = () => byId(id("fold"));
  const move = (to) =>
    edit([{ do: "move", at, to }], { control: control() }).then(() => focus(`f${p}-${to}-fold`));
  const takeOut = async () => {
    if (await edit([{ do: "take-out", at }], { control: control() })) focus(`f${p}-${n}-out`, `f${p}-${n - 1}-out`, `f${p}-add`);
  };
  const isFill = ingredient.fill === true;
  const phases = bench.answer.definition.phase.map((phase, i) => ({ value: String(i), text: phase.name }));
  const into = (to) => {
    const list = ["phase", Number(to), "ingredient"];
    const last = valueAt(list)?.length ?? 0;
    edit([{ do: "move", at, into: list, to: last }], { control: control() }).then((made) => {
      if (made) showAt(Number(to), last);
    });
  };
  const hasFunction = (f) => (ingredient.functions ?? []).includes(f);
  const setFunction = (f) => (on) => {
    const now = (valueAt(at).functions ?? []).filter((other) => other !== f);
    const all = on ? [...now, f] : now;
    return [setAt(at, { functions: all.length ? all : null })];
  };
  return make(
    "li",
    { class: "ingredient", "data-errors": "" },
    make(
      "div",
      { class: "row" },
      make(
        "button",
        { type: "button", class: "fold", id: id("fold"), "aria-controls": id("body"), onclick: () => unfold(p, n) },
        make("span", { class: "who" }, make("span", { id: id("title") }), make("span", { class: "source", id: id("is") })),
      ),
      isFill
        ? make("p", { class: "takes-rest" }, make("strong", { id: id("left") }), " what is left")
        : numberBox(id("pct"), "% of the scrub", ingredient.pct, (v) => [setAt(at, { pct: v })]),
      order(id, ingredient.name ?? "ingredient", n, count, move, takeOut),
    ),
    make("p", { class: "error", role: "alert" }),
    make(
      "div",
      { class: "body", id: id("body"), hidden: true },
      tick(id("fill"), "Takes what is left to 100 %", isFill, (on) => fillUp(p, n, on)),
      make("div", { class: "row" }, FIELDS.map((field) => fieldOf(at, id(""), field))),
      phases.length > 1 ? picker(id("phase"), "Goes in with", phases, String(p), into) : "",
      make(
        "fieldset",
        {},
        make("legend", {}, "What it is for"),
        pickers.functions.map((f) => tick(id(`is-${f}`), f, hasFunction(f), setFunction(f))),
      ),
    ),
  );
}

/** What an ingredient comes to, as the program reckons it. */
const lineOf = (p, n) => {
  const name = bench.answer.definition.phase[p].name;
  return bench.answer.whole?.lines.filter((l) => l.phase === name && !l.powder)[n];
};

/** One ingredient takes what is left; the one that did so keeps what it came to. */
function fillUp(p, n, on) {
  const keeps = (i, j) => setAt(["phase", i, "ingredient", j], { fill: null, pct: rounded(lineOf(i, j)?.pct) });
  if (!on) return [keeps(p, n)];
  const phases = bench.answer.definition.phase;
  const before = phases.flatMap((phase, i) => (phase.ingredient ?? []).flatMap((x, j) => (x.fill ? [keeps(i, j)] : [])));
  return [...before, setAt(["phase", p, "ingredient", n], { fill: true, pct: null })];
}

const rounded = (pct = 0) => Number(pct.toFixed(4));

function unfold(p, n) {
  opened = opened && opened[0] === p && opened[1] === n ? null : [p, n];
  folded();
}

function folded() {
  (bench.answer.definition.phase ?? []).forEach((phase, p) =>
    (phase.ingredient ?? []).forEach((_, n) => {
      const isOpen = opened !== null && opened[0] === p && opened[1] === n;
      byId(`f${p}-${n}-body`).hidden = !isOpen;
      byId(`f${p}-${n}-fold`).setAttribute("aria-expanded", String(isOpen));
    }),
  );
}

function fill() {
  const { definition, whole } = bench.answer;
  folded();
  (definition.phase ?? []).forEach((phase, p) => {
    for (const key of ["name", "temperature_c", "note"]) put(`f${p}-${key}`, phase[key]);
    (phase.ingredient ?? []).forEach((ingredient, n) => {
      put(`f${p}-${n}-pct`, ingredient.pct);
      for (const field of FIELDS) putField(`f${p}-${n}-`, field, ingredient[field[0]]);
      byId(`f${p}-${n}-title`).textContent = ingredient.name ?? "";
      byId(`f${p}-${n}-is`).textContent = inWords(ingredient, lineOf(p, n));
      if (ingredient.fill) byId(`f${p}-${n}-left`).textContent = percent(lineOf(p, n)?.pct ?? NaN);
    });
  });
  for (const [key, { fields, none }] of Object.entries(SECTIONS)) {
    const now = definition[key] ?? {};
    for (const field of fields) putField(`${key}-`, field, now[field[0]]);
    const count = Object.keys(now).length;
    byId(`now-${key}`).textContent = count ? said(key, now) : none;
  }
  const cost = whole?.cost_per_kg ? ` · ${number(whole.cost_per_kg)} per kg` : "";
  byId("total").textContent = definition.phase
    ? `${whole ? `${number(whole.total_pct, 4)} % in all${cost}` : "cannot be read as it stands"}`
    : "none stated: the powders alone are judged";
}

const inWords = (ingredient, line) =>
  [
    ingredient.inci === ingredient.name ? "" : ingredient.inci,
    ingredient.strength_pct ? `${number(line?.active_pct ?? NaN)} % without its solvent` : "",
    ...(ingredient.functions ?? []),
  ]
    .filter(Boolean)
    .join(" · ");

/** A part's values in a line. */
const said = (key, now) =>
  SECTIONS[key].fields
    .filter(([name]) => now[name] !== undefined)
    .map((field) => {
      const [name, label, kind] = field;
      if (kind === "flag") return label.toLowerCase();
      const value = name === "key" ? (pickers.acids.find((a) => a.key === now.key)?.name ?? now.key) : marked(shownAs(field, now[name]));
      return kind === "acid" || kind === "kind" ? value : `${label.replace(/,.*(such as|with|year).*$|^or /g, "")} ${value}`;
    })
    .join(" · ");

async function addPhase() {
  const taken = (bench.answer.definition.phase ?? []).map((p) => p.name);
  let name = "Phase A";
  for (let i = 1; taken.includes(name); i += 1) name = `Phase ${String.fromCharCode(65 + (i % 26))}${i > 25 ? i : ""}`;
  const made = await edit([{ do: "put-in", list: ["phase"], values: { name } }], { control: byId("add-phase") });
  if (made) focus(`f${taken.length}-name`);
}

async function addIngredient(p) {
  const list = ["phase", p, "ingredient"];
  const last = valueAt(list)?.length ?? 0;
  opened = [p, last];
  const values = { name: "New ingredient", pct: 0 };
  if (await edit([{ do: "put-in", list, values }], { control: byId(`f${p}-add`) })) focus(`f${p}-${last}-name`);
}

/** The first of these that is there and can have it. */
function focus(...ids) {
  const next = ids.map(byId).find((e) => e && !e.disabled);
  next?.focus();
  if (next?.select) next.select();
}

/** Opens a part of the scrub and brings it into sight. */
export function showPart(part) {
  const box = byId(`part-${part}`);
  box.open = true;
  box.scrollIntoView({ block: "start" });
  focus(...[...box.querySelectorAll("input, button")].map((e) => e.id).filter(Boolean));
}

function showAt(p, n) {
  byId("part-phases").open = true;
  opened = [p, n];
  folded();
  focus(`f${p}-${n}-fold`);
}

/** Opens the ingredient at a line of the formula. */
export function showIngredient(at) {
  const { definition, whole } = bench.answer;
  const { phase } = whole.lines[at];
  const p = definition.phase.findIndex((f) => f.name === phase);
  const before = whole.lines.slice(0, at).filter((l) => l.phase === phase && !l.powder).length;
  showAt(p, before);
}
