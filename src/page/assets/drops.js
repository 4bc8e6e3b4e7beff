// Files dropped anywhere on the page: asked where they belong.

import { bench } from "./bench.js";
import { Refused } from "./call.js";
import { importScrub } from "./first.js";
import { byId, make } from "./make.js";
import { openPhotos, photosOf } from "./photo.js";
import { showPowder } from "./powders.js";
import { isScrub, takeFile } from "./tables.js";
import { attempt, openDialog } from "./talk.js";

export function takeDrops() {
  // A file that misses its mark must not replace the page.
  addEventListener("dragover", (event) => event.preventDefault());
  addEventListener("drop", (event) => {
    event.preventDefault();
    const file = event.dataTransfer?.files[0];
    // One that was dropped on a powder or where photographs are asked for is taken there.
    if (!file || (event.target.closest?.(".powder, #photo") && !isScrub(file))) return;
    attempt(() => place(file, photosOf(event)));
  });
}

const refuse = (error) => {
  throw new Refused(0, { error });
};

async function place(file, photos) {
  if (isScrub(file)) return importScrub(file);
  const ending = file.name.toLowerCase().split(".").at(-1);
  if (!photos.length && !["csv", "tsv", "txt", "xlsx"].includes(ending))
    return refuse(
      `${file.name}: tables of sizes (CSV, TSV, TXT, XLSX), photographs of grains (PNG, JPEG, TIFF) and scrub files (TOML) can be dropped here.`,
    );
  if (!bench.draft) return refuse(`${file.name}: open a scrub first; it is of one of its powders.`);
  const take = (i) => {
    byId("dialog").close();
    showPowder(i);
    if (photos.length) openPhotos(i, photos);
    else takeFile(file, i);
  };
  const button = ({ name }, i) => make("button", { type: "button", id: `drop-to-${i}`, onclick: () => take(i) }, name);
  openDialog(
    `Which powder is ${file.name} of?`,
    make("div", { class: "row" }, bench.answer.report.powders.map(button)),
  );
}
