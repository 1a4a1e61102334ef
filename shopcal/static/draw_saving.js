// @ts-check
/**
 * Keeps the drawing on the server: a moment after each change, one request at a time, and tells
 * when somebody else has saved meanwhile.
 *
 * @typedef {import("./draw_model.js").Drawing} Drawing
 * @typedef {{version: number, drawing: Drawing, rest: any[], marks: any[], ref: string,
 *   parts: Record<string, string>}} Answer
 * @typedef {{code: string, title: string, detail: string, faults: string[],
 *   facts: Record<string, any>}} Refusal
 * @typedef {{saveUrl: string, thingUrl: string, token: string, version: number,
 *   state: () => {drawing: Drawing, ref: string},
 *   onanswer: (answer: Answer, current: boolean, acted: boolean) => void,
 *   onrefused: (refusal: Refusal) => void,
 *   onsay: (words: string) => void}} Options
 */

const WAIT_MS = 350;
const AGAIN_MS = 3000;

export class Saving {
  #changes = 0;
  #saved = 0;
  #clock = 0;
  /** @type {Promise<boolean> | null} */
  #going = null;

  /** @param {Options} options */
  constructor(options) {
    this.options = options;
    this.version = options.version;
  }

  /** Whether something drawn is not on the server yet. */
  get unsaved() {
    return this.#changes > this.#saved;
  }

  /** Something was drawn. */
  changed() {
    this.#changes += 1;
    this.#later(WAIT_MS);
  }

  /** @param {number} ms */
  #later(ms) {
    window.clearTimeout(this.#clock);
    this.#clock = window.setTimeout(() => void this.flush(), ms);
  }

  /** @returns {Promise<boolean>} true once everything drawn is on the server */
  async flush() {
    window.clearTimeout(this.#clock);
    if (this.#going) await this.#going;
    if (!this.unsaved) return true;
    this.#going = this.#save();
    const kept = await this.#going;
    this.#going = null;
    if (kept && this.unsaved) return this.flush();
    return kept;
  }

  async #save() {
    const upTo = this.#changes;
    const { drawing, ref } = this.options.state();
    const body = JSON.stringify({ version: this.version, drawing, ref });
    const answer = await this.#ask(this.options.saveUrl, body, { "Content-Type": "application/json" });
    if (!answer) return false;
    this.#saved = upTo;
    this.version = answer.version;
    this.options.onanswer(answer, this.#changes === upTo, false);
    return true;
  }

  /**
   * One act on one thing; what was drawn before is kept first.
   * @param {FormData} form
   */
  async act(form) {
    if (!(await this.flush())) return;
    form.set("version", String(this.version));
    const before = this.#changes;
    const answer = await this.#ask(this.options.thingUrl, form, {});
    if (!answer) return;
    this.version = answer.version;
    this.options.onanswer(answer, this.#changes === before, true);
  }

  /** Save over what somebody else saved. @param {number} version theirs */
  async insist(version) {
    this.version = version;
    this.#changes += 1;
    await this.flush();
  }

  /**
   * @param {string} where @param {BodyInit} body @param {Record<string, string>} headers
   * @returns {Promise<Answer | null>}
   */
  async #ask(where, body, headers) {
    try {
      const answer = await fetch(where, { method: "POST", body, headers: { ...headers, Accept: "application/json", "X-CSRFToken": this.options.token } });
      const given = await answer.json();
      if (given.parts) return given; // 422 too: the forms say what is wrong
      this.options.onrefused(given);
    } catch {
      this.options.onsay("Not saved: the service cannot be reached. Trying again.");
      if (this.unsaved) this.#later(AGAIN_MS);
    }
    return null;
  }
}
