// What the page says: news, trouble, and the dialog.

import { byId, make } from "./make.js";

export function say(text) {
  byId("news").textContent = text;
}

/** How often trouble was told. */
let complaints = 0;

/** Trouble stands in the dialog while that is open, else at the top of the window; nothing takes it away again. */
export function complain(text) {
  if (text) complaints += 1;
  for (const at of [byId("trouble"), byId("dialog-trouble")].filter(Boolean)) {
    const here = at === (byId("dialog").open ? byId("dialog-trouble") : byId("trouble"));
    at.textContent = here ? text : "";
    at.hidden = !at.textContent;
  }
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

/** Opens the dialog with a title and children. */
export function openDialog(title, ...children) {
  const dialog = byId("dialog");
  dialog.replaceChildren(
    make("h2", { id: "dialog-title" }, title),
    ...children,
    make("p", { class: "error", id: "dialog-trouble", role: "alert" }),
    make("button", { type: "button", class: "close", onclick: () => dialog.close() }, "Close"),
  );
  if (!dialog.open) dialog.showModal();
}

/** Work that takes its time: says so at a place of the page, with a button that stops it; `stop` is there for others to stop it by. */
export function stoppable(at, text, work, stop = new AbortController()) {
  at.replaceChildren(
    make("p", {}, text),
    make("button", { type: "button", class: "stop", onclick: () => stop.abort() }, "Stop"),
  );
  return work(stop.signal);
}
