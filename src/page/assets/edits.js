// Edits of the scrub file that several parts of the page ask for, in the words of `files::edit`.

export const ofPowder = (i, values) => [{ do: "powder", powder: i, values }];
export const sized = (i, size) => ofPowder(i, { size });
export const setAt = (at, values) => ({ do: "set", at, values });
