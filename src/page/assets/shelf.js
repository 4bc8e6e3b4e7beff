// The shelf: powders with their prices, stock and tags, changed here and saved as a scrub is.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { edit, pickers, readNumber, rebuild, set, takeTyped } from "./controls.js";
import { INCI, LOT, NAME, PRICE, fieldOf, readSize } from "./fields.js";
import { folder } from "./files.js";
import { materials } from "./grains.js";
import { byId, make, number, rest, rests } from "./make.js";
import { OnFile } from "./onfile.js";
import { picker } from "./picker.js";
import { savedLines, savedSaid } from "./saved.js";
import { attempt, openDialog } from "./talk.js";

/** What a powder of the shelf is: key, label, kind. */
const FIELDS = [
  PRICE,
  ["stock_g", "In stock, g"],
  ["tags", "Tags, with commas", "list"],
  ["min_pct", "If used, at least, % of the scrub"],
  ["max_pct", "at most, % of the scrub"],
  INCI,
  LOT,
];
const GRAINS = [
  ["hardness_gpa", "Hardness, GPa"],
  ["density_g_cm3", "Density, g/cm³"],
  ["roundness", "Roundness, 0 to 1"],
];
const SIZE = ["size", "Size: D50; spread, or words such as 60-100 mesh", "size"];
/** What a scrub says of a powder and a shelf does not. */
const OF_SCRUB = ["parts", "phase", "cfu_per_g", "traces_tested", "lists_checked"];

const shelf = new OnFile(() => byId("shelf-powders") && fill(), "shelf");
/** The powder that is open, by its position. */
let opened = null;
let saved = async () => {};
const LEAVE = "Changes of the shelf in hand are not saved. Leave them?";

/** What is done when a shelf was saved. */
export const whenShelfSaved = (work) => (saved = work);
export const isShelfSafe = () => shelf.isSafe;

/** Opens a shelf of the folder, the one in hand or the first unless another is named; without any, one is begun. */
export async function openShelf(file = shelf.draft?.file ?? folder.shelves[0]?.file) {
  if (file !== shelf.draft?.file) opened = null;
  if (file === undefined) await shelf.begin("shelf.toml", ofScrub().map(putIn), { tables: bench.tables });
  else if (shelf.base !== null || shelf.draft === undefined) await shelf.open(file);
  show();
}

/** A shelf that was not saved when the page was left; whether it is in hand again. */
export async function resumeShelf(entry) {
  if (shelf.isChanged && !confirm(LEAVE)) return false;
  await shelf.resume(entry);
  opened = null;
  show();
  return true;
}

const putIn = (values) => ({ do: "put-in", list: ["powder"], values });

/** The powders of the scrub in hand as a shelf has them. */
const ofScrub = () =>
  (bench.answer?.definition.powder ?? []).map((powder, i) => ({
    name: bench.answer.report.powders[i].name,
    ...Object.fromEntries(Object.entries(powder).filter(([key]) => !OF_SCRUB.includes(key))),
  }));

function show() {
  const button = (id, label, work, attributes = {}) =>
    make("button", { type: "button", id, onclick: (event) => rests(event.currentTarget) || attempt(work), ...attributes }, label);
  openDialog(
    "The shelf",
    make(
      "div",
      { id: "shelf-bar" },
      make("p", {}, make("strong", {}, shelf.draft.file), " ", make("span", { id: "shelf-said", role: "status" })),
      make(
        "div",
        { class: "tools" },
        button("shelf-undo", "Undo", () => shelf.undo()),
        button("shelf-save", "Save the shelf", save, { class: "strong" }),
      ),
      make("ul", { id: "shelf-unsaved" }),
    ),
    folder.shelves.length > 1
      ? picker("shelf-file", "Another shelf", folder.shelves.map(({ file }) => ({ value: file, text: file })), shelf.draft.file, another)
      : "",
    make("ol", { id: "shelf-powders" }),
    make("div", { class: "row", id: "shelf-more" }),
  );
  fill();
}

/** One that is not saved stays in hand until that is decided. */
const another = (file, control) =>
  attempt(async () => {
    if (shelf.isChanged && !confirm(LEAVE)) return set(control, shelf.draft.file);
    await shelf.letGo();
    await openShelf(file);
  });

async function save() {
  takeTyped();
  await shelf.save(async () => {
    show();
    await saved();
  });
}

function fill() {
  rebuild(build);
  byId("shelf-said").textContent = savedSaid(shelf.unsaved, "shelf");
  byId("shelf-unsaved").replaceChildren(...savedLines(shelf.unsaved ?? []));
  rest(byId("shelf-undo"), !shelf.canUndo);
}

function build() {
  const { definition, powders } = shelf.answer;
  byId("shelf-powders").replaceChildren(...powders.map((powder, i) => card(powder, definition.powder[i], i)));
  byId("shelf-more").replaceChildren(
    picker("shelf-add", "Put one on the shelf", offered(), "", (value, control) => attempt(() => add(value, control))),
  );
}

function card(powder, stated, i) {
  const id = (key) => `s${i}-${key}`;
  const isOpen = opened === i;
  return make(
    "li",
    { class: "card", "data-errors": "" },
    make(
      "h3",
      {},
      make(
        "button",
        { type: "button", class: "fold", id: id("fold"), "aria-expanded": String(isOpen), onclick: () => unfold(i) },
        make("span", { class: "who" }, make("span", {}, powder.name), make("span", { class: "source" }, facts(powder))),
      ),
    ),
    make("p", { class: "error", role: "alert" }),
    isOpen ? body(stated, i, id) : "",
  );
}

