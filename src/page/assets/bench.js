// The scrub in hand: a draft (the text of its file), what the program says of it, what was before, what is kept beside it.

import { call } from "./call.js";

export const bench = {
  draft: null,
  base: null, // what the file held when it was opened; null for one that is new
  answer: null,
  kept: [], // { name, draft, report }
};

const watchers = [];
export const watch = (watcher) => watchers.push(watcher);
const tell = (what) => watchers.forEach((watcher) => watcher(what));

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

export const canUndo = () => place > 0;
export const canRedo = () => place < past.length - 1;
export const isChanged = () =>
  bench.draft !== null && (bench.draft.text !== bench.base || bench.draft.tables.length > 0);

const request = (draft, more = {}) => call("assess", { draft, kept: bench.kept.map((k) => k.draft), ...more });

function take(answer) {
  bench.answer = answer;
  bench.draft = answer.draft;
}

/** Takes a draft in hand; `base` is what is on disk. */
export const begin = (draft, base) =>
  inTurn(async () => {
    take(await request(draft));
    bench.base = base;
    past = [bench.draft];
    place = 0;
    lastGesture = null;
    tell("begun");
  });

/** Makes changes. Those of one gesture are one step to undo; of those that wait for a call to end only the latest counts. */
export function change(edits, gesture, more) {
  const slot = JSON.stringify([gesture, edits.map((e) => [e.do, e.powder, Object.keys(e.values ?? {})])]);
  const overtaken = (w) => gesture !== undefined && w.slot === slot;
  waiting.filter(overtaken).forEach((w) => w.resolve());
  waiting = waiting.filter((w) => !overtaken(w));
  const entry = { edits, gesture, more, slot };
  const done = new Promise((resolve, reject) => Object.assign(entry, { resolve, reject }));
  waiting.push(entry);
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
  try {
    take(await request(draft, { edits, ...(more?.restate ? { restate: more.restate } : {}) }));
    remember(gesture);
    tell("changed");
    resolve();
  } catch (error) {
    reject(error);
  }
}

function remember(gesture) {
  const { text, tables } = past[place];
  if (text === bench.draft.text && tables.length === bench.draft.tables.length) return;
  const same = gesture !== undefined && gesture === lastGesture;
  past.length = place + 1;
  if (same && place > 0) past[place] = bench.draft;
  else {
    past.push(bench.draft);
    place += 1;
  }
  lastGesture = gesture ?? null;
}

const step = (by) =>
  inTurn(async () => {
    const index = place + by;
    if (!past[index]) return;
    take(await request(past[index]));
    place = index;
    lastGesture = null;
    tell("changed");
  });

export const undo = () => step(-1);
export const redo = () => step(1);

/** Most that are laid over each other. */
export const MOST_KEPT = 5;

export async function keep(draft, report) {
  const names = bench.kept.map((k) => k.name);
  let name = report.scrub.name;
  for (let i = 2; names.includes(name); i += 1) name = `${report.scrub.name} (${i})`;
  bench.kept.push({ name, draft, report });
  await again();
}

export async function letGo(index) {
  bench.kept.splice(index, 1);
  await again();
}

const again = () =>
  inTurn(async () => {
    take(await request(bench.draft));
    tell("changed");
  });

/** Writes the draft; `base` is what the disk must hold for that. */
export const save = (file, base) =>
  inTurn(async () => {
    const saved = await call("save", { draft: { ...bench.draft, file }, base });
    bench.draft = saved;
    bench.base = saved.text;
    past[place] = saved;
    tell("saved");
  });

/** Kept scrubs and the one in hand, side by side. */
export const compared = () => call("compare", { drafts: [...bench.kept.map((k) => k.draft), bench.draft] });
