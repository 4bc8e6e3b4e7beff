// The file in hand as the disk has it: read again where nothing was changed here, else said at once, with the differences in words and
// no version thrown away.

import { bench, isBusy, isChanged, takeDisk } from "./bench.js";
import { call } from "./call.js";
import { isTyped } from "./controls.js";
import { byId, make } from "./make.js";
import { attempt, openDialog, say } from "./talk.js";

/** How often the disk is looked at while the page is, ms. */
const EVERY = 3000;
/** What the disk held when it was last told of. */
let told;

/** Looks at the disk now and then; `resolve` is what can be done when both sides changed. */
export function watchDisk(resolve) {
  const look = () => document.visibilityState === "visible" && lookAtDisk(resolve).catch(() => {});
  setInterval(look, EVERY);
  addEventListener("focus", look);
}

async function lookAtDisk(resolve) {
  if (bench.draft === null || bench.base === null || isBusy() || byId("dialog").open) return;
  const { base } = bench;
  const { file } = bench.draft;
  const disk = await onDisk(file);
  // Something else may be in hand or saved by now.
  if (bench.base !== base || bench.draft.file !== file || isBusy()) return;
  if (disk === base) return quiet();
  if (disk === told) return;
  told = disk;
  const isUntouched = !isChanged() && !isTyped(document.activeElement);
  if (disk !== null && isUntouched) {
    try {
      await takeDisk(disk);
      quiet();
      return say(`${file} changed on disk and was read again.`);
    } catch (error) {
      return notice(`${file} changed on disk and cannot be read as it is there: ${error.message}`);
    }
  }
  if (disk === null) return notice(`${file} is not on disk any more. What is in hand is kept; save it to write it again.`);
  notice(`${file} changed on disk while it was changed here. Nothing is lost.`, () => resolve(file, disk));
}

async function onDisk(file) {
  try {
    return (await call(`scrub?file=${encodeURIComponent(file)}`)).text;
  } catch (error) {
    if (error.status === 404) return null;
    throw error;
  }
}

export function quiet() {
  told = undefined;
  byId("disk").hidden = true;
}

function notice(text, show) {
  const button = make("button", { type: "button", id: "see-differences", onclick: () => attempt(show) }, "See the differences");
  byId("disk").replaceChildren(make("p", {}, text), show ? button : "");
  byId("disk").hidden = false;
}

/** The scrub that the disk holds takes the place of the one in hand. */
export async function takeTheirs(disk) {
  await takeDisk(disk);
  quiet();
  byId("dialog").close();
  say("What the disk held is in hand; undo brings back yours.");
}

/**
 * Both sides of a file, `here` and on the `disk`: what differs in words, the texts on demand, and what can be done: `mine` and `theirs`,
 * and `another` where there is another name to save it under.
 */
export async function showConflict({ file, here, disk }, { mine, theirs, another }) {
  const button = (id, work, label) =>
    make("button", { type: "button", id, onclick: () => attempt(work) }, label);
  openDialog(
    "The file on disk is another one",
    make("p", { role: "alert" }, said(file, disk)),
    make("div", { id: "differences" }, disk === null ? [] : await inWords(file, here, disk)),
    make(
      "details",
      { id: "texts" },
      make("summary", {}, "Both texts, with the lines marked that the other has not"),
      make("div", { class: "sides" }, side("Here", here, disk ?? ""), disk === null ? "" : side("On disk", disk, here)),
    ),
    make(
      "div",
      { class: "row" },
      button("keep-mine", mine, disk === null ? "Write mine" : "Replace the disk's with mine"),
      disk === null ? "" : button("take-theirs", theirs, "Take the disk's"),
      another ? button("another-name", another, "Save mine under another name") : "",
    ),
    make("p", { class: "source" }, disk === null ? "" : "Either way the other version stays in hand as a step: undo brings it back."),
  );
}

const said = (file, disk) =>
  disk === null
    ? `${file} is not on disk any more; nothing was written.`
    : `${file} changed on disk since it was opened here; nothing was written.`;

async function inWords(file, here, there) {
  let all;
  try {
    all = await call("differences", { file, here, there });
  } catch (error) {
    return [make("p", {}, `What differs cannot be said in words: ${error.message}`)];
  }
  if (all.length === 0) return [make("p", {}, "No value differs: only comments or the layout of the text do.")];
  const line = ({ what, before, after }) =>
    make("li", {}, make("strong", {}, what), `: ${before ?? "nothing"} here, ${after ?? "nothing"} there`);
  return [make("ul", {}, all.map(line))];
}

function side(title, text, other) {
  const others = new Set(other.split("\n"));
  const lines = text.split("\n").map((l) => make("span", { class: others.has(l) ? "" : "differs" }, `${l}\n`));
  return make(
    "section",
    {},
    make("h3", {}, title),
    make("pre", { tabindex: "0", role: "region", "aria-label": title }, make("code", {}, lines)),
  );
}
