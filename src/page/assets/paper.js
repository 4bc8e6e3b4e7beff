// What stands at the head of the page on paper: which scrub, when, and what its powders are.

import { bench, isChanged } from "./bench.js";
import { byId, make, refill } from "./make.js";

export function setUpPaper() {
  addEventListener("beforeprint", date);
  date();
}

function date() {
  const now = new Intl.DateTimeFormat(undefined, { dateStyle: "long", timeStyle: "short" }).format(new Date());
  byId("paper-date").textContent = `Printed ${now}`;
}

export function showPaper() {
  const { scrub } = bench.answer.report;
  refill(
    byId("paper-head"),
    make("strong", {}, scrub.name),
    make("span", {}, ` · ${bench.draft.file}${isChanged() ? ", not saved" : ""} · powders ${scrub.powder_load_pct} % of the scrub`),
  );
}
