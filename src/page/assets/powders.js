// The powders of the scrub in hand: share, parts, grade, grains. Cards are built anew only when what they consist of changes;
// otherwise their values are filled in, so that nothing moves under the pointer or loses the focus.

import { bench, change } from "./bench.js";
import { gradeOf } from "./grade.js";
import { byId, make, number } from "./make.js";

let pickers = null;
let built = "";
let gestures = 0;

export const usePickers = (tables) => (pickers = tables);

/** Sends edits; what is wrong with them stands at the card they came from. */
export async function edit(edits, { control, gesture, more } = {}) {
  const box = control?.closest("[data-errors]") ?? byId("scrub-head");
  const told = box.querySelector(".error");
  try {
    await change(edits, gesture, more);
  } catch (error) {
    told.textContent = error.message;
    control?.setAttribute("aria-invalid", "true");
  }
}

/** A control whose moves until it is let go are one step to undo. */
function live(control, edits) {
  control.addEventListener("input", () => edit(edits(control.value), { control, gesture: gestures }));
  control.addEventListener("change", () => (gestures += 1));
  return control;
}

/** A number box; empty takes the key out where that is allowed. */
export function numberBox(id, label, value, edits, attributes = {}) {
  const control = make("input", {
    id,
    type: "number",
    step: "any",
    min: "0",
    inputmode: "decimal",
    ...attributes,
    value: value ?? "",
  });
  control.addEventListener("change", () => {
    const empty = control.value === "";
    if (empty && !attributes.empty) return;
    edit(edits(empty ? null : Number(control.value)), { control });
  });
  return make("label", { class: "box", for: id }, label, control);
}

export function textBox(id, label, value, edits, attributes = {}) {
  const control = make("input", { id, type: "text", ...attributes, value: value ?? "" });
  control.addEventListener("change", () => edit(edits(control.value), { control }));
  return make("label", { class: "box", for: id }, label, control);
}

export function choice(id, label, options, value, chosen) {
  const control = make("select", { id, onchange: () => chosen(control.value, control) }, options);
  control.value = value;
  return make("label", { class: "box", for: id }, label, control);
}

export const option = (value, text, attributes = {}) => make("option", { value, ...attributes }, text ?? value);

/** What a size is stated by; a change of it needs other controls. */
const outline = ({ definition, forms }) =>
  JSON.stringify([
    bench.draft.file,
    forms,
    definition.powder.map((p) => [
      p.material,
      Object.keys(p),
      Object.keys(p.size ?? {}),
      p.size.mesh,
      p.size.sieve ?? p.size.laser ?? p.size.counts,
    ]),
  ]);

export function showPowders() {
  // What is shown now has been read; what was wrong before is no more.
  document.querySelectorAll("#making [aria-invalid]").forEach((e) => e.removeAttribute("aria-invalid"));
  document.querySelectorAll("#making .error").forEach((e) => e.replaceChildren());
  const { answer } = bench;
  const now = outline(answer);
  if (now !== built) build(answer);
  else fill(answer);
  built = now;
}

function build(answer) {
  const held = document.activeElement?.id;
  const open = new Set([...document.querySelectorAll("#powders details[open]")].map((d) => d.id));
  byId("scrub-head").replaceChildren(...head(answer));
  byId("powders").replaceChildren(...answer.definition.powder.map((powder, i) => card(answer, powder, i)));
  open.forEach((id) => byId(id)?.setAttribute("open", ""));
  fill(answer);
  if (held) byId(held)?.focus();
}

