// Measured tables of sizes: taken from the folder, dropped on a powder, or chosen as a file; checked row by row.

import { bench, change, tableOf } from "./bench.js";
import { call } from "./call.js";
import { edit } from "./controls.js";
import { sized } from "./edits.js";
import { byId, make, number, sentence } from "./make.js";
import { openPhotos, photosOf } from "./photo.js";
import { picker } from "./picker.js";
import { typeSieving } from "./sieving.js";

let here = [];
export const useTables = (names) => (here = names);

/** The card of a powder takes tables and photographs of it; `open` opens it. */
export function dropsOn(card, i, open) {
  card.addEventListener("dragover", (event) => {
    event.preventDefault();
    card.classList.add("over");
  });
  card.addEventListener("dragleave", (event) => card.contains(event.relatedTarget) || card.classList.remove("over"));
  card.addEventListener("drop", (event) => {
    event.preventDefault();
    card.classList.remove("over");
    const photos = photosOf(event);
    if (photos.length) return openPhotos(i, photos);
    const file = event.dataTransfer.files[0];
    if (!file || isScrub(file)) return;
    open();
    takeFile(file, i);
  });
}

/** A scrub file is of no powder, wherever it is dropped. */
export const isScrub = (file) => /\.toml$/i.test(file.name);

export function tableFields(size, i) {
  const name = tableOf(size) ?? "";
  const inHand = bench.tables.map((t) => t.name);
  const names = [...new Set([...here, ...inHand, name])].filter(Boolean);
  const file = make("input", {
    type: "file",
    id: `p${i}-file`,
    accept: ".csv,.tsv,.txt,.xlsx",
    onchange: () => file.files[0] && takeFile(file.files[0], i),
  });
  return [
    picker(
      `p${i}-size-table`,
      "Table in the folder",
      names.map((n) => ({ value: n, text: n })),
      name,
      (n) => takeTable(n, {}, i),
    ),
    make(
      "button",
      {
        type: "button",
        id: `p${i}-type`,
        onclick: () => {
          const { name } = bench.answer.report.powders[i];
          typeSieving(name, `${bench.draft.file} ${name}`, (named, text) => takeTyped(named, text, i));
        },
      },
      "Type a sieve test",
    ),
    make(
      "label",
      { class: "box drop", for: `p${i}-file` },
      "or drop a table of sieves, laser or counts here (CSV, XLSX), or choose a file",
      file,
    ),
  ];
}

export async function takeFile(file, i) {
  const bytes = await file.arrayBuffer();
  let table;
  try {
    table = { text: new TextDecoder("utf-8", { fatal: true }).decode(bytes) };
  } catch {
    // The program says what is wrong with it, and where.
    table = { bytes: [...new Uint8Array(bytes)] };
  }
  await takeTable(file.name, table, i);
}

const checkedOf = (name, given) => call("table", { name, ...given, tables: bench.tables });
const tablesOf = ({ name, text }) => (text === null ? [] : [{ name, text }]);
const sizeOf = (checked, i) => sized(i, { [checked.kind]: checked.name });

/** Has a table checked, and takes it if nothing is wrong with it; one of the folder or in hand is known by its name. */
async function takeTable(name, given, i) {
  let checked;
  try {
    checked = await checkedOf(name, given);
  } catch (error) {
    return showTable(i, error.message, true, rowsAround(given.text, error.answer?.line));
  }
  if (await edit(sizeOf(checked, i), { control: byId(`p${i}-form`), more: { tables: tablesOf(checked) } })) tellTaken(checked, i);
}

/** Takes a table that was typed; where it is refused, what was typed stays where it is. */
async function takeTyped(name, text, i) {
  const checked = await checkedOf(name, { text });
  await change(sizeOf(checked, i), undefined, { tables: tablesOf(checked) });
  byId("dialog").close();
  tellTaken(checked, i);
}

function tellTaken(checked, i) {
  const { percentiles, classes, assumptions } = checked.report;
  showTable(
    i,
    `${checked.name}: all rows read, ${classes.length} classes, D50 ${number(percentiles.d50_um)} µm. ${sentence(assumptions.join("; "))}`,
  );
}

/** The row that is wrong among its neighbours. */
export function rowsAround(text, line) {
  if (!text || !line) return [];
  const rows = text.split(/\r?\n/).map((row, n) => [n + 1, row]);
  const near = rows.filter(([n]) => n >= line - 3 && n <= line + 3);
  return [
    make(
      "ol",
      { class: "rows" },
      near.map(([n, row]) => make("li", { value: n, class: n === line ? "bad" : "" }, row)),
    ),
  ];
}

function showTable(i, message, wrong = false, rows = []) {
  const at = byId(`p${i}-table`);
  at.classList.toggle("wrong", wrong);
  at.replaceChildren(make("p", {}, message), ...rows);
}

/** What was said of a table is over with the next change. */
export const clearTable = (i) => byId(`p${i}-table`).replaceChildren();

/** Gives tables in hand other names where the folder has others of theirs. What was renamed, in words. */
export async function freeNames() {
  const said = [];
  for (const { name, text } of bench.draft.tables) {
    const free = await call("table", { name, text, tables: bench.draft.tables });
    if (free.name === name) continue;
    const edits = bench.answer.definition.powder.flatMap(({ size }, i) =>
      tableOf(size) === name ? sized(i, { ...size, [free.kind]: free.name }) : [],
    );
    await change(edits, undefined, { tables: [{ name: free.name, text }] });
    said.push(`${name} is saved as ${free.name}, since the folder has another ${name}.`);
  }
  return said;
}
