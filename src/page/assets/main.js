// Ties the parts of the page together.

import { isAimSafe } from "./aims.js";
import { keepForLater } from "./alone.js";
import { showBar, showSteps } from "./bar.js";
import { SLOTS, bench, isBusy, isChanged, keep, redo, redoes, undo, undoes, watch } from "./bench.js";
import { openBroken } from "./broken.js";
import { call, fileOfAddress, readdress } from "./call.js";
import { stopsOf } from "./checks.js";
import { openCompare } from "./compare.js";
import { takeTyped, usePickers } from "./controls.js";
import { lookAtDisk, quiet, showLost, watchDisk } from "./disk.js";
import { takeDrops } from "./drops.js";
import {
  conflict,
  folder,
  markOpen,
  openFile,
  saveCopy,
  saveIt,
  showFolder,
  showsBroken,
  startFrom,
  startNew,
} from "./files.js";
import { offerStart } from "./first.js";
import { showKept } from "./kept.js";
import { byId, rest, rests } from "./make.js";
import { isSafe, keepAgain, rememberAll, showOffers } from "./offer.js";
import { showShelves } from "./onshelf.js";
import { setUpPaper, showPaper } from "./paper.js";
import { showPlace } from "./place.js";
import { addPowder, showPowders } from "./powders.js";
import { setUpPreviews } from "./previews.js";
import { seek } from "./seek.js";
import { isShelfSafe, openShelf, whenShelfSaved } from "./shelf.js";
import { useFolder } from "./store.js";
import { setUpStrips, showStrips } from "./strips.js";
import { resetSure, setUpSure } from "./sure.js";
import { setUpTakeAway, showFileText } from "./takeaway.js";
import { attempt, complain, dismiss, say } from "./talk.js";
import { showVerdict } from "./verdict.js";
import { showWhole } from "./whole.js";

let band = "";
let stops = "";

function show(what) {
  // Draws make way for the change before it is worked out.
  if (what === "asked") return resetSure();
  showLost();
  if (what === "lost") return showBar();
  complain("");
  for (const id of ["making", "result", "glance", "bar"]) byId(id).hidden = false;
  byId("empty").hidden = true;
  if (what !== "saved") {
    showStrips(bench.answer, bench.kept);
    showKept();
  }
  if (what === "begun" || what === "changed") showChange(what);
  if (what === "begun" || what === "saved") quiet();
  showFileText();
  markOpen();
  tools();
  rememberAll(what);
  if (what === "begun") showOffers();
}

function showChange(what) {
  const before = { band, stops };
  band = bench.answer.report.band.name;
  stops = stopsOf(bench.answer).join("; ");
  showPowders(what === "begun");
  showWhole();
  showVerdict(bench.answer);
  showBar();
  showPaper();
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
  for (const id of ["undo", "redo", "keep", "compare", "seek", "save-as", "save", "new-from"]) byId(id).disabled = false;
  showSteps();
  rest(byId("keep"), bench.kept.length >= SLOTS.length);
  document.title = `${isChanged() ? "• " : ""}${bench.answer.report.scrub.name} – gritwise`;
}

/** Undo or redo, and which step that was. */
async function stepped(work, name, word) {
  const before = name();
  const was = band;
  await work();
  const moved = band === was ? "" : ` From ${was} to ${band}.`;
  if (before) say(`${word}: ${before}.${moved}`);
}
const undoIt = () => stepped(undo, undoes, "Undone");
const redoIt = () => stepped(redo, redoes, "Done again");

function onKey(event) {
  // Keys are listed under "?".
  if (event.key === "Escape" && !event.defaultPrevented && !byId("dialog").open) dismiss();
  if (event.key === "?" && !event.target.closest?.("input, textarea, select")) byId("keys").open = true;
  if (!(event.ctrlKey || event.metaKey) || byId("dialog").open || !bench.draft) return;
  const key = event.key.toLowerCase();
  const work = { z: event.shiftKey ? redoIt : undoIt, y: redoIt, s: saveIt }[key];
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
  on("undo", undoIt);
  on("redo", redoIt);
  on("keep", () => keep());
  on("compare", openCompare);
  on("seek", async () => seek(folder));
  on("save", saveIt);
  on("save-as", async () => saveCopy());
  on("new", startNew);
  on("new-from", startFrom);
  on("again", async () => {
    await readFolder();
    await lookAtDisk();
  });
  on("add", () => addPowder(byId("add")));
  on("edit-shelf", () => openShelf());
  whenShelfSaved(() => readFolder(true));
  addEventListener("keydown", onKey);
  // Someone may have changed the folder while the window was left.
  addEventListener("focus", () => readFolder().catch(() => {}));
  // Back, and an address typed: the scrub that it names.
  addEventListener("popstate", () => {
    const file = fileOfAddress();
    if (file && file !== bench.draft?.file) attempt(() => goTo(file));
  });
  addEventListener("beforeunload", (event) => {
    takeTyped();
    if (isBusy() || (isChanged() && !isSafe) || !isShelfSafe() || !isAimSafe()) event.preventDefault();
  });
  takeDrops();
  // Turning the wheel over a list must not choose from it.
  addEventListener("wheel", (event) => event.target.matches?.("select:focus") && event.target.blur());
  // What keeps its place at the top must hide nothing that comes into sight.
  new ResizeObserver(([bar]) => {
    document.documentElement.style.setProperty("--bar", `${Math.ceil(bar.target.offsetHeight)}px`);
  }).observe(byId("bar"));
}

/** What Back or Forward leads to; where that is not opened, the address does not say that it is. */
async function goTo(file) {
  try {
    await openFile(file);
  } finally {
    if (bench.draft) readdress(bench.base === null ? null : bench.draft.file);
  }
}

async function readFolder(anew) {
  await showFolder();
  offerStart(folder);
  await showShelves(folder, anew).catch(() => {});
}

/** The folder is another one, or holds others: what the browser remembers of it is offered. */
async function moved() {
  await readFolder();
  useFolder(folder.folder_id);
  showOffers();
}

async function start() {
  wire();
  keepForLater();
  setUpStrips();
  setUpSure();
  setUpPaper();
  watch(show);
  usePickers(await call("tables"));
  await setUpTakeAway();
  setUpPreviews();
  showsBroken(openBroken);
  await moved();
  await showPlace(moved);
  await keepAgain();
  const wanted = fileOfAddress();
  if (wanted) await attempt(() => openFile(wanted));
  watchDisk(conflict);
  document.body.dataset.ready = "yes";
}

attempt(start);
