// Papers looked at in place before they are taken away: batch sheet, label, a ladder, stand-ins.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { choice, option } from "./controls.js";
import { byId, make } from "./make.js";
import { ordered } from "./takeaway.js";
import { attempt, openDialog } from "./talk.js";

export function setUpPreviews() {
  const button = (id, label, work) => make("button", { type: "button", id: `look-${id}`, onclick: () => attempt(work) }, label);
  byId("previews").replaceChildren(
    make("h3", {}, "Look first"),
    make(
      "div",
      { class: "row" },
      button("batch", "Batch sheet", () => show("Batch sheet", { what: "batch", of: { draft: bench.draft, ...ordered() } })),
      button("label", "Label", () => show("Label", { what: "label", draft: bench.draft })),
      button("ladder", "What if: a ladder", async () => askLadder()),
      button("stand-in", "What could stand in", async () => askStandIn()),
    ),
  );
}

async function show(title, request, at) {
  const { text } = await call("preview", request);
  const shown = make("pre", { id: "preview", tabindex: "0", role: "region", "aria-label": title }, text);
  if (at) at.replaceChildren(shown);
  else openDialog(title, shown);
}

/** A form that asks first, and shows what comes of it below. */
function ask(title, fields, request) {
  const at = make("div", { id: "preview-at", "aria-live": "polite" });
  const form = make("form", { id: "preview-form" }, make("div", { class: "row" }, fields), make("button", { type: "submit", class: "strong" }, "Show"));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    attempt(() => show(title, request(), at));
  });
  openDialog(title, form, at);
}

const powders = () => bench.answer.report.powders.map((p) => option(p.name));

function askLadder() {
  const quantities = [
    option("load", "powder load, %"),
    ...bench.answer.report.powders.flatMap((p) => [
      option(`${p.name}.parts`, `${p.name}: parts`),
      option(`${p.name}.d50`, `${p.name}: D50, µm`),
    ]),
  ];
  const box = (id, label, value) =>
    make("label", { class: "box", for: id }, label, make("input", { id, type: "text", inputmode: "decimal", value }));
  const value = (id) => byId(id).value.trim().replace(",", ".");
  ask(
    "What if: a ladder",
    [choice("vary", "Vary", quantities, "load"), box("vary-low", "from", "1"), box("vary-high", "to", "10")],
    () => ({ what: "ladder", draft: bench.draft, vary: `${value("vary")}=${value("vary-low")}..${value("vary-high")}` }),
  );
}

function askStandIn() {
  ask("What could stand in", [choice("stand-for", "For", powders(), bench.answer.report.powders[0].name)], () => ({
    what: "stand-in",
    draft: bench.draft,
    powder: byId("stand-for").value,
  }));
}
