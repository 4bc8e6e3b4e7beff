// The scrub in hand: a draft (the text of its file), what the program says of it, what was before, what is kept beside it.

import { Refused, call, remember } from "./call.js";
import { withoutPlace } from "./refused.js";
import { LAYOUT } from "./saved.js";

export const bench = {
  draft: null,
  base: null, // what the file held when it was opened or saved; null for one that is new
  answer: null,
  kept: [], // { slot, name, draft, report, charts }, as they were when they were kept
  tables: [], // { name, text } of every table that was taken in hand since the scrub was
  lost: "", // why what the answer was made from cannot be read any more
};

const watchers = [];
export const watch = (watcher) => watchers.push(watcher);
const tell = (what) => watchers.forEach((watcher) => watcher(what));

// Steps are { draft, name }: a text with its tables, and what made it of the one before. Which file they go to is the bench's own
// matter.
let past = [];
let place = -1;
let lastGesture = null;
let waiting = [];
let scheduled = false;
let queue = Promise.resolve();

/** One thing after the other: what an answer is about must still be in hand when it comes. */
function inTurn(work) {
  const done = queue.then(work);
  queue = done.catch(() => {});
  return done;
}

/** When all that was asked for before is done. */
export const settled = () => inTurn(() => {});
export const isBusy = () => scheduled;

/** What undo and redo would do, in words; null where there is nothing to do. */
export const undoes = () => (place > 0 ? past[place].name : null);
export const redoes = () => past[place + 1]?.name ?? null;
export const isChanged = () =>
  bench.draft !== null && (bench.draft.text !== bench.base || bench.draft.tables.length > 0);

/** What is not saved: values that differ from the disk's, and tables that are not on disk; null where nothing is on disk. */
export function unsaved() {
  if (bench.base === null) return null;
  const tables = bench.draft.tables.map((t) => ({ what: `table ${t.name}`, before: null, after: "in hand" }));
  const values = bench.answer.unsaved;
  return values.length + tables.length > 0 || !isChanged() ? [...values, ...tables] : [LAYOUT];
}

/** From the finest to the coarsest size of what is kept. */
function reach(kept) {
  const ends = kept.flatMap((k) => [k.charts.sizes_um[0], k.charts.sizes_um.at(-1)]);
  return ends.length ? { range_um: [Math.min(...ends), Math.max(...ends)] } : {};
}

/**
 * What is asked about a draft; the disk's text, to be told what is not saved; the tables that the answer before was made from, to be
 * told when one is another now.
 */
const request = (draft, more = {}) =>
  call("assess", {
    draft,
    base: bench.base,
    ...reach(bench.kept),
    tables_read: bench.answer?.tables_read ?? {},
    ...more,
  });

/** The table that a size is measured by, if it is. */
export const tableOf = (size) => size?.sieve ?? size?.laser ?? size?.counts;

/** The tables in hand are those that the scrub uses; the others can still be chosen. */
function take(answer) {
  const used = answer.definition.powder.map((p) => tableOf(p.size));
  const names = answer.draft.tables.map((t) => t.name);
  bench.tables = [...bench.tables.filter((t) => !names.includes(t.name)), ...answer.draft.tables];
  bench.answer = answer;
  bench.lost = "";
  bench.draft = { ...answer.draft, tables: answer.draft.tables.filter((t) => used.includes(t.name)) };
}

/** Takes a draft in hand; `base` is what is on disk. */
export const begin = (draft, base) =>
  inTurn(async () => {
    const answer = await request(draft, { base, tables_read: {} });
    bench.tables = [];
    bench.base = base;
    take(answer);
    past = [{ draft: bench.draft, name: null }];
    place = 0;
    lastGesture = null;
    remember(base === null ? null : draft.file);
    tell("begun");
  });

/** Makes changes. Those of one gesture are one step to undo; of those that wait for a call to end only the latest counts. */
export function change(edits, gesture, more) {
  const slot = JSON.stringify([gesture, edits.map((e) => [e.do, e.powder, e.at, Object.keys(e.values ?? {})])]);
  const overtaken = (w) => gesture !== undefined && w.slot === slot;
  waiting.filter(overtaken).forEach((w) => w.resolve());
  waiting = waiting.filter((w) => !overtaken(w));
  const entry = { edits, gesture, more, slot };
  const done = new Promise((resolve, reject) => Object.assign(entry, { resolve, reject }));
  waiting.push(entry);
  tell("asked");
  if (!scheduled) inTurn(run);
  scheduled = true;
  return done;
}

async function run() {
  while (waiting.length > 0) await make(waiting.shift());
  scheduled = false;
}

