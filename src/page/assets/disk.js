// The file in hand as the disk has it: read again where nothing was changed here, else said at once, with the differences in words and
// no version thrown away.

import { bench, isBusy, isChanged, lost, reckonAgain, takeDisk } from "./bench.js";
import { call } from "./call.js";
import { isTyped } from "./controls.js";
import { byId, make } from "./make.js";
import { attempt, openDialog, say } from "./talk.js";

/** How often the disk is looked at while the page is, ms. */
const EVERY = 3000;
/** What the disk held when it was last told of. */
let told;
/** What is told of the scrub file, and of the tables that it rests on. */
const notices = { file: [], tables: [] };
let resolved = () => {};

/** Looks at the disk now and then; `resolve` is what can be done when both sides changed. */
export function watchDisk(resolve) {
  resolved = resolve;
  const look = () => document.visibilityState === "visible" && lookAtDisk().catch(() => {});
  setInterval(look, EVERY);
  addEventListener("focus", look);
}

/** Looks at the scrub file in hand, and at the tables that it rests on. */
export async function lookAtDisk() {
  if (bench.draft === null || isBusy() || byId("dialog").open) return;
  await lookAtTables();
  if (bench.base !== null && !isBusy()) await lookAtFile();
}

/** A table that is another one by now makes another verdict; without one that is gone, what is shown is of what it held. */
async function lookAtTables() {
  const { tables_read: then } = bench.answer;
  const names = Object.keys(then);
  const now = names.length ? await call("beside", { names }) : {};
  if (bench.answer.tables_read !== then || isBusy()) return;
  const others = names.filter((name) => now[name] !== then[name]);
  const gone = others.filter((name) => now[name] === null);
  if (gone.length) return lost(`${gone.join(", ")} cannot be read any more`);
  if (others.length === 0 && bench.lost === "") return;
  try {
    await reckonAgain();
  } catch (error) {
    return lost(error.message);
  }
  const many = others.length > 1 ? "were" : "was";
  say(others.length ? `${others.join(", ")} changed on disk and ${many} read again.` : "What was gone from the disk is there again.");
}

let lostSaid = "";

/** What is said of the tables; nothing where they are there. */
export function showLost() {
  if (bench.lost === lostSaid) return;
  lostSaid = bench.lost;
  const text = `${bench.lost}. What is shown is of what was read before: put it back, or choose another table.`;
  notice("tables", ...(bench.lost ? [make("p", {}, text)] : []));
}

async function lookAtFile() {
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
      return tellOfFile(`${file} changed on disk and cannot be read as it is there: ${error.message}`);
    }
  }
  if (disk === null) return tellOfFile(`${file} is not on disk any more. What is in hand is kept; save it to write it again.`);
  tellOfFile(`${file} changed on disk while it was changed here. Nothing is lost.`, () => resolved(file, disk));
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
  notice("file");
}

function tellOfFile(text, show) {
  const button = make("button", { type: "button", id: "see-differences", onclick: () => attempt(show) }, "See the differences");
  notice("file", make("p", {}, text), show ? button : "");
}

function notice(of, ...said) {
  if (said.length + notices[of].length === 0) return;
  notices[of] = said;
  const all = [...notices.file, ...notices.tables];
  byId("disk").replaceChildren(...all);
  byId("disk").hidden = all.length === 0;
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
 * and `another` where there is another name to save it under. `isNew` is one that was never opened from there; one that
 * `isUnread` there cannot be a step here.
 */
export async function showConflict({ file, here, disk, isNew, isUnread }, { mine, theirs, another }) {
  const button = (id, work, label) =>
    make("button", { type: "button", id, onclick: () => attempt(work) }, label);
  openDialog(
    isNew ? "A file of that name is there already" : "The file on disk is another one",
    make("p", { role: "alert" }, said(file, disk, isNew)),
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
      disk === null || !theirs ? "" : button("take-theirs", theirs, "Take the disk's"),
      another ? button("another-name", another, "Save mine under another name") : "",
    ),
    make("p", { class: "source" }, disk === null ? "" : stays(isNew, isUnread)),
  );
}

function stays(isNew, isUnread) {
  if (isUnread) return "What the disk holds cannot be read: once it is replaced, undo does not bring it back.";
  return isNew
    ? "Replaced, it stays in hand as a step: undo brings it back."
    : "Either way the other version stays in hand as a step: undo brings it back.";
}

function said(file, disk, isNew) {
  if (disk === null) return `${file} is not on disk any more; nothing was written.`;
  return isNew
    ? `${file}: a file of that name is there already; nothing was written.`
    : `${file} changed on disk since it was opened here; nothing was written.`;
}

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
