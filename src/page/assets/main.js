// Ties the parts of the page together.

import { SLOTS, bench, canRedo, canUndo, isBusy, isChanged, keep, redo, undo, watch } from "./bench.js";
import { call, wantedFile } from "./call.js";
import { takeTyped, usePickers } from "./controls.js";
import { folder, markOpen, openFile, saveCopy, saveIt, showFolder, startNew } from "./files.js";
import { showKept } from "./kept.js";
import { byId, rest, rests } from "./make.js";
import { addPowder, showPowders } from "./powders.js";
import { seek } from "./seek.js";
import { setUpStrips, showStrips } from "./strips.js";
import { resetSure, setUpSure } from "./sure.js";
import { setUpTakeAway, showFileText } from "./takeaway.js";
import { attempt, complain, say } from "./talk.js";
import { showVerdict, stopsOf } from "./verdict.js";

let band = "";
let stops = "";

function show(what) {
  complain("");
  for (const id of ["making", "result", "glance"]) byId(id).hidden = false;
  byId("empty").hidden = true;
  if (what !== "saved") {
    showStrips(bench.answer, bench.kept);
    showKept();
  }
  if (what === "begun" || what === "changed") showChange(what);
  showFileText();
  markOpen();
  tools();
}

function showChange(what) {
  const before = { band, stops };
  band = bench.answer.report.band.name;
  stops = stopsOf(bench.answer.formula).join("; ");
  showPowders();
  showVerdict(bench.answer);
  resetSure();
  performance.mark("shown");
  if (stops && stops !== before.stops) say(`Stop: ${stops}`);
  else if (what === "begun") say(`${bench.answer.report.scrub.name} is in hand.`);
  else if (band !== before.band) say(`From ${before.band} to ${band}.`);
  if (what === "begun" && innerWidth < 1100) foldList();
}

/** Where the list stands above the scrub, it makes room for it. */
function foldList() {
  const box = byId("folder-box");
  const inside = box.contains(document.activeElement);
  box.open = false;
  if (inside) box.querySelector("summary").focus();
}

function tools() {
  for (const id of ["undo", "redo", "keep", "seek", "save-as", "save"]) byId(id).disabled = false;
  rest(byId("undo"), !canUndo());
  rest(byId("redo"), !canRedo());
  rest(byId("keep"), bench.kept.length >= SLOTS.length);
  document.title = `${isChanged() ? "• " : ""}${bench.answer.report.scrub.name} – gritwise`;
}

function onKey(event) {
  if (!(event.ctrlKey || event.metaKey) || byId("dialog").open || !bench.draft) return;
  const key = event.key.toLowerCase();
  const work = { z: event.shiftKey ? redo : undo, y: redo, s: saveIt }[key];
  if (!work) return;
  event.preventDefault();
  takeTyped();
  attempt(work);
}

function wire() {
  const on = (id, work) =>
    byId(id).addEventListener("click", (event) => {
      if (rests(event.currentTarget)) return;
      takeTyped();
      attempt(work);
    });
  on("undo", undo);
  on("redo", redo);
  on("keep", () => keep());
  on("seek", async () => seek(folder));
  on("save", saveIt);
  on("save-as", async () => saveCopy());
  on("new", startNew);
  on("again", showFolder);
  on("add", () => addPowder(byId("add")));
  addEventListener("keydown", onKey);
  // Someone may have changed the folder while the window was left.
  addEventListener("focus", () => showFolder().catch(() => {}));
  addEventListener("beforeunload", (event) => {
    takeTyped();
    if (isBusy() || isChanged()) event.preventDefault();
  });
  // A file that misses its mark must not replace the page.
  for (const kind of ["dragover", "drop"]) addEventListener(kind, (event) => event.preventDefault());
}

async function start() {
  wire();
  setUpStrips();
  setUpSure();
  watch(show);
  usePickers(await call("tables"));
  await setUpTakeAway();
  await showFolder();
  if (wantedFile) await attempt(() => openFile(wantedFile));
  document.body.dataset.ready = "yes";
}

attempt(start);
