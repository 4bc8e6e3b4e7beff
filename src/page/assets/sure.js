// How sure band and index are: drawn on demand, since it takes a moment, and put away when the scrub changes.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { byId, make, number, percent, rest, rests } from "./make.js";
import { stoppable } from "./talk.js";

let turn = 0;

export function setUpSure() {
  const ask = make("button", { type: "button", id: "draw" }, "Draw more, and see what to measure");
  ask.addEventListener("click", () => draw(ask));
  byId("sure").replaceChildren(
    make("h3", {}, "How sure is it"),
    ask,
    make("div", { id: "drawn", "aria-live": "polite" }),
  );
}

/** What was drawn was about another scrub. */
export function resetSure() {
  turn += 1;
  rest(byId("draw"), false);
  byId("drawn").replaceChildren();
}

async function draw(ask) {
  if (rests(ask)) return;
  const mine = turn;
  rest(ask, true);
  let shown;
  try {
    const draws = (signal) => call("confidence", { draft: bench.draft }, signal);
    shown = report(await stoppable(byId("drawn"), "Drawing …", draws));
  } catch (error) {
    shown = [make("p", { class: "error", role: "alert" }, error.message)];
  }
  if (mine !== turn) return;
  rest(ask, false);
  byId("drawn").replaceChildren(...shown);
}

const near = (value, error) => `${number(value)} ± ${number(error, 1)}`;

function report({ index, bands, advice, notes, cautions = [] }) {
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
      make("td", {}, `± ${number(100 * band.error, 1)} %`),
    );
  };
  return [
    make(
      "p",
      {},
      `Index: 5 % of the draws below ${near(index.p5, index.p5_error)}, half below ${near(index.p50, index.p50_error)}, ` +
        `5 % above ${near(index.p95, index.p95_error)}.`,
    ),
    make("table", {}, make("tbody", {}, bands.map(row))),
    make(
      "ul",
      {},
      advice.map((line) => make("li", {}, line)),
    ),
    cautions.length
      ? make(
          "ul",
          { class: "cautions" },
          cautions.map((line) => make("li", {}, line)),
        )
      : "",
    ...notes.map((note) => make("p", { class: "source" }, note)),
  ];
}
