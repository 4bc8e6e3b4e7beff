// What a figure means, in words for makers, one key or tap away at the figure.

import { make, sentence } from "./make.js";

const MEANINGS = {
  band: [
    "the band",
    "The mildest of the bands whose limits the scrub keeps: every groove ratio, the index and the coarse end must be within them. The " +
      "limits are this program's convention. Beyond skin use: harsher than every band.",
  ],
  sure: [
    "how sure",
    "Hardness, shape, sizes and skin are not known exactly. So many of 100 draws over all that is uncertain fall into this band or a " +
      "milder one; label the band that nine in ten meet.",
  ],
  index: [
    "the abrasiveness index",
    "How much the grains wear off along a metre of rubbing on the face, against a reference scrub of 100. A model under stated " +
      "assumptions, for ranking scrubs: not a clinical measure.",
  ],
  groove_ratio: [
    "the groove ratio",
    "How deep 95 % of the grooves stay, against the horny layer, the dead outer skin: 0.3 means that they stay within three tenths of " +
      "its thickness. A model, not a clinical measure.",
  ],
  d99_um: [
    "D99",
    "The size that 99 % of the grains, by volume, are finer than. The few coarsest grains scratch most and are felt first.",
  ],
  not_on_face_pct: [
    "the share kept off the face",
    "How much of the powders, by mass, is of materials that the trade does not use on the face.",
  ],
  sizes: [
    "D10, D50 and D90",
    "Of the grains, by volume, 10 %, half and 90 % are finer than these sizes. D50 is the middle; D10 and D90 tell how wide the powder is.",
  ],
  curves: [
    "the curves",
    "Above: how much there is of each size. Middle: how much is finer. Below: which grains do the work, by the model. Move the pointer " +
      "or the slider to read all three at one size.",
  ],
  load: [
    "the powder load",
    "All powders together, in percent of the finished scrub by weight. More grains share the pressure, and wear off more in all.",
  ],
  parts: [
    "where the index comes from",
    "A powder's part in the wear of the model. A few percent of hard, coarse, angular grains can do most of it.",
  ],
  grains: [
    "hardness, density and roundness",
    "Harder grains cut deeper; denser ones are fewer in a gram and sink sooner; roundness says how blunt the corners are, from near 0, " +
      "splinters, to 1, balls.",
  ],
};

/** Those that are open; what is shown anew stays open. */
const open = new Set();

export function what(key, n = "") {
  const [name, text] = MEANINGS[key];
  const id = `${key}${n}`;
  const box = make(
    "details",
    { class: "what", open: open.has(id) },
    make("summary", {}, "?", make("span", { class: "unseen" }, ` What it means: ${name}`)),
    make("p", {}, sentence(text)),
  );
  box.addEventListener("toggle", () => (box.open ? open.add(id) : open.delete(id)));
  return box;
}

/** A heading with what it means beside it. */
export const explained = (heading, key) => make("div", { class: "said headed" }, heading, what(key));

export const hasMeaning = (key) => key in MEANINGS;
