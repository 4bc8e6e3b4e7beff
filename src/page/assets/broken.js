// A file that cannot be read as a scrub, as text: what is wrong with it, where, and room to mend it.

import { begin } from "./bench.js";
import { call } from "./call.js";
import { mayLeave } from "./files.js";
import { byId, make } from "./make.js";
import { rowsAround } from "./tables.js";
import { openDialog } from "./talk.js";

export async function openBroken(file) {
  const { text } = await call(`scrub?file=${encodeURIComponent(file)}`);
  if (!(await mayLeave())) return;
  const area = make("textarea", { id: "broken-text", rows: "16", spellcheck: "false" });
  area.value = text;
  const told = make("div", { id: "broken-told", "aria-live": "polite" });
  const again = async () => {
    try {
      await begin({ file, text: area.value, tables: [] }, text);
      byId("dialog").close();
    } catch (error) {
      mark(told, area, error);
    }
  };
  openDialog(
    `${file} as text`,
    told,
    make("label", { class: "box", for: "broken-text" }, "The text; nothing is written until you save", area),
    make("button", { type: "button", id: "broken-again", class: "strong", onclick: again }, "Read it again"),
  );
  await again();
}

/** Says what is wrong, and sets the cursor there. */
function mark(at, area, { message, answer }) {
  const line = answer?.line;
  at.replaceChildren(make("p", { class: "error" }, message), ...rowsAround(area.value, line));
  if (!line) return;
  const before = area.value.split("\n").slice(0, line - 1);
  const start = before.reduce((sum, row) => sum + row.length + 1, 0) + Math.max(0, (answer.column ?? 1) - 1);
  area.focus();
  area.setSelectionRange(start, start);
}
