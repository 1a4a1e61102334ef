// @ts-check
/**
 * Taking hold of a step with a mouse, a pen or a finger. A finger holds still for a moment first,
 * so that the board can still be scrolled; a mouse begins as soon as it moves.
 *
 * @typedef {{
 *   take: (bar: SVGElement, event: PointerEvent) => void, move: (event: PointerEvent) => void,
 *   drop: () => void, leave: () => void,
 * }} Acts
 */

const HOLD_MS = 350;
const SLACK_PX = 5;

export class Hands {
  /** @param {Acts} acts */
  constructor(acts) {
    this.acts = acts;
    /** @type {{bar: SVGElement, event: PointerEvent, timer: number, holds: boolean} | null} */
    this.press = null;
    this.dragged = false;
    document.addEventListener("pointerdown", (event) => this.#down(event));
    document.addEventListener("pointermove", (event) => this.#moved(event));
    document.addEventListener("pointerup", (event) => this.#up(event));
    document.addEventListener("pointercancel", () => this.#cancelled());
    // Not passive: the page must not scroll under a step that is held.
    document.addEventListener("touchmove", (event) => this.press?.holds && event.preventDefault(), { passive: false });
    document.addEventListener("contextmenu", (event) => this.press && event.preventDefault());
    document.addEventListener("dragstart", (event) => barOf(event.target) && event.preventDefault());
    document.addEventListener("click", (event) => this.#clicked(event), true);
  }

  /** @param {PointerEvent} event */
  #down(event) {
    const bar = barOf(event.target);
    this.dragged = false;
    if (!bar || event.button !== 0 || this.press) return;
    this.press = { bar, event, timer: 0, holds: false };
    if (event.pointerType !== "mouse") this.press.timer = window.setTimeout(() => this.#begin(), HOLD_MS);
  }

  #begin() {
    if (!this.press) return;
    this.press.holds = this.dragged = true;
    this.acts.take(this.press.bar, this.press.event);
  }

  /** @param {PointerEvent} event */
  #moved(event) {
    const press = this.press;
    if (!press || event.pointerId !== press.event.pointerId) return;
    const far = Math.hypot(event.clientX - press.event.clientX, event.clientY - press.event.clientY) > SLACK_PX;
    if (!press.holds && far) {
      if (event.pointerType !== "mouse") return this.free(); // it is scrolled, not held
      this.#begin();
    }
    if (press.holds) {
      event.preventDefault();
      this.acts.move(event);
    }
  }

  /** @param {PointerEvent} event */
  #up(event) {
    const press = this.press;
    if (!press || event.pointerId !== press.event.pointerId) return;
    this.free();
    if (press.holds) this.acts.drop();
  }

  #cancelled() {
    const held = this.press?.holds;
    this.free();
    if (held) this.acts.leave();
  }

  /** The link under a step that was dragged is not followed. @param {MouseEvent} event */
  #clicked(event) {
    if (!this.dragged) return;
    this.dragged = false;
    if (barOf(event.target, false)) event.preventDefault();
  }

  free() {
    window.clearTimeout(this.press?.timer);
    this.press = null;
  }
}

/** @param {EventTarget | null} target @param {boolean} [movable] @returns {SVGElement | null} */
function barOf(target, movable = true) {
  return target instanceof Element ? target.closest(movable ? "a.bar[data-movable]" : "a.bar") : null;
}
