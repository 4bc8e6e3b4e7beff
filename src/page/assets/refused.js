// Why something that was asked for was not done.

export class Refused extends Error {
  constructor(status, answer) {
    super(answer.error ?? "no answer");
    this.status = status;
    this.answer = answer;
  }
}

/** What is refused of a file that is on no disk has no line to be looked up: only what is wrong is said. */
export function withoutPlace(error, file) {
  error.message = error.message.replaceAll(`${file}:`, "\u0000").replace(/\u0000(\d+:)*\s*/g, "");
  return error;
}

/** Whoever asked does not wait any more. */
export const stopped = () => new Refused(0, { error: "Stopped." });
