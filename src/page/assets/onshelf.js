// Powders of the folder's shelves, to be put into the scrub by name, material or tag.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { edit, rebuild, set } from "./controls.js";
import { byId, number } from "./make.js";
import { picker } from "./picker.js";
import { showPowder } from "./powders.js";

let known = "";

/** Looks at the shelves again where there are others than before, or where `anew` one of them was changed. */
export async function showShelves({ shelves }, anew = false) {
  const now = JSON.stringify(shelves);
  if (now === known && !anew) return;
  known = now;
  const read = ({ file }) => call(`shelf?file=${encodeURIComponent(file)}`).then((all) => all.map((p) => ({ ...p, file })));
  const powders = (await Promise.all(shelves.map(read))).flat();
  byId("from-shelf").hidden = powders.length === 0;
  byId("edit-shelf").textContent = shelves.length ? "Edit the shelf" : "Start a shelf";
  const options = powders.map((p, i) => ({
    value: String(i),
    text: p.name,
    more: [p.material ?? "", ...p.tags].join(" "),
    note: [`D50 ${number(p.d50_um)} µm`, p.stock_g === null ? "" : `${number(p.stock_g, 4)} g in stock`].filter(Boolean).join(" · "),
    group: p.file,
  }));
  const put = (i, control) => putIn(powders[Number(i)], control);
  rebuild(() => byId("from-shelf").replaceChildren(picker("shelf-powder", "or put one in from the shelf", options, "", put)));
}

async function putIn({ values }, control) {
  set(control, "");
  const last = bench.answer.definition.powder.length;
  if (await edit([{ do: "add", values: { parts: 1, ...values } }], { control: byId("add") })) showPowder(last);
}
