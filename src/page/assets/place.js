// Where the files are, in a page without a server: in the browser or in a folder of this machine, and how they come in and go out.

import { bringIn, isAlone } from "./alone.js";
import { call, callForFile } from "./call.js";
import { byId, make } from "./make.js";
import { canOpen, isInBrowser, isKept, keepInBrowser, lastOpened, openAgain, openFolder, place } from "./places.js";
import { hand } from "./takeaway.js";
import { attempt, say } from "./talk.js";

/** `moved` is what is done when the files are elsewhere, or others. */
export async function showPlace(moved) {
  if (!isAlone) return;
  const elsewhere = async (open) => {
    try {
      await open();
    } catch (error) {
      // Who closes the choice of a folder has changed their mind.
      if (error.name === "AbortError") return;
      throw error;
    }
    await moved();
    await showPlace(moved);
  };
  const button = (id, label, work) => make("button", { type: "button", class: "quiet", id, onclick: () => attempt(work) }, label);
  const last = isInBrowser() ? await lastOpened() : undefined;
  byId("place").replaceChildren(
    make("h3", {}, "Where they are"),
    make("p", { class: "source" }, await whereWords()),
    make(
      "div",
      { class: "row" },
      canOpen() ? button("open-folder", "Open a folder", () => elsewhere(openFolder)) : "",
      last ? button("open-again", `Open ${last.name} again`, () => elsewhere(() => openAgain(last))) : "",
      isInBrowser() ? "" : button("to-browser", "Back to the browser's own", () => elsewhere(async () => keepInBrowser())),
      button("bring-examples", "Put the examples in", () => bringExamples(moved)),
      button("take-all", "Take all files (zip)", takeAll),
    ),
    make("label", { class: "box drop", for: "bring" }, "Bring in files (TOML, CSV, XLSX)", chooser(moved)),
  );
}

async function whereWords() {
  if (!isInBrowser()) return `In the folder ${place.name} of this machine; saving writes there.`;
  if (await isKept()) return "In this browser, and nowhere else: take them away to keep a copy.";
  return "In this page alone, for this browser keeps nothing: take them away before you close it.";
}

function chooser(moved) {
  const control = make("input", { type: "file", id: "bring", multiple: true, accept: ".toml,.csv,.tsv,.txt,.xlsx" });
  control.addEventListener("change", () => attempt(() => bringChosen([...control.files], moved)));
  return control;
}

async function bringChosen(chosen, moved) {
  const read = async (file) => ({ name: file.name, bytes: new Uint8Array(await file.arrayBuffer()) });
  await bring(await Promise.all(chosen.map(read)), moved);
}

async function bringExamples(moved) {
  const examples = await call("examples");
  const encoder = new TextEncoder();
  await bring(
    examples.map(({ name, text }) => ({ name, bytes: encoder.encode(text) })),
    moved,
  );
}

async function bring(all, moved) {
  const taken = await bringIn(all);
  await moved();
  const there = taken.length ? ` There already, and left as they were: ${taken.join(", ")}.` : "";
  say(`Files brought in: ${all.length - taken.length}.${there}`);
}

async function takeAll() {
  hand(await callForFile("download/all"), "gritwise-files.zip");
}
