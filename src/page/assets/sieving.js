// A sieve test typed or pasted: what stays on each sieve, with what it comes to while it is typed.

import { call } from "./call.js";
import { readNumber } from "./controls.js";
import { byId, draw, make, number } from "./make.js";
import { storeSieves, storedSieves } from "./store.js";
import { openDialog } from "./talk.js";

const PAUSE = 250;
const USUAL = [425, 300, 212, 150, 106, 75];
let turn = 0;
/** What was typed of a test and not taken yet, by whom it is of: closing the dialog loses nothing. */
const left = new Map();

/** Asks for a test of a powder, `of` tells it from others; `take` gets a name and the text of a table, and fails where it is refused. */
export function typeSieving(powder, of, take) {
  const rows = make("tbody", { id: "sieve-rows" });
  const charge = make("input", { id: "sieve-charge", type: "text", inputmode: "decimal", autocomplete: "off" });
  const name = make("input", { id: "sieve-name", type: "text", value: `${slug(powder).replace(/-sieved$/, "")}-sieved.csv`, required: true });
  const begun = left.get(of);
  const fresh = () => [...(storedSieves() ?? USUAL), "pan"].map((um) => [String(um), ""]);
  const show = (all) => rows.replaceChildren(...all.map(([um, grams]) => row(um, grams)));
  show(begun?.rows ?? fresh());
  charge.value = begun?.charge ?? "";
  if (begun) name.value = begun.name;
  const add = () => {
    rows.lastChild.before(row(""));
    rows.lastChild.previousSibling.querySelector("input").focus();
  };
  const anew = () => {
    left.delete(of);
    show(fresh());
    charge.value = "";
    byId("sieve-told").replaceChildren();
    rows.querySelectorAll("input")[1].focus();
  };
  const typed = () => {
    left.set(of, { rows: boxes(), charge: charge.value, name: name.value });
    look(name.value.trim(), readNumber(charge.value));
  };
  const form = make(
    "form",
    { id: "sieving" },
    make("p", { class: "source" }, "What stays on each sieve, coarse to fine. Two columns can be pasted into the first box."),
    make(
      "table",
      {},
      make("thead", {}, make("tr", {}, make("th", { scope: "col" }, "opening, µm"), make("th", { scope: "col" }, "stays on it, g"))),
      rows,
    ),
    make("button", { type: "button", class: "quiet", id: "sieve-more", onclick: add }, "Another sieve"),
    make("button", { type: "button", class: "quiet", id: "sieve-anew", onclick: anew }, "Empty the boxes"),
    make(
      "div",
      { class: "row" },
      make("label", { class: "box", for: "sieve-charge" }, "put on, g (to be told the loss)", charge),
      make("label", { class: "box", for: "sieve-name" }, "File name of the table", name),
    ),
    make("div", { id: "sieve-told", "aria-live": "polite" }),
    make("button", { type: "submit", class: "strong" }, "Take this test"),
  );
  form.addEventListener("input", typed);
  form.addEventListener("paste", (event) => pasted(event, rows) && typed());
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const text = written();
    // What waits to be told is of the same boxes.
    turn += 1;
    // What is wrong is said here; a table that can be read is taken.
    if (!(await told(name.value.trim(), text, readNumber(charge.value)))) return;
    const openings = cells().flatMap(([um]) => readNumber(um) ?? []);
    try {
      await take(name.value.trim(), text);
    } catch (error) {
      return byId("sieve-told")?.replaceChildren(make("p", { class: "error", role: "alert" }, error.message));
    }
    storeSieves(openings);
    left.delete(of);
  });
  openDialog(`A sieve test of ${powder}`, form);
  rows.querySelectorAll("input")[1].focus();
}

const slug = (name) => name.toLowerCase().replace(/[^a-z0-9]+/g, "-").replace(/^-|-$/g, "") || "powder";

function row(um, grams = "") {
  const box = (label, value) =>
    make("td", {}, make("input", { type: "text", inputmode: "decimal", autocomplete: "off", "aria-label": label, value }));
  return make("tr", {}, box("opening, µm, or pan", String(um)), box(`stays on ${um || "it"}, g`, grams));
}

/** What is in the boxes, row by row. */
const boxes = () => [...byId("sieve-rows").rows].map((r) => [...r.querySelectorAll("input")].map((box) => box.value.trim()));

/** The same as far as anything was weighed. */
const cells = () => boxes().filter(([, grams]) => grams !== "");

/** The table as a file has it; what is no number goes as it is, and the program says so. */
function written() {
  const plain = (text) => String(readNumber(text) ?? text).replaceAll(",", ".");
  return ["opening_um,retained_g", ...cells().map((row) => row.map(plain).join(","))].join("\n") + "\n";
}

/** Two columns from elsewhere fill the boxes. */
function pasted(event, rows) {
  const lines = event.clipboardData
    .getData("text")
    .trim()
    .split(/\r?\n/)
    .map((line) => line.trim().split(/[\t;]+|\s{1,}/))
    .filter((parts) => parts.length >= 2);
  if (lines.length < 2) return false;
  event.preventDefault();
  const numbers = lines.filter(([um]) => readNumber(um) !== null || um.toLowerCase() === "pan");
  rows.replaceChildren(...numbers.map(([um, grams]) => row(um, grams)));
  return true;
}

function look(name, charge) {
  const mine = (turn += 1);
  setTimeout(() => mine === turn && byId("sieving") && told(name, written(), charge), PAUSE);
}

/** Says what the table comes to, or what is wrong with it; whether it can be read. */
async function told(name, text, charge) {
  const at = byId("sieve-told");
  try {
    const { report, loss_pct: loss } = await call("table", { name, text, charge_g: charge });
    const { d10_um, d50_um, d90_um } = report.percentiles;
    const lost = loss === null ? "" : loss < 0 ? `; ${number(-loss)} % more than was put on` : `; ${number(loss)} % was lost`;
    at.replaceChildren(
      make("p", {}, `D10 ${number(d10_um)} · D50 ${number(d50_um)} · D90 ${number(d90_um)} µm${lost}`),
      curve(report.classes),
    );
    return true;
  } catch (error) {
    at.replaceChildren(make("p", { class: "error" }, error.message));
    return false;
  }
}

/** How much of each class, over the logarithm of size. */
function curve(classes) {
  const [w, h] = [320, 90];
  const ends = [classes[0].lower_um, classes.at(-1).upper_um].map(Math.log);
  const x = (um) => (w * (Math.log(um) - ends[0])) / (ends[1] - ends[0]);
  const top = Math.max(...classes.map((c) => c.density_per_ln));
  const bars = classes.map((c) => {
    const tall = (h * c.density_per_ln) / top;
    return draw("rect", { x: x(c.lower_um), y: h - tall, width: x(c.upper_um) - x(c.lower_um), height: tall, class: "class" });
  });
  const words = `Share per unit of ln size, ${number(classes[0].lower_um)} to ${number(classes.at(-1).upper_um)} µm`;
  return draw("svg", { viewBox: `0 0 ${w} ${h}`, class: "sieve-curve", role: "img", "aria-label": words }, bars);
}
