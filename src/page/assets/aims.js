// Aim files: opened into the form, saved from it.

import { option } from "./controls.js";
import { folder, showFolder } from "./files.js";
import { byId, make } from "./make.js";
import { OnFile } from "./onfile.js";
import { savedSaid } from "./saved.js";
import { dropFile, storeFile } from "./store.js";
import { attempt } from "./talk.js";
import { changes, fillBoxes, fillWish, said, settleWish, wanted } from "./wish.js";

const aim = new OnFile(() => {});
const NEW = "aim.toml";
const LEAVE = "Changes of the aim in hand are not saved. Leave them?";

/** Opening and saving, above the form; `back` shows the form again. */
export const fileBoxes = (back) =>
  make(
    "div",
    { class: "row", id: "aim-files" },
    make(
      "label",
      { class: "box", for: "aim-file" },
      "Aim file",
      make("select", { id: "aim-file", onchange: () => attempt(open) }),
    ),
    make("label", { class: "box", for: "aim-as" }, "Save it as", make("input", { id: "aim-as", type: "text", value: NEW })),
    make("button", { type: "button", id: "aim-save", onclick: () => attempt(() => save(back)) }, "Save the aim"),
    make("p", { class: "source", id: "aim-said", role: "status" }),
  );

/** Aim files as the folder holds them now. */
export function offerAims() {
  byId("aim-file").replaceChildren(option("", "none opened"), ...folder.aims.map((file) => option(file)));
  byId("aim-file").value = aim.draft?.file ?? "";
  tellSaved();
}

/** Whether what the form has and the file in hand has not is remembered. */
let isSafe = true;
export const isAimSafe = () => isSafe;

/** Whether the form is saved; what is not is remembered. */
export function tellSaved() {
  const unsaved = Object.keys(changes());
  byId("aim-said").textContent = aim.answer === null ? "" : savedSaid(unsaved, "aim");
  const { draft, base } = aim.answer === null ? { draft: { file: byId("aim-as").value }, base: null } : aim;
  if (unsaved.length === 0) dropFile("aim");
  isSafe = unsaved.length === 0 || storeFile("aim", { draft, base, wish: wanted(), changes: unsaved.length });
}

/** An aim that was not saved when the page was left, into the form that is shown; whether it is there again. */
export async function resumeAim({ draft, base, wish }) {
  if (Object.keys(changes()).length > 0 && !confirm(LEAVE)) return false;
  if (draft.text === undefined) {
    await aim.letGo();
    offerAims();
    byId("aim-as").value = draft.file;
  } else {
    await aim.resume({ draft, base });
    take();
  }
  fillBoxes(wish);
  tellSaved();
  return true;
}

async function open() {
  const list = byId("aim-file");
  const file = list.value;
  const isLeft = Object.keys(changes()).length === 0;
  if (file === "" || !(isLeft || confirm(LEAVE))) {
    list.value = aim.draft?.file ?? "";
    return;
  }
  try {
    await aim.open(file);
  } catch (error) {
    list.value = aim.draft?.file ?? "";
    throw error;
  }
  take();
}

/** The form shows the file in hand. */
function take() {
  fillWish(aim.answer.definition.aim);
  byId("aim-as").value = aim.draft.file;
  byId("aim-file").value = aim.draft.file;
  tellSaved();
}

/** Writes what the form says into the file that was opened, or into a new one that begins as that is. */
async function save(back) {
  const file = byId("aim-as").value.trim();
  const then = said();
  const edits = [{ do: "set", at: ["aim"], values: aim.answer === null ? wanted() : changes() }];
  if (file === aim.draft?.file) await aim.change(edits);
  else await aim.begin(file, edits, { text: aim.draft?.text });
  const { text } = aim.draft;
  await aim.save(async () => {
    back();
    // The disk's may have been taken in its place.
    if (aim.draft.text === text) settleWish(aim.answer.definition.aim, then);
    else take();
    await showFolder();
    offerAims();
  });
}
