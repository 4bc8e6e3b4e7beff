// Band and index, the scale, what would move the band, each powder's part, the reasons, the cautions.

import { checks } from "./checks.js";
import { byId, make, marked, number, percent, refill, sentence, table } from "./make.js";
import { explained, hasMeaning, what } from "./meaning.js";

export function showVerdict(answer) {
  const { report, scale, charts, formula = [] } = answer;
  const { band, index } = report;
  const isBeyond = beyond(scale);
  refill(
    byId("verdict"),
    ...checks(answer),
    make(
      "div",
      { class: isBeyond ? "band harm" : "band" },
      explained(make("span", { class: "small" }, "Band"), "band"),
      make("strong", { id: "band-name" }, band.name),
    ),
    make(
      "div",
      { class: "index" },
      explained(make("span", { class: "small" }, "Abrasiveness index"), "index"),
      make("strong", { id: "index-value" }, number(index.value)),
    ),
    ...report.opening.map((line, i) =>
      i === 0
        ? explained(make("p", { class: "opening" }, sentence(line)), "sure")
        : make("p", { class: "opening" }, sentence(line)),
    ),
    ...inTheJar(report),
  );
  refill(byId("scale"), ...ladder(scale), ...scale.figures.map((f) => figure(f, scale)));
  refill(byId("parts"), ...parts(report, charts));
  refill(byId("moves"), ...moves(report));
  refill(byId("words"), ...words(report, formula));
}

/** Whether a scrub is harsher than every band. */
export const beyond = ({ bands, rank }) => rank === bands.length - 1;

/** What the jar takes; nothing where no grain dissolves. */
const inTheJar = ({ in_the_jar: jar = [] }) => jar.map((said) => make("p", { class: "small" }, `${sentence(said)}.`));

function ladder({ bands, rank }) {
  const harsh = (i) => (i === rank && i === bands.length - 1 ? " harm" : "");
  const step = (name, i) =>
    make("li", { class: `shade-${i}${harsh(i)}`, "aria-current": i === rank ? "true" : false }, name);
  return [
    make("h3", {}, "Where it stands"),
    make("ol", { class: "ladder", "aria-label": "Bands, mild to harsh" }, bands.map(step)),
  ];
}

/** One figure between the limits of the bands; every step is drawn equally wide, and named in a line below. */
function figure(f, scale) {
  const value = `${number(f.value)}${f.unit ? ` ${f.unit}` : ""}`;
  const rule = make("div", { class: "rule", "aria-hidden": "true" });
  f.steps.forEach((step, i) => {
    const limit = step.limit === null ? "" : marked(step.limit);
    const shown = make("span", { class: step.holds ? "holds" : "" }, make("i", {}, limit));
    shown.style.width = `${100 / f.steps.length}%`;
    rule.append(shown);
  });
  const needle = make("b", { class: "needle" });
  needle.style.left = `${100 * f.position}%`;
  rule.append(needle);
  const limits = f.steps
    .filter((s) => s.limit !== null)
    .map((s) => `${s.band} to ${marked(s.limit)}`)
    .join(", ");
  const at = f.steps.findIndex((s) => s.holds);
  const here = f.steps[at];
  const isOver = here.band === scale.bands.at(-1);
  // A scrub for the feet is too rough for the face: that is no harm yet.
  const isHarm = isOver && beyond(scale);
  const stands = isOver && !isHarm && at > 0 ? `beyond ${f.steps[at - 1].band}` : here.band;
  return make(
    "div",
    { class: `figure${f.governs ? " governs" : ""}${isHarm ? " harm" : ""}` },
    make(
      "div",
      { class: "said" },
      make("span", {}, f.label),
      make("strong", {}, value),
      make("span", { class: "source" }, stood(f, scale, here, stands)),
      f.governs ? make("em", {}, "governs") : "",
      hasMeaning(f.criterion) ? what(f.criterion, f.site ?? "") : "",
    ),
    rule,
    make("p", { class: "unseen" }, `Limits: ${limits}.`),
  );
}

/** The limit is that of the scrub's own band; a figure that a milder band would allow says so besides. */
function stood(f, scale, here, stands) {
  const own = scale.bands[Math.min(scale.rank, scale.bands.length - 2)];
  const limit = f.limit === null ? "" : `limit ${marked(f.limit)}`;
  if (here.band === own) return limit ? `${stands}, ${limit}` : stands;
  const alone = here.limit === null ? stands : `by itself ${stands}`;
  return limit ? `${alone}; ${own}: ${limit}` : alone;
}

function parts(report, charts) {
  const pens = new Map(charts.charts[0].curves.filter((c) => c.powder !== null).map((c) => [c.powder, c.key]));
  const row = (powder, i) => {
    const bar = make("span", { class: `bar ${pens.get(i) ?? "powder-other"}` });
    bar.style.width = `${powder.index_share_pct}%`;
    return make(
      "tr",
      {},
      make("th", { scope: "row" }, powder.name),
      make("td", {}, percent(powder.mass_pct)),
      make("td", {}, percent(powder.volume_pct)),
      make(
        "td",
        { class: "with-bar" },
        make("span", { class: "track", "aria-hidden": "true" }, bar),
        make("span", {}, percent(powder.index_share_pct)),
      ),
    );
  };
  return [
    explained(make("h3", {}, "Where the index comes from"), "parts"),
    make(
      "div",
      { class: "wide", tabindex: "0", role: "group", "aria-label": "Table of powders" },
      table(["Powder", "of the mass", "of the volume", "of the index"], report.powders.map(row)),
    ),
  ];
}

const list = (title, lines, className) => [
  make("h3", {}, title),
  make(
    "ul",
    { class: className },
    lines.map((l) => make("li", {}, sentence(l))),
  ),
];

const moves = (report) => list("What would move it", report.band.levers);

function words(report, formula) {
  const assumed = report.powders.flatMap((p) => p.assumptions.map((a) => `${p.name}: ${a}`));
  const notes = formula.filter((check) => check.level === "note").map((check) => check.text);
  return [
    ...list("Why", report.band.reasons),
    ...(assumed.length ? list("Assumed", assumed) : []),
    ...list("Cautions", [...report.cautions, ...notes], "cautions"),
  ];
}