function head({ definition }) {
  const scrub = (key) => (value) => [{ do: "scrub", values: { [key]: value } }];
  const load = scrub("powder_load_pct");
  const slider = make("input", {
    id: "load-slide",
    type: "range",
    min: "0.5",
    max: "60",
    step: "0.5",
    "aria-label": "Powder load, % of the scrub",
  });
  byId("scrub-head").dataset.errors = "";
  return [
    textBox("scrub-name", "Name", definition.scrub.name, scrub("name")),
    make(
      "div",
      { class: "row" },
      make(
        "span",
        { class: "grow" },
        make("span", { class: "label" }, "Powder load"),
        live(slider, (v) => load(Number(v))),
      ),
      numberBox("load", "% of the scrub", definition.scrub.powder_load_pct, load),
    ),
    make("p", { class: "error", role: "alert" }),
  ];
}

function card(answer, powder, i) {
  const id = (name) => `p${i}-${name}`;
  const set = (key) => (value) => [{ do: "powder", powder: i, values: { [key]: value } }];
  const slider = make("input", {
    id: id("share"),
    type: "range",
    min: "0.1",
    max: "99.9",
    step: "0.1",
    "aria-label": `Share of powder ${i + 1}, % of the powders`,
  });
  const share = (v) => [{ do: "share", powder: i, pct: Number(v) }];
  const alone = answer.definition.powder.length === 1;
  slider.disabled = alone;
  const remove = make(
    "button",
    {
      type: "button",
      class: "quiet",
      id: id("remove"),
      onclick: () => edit([{ do: "remove", powder: i }], { control: remove }),
    },
    "Take out",
  );
  remove.disabled = alone;
  return make(
    "li",
    { class: "card", "data-errors": "" },
    make(
      "div",
      { class: "row named" },
      make("span", { class: "chip", id: id("chip"), "aria-hidden": "true" }),
      make("h3", { id: id("title"), class: "grow" }),
      remove,
    ),
    make("span", { class: "label" }, "Share"),
    live(slider, share),
    make(
      "div",
      { class: "row" },
      numberBox(id("pct"), "% of powders", null, (v) => share(v), { disabled: alone }),
      numberBox(id("parts"), "parts", powder.parts, set("parts")),
    ),
    make("p", { class: "error", role: "alert" }),
    gradeOf(answer, powder, i, pickers),
    grains(answer, powder, i),
  );
}

const sourceLine = (known, unit) =>
  `table ${number(known.value, 2)} ${unit} (${number(known.low, 2)} to ${number(known.high, 2)})`;

function grains(answer, powder, i) {
  const id = (name) => `p${i}-${name}`;
  const set = (values) => [{ do: "powder", powder: i, values }];
  const material = pickers.materials.find((m) => m.key === powder.material);
  const own = (key, label, unit, known) =>
    make(
      "div",
      {},
      numberBox(
        id(key),
        label,
        powder[key],
        (v) =>
          set({
            [key]: v,
            ...(key === "hardness_gpa" ? { mohs: null } : key === "roundness" ? { roundness_class: null } : {}),
          }),
        { empty: "", placeholder: known ? number(known.value, 2) : "" },
      ),
      known ? make("p", { class: "source" }, sourceLine(known, unit)) : "",
    );
  const origins = [...new Set(pickers.materials.map((m) => m.origin))];
  const group = (origin) =>
    make(
      "optgroup",
      { label: origin },
      pickers.materials
        .filter((m) => m.origin === origin)
        .map((m) => option(m.key, m.refused ? `${m.name} (not allowed)` : m.name)),
    );
  const pick = choice(
    id("material"),
    "Material",
    [option("", "own data only"), ...origins.map(group)],
    powder.material ?? "",
    (key, control) =>
      edit(set({ material: key || null }), { control }).then(
        () => (control.value = bench.answer.definition.powder[i]?.material ?? ""),
      ),
  );
  const classes = [
    option("", "by number"),
    ...pickers.roundness.map((r) => option(r.class, `${r.class} (${number(r.roundness, 2)})`)),
  ];
  return make(
    "details",
    { id: id("grains") },
    make("summary", {}, make("span", { id: id("grains-now") })),
    textBox(id("name"), "Name", powder.name, (v) => set({ name: v || null }), { placeholder: material?.name }),
    pick,
    make(
      "div",
      { class: "row" },
      own("hardness_gpa", "Hardness, GPa", "GPa", material?.hardness_gpa),
      own("density_g_cm3", "Density, g/cm³", "g/cm³", material?.density_g_cm3),
      own("roundness", "Roundness, 0 to 1", "", material?.roundness),
    ),
    make(
      "div",
      { class: "row" },
      numberBox(
        id("mohs"),
        "or Mohs (minerals)",
        powder.mohs,
        (v) => set(v === null ? { mohs: null } : { mohs: v, hardness_gpa: null }),
        { empty: "" },
      ),
      choice(id("roundness_class"), "or roundness class", classes, powder.roundness_class ?? "", (name, control) =>
        edit(set(name ? { roundness_class: name, roundness: null } : { roundness_class: null }), { control }),
      ),
      numberBox(id("price_per_kg"), "Price per kg", powder.price_per_kg, (v) => set({ price_per_kg: v }), {
        empty: "",
      }),
    ),
    material
      ? make(
          "p",
          { class: "source" },
          `Table values of ${material.name} (${material.status}): ${material.source}. ${material.note}`,
        )
      : "",
  );
}

