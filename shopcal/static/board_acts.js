// @ts-check
/** What is done to a step without moving it: keeping it where it is, and taking a move back. */

import { ask } from "./board_asking.js";

export class Acts {
  /** @param {import("./board_strip.js").Strip} strip */
  constructor(strip) {
    this.strip = strip;
  }

  async undo() {
    const answer = await ask(this.strip.url("undo"), { method: "POST" });
    this.strip.tell(answer.ok ? `Taken back. ${answer.told.changes.join("; ")}.` : answer.says);
    if (!answer.ok) return;
    this.strip.forget();
    refresh();
  }

  /** Keep the chosen step where it is, or let a new plan move it. @param {boolean} pinned */
  async keep(pinned) {
    const chosen = this.strip.chosen;
    if (!chosen) return;
    const { step, version, name } = chosen;
    const answer = await ask(this.strip.url("pin", step), { method: "POST", body: { pinned }, version });
    if (answer.ok) this.strip.choose(step, answer.told.version, name, answer.told.pinned);
    else this.strip.choose(step, version, name, !pinned);
    const says = pinned ? "is kept there" : "may be moved by a new plan";
    this.strip.tell(answer.ok ? `${name} ${says}.` : answer.says);
    if (answer.ok) refresh();
  }
}

/** Fetch what the page shows again. */
export function refresh() {
  document.body.dispatchEvent(new CustomEvent("changed"));
}
