// Work that was not saved, offered back: what the browser remembers of drafts and kept versions of this folder.

import { bench, begin, isChanged, keep, unsaved } from "./bench.js";
import { mayLeave } from "./files.js";
import { byId, make } from "./make.js";
import { dropDraft, nextDraft, storeDraft, storeKept, storedDrafts, storedKept } from "./store.js";
import { attempt } from "./talk.js";

/** Whether what is in hand is safe: on disk, or remembered. */
export let isSafe = true;

/** Remembers what is in hand and what is kept, as far as it is not on disk. */
export function rememberAll(what) {
  if (what === "begun") nextDraft();
  if (isChanged()) isSafe = storeDraft(bench.draft, bench.base, unsaved()?.length ?? null);
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
  const all = storedDrafts();
  byId("offers").hidden = all.length === 0;
  byId("offers").replaceChildren(
    make("h2", {}, "Not saved when it was left"),
    make("ul", {}, all.map(offer)),
  );
}

function offer({ key, draft, base, changes, at }) {
  const when = new Intl.DateTimeFormat(undefined, { dateStyle: "medium", timeStyle: "short" }).format(at);
  const told = changes === null ? "a new scrub" : changes === 1 ? "1 change" : `${changes} changes`;
  const take = async () => {
    if (!(await mayLeave())) return;
    await begin(draft, base);
    dropDraft(key);
    showOffers();
  };
  const drop = () => {
    dropDraft(key);
    showOffers();
  };
  const unseen = () => make("span", { class: "unseen" }, `: ${draft.file}, ${when}`);
  const button = (label, className, onclick) => make("button", { type: "button", class: className, onclick }, label, unseen());
  return make(
    "li",
    { "data-offer": draft.file },
    make("span", {}, `${draft.file}: ${told}, ${when}`),
    " ",
    button("Take in hand", "", () => attempt(take)),
    button("Throw away", "quiet", drop),
  );
}
