// How sure band and index are: drawn on demand, since it takes a moment, and put away when the scrub changes.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { byId, make, number, percent } from "./make.js";

let turn = 0;

/** The button again: what was drawn was about another scrub. */
export function resetSure() {
  turn += 1;
  const ask = make("button", { type: "button", id: "draw" }, "Draw everything that is not known exactly");
  ask.addEventListener("click", () => draw(ask));
  byId("sure").replaceChildren(
    make("h3", {}, "How sure is it"),
    ask,
    make("div", { id: "drawn", "aria-live": "polite" }),
  );
}

async function draw(ask) {
  const mine = turn;
  ask.disabled = true;
  byId("drawn").replaceChildren(make("p", {}, "Drawing …"));
  let shown;
  try {
    shown = report(await call("confidence", { draft: bench.draft }));
  } catch (error) {
    shown = [make("p", { class: "error", role: "alert" }, error.message)];
  }
  if (mine !== turn) return;
  ask.disabled = false;
  byId("drawn").replaceChildren(...shown);
}

function report({ index, bands, advice, notes }) {
  const bar = (share) => {
    const filled = make("span", { class: "bar" });
    filled.style.width = `${share}%`;
    return make("span", { class: "track", "aria-hidden": "true" }, filled);
  };
  const row = (band) => {
    const share = 100 * band.probability;
    return make(
      "tr",
      {},
      make("th", { scope: "row" }, band.name),
      make("td", { class: "with-bar" }, bar(share), make("span", {}, percent(share))),
    );
  };
  return [
    make(
      "p",
      {},
      `Index: 5 % of the draws below ${number(index.p5)}, half below ${number(index.p50)}, 5 % above ${number(index.p95)}.`,
    ),
    make("table", {}, make("tbody", {}, bands.map(row))),
    make(
      "ul",
      {},
      advice.map((line) => make("li", {}, line)),
    ),
    ...notes.map((note) => make("p", { class: "source" }, note)),
  ];
}
