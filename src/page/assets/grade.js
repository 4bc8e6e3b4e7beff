// How a powder's size is stated, and measured tables that are dropped on it.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { byId, make, number } from "./make.js";
import { choice, edit, numberBox, option, textBox } from "./powders.js";

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

let tablesHere = [];
export const useTables = (names) => (tablesHere = names);

export function gradeOf(answer, powder, i, pickers) {
  const form = answer.forms[i];
  const fields = make("div", { class: "row fields", id: `p${i}-fields` }, fieldsOf(form, powder.size, i, pickers));
  const chosen = (wanted, control) => {
    if (wanted === "table") fields.replaceChildren(...fieldsOf("table", {}, i, pickers));
    else {
      const said =
        wanted === "words"
          ? edit(sized(i, wordsFor(i)), { control })
          : edit([], { control, more: { restate: { powder: i, form: wanted } } });
      said.then(() => (control.value = bench.answer.forms[i]));
    }
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
    fields,
    make("div", { class: "table-report", id: `p${i}-table`, role: "status" }),
  );
  box.addEventListener("dragover", (event) => {
    event.preventDefault();
    box.classList.add("over");
  });
  box.addEventListener("dragleave", () => box.classList.remove("over"));
  box.addEventListener("drop", (event) => {
    event.preventDefault();
    box.classList.remove("over");
    const file = event.dataTransfer.files[0];
    if (file) takeFile(file, i);
  });
  return box;
}

const sized = (i, size) => [{ do: "powder", powder: i, values: { size } }];
const wordsFor = (i) => {
  const { d10_um, d50_um, d90_um } = bench.answer.report.powders[i];
  return `d10=${number(d10_um)} d50=${number(d50_um)} d90=${number(d90_um)}`;
};

function fieldsOf(form, size, i, pickers) {
  const now = () => {
    const raw = bench.answer.definition.powder[i].size;
    return typeof raw === "object" ? raw : {};
  };
  const box = (key, label, attributes) =>
    numberBox(`p${i}-size-${key}`, label, size[key], (v) => sized(i, { ...now(), [key]: v }), attributes);
  switch (form) {
    case "log-normal":
      return [box("d50_um", "D50, µm"), box("gsd", "geometric standard deviation")];
    case "rosin-rammler":
      return [box("rr_size_um", "63.2 % finer than, µm"), box("rr_exponent", "exponent")];
    case "gates-gaudin-schuhmann":
      return [box("ggs_size_um", "top size, µm"), box("ggs_exponent", "exponent")];
    case "percentiles": {
      const keys = new Set([...Object.keys(size), "d10_um", "d50_um", "d90_um"]);
      const ordered = [...keys].sort((a, b) => parseInt(a.slice(1), 10) - parseInt(b.slice(1), 10));
      return ordered.map((key) => box(key, `${key.slice(0, -3).toUpperCase()}, µm`, { empty: "" }));
    }
    case "range": {
      const pair = (at) => (v) =>
        sized(i, { ...now(), range_um: now().range_um.map((old, j) => (j === at ? v : old)) });
      return [
        numberBox(`p${i}-size-low`, "from, µm", size.range_um?.[0], pair(0)),
        numberBox(`p${i}-size-high`, "to, µm", size.range_um?.[1], pair(1)),
        ...tails(box),
      ];
    }
    case "mesh":
      return [...meshes(size, i, now, pickers), ...tails(box)];
    case "grit":
      return [
        choice(
          `p${i}-size-grit`,
          "Grit",
          pickers.grits.map((g) => option(g)),
          size.grit,
          (grit, control) => edit(sized(i, { grit }), { control }),
        ),
      ];
    case "table":
      return tableFields(size, i);
    default:
      return [textBox(`p${i}-size-words`, "such as mesh -60+100, 50-150 um, F220", size, (v) => sized(i, v))];
  }
}

const tails = (box) => [
  box("undersize_pct", "finer, % (5 if empty)", { empty: "" }),
  box("oversize_pct", "coarser, % (5 if empty)", { empty: "" }),
];

function meshes(size, i, now, pickers) {
  const [, through, on] = /^\s*-\s*#?([^+]+?)\s*\+\s*#?(.+?)\s*$/.exec(size.mesh ?? "") ?? [];
  const known = (mesh) => pickers.sieves.some((s) => s.mesh === mesh);
  if (size.mesh_series || !known(through) || !known(on)) {
    return [textBox(`p${i}-size-mesh`, "mesh, such as -60+100", size.mesh, (v) => sized(i, { ...now(), mesh: v }))];
  }
  const sieves = () => pickers.sieves.map((s) => option(s.mesh, `${s.mesh} (${number(s.opening_um, 4)} µm)`));
  const put = (a, b, control) => edit(sized(i, { ...now(), mesh: `-${a}+${b}` }), { control });
  const part = (at) => /^-(.+)\+(.+)$/.exec(now().mesh)[at];
  return [
    choice(`p${i}-size-through`, "through mesh (US)", sieves(), through, (v, c) => put(v, part(2), c)),
    choice(`p${i}-size-on`, "stays on mesh", sieves(), on, (v, c) => put(part(1), v, c)),
  ];
}

function tableFields(size, i) {
  const name = size.sieve ?? size.laser ?? size.counts ?? "";
  const names = [...new Set([...tablesHere, ...bench.draft.tables.map((t) => t.name), name])].filter(Boolean);
  const file = make("input", {
    type: "file",
    id: `p${i}-file`,
    accept: ".csv,.tsv,.txt",
    onchange: () => file.files[0] && takeFile(file.files[0], i),
  });
  const held = bench.draft.tables.find((t) => t.name === name);
  return [
    choice(
      `p${i}-size-table`,
      "Table in the folder",
      [option("", "choose"), ...names.map((n) => option(n))],
      name,
      (n) => n && takeTable(n, held?.name === n ? held.text : null, i),
    ),
    make(
      "label",
      { class: "box drop", for: `p${i}-file` },
      "or drop a sieve or laser table here (CSV), or choose a file",
      file,
    ),
  ];
}

async function takeFile(file, i) {
  if (file.size > 3e6) return showTable(i, `${file.name}: larger than any size table; is it another kind of file?`);
  await takeTable(file.name, await file.text(), i);
}

/** Has a table checked row by row, and takes it if nothing is wrong with it. */
async function takeTable(name, text, i) {
  let checked;
  try {
    checked = await call("table", text === null ? { name } : { name, text });
  } catch (error) {
    return showTable(i, error.message, text, error.answer?.line);
  }
  const tables = text === null ? [] : [{ name: checked.name, text }];
  await edit(sized(i, { [checked.kind]: checked.name }), { control: byId(`p${i}-form`), more: { tables } });
  const { percentiles, classes, assumptions } = checked.report;
  showTable(
    i,
    `${checked.name}: all rows read, ${classes.length} classes, D50 ${number(percentiles.d50_um)} µm. ${assumptions.join("; ")}`,
  );
}

/** What was found in a table, with the row that is wrong among its neighbours. */
function showTable(i, message, text, line) {
  const at = byId(`p${i}-table`);
  const rows = text && line ? text.split(/\r?\n/) : [];
  const near = rows.map((row, n) => [n + 1, row]).filter(([n]) => n >= line - 3 && n <= line + 3);
  at.replaceChildren(
    make("p", { class: line || !text ? "told" : "" }, message),
    near.length
      ? make(
          "ol",
          { class: "rows" },
          near.map(([n, row]) => make("li", { value: n, class: n === line ? "bad" : "" }, row)),
        )
      : "",
  );
  at.classList.toggle("wrong", Boolean(line));
}
