// Files to take away: sheets, reports and pictures of the draft in hand, and the file as it would be saved.

import { bench } from "./bench.js";
import { call, callForFile } from "./call.js";
import { byId, make, rest, rests } from "./make.js";
import { attempt } from "./talk.js";

export async function setUpTakeAway() {
  const downloads = await call("downloads");
  const button = (d) => {
    const control = make(
      "button",
      { type: "button", id: `take-${d.key}`, class: "take", title: `A file that ends in ${d.file}` },
      make("span", { "aria-hidden": "true", class: "arrow" }, "↓"),
      d.label,
    );
    control.addEventListener("click", () => attempt(() => fetchFile(d, control), tell));
    return control;
  };
  const of = (batch) => downloads.filter((d) => d.of_batch === batch).map(button);
  const box = (id, label, value) =>
    make("label", { class: "box short", for: id }, label, make("input", { id, type: "text", value }));
  byId("take-away").replaceChildren(
    make("h3", {}, "Take away"),
    make("p", { class: "source" }, "Files for the browser's downloads, of the scrub as it is in hand now."),
    make("p", { class: "error", id: "batch-stop" }),
    make(
      "div",
      { class: "row takes" },
      box("batch", "Batch, like 2.5kg or 12x200mL", "1kg"),
      box("loss", "Stays in the vessel", "3%"),
      box("step", "Step of the balance", "0.1g"),
      ...of(true),
    ),
    make("div", { class: "row takes" }, of(false)),
    make("p", { id: "taken", role: "status" }),
    make("p", { class: "error", id: "not-taken", role: "alert" }),
    make(
      "details",
      {},
      make("summary", {}, "The file as it would be saved"),
      make("pre", { id: "file-text", tabindex: "0", role: "region", "aria-label": "Text of the file" }),
    ),
  );
}

/** The boxes by what the program calls what is in them. */
const BOXES = { mass: "batch", units: "batch", loss: "loss", resolution: "step" };

/** What is wrong with a batch as it is ordered, at the box that it is about, by the name that it has here. */
export function atItsBox(trouble) {
  for (const id of Object.values(BOXES)) byId(id).removeAttribute("aria-invalid");
  const [, key, rest] = trouble.match(/^(mass|units|loss|resolution): (.*)$/s) ?? [];
  if (!key) return trouble;
  const box = byId(BOXES[key]);
  box.setAttribute("aria-invalid", "true");
  return `${box.labels[0].firstChild.textContent}: ${rest}`;
}

function tell(trouble) {
  byId("not-taken").textContent = atItsBox(trouble);
  if (!trouble) return;
  byId("taken").textContent = "";
  byId("not-taken").scrollIntoView({ block: "nearest" });
}

/** What was made before is of another scrub. */
export function showFileText() {
  byId("file-text").textContent = bench.draft.text;
  byId("taken").textContent = "";
  tell("");
}

async function fetchFile(d, control) {
  if (rests(control)) return;
  rest(control, true);
  byId("taken").textContent = `Making ${d.label} …`;
  try {
    const batch = d.of_batch ? ordered() : {};
    const name = bench.draft.file.replace(/\.toml$/i, "") + d.file;
    hand(await callForFile(`download/${d.key}`, { draft: bench.draft, ...batch }), name);
    byId("taken").textContent = `${name} is among the browser's downloads.`;
  } finally {
    rest(control, false);
  }
}

/** A mass, or units to fill, in the words of the command line. */
export function ordered() {
  // A decimal comma stands between digits.
  const plain = (id) => byId(id).value.trim().replace(/(\d),(\d)/g, "$1.$2");
  const [batch, loss, resolution] = ["batch", "loss", "step"].map(plain);
  return { [/[x×]/i.test(batch) ? "units" : "mass"]: batch, loss, resolution };
}

/** Gives a file to the browser's downloads. */
export function hand(file, name) {
  const address = URL.createObjectURL(file);
  const link = make("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 1000);
}
