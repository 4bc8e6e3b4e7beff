// The powders of the scrub in hand: share, parts, grade, grains. Cards are built anew only when what they consist of changes;
// otherwise their values are filled in, so that nothing moves under the pointer or loses the focus.

import { bench, tableOf } from "./bench.js";
import { edit, forgive, live, numberBox, pickers, put, rebuild, textBox } from "./controls.js";
import { fillGrade, gradeOf } from "./grade.js";
import { fillGrains, grains } from "./grains.js";
import { byId, make, number } from "./make.js";

let built = "";

/** What a size is stated by; a change of it needs other controls. */
const outline = ({ definition, forms }) =>
  JSON.stringify([
    bench.draft.file,
    forms,
    definition.powder.map((p) => [p.material, Object.keys(p), Object.keys(p.size ?? {}), p.size.mesh, tableOf(p.size)]),
  ]);

export function showPowders() {
  forgive(byId("making"));
  const { answer } = bench;
  const now = outline(answer);
  if (now !== built) rebuild(() => build(answer));
  else fill(answer);
  built = now;
}

function build(answer) {
  const open = new Set([...document.querySelectorAll("#powders details[open]")].map((d) => d.id));
  byId("scrub-head").replaceChildren(...head(answer));
  byId("powders").replaceChildren(...answer.definition.powder.map((powder, i) => card(answer, powder, i)));
  open.forEach((id) => byId(id)?.setAttribute("open", ""));
  fill(answer);
}

function head({ definition }) {
  const scrub = (key) => (value) => [{ do: "scrub", values: { [key]: value } }];
  const load = scrub("powder_load_pct");
  const slider = make("input", {
    id: "load-slide",
    type: "range",
    min: "0.5",
    max: "60",
    step: "0.5",
    "aria-label": "Powder load, % of the scrub",
  });
  byId("scrub-head").dataset.errors = "";
  return [
    textBox("scrub-name", "Name", definition.scrub.name, scrub("name")),
    make(
      "div",
      { class: "row" },
      make(
        "span",
        { class: "grow" },
        make("span", { class: "label" }, "Powder load"),
        live(slider, (v) => load(Number(v))),
      ),
      numberBox("load", "% of the scrub", definition.scrub.powder_load_pct, load),
    ),
    make("p", { class: "error", role: "alert" }),
  ];
}

function card(answer, powder, i) {
  const id = (name) => `p${i}-${name}`;
  const slider = make("input", {
    id: id("share"),
    type: "range",
    min: "0.1",
    max: "99.9",
    step: "0.1",
    "aria-label": `Share of powder ${i + 1}, % of the powders`,
  });
  const share = (v) => [{ do: "share", powder: i, pct: Number(v) }];
  const alone = answer.definition.powder.length === 1;
  slider.disabled = alone;
  const remove = make(
    "button",
    { type: "button", class: "quiet", id: id("remove"), disabled: alone, onclick: () => takeOut(i, remove) },
    "Take out",
  );
  return make(
    "li",
    { class: "card", "data-errors": "" },
    make(
      "div",
      { class: "row named" },
      make("span", { class: "chip", id: id("chip"), "aria-hidden": "true" }),
      make("h3", { id: id("title"), class: "grow" }),
      remove,
    ),
    make("span", { class: "label" }, "Share"),
    live(slider, share),
    make(
      "div",
      { class: "row" },
      numberBox(id("pct"), "% of powders", null, share, { disabled: alone }),
      numberBox(id("parts"), "parts", powder.parts, (v) => [{ do: "powder", powder: i, values: { parts: v } }]),
    ),
    make("p", { class: "error", role: "alert" }),
    gradeOf(answer.forms[i], powder.size, i),
    grains(powder, i),
  );
}

async function takeOut(i, control) {
  if (!(await edit([{ do: "remove", powder: i }], { control }))) return;
  // The focus goes on to the neighbour that took the place, or to what can still be done.
  const next = [byId(`p${i}-remove`), byId(`p${i - 1}-remove`), byId("add")].find((b) => b && !b.disabled);
  next.focus();
}

/** Puts the values of the answer into the controls. */
function fill({ definition, report, charts, forms }) {
  put("scrub-name", definition.scrub.name);
  put("load", definition.scrub.powder_load_pct);
  put("load-slide", definition.scrub.powder_load_pct);
  const pens = new Map(charts.charts[0].curves.filter((c) => c.powder !== null).map((c) => [c.powder, c.key]));
  report.powders.forEach((powder, i) => {
    const stated = definition.powder[i];
    byId(`p${i}-title`).textContent = powder.name;
    byId(`p${i}-chip`).className = `chip ${pens.get(i) ?? "powder-other"}`;
    put(`p${i}-share`, powder.mass_pct);
    put(`p${i}-pct`, number(powder.mass_pct));
    put(`p${i}-parts`, stated.parts);
    byId(`p${i}-share`).setAttribute("aria-valuetext", `${powder.name}, ${number(powder.mass_pct)} %`);
    fillGrade(stated.size, forms[i], powder, i);
    fillGrains(stated, powder, i);
  });
}

export const addPowder = (control) =>
  edit([{ do: "add", values: newPowder() }], { control }).then(() =>
    byId(`p${bench.answer.definition.powder.length - 1}-material`)
      ?.closest("details")
      .setAttribute("open", ""),
  );

/** A powder to start from, under a name that no other has. */
function newPowder() {
  const taken = bench.answer.report.powders.map((p) => p.name);
  const material = pickers.materials.find((m) => !m.refused && !taken.includes(m.name));
  return { material: material.key, parts: 1, size: { d50_um: 100, gsd: 1.5 } };
}
