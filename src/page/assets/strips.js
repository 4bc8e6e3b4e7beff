// Three curves over one size axis, like a rule laid through a sieve stack: how much of each size, how much is finer, and
// which grains do the work. One cursor reads all three. Only places on the screen are worked out here.

import { byId, draw, make, number, percent, table } from "./make.js";
import { explained, what } from "./meaning.js";

/** Places are in rem times 16, so that the picture grows with the text. */
const LEFT = 46;
const RIGHT = 12;
const TOP = 22;
const GAP = 34;
const NARROW = 520;
const LEAST = 240;
/** Height of a line of small text. */
const LINE = 14;
/** Values written at the cursor of one curve picture, the first curves first: more would hide what they are of. */
const MOST_VALUES = 6;
const hidden = new Set();
const HEADS = { frequency: "How much of each size", undersize: "Finer than", work: "Which grains do the work (model)" };

/** The curve of a chart that stands for a scrub laid over another. */
const LAID = { frequency: "blend", undersize: "blend", work: "index" };

let charts = null;
let kept = [];
let pointed = null; // the size that is read, µm
let cursor = 0; // its position among the sizes
let frame = null;
let width = LEAST; // of the picture; told by the observer, since asking for it lays out the whole page
let em = 1; // how large the text is, against 16 px
let named = ""; // what the legend was made for

export function setUpStrips() {
  const slider = make("input", {
    type: "range",
    id: "cursor",
    min: "0",
    step: "1",
    "aria-label": "Grain size to read at",
  });
  slider.addEventListener("input", () => moveTo(Number(slider.value)));
  byId("strips").replaceChildren(
    explained(make("h3", {}, "Grain by grain"), "curves"),
    make("div", { class: "said" }, make("span", { id: "percentiles" }), what("sizes")),
    make("div", { id: "legend", class: "legend", role: "group", "aria-label": "Curves shown" }),
    make("div", { id: "plot" }),
    slider,
    make("div", { id: "reading", class: "wide", tabindex: "0", role: "group", "aria-label": "Values at the size" }),
  );
  new ResizeObserver(([plot]) => {
    const size = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
    const now = Math.max(LEAST, Math.round(plot.contentRect.width / size));
    if (now === width && size === em) return;
    width = now;
    em = size;
    if (charts) paint();
  }).observe(byId("plot"));
  byId("plot").addEventListener("pointermove", (event) => read(event));
  byId("plot").addEventListener("pointerdown", (event) => read(event));
}

export function showStrips(answer, keptScrubs) {
  kept = keptScrubs;
  charts = { ...answer.charts, charts: answer.charts.charts.map(withKept) };
  pointed ??= answer.report.blend.by_volume.d50_um;
  const sizes = charts.sizes_um;
  const next = sizes.findIndex((size) => size >= pointed);
  cursor = next < 0 ? sizes.length - 1 : next;
  byId("cursor").max = sizes.length - 1;
  byId("cursor").value = cursor;
  const now = JSON.stringify(charts.charts.map((c) => c.curves.map((curve) => [curve.key, curve.name])));
  if (now !== named) legend();
  named = now;
  const { d10_um, d50_um, d90_um } = answer.report.blend.by_volume;
  byId("percentiles").textContent =
    `D10 ${number(d10_um)} · D50 ${number(d50_um)} · D90 ${number(d90_um)} µm, by volume`;
  paint();
}

/** A chart with the curves of what is kept: at sizes of their own, on the scale of the tallest. */
function withKept(chart, which) {
  const laid = kept.flatMap((k) => {
    const theirs = k.charts.charts[which];
    const curve = theirs.curves.find((c) => c.key === LAID[chart.name]);
    const over = { key: `kept-${k.slot}`, name: k.name, dash: "", shaded: false, sizes: k.charts.sizes_um };
    return curve ? [{ ...over, values: curve.values, chart: theirs }] : [];
  });
  const tallest = laid.map((c) => c.chart).reduce((a, b) => (b.y_top > a.y_top ? b : a), chart);
  return { ...chart, y_top: tallest.y_top, y_ticks: tallest.y_ticks, curves: [...chart.curves, ...laid] };
}

/** What a curve has at a size; its sizes are those of the others, but for where they begin and end. */
const valueAt = (curve, size) => curve.values[(curve.sizes ?? charts.sizes_um).indexOf(size)];