/** Puts the values of the answer into the controls, save the one in use. */
function fill({ definition, report, charts }) {
  const put = (id, value) => {
    const control = byId(id);
    if (control && control !== document.activeElement && !control.hasAttribute("aria-invalid"))
      control.value = value ?? "";
  };
  put("scrub-name", definition.scrub.name);
  put("load", definition.scrub.powder_load_pct);
  put("load-slide", definition.scrub.powder_load_pct);
  const pens = new Map(charts.charts[0].curves.filter((c) => c.powder !== null).map((c) => [c.powder, c.key]));
  report.powders.forEach((powder, i) => {
    const raw = definition.powder[i];
    byId(`p${i}-title`).textContent = powder.name;
    byId(`p${i}-chip`).className = `chip ${pens.get(i) ?? "powder-other"}`;
    put(`p${i}-share`, powder.mass_pct);
    put(`p${i}-pct`, number(powder.mass_pct));
    byId(`p${i}-share`).setAttribute("aria-valuetext", `${powder.name}, ${number(powder.mass_pct)} %`);
    for (const key of ["parts", "name", "hardness_gpa", "density_g_cm3", "roundness", "mohs", "price_per_kg"])
      put(`p${i}-${key}`, raw[key]);
    for (const [key, value] of Object.entries(typeof raw.size === "object" ? raw.size : { words: raw.size }))
      put(`p${i}-size-${key}`, value);
    (raw.size.range_um ?? []).forEach((um, at) => put(`p${i}-size-${["low", "high"][at]}`, um));
    byId(`p${i}-sizes`).textContent =
      `D10 ${number(powder.d10_um)} · D50 ${number(powder.d50_um)} · D90 ${number(powder.d90_um)} µm`;
    const from = powder.from_table.length
      ? `; table values: ${powder.from_table.join(", ")}`
      : "; all measured or stated";
    byId(`p${i}-grains-now`).textContent =
      `Grains: ${number(powder.hardness_gpa, 2)} GPa · ${number(powder.density_g_cm3)} g/cm³ · roundness ${number(powder.roundness, 2)}${from}`;
  });
}

export const addPowder = (control) =>
  edit([{ do: "add", values: newPowder() }], { control }).then(() =>
    byId(`p${bench.answer.definition.powder.length - 1}-material`)
      ?.closest("details")
      .setAttribute("open", ""),
  );

/** A powder to start from, under a name that no other has. */
function newPowder() {
  const taken = bench.answer.report.powders.map((p) => p.name);
  const material = pickers.materials.find((m) => !m.refused && !taken.includes(m.name));
  return { material: material.key, parts: 1, size: { d50_um: 100, gsd: 1.5 } };
}
