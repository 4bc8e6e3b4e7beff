// What the browser remembers of a folder for itself: drafts that are not saved, and the versions kept. It outlives a reload, a crash
// and a new start of the server; nothing of it is written to disk unless the maker saves it.

const HEAD = "gritwise";
/** Drafts that are remembered; of more the oldest go. */
const MOST = 20;
let folder = "";
/** The entry of the scrub in hand: another one of each opening, so that none is written over. */
let own = "";

export const useFolder = (id) => (folder = id);

const drafts = () => `${HEAD}:${folder}:draft:`;
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

/** Remembers the draft in hand; whether that went well. */
export function storeDraft(draft, base, changes) {
  const all = storedDrafts();
  all.slice(0, Math.max(0, all.length + 1 - MOST)).forEach((d) => dropDraft(d.key));
  return write(own, { draft, base, changes, at: Date.now() });
}

export function dropDraft(key = own) {
  try {
    localStorage.removeItem(key);
  } catch {
    // A browser that remembers nothing has nothing to forget.
  }
}

/** Every draft that is remembered but for that in hand, the oldest first. */
export function storedDrafts() {
  let keys = [];
  try {
    keys = Object.keys(localStorage).filter((key) => key.startsWith(drafts()) && key !== own);
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
