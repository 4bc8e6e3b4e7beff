// The grains of a powder on photographs: chosen, dropped or taken with the camera, with their scale; what was found is shown, and its
// roundness taken into the scrub as a step that can be undone.

import { bench } from "./bench.js";
import { call } from "./call.js";
import { choice, edit, option, readNumber } from "./controls.js";
import { ofPowder } from "./edits.js";
import { byId, make, number, sentence, table } from "./make.js";
import { storeScale, storedScale } from "./store.js";
import { attempt, openDialog, say } from "./talk.js";

/** How the scale of a photograph can be told: what is asked, and what the program is told. */
const SCALES = {
  pixel: { text: "pixel size, µm", example: "2.5", of: (typed) => ({ um_per_pixel: readNumber(typed) }) },
  bar: { text: "scale bar", example: "500 px = 1 mm", of: (typed) => ({ bar: typed.trim() }) },
  square: {
    text: "printed square, mm",
    example: "5",
    of: (typed) => ({ square_um: readNumber(typed) && readNumber(typed) * 1000 }),
  },
};

/** Pictures under an address of their own, which is given back when the dialog closes. */
let shown = [];
let turn = 0;

export const isPhoto = (file) => file.type.startsWith("image/") || /\.(png|jpe?g|tiff?)$/i.test(file.name);

/** Photographs of a drop, if there are any. */
export const photosOf = (event) => [...(event.dataTransfer?.files ?? [])].filter(isPhoto);

/** Asks for photographs of a powder's grains, and for their scale. */
export function openPhotos(i, files = []) {
  let chosen = files;
  const powder = bench.answer.report.powders[i].name;
  const last = storedScale() ?? { by: "pixel", text: "" };
  const by = choice(
    "photo-by",
    "Scale, by",
    Object.entries(SCALES).map(([key, { text }]) => option(key, text)),
  );
  const typed = make("input", { id: "photo-scale", type: "text", autocomplete: "off", value: last.text, required: true });
  const names = make("ul", { class: "source", id: "photo-names" });
  const ground = choice("photo-ground", "Ground", [option("", "as the picture says"), option("light"), option("dark")]);
  const take = (files) => {
    if (files.length) list(files);
  };
  /** What is chosen, each with a way out of the choice again. */
  const list = (files) => {
    chosen = files;
    names.replaceChildren(...files.map(entry));
    outdate();
  };
  const entry = (file) => {
    const leaveOut = () => {
      list(chosen.filter((f) => f !== file));
      (names.querySelector("button") ?? byId("photo-file")).focus();
    };
    const words = make("span", { class: "unseen" }, `: ${file.name}`);
    return make("li", {}, file.name, " ", make("button", { type: "button", class: "quiet", onclick: leaveOut }, "Leave it out", words));
  };
  const input = (id, attributes) => {
    const taken = () => take([...control.files]);
    const control = make("input", { id, type: "file", accept: "image/*", onchange: taken, ...attributes });
    // The same file can be chosen again once it was left out.
    control.addEventListener("click", () => (control.value = ""));
    return control;
  };
  const box = make(
    "div",
    { class: "drop" },
    make("label", { class: "box", for: "photo-file" }, "drop photographs here, or choose them (PNG, JPEG, TIFF)", input("photo-file", { multiple: true })),
    make("label", { class: "box", for: "photo-camera" }, "or take one with the camera", input("photo-camera", { capture: "environment" })),
    names,
  );
  const form = make(
    "form",
    { id: "photo" },
    make(
      "p",
      { class: "source" },
      "Spread 30 to 500 grains so that they do not touch, on a ground much lighter or darker than they are, in focus, from straight above. " +
        "For roundness a grain has to be 80 pixels across at least.",
    ),
    box,
    make(
      "div",
      { class: "row" },
      by,
      make("label", { class: "box", for: "photo-scale" }, "Scale", typed),
      ground,
    ),
    make("button", { type: "submit", class: "strong", id: "photo-measure" }, "Measure the grains"),
    make("div", { id: "photo-told", "aria-live": "polite" }),
  );
  form.addEventListener("drop", (event) => {
    event.preventDefault();
    take(photosOf(event));
  });
  const select = by.querySelector("select");
  select.value = last.by;
  const hint = () => (typed.placeholder = SCALES[select.value].example);
  select.addEventListener("change", hint);
  hint();
  // What was found is of the scale and ground that were said.
  form.addEventListener("input", (event) => event.target.type === "file" || outdate());
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    attempt(() => measure(i, chosen, select.value, typed.value, ground.querySelector("select").value), tell);
  });
  openDialog(`Roundness of ${powder}, on photographs`, form);
  // It is told of a dialog before this one, too.
  byId("dialog").onclose = () => byId("dialog").open || forget();
  take(files);
  byId(files.length ? "photo-scale" : "photo-file").focus();
}

/** What is wrong stands under the button that asked. */
function tell(error) {
  if (error && byId("photo-told")) byId("photo-told").replaceChildren(make("p", { class: "error", role: "alert" }, error));
}

