// @ts-check
/**
 * Holds what is drawn to the grid and to edges that are there already.
 *
 * @typedef {import("./draw_model.js").Point} Point
 * @typedef {import("./draw_model.js").Drawing} Drawing
 * @typedef {{x: number, y: number, guides: [Point, Point][]}} Held
 */

import { things } from "./draw_model.js";

export class Snap {
  /** @param {Drawing} drawing @param {string} except the thing that is being drawn */
  constructor(drawing, except) {
    const others = things(drawing).filter((thing) => thing.ref !== except);
    /** @type {Point[]} */ this.corners = others.flatMap((thing) => thing.points);
    /** @type {[Point, Point][]} */
    this.edges = others.flatMap((thing) =>
      thing.points
        .map((point, i) => /** @type {[Point, Point]} */ ([point, thing.points[(i + 1) % thing.points.length]]))
        .slice(0, thing.closed ? undefined : -1),
    );
    /** @type {[Point, Point][]} */
    this.walls = others
      .filter((thing) => thing.kind === "outline" || thing.kind === "hole")
      .flatMap((thing) => thing.points.map((point, i) => /** @type {[Point, Point]} */ ([point, thing.points[(i + 1) % thing.points.length]])));
  }

  /**
   * How far to move further so that the points are held: each direction by itself, to the line of a
   * corner first, then to the grid.
   * @param {Point[]} points @param {{step: number, grid: boolean, edges: boolean, near: number}} how
   * @returns {Held}
   */
  hold(points, how) {
    const [first] = points;
    /** @type {Held} */
    const held = { x: 0, y: 0, guides: [] };
    const x = how.edges ? this.#nearest(points, 0, how.near) : null;
    const y = how.edges ? this.#nearest(points, 1, how.near) : null;
    if (x) {
      held.x = x.by;
      held.guides.push([[x.at[0], x.at[1]], [x.at[0], x.from[1]]]);
    } else if (how.grid) held.x = Math.round(first[0] / how.step) * how.step - first[0];
    if (y) {
      held.y = y.by;
      held.guides.push([[y.at[0], y.at[1]], [y.from[0], y.at[1]]]);
    } else if (how.grid) held.y = Math.round(first[1] / how.step) * how.step - first[1];
    if (!x && !y && how.edges && points.length === 1) {
      const on = this.#onEdge(points[0], this.edges, how.near);
      if (on) [held.x, held.y] = [on[0] - first[0], on[1] - first[1]];
    }
    return held;
  }

  /** @param {Point} point @returns {Point} the nearest place on a wall, whole millimetres */
  onWall(point) {
    const on = this.#onEdge(point, this.walls, Infinity) ?? point;
    return [Math.round(on[0]), Math.round(on[1])];
  }

  /** @param {Point[]} points @param {0 | 1} axis @param {number} near */
  #nearest(points, axis, near) {
    /** @type {{by: number, at: Point, from: Point} | null} */
    let best = null;
    for (const from of points) {
      for (const at of this.corners) {
        const by = at[axis] - from[axis];
        if (Math.abs(by) <= near && (!best || Math.abs(by) < Math.abs(best.by))) best = { by, at, from };
      }
    }
    return best;
  }

  /** @param {Point} point @param {[Point, Point][]} edges @param {number} near @returns {Point | null} */
  #onEdge(point, edges, near) {
    /** @type {Point | null} */
    let best = null;
    let least = near;
    for (const [a, b] of edges) {
      const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
      const size = dx * dx + dy * dy;
      const along = size ? Math.max(0, Math.min(1, ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / size)) : 0;
      const on = /** @type {Point} */ ([a[0] + along * dx, a[1] + along * dy]);
      const off = Math.hypot(on[0] - point[0], on[1] - point[1]);
      if (off <= least) [best, least] = [on, off];
    }
    return best;
  }
}
