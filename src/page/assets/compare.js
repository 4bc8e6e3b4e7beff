// Compare: the scrub in hand, versions kept and scrubs of the folder in columns, held against one of them.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { columns, ranked } from "./columns.js";
import { choice, option } from "./controls.js";
import { folder } from "./files.js";
import { byId, make, number, sentence } from "./make.js";
import { attempt, openDialog } from "./talk.js";

/** Columns that can still be read beside each other. */
const MOST = 6;
const IN_HAND = "in hand";

/** What is compared, by its key: it stays chosen when the view is opened again. */
let chosen = new Set([IN_HAND]);
/** The key of the one that the others are held against. */
let base = null;
/** One view at a time: a slower answer must not take the place of a later one. */
let turn = 0;

/** All that can be compared: key, name, and how its draft and report come. */
function offered() {
  const inFolder = folder.scrubs.filter((s) => s.file !== bench.draft.file || bench.draft.text !== bench.base);
  return [
    { key: IN_HAND, name: `${bench.answer.report.scrub.name}, in hand`, read: async () => ({ draft: bench.draft, report: bench.answer.report }) },
    ...bench.kept.map((k) => ({ key: `kept ${k.slot}`, name: `${k.name}, kept`, read: async () => k })),
    ...inFolder.map((s) => ({ key: `file ${s.file}`, name: s.name, more: s.file, read: () => readFile(s.file) })),
  ];
}

async function readFile(file) {
  const draft = await call(`scrub?file=${encodeURIComponent(file)}`);
  return { draft, report: (await call("assess", { draft })).report };
}

export function openCompare() {
  const all = offered();
  const known = all.map((o) => o.key);
  chosen = new Set([...chosen].filter((key) => known.includes(key)));
  if (chosen.size === 0) chosen.add(IN_HAND);
  // Opened for the first time there is something to see.
  if (chosen.size === 1) bench.kept.slice(0, MOST - 1).forEach((k) => chosen.add(`kept ${k.slot}`));
  openDialog(
    "Compare",
    make(
      "fieldset",
      { id: "compare-what" },
      make("legend", {}, `Side by side, up to ${MOST}`),
      all.map((o, i) => box(o, i)),
    ),
    make("div", { id: "compare-base", class: "row" }),
    make("div", { id: "compared", "aria-live": "polite" }),
  );
  return show();
}

function box({ key, name, more }, i) {
  const control = make("input", { id: `compare-${i}`, type: "checkbox" });
  control.checked = chosen.has(key);
  control.addEventListener("change", () => {
    if (control.checked) chosen.add(key);
    else chosen.delete(key);
    attempt(show);
  });
  const words = make("span", {}, name, more ? make("span", { class: "source" }, ` ${more}`) : "");
  return make("label", { class: "tick", for: control.id }, control, words);
}

async function show() {
  const mine = (turn += 1);
  const picked = offered().filter((o) => chosen.has(o.key));
  byId("compare-what")
    .querySelectorAll("input")
    .forEach((control) => (control.disabled = picked.length >= MOST && !control.checked));
  if (picked.length < 2) {
    byId("compare-base").replaceChildren();
    return byId("compared").replaceChildren(make("p", {}, "Choose two or more: scrubs of the folder, or versions kept with Keep."));
  }
  // From a version kept to what became of it, unless another is chosen.
  if (!picked.some((o) => o.key === base)) base = (picked.find((o) => o.key.startsWith("kept")) ?? picked[0]).key;
  offerBase(picked);
  byId("compared").replaceChildren(make("p", { class: "source" }, "Being worked out …"));
  const all = await Promise.all(picked.map(async (o) => ({ ...o, ...(await o.read()), name: o.name })));
  const first = all.find((o) => o.key === base);
  const others = all.filter((o) => o !== first);
  const held = await Promise.all(others.map((o) => call("compare", { drafts: [first.draft, o.draft] })));
  if (mine !== turn || byId("compared") === null) return;
  byId("compared").replaceChildren(
    make(
      "div",
      { class: "wide", tabindex: "0", role: "group", "aria-label": "Scrubs side by side" },
      columns([first, ...others], first.report, { withPowders: true }),
    ),
    make("p", { class: "source" }, `What differs from ${first.name} is marked.`),
    ...others.map((other, i) => against(first, other, held[i])),
  );
}

function offerBase(picked) {
  const list = choice(
    "compare-with",
    "Held against",
    picked.map((o) => option(o.key, o.name)),
    base,
  );
  list.querySelector("select").addEventListener("change", (event) => {
    base = event.target.value;
    attempt(show);
  });
  const held = document.activeElement?.id;
  byId("compare-base").replaceChildren(list);
  if (held === "compare-with") byId(held).focus();
}

/** What makes one differ from the first: what moves the index most comes first, then what moves it not at all. */
function against(first, other, { differences, whole, milder_than_first_pct: [milder], apart_from_first_pct: [apart] }) {
  const lines = [...ranked(differences), ...whole.map((w) => w.what)];
  const [from, to] = [first, other].map((o) => number(o.report.index.value));
  return make(
    "section",
    { class: "card" },
    make("h3", {}, `From ${first.name} to ${other.name}: index ${from} to ${to}`),
    make(
      "p",
      {},
      apart === 0
        ? "No draw that they have in common tells them apart."
        : `Milder in ${milder} of 100 draws that they have in common.`,
    ),
    make(
      "ol",
      {},
      (lines.length ? lines : ["Nothing differs."]).map((line) => make("li", {}, sentence(line))),
    ),
  );
}
