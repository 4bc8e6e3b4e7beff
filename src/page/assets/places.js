// Where the files of a page without a server are: in the browser, or in a folder of this machine that the maker opened.

/** Files of these kinds are ours; of a larger one a byte more than may be is read, so that the program says what is wrong. */
const OURS = /^[^.].*\.(toml|csv|tsv|txt|xlsx)$/i;
export const MOST_BYTES = 8 << 20;
/** More files than these are no workshop folder; the program says so from 500 on. */
const MOST_FILES = 600;

const FILES = "files";
const OPENED = "opened";

/** The browser's own store; null where it has none, or is told to keep nothing. */
const store = new Promise((resolve) => {
  try {
    const opening = indexedDB.open("gritwise", 1);
    opening.onupgradeneeded = () => [FILES, OPENED].forEach((name) => opening.result.createObjectStore(name));
    opening.onsuccess = () => resolve(opening.result);
    opening.onerror = () => resolve(null);
  } catch {
    resolve(null);
  }
});

/** Does something with a part of the store, and waits until it is kept. */
async function inStore(part, mode, work) {
  const open = await store;
  if (open === null) return undefined;
  return new Promise((resolve, reject) => {
    const transaction = open.transaction(part, mode);
    const request = work(transaction.objectStore(part));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onabort = transaction.onerror = () => reject(transaction.error);
  });
}

/** For a browser without a store: kept until the page is closed. */
const unkept = new Map();

const inBrowser = {
  name: "in this browser",
  id: "browser",

  async list(names) {
    const kept = (await inStore(FILES, "readonly", (all) => all.getAll())) ?? [...unkept.values()];
    const entry = ({ name, bytes, stamp }) => ({ name, stamp, read: async () => bytes });
    return kept.filter(({ name }) => !names || names.includes(name)).map(entry);
  },

  async write(name, bytes) {
    const entry = { name, bytes, stamp: crypto.randomUUID() };
    if ((await store) === null) unkept.set(name, entry);
    else await inStore(FILES, "readwrite", (all) => all.put(entry, name));
    // Asked for, so that a browser short of room throws other things away first.
    navigator.storage?.persist?.();
  },
};

/** A folder of this machine. Its own folders are not looked into. */
class OnDisk {
  #handle;
  /** Tells what was read here from what another folder has under the same name. */
  #opening = crypto.randomUUID();

  constructor(handle) {
    this.#handle = handle;
    this.name = handle.name;
    this.id = `folder ${handle.name}`;
  }

  async list(names) {
    const entries = [];
    for await (const entry of this.#handle.values()) {
      const isOurs = entry.kind === "file" && OURS.test(entry.name) && (!names || names.includes(entry.name));
      if (isOurs && entries.length < MOST_FILES) entries.push(entry);
    }
    return Promise.all(entries.map((entry) => this.#listed(entry)));
  }

  async #listed(entry) {
    const file = await entry.getFile();
    const read = async () => new Uint8Array(await file.slice(0, MOST_BYTES + 1).arrayBuffer());
    return { name: entry.name, stamp: `${this.#opening} ${file.lastModified} ${file.size}`, read };
  }

  async write(name, bytes) {
    const file = await this.#handle.getFileHandle(name, { create: true });
    // The browser writes beside the file and puts it in its place when it is closed.
    const writing = await file.createWritable();
    await writing.write(bytes);
    await writing.close();
  }
}

/** Where the files are now. */
export let place = inBrowser;

/** Whether what is in the browser is kept when the page is closed. */
export const isKept = async () => (await store) !== null;
export const isInBrowser = () => place === inBrowser;
export const canOpen = () => typeof globalThis.showDirectoryPicker === "function";

/** Has the maker choose a folder of this machine. */
export async function openFolder() {
  const handle = await showDirectoryPicker({ id: "gritwise", mode: "readwrite" });
  place = new OnDisk(handle);
  // It can be opened again with less ado; that this cannot be kept hinders nobody.
  await inStore(OPENED, "readwrite", (all) => all.put(handle, "last")).catch(() => {});
}

/** The folder that was open the last time; undefined for none. */
export const lastOpened = () => inStore(OPENED, "readonly", (all) => all.get("last")).catch(() => undefined);

/** Opens it again, where the maker lets the page. */
export async function openAgain(handle) {
  if ((await handle.requestPermission({ mode: "readwrite" })) === "granted") place = new OnDisk(handle);
}

export function keepInBrowser() {
  place = inBrowser;
}
