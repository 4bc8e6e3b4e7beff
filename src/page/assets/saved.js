// Whether a file is saved, in words, and what of it is not.

import { make } from "./make.js";

const counted = (n) => (n === 1 ? "1 change" : `${n} changes`);

/** `differences` from the disk: null where the file is not there yet, empty where all is saved. */
export const savedSaid = (differences, name) =>
  differences === null ? `Not saved: a new ${name}` : differences.length ? `Not saved: ${counted(differences.length)}` : "Saved";

/** What differs, a line each. */
export const savedLines = (differences) =>
  differences.map(({ what, before, after }) =>
    make("li", {}, make("strong", {}, what), `: ${before ?? "nothing"} on disk, ${after ?? "nothing"} here`),
  );

/** A text that differs in nothing that is said. */
export const LAYOUT = { what: "how the text is laid out", before: "otherwise", after: "as in hand" };