async function make({ edits, gesture, more, resolve, reject }) {
  const added = more?.tables ?? [];
  const others = bench.draft.tables.filter((t) => !added.some((n) => n.name === t.name));
  const draft = { ...bench.draft, tables: [...others, ...added] };
  const joins = gesture !== undefined && gesture === lastGesture && place > 0;
  const since = past[joins ? place - 1 : place].draft.text;
  try {
    take(await request(draft, { edits, since }));
    record(nameOf(bench.answer.step), gesture);
    tell("changed");
    resolve();
  } catch (error) {
    reject(bench.base === null ? withoutPlace(error, bench.draft.file) : error);
  }
}

/** A step in few words. */
function nameOf(step) {
  if (step.length === 0) return "a table";
  const [{ what, before, after }] = step;
  const more = step.length > 1 ? ` and ${step.length - 1} more` : "";
  if (before === null) return `${what}${after === "in it" ? " put in" : `, ${after}`}${more}`;
  if (after === null) return `${what} taken out${more}`;
  return more ? `${what}${more}` : `${what}, ${before} to ${after}`;
}

const asStep = ({ text, tables }) => JSON.stringify([text, tables.map((t) => [t.name, t.text])]);

function record(name, gesture) {
  if (asStep(past[place].draft) === asStep(bench.draft)) return;
  const same = gesture !== undefined && gesture === lastGesture;
  past.length = place + 1;
  if (same && place > 0) past[place] = { draft: bench.draft, name };
  else {
    past.push({ draft: bench.draft, name });
    place += 1;
  }
  lastGesture = gesture ?? null;
}

/** Works the draft out again, from the tables as they are on disk now: no step, since nothing of it is another. */
export const reckonAgain = () =>
  inTurn(async () => {
    take(await request(bench.draft));
    tell("changed");
  });

/** What the answer was made from cannot be read any more. */
export function lost(why) {
  if (bench.lost === why) return;
  bench.lost = why;
  tell("lost");
}

/** Puts text and tables of another draft in the place of those in hand; the file stays. */
async function swap({ text, tables }) {
  take(await request({ ...bench.draft, text, tables }));
}

/** The same as one more step of that name, which undo takes back. */
export const replace = (draft, name) =>
  inTurn(async () => {
    await swap(draft);
    record(name);
    tell("changed");
  });

/** Takes what is on disk now, as one more step: undo brings back what was in hand. */
export const takeDisk = (text) =>
  inTurn(async () => {
    const before = bench.base;
    bench.base = text;
    try {
      await swap({ text, tables: [] });
    } catch (error) {
      bench.base = before;
      throw error;
    }
    record("what the disk held");
    tell("changed");
  });

const step = (by) =>
  inTurn(async () => {
    const to = past[place + by];
    if (!to) return;
    await swap(to.draft);
    place += by;
    lastGesture = null;
    tell("changed");
  });

export const undo = () => step(-1);
export const redo = () => step(1);

/** Each that is kept has a place, and with it a line of its own in the pictures. */
export const SLOTS = [1, 2, 3, 4, 5];

/** Keeps a draft, or the one in hand, as it is now. It is assessed once; no later call depends on it. */
export const keep = (draft) =>
  inTurn(async () => {
    const slot = SLOTS.find((s) => !bench.kept.some((k) => k.slot === s));
    if (!slot) throw new Refused(0, { error: `${SLOTS.length} scrubs are kept already; let one go first.` });
    const kept = draft ?? bench.draft;
    const { report, charts } = await call("assess", { draft: kept });
    const names = bench.kept.map((k) => k.name);
    let name = report.scrub.name;
    for (let i = 2; names.includes(name); i += 1) name = `${report.scrub.name} (${i})`;
    const all = [...bench.kept, { slot, name, draft: kept, report, charts }];
    // The curves in hand must reach as far.
    if (bench.draft) take(await request(bench.draft, reach(all)));
    bench.kept = all;
    if (bench.draft) tell("kept");
  });

export function letGo(slot) {
  bench.kept = bench.kept.filter((k) => k.slot !== slot);
  tell("kept");
}

/** Writes the draft; `base` is what the disk must hold for that. What is there and was not in hand becomes the step before. */
export const save = (file, base) =>
  inTurn(async () => {
    const saved = await call("save", { draft: { ...bench.draft, file }, base });
    const theirs = base !== null && base !== bench.base ? { file, text: base, tables: [] } : null;
    bench.draft = saved;
    bench.base = saved.text;
    bench.answer.unsaved = [];
    past[place] = { ...past[place], draft: saved };
    if (theirs) {
      past.splice(place, 1, { draft: theirs, name: past[place].name }, { draft: saved, name: "what the disk held" });
      place += 1;
    }
    remember(file);
    tell("saved");
  });

/** What was kept first held against the scrub in hand. */
export const compared = () => call("compare", { drafts: [bench.kept[0].draft, bench.draft] });
