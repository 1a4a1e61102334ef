// @ts-check
/**
 * The drawing on the screen: SVG in millimetres, the part of the floor that is shown, and the way
 * from a place on the screen to a place on the floor.
 *
 * @typedef {import("./draw_model.js").Point} Point
 * @typedef {import("./draw_model.js").Drawing} Drawing
 * @typedef {import("./draw_model.js").Thing} Thing
 * @typedef {{number: number, points: Point[]}} Mark
 * @typedef {{drawing: Drawing, rest: Point[][][], marks: Mark[], units: string, chosen: string, step: number}} Shown
 */

import { bounds, things, words } from "./draw_model.js";

const SVG = "http://www.w3.org/2000/svg";
const LETTER_PX = 14;
const HANDLE_PX = 7;
const LEAST_GRID_PX = 9;
const LEAST_EDGE_PX = 36; // shorter edges have no room for a handle between their corners
const NAMED_SOLIDS = new Set(["room", "equipment"]); // columns are many and small

/**
 * @param {string} name @param {Record<string, string | number>} attributes @param {(Node | string)[]} inside
 * @returns {SVGElement}
 */
export function made(name, attributes = {}, ...inside) {
  const element = /** @type {SVGElement} */ (document.createElementNS(SVG, name));
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, String(value));
  element.append(...inside);
  return element;
}

/** @param {Point[]} points */
const written = (points) => points.map(([x, y]) => `${x},${-y}`).join(" ");

export class Canvas {
  /** @param {HTMLElement} place */
  constructor(place) {
    this.svg = /** @type {SVGSVGElement} */ (made("svg", { class: "plan-picture at-work", role: "application", "aria-label": "The drawing: Tab to a thing, arrows move it", tabindex: 0 }));
    this.still = made("g");
    this.moving = made("g");
    this.svg.append(this.still, this.moving);
    place.replaceChildren(this.svg);
    this.view = { x: 0, y: 0, width: 20000, height: 12000 };
    new ResizeObserver(() => this.#fit()).observe(this.svg);
  }

  /** Millimetres of one screen pixel. */
  get mmPerPx() {
    const box = this.svg.getBoundingClientRect();
    return Math.max(this.view.width / (box.width || 1), this.view.height / (box.height || 1));
  }

  /** @param {{clientX: number, clientY: number}} event @returns {Point} */
  placeOf(event) {
    const matrix = this.svg.getScreenCTM();
    if (!matrix) return [0, 0];
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(matrix.inverse());
    return [at.x, -at.y];
  }

  /** @returns {Point} */
  get middle() {
    return [this.view.x + this.view.width / 2, -(this.view.y + this.view.height / 2)];
  }

  /** @param {Drawing} drawing */
  showWhole(drawing) {
    const points = things(drawing).flatMap((thing) => thing.points);
    const box = bounds(points.length ? points : [[0, 0], [20000, 12000]]);
    const margin = Math.max(box.east - box.west, box.north - box.south, 2000) * 0.06;
    this.view = { x: box.west - margin, y: -box.north - margin, width: box.east - box.west + 2 * margin, height: box.north - box.south + 2 * margin };
    this.#fit();
  }

  /** @param {number} factor below 1 shows less, larger @param {Point} about stays where it is */
  zoom(factor, about = this.middle) {
    const width = Math.min(Math.max(this.view.width * factor, 1000), 2_000_000);
    const by = width / this.view.width;
    this.view = {
      x: about[0] - (about[0] - this.view.x) * by,
      y: -about[1] - (-about[1] - this.view.y) * by,
      width,
      height: this.view.height * by,
    };
    this.#fit();
  }

  /** @param {number} dx millimetres @param {number} dy upwards */
  pan(dx, dy) {
    this.view.x -= dx;
    this.view.y += dy;
    this.#fit();
  }

  /** Shows the view in the shape of the screen, its middle staying where it is. */
  #fit() {
    const box = this.svg.getBoundingClientRect();
    const shape = box.width && box.height ? box.width / box.height : this.view.width / this.view.height;
    const wide = Math.max(this.view.width, this.view.height * shape);
    this.view.x -= (wide - this.view.width) / 2;
    this.view.y -= (wide / shape - this.view.height) / 2;
    [this.view.width, this.view.height] = [wide, wide / shape];
    const { x, y, width, height } = this.view;
    this.svg.setAttribute("viewBox", `${x} ${y} ${width} ${height}`);
    this.svg.setAttribute("font-size", String(LETTER_PX * this.mmPerPx));
    this.onview?.();
  }

