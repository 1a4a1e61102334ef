// @ts-check
/**
 * The drawing as plain values, and what can be asked of it and changed in it without a server.
 * Lengths in millimetres, y upwards. What things are called, and what follows from removing one,
 * is decided by the server alone.
 *
 * @typedef {[number, number]} Point
 * @typedef {{id: string, name: string, kind: string, polygon: Point[]}} Zone
 * @typedef {{id: string, kind: string, polygon: Point[]}} Obstacle
 * @typedef {{id: string, from: Point, to: Point, height_mm?: number}} Door
 * @typedef {{id: string, name: string, zones: string[], centre: Point, heading_deg: number}} Bay
 * @typedef {{name: string, outline: Point[], holes: Point[][], obstacles: Obstacle[],
 *   doors: Door[], zones: Zone[], bays: Bay[]}} Drawing
 * @typedef {{ref: string, kind: string, label: string, points: Point[], closed: boolean}} Thing
 */

/** @param {Drawing} drawing @returns {Thing[]} those on top last */
export function things(drawing) {
  /** @type {Thing[]} */
  const found = [{ ref: "outline", kind: "outline", label: "Outline", points: drawing.outline, closed: true }];
  drawing.zones.forEach((zone, i) => {
    found.push({ ref: `zones.${i}`, kind: zone.kind, label: zone.name || zone.id, points: zone.polygon, closed: true });
  });
  drawing.holes.forEach((hole, i) => {
    found.push({ ref: `holes.${i}`, kind: "hole", label: `Hole ${i + 1}`, points: hole, closed: true });
  });
  drawing.obstacles.forEach((row, i) => {
    found.push({ ref: `obstacles.${i}`, kind: row.kind, label: `${row.kind} ${row.id}`, points: row.polygon, closed: true });
  });
  drawing.doors.forEach((door, i) => {
    found.push({ ref: `doors.${i}`, kind: "door", label: /door/i.test(door.id) ? door.id : `door ${door.id}`, points: [door.from, door.to], closed: false });
  });
  return found.filter((thing) => thing.points.length > 0 || thing.ref === "outline");
}

/** @param {Drawing} drawing @param {string} ref @returns {Thing | undefined} */
export function thingAt(drawing, ref) {
  return things(drawing).find((thing) => thing.ref === ref);
}

/**
 * The drawing with other corners for one thing.
 * @param {Drawing} drawing @param {string} ref @param {Point[]} points @returns {Drawing}
 */
export function withPoints(drawing, ref, points) {
  const changed = structuredClone(drawing);
  const [key, number] = ref.split(".");
  const at = Number(number);
  if (key === "outline") changed.outline = points;
  if (key === "holes") changed.holes[at] = points;
  if (key === "zones") changed.zones[at].polygon = points;
  if (key === "obstacles") changed.obstacles[at].polygon = points;
  if (key === "doors") [changed.doors[at].from, changed.doors[at].to] = [points[0], points[1]];
  return changed;
}

/** @param {Point[]} points @param {number} dx @param {number} dy @returns {Point[]} */
export function moved(points, dx, dy) {
  return points.map(([x, y]) => [Math.round(x + dx), Math.round(y + dy)]);
}

/** @param {Point} a @param {Point} b @returns {Point[]} the rectangle between two corners */
export function rectangle(a, b) {
  const [x0, x1] = [Math.min(a[0], b[0]), Math.max(a[0], b[0])];
  const [y0, y1] = [Math.min(a[1], b[1]), Math.max(a[1], b[1])];
  return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
}

/** @param {Point[]} points */
export function bounds(points) {
  const xs = points.map((point) => point[0]);
  const ys = points.map((point) => point[1]);
  return { west: Math.min(...xs), south: Math.min(...ys), east: Math.max(...xs), north: Math.max(...ys) };
}

/**
 * A length in the shop's units, for reading while drawing; exact ones stand in the form.
 * @param {number} mm @param {string} units
 */
export function words(mm, units) {
  if (units !== "us") return `${Math.round(mm)} mm`;
  const inches = Math.round(mm / 2.54) / 10;
  const feet = Math.floor(inches / 12);
  const rest = Math.round((inches - feet * 12) * 10) / 10;
  return feet ? `${feet} ft ${rest} in` : `${rest} in`;
}

/** What was drawn before and can be had back. */
export class Undo {
  constructor() {
    /** @type {Drawing[]} */ this.past = [];
    /** @type {Drawing[]} */ this.future = [];
  }

  /** @param {Drawing} drawing as it was before a change */
  keep(drawing) {
    this.past.push(drawing);
    if (this.past.length > 200) this.past.shift();
    this.future = [];
  }

  /** @param {Drawing} now */
  back(now) {
    const before = this.past.pop();
    if (before) this.future.push(now);
    return before;
  }

  /** @param {Drawing} now */
  again(now) {
    const after = this.future.pop();
    if (after) this.past.push(now);
    return after;
  }
}
