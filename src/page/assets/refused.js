// Why something that was asked for was not done.

export class Refused extends Error {
  constructor(status, answer) {
    super(answer.error ?? "no answer");
    this.status = status;
    this.answer = answer;
  }
}

/** Whoever asked does not wait any more. */
export const stopped = () => new Refused(0, { error: "Stopped." });
