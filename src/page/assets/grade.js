// How a powder's size is stated. Another form is only looked at, as near as it comes to what is stated, until it is taken or a value
// of it is changed; leaving it brings back what is stated.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { edit, numberBox, pickers, put, refuse, textBox } from "./controls.js";
import { sized } from "./edits.js";
import { byId, make, number } from "./make.js";
import { picker } from "./picker.js";
import { clearTable, tableFields } from "./tables.js";

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
const nameOf = (form) => FORMS.find(([key]) => key === form)?.[1] ?? form;

/** Forms that the program cannot put a size into: what they need is asked for first. */
const ASKED = { table: "a table is chosen or dropped here", words: "words are given" };

/** Powders of which another form is looked at: that form, and the size in it. */
const looked = new Map();

export function gradeOf(form, size, i) {
  looked.delete(i);
  const box = make(
    "div",
    { class: "grade", id: `p${i}-grade`, tabindex: "-1" },
    make("p", { class: "sizes", id: `p${i}-sizes` }),
    picker(
      `p${i}-form`,
      "Grade",
      FORMS.map(([value, text]) => ({ value, text })),
      form,
      (wanted, control) => look(wanted, control, i),
    ),
    make("div", { class: "row fields", id: `p${i}-fields`, "data-form": form }, fieldsOf(form, size, i)),
    make("div", { class: "looking", id: `p${i}-looking`, role: "status" }),
    make("div", { class: "table-report", id: `p${i}-table`, role: "status" }),
  );
  // The window itself may be left, to look something up.
  box.addEventListener("focusout", (event) => {
    if (looked.has(i) && document.hasFocus() && !box.contains(event.relatedTarget)) stated(i);
  });
  return box;
}

/** Shows a size in another form. */
async function look(form, control, i) {
  if (form === bench.answer.forms[i]) return stated(i);
  let size = {};
  let powder = null;
  if (!(form in ASKED)) {
    try {
      const answer = await call("assess", { draft: bench.draft, restate: { powder: i, form } });
      size = answer.definition.powder[i].size;
      powder = answer.report.powders[i];
    } catch (error) {
      put(control.id, bench.answer.forms[i]);
      return refuse(control, error.message);
    }
  }
  if (!byId(`p${i}-grade`)?.contains(document.activeElement)) return stated(i);
  looked.set(i, { form, size });
  showFields(form, size, i);
  const takeIt = () => edit(sized(i, size), { control: byId(`p${i}-form`) });
  const button = (id, label, onclick) => make("button", { type: "button", id: `p${i}-${id}`, onclick }, label);
  const until = ASKED[form] ?? "you take this form, or change a value of it";
  byId(`p${i}-looking`).replaceChildren(
    make("p", { class: "source" }, `The grade stays as it was, ${nameOf(bench.answer.forms[i])}, until ${until}.`),
    powder ? make("p", { class: "source" }, `In this form: ${sizesOf(powder)}.`) : "",
    make(
      "div",
      { class: "row" },
      powder ? button("take-form", "Take this form", takeIt) : "",
      button("leave-form", "Leave it as it was", () => {
        stated(i);
        byId(`p${i}-form`).focus();
      }),
    ),
  );
}

/** Back to the form that the file states. */
function stated(i) {
  looked.delete(i);
  const form = bench.answer.forms[i];
  put(`p${i}-form`, form);
  showFields(form, bench.answer.definition.powder[i].size, i);
}

function showFields(form, size, i) {
  const fields = byId(`p${i}-fields`);
  fields.dataset.form = form;
  fields.replaceChildren(...fieldsOf(form, size, i));
  byId(`p${i}-looking`).replaceChildren();
}

const sizesOf = (powder) =>
  `D10 ${number(powder.d10_um)} · D50 ${number(powder.d50_um)} · D90 ${number(powder.d90_um)} µm`;

/** Puts in what the file states; fields of another form, which were only looked at, go. */
export function fillGrade(size, form, powder, i) {
  clearTable(i);
  looked.delete(i);
  put(`p${i}-form`, form);
  if (byId(`p${i}-fields`).dataset.form !== form) showFields(form, size, i);
  byId(`p${i}-looking`).replaceChildren();
  for (const [key, value] of Object.entries(typeof size === "object" ? size : { words: size }))
    put(`p${i}-size-${key}`, value);
  (size.range_um ?? []).forEach((um, at) => put(`p${i}-size-${["low", "high"][at]}`, um));
  (meshes(size) ?? []).forEach((mesh, at) => put(`p${i}-size-${["through", "on"][at]}`, mesh));
  byId(`p${i}-sizes`).textContent = sizesOf(powder);
}

/** The maker's own sieves, which go with every form but words. */
const SIEVES = ["through_um", "over_um"];

function fieldsOf(form, size, i) {
  const now = () => {
    const raw = looked.get(i)?.size ?? bench.answer.definition.powder[i].size;
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
        picker(
          `p${i}-size-grit`,
          "Grit",
          pickers.grits.map((g) => ({ value: g, text: g })),
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
  const sieves = () =>
    pickers.sieves.map((s) => ({ value: s.mesh, text: s.mesh, note: `${number(s.opening_um, 4)} µm` }));
  // Both are read, since the first of two changes may be refused until the second is made.
  const both = (_, control) => {
    const [through, on] = ["through", "on"].map((end) => byId(`p${i}-size-${end}`).dataset.value);
    edit(sized(i, { ...now(), mesh: `-${through}+${on}` }), { control });
  };
  return [
    picker(`p${i}-size-through`, "through mesh (US)", sieves(), found[0], both),
    picker(`p${i}-size-on`, "stays on mesh", sieves(), found[1], both),
  ];
}