  /** @type {(() => void) | undefined} */
  onview;

  /** @param {Shown} shown */
  draw(shown) {
    const focused = document.activeElement instanceof SVGElement && this.svg.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
    const { drawing } = shown;
    this.still.replaceChildren(
      this.#patterns(),
      made("polygon", { class: "ground", points: written(drawing.outline) }),
      ...this.#grid(shown.step),
      ...shown.rest.map((rings) => made("path", { class: "rest", "fill-rule": "evenodd", fill: "url(#rest-hatch)", d: rings.map((ring) => `M${written(ring)}Z`).join(" ") })),
      ...this.#things(shown, true),
      made("polygon", { class: "wall on-top", points: written(drawing.outline) }),
      ...this.#things(shown, false),
      ...shown.marks.map((mark) => this.#mark(mark)),
      ...this.#handles(shown),
    );
    if (focused) /** @type {SVGElement | null} */ (this.svg.querySelector(`[data-key="${CSS.escape(focused)}"]`))?.focus();
  }

  /** @param {Node[]} nodes what follows the hand */
  show(...nodes) {
    this.moving.replaceChildren(...nodes);
  }

  /** @param {Point[]} points @param {string} units @param {[Point, Point][]} guides */
  becoming(points, units, guides = []) {
    const px = this.mmPerPx;
    const nodes = guides.map(([a, b]) => made("line", { class: "guide", x1: a[0], y1: -a[1], x2: b[0], y2: -b[1] }));
    nodes.push(points.length > 2 ? made("polygon", { class: "becoming", points: written(points) }) : made("polyline", { class: "becoming", points: written(points) }));
    const box = bounds(points);
    const said = points.length > 2 ? `${words(box.east - box.west, units)} x ${words(box.north - box.south, units)}` : words(Math.hypot(box.east - box.west, box.north - box.south), units);
    nodes.push(made("text", { class: "measure", x: (box.east + box.west) / 2, y: -box.north - 8 * px }, said));
    this.show(...nodes);
  }

  #patterns() {
    const size = 10 * this.mmPerPx;
    return made("defs", {}, made("pattern", { id: "rest-hatch", width: size, height: size, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" }, made("line", { class: "rest-line", x1: 0, y1: 0, x2: 0, y2: size })));
  }

  /** @param {number} step */
  #grid(step) {
    let gap = step;
    const least = LEAST_GRID_PX * this.mmPerPx;
    for (const times of [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000]) {
      gap = step * times;
      if (gap >= least) break;
    }
    const { x, y, width, height } = this.view;
    const lines = [];
    for (let i = Math.ceil(x / gap); i * gap <= x + width; i++) {
      lines.push(made("line", { class: i % 10 ? "grid-line" : "grid-line bold", x1: i * gap, x2: i * gap, y1: y, y2: y + height }));
    }
    for (let i = Math.ceil(y / gap); i * gap <= y + height; i++) {
      lines.push(made("line", { class: i % 10 ? "grid-line" : "grid-line bold", y1: i * gap, y2: i * gap, x1: x, x2: x + width }));
    }
    return lines;
  }

  /** @param {Shown} shown @param {boolean} closed shapes, or else doors, which cut through walls */
  #things(shown, closed) {
    const wanted = things(shown.drawing).filter((thing) => thing.closed === closed);
    return wanted.map((thing) => {
      const points = written(thing.points);
      const box = bounds(thing.points.length ? thing.points : [[0, 0]]);
      const zone = thing.ref.startsWith("zones.");
      const solid = thing.ref.startsWith("obstacles.");
      const group = made("g", {
        class: `thing ${thing.ref === "outline" ? "frame" : ""} ${zone ? `zone ${thing.kind}` : ""} ${solid ? "solid" : ""} ${thing.closed ? "" : "door"} ${thing.ref === shown.chosen ? "chosen" : ""}`,
        tabindex: 0,
        role: "button",
        "aria-pressed": String(thing.ref === shown.chosen),
        "aria-label": `${thing.label}, ${words(box.east - box.west, shown.units)} by ${words(box.north - box.south, shown.units)}`,
        "data-ref": thing.ref,
        "data-key": thing.ref,
      });
      if (zone || solid) group.append(made("polygon", { points }));
      if (thing.kind === "hole") group.append(made("polygon", { class: "hole", points }));
      if (thing.ref === "outline") group.append(made("polygon", { class: "wall", points }));
      if (!thing.closed) {
        for (const kind of ["gap", "leaf"]) group.append(made("line", { class: kind, x1: thing.points[0][0], y1: -thing.points[0][1], x2: thing.points[1][0], y2: -thing.points[1][1] }));
      }
      group.append(made(thing.closed ? "polygon" : "polyline", { class: "ring", points }), made(thing.closed ? "polygon" : "polyline", { class: "edge", points }));
      if (zone) group.append(made("text", { class: "name", x: (box.west + box.east) / 2, y: -(box.south + box.north) / 2 }, thing.label));
      if (solid && NAMED_SOLIDS.has(thing.kind)) group.append(made("text", { class: "name of-solid", x: (box.west + box.east) / 2, y: -(box.south + box.north) / 2 }, shown.drawing.obstacles[Number(thing.ref.slice(10))].id));
      group.append(made("title", {}, thing.label));
      return group;
    });
  }

  /** @param {Mark} mark */
  #mark(mark) {
    const group = made("g", { class: "fault-mark" });
    if (mark.points.length > 2) group.append(made("polygon", { points: written(mark.points) }));
    if (mark.points.length === 2) group.append(made("polyline", { points: written(mark.points) }));
    const box = bounds(mark.points);
    const [x, y] = [(box.west + box.east) / 2, -(box.south + box.north) / 2];
    group.append(made("circle", { cx: x, cy: y, r: 12 * this.mmPerPx }), made("text", { x, y }, String(mark.number)));
    return group;
  }

