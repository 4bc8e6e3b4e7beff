// How a powder's size is stated.

import { bench } from "./bench.js";
import { choice, edit, numberBox, option, pickers, put, textBox } from "./controls.js";
import { byId, make, number } from "./make.js";
import { clearTable, dropsOn, tableFields } from "./tables.js";

const FORMS = [
  ["log-normal", "median and spread"],
  ["percentiles", "percentiles of a sheet"],
  ["mesh", "mesh range"],
  ["range", "micron range"],
  ["grit", "FEPA grit"],
  ["table", "measured table"],
  ["rosin-rammler", "Rosin-Rammler law"],
  ["gates-gaudin-schuhmann", "Gates-Gaudin-Schuhmann law"],
  ["words", "in words"],
];

/** Forms that the program cannot put a size into: what they need is asked for first. */
const ASKED = { table: "a table is taken", words: "words are given" };

export function gradeOf(form, size, i) {
  const chosen = (wanted, control) => {
    if (wanted === bench.answer.forms[i]) showFields(wanted, bench.answer.definition.powder[i].size, i);
    else if (wanted in ASKED) showFields(wanted, {}, i);
    else
      edit([], { control, more: { restate: { powder: i, form: wanted } } }).then(
        (made) => made || put(control.id, bench.answer.forms[i]),
      );
  };
  const box = make(
    "div",
    { class: "grade", id: `p${i}-grade` },
    make("p", { class: "sizes", id: `p${i}-sizes` }),
    choice(
      `p${i}-form`,
      "Grade",
      FORMS.map(([value, text]) => option(value, text)),
      form,
      chosen,
    ),
    make("div", { class: "row fields", id: `p${i}-fields`, "data-form": form }, fieldsOf(form, size, i)),
    make("div", { class: "table-report", id: `p${i}-table`, role: "status" }),
  );
  dropsOn(box, i);
  return box;
}

function showFields(form, size, i) {
  const fields = byId(`p${i}-fields`);
  fields.dataset.form = form;
  const waits =
    form === bench.answer.forms[i]
      ? []
      : [make("p", { class: "source all" }, `The grade stays as it was until ${ASKED[form]}.`)];
  fields.replaceChildren(...fieldsOf(form, size, i), ...waits);
}

/** Puts in what the file states; fields of another form, which were only asked for, go. */
export function fillGrade(size, form, powder, i) {
  clearTable(i);
  put(`p${i}-form`, form);
  if (byId(`p${i}-fields`).dataset.form !== form) showFields(form, size, i);
  for (const [key, value] of Object.entries(typeof size === "object" ? size : { words: size }))
    put(`p${i}-size-${key}`, value);
  (size.range_um ?? []).forEach((um, at) => put(`p${i}-size-${["low", "high"][at]}`, um));
  (meshes(size) ?? []).forEach((mesh, at) => put(`p${i}-size-${["through", "on"][at]}`, mesh));
  byId(`p${i}-sizes`).textContent =
    `D10 ${number(powder.d10_um)} · D50 ${number(powder.d50_um)} · D90 ${number(powder.d90_um)} µm`;
}

export const sized = (i, size) => [{ do: "powder", powder: i, values: { size } }];

/** The maker's own sieves, which go with every form but words. */
const SIEVES = ["through_um", "over_um"];

function fieldsOf(form, size, i) {
  const now = () => {
    const raw = bench.answer.definition.powder[i].size;
    return typeof raw === "object" ? raw : {};
  };
  const box = (key, label, attributes) =>
    numberBox(`p${i}-size-${key}`, label, size[key], (v) => sized(i, { ...now(), [key]: v }), attributes);
  const own = formFields(form, size, i, now, box);
  // A form that only is asked for has nothing yet to be sieved.
  if (form === "words" || form !== bench.answer.forms[i]) return own;
  const [through, over] = SIEVES;
  return [
    ...own,
    box(through, "you sieve it through, µm", { optional: true }),
    box(over, "and keep over, µm", { optional: true }),
  ];
}

function formFields(form, size, i, now, box) {
  switch (form) {
    case "log-normal":
      return [box("d50_um", "D50, µm"), box("gsd", "geometric standard deviation")];
    case "rosin-rammler":
      return [box("rr_size_um", "63.2 % finer than, µm"), box("rr_exponent", "exponent")];
    case "gates-gaudin-schuhmann":
      return [box("ggs_size_um", "top size, µm"), box("ggs_exponent", "exponent")];
    case "percentiles": {
      const stated = Object.keys(size).filter((key) => !SIEVES.includes(key));
      const keys = new Set([...stated, "d10_um", "d50_um", "d90_um"]);
      const ordered = [...keys].sort((a, b) => parseInt(a.slice(1), 10) - parseInt(b.slice(1), 10));
      return ordered.map((key) => box(key, `${key.slice(0, -3).toUpperCase()}, µm`, { optional: true }));
    }
    case "range": {
      const pair = (at) => (v) =>
        sized(i, { ...now(), range_um: now().range_um.map((old, j) => (j === at ? v : old)) });
      return [
        numberBox(`p${i}-size-low`, "finest, µm", size.range_um?.[0], pair(0)),
        numberBox(`p${i}-size-high`, "coarsest, µm", size.range_um?.[1], pair(1)),
        ...tails(box),
      ];
    }
    case "mesh":
      return [...meshFields(size, i, now), ...tails(box)];
    case "grit":
      return [
        choice(
          `p${i}-size-grit`,
          "Grit",
          pickers.grits.map((g) => option(g)),
          size.grit,
          (grit, control) => edit(sized(i, { ...now(), grit }), { control }),
        ),
      ];
    case "table":
      return tableFields(size, i);
    default:
      return [
        textBox(
          `p${i}-size-words`,
          "such as mesh -60+100, 50-150 um, F220",
          typeof size === "string" ? size : "",
          (v) => sized(i, v),
        ),
      ];
  }
}

const tails = (box) => [
  box("undersize_pct", "finer, % (5 if empty)", { optional: true }),
  box("oversize_pct", "coarser, % (5 if empty)", { optional: true }),
];

/** The two sieves of a mesh range, where both are in the table of the US series. */
function meshes(size) {
  const [, through, on] = /^\s*-\s*#?([^+]+?)\s*\+\s*#?(.+?)\s*$/.exec(size.mesh ?? "") ?? [];
  const known = (mesh) => pickers.sieves.some((s) => s.mesh === mesh);
  return !size.mesh_series && known(through) && known(on) ? [through, on] : null;
}

function meshFields(size, i, now) {
  const found = meshes(size);
  if (!found)
    return [textBox(`p${i}-size-mesh`, "mesh, such as -60+100", size.mesh, (v) => sized(i, { ...now(), mesh: v }))];
  const sieves = () => pickers.sieves.map((s) => option(s.mesh, `${s.mesh} (${number(s.opening_um, 4)} µm)`));
  // Both are read, since the first of two changes may be refused until the second is made.
  const both = (_, control) => {
    const [through, on] = ["through", "on"].map((end) => byId(`p${i}-size-${end}`).value);
    edit(sized(i, { ...now(), mesh: `-${through}+${on}` }), { control });
  };
  return [
    choice(`p${i}-size-through`, "through mesh (US)", sieves(), found[0], both),
    choice(`p${i}-size-on`, "stays on mesh", sieves(), found[1], both),
  ];
}
