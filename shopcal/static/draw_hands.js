// @ts-check
/**
 * Mouse, finger and keys on the drawing, made into changes of corners.
 *
 * @typedef {import("./draw_model.js").Point} Point
 * @typedef {import("./draw_model.js").Drawing} Drawing
 * @typedef {{canvas: import("./draw_canvas.js").Canvas,
 *   drawing: () => Drawing, chosen: () => string, units: () => string,
 *   how: () => {step: number, grid: boolean, edges: boolean},
 *   tool: () => string, disarm: () => void,
 *   choose: (ref: string) => void, put: (ref: string, points: Point[]) => void,
 *   add: (kind: string, points: Point[] | null) => void, remove: (ref: string) => void,
 *   type: () => void, undo: () => void, redo: () => void, say: (words: string) => void}} Desk
 */

import { moved, rectangle, thingAt } from "./draw_model.js";
import { Snap } from "./draw_snap.js";

const NEAR_PX = 9;
const CLICK_PX = 5;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

export class Hands {
  /** @type {{move: (at: Point, event: PointerEvent) => void, end: (event: PointerEvent) => void} | null} */
  #drag = null;
  /** @type {Point[]} */
  #corners = []; // of a shape drawn corner by corner

  /** @param {Desk} desk */
  constructor(desk) {
    this.desk = desk;
    const { svg } = desk.canvas;
    svg.addEventListener("pointerdown", (event) => this.#down(event));
    svg.addEventListener("pointermove", (event) => this.#move(event));
    svg.addEventListener("pointerup", (event) => this.#up(event));
    svg.addEventListener("pointercancel", () => this.cancel());
    svg.addEventListener("keydown", (event) => this.#key(event));
    svg.addEventListener("wheel", (event) => {
      event.preventDefault();
      desk.canvas.zoom(event.deltaY > 0 ? 1.15 : 1 / 1.15, desk.canvas.placeOf(event));
    }, { passive: false });
    svg.addEventListener("focusin", (event) => {
      const ref = event.target instanceof SVGElement ? event.target.dataset.ref : undefined;
      if (ref && !this.#drag && ref !== desk.chosen()) desk.choose(ref);
    });
  }

  /** Leave off whatever is being drawn. */
  cancel() {
    this.#drag = null;
    this.#corners = [];
    this.desk.canvas.show();
    this.desk.disarm();
  }

  /** @param {PointerEvent} event */
  #down(event) {
    if (event.button !== 0 || this.#drag) return;
    const { canvas } = this.desk;
    const at = canvas.placeOf(event);
    const target = /** @type {SVGElement} */ (event.target);
    const thing = target.closest("[data-ref]");
    if (this.desk.tool()) this.#drag = this.#drawing(at);
    else if (target.dataset.corner) this.#drag = this.#corner(Number(target.dataset.corner), false);
    else if (target.dataset.between) this.#drag = this.#corner(Number(target.dataset.between) + 1, true);
    else if (thing instanceof SVGElement) this.#drag = this.#thing(thing.dataset.ref ?? "", at);
    else this.#drag = this.#floor(event);
    event.preventDefault();
    canvas.svg.setPointerCapture(event.pointerId);
  }

  /** @param {PointerEvent} event */
  #move(event) {
    const at = this.desk.canvas.placeOf(event);
    if (this.#drag) this.#drag.move(at, event);
    else if (this.#corners.length) this.#showCorners(at);
  }

  /** @param {PointerEvent} event */
  #up(event) {
    const drag = this.#drag;
    this.#drag = null;
    if (!this.#corners.length) this.desk.canvas.show();
    drag?.end(event);
  }

  /** @param {string} except */
  #snap(except) {
    const near = NEAR_PX * this.desk.canvas.mmPerPx;
    const snap = new Snap(this.desk.drawing(), except);
    return { snap, how: { ...this.desk.how(), near } };
  }

  /** @param {Point} at @returns {Point} held to grid and edges */
  #held(at, except = "") {
    const { snap, how } = this.#snap(except);
    const held = snap.hold([at], how);
    return [Math.round(at[0] + held.x), Math.round(at[1] + held.y)];
  }

  /** A whole thing is taken and moved. @param {string} ref @param {Point} from */
  #thing(ref, from) {
    const { canvas } = this.desk;
    const thing = thingAt(this.desk.drawing(), ref);
    const { snap, how } = this.#snap(ref);
    const least = CLICK_PX * canvas.mmPerPx;
    let points = thing?.points ?? [];
    const start = points;
    let far = false;
    if (ref !== this.desk.chosen()) this.desk.choose(ref);
    /** @type {SVGElement | null} */ (canvas.svg.querySelector(`[data-key="${CSS.escape(ref)}"]`))?.focus();
    return {
      move: (/** @type {Point} */ at) => {
        const [dx, dy] = [at[0] - from[0], at[1] - from[1]];
        far ||= Math.hypot(dx, dy) > least;
        if (!far || !thing) return;
        if (thing.kind === "door") {
          points = this.#doorOnWall(moved(start, dx, dy), snap);
          canvas.becoming(points, this.desk.units());
          return;
        }
        const free = moved(start, dx, dy);
        const held = snap.hold(free, how);
        points = moved(free, held.x, held.y);
        canvas.becoming(points, this.desk.units(), held.guides);
      },
      end: () => {
        if (far) this.desk.put(ref, points);
      },
    };
  }

  /** @param {Point[]} ends @param {Snap} snap @returns {Point[]} */
  #doorOnWall(ends, snap) {
    return [snap.onWall(ends[0]), snap.onWall(ends[1])];
  }

  /** A corner is taken, or made between two others. @param {number} i @param {boolean} fresh */
  #corner(i, fresh) {
    const ref = this.desk.chosen();
    const thing = thingAt(this.desk.drawing(), ref);
    const { snap, how } = this.#snap(ref);
    const start = thing?.points ?? [];
    let points = start;
    let far = false;
    return {
      move: (/** @type {Point} */ at) => {
        if (!thing) return;
        far = true;
        const held = snap.hold([at], how);
        /** @type {Point} */
        const corner = thing.kind === "door" ? snap.onWall(at) : [Math.round(at[0] + held.x), Math.round(at[1] + held.y)];
        points = fresh ? [...start.slice(0, i), corner, ...start.slice(i)] : start.map((one, j) => (j === i ? corner : one));
        this.desk.canvas.becoming(points, this.desk.units(), held.guides);
      },
      end: () => {
        if (far) this.desk.put(ref, points);
      },
    };
  }

  /** The bare floor is taken: the view moves. @param {PointerEvent} first */
  #floor(first) {
    let [x, y] = [first.clientX, first.clientY];
    return {
      move: (/** @type {Point} */ _at, /** @type {PointerEvent} */ event) => {
        const mm = this.desk.canvas.mmPerPx;
        this.desk.canvas.pan((event.clientX - x) * mm, -(event.clientY - y) * mm);
        [x, y] = [event.clientX, event.clientY];
      },
      end: () => this.desk.canvas.svg.focus({ preventScroll: true }),
    };
  }

