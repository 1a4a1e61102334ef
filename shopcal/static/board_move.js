// @ts-check
/**
 * Steps moved by hand on the day board: dragged, held on a tablet, or taken with the keyboard.
 * Where a step can go is asked once when it is taken. The drawing is not exchanged meanwhile.
 *
 * @typedef {import("./board_places.js").Span} Span
 * @typedef {{
 *   bar: SVGElement, stage: Stage, places: Places | null, by: "hand" | "keys", offset: number,
 *   row: string, minute: number, asked: Promise<void>, missed: boolean, dropping: boolean,
 * }} Held
 */

import { Acts, refresh } from "./board_acts.js";
import { ask } from "./board_asking.js";
import { askFirst } from "./board_dialog.js";
import { Hands } from "./board_hands.js";
import { neighbour } from "./board_keys.js";
import { GRID, Places } from "./board_places.js";
import { Stage } from "./board_stage.js";
import { Strip } from "./board_strip.js";

const STAYS = "It stays where it was.";
const LEGEND = "Lit places are open: ● as it is, ▸ with what follows moving along, ◆ past the promise.";

class Board {
  constructor() {
    /** @type {Held | null} */
    this.held = null;
    this.strip = new Strip((pinned) => void this.acts.keep(pinned));
    this.acts = new Acts(this.strip);
    this.hands = new Hands({
      take: (bar, event) => this.take(bar, "hand", event),
      move: (event) => this.drag(event),
      drop: () => void this.drop(),
      leave: () => this.leave(""),
    });
    document.addEventListener("keydown", (event) => this.key(event), true);
    document.addEventListener("focusin", (event) => this.#focused(event));
    document.addEventListener("click", (event) => {
      if (!this.held && /** @type {Element} */ (event.target).closest("[data-undo]")) void this.acts.undo();
    });
    document.body.addEventListener("htmx:beforeRequest", (event) => this.hold(event));
    document.body.addEventListener("htmx:beforeSwap", (event) => this.hold(event));
  }

  /** A board that is being moved on is not torn away; it is fetched again afterwards. @param {any} event */
  hold(event) {
    const target = event.detail.target ?? event.detail.elt;
    if (!this.held || target?.id !== "day-panel") return;
    if (!this.held.missed) void this.#places(this.held); // the plan has changed: what is open may have
    this.held.missed = true;
    event.preventDefault();
  }

  /** @param {SVGElement} bar @param {"hand" | "keys"} by @param {PointerEvent} [event] */
  take(bar, by, event) {
    const chart = /** @type {SVGSVGElement} */ (bar.closest("svg"));
    const stage = new Stage(chart);
    const minute = Number(bar.dataset.from);
    const offset = event ? stage.under(event.clientX, event.clientY).minute - minute : 0;
    const row = bar.dataset.row ?? "";
    const held = { bar, stage, places: null, by, offset, row, minute, asked: Promise.resolve(), missed: false, dropping: false };
    this.held = held;
    bar.classList.add("held");
    chart.classList.add("moving");
    this.strip.tell(`Looking where ${nameOf(bar)} can go…`);
    held.asked = this.#places(held);
  }

  /** @param {Held} held */
  async #places(held) {
    const answer = await ask(this.strip.url("places", held.bar.dataset.step, true));
    if (this.held !== held) return;
    if (!answer.ok) {
      this.leave(answer.says);
      return;
    }
    held.places = new Places(answer.told);
    held.stage.light(held.places);
    this.strip.choose(held.places.step, held.places.version, held.places.name, held.places.pinned);
    if (held.by === "keys" && held.places.at(held.row, held.minute)?.kind === "shut") {
      held.minute = held.places.nearest(held.row, held.minute) ?? held.minute;
    }
    if (held.by === "hand") this.strip.tell(LEGEND);
    this.#show(`${held.places.name} is in your hand. `);
  }

  /** @param {PointerEvent} event */
  drag(event) {
    const held = this.held;
    if (!held || held.dropping) return;
    const under = held.stage.under(event.clientX, event.clientY);
    held.minute = Math.round((under.minute - held.offset) / GRID) * GRID;
    held.row = under.row.id;
    this.#show("", event);
  }

