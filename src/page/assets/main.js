// Ties the parts of the page together.

import { MOST_KEPT, bench, canRedo, canUndo, isChanged, keep, redo, undo, watch } from "./bench.js";
import { call, wantedFile } from "./call.js";
import { attempt, folder, openFile, saveCopy, saveIt, showFileBox, showFolder, startNew } from "./files.js";
import { showKept } from "./kept.js";
import { byId, complain, say } from "./make.js";
import { addPowder, showPowders, usePickers } from "./powders.js";
import { seek } from "./seek.js";
import { setUpStrips, showStrips } from "./strips.js";
import { resetSure } from "./sure.js";
import { showVerdict } from "./verdict.js";

let pickers = null;
let band = "";

function show(what) {
  const before = band;
  band = bench.answer.report.band.name;
  for (const id of ["making", "result", "glance"]) byId(id).hidden = false;
  byId("empty").hidden = true;
  if (what !== "saved") {
    showPowders();
    showVerdict(bench.answer);
    showStrips(bench.answer, bench.kept);
    showKept();
    resetSure();
    performance.mark("shown");
  }
  byId("file-text").textContent = bench.draft.text;
  tools();
  if (what === "begun") {
    document
      .querySelectorAll("#scrubs button")
      .forEach((b) =>
        b.dataset.file === bench.draft.file
          ? b.setAttribute("aria-current", "true")
          : b.removeAttribute("aria-current"),
      );
    say(`${bench.answer.report.scrub.name} is in hand.`);
    if (innerWidth < 1100) byId("folder-box").open = false;
  } else if (band !== before) say(`From ${before} to ${band}.`);
}

function tools() {
  byId("undo").disabled = !canUndo();
  byId("redo").disabled = !canRedo();
  byId("keep").disabled = bench.kept.length >= MOST_KEPT;
  byId("seek").disabled = false;
  byId("save-as").disabled = false;
  byId("save").disabled = !isChanged() && bench.base !== null;
  document.title = `${isChanged() ? "• " : ""}${bench.answer.report.scrub.name} – gritwise`;
}

function onKey(event) {
  if (!(event.ctrlKey || event.metaKey) || byId("dialog").open || !bench.draft) return;
  const key = event.key.toLowerCase();
  const work = { z: event.shiftKey ? redo : undo, y: redo, s: saveIt }[key];
  if (!work) return;
  event.preventDefault();
  // A number that is being typed is taken first.
  const active = document.activeElement;
  if (active?.matches("input:is([type=number], [type=text])")) active.dispatchEvent(new Event("change"));
  attempt(async () => work());
}

function wire() {
  const on = (id, work) =>
    byId(id).addEventListener("click", (event) => attempt(async () => work(event.currentTarget)));
  on("undo", undo);
  on("redo", redo);
  on("keep", () => keep(bench.draft, bench.answer.report));
  on("seek", () => seek(folder, pickers));
  on("save", saveIt);
  on("save-as", () => saveCopy());
  on("new", startNew);
  on("add", () => addPowder(byId("add")));
  addEventListener("keydown", onKey);
  addEventListener("beforeunload", (event) => isChanged() && event.preventDefault());
  // A file that misses its mark must not replace the page.
  for (const kind of ["dragover", "drop"]) addEventListener(kind, (event) => event.preventDefault());
}

async function start() {
  wire();
  setUpStrips();
  watch(show);
  pickers = await call("tables");
  usePickers(pickers);
  await showFileBox(byId("result"));
  await showFolder();
  if (wantedFile) await openFile(wantedFile);
  document.body.dataset.ready = "yes";
}

start().catch((error) => complain(error.message));
