// A first visit: where to begin in a folder without scrubs, and the three steps from grains to a file.

import { begin } from "./bench.js";
import { call } from "./call.js";
import { mayLeave, startNew } from "./files.js";
import { byId, make } from "./make.js";
import { attempt } from "./talk.js";

const STEPS = [
  ["making", "Choose what goes in", "Powders, their shares and sizes; below them phases, acid, base, container and use."],
  ["result", "Read what comes of it", "Band, index, curves and checks follow every change. “?” says what a figure means."],
  ["bar", "Keep it", "Nothing is written until you save; undo goes back step by step."],
];

/** The example, with its steps marked. */
async function openExample() {
  if (!(await mayLeave())) return;
  await begin(await call("example"), null);
  byId("steps").hidden = false;
  byId("steps").replaceChildren(
    make("h2", {}, "Three steps"),
    make(
      "ol",
      {},
      STEPS.map(([id, name, text]) =>
        make(
          "li",
          {},
          make("button", { type: "button", class: "quiet", onclick: () => show(id) }, name),
          make("span", {}, text),
        ),
      ),
    ),
    make("button", { type: "button", id: "steps-done", onclick: () => (byId("steps").hidden = true) }, "Done"),
  );
}

function show(id) {
  const at = byId(id);
  at.scrollIntoView({ block: "start" });
  at.querySelector("input, button, summary")?.focus();
}

/** A scrub file from elsewhere, as a new one of this folder. */
export async function importScrub(file) {
  const text = await file.text();
  if (await mayLeave()) await begin({ file: file.name, text, tables: [] }, null);
}

/** What an empty folder offers. */
export function offerStart(folder) {
  const file = make("input", {
    type: "file",
    id: "import",
    accept: ".toml",
    onchange: () => file.files[0] && attempt(() => importScrub(file.files[0])),
  });
  const button = (id, label, work) => make("button", { type: "button", id, onclick: () => attempt(work) }, label);
  const isEmpty = folder.scrubs.length === 0;
  byId("empty").replaceChildren(
    make("p", {}, isEmpty ? "There is no scrub in this folder yet." : "Choose a scrub, or start a new one."),
    make(
      "div",
      { class: "row" },
      isEmpty ? button("first-new", "Start a new scrub", startNew) : "",
      button("first-example", "Open an example", openExample),
    ),
    make("label", { class: "box drop", for: "import" }, "or bring in a scrub file (TOML): drop it anywhere, or choose it", file),
  );
}
