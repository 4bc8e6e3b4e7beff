// What the browser remembers of a folder for itself: drafts that are not saved, and the versions kept. It outlives a reload, a crash
// and a new start of the server; nothing of it is written to disk unless the maker saves it.

const HEAD = "gritwise";
/** Drafts that are remembered; of more the oldest go. */
const MOST = 20;
let folder = "";
/** The entry of the scrub in hand: another one of each opening, so that none is written over. */
let own = "";
/** This page, whose entries of a shelf and an aim are its own. */
const PAGE = crypto.randomUUID().slice(0, 8);

export const useFolder = (id) => (folder = id);

const drafts = () => `${HEAD}:${folder}:draft:`;
const files = () => `${HEAD}:${folder}:file:`;
const ownFile = (kind) => `${files()}${kind}:${PAGE}`;
const keptKey = () => `${HEAD}:${folder}:kept`;

function read(key) {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
}

/** Whether it is remembered: a browser may have no room, or be told to remember nothing. */
function write(key, value) {
  try {
    localStorage.setItem(key, JSON.stringify(value));
    return true;
  } catch {
    return false;
  }
}

/** Another scrub is in hand. */
export function nextDraft() {
  own = `${drafts()}${Date.now()}-${crypto.randomUUID().slice(0, 8)}`;
}

/** Remembers the draft in hand, with the name of its scrub; whether that went well. */
export function storeDraft(draft, base, changes, name) {
  return storeAs(own, storedDrafts(), { draft, base, changes, name });
}

/** Remembers a file in hand that is no scrub, by its kind, as an entry with its draft; whether that went well. */
export const storeFile = (kind, entry) => storeAs(ownFile(kind), storedFiles(), { kind, ...entry });
export const dropFile = (kind) => dropDraft(ownFile(kind));

function storeAs(key, others, entry) {
  others.slice(0, Math.max(0, others.length + 1 - MOST)).forEach((d) => dropDraft(d.key));
  return write(key, { ...entry, at: Date.now() });
}

export function dropDraft(key = own) {
  try {
    localStorage.removeItem(key);
  } catch {
    // A browser that remembers nothing has nothing to forget.
  }
}

/** Every draft that is remembered but for that in hand, the oldest first. */
export const storedDrafts = () => stored(drafts(), (key) => key === own);
/** The same of other files. */
export const storedFiles = () => stored(files(), (key) => key.endsWith(`:${PAGE}`));

function stored(head, isInHand) {
  let keys = [];
  try {
    keys = Object.keys(localStorage).filter((key) => key.startsWith(head) && !isInHand(key));
  } catch {
    return [];
  }
  const entries = keys.map((key) => ({ key, ...read(key) })).filter((entry) => entry.draft?.file);
  return entries.sort((a, b) => a.at - b.at);
}

export const storeKept = (all) => write(keptKey(), all);
export const storedKept = () => read(keptKey()) ?? [];

/** The openings of the maker's own sieves, µm. */
export const storeSieves = (openings) => write(`${HEAD}:sieves`, openings);
export const storedSieves = () => read(`${HEAD}:sieves`);

/** By what a photograph's scale was told last, and what was typed: a microscope stays the same. */
export const storeScale = (by, text) => write(`${HEAD}:scale`, { by, text });
export const storedScale = () => read(`${HEAD}:scale`);
