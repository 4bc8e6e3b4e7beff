// Runs the module beside the page (src/standalone/src/lib.rs tells of its interface). The first message brings the module, each further
// one what is new in the folder, and a call.

const encoder = new TextEncoder();
const decoder = new TextDecoder();
let made;

/** Writes parts into the module's buffer; gives their lengths. */
function fill({ room, memory }, ...parts) {
  const all = parts.map((part) => (typeof part === "string" ? encoder.encode(part) : part));
  let at = room(all.reduce((sum, part) => sum + part.length, 0));
  for (const part of all) {
    new Uint8Array(memory.buffer, at, part.length).set(part);
    at += part.length;
  }
  return all.map((part) => part.length);
}

/** A copy of what the module left in its buffer. */
const taken = ({ place, length, memory }) => new Uint8Array(memory.buffer, place(), length()).slice();

function fileOf(module, name) {
  fill(module, name);
  return module.get() ? taken(module) : null;
}

function answer(module, { put, gone, path, body, wanted }) {
  for (const [name, bytes] of put) module.put(fill(module, name, bytes)[0]);
  for (const name of gone) {
    fill(module, name);
    module.remove();
  }
  const [length] = fill(module, path, body ?? "");
  const status = module.call(length, body === undefined ? 0 : 1);
  const all = taken(module);
  const end = all.indexOf(10);
  const files = wanted.map((name) => [name, fileOf(module, name)]);
  return { status, media: decoder.decode(all.subarray(0, end)), bytes: all.subarray(end + 1), files };
}

onmessage = async ({ data }) => {
  try {
    if (data.module) made = WebAssembly.instantiate(data.module);
    const { exports } = await made;
    if (data.path !== undefined) postMessage({ id: data.id, ...answer(exports, data) });
  } catch (error) {
    // A module that has panicked is of no more use.
    postMessage({ failed: String(error) });
  }
};