  /** Something new: a rectangle by dragging, or corner by corner. @param {Point} from */
  #drawing(from) {
    const kind = this.desk.tool();
    const { canvas } = this.desk;
    const { snap } = this.#snap("");
    const door = kind === "door";
    const start = door ? snap.onWall(from) : this.#held(from);
    let points = /** @type {Point[]} */ ([]);
    const least = CLICK_PX * canvas.mmPerPx;
    return {
      move: (/** @type {Point} */ at) => {
        if (this.#corners.length || Math.hypot(at[0] - from[0], at[1] - from[1]) < least) return;
        points = door ? [start, snap.onWall(at)] : rectangle(start, this.#held(at));
        canvas.becoming(points, this.desk.units());
      },
      end: () => {
        if (points.length) this.#finish(kind, points);
        else if (!door) this.#addCorner(kind, start);
      },
    };
  }

  /** @param {string} kind @param {Point} at */
  #addCorner(kind, at) {
    const [first] = this.#corners;
    const near = 2 * NEAR_PX * this.desk.canvas.mmPerPx;
    if (first && this.#corners.length > 2 && Math.hypot(at[0] - first[0], at[1] - first[1]) < near) {
      this.#finish(kind, this.#corners);
      return;
    }
    this.#corners.push(at);
    this.desk.say(`Corner ${this.#corners.length}. Press the first corner again, or Enter, to close the shape.`);
    this.#showCorners(at);
  }

  /** @param {Point} at */
  #showCorners(at) {
    this.desk.canvas.becoming([...this.#corners, this.#held(at)], this.desk.units());
  }

  /** @param {string} kind @param {Point[] | null} points */
  #finish(kind, points) {
    this.cancel();
    this.desk.add(kind, points);
  }

  /** @param {KeyboardEvent} event */
  #key(event) {
    const target = /** @type {SVGElement} */ (event.target);
    const corner = target.dataset.corner === undefined ? -1 : Number(target.dataset.corner);
    if (this.#keyWhileDrawing(event) || event.defaultPrevented) return;
    const way = /** @type {Record<string, number[]>} */ (ARROWS)[event.key];
    const ref = this.desk.chosen();
    if (way && !event.ctrlKey && !event.metaKey && !event.altKey) this.#nudge(ref, corner, way, event.shiftKey);
    else if (event.key === "Enter" || event.key === " ") this.desk.type();
    else if (event.key === "Delete" || event.key === "Backspace") this.#delete(ref, corner);
    else if (event.key === "Escape") this.desk.choose("");
    else return;
    event.preventDefault();
  }

  /** @param {KeyboardEvent} event */
  #keyWhileDrawing(event) {
    const kind = this.desk.tool();
    if (event.key === "Escape" && (kind || this.#drag)) {
      this.cancel();
      event.preventDefault();
      return true;
    }
    if (event.key !== "Enter" || !kind) return false;
    const points = this.#corners.length > 2 ? this.#corners : null;
    this.#finish(kind, points);
    event.preventDefault();
    return true;
  }

  /** @param {string} ref @param {number} corner @param {number[]} way @param {boolean} fine */
  #nudge(ref, corner, way, fine) {
    const thing = thingAt(this.desk.drawing(), ref);
    if (!thing) {
      this.desk.canvas.pan(-way[0] * this.desk.canvas.view.width * 0.1, -way[1] * this.desk.canvas.view.height * 0.1);
      return;
    }
    const by = this.desk.how().step * (fine ? 0.1 : 1);
    const points = corner < 0 ? moved(thing.points, way[0] * by, way[1] * by) : thing.points.map((one, i) => (i === corner ? moved([one], way[0] * by, way[1] * by)[0] : one));
    this.desk.put(ref, points);
  }

  /** @param {string} ref @param {number} corner */
  #delete(ref, corner) {
    const thing = thingAt(this.desk.drawing(), ref);
    if (!thing) return;
    if (corner < 0) this.desk.remove(ref);
    else if (thing.closed && thing.points.length > 3) this.desk.put(ref, thing.points.filter((_, i) => i !== corner));
    else this.desk.say("A shape needs three corners.");
  }
}
