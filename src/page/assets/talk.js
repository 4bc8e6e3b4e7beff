// What the page says: news, trouble, and the dialog.

import { byId, make } from "./make.js";

export function say(text) {
  byId("news").textContent = text;
}

/** How often trouble was told. */
let complaints = 0;
/** Where the focus was when it was told last. */
let before = null;

/** Trouble stands in the dialog while that is open, else at the top of the window, until it is closed or something else went well. */
export function complain(text) {
  if (text) complaints += 1;
  const isOpen = byId("dialog").open;
  const inDialog = byId("dialog-trouble");
  if (inDialog) {
    inDialog.textContent = isOpen ? text : "";
    inDialog.hidden = !inDialog.textContent;
  }
  const at = byId("trouble");
  const here = isOpen ? "" : text;
  if (here && !at.contains(document.activeElement)) before = document.activeElement;
  const close = () => make("button", { type: "button", class: "quiet", id: "trouble-close", onclick: dismiss }, "Close");
  at.replaceChildren(...(here ? [make("span", {}, here), close()] : []));
  at.hidden = !here;
}

/** Trouble that was read is put away; whether there was any. */
export function dismiss() {
  if (byId("trouble").hidden) return false;
  const held = byId("trouble").contains(document.activeElement);
  complain("");
  if (held) (before?.isConnected ? before : byId("result")).focus();
  return true;
}

/** Does what a button or key asked for, and tells when it fails: the one place where a failure ends, so it is not wrapped twice. */
export async function attempt(work, tell = complain) {
  const before = complaints;
  try {
    await work();
    // What went well takes no trouble away that another work met meanwhile.
    if (tell !== complain || complaints === before) tell("");
  } catch (error) {
    tell(error.message);
    // Not a refusal of the server: a fault of the page itself.
    if (error.status === undefined) throw error;
  }
}

/** Opens the dialog with a title and children; one that takes the place of another takes its focus, too. */
export function openDialog(title, ...children) {
  const dialog = byId("dialog");
  dialog.replaceChildren(
    make("h2", { id: "dialog-title" }, title),
    ...children,
    make("p", { class: "error", id: "dialog-trouble", role: "alert" }),
    make("button", { type: "button", class: "close", onclick: () => dialog.close() }, "Close"),
  );
  if (!dialog.open) dialog.showModal();
  else if (!dialog.contains(document.activeElement) || document.activeElement === dialog)
    dialog.querySelector("input, select, textarea, summary, button").focus();
}

/** Work that takes its time: says so at a place of the page, with a button that stops it; `stop` is there for others to stop it by. */
export function stoppable(at, text, work, stop = new AbortController()) {
  at.replaceChildren(
    make("p", {}, text),
    make("button", { type: "button", class: "stop", onclick: () => stop.abort() }, "Stop"),
  );
  return work(stop.signal);
}
