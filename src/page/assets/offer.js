// Work that was not saved, offered back: what the browser remembers of drafts, of a shelf, an aim, and of kept versions of this folder.

import { resumeAim } from "./aims.js";
import { bench, begin, isChanged, keep, unsaved } from "./bench.js";
import { Refused } from "./call.js";
import { folder, mayLeave } from "./files.js";
import { byId, make } from "./make.js";
import { seek } from "./seek.js";
import { resumeShelf } from "./shelf.js";
import { dropDraft, nextDraft, storeDraft, storeKept, storedDrafts, storedFiles, storedKept } from "./store.js";
import { attempt } from "./talk.js";

/** Whether what is in hand is safe: on disk, or remembered. */
export let isSafe = true;

/** Remembers what is in hand and what is kept, as far as it is not on disk. */
export function rememberAll(what) {
  if (what === "begun") nextDraft();
  if (isChanged()) isSafe = storeDraft(bench.draft, bench.base, unsaved()?.length ?? null, bench.answer.report.scrub.name);
  else {
    dropDraft();
    isSafe = true;
  }
  if (what === "kept") storeKept(bench.kept.map((k) => k.draft));
}

/** Keeps again what was kept when the page was left. */
export async function keepAgain() {
  for (const draft of storedKept()) await keep(draft).catch(() => {});
}

/** What was not saved, with a way to take it in hand. */
export function showOffers() {
  const all = [...storedDrafts(), ...storedFiles()];
  const box = byId("offers");
  const at = [...box.querySelectorAll("li")].findIndex((line) => line.contains(document.activeElement));
  box.hidden = all.length === 0;
  box.replaceChildren(
    make("h2", {}, "Not saved when it was left"),
    make("ul", {}, all.map(offer)),
  );
  if (at >= 0) goOn(box.querySelectorAll("li")[Math.min(at, all.length - 1)]);
}

/** From a line that went the focus goes to the next one; from the last to the scrub in hand, or to the list of scrubs. */
function goOn(line) {
  const inHand = [byId("scrub-name"), byId("folder-box").querySelector("summary")];
  const next = [line?.querySelector("button"), ...inHand].find((e) => e?.checkVisibility());
  next?.focus();
}

/** Takes in hand again what was remembered, by its kind; whether it is. */
const RESUME = {
  async scrub({ draft, base }) {
    const may = await mayLeave();
    if (may) await begin(draft, base);
    return may;
  },
  shelf: resumeShelf,
  async aim(entry) {
    if (bench.answer === null) throw new Refused(0, { error: "Take a scrub in hand first: a blend is looked for beside it." });
    return seek(folder) && resumeAim(entry);
  },
};

function offer({ kind = "scrub", ...entry }) {
  const { key, draft, changes, at, name } = entry;
  // One that has no file yet goes by its name.
  const called = changes === null && name ? name : draft.file;
  const when = new Intl.DateTimeFormat(undefined, { dateStyle: "medium", timeStyle: "short" }).format(at);
  const told = changes === null ? `a new ${kind}` : changes === 1 ? "1 change" : `${changes} changes`;
  const take = async () => {
    if (!(await RESUME[kind](entry))) return;
    dropDraft(key);
    showOffers();
  };
  const drop = () => {
    dropDraft(key);
    showOffers();
  };
  const unseen = () => make("span", { class: "unseen" }, `: ${called}, ${when}`);
  const button = (label, className, onclick) => make("button", { type: "button", class: className, onclick }, label, unseen());
  return make(
    "li",
    { "data-offer": draft.file },
    make("span", {}, `${called}: ${told}, ${when}`),
    " ",
    button("Take in hand", "", () => attempt(take)),
    button("Throw away", "quiet", drop),
  );
}
