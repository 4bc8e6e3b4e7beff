// Scrubs kept beside the one in hand, as they were when they were kept: held against each other in a table.

import { bench, begin, compared, letGo, replace } from "./bench.js";
import { mayLeave } from "./files.js";
import { byId, make, number, table } from "./make.js";
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
      sideBySide([...bench.kept, { name: "in hand", report: bench.answer.report }]),
    ),
    make("h3", {}, `What makes the difference to ${bench.kept[0].name}, on the index`),
    why,
  );
  byId(held)?.focus();
  const turn = asked;
  setTimeout(() => turn === asked && explain(why, () => turn === asked), PAUSE);
}

function sideBySide(all) {
  // What differs from the scrub in hand is marked.
  const mine = (value) => value(bench.answer.report);
  const line = (label, value) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, label),
      all.map(({ report }) => {
        const said = value(report);
        return make("td", { class: said === mine(value) ? "" : "differs-cell" }, said);
      }),
    );
  const size = (key) => (r) => number(r.blend.by_volume[key]);
  const rows = [
    line("band", (r) => r.band.name),
    line("abrasiveness index", (r) => number(r.index.value)),
    line("powders, % of the scrub", (r) => number(r.scrub.powder_load_pct)),
    ...["d10_um", "d50_um", "d90_um", "d99_um"].map((key) => line(`${key.slice(0, -3).toUpperCase()}, µm`, size(key))),
    ...bench.answer.report.sites.map((site, i) =>
      line(`groove ratio, ${site.site}`, (r) => number(r.sites[i].groove_ratio)),
    ),
  ];
  const over = ({ index }) => index.over_the_rub;
  if (all.some(({ report }) => over(report)))
    rows.splice(
      2,
      0,
      line("over the whole rub", (r) =>
        over(r) ? `${number(over(r).value)} (${number(over(r).low)} to ${number(over(r).high)})` : "–",
      ),
    );
  if (all.some(({ report }) => report.scrub.cost_per_kg !== null))
    rows.push(line("powders, cost per kg", (r) => number(r.scrub.cost_per_kg)));
  const head = all.map((k) => make("th", { scope: "col" }, k.name, k.slot ? actions(k) : ""));
  return table([make("td"), ...head], rows);
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
    lines = same ? sentences(differences) : [`A size table of ${name} has changed on disk since it was kept.`];
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

function sentences(differences) {
  const sign = (v) => `${v < 0 ? "" : "+"}${number(v)}`;
  const found = differences.map((d) => `${sign(d.effect_on_index)}: ${d.what}`);
  return found.length ? found : ["Nothing: the index is the same."];
}
