// How sure band and index are: drawn when the hand rests, since it takes a moment; the next change stops it and puts it away.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { byId, make, number, percent, rest, rests, sentence } from "./make.js";
import { stoppable } from "./talk.js";

/** How long the scrub stays as it is before it is drawn by itself, ms. */
const REST = 1500;
/** Draws by itself: enough to see what there is; whoever wants it closer draws more. */
const AT_REST = 8192;
let waiting;
/** What stops the draws under way; null where there are none. */
let running = null;

export function setUpSure() {
  const ask = make("button", { type: "button", id: "draw" }, "Draw more, and see what to measure");
  ask.addEventListener("click", () => rests(ask) || draw(true));
  byId("sure").replaceChildren(
    make("h3", {}, "How sure is it"),
    ask,
    make("div", { id: "drawn" }),
  );
}

/** What was drawn, or is being drawn, is about another scrub than there will be. */
export function resetSure() {
  running?.abort();
  running = null;
  rest(byId("draw"), false);
  byId("drawn").replaceChildren(make("p", { class: "source" }, "Drawn when the scrub stays as it is for a moment."));
  clearTimeout(waiting);
  waiting = setTimeout(() => draw(false), REST);
}

/** `asked` for, it is read out when it comes; by itself it waits to be looked at. */
async function draw(asked) {
  clearTimeout(waiting);
  const mine = new AbortController();
  running = mine;
  rest(byId("draw"), true);
  const at = byId("drawn");
  at.ariaLive = asked ? "polite" : "off";
  let shown;
  try {
    const wish = { draft: bench.draft, ...(asked ? {} : { draws: AT_REST }) };
    const draws = (signal) => call("confidence", wish, signal);
    shown = report(await stoppable(at, "Drawing …", draws, mine));
  } catch (error) {
    shown = [make("p", { class: "error", role: asked ? "alert" : null }, error.message)];
  }
  if (running !== mine) return;
  running = null;
  rest(byId("draw"), false);
  at.replaceChildren(...shown);
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
      advice.map((line) => make("li", {}, sentence(line))),
    ),
    cautions.length
      ? make(
          "ul",
          { class: "cautions" },
          cautions.map((line) => make("li", {}, sentence(line))),
        )
      : "",
    ...notes.map((note) => make("p", { class: "source" }, sentence(note))),
  ];
}
