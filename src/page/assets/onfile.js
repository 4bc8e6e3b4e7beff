// A file of the folder that is no scrub, a shelf or an aim, in hand beside the scrub: changed by edits of its text, undone, saved, and
// told where the disk holds another. It stays in hand while the page does; what is not saved of it the browser remembers.

import { call, isUnreadable } from "./call.js";
import { showConflict } from "./disk.js";
import { withoutPlace } from "./refused.js";
import { LAYOUT } from "./saved.js";
import { dropFile, storeFile } from "./store.js";
import { say } from "./talk.js";

export class OnFile {
  /** What the program says of it: its `draft`, its `definition`, the `powders` of a shelf. */
  answer = null;
  /** What the disk holds; null where it holds nothing of it yet. */
  base = null;
  #past = [];
  #queue = Promise.resolve();
  #changed;
  #kind;
  #isStored = true;

  /** `changed` is called when an edit or a step back made another of it; by its `kind` it is remembered, without one it is not. */
  constructor(changed, kind = null) {
    this.#changed = changed;
    this.#kind = kind;
  }

  get draft() {
    return this.answer?.draft;
  }

  get isChanged() {
    return this.answer !== null && this.draft.text !== this.base;
  }

  /** Whether what is in hand is on disk, or remembered. */
  get isSafe() {
    return !this.isChanged || this.#isStored;
  }

  get canUndo() {
    return this.#past.length > 0;
  }

  /** What is not saved; null where nothing is on disk. */
  get unsaved() {
    if (this.base === null || !this.isChanged) return this.base === null ? null : [];
    return this.answer.unsaved.length ? this.answer.unsaved : [LAYOUT];
  }

  /** One thing after the other; what comes of it is remembered. */
  inTurn(work) {
    const done = this.#queue.then(async () => {
      try {
        return await work();
      } finally {
        this.#remember();
      }
    });
    this.#queue = done.catch(() => {});
    return done;
  }

  #remember() {
    if (this.#kind === null) return;
    if (!this.isChanged) return dropFile(this.#kind);
    this.#isStored = storeFile(this.#kind, { draft: this.draft, base: this.base, changes: this.unsaved?.length ?? null });
  }

  /** Takes a file of the folder in hand, as the disk holds it now; one that is changed here stays as it is. */
  open(file) {
    return this.inTurn(async () => {
      if (this.draft?.file === file && this.isChanged) return;
      const draft = await call(`scrub?file=${encodeURIComponent(file)}`);
      this.answer = await call("file", { draft, base: draft.text });
      this.base = draft.text;
      this.#past = [];
    });
  }

  /** Takes what was remembered in hand again. */
  resume({ draft, base }) {
    return this.inTurn(async () => {
      this.answer = await call("file", { draft, base });
      this.base = base;
      this.#past = [];
    });
  }

  /** Begins a file that is not there yet, by edits of a text. */
  begin(file, edits, { text = "", tables = [] } = {}) {
    return this.inTurn(async () => {
      this.answer = await call("file", { draft: { file, text, tables }, edits });
      this.base = null;
      this.#past = [];
    });
  }

  /** Nothing is in hand any more. */
  letGo() {
    return this.inTurn(async () => {
      this.answer = null;
      this.base = null;
      this.#past = [];
    });
  }

  /** Makes edits; `more.tables` are tables in hand that they name. */
  change(edits, more) {
    return this.inTurn(async () => {
      const before = this.draft;
      const names = before.tables.map((t) => t.name);
      const tables = [...before.tables, ...(more?.tables ?? []).filter((t) => !names.includes(t.name))];
      try {
        this.answer = await call("file", { draft: { ...before, tables }, edits, base: this.base });
      } catch (error) {
        throw this.base === null ? withoutPlace(error, before.file) : error;
      }
      if (this.draft.text !== before.text) this.#past.push(before);
      this.#changed();
    });
  }

  undo() {
    return this.inTurn(async () => {
      if (!this.canUndo) return;
      await this.#swap(this.#past.at(-1));
      this.#past.pop();
      this.#changed();
    });
  }

  async #swap(draft) {
    this.answer = await call("file", { draft, base: this.base });
  }

  /** Writes it; where the disk holds another than it did, that is shown first. `back` shows this one again when that is done. */
  save(back) {
    return this.inTurn(() => this.#write(this.base, back));
  }

  async #write(base, back) {
    const { file } = this.draft;
    const theirs = base !== null && base !== this.base;
    try {
      const draft = await call("save", { draft: this.draft, base });
      this.base = draft.text;
      await this.#swap(draft);
    } catch (error) {
      if (error.status !== 409) throw error;
      return this.#conflict(error.answer.disk, back, base === null);
    }
    // What is written over is the step before.
    if (theirs) this.#past.push({ ...this.draft, text: base });
    say(`Saved ${file}.`);
    await back();
  }

  async #conflict(disk, back, isNew) {
    const { file } = this.draft;
    const isUnread = await isUnreadable("file", { file, text: disk });
    const mine = () => this.inTurn(() => this.#write(disk, back));
    const theirs = () => this.inTurn(() => this.#take(disk, back));
    return showConflict({ file, here: this.draft.text, disk, isNew, isUnread }, { mine, theirs: isNew ? null : theirs });
  }

  /** What the disk holds, as one more step. */
  async #take(disk, back) {
    const before = this.draft;
    this.answer = await call("file", { draft: { ...before, text: disk, tables: [] }, base: disk });
    this.base = disk;
    this.#past.push(before);
    await back();
  }
}
