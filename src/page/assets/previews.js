// Papers looked at in place before they are taken away: batch sheet, label, a ladder, stand-ins, a lot.

import { bench } from "./bench.js";
import { Refused, call } from "./call.js";
import { choice, option, readNumber } from "./controls.js";
import { folder } from "./files.js";
import { byId, make } from "./make.js";
import { atItsBox, ordered } from "./takeaway.js";
import { attempt, openDialog } from "./talk.js";

export function setUpPreviews() {
  const button = (id, label, work) => make("button", { type: "button", id: `look-${id}`, onclick: () => attempt(work) }, label);
  byId("previews").replaceChildren(
    make("h3", {}, "Look first"),
    make(
      "div",
      { class: "row" },
      button("batch", "Batch sheet", showBatch),
      button("label", "Label", () => show("Label", { what: "label", draft: bench.draft })),
      button("ladder", "What if: a ladder", async () => askLadder()),
      button("stand-in", "What could stand in", async () => askStandIn()),
      button("lot", "A lot against its grade", async () => askLot()),
    ),
  );
}

async function read(title, request) {
  const { text } = await call("preview", request);
  return make("pre", { id: "preview", tabindex: "0", role: "region", "aria-label": title }, text);
}

/** The boxes of the batch stand below, at what is taken away. */
async function showBatch() {
  try {
    await show("Batch sheet", { what: "batch", of: { draft: bench.draft, ...ordered() } });
    atItsBox("");
  } catch (error) {
    error.message = atItsBox(error.message);
    throw error;
  }
}

const show = async (title, request) => openDialog(title, await read(title, request));

/** A form that asks first, and shows what comes of it below: as long as it is what the form asks. */
function ask(title, fields, request) {
  const at = make("div", { id: "preview-at", "aria-live": "polite" });
  let turn = 0;
  const changed = () => {
    turn += 1;
    at.replaceChildren();
  };
  const form = make("form", { id: "preview-form" }, make("div", { class: "row" }, fields), make("button", { type: "submit", class: "strong" }, "Show"));
  for (const event of ["input", "change"]) form.addEventListener(event, changed);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    changed();
    const mine = turn;
    attempt(async () => {
      const paper = await read(title, request());
      if (mine === turn) at.replaceChildren(paper);
    });
  });
  openDialog(title, form, at);
}

const box = (id, label, value) =>
  make("label", { class: "box", for: id }, label, make("input", { id, type: "text", inputmode: "decimal", autocomplete: "off", value }));

function askLadder() {
  const quantities = [
    option("load", "powder load, %"),
    ...bench.answer.report.powders.flatMap((p) => [
      option(`${p.name}.parts`, `${p.name}: parts`),
      option(`${p.name}.d50`, `${p.name}: D50, µm`),
    ]),
  ];
  const plain = (id) => value(id).replace(",", ".");
  ask(
    "What if: a ladder",
    [choice("vary", "Vary", quantities, "load"), box("vary-low", "from", "1"), box("vary-high", "to", "10")],
    () => ({ what: "ladder", draft: bench.draft, vary: `${value("vary")}=${plain("vary-low")}..${plain("vary-high")}` }),
  );
}

const powderChoice = (id, label) =>
  choice(
    id,
    label,
    bench.answer.report.powders.map((p) => option(p.name)),
    bench.answer.report.powders[0].name,
  );

/** A shelf of the folder, or what is taken without one. */
const shelfChoice = (id, label, without) =>
  choice(id, label, [option("", without), ...folder.shelves.map((s) => option(s.file))], "");

const value = (id) => byId(id).value.trim();

function askStandIn() {
  const fields = [powderChoice("stand-for", "For"), shelfChoice("stand-shelf", "Out of", "the table of materials")];
  ask("What could stand in", fields, () => ({
    what: "stand-in",
    draft: bench.draft,
    powder: value("stand-for"),
    shelf: value("stand-shelf") || null,
  }));
}

/** What was put on, if anything is said of it. */
function charge() {
  const typed = value("lot-charge");
  const grams = readNumber(typed);
  if (typed && grams === null) throw new Refused(0, { error: `Put onto the sieves, g: a number is wanted, not "${typed}".` });
  return grams;
}

/** A lot is a measured table of the folder, or one in hand. */
function askLot() {
  const names = [...new Set([...bench.tables.map((t) => t.name), ...folder.size_tables])];
  const fields = [
    powderChoice("lot-of", "Lot of"),
    choice(
      "lot-table",
      "Measured table",
      names.map((name) => option(name)),
      names[0],
    ),
    shelfChoice("lot-shelf", "Sieves at hand", "those of the standard series"),
    box("lot-charge", "Put onto the sieves, g (to be told the loss)", ""),
  ];
  ask("A lot against its grade", fields, () => ({
    what: "lot",
    draft: { ...bench.draft, tables: bench.tables },
    powder: value("lot-of"),
    table: value("lot-table"),
    shelf: value("lot-shelf") || null,
    charge_g: charge(),
  }));
}
