// @ts-check
/**
 * Where one step can go: the server's answer, read by row and minute. No page, no drawing.
 *
 * Minutes count from 1970. A row is a zone or a person: `zone:bay-1`, `person:osei`.
 *
 * @typedef {"open" | "along" | "late" | "shut"} Kind
 * @typedef {{first: number, last: number, kind: Kind, says: string, place: string | null, technician: string | null}} Span
 * @typedef {{name: string, rows: string[]}} Place
 */

export const GRID = 5;

export class Places {
  /** @param {any} told the answer of `places/` */
  constructor(told) {
    this.step = Number(told.step);
    this.version = Number(told.version);
    this.name = `${told.ro_number} ${told.name}`;
    this.pinned = Boolean(told.pinned);
    this.minutes = Number(told.minutes);
    this.startsAt = told.starts_at ? minuteOf(told.starts_at) : null;
    this.place = String(told.place);
    this.technician = told.technician;
    /** @type {Map<string, Place>} */
    this.places = new Map(told.places.map((/** @type {any} */ one) => [one.id, one]));
    /** @type {Map<string, string>} */
    this.people = new Map(Object.entries(told.people));
    /** @type {Map<string, Span[]>} */
    this.rows = new Map(told.rows.map((/** @type {any} */ row) => [row.id, row.spans.map(spanOf)]));
  }

  /** @param {string} row @param {number} minute @returns {Span | null} */
  at(row, minute) {
    return this.rows.get(row)?.find((span) => span.first <= minute && minute <= span.last) ?? null;
  }

  /** @param {string} row */
  hasRoom(row) {
    return (this.rows.get(row) ?? []).some((span) => span.kind !== "shut");
  }

  /**
   * The next start that is possible in a row, at least `by` minutes on; null where there is none.
   * @param {string} row @param {number} minute @param {1 | -1} way @param {number} by
   * @returns {number | null}
   */
  next(row, minute, way, by = GRID) {
    const wanted = minute + way * by;
    const spans = (this.rows.get(row) ?? []).filter((span) => span.kind !== "shut");
    const found = spans
      .map((span) => (way > 0 ? Math.max(wanted, span.first) : Math.min(wanted, span.last)))
      .filter((start, at) => spans[at].first <= start && start <= spans[at].last);
    if (!found.length) return null;
    return way > 0 ? Math.min(...found) : Math.max(...found);
  }

  /**
   * The possible start of a row that is nearest to a minute.
   * @param {string} row @param {number} minute @returns {number | null}
   */
  nearest(row, minute) {
    const starts = [this.next(row, minute - GRID, 1), this.next(row, minute + GRID, -1)];
    const known = starts.flatMap((start) => (start === null ? [] : [start]));
    known.sort((a, b) => Math.abs(a - minute) - Math.abs(b - minute));
    return known[0] ?? null;
  }

  /**
   * Why a stretch of a row was passed over, in words; empty where nothing was.
   * @param {string} row @param {number} from @param {number} to
   */
  between(row, from, to) {
    const [low, high] = from < to ? [from, to] : [to, from];
    const shut = (this.rows.get(row) ?? []).filter((s) => s.kind === "shut" && s.first < high && s.last > low);
    return [...new Set(shut.map((span) => span.says))].slice(0, 2).join("; ");
  }

  /** The rows a step would stand in: its place's zones and its technician. @param {Span} span */
  rowsOf(span) {
    const floor = span.place ? (this.places.get(span.place)?.rows ?? []) : [];
    return span.technician ? [...floor, `person:${span.technician}`] : floor;
  }

  /** Where and by whom, in words. @param {Span} span */
  who(span) {
    const place = span.place ? (this.places.get(span.place)?.name ?? "") : "";
    const person = span.technician ? (this.people.get(span.technician) ?? "") : "";
    return [place, person].filter(Boolean).join(", ");
  }

  /** What a start there means, in words. @param {Span} span @param {string} from @param {string} until */
  words(span, from, until) {
    if (span.kind === "shut") return `${sentence(span.says)}.`;
    const where = `${from} to ${until}, ${this.who(span)}.`;
    return span.says ? `${where} ${sentence(span.says)}.` : where;
  }

  /** Whether it would stay as it is. @param {Span} span @param {number} minute */
  same(span, minute) {
    return minute === this.startsAt && span.place === this.place && span.technician === this.technician;
  }
}

/** @param {string} words */
function sentence(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}

/** @param {string} text a moment */
function minuteOf(text) {
  return Math.round(Date.parse(text) / 60000);
}

/** @param {any} told @returns {Span} */
function spanOf(told) {
  return { ...told, first: minuteOf(told.first), last: minuteOf(told.last) };
}