/** What was found, or is being looked for, is of another choice. */
function outdate() {
  forget();
  byId("photo-told")?.replaceChildren();
}

function forget() {
  turn += 1;
  shown.forEach((address) => URL.revokeObjectURL(address));
  shown = [];
}

async function measure(i, files, by, typed, ground) {
  if (!files.length) return tell("Choose a photograph first.");
  const scale = SCALES[by].of(typed);
  if (Object.values(scale)[0] === null) return tell(`Scale: a number is wanted, such as ${SCALES[by].example}.`);
  forget();
  const mine = turn;
  byId("photo-told").replaceChildren(make("p", {}, "Looking at the grains …"));
  const ask = { photos: files.map((f) => ({ name: f.name, bytes: f.size })), scale, draft: bench.draft, powder: i };
  if (ground) ask.ground = ground;
  const answer = await call("grains", new Blob([`${JSON.stringify(ask)}\n`, ...files]));
  // Whoever closed the dialog meanwhile does not want it any more.
  if (mine !== turn || !byId("photo-told")) return;
  storeScale(by, typed);
  byId("photo-told").replaceChildren(...found(answer, i));
}

/** What was found, and the button that takes it. */
function found({ report, pictures, values }, i) {
  const { sample, photos, cautions } = report;
  const take = make("button", { type: "button", class: "strong", id: "photo-take", onclick: () => takeIn(values, sample, i) });
  take.textContent = "Take this roundness";
  return [
    make("p", { class: "sizes", id: "photo-roundness" }, roundnessSaid(sample)),
    values ? take : "",
    make("ul", {}, [...photos.map(photoSaid), ...moreSaid(sample)].map((text) => make("li", {}, text))),
    cautions.length ? make("ul", { class: "cautions", id: "photo-cautions" }, cautions.map((c) => make("li", {}, sentence(c)))) : "",
    ...pictures.map((svg, at) => outlines(svg, photos[at])),
    values ? classes(sample.classes) : "",
  ];
}

function roundnessSaid({ roundness, roundness_low: low, roundness_high: high, grains_used: used, grains }) {
  if (roundness === null) return `Roundness cannot be told: none of ${grains} grains has enough pixels and lies alone.`;
  return `Roundness ${number(roundness)} (90 % between ${number(low)} and ${number(high)}), median of ${used} of ${grains} grains`;
}

function photoSaid({ file, grains, um_per_pixel: um, scale_from: from, ground, split, cut, dust, faint }) {
  const left = [
    [split, "touched and were split: size only"],
    [cut, "cut by the edge"],
    [dust, "dust"],
    [faint, "too faint"],
  ].flatMap(([count, why]) => (count ? `${count} ${why}` : []));
  return `${file}: ${grains} grains on ${ground} ground, ${number(um, 4)} µm a pixel (${from})${left.length ? `; ${left.join(", ")}` : ""}`;
}

function moreSaid({ roundness, grains, grains_used: used, grains_wanted_roundness: wanted, grains_wanted_size: forSize, size }) {
  const said = [];
  if (roundness !== null) {
    const more = wanted - used;
    said.push(more > 0 ? `${more} grains more would give the roundness to within 10 %` : "grains enough for the roundness to within 10 %");
  }
  if (size) {
    const { d10_um: d10, d50_um: d50, d90_um: d90 } = size.percentiles;
    const more = (forSize ?? 0) - grains;
    const wanting = more > 0 ? `; ${more} grains more would give D50 to within 10 %` : "";
    said.push(`by volume D10 ${number(d10)} · D50 ${number(d50)} · D90 ${number(d90)} µm${wanting}`);
  }
  return said;
}

function classes(all) {
  const row = ({ class: name, low, high, grains }) =>
    make(
      "tr",
      {},
      make("th", { scope: "row" }, name),
      make("td", {}, `${number(low, 2)} to ${number(high, 2)}`),
      make("td", {}, String(grains)),
    );
  return make("div", { class: "wide" }, table(["Powers class", "roundness", "grains"], all.map(row)));
}

/** The photograph with what was measured drawn on it. */
function outlines(svg, { file, grains }) {
  const address = URL.createObjectURL(new Blob([svg], { type: "image/svg+xml" }));
  shown.push(address);
  const words = `Outlines, numbers and circles of the corners of ${grains} grains on ${file}`;
  return make(
    "figure",
    { class: "outlines" },
    make("img", { src: address, alt: words }),
    make("figcaption", { class: "source" }, `${file}: blue outlines, corner circles in orange; yellow dashes where the roundness is not told`),
  );
}

async function takeIn(values, sample, i) {
  const control = byId(`p${i}-photo`);
  const powder = bench.answer.report.powders[i].name;
  byId("dialog").close();
  if (!(await edit(ofPowder(i, values), { control }))) return;
  say(`Roundness of ${powder} from ${sample.grains_used} grains: ${number(sample.roundness)}; undo brings back the one before.`);
}
