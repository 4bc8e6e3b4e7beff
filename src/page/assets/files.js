// The folder: its scrubs, opening, saving with both sides shown when the disk has moved on, and downloads.

import { bench, begin, isChanged, save } from "./bench.js";
import { call, callForFile } from "./call.js";
import { byId, complain, make, number, openDialog, say } from "./make.js";
import { useTables } from "./grade.js";

export let folder = null;

export async function showFolder() {
  folder = await call("folder");
  useTables(folder.tables);
  byId("where").textContent = folder.folder;
  const entry = (s) =>
    make(
      "li",
      {},
      make(
        "button",
        {
          type: "button",
          class: "scrub",
          "data-file": s.file,
          "aria-current": s.file === bench.draft?.file ? "true" : false,
          onclick: () => openFile(s.file),
        },
        make("strong", {}, s.name),
        make("span", { class: `tag shade-${s.rank}` }, s.band),
        make("span", { class: "source" }, `${s.file} · index ${number(s.index)}`),
      ),
    );
  byId("scrubs").replaceChildren(...folder.scrubs.map(entry));
  const broken = folder.broken.map((b) => make("li", {}, b.error));
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

/** Whether the draft in hand may be put away. */
const mayLeave = () => !isChanged() || confirm("Changes of the scrub in hand are not saved. Leave them?");

export async function openFile(file) {
  if (!mayLeave()) return;
  await attempt(async () => {
    const draft = await call(`scrub?file=${encodeURIComponent(file)}`);
    await begin(draft, draft.text);
  });
}

export async function startNew() {
  if (!mayLeave()) return;
  await attempt(async () => begin(await call("start"), null));
}

export async function attempt(work) {
  try {
    await work();
    complain("");
  } catch (error) {
    if (error.status === undefined) throw error;
    complain(error.message);
  }
}

export async function saveIt() {
  if (bench.base === null) return saveCopy("Save as");
  await attempt(() => write(bench.draft.file, bench.base));
}

async function write(file, base) {
  try {
    await save(file, base);
    say(`Saved ${file}.`);
    byId("dialog").close();
    await showFolder();
  } catch (error) {
    if (error.status !== 409) throw error;
    conflict(file, error.answer);
  }
}

export function saveCopy(title = "Save a copy") {
  const name = make("input", { id: "copy-name", type: "text", value: suggested(), required: true });
  const told = make("p", { class: "error", role: "alert" });
  const form = make(
    "form",
    {},
    make("label", { class: "box", for: "copy-name" }, "File name, in this folder", name),
    told,
    make("button", { type: "submit", class: "strong" }, "Save"),
  );
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    write(name.value.trim(), null).catch((error) => (told.textContent = error.message));
  });
  openDialog(title, form);
  name.focus();
}

function suggested() {
  const taken = new Set(folder.scrubs.map((s) => s.file));
  const stem = bench.draft.file.replace(/(-\d+)?\.toml$/, "");
  for (let i = 1; ; i += 1) {
    const name = i === 1 ? `${stem}.toml` : `${stem}-${i}.toml`;
    if (!taken.has(name)) return name;
  }
}

/** Both sides of a file that changed on disk, lines that the other has not marked. */
function conflict(file, { error, disk }) {
  const [mine, theirs] = [bench.draft.text.split("\n"), (disk ?? "").split("\n")];
  const side = (title, lines, other) =>
    make(
      "section",
      {},
      make("h3", {}, title),
      make(
        "pre",
        { tabindex: "0", role: "region", "aria-label": title },
        lines.map((l) => make("span", { class: other.includes(l) ? "" : "differs" }, `${l}\n`)),
      ),
    );
  const again = (work) => () => attempt(work);
  openDialog(
    "The file on disk is another one",
    make("p", { role: "alert" }, error),
    make(
      "div",
      { class: "sides" },
      side("Here", mine, theirs),
      disk === null ? make("p", {}, "The file is gone.") : side("On disk", theirs, mine),
    ),
    make(
      "button",
      { type: "button", id: "keep-mine", onclick: again(() => write(file, disk)) },
      "Replace the disk's with mine",
    ),
    " ",
    disk === null
      ? ""
      : make(
          "button",
          {
            type: "button",
            id: "take-theirs",
            onclick: again(async () => {
              await begin({ file, text: disk, tables: [] }, disk);
              byId("dialog").close();
            }),
          },
          "Take the disk's",
        ),
    " ",
    make("button", { type: "button", onclick: () => saveCopy() }, "Save mine under another name"),
  );
}

/** The file as it would be saved, and what else can be had of it. */
export async function showFileBox(at) {
  const downloads = await call("downloads");
  const button = (d) =>
    make(
      "button",
      { type: "button", class: "quiet", id: `take-${d.key}`, onclick: () => attempt(() => fetchFile(d)) },
      d.label,
    );
  const batch = make("input", { id: "batch-g", type: "number", step: "any", min: "1", value: 1000 });
  at.append(
    make(
      "section",
      { id: "take-away" },
      make("h3", {}, "Take away"),
      make("label", { class: "box short", for: "batch-g" }, "Batch for the sheet, g", batch),
      make("div", { class: "takes" }, downloads.map(button)),
      make(
        "details",
        {},
        make("summary", {}, "The file as it would be saved"),
        make("pre", { id: "file-text", tabindex: "0", role: "region", "aria-label": "Text of the file" }),
      ),
    ),
  );
}

async function fetchFile(d) {
  const batch = d.of_batch ? { batch_g: Number(byId("batch-g").value) } : {};
  const file = await callForFile(`download/${d.key}`, { draft: bench.draft, ...batch });
  const address = URL.createObjectURL(file);
  const link = make("a", { href: address, download: bench.draft.file.replace(/\.toml$/, "") + d.file });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 1000);
}