  /** The ghost where it is now, and in words what that means. @param {string} first @param {PointerEvent} [event] */
  #show(first, event) {
    const held = this.held;
    if (!held) return;
    const minutes = held.places?.minutes ?? 15;
    const span = held.places?.at(held.row, held.minute) ?? null;
    const rows = span && held.places ? held.places.rowsOf(span) : [];
    const words = this.#words(held, span);
    held.stage.show(rows.includes(held.row) ? rows : [held.row], held.minute, minutes, span?.kind ?? "asking", held.stage.clock(held.minute));
    const spot = event ? { x: event.clientX, y: event.clientY } : held.stage.onScreen(held.row, held.minute);
    this.strip.tip(words, spot.x, spot.y, span?.kind ?? "asking");
    if (held.by === "keys") this.strip.tell(`${first}${words}`);
  }

  /** @param {Held} held @param {Span | null} span */
  #words(held, span) {
    if (!held.places) return "Looking where it can go…";
    if (!span) return `${held.stage.row(held.row)?.name}: nothing is planned there.`;
    const clock = (/** @type {number} */ minute) => held.stage.clock(minute);
    return held.places.words(span, clock(held.minute), clock(held.minute + held.places.minutes));
  }

  async drop() {
    const held = this.held;
    if (!held || held.dropping) return;
    held.dropping = true;
    await held.asked;
    if (this.held !== held || !held.places) return;
    const span = held.places.at(held.row, held.minute);
    if (!span || span.kind === "shut") return this.leave(`${STAYS} ${this.#words(held, span)}`);
    if (held.places.same(span, held.minute)) return this.leave(STAYS);
    const body = { starts_at: new Date(held.minute * 60000).toISOString(), place: span.place, technician: span.technician };
    let answer = await this.#send(held.places, body);
    if (answer.code === "moves_more") {
      if (!(await askFirst(held.places.name, answer))) return this.leave(STAYS);
      answer = await this.#send(held.places, { ...body, also_moves: true });
    }
    if (answer.ok) {
      this.strip.choose(answer.told.step, answer.told.version, held.places.name, answer.told.pinned);
      held.missed = true;
    }
    return this.leave(answer.ok ? `Moved. ${answer.told.changes.join("; ")}.` : answer.says);
  }

  /** @param {Places} places @param {object} body */
  #send(places, body) {
    return ask(this.strip.url("move", places.step), { method: "POST", body, version: places.version });
  }

  /** Let go of what is held. @param {string} says */
  leave(says) {
    const held = this.held;
    if (!held) return;
    this.held = null;
    held.stage.dark();
    held.stage.chart.classList.remove("moving");
    held.bar.classList.remove("held");
    this.hands.free();
    this.strip.tip("", 0, 0, "");
    if (says) this.strip.tell(says);
    if (held.missed) refresh();
  }

  /** The step one goes to is the one that may be kept. @param {FocusEvent} event */
  #focused(event) {
    const bar = barOf(event.target);
    if (!bar || this.held || bar.dataset.movable === undefined) return;
    const { step, version, pinned } = bar.dataset;
    this.strip.choose(Number(step), Number(version), nameOf(bar), pinned !== undefined);
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (document.querySelector("dialog[open]")) return;
    if (this.held) this.#heldKey(event, this.held);
    else this.#freeKey(event);
  }

  /** @param {KeyboardEvent} event @param {Held} held */
  #heldKey(event, held) {
    if (event.key === "Escape" || event.key === "Tab") this.leave(STAYS);
    else if (held.by !== "keys" || event.altKey || event.metaKey) return;
    else if (event.key === "Enter" || event.key === " ") void this.drop();
    else if (event.key.startsWith("Arrow")) this.#step(event, held);
    else return;
    if (event.key !== "Tab") event.preventDefault();
    event.stopPropagation();
  }

  /** From one open place to the next. @param {KeyboardEvent} event @param {Held} held */
  #step(event, held) {
    if (!held.places || held.dropping) return;
    const places = held.places;
    const way = event.key === "ArrowRight" || event.key === "ArrowDown" ? 1 : -1;
    const was = { row: held.row, minute: held.minute };
    let passed = "";
    if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
      const next = places.next(held.row, held.minute, way, event.shiftKey ? 60 : GRID);
      if (next !== null) passed = places.between(held.row, held.minute, next);
      held.minute = next ?? held.minute;
    } else {
      const rows = held.stage.rows.filter((row) => places.hasRoom(row.id) || row.id === held.row);
      const row = rows[rows.findIndex((one) => one.id === held.row) + way] ?? null;
      held.minute = (row && places.nearest(row.id, held.minute)) ?? held.minute;
      held.row = row?.id ?? held.row;
    }
    const still = was.row === held.row && was.minute === held.minute;
    const name = was.row === held.row ? "" : `${held.stage.row(held.row)?.name}: `;
    const why = still ? "There is no further open place that way. " : passed && `Passed over: ${passed}. `;
    this.#show(`${name}${why}`);
  }

  /** @param {KeyboardEvent} event */
  #freeKey(event) {
    const key = event.key.toLowerCase();
    const target = /** @type {Element} */ (event.target);
    if (key === "z" && (event.ctrlKey || event.metaKey) && !event.shiftKey && !target.closest("input, textarea, select")) {
      event.preventDefault();
      void this.acts.undo();
      return;
    }
    const bar = barOf(target);
    if (!bar || event.ctrlKey || event.metaKey || event.altKey) return;
    const movable = bar.dataset.movable !== undefined;
    if (key === "m" && movable) this.take(bar, "keys");
    else if (key === "p" && movable) void this.acts.keep(bar.dataset.pinned === undefined);
    else if (key.startsWith("arrow")) neighbour(bar, event.key)?.focus();
    else return;
    event.preventDefault();
  }
}

/** @param {EventTarget | null} target @returns {SVGElement | null} */
function barOf(target) {
  return target instanceof Element ? target.closest("a.bar[data-step]") : null;
}

/** `2891 Front camera`, from `2891, Heron Sedan: Front camera. 9:00 to …`. @param {SVGElement} bar */
function nameOf(bar) {
  const [, reference, label] = /^([^,:]*)[^:]*: ([^.]*)/.exec(bar.querySelector("title")?.textContent ?? "") ?? [];
  return `${reference} ${label}`;
}

if (document.querySelector("[data-board-moves]")) new Board();