function legend() {
  const curves = new Map();
  for (const chart of charts.charts)
    for (const curve of chart.curves) if (!curves.has(curve.key)) curves.set(curve.key, curve);
  // What is kept next takes the place of what was let go, and is shown.
  hidden.forEach((key) => key.startsWith("kept-") && !curves.has(key) && hidden.delete(key));
  const held = document.activeElement?.dataset?.key;
  const button = (curve) => {
    const on = !hidden.has(curve.key);
    const sample = draw(
      "svg",
      { viewBox: "0 0 34 10", "aria-hidden": "true" },
      draw("line", {
        x1: 0,
        x2: 34,
        y1: 5,
        y2: 5,
        class: `curve ${curve.key}`,
        "stroke-dasharray": curve.dash || undefined,
      }),
    );
    const toggle = () => {
      if (!hidden.delete(curve.key)) hidden.add(curve.key);
      legend();
      paint();
    };
    return make(
      "button",
      { type: "button", "aria-pressed": String(on), "data-key": curve.key, onclick: toggle },
      sample,
      curve.name,
    );
  };
  byId("legend").replaceChildren(...[...curves.values()].map(button));
  if (held) byId("legend").querySelector(`[data-key="${held}"]`)?.focus();
}

const tenth = (px) => Math.round(10 * px) / 10;

const places = () => {
  const sizes = charts.sizes_um;
  const low = Math.log(sizes[0]);
  const span = Math.log(sizes[sizes.length - 1]) - low;
  return (size) => LEFT + ((Math.log(size) - low) / span) * (width - LEFT - RIGHT);
};

const height = () => (width < NARROW ? 112 : 150);
const topOf = (i) => i * (height() + GAP) + TOP;
const placeOf = (chart, top) => (value) => top + height() - (Math.min(value, chart.y_top) / chart.y_top) * height();

function paint() {
  const tall = height();
  const x = places();
  const xs = charts.sizes_um.map((s) => tenth(x(s)));
  const groups = charts.charts.map((chart, i) => strip(chart, topOf(i), tall, { x, xs }));
  const bottom = charts.charts.length * (tall + GAP) - GAP + TOP;
  const axis = charts.size_ticks.map((t) =>
    draw("text", { x: x(t.at), y: bottom + 16, class: "tick middle" }, t.label),
  );
  const label = draw("text", { x: width - RIGHT, y: bottom + 34, class: "tick end" }, charts.size_label);
  const line = draw("line", { id: "cursor-line", class: "cursor", y1: TOP, y2: bottom });
  const title = charts.charts.map((c) => c.description).join(" ");
  const svg = draw(
    "svg",
    {
      viewBox: `0 0 ${width} ${bottom + 40}`,
      width: width * em,
      height: (bottom + 40) * em,
      role: "img",
      "aria-label": title,
    },
    groups,
    axis,
    label,
    line,
    draw("g", { id: "cursor-values" }),
  );
  byId("plot").replaceChildren(svg);
  moveTo(cursor);
}

function strip(chart, top, tall, { x, xs }) {
  const y = placeOf(chart, top);
  const grid = [
    ...charts.size_ticks.map((t) => draw("line", { x1: x(t.at), x2: x(t.at), y1: top, y2: top + tall, class: "grid" })),
    ...chart.y_ticks.map((t) => draw("line", { x1: LEFT, x2: width - RIGHT, y1: y(t.at), y2: y(t.at), class: "grid" })),
    ...chart.y_ticks.map((t) => draw("text", { x: LEFT - 6, y: y(t.at) + 4, class: "tick end" }, t.label)),
    draw("text", { x: LEFT, y: top - 7, class: "head" }, HEADS[chart.name] ?? chart.title),
  ];
  const shown = chart.curves.filter((c) => !hidden.has(c.key)).reverse();
  const path = (curve) => {
    const across = curve.sizes?.map((size) => tenth(x(size))) ?? xs;
    return curve.values.map((v, i) => `${i ? "L" : "M"}${across[i]} ${tenth(y(v))}`).join("");
  };
  const areas = shown
    .filter((c) => c.shaded)
    .map((c) => draw("path", { d: `${path(c)}V${top + tall}H${xs[0]}Z`, class: `area ${c.key}` }));
  const lines = shown.map((c) =>
    draw("path", { d: path(c), class: `curve ${c.key}`, "stroke-dasharray": c.dash || undefined }),
  );
  const marks = chart.marks.flatMap((m) => [
    draw("circle", { cx: x(m.size_um), cy: y(m.value), r: 3.5, class: "mark" }),
    besides(x(m.size_um), Math.max(y(m.value) - 6, top + 10), m.label, "named"),
  ]);
  const gap = chart.line
    ? [
        draw("line", { x1: x(chart.line.size_um), x2: x(chart.line.size_um), y1: top, y2: top + tall, class: "gap" }),
        besides(x(chart.line.size_um), top + 12, chart.line.label),
      ]
    : [];
  return draw("g", {}, grid, areas, lines, marks, gap);
}