  /** @param {Shown} shown @returns {SVGElement[]} a handle on each corner and one between each two */
  #handles(shown) {
    const thing = things(shown.drawing).find((one) => one.ref === shown.chosen);
    if (!thing) return [];
    const box = bounds(thing.points.length ? thing.points : [[0, 0]]);
    const size = Math.max(box.east - box.west, box.north - box.south);
    const r = Math.min(HANDLE_PX * this.mmPerPx, Math.max(size * 0.18, 3 * this.mmPerPx));
    const corners = thing.points.map((at, i) => this.#handle(thing, at, i, r, shown.units));
    if (!thing.closed) return corners;
    const between = thing.points.flatMap((a, i) => {
      const b = thing.points[(i + 1) % thing.points.length];
      if (Math.hypot(b[0] - a[0], b[1] - a[1]) < LEAST_EDGE_PX * this.mmPerPx) return [];
      return made("rect", { class: "handle between", x: (a[0] + b[0]) / 2 - r * 0.6, y: -(a[1] + b[1]) / 2 - r * 0.6, width: r * 1.2, height: r * 1.2, "data-between": i, "aria-hidden": "true" });
    });
    return [...between, ...corners];
  }

  /** @param {Thing} thing @param {Point} at @param {number} i @param {number} r @param {string} units */
  #handle(thing, at, i, r, units) {
    return made("circle", {
      class: "handle", cx: at[0], cy: -at[1], r, tabindex: 0, role: "button", "data-corner": i, "data-key": `${thing.ref}/${i}`,
      "aria-label": `Corner ${i + 1} of ${thing.label}: ${words(at[0], units)}, ${words(at[1], units)}`,
    });
  }
}

