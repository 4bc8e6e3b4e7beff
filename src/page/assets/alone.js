// The page without a server: the program is a WebAssembly module within the page. It runs in workers, so that the page stays live and
// work that takes its time can be stopped. The files of the folder are kept by `places.js`; a worker is told what of them is new
// before it is asked.

import { MOST_BYTES, place } from "./places.js";
import { Refused, stopped } from "./refused.js";

/** The module is in the page as Base64 of gzip, beside the text of its worker. */
export const isAlone = document.getElementById("module") !== null;

/** Calls that take their time: each has a worker of its own, which is ended to stop it. */
const LONG = /^(aim|confidence|grains|preview|download\/(dossier|report|report-json))$/;

/** What the browser is told to trust as a script from an address: what was made here, and the keeper of the cache. */
const POLICY = {
  createScriptURL(address) {
    if (address.startsWith("blob:") || address === "sw.js") return address;
    throw new TypeError(`${address} is no script of this page`);
  },
};
// The page of the server loads no such script, and is held to that.
const trusted = isAlone ? globalThis.trustedTypes?.createPolicy("gritwise", POLICY) : undefined;
const scriptAddress = (address) => trusted?.createScriptURL(address) ?? address;

/** On a host the page is kept for when there is no network; a page without it works all the same. */
export function keepForLater() {
  if (document.querySelector("link[rel=manifest]")) navigator.serviceWorker?.register(scriptAddress("sw.js")).catch(() => {});
}

/** Compiled once, for all workers. */
let compiled;
function program() {
  compiled ??= unpacked().catch((error) => {
    throw new Refused(0, { error: `This browser cannot run the program within the page; a newer one can. (${error.message})` });
  });
  return compiled;
}

/** What Base64 stands for; older browsers make a text of it only. */
function fromBase64(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text);
  const plain = atob(text);
  const bytes = new Uint8Array(plain.length);
  for (let i = 0; i < plain.length; i += 1) bytes[i] = plain.charCodeAt(i);
  return bytes;
}

async function unpacked() {
  const packed = document.getElementById("module");
  const bytes = fromBase64(packed.textContent);
  packed.remove();
  const plain = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
  const headers = { "content-type": "application/wasm" };
  const module = await WebAssembly.compileStreaming(new Response(plain, { headers }));
  const script = document.getElementById("worker").textContent;
  return { module, address: URL.createObjectURL(new Blob([script], { type: "text/javascript" })) };
}

/** A worker with a module, and what it has been told of the folder. */
class Desk {
  #worker;
  #told = new Map();
  #waiting = new Map();
  #asked = 0;

  constructor({ module, address }) {
    this.#worker = new Worker(scriptAddress(address));
    this.#worker.onmessage = ({ data }) => this.#take(data);
    this.#worker.onerror = () => this.end();
    this.#worker.postMessage({ module });
  }

  /** `wanted` are files whose bytes come back with the answer, as the module's folder holds them then. */
  ask(path, body, wanted = []) {
    const { put, gone } = this.#news();
    this.#asked += 1;
    const id = this.#asked;
    const answered = new Promise((resolve, reject) => this.#waiting.set(id, { resolve, reject }));
    this.#worker.postMessage({ id, put, gone, path, body, wanted });
    return answered;
  }

  #news() {
    const put = [...files].filter(([name, { stamp }]) => this.#told.get(name) !== stamp);
    const gone = [...this.#told.keys()].filter((name) => !files.has(name));
    this.#told = new Map([...files].map(([name, { stamp }]) => [name, stamp]));
    return { put: put.map(([name, { bytes }]) => [name, bytes]), gone };
  }

  #take({ id, failed, ...answer }) {
    if (failed) return this.end();
    this.#waiting.get(id)?.resolve(answer);
    this.#waiting.delete(id);
  }

  /** Ends it; what is waited for is refused. */
  end(why = broken()) {
    this.isEnded = true;
    this.#worker.terminate();
    for (const { reject } of this.#waiting.values()) reject(why);
    this.#waiting.clear();
  }
}

const broken = () => new Refused(500, { error: "this could not be worked out; please report what was asked" });

/** For calls that are answered at once. */
let desk = null;

async function askShort(path, body, wanted) {
  const made = await program();
  if (desk === null || desk.isEnded) desk = new Desk(made);
  return desk.ask(path, body, wanted);
}

async function askLong(path, body, signal) {
  const own = new Desk(await program());
  const stop = () => own.end(stopped());
  signal?.addEventListener("abort", stop);
  if (signal?.aborted) stop();
  try {
    return await own.ask(path, body);
  } finally {
    signal?.removeEventListener("abort", stop);
    own.end();
  }
}

/** What the folder held when it was last looked at: name to { stamp, bytes }. */
let files = new Map();

/** One look after the other: an older one must not take the place of a newer. */
let looking = Promise.resolve();

/** Looks at the folder again: all of it, or these names alone. */
function look(names) {
  const looked = looking.then(() => lookNow(names));
  looking = looked.catch(() => {});
  return looked;
}

async function lookNow(names) {
  const held = new Map(names ? files : []);
  names?.forEach((name) => held.delete(name));
  try {
    for (const { name, stamp, read } of await place.list(names)) {
      const known = files.get(name);
      held.set(name, known?.stamp === stamp ? known : { stamp, bytes: await read() });
    }
  } catch (error) {
    throw new Refused(500, { error: `The files ${place.name} cannot be read: ${error.message}` });
  }
  files = held;
}

/** Asks the module as a server would be asked, and answers as `fetch` does. */
export async function askModule(path, body, signal) {
  const [name, query] = path.split("?");
  const sent = body instanceof Blob ? new Uint8Array(await body.arrayBuffer()) : body;
  if (name === "folder" || name === "download/all") await look();
  if (name === "scrub") await look([new URLSearchParams(query).get("file")]);
  if (name === "beside") await look(JSON.parse(sent).names);
  if (name === "save") return save(path, sent);
  const answer = LONG.test(name) ? await askLong(path, sent, signal) : await askShort(path, sent);
  return name === "folder" ? named(answer) : response(answer);
}

const response = ({ status, media, bytes }) => new Response(bytes, { status, headers: { "content-type": media } });

/** The module does not know where its files are kept. */
async function named(answer) {
  const listing = await response(answer).json();
  return new Response(JSON.stringify({ ...listing, folder: place.name, folder_id: place.id }));
}

/** The module checks and writes in its memory; what it wrote there is then kept for good. */
async function save(path, body) {
  const { draft } = JSON.parse(body);
  const names = [...draft.tables.map((table) => table.name), draft.file];
  await look(names);
  const answer = await askShort(path, body, names);
  if (answer.status === 200) await keep(answer.files);
  return response(answer);
}

/** Keeps files; those that stand there as they are stay. Where that fails the module is told anew what is kept. */
async function keep(written) {
  try {
    for (const [name, bytes] of written) {
      if (bytes !== null && !isSame(files.get(name)?.bytes, bytes)) await place.write(name, bytes);
    }
  } catch (error) {
    desk.end();
    throw new Refused(500, { error: `the files cannot be written: ${error.message}` });
  }
  await look(written.map(([name]) => name));
}

const isSame = (a, b) => a?.length === b.length && a.every((byte, i) => byte === b[i]);

/** Puts files into the folder that are not there yet; the names of those that are. */
export async function bringIn(brought) {
  await look();
  const taken = [];
  for (const { name, bytes } of brought) {
    if (files.has(name)) taken.push(name);
    else await place.write(name, bytes.subarray(0, MOST_BYTES + 1));
  }
  return taken;
}
