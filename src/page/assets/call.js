// Calls of the API. The token comes with the address, after the #, and goes back in a header.

const KEY = "gritwise-token";
const given = new URLSearchParams(location.hash.slice(1));
const token = given.get("token") ?? sessionStorage.getItem(KEY) ?? "";
sessionStorage.setItem(KEY, token);
export const wantedFile = given.get("file");
history.replaceState(null, "", location.pathname);

export class Refused extends Error {
  constructor(status, answer) {
    super(answer.error ?? "no answer");
    this.status = status;
    this.answer = answer;
  }
}

async function fetched(path, body) {
  const options = { headers: { "x-gritwise-token": token } };
  if (body !== undefined) {
    options.method = "POST";
    options.headers["content-type"] = "application/json";
    options.body = JSON.stringify(body);
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
