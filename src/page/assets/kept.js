// Scrubs kept beside the one in hand, as they were when they were kept: held against each other in a table.

import { bench, begin, compared, letGo, replace } from "./bench.js";
import { columns, ranked } from "./columns.js";
import { mayLeave } from "./files.js";
import { byId, make } from "./make.js";
import { attempt } from "./talk.js";

/** What is asked of the program waits until the changes pause, ms. */
const PAUSE = 250;
let asked = 0;

export function showKept() {
  const box = byId("kept");
  asked += 1;
  if (bench.kept.length === 0) return box.replaceChildren();
  const held = document.activeElement?.id;
  const why = make("div", { id: "why", "aria-live": "polite" }, make("p", { class: "source" }, "Being worked out …"));
  box.replaceChildren(
    make("h3", {}, "Kept, and in hand"),
    make(
      "div",
      { class: "wide", tabindex: "0", role: "group", "aria-label": "Kept scrubs compared" },
      columns([...bench.kept, { name: "in hand", report: bench.answer.report }], bench.answer.report, {
        head: (kept) => (kept.slot ? actions(kept) : ""),
      }),
    ),
    make("h3", {}, `What makes the difference to ${bench.kept[0].name}, on the index`),
    why,
  );
  byId(held)?.focus();
  const turn = asked;
  setTimeout(() => turn === asked && explain(why, () => turn === asked), PAUSE);
}

function actions({ slot, name, draft }) {
  const unseen = () => make("span", { class: "unseen" }, `: ${name}`);
  const button = (id, work, label) =>
    make("button", { type: "button", class: "quiet", id, onclick: () => attempt(work) }, label, unseen());
  return make(
    "span",
    { class: "actions" },
    button(`back-${slot}`, () => takeBack(draft), "Take in hand"),
    button(`drop-${slot}`, async () => drop(slot), "Let go"),
  );
}

/** An earlier version of the file in hand is one more step, which undo takes back; another scrub takes its place. */
async function takeBack(draft) {
  if (draft.file === bench.draft.file) await replace(draft, "the version kept");
  else if (await mayLeave()) await begin(draft, null);
}

/** The focus goes on to the next one. */
function drop(slot) {
  const slots = bench.kept.map((k) => k.slot);
  const next = slots[slots.indexOf(slot) + 1] ?? slots[slots.indexOf(slot) - 1];
  letGo(slot);
  (byId(`drop-${next}`) ?? byId("keep")).focus();
}

/** From the first kept scrub to the one in hand, as far as both can still be read. */
async function explain(at, isLatest) {
  const { name, report: then } = bench.kept[0];
  let lines;
  try {
    const { scrubs, differences } = await compared();
    const same = scrubs[0].index.value === then.index.value;
    lines = same ? said(ranked(differences)) : [`A size table of ${name} has changed on disk since it was kept.`];
  } catch (error) {
    lines = [`This cannot be told now: ${error.message}`];
  }
  if (!isLatest()) return;
  at.replaceChildren(
    make(
      "ul",
      {},
      lines.map((line) => make("li", {}, line)),
    ),
  );
}

const said = (lines) => (lines.length ? lines : ["Nothing: the index is the same."]);