const facts = ({ material, d50_um, stock_g, price_per_kg, tags }) =>
  [
    pickers.materials.find((m) => m.key === material)?.name ?? "own data",
    `D50 ${number(d50_um)} µm`,
    price_per_kg === null ? "no price" : `${number(price_per_kg)} per kg`,
    stock_g === null ? "" : `${number(stock_g, 4)} g in stock`,
    tags.join(", "),
  ]
    .filter(Boolean)
    .join(" · ");

const send = (edits, _, more) => shelf.change(edits, more);

function body(stated, i, id) {
  const at = ["powder", i];
  const of = { definition: shelf.answer.definition, send };
  const boxes = (fields, ids = id("")) => fields.map((field) => fieldOf(at, ids, field, of));
  const setTo = (values) => [{ do: "set", at, values }];
  const taken = (values) => (key, control) => edit(setTo(values(key)), { control, send });
  const table = stated.size?.sieve ?? stated.size?.laser ?? stated.size?.counts ?? "";
  const tables = [...new Set([...folder.size_tables, table])].filter(Boolean).map((name) => ({ value: name, text: name }));
  return make(
    "div",
    { class: "body" },
    make("div", { class: "row" }, boxes(FIELDS.slice(0, 3))),
    make("div", { class: "row" }, boxes(FIELDS.slice(3))),
    make(
      "fieldset",
      {},
      make("legend", {}, "The powder itself"),
      make(
        "div",
        { class: "row" },
        boxes([NAME]),
        picker(id("material"), "Material", materials(), stated.material ?? "", taken((key) => ({ material: key || null }))),
      ),
      make(
        "div",
        { class: "row" },
        boxes([SIZE]),
        picker(id("table"), "or a measured table", tables, table, (name, control) => attempt(() => measuredBy(name, control, at))),
      ),
      make("div", { class: "row" }, boxes(GRAINS)),
    ),
    make(
      "button",
      { type: "button", class: "quiet", id: id("out"), disabled: shelf.answer.powders.length === 1, onclick: () => takeOut(i, at) },
      "Take off the shelf",
    ),
  );
}

/** A table says itself how it was measured. */
async function measuredBy(name, control, at) {
  const { kind } = await call("table", { name, tables: shelf.draft.tables });
  await edit([{ do: "set", at, values: { size: { [kind]: name } } }], { control, send });
}

function unfold(i) {
  opened = opened === i ? null : i;
  rebuild(build);
}

async function takeOut(i, at) {
  opened = null;
  if (await edit([{ do: "take-out", at }], { control: byId(`s${i}-out`), send })) (byId(`s${i}-fold`) ?? byId(`s${i - 1}-fold`)).focus();
}

const BY_HAND = "by hand";

/** What can be put on the shelf: one by hand, powders of the scrub in hand, and materials. */
function offered() {
  const known = shelf.answer.powders.map((p) => p.name);
  const own = ofScrub()
    .map((p, i) => ({ value: `scrub ${i}`, text: p.name, group: "in this scrub" }))
    .filter((o) => !known.includes(o.text));
  const ofTable = materials().filter((m) => m.value);
  return [{ value: BY_HAND, text: "A powder by hand", note: "its grains are stated here" }, ...own, ...ofTable];
}

/** A powder of the scrub is taken as it is; of any other it is asked what the program does not know. */
async function add(value, control) {
  set(control, "");
  const [, ofThis] = value.match(/^scrub (\d+)$/) ?? [];
  if (ofThis === undefined) return askNew(pickers.materials.find((m) => m.key === value));
  await putOn(ofScrub()[Number(ofThis)], bench.tables);
}

async function putOn(values, tables) {
  const last = shelf.answer.powders.length;
  const before = opened;
  opened = last;
  try {
    await shelf.change([putIn(values)], { tables });
  } catch (error) {
    opened = before;
    throw error;
  }
  byId("shelf-new")?.remove();
  byId(`s${last}-price_per_kg`).focus();
}

/** Asks for what makes a powder: of a material its size, by hand its grains too. */
function askNew(material) {
  const fields = [NAME, SIZE, ...(material ? [] : GRAINS)];
  const box = ([key, label, kind]) =>
    make(
      "label",
      { class: "box", for: `new-${key}` },
      label,
      make("input", { id: `new-${key}`, type: "text", autocomplete: "off", ...(kind ? {} : { inputmode: "decimal" }) }),
    );
  const form = make(
    "form",
    { id: "shelf-new", class: "card" },
    make("h3", {}, material ? material.name : "A powder by hand"),
    make("div", { class: "row" }, fields.map(box)),
    make("button", { type: "submit", class: "strong" }, "Put it on the shelf"),
  );
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    attempt(() => putOn({ ...(material ? { material: material.key } : {}), ...typed(fields) }));
  });
  byId("shelf-new")?.remove();
  byId("shelf-more").after(form);
  byId("new-name").value = material ? free(material.name) : "";
  byId(material ? "new-size" : "new-name").focus();
}

/** What was typed, without what was left empty; what is no number is sent as it is, for the program to refuse. */
const typed = (fields) =>
  Object.fromEntries(
    fields.flatMap(([key, , kind]) => {
      const text = byId(`new-${key}`).value.trim();
      const value = kind === "size" ? readSize(text) : kind ? text : (readNumber(text) ?? text);
      return text === "" ? [] : [[key, value]];
    }),
  );

/** A name that no powder of the shelf has. */
function free(name) {
  const known = shelf.answer.powders.map((p) => p.name);
  for (let i = 1; ; i += 1) {
    const named = i === 1 ? name : `${name} ${i}`;
    if (!known.includes(named)) return named;
  }
}
