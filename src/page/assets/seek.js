// Blends for a target, from a shelf of the folder.

import { fileBoxes, offerAims, tellSaved } from "./aims.js";
import { bench, begin, keep, replace } from "./bench.js";
import { call } from "./call.js";
import { mayLeave } from "./files.js";
import { byId, make, number, percent, sentence, table } from "./make.js";
import { attempt, openDialog, say, stoppable } from "./talk.js";
import { boxes, fillWish, offer, wanted } from "./wish.js";

/** Who carries the rub, and what that means for what was found. */
const RUBS = {
  shared: "The grains share the load with film and skin.",
  "grain-borne": "The grains bear the load.",
};

/** What stops the search under way; null where there is none. */
let searching = null;
/** The form with its answer, as it was left: an answer stays while one of its blends is tried on. */
let asked = null;

/** Opens the form; false where there is no shelf to look on. */
export function seek(folder) {
  if (folder.shelves.length === 0) {
    openDialog(
      "Find a blend",
      make("p", {}, "A shelf is needed in the folder: powders with sizes, prices and stock, without parts. “Start a shelf”, below the powders, makes one."),
    );
    return false;
  }
  const isFirst = asked === null;
  asked ??= ask();
  show();
  offer(folder);
  if (isFirst) fillWish({ band: bench.answer.report.band.name });
  offerAims();
  return true;
}

const show = () => openDialog("Find a blend", asked.form, asked.result);

function ask() {
  const result = make("div", { id: "found", "aria-live": "polite" });
  const go = make("button", { type: "submit", class: "strong" }, "Find");
  const form = make("form", { id: "aim" }, fileBoxes(show), boxes(), go);
  form.addEventListener("input", (event) => {
    tellSaved();
    // Under another name it is the same that is asked.
    if (event.target.id !== "aim-as" && event.target.id !== "aim-name") outdate(result);
  });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    attempt(() => find(result, go));
  });
  return { form, result };
}

/** An answer is of what was asked: with other wishes in the form it goes, and a search under way ends. */
function outdate(result) {
  searching?.abort();
  searching = null;
  if (result.childElementCount) result.replaceChildren(make("p", { class: "source" }, "The wishes are others now: find again."));
}

async function find(result, go) {
  const mine = new AbortController();
  searching = mine;
  go.disabled = true;
  try {
    const wish = { aim: wanted(), draft: bench.draft };
    const answer = await stoppable(result, "Searching …", (signal) => call("aim", wish, signal), mine);
    if (searching === mine) tell(result, answer);
  } catch (error) {
    if (searching !== mine) return;
    result.replaceChildren();
    // The form is a file to the program; nobody here sees its lines.
    error.message = error.message.replace(/^target(:\d+)*: /, "");
    throw error;
  } finally {
    go.disabled = false;
  }
}

function tell(at, { report, drafts }) {
  if (report.status === "none") {
    const besides = (c) => (c.enough === false ? " (not enough: others clash besides)" : "");
    const off = (c) => `${c.target}${c.off_by === null ? besides(c) : ` (off by ${number(c.off_by)} ${c.unit})`}`;
    at.replaceChildren(
      make("p", {}, "No blend of the shelf meets all targets. These cannot hold together; let one of them go:"),
      make(
        "ul",
        {},
        report.conflicts.map((c) => make("li", {}, off(c))),
      ),
      ...report.remarks.map((r) => make("p", { class: "source" }, sentence(r))),
    );
    return;
  }
  at.replaceChildren(
    ...report.blends.map((blend, i) => found(blend, drafts[i])),
    ...report.remarks.map((r) => make("p", { class: "source" }, sentence(r))),
    make("p", { class: "source" }, `The index is ${report.index_note}.`),
  );
}

/** How many draws bear the band out, and what to label it where they do not. */
function sureWords(blend) {
  if (blend.sure_pct === null) return "How sure was not drawn.";
  const share = `${blend.sure_pct} of 100 draws fall into that band or a milder one`;
  const asked = [null, blend.sure_pct].includes(blend.asked_sure_pct) ? "" : ` (${blend.asked_sure_pct} into the one asked for)`;
  return blend.sure_pct >= 90 ? `${share}${asked}.` : `${share}${asked}; nine in ten meet ${blend.nine_in_ten}.`;
}

function found(blend, draft) {
  const inHand = async () => {
    if (!(await mayLeave())) return;
    await begin(draft, null);
    byId("dialog").close();
  };
  const tried = async () => {
    await replace(draft, `blend ${blend.rank} that was found`);
    byId("dialog").close();
    say(`Blend ${blend.rank} is tried on; undo brings back the scrub before.`);
  };
  const beside = async () => {
    await keep(draft);
    byId("dialog").close();
  };
  // To the step of the balance, as `aim` prints them.
  const step = blend.resolution_g;
  const decimals = step === null ? 2 : (String(step).split(".")[1]?.length ?? 0);
  const weighed = step === null ? "" : `, weighed to ${step} g`;
  const line = (p) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, p.name),
      make("td", {}, percent(p.pct_of_scrub)),
      make("td", {}, `${p.grams.toFixed(decimals)} g`),
    );
  const cost = blend.cost_per_kg === null ? "" : `, ${number(blend.cost_per_kg)} per kg`;
  const band = `${blend.at_least ? "at least " : ""}${blend.band}`;
  const over = blend.over_the_rub;
  return make(
    "section",
    { class: "card" },
    make("h3", {}, `${blend.rank}. ${band}, index ${number(blend.index)}${cost}`),
    make("p", {}, sureWords(blend)),
    over === null
      ? ""
      : make("p", {}, `Index over the whole rub, as grains dissolve: ${number(over.value)} (${number(over.low)} to ${number(over.high)}).`),
    table(["Powder", "of the scrub", `in ${blend.batch_g} g${weighed}`], blend.powders.map(line)),
    make("p", {}, RUBS[blend.rub] ?? `Rub: ${blend.rub}.`),
    blend.mind.map((text) => make("p", { class: "source" }, sentence(text))),
    make("button", { type: "button", onclick: () => attempt(inHand) }, "Take in hand"),
    " ",
    make("button", { type: "button", onclick: () => attempt(beside) }, "Keep beside"),
    " ",
    make("button", { type: "button", class: "try-on", onclick: () => attempt(tried) }, "Try it on"),
  );
}
