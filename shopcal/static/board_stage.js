// @ts-check
/**
 * The day board's drawing as a place to move steps on: where a pointer is in minutes and rows,
 * which starts are lit, and the step's ghost.
 *
 * @typedef {import("./board_places.js").Places} Places
 * @typedef {import("./board_places.js").Span} Span
 * @typedef {{id: string, name: string, top: number, bottom: number}} Row
 */

const SVG = "http://www.w3.org/2000/svg";

export class Stage {
  /** @param {SVGSVGElement} chart */
  constructor(chart) {
    this.chart = chart;
    const { opens, minutes, left, width, zone } = chart.dataset;
    this.opens = Number(opens);
    this.minutes = Number(minutes);
    this.left = Number(left);
    this.width = Number(width);
    this.clockFormat = new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone });
    /** @type {Row[]} */
    this.rows = [...chart.querySelectorAll("rect.row")].map((rect) => {
      const top = Number(rect.getAttribute("y"));
      const { row = "", name = "" } = /** @type {SVGElement} */ (rect).dataset;
      return { id: row, name, top, bottom: top + Number(rect.getAttribute("height")) };
    });
    /** @type {SVGGElement | null} */
    this.lit = null;
    /** @type {SVGGElement | null} */
    this.ghost = null;
  }

  /** @param {number} minute */
  clock(minute) {
    return this.clockFormat.format(minute * 60000);
  }

  /** @param {number} minute */
  x(minute) {
    return this.left + ((minute - this.opens) / this.minutes) * this.width;
  }

  /** Minute and row under a point of the screen. @param {number} clientX @param {number} clientY */
  under(clientX, clientY) {
    const spot = new DOMPoint(clientX, clientY).matrixTransform(this.chart.getScreenCTM()?.inverse());
    const minute = this.opens + ((spot.x - this.left) / this.width) * this.minutes;
    return { minute, row: this.rowAt(spot.y) };
  }

  /** @param {number} y @returns {Row} */
  rowAt(y) {
    const away = (/** @type {Row} */ row) => Math.max(row.top - y, y - row.bottom, 0);
    return this.rows.reduce((best, row) => (away(row) < away(best) ? row : best));
  }

  /** @param {string} id */
  row(id) {
    return this.rows.find((row) => row.id === id);
  }

  /** Where a start in a row is on the screen. @param {string} rowId @param {number} minute */
  onScreen(rowId, minute) {
    const row = this.row(rowId) ?? this.rows[0];
    return new DOMPoint(this.x(minute), row.bottom).matrixTransform(this.chart.getScreenCTM() ?? undefined);
  }

  /** Light the starts that are possible, and dim the rest. @param {Places} places */
  light(places) {
    this.dark();
    const group = drawn("g", { class: "where" });
    // The best last, for what is lit reaches to the step's end and so over its neighbours.
    for (const kind of ["late", "along", "open"]) {
      for (const row of this.rows) {
        const spans = (places.rows.get(row.id) ?? []).filter((span) => span.kind === kind);
        for (const span of spans) this.#span(group, row, span, places.minutes);
      }
    }
    const first = this.chart.querySelector(".bar, .empty-says, .now");
    this.chart.insertBefore(group, first);
    this.lit = group;
  }

  /** @param {SVGElement} group @param {Row} row @param {Span} span @param {number} minutes */
  #span(group, row, span, minutes) {
    const from = Math.max(this.left, this.x(span.first));
    const to = Math.min(this.left + this.width, this.x(span.last + minutes));
    if (to <= from) return;
    const box = { x: from, y: row.top + 1, width: to - from, height: row.bottom - row.top - 2 };
    group.append(drawn("rect", { ...box, class: `start ${span.kind}` }));
  }

  /**
   * The step where it would stand; shut where it cannot.
   * @param {string[]} rowIds @param {number} minute @param {number} minutes @param {string} kind @param {string} words
   */
  show(rowIds, minute, minutes, kind, words) {
    const group = drawn("g", { class: `ghost ${kind}` });
    const x = this.x(minute);
    const width = this.x(minute + minutes) - x;
    for (const id of rowIds) {
      const row = this.row(id);
      if (!row) continue;
      group.append(drawn("rect", { x, y: row.top + 3, width, height: row.bottom - row.top - 6, rx: 4 }));
      const label = drawn("text", { x: x + 6, y: Math.min(row.top + 20, row.bottom - 8) });
      label.textContent = words;
      group.append(label);
    }
    this.ghost?.remove();
    this.chart.append(group);
    this.ghost = group;
  }

  dark() {
    this.lit?.remove();
    this.ghost?.remove();
    this.lit = this.ghost = null;
  }
}

/** @param {string} name @param {Record<string, string | number>} facts @returns {any} */
function drawn(name, facts) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(facts)) element.setAttribute(key, String(value));
  return element;
}
