// Scrubs kept beside the one in hand: laid over its curves, and held against each other in a table.

import { bench, begin, compared, letGo } from "./bench.js";
import { byId, complain, make, number } from "./make.js";

let asked = 0;

export async function showKept() {
  const box = byId("kept");
  if (bench.kept.length === 0) return box.replaceChildren();
  const turn = (asked += 1);
  let report;
  try {
    report = await compared();
  } catch (error) {
    return complain(error.message);
  }
  // Only the latest answer counts.
  if (turn !== asked) return;
  const names = [...bench.kept.map((k) => k.name), "in hand"];
  const line = (label, value) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, label),
      report.scrubs.map((s) => make("td", {}, value(s))),
    );
  const size = (key) => (s) => number(s.blend.by_volume[key]);
  const rows = [
    line("band", (s) => s.band.name),
    line("abrasiveness index", (s) => number(s.index.value)),
    line("powders, % of the scrub", (s) => number(s.scrub.powder_load_pct)),
    ...["d10_um", "d50_um", "d90_um", "d99_um"].map((key) => line(`${key.slice(0, -3).toUpperCase()}, µm`, size(key))),
    ...report.scrubs[0].sites.map((site, i) =>
      line(`groove ratio, ${site.site}`, (s) => number(s.sites[i].groove_ratio)),
    ),
  ];
  if (report.scrubs.some((s) => s.scrub.cost_per_kg !== null))
    rows.push(line("powders, cost per kg", (s) => number(s.scrub.cost_per_kg)));
  const head = names.map((name, i) =>
    make("th", { scope: "col" }, name, i < bench.kept.length ? actions(i, name) : ""),
  );
  box.replaceChildren(
    make("h3", {}, "Kept, and in hand"),
    make(
      "div",
      { class: "wide", tabindex: "0", role: "group", "aria-label": "Kept scrubs compared" },
      make("table", {}, make("thead", {}, make("tr", {}, make("td", {}), head)), make("tbody", {}, rows)),
    ),
    ...differences(report),
  );
}

const unseen = (name) => make("span", { class: "unseen" }, `: ${name}`);

function actions(i, name) {
  const back = () =>
    begin(bench.kept[i].draft, bench.kept[i].draft.file === bench.draft.file ? bench.base : null).catch((e) =>
      complain(e.message),
    );
  return make(
    "span",
    { class: "actions" },
    make("button", { type: "button", class: "quiet", onclick: back }, "Take in hand", unseen(name)),
    make(
      "button",
      { type: "button", class: "quiet", onclick: () => letGo(i).catch((e) => complain(e.message)) },
      "Let go",
      unseen(name),
    ),
  );
}

/** From the first kept scrub to the one in hand, which is the last. */
function differences({ scrubs, differences: found }) {
  const inHand = scrubs[scrubs.length - 1].scrub.name;
  const mine = found.filter((d) => d.scrub === inHand);
  if (mine.length === 0) return [];
  const sign = (v) => `${v < 0 ? "" : "+"}${number(v)}`;
  return [
    make("h3", {}, `What makes the difference to ${bench.kept[0].name}, on the index`),
    make(
      "ul",
      {},
      mine.map((d) => make("li", {}, `${sign(d.effect_on_index)}: ${d.what}`)),
    ),
  ];
}
