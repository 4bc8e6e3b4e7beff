// Calls of the API. The token comes with the address, after the #, and goes back in a header. The tab remembers it. Which file is in
// hand stands in the address, so that the page can be loaded again, and Back goes to the one before.

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

received();
// A server that was started anew prints a new address; pasted here, it changes no more than the part after the #.
addEventListener("hashchange", () => received() && location.reload());

export class Refused extends Error {
  constructor(status, answer) {
    super(answer.error ?? "no answer");
    this.status = status;
    this.answer = answer;
  }
}

async function fetched(path, body) {
  const options = { headers: { "x-gritwise-token": sessionStorage.getItem(TOKEN) ?? "" } };
  if (body !== undefined) {
    options.method = "POST";
    const bytes = body instanceof Blob;
    options.headers["content-type"] = bytes ? "application/octet-stream" : "application/json";
    options.body = bytes ? body : JSON.stringify(body);
  }
  let answer;
  try {
    answer = await fetch(`/api/1/${path}`, options);
  } catch {
    throw new Refused(0, { error: "gritwise does not answer; is it still running in its terminal?" });
  }
  if (answer.ok) return answer;
  throw new Refused(answer.status, await answer.json().catch(() => ({ error: `status ${answer.status}` })));
}

export const call = async (path, body) => (await fetched(path, body)).json();
export const callForFile = async (path, body) => (await fetched(path, body)).blob();
