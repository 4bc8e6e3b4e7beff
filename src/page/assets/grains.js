// What the grains of a powder are: name, material, hardness, density, roundness, price.

import { edit, numberBox, pickers, put, textBox } from "./controls.js";
import { ofPowder } from "./edits.js";
import { byId, make, marked, number } from "./make.js";
import { what } from "./meaning.js";
import { openPhotos } from "./photo.js";
import { picker } from "./picker.js";

// Values of a table are shown as they stand there, not rounded.
const inTable = (known, unit) => `table ${marked(known.value)} ${unit} (${marked(known.low)} to ${marked(known.high)}), ${known.status}`;

/** Every material, by origin; those that the trade keeps off the face are faint, those that are refused cannot be chosen. */
export function materials() {
  const byOrigin = [...pickers.materials].sort((a, b) => a.origin.localeCompare(b.origin));
  const one = (m) => ({
    value: m.key,
    text: m.name,
    more: [m.inci, m.origin, ...m.tags].join(" "),
    note: m.not_on_face ? `not for the face: ${m.not_on_face}` : m.inci,
    group: m.origin,
    faint: m.not_on_face !== null,
    never: m.refused ? "not allowed" : null,
  });
  return [{ value: "", text: "own data only", note: "hardness, density and roundness are given below" }, ...byOrigin.map(one)];
}

/** Where a number of the table comes from, in a line of its own. */
const whence = (name, known) => make("p", { class: "source" }, `${name}, ${known.status}: ${known.source}.`);

export function grains(powder, i) {
  const id = (name) => `p${i}-${name}`;
  const set = (values) => ofPowder(i, values);
  const material = pickers.materials.find((m) => m.key === powder.material);
  // Another roundness is none that was measured: its interval and its source go with it.
  const measured = powder.roundness_source ? { roundness_low: null, roundness_high: null, roundness_source: null } : {};
  /** A value of the powder's own, which takes the place of `other` that says the same. */
  const own = (key, label, unit, known, other) =>
    make(
      "div",
      {},
      numberBox(
        id(key),
        label,
        powder[key],
        (v) =>
          set({ [key]: v, ...(v !== null && other ? { [other]: null } : {}), ...(key === "roundness" ? measured : {}) }),
        {
          optional: true,
          placeholder: known && marked(known.value),
        },
      ),
      known ? make("p", { class: "source" }, inTable(known, unit)) : "",
    );
  const classes = [
    { value: "", text: "by number" },
    ...pickers.roundness.map((r) => ({ value: r.class, text: r.class, note: String(r.roundness) })),
  ];
  return make(
    "details",
    { id: id("grains") },
    make("summary", {}, make("span", { id: id("grains-now") })),
    textBox(id("name"), "Name", powder.name, (v) => set({ name: v || null }), { placeholder: material?.name }),
    picker(id("material"), "Material", materials(), powder.material ?? "", (key, control) =>
      edit(set({ material: key || null }), { control }),
    ),
    make(
      "div",
      { class: "row" },
      own("hardness_gpa", "Hardness, GPa", "GPa", material?.hardness_gpa, "mohs"),
      own("density_g_cm3", "Density, g/cm³", "g/cm³", material?.density_g_cm3),
      own("roundness", "Roundness, 0 to 1", "", material?.roundness, "roundness_class"),
    ),
    what("grains", i),
    make(
      "div",
      { class: "row" },
      own("mohs", "or Mohs (minerals)", "", null, "hardness_gpa"),
      picker(id("roundness_class"), "or roundness class", classes, powder.roundness_class ?? "", (name, control) =>
        edit(set(name ? { roundness_class: name, roundness: null, ...measured } : { roundness_class: null }), { control }),
      ),
      own("price_per_kg", "Price per kg", "", null),
    ),
    make("p", { class: "source", id: id("roundness-from") }),
    make("button", { type: "button", id: id("photo"), onclick: () => openPhotos(i) }, "Measure roundness on a photograph"),
    material
      ? make(
          "details",
          { id: id("whence") },
          make("summary", {}, `Where the table values of ${material.name} come from`),
          whence("Hardness", material.hardness_gpa),
          whence("Density", material.density_g_cm3),
          whence("Roundness", material.roundness),
          material.note ? make("p", { class: "source" }, material.note) : "",
        )
      : "",
  );
}

const KEYS = [
  "name",
  "material",
  "hardness_gpa",
  "density_g_cm3",
  "roundness",
  "mohs",
  "roundness_class",
  "price_per_kg",
];

const KEY_OF = { density: "density_g_cm3", hardness: "hardness_gpa", roundness: "roundness" };

/** What was taken from the table, each with its status. */
const fromTable = (powder) => powder.from_table.map((name) => `${name} (${powder.origins[KEY_OF[name]].status})`);

/** Puts in what the file states, and above it what the program reckons with. */
export function fillGrains(stated, powder, i) {
  for (const key of KEYS) put(`p${i}-${key}`, stated[key]);
  const from = powder.from_table.length
    ? `; from the table: ${fromTable(powder).join(", ")}`
    : "; all measured or stated";
  byId(`p${i}-roundness-from`).textContent = stated.roundness_source ? `Roundness: ${stated.roundness_source}` : "";
  byId(`p${i}-grains-now`).textContent =
    `Grains: ${number(powder.hardness_gpa, 2)} GPa · ${number(powder.density_g_cm3)} g/cm³ · roundness ${number(powder.roundness, 2)}${from}`;
}