/** A label at an upright line, on the side with more room; in a narrow picture on two lines. */
function besides(at, y, label, kind = "") {
  const right = at < width / 2;
  const lines = width < NARROW ? label.split(/(?<=:) /) : [label];
  return draw(
    "text",
    { y, class: `${right ? "tick" : "tick end"} ${kind}` },
    lines.map((line, n) => draw("tspan", { x: right ? at + 5 : at - 5, dy: n ? 14 : 0 }, line)),
  );
}

function read(event) {
  const box = byId("plot").getBoundingClientRect();
  const xs = charts.sizes_um.map(places());
  const at = (event.clientX - box.left) / em;
  const near = xs.reduce((best, place, i) => (Math.abs(place - at) < Math.abs(xs[best] - at) ? i : best), 0);
  byId("cursor").value = near;
  moveTo(near);
}

/** Puts the cursor on a size and writes what every curve has there. */
function moveTo(position) {
  cursor = Math.min(position, charts.sizes_um.length - 1);
  pointed = charts.sizes_um[cursor];
  if (frame) return;
  frame = requestAnimationFrame(() => {
    frame = null;
    const size = charts.sizes_um[cursor];
    const at = places()(size);
    for (const end of ["x1", "x2"]) byId("cursor-line")?.setAttribute(end, at);
    byId("cursor").setAttribute("aria-valuetext", `${number(size)} µm`);
    byId("cursor-values")?.replaceChildren(...charts.charts.flatMap((chart, i) => values(chart, topOf(i), size, at)));
    byId("reading").replaceChildren(readings(size));
  });
}

const written = (chart, value) => (chart.name === "undersize" ? percent(100 * value) : number(value, 2));

/** A dot where each curve meets the cursor, with its value; values that would lie on each other are moved apart. */
function values(chart, top, size, at) {
  const y = placeOf(chart, top);
  const shown = chart.curves.filter((c) => !hidden.has(c.key) && valueAt(c, size) !== undefined);
  const dots = shown.map((c) => draw("circle", { cx: at, cy: y(valueAt(c, size)), r: 3, class: `dot ${c.key}` }));
  const right = at < width * 0.7;
  let least = top - 2;
  const texts = shown
    .slice(0, MOST_VALUES)
    .map((curve) => ({ curve, value: valueAt(curve, size) }))
    .sort((a, b) => b.value - a.value)
    .map(({ curve, value }) => {
      least = Math.max(least + LINE, y(value) + 4);
      return [least, curve, value < chart.y_top * 1e-4 ? "0" : written(chart, value)];
    });
  // Those that were pushed below the picture push the others up again.
  let most = top + height() + LINE / 2;
  texts.reverse().forEach((text) => {
    text[0] = Math.min(text[0], most);
    most = text[0] - LINE;
  });
  const label = ([place, curve, text]) =>
    draw(
      "text",
      { x: right ? at + 8 : at - 8, y: place, class: `value ${curve.key}${right ? "" : " end"}` },
      text,
    );
  return [...dots, ...texts.map(label)];
}

function readings(size) {
  const column = (chart, key) => {
    const curve = chart.curves.find((c) => c.key === key && !hidden.has(key));
    if (!curve) return make("td", {}, "");
    const value = valueAt(curve, size);
    return make("td", {}, value === undefined ? "–" : written(chart, value));
  };
  // The first chart that has a curve names it.
  const names = charts.charts
    .flatMap((chart) => chart.curves)
    .reverse()
    .map((c) => [c.key, c.name]);
  const keys = [...new Map(names)].reverse().filter(([key]) => !hidden.has(key));
  const rows = keys.map(([key, name]) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, name),
      charts.charts.map((c) => column(c, key)),
    ),
  );
  const heads = [`at ${number(size)} µm`, "per unit of ln size", "finer", "work per unit of ln size"];
  return table(heads, rows);
}
