// Scrubs in columns beside each other: what differs from one of them is marked.

import { make, number, table } from "./make.js";

const figured = ({ value, low, high }) => `${number(value)} (${number(low)} to ${number(high)})`;
const size = (key) => (r) => number(r.blend.by_volume[key]);

/** Lines of figures: a label, and what is said of a report. */
function figures(all) {
  const has = (value) => all.some(({ report }) => (value(report) ?? null) !== null);
  return [
    ["band", (r) => r.band.name],
    has((r) => r.band.sure_pct) && ["how sure, of 100 draws", (r) => (r.band.sure_pct === null ? "–" : String(r.band.sure_pct))],
    ["abrasiveness index", (r) => number(r.index.value)],
    has((r) => r.index.over_the_rub) && ["over the whole rub", (r) => (r.index.over_the_rub ? figured(r.index.over_the_rub) : "–")],
    ["powders, % of the scrub", (r) => number(r.scrub.powder_load_pct)],
    ...["d10_um", "d50_um", "d90_um", "d99_um"].map((key) => [`${key.slice(0, -3).toUpperCase()}, µm`, size(key)]),
    ...all[0].report.sites.map((site, i) => [`groove ratio, ${site.site}`, (r) => number(r.sites[i].groove_ratio)]),
    has((r) => r.scrub.cost_per_kg) && ["powders, cost per kg", (r) => number(r.scrub.cost_per_kg ?? NaN)],
  ].filter(Boolean);
}

/** A line for each powder of any of them. */
function powders(all) {
  const names = [...new Set(all.flatMap(({ report }) => report.powders.map((p) => p.name)))];
  return names.map((name) => [
    `${name}: % of the powders, D50 µm`,
    (report) => {
      const powder = report.powders.find((p) => p.name === name);
      return powder ? `${number(powder.mass_pct)} %, ${number(powder.d50_um)} µm` : "–";
    },
  ]);
}

/** `all` are { name, report }, `base` the report that the others are held against, `head` what stands behind a name. */
export function columns(all, base, { head = () => "", withPowders = false } = {}) {
  const line = ([label, value]) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, label),
      all.map(({ report }) => {
        const said = value(report);
        if (said === value(base)) return make("td", {}, said);
        return make("td", { class: "differs-cell" }, make("span", { class: "unseen" }, "differs: "), said);
      }),
    );
  const lines = [...figures(all), ...(withPowders ? powders(all) : [])];
  const heads = all.map((one) => make("th", { scope: "col" }, one.name, head(one)));
  return table([make("td"), ...heads], lines.map(line));
}

/** What differs from one scrub to another, in the order of what it does to the index. */
export function ranked(differences) {
  const sign = (v) => `${v < 0 ? "" : "+"}${number(v)}`;
  return differences.map((d) => `${sign(d.effect_on_index)}: ${d.what}`);
}
