// The verdict in a bar that stays in sight, with what can be undone and whether all is saved.

import { bench, isChanged, redoes, undoes, unsaved } from "./bench.js";
import { stopNames } from "./checks.js";
import { byId, make, marked, number, refill, rest } from "./make.js";
import { savedLines, savedSaid } from "./saved.js";
import { beyond } from "./verdict.js";

export function showBar() {
  const { answer } = bench;
  const { band, index } = answer.report;
  const stops = stopNames(answer);
  const isHarm = beyond(answer.scale) || stops.length > 0;
  const sure = band.sure_pct === null ? "" : `${band.sure_pct} of 100 sure`;
  const governs = answer.scale.figures.find((f) => f.governs);
  const limit = governs?.limit ?? null;
  const stop = stops.length ? `Stop: ${stops.join("; ")}` : "";
  refill(
    byId("bar-verdict"),
    make("strong", { class: beyond(answer.scale) ? "name harm" : "name" }, band.name),
    make("span", {}, `index ${number(index.value)}`),
    make("span", {}, sure),
    make(
      "span",
      { class: "governs" },
      governs ? `governs: ${governs.label} ${number(governs.value)}${governs.unit && ` ${governs.unit}`}${limit === null ? "" : `, limit ${marked(limit)}`}` : "",
    ),
    make("strong", { class: "lost" }, bench.lost ? `as before: ${bench.lost}` : ""),
    make("strong", { class: stop ? "harm stops" : "stops" }, stop),
  );
  byId("bar").classList.toggle("harmful", isHarm);
  byId("glance").textContent =
    `${bench.lost ? "As before · " : ""}${stop ? "Stop · " : ""}${band.name}${sure ? `, ${sure}` : ""} · index ${number(index.value)}`;
  byId("glance").classList.toggle("harm", isHarm);
  byId("batch-stop").textContent = stop && "Stop: see the checks of the formula above before weighing.";
}

/** Undo and redo by the names of their steps, and what is not saved. */
export function showSteps() {
  for (const [id, label, name] of [
    ["undo", "Undo", undoes()],
    ["redo", "Redo", redoes()],
  ]) {
    const button = byId(id);
    rest(button, name === null);
    button.title = name === null ? "" : `${label}: ${name}`;
    button.replaceChildren(make("span", {}, label), name === null ? "" : make("span", { class: "step" }, make("span", { class: "unseen" }, ": "), name));
  }
  const all = unsaved();
  const list = isChanged() ? (all ?? []) : [];
  byId("saved-said").textContent = savedSaid(isChanged() ? all : [], "scrub");
  byId("saved-list").replaceChildren(...savedLines(list));
  byId("saved").classList.toggle("has-changes", list.length > 0);
  if (list.length === 0) byId("saved").open = false;
}
