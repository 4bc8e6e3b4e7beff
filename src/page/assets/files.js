// The folder: its scrubs, opening, saving.

import { bench, begin, isChanged, save, settled } from "./bench.js";
import { call, isUnreadable } from "./call.js";
import { takeTyped } from "./controls.js";
import { showConflict, takeTheirs } from "./disk.js";
import { byId, make, number } from "./make.js";
import { freeNames, useTables } from "./tables.js";
import { attempt, openDialog, say } from "./talk.js";

export let folder = null;
/** How a file that cannot be read is shown. */
let showBroken = () => {};
export const showsBroken = (by) => (showBroken = by);
let listed = "";

/** Reads the folder again; the list is built anew only when something in it is new. */
export async function showFolder() {
  folder = await call("folder");
  const now = JSON.stringify(folder);
  if (now !== listed) list();
  listed = now;
  markOpen();
}

function list() {
  useTables(folder.size_tables);
  byId("where").textContent = folder.folder;
  const held = document.activeElement?.dataset?.file;
  const entry = (s) =>
    make(
      "li",
      {},
      make(
        "button",
        { type: "button", class: "scrub", "data-file": s.file, onclick: () => attempt(() => openFile(s.file)) },
        make("strong", {}, s.name),
        make("span", { class: s.beyond ? "tag harm" : `tag shade-${s.rank}` }, s.band),
        s.stops.map((name) => make("span", { class: "tag harm" }, `Stop: ${name}`)),
        make("span", { class: "source" }, `${s.file} · index ${number(s.index)}`),
      ),
    );
  byId("scrubs").replaceChildren(...folder.scrubs.map(entry));
  if (held)
    byId("scrubs")
      .querySelector(`[data-file="${CSS.escape(held)}"]`)
      ?.focus();
  const asText = ({ file }) =>
    make("button", { type: "button", class: "quiet", "data-broken": file, onclick: () => attempt(() => showBroken(file)) }, "Open as text");
  const isText = ({ file }) => /\.toml$/i.test(file);
  const broken = folder.broken.map((b) =>
    make("li", { class: b.refused ? "harm" : "" }, b.error, isText(b) ? asText(b) : ""),
  );
  byId("broken").replaceChildren(
    ...(broken.length
      ? [
          make(
            "details",
            {},
            make("summary", {}, `Files that cannot be used: ${broken.length}`),
            make("ul", {}, broken),
          ),
        ]
      : []),
  );
}

/** Which of the list is in hand. */
export function markOpen() {
  for (const button of byId("scrubs").querySelectorAll("button")) {
    if (button.dataset.file === bench.draft?.file) button.setAttribute("aria-current", "true");
    else button.removeAttribute("aria-current");
  }
}

/** Whether the draft in hand may be put away, with what was typed last. */
export async function mayLeave() {
  takeTyped();
  await settled();
  return !isChanged() || confirm("Changes of the scrub in hand are not saved. Leave them? The browser keeps them to offer them back.");
}

/** Whether it is in hand then. */
export async function openFile(file) {
  if (!(await mayLeave())) return false;
  const draft = await call(`scrub?file=${encodeURIComponent(file)}`);
  await begin(draft, draft.text);
  return true;
}

export async function startNew() {
  if (await mayLeave()) await begin(await call("start"), null);
}

/** A new scrub that begins as the one in hand is. */
export async function startFrom() {
  takeTyped();
  await settled();
  const { text, tables } = bench.draft;
  if (await mayLeave()) await begin({ file: suggested(), text, tables }, null);
}

export async function saveIt() {
  takeTyped();
  await settled();
  if (bench.base === null) saveCopy("Save as");
  else await write(bench.draft.file, bench.base);
}

async function write(file, base) {
  const renamed = await freeNames();
  try {
    await save(file, base);
  } catch (error) {
    if (error.status !== 409) throw error;
    return conflict(file, error.answer.disk, base === null);
  }
  const refused = byId("making").querySelector("[aria-invalid]") ? "What is marked as wrong is not in it." : "";
  say([`Saved ${file}.`, ...renamed, refused].join(" ").trim());
  byId("dialog").close();
  await showFolder();
}

export function saveCopy(title = "Save a copy") {
  const name = make("input", { id: "copy-name", type: "text", value: suggested(), required: true });
  const form = make(
    "form",
    {},
    make("label", { class: "box", for: "copy-name" }, "File name, in this folder", name),
    make("button", { type: "submit", class: "strong" }, "Save"),
  );
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    attempt(() => write(name.value.trim(), null));
  });
  openDialog(title, form);
  name.focus();
}

/** A name that no file of the folder has. */
function suggested() {
  const all = [...folder.scrubs, ...folder.shelves, ...folder.broken].map((entry) => entry.file);
  const taken = new Set([...all, ...folder.aims].map((file) => file.toLowerCase()));
  const stem = bench.draft.file.replace(/(-\d+)?\.toml$/i, "");
  for (let i = 1; ; i += 1) {
    const name = i === 1 ? `${stem}.toml` : `${stem}-${i}.toml`;
    if (!taken.has(name.toLowerCase())) return name;
  }
}

/** What can be done about a file that is another one on disk; one that `isNew` here has nothing to do with that. */
export async function conflict(file, disk, isNew = false) {
  const isUnread = await isUnreadable("assess", { file, text: disk });
  await showConflict(
    { file, here: bench.draft.text, disk, isNew, isUnread },
    {
      mine: () => write(file, disk),
      theirs: isNew ? null : () => takeTheirs(disk),
      another: async () => saveCopy(isNew ? "Save as" : undefined),
    },
  );
}
