// Calls of the API, to the server that brought the page or, where the page is alone, to the module within it. The token comes with the
// address, after the #, and goes back in a header. The tab remembers it. Which file is in hand stands in the address, so that the page
// can be loaded again, and Back goes to the one before.

import { askModule, isAlone } from "./alone.js";
import { Refused, stopped } from "./refused.js";

export { Refused };

const TOKEN = "gritwise-token";

const afterHash = () => new URLSearchParams(location.hash.slice(1));
const addressOf = (file) => location.pathname + (file ? `#file=${encodeURIComponent(file)}` : "");

/** The file that the address names; null for none. */
export const fileOfAddress = () => afterHash().get("file");

/** Takes the token out of the address that it came with. A new address is about another folder, perhaps. */
function received() {
  const given = afterHash();
  if (!given.has("token")) return false;
  sessionStorage.setItem(TOKEN, given.get("token"));
  history.replaceState(null, "", addressOf(given.get("file")));
  return true;
}

/** The file to open when the page is loaded again; null for none. */
export function remember(file) {
  if (fileOfAddress() !== file) history.pushState(null, "", addressOf(file));
}

/** The address is again that of what is in hand: where Back or Forward led was not opened. */
export function readdress(file) {
  if (fileOfAddress() !== file) history.replaceState(null, "", addressOf(file));
}

received();
// A server that was started anew prints a new address; pasted here, it changes no more than the part after the #.
addEventListener("hashchange", () => received() && location.reload());

async function askServer(path, body, signal) {
  const options = { signal, headers: { "x-gritwise-token": sessionStorage.getItem(TOKEN) ?? "" } };
  if (body !== undefined) {
    options.method = "POST";
    options.headers["content-type"] = typeof body === "string" ? "application/json" : "application/octet-stream";
    options.body = body;
  }
  try {
    return await fetch(`/api/1/${path}`, options);
  } catch {
    if (signal?.aborted) throw stopped();
    throw new Refused(0, { error: "gritwise does not answer; is it still running in its terminal?" });
  }
}

const ask = isAlone ? askModule : askServer;

async function answered(path, body, signal) {
  const sent = body === undefined || body instanceof Blob ? body : JSON.stringify(body);
  const answer = await ask(path, sent, signal);
  if (answer.ok) return answer;
  throw new Refused(answer.status, await answer.json().catch(() => ({ error: `status ${answer.status}` })));
}

/** Asks and reads the answer; `signal` stops the waiting, and where the page is alone the work too. */
export const call = async (path, body, signal) => (await answered(path, body, signal)).json();
export const callForFile = async (path, body, signal) => (await answered(path, body, signal)).blob();

/** Whether a draft as the disk holds it, if it holds one, cannot be read by a call. */
export async function isUnreadable(path, draft) {
  if (draft.text === null) return false;
  return call(path, { draft }).then(
    () => false,
    () => true,
  );
}
