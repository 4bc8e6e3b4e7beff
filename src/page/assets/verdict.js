// Checks of the formula, band and index, the scale, what would move the band, each powder's part, the reasons, the cautions.

import { byId, make, number, percent, refill, table } from "./make.js";

export function showVerdict({ report, scale, charts, formula = [], changed = [] }) {
  const { band, index } = report;
  refill(
    byId("verdict"),
    ...checks([...formula, ...changed.map((text) => ({ level: "warn", text }))]),
    make(
      "div",
      { class: "band" },
      make("span", { class: "small" }, "Band"),
      make("strong", { id: "band-name" }, band.name),
    ),
    make(
      "div",
      { class: "index" },
      make("span", { class: "small" }, "Abrasiveness index"),
      make("strong", { id: "index-value" }, number(index.value)),
    ),
    ...report.opening.map((line) => make("p", { class: "opening" }, line)),
    ...inTheJar(report),
  );
  const stop = stopsOf(formula).length ? `${LEVELS.stop} · ` : "";
  byId("glance").textContent = `${stop}${band.name}${sureOf(band)} · index ${number(index.value)}`;
  byId("batch-stop").textContent = stop && "Stop: see the checks of the formula above before weighing.";
  refill(byId("scale"), ...ladder(scale), ...scale.figures.map(figure));
  refill(byId("parts"), ...parts(report, charts));
  refill(byId("moves"), ...moves(report));
  refill(byId("words"), ...words(report, formula));
}

const sureOf = ({ sure_pct: sure }) => (sure === null ? "" : `, ${sure} of 100 sure`);

/** What the jar takes; nothing where no grain dissolves. */
const inTheJar = ({ in_the_jar: jar = [] }) => jar.map((said) => make("p", { class: "small" }, `${said}.`));

const LEVELS = { stop: "Stop", warn: "Caution" };

/** What a check finds, why, and what that rests on. */
function partsOf(text) {
  const [, head, why, sources] = /^(.*?)(?:: (.*?))?(?: \[(.*)\])?$/s.exec(text);
  return { head, why, sources };
}

/** What forbids the scrub, in few words. */
export const stopsOf = (formula = []) => formula.filter((c) => c.level === "stop").map((c) => partsOf(c.text).head);

/** What stops the scrub is open, what cautions opens on demand and stays so. */
function checks(all) {
  const open = [...document.querySelectorAll(".checks details[open]")].map((d) => d.dataset.check);
  const line = ({ level, text }) => {
    const { head, why, sources } = partsOf(text);
    const said = [make("strong", {}, LEVELS[level]), " ", head];
    const check = `${level} ${head.split(" ")[0]}`;
    const details = () =>
      make(
        "details",
        { "data-check": check, open: level === "stop" || open.includes(check) },
        make("summary", {}, said),
        why && make("p", {}, why),
        sources && make("p", { class: "source" }, sources),
      );
    return make("li", { class: level }, why || sources ? details() : said);
  };
  const shown = ["stop", "warn"].flatMap((level) => all.filter((c) => c.level === level));
  return shown.length ? [make("ul", { class: "checks", "aria-label": "Checks of the formula" }, shown.map(line))] : [];
}

function ladder({ bands, rank }) {
  const step = (name, i) => make("li", { class: `shade-${i}`, "aria-current": i === rank ? "true" : false }, name);
  return [
    make("h3", {}, "Where it stands"),
    make("ol", { class: "ladder", "aria-label": "Bands, mild to harsh" }, bands.map(step)),
  ];
}

/** One figure between the limits of the bands; every step is drawn equally wide. */
function figure(f) {
  const value = `${number(f.value)}${f.unit ? ` ${f.unit}` : ""}`;
  const rule = make("div", { class: "rule", "aria-hidden": "true" });
  f.steps.forEach((step, i) => {
    const limit = step.limit === null ? "" : `${step.limit}`;
    const shown = make("span", { class: step.holds ? "step holds" : "step" }, make("i", {}, limit));
    shown.style.width = `${100 / f.steps.length}%`;
    rule.append(shown);
  });
  const needle = make("b", { class: "needle" });
  needle.style.left = `${100 * f.position}%`;
  rule.append(needle);
  const limits = f.steps
    .filter((s) => s.limit !== null)
    .map((s) => `${s.band} to ${s.limit}`)
    .join(", ");
  return make(
    "div",
    { class: f.governs ? "figure governs" : "figure" },
    make(
      "p",
      {},
      make("span", {}, f.label),
      " ",
      make("strong", {}, value),
      f.governs ? make("em", {}, "governs") : "",
    ),
    rule,
    make("p", { class: "unseen" }, `Limits: ${limits}.`),
  );
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
    make("h3", {}, "Where the index comes from"),
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
    lines.map((l) => make("li", {}, l)),
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
