// @ts-check
/**
 * Drawing the shop. The server keeps the drawing, judges it, names things and says what is wrong;
 * this page moves corners about and shows at once what the server said last.
 *
 * @typedef {import("./draw_model.js").Point} Point
 * @typedef {import("./draw_model.js").Drawing} Drawing
 * @typedef {import("./draw_saving.js").Answer} Answer
 * @typedef {import("./draw_saving.js").Refusal} Refusal
 */

import { Canvas } from "./draw_canvas.js";
import { Hands } from "./draw_hands.js";
import { Undo, thingAt, withPoints } from "./draw_model.js";
import { Saving } from "./draw_saving.js";

/** @param {string} id */
function part(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`the page lacks ${id}`);
  return found;
}

/** @param {HTMLElement} page */
function begin(page) {
  const boot = JSON.parse(part("draw-boot").textContent ?? "{}");
  /** @type {Drawing} */
  let drawing = whole(boot.drawing);
  let chosen = /** @type {string} */ (boot.ref);
  let rest = boot.rest;
  let marks = boot.marks;
  let tool = "";
  const units = /** @type {string} */ (boot.units);
  const undo = new Undo();
  const canvas = new Canvas(part("canvas"));
  const step = /** @type {HTMLSelectElement} */ (part("step"));
  const hint = part("draw-hint");
  const firstHint = "Drag things and corners, or choose one and use the arrow keys. Everything can be typed.";

  const saving = new Saving({
    saveUrl: page.dataset.saveUrl ?? "",
    thingUrl: page.dataset.thingUrl ?? "",
    token: /** @type {HTMLInputElement} */ (document.querySelector("[name=csrfmiddlewaretoken]")).value,
    version: boot.version,
    state: () => ({ drawing, ref: chosen }),
    onanswer: take,
    onrefused: refuse,
    onsay: say,
  });

  function draw() {
    canvas.draw({ drawing, rest, marks, units, chosen, step: Number(step.value) });
    for (const button of document.querySelectorAll("[data-do=undo], [data-do=redo]")) {
      const list = button.getAttribute("data-do") === "undo" ? undo.past : undo.future;
      /** @type {HTMLButtonElement} */ (button).disabled = list.length === 0;
    }
  }

  /** @param {string} words */
  function say(words) {
    hint.textContent = words;
    part("draw-says").textContent = words;
  }

  /** @param {Drawing} changed */
  function change(changed) {
    undo.keep(drawing);
    show(changed);
  }

  /** @param {Drawing} changed */
  function show(changed) {
    drawing = changed;
    draw();
    saving.changed();
  }

  /**
   * @param {Answer} answer
   * @param {boolean} current nothing was drawn since it was asked for
   * @param {boolean} acted it answers a form, so what is typed in one is used up
   */
  function take(answer, current, acted) {
    part("draw-refusal").replaceChildren();
    for (const field of document.querySelectorAll("input[name=version]")) {
      /** @type {HTMLInputElement} */ (field).value = String(answer.version);
    }
    if (current) {
      const before = JSON.stringify(drawing);
      const given = whole(answer.drawing);
      if (answer.ref !== chosen || JSON.stringify({ ...given, bays: [] }) !== JSON.stringify({ ...drawing, bays: [] })) {
        if (before !== JSON.stringify(given)) undo.keep(drawing);
      }
      [drawing, rest, marks, chosen] = [given, answer.rest, answer.marks, answer.ref];
    } else {
      const middles = new Map(answer.drawing.bays.map((bay) => [bay.id, bay.centre]));
      for (const bay of drawing.bays) bay.centre = middles.get(bay.id) ?? bay.centre;
    }
    fill("part-state", answer.parts.state);
    fill("part-list", answer.parts.list);
    if (current && (acted || answer.ref !== shownRef() || !isTyping())) fill("part-thing", answer.parts.thing);
    draw();
    if (document.activeElement === canvas.svg) focusOn(chosen);
  }

  /** @param {string} ref */
  function focusOn(ref) {
    const found = canvas.svg.querySelector(`[data-key="${CSS.escape(ref)}"]`);
    if (found instanceof SVGElement) found.focus({ preventScroll: true });
  }

  function shownRef() {
    return /** @type {HTMLInputElement | null} */ (part("part-thing").querySelector("[name=ref]"))?.value ?? "";
  }

  function isTyping() {
    const here = document.activeElement;
    return here instanceof HTMLElement && part("part-thing").contains(here) && here.matches("input, textarea, select");
  }

  /** @param {string} id @param {string} html from the server's own templates */
  function fill(id, html) {
    const place = part(id);
    const open = [...place.querySelectorAll("details")].map((one) => one.open);
    const focused = document.activeElement instanceof HTMLElement && place.contains(document.activeElement) ? document.activeElement : null;
    const again = focused?.id ? `#${CSS.escape(focused.id)}` : focused?.dataset.ref ? `[data-ref="${focused.dataset.ref}"]` : "";
    place.innerHTML = html;
    place.querySelectorAll("details").forEach((one, i) => (one.open ||= open[i] ?? false));
    if (again) /** @type {HTMLElement | null} */ (place.querySelector(again))?.focus();
  }

  /** @param {Refusal} refusal */
  function refuse(refusal) {
    const note = document.createElement("div");
    note.className = "note stop";
    const title = document.createElement("p");
    title.textContent = `■ ${refusal.title ?? "This was not saved."}`;
    const detail = document.createElement("p");
    detail.textContent = [refusal.detail, ...(refusal.faults ?? [])].filter(Boolean).join(" ");
    note.append(title, detail);
    if (refusal.code === "draft_changed") {
      const acts = document.createElement("div");
      acts.className = "acts";
      acts.append(
        pressed("Take theirs", () => location.reload()),
        pressed("Keep mine instead", () => void saving.insist(Number(refusal.facts.version))),
      );
      note.append(acts);
    }
    part("draw-refusal").replaceChildren(note);
    note.scrollIntoView({ block: "nearest" });
  }

  /** @param {string} word @param {() => void} act */
  function pressed(word, act) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = word;
    button.addEventListener("click", act);
    return button;
  }

  /** @param {string} ref */
  async function choose(ref) {
    if (ref === chosen && ref === shownRef()) return;
    chosen = ref;
    draw();
    const label = thingAt(drawing, ref)?.label;
    if (label) say(`${label} is chosen. ${firstHint}`);
    if (!(await saving.flush())) return;
    const answer = await fetch(`${page.dataset.pageUrl}?part=thing&ref=${encodeURIComponent(ref)}`);
    if (answer.ok && chosen === ref) fill("part-thing", await answer.text());
    for (const link of document.querySelectorAll("#part-list a[data-ref]")) {
      if (link.getAttribute("data-ref") === ref) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    }
  }

  /** @param {Record<string, string>} values */
  function act(values) {
    const form = new FormData();
    for (const [name, value] of Object.entries(values)) form.set(name, value);
    return saving.act(form);
  }

  /** @param {string} kind */
  function arm(kind) {
    tool = tool === kind ? "" : kind;
    canvas.svg.classList.toggle("armed", tool !== "");
    for (const button of document.querySelectorAll("[data-tool]")) {
      button.setAttribute("aria-pressed", String(button.getAttribute("data-tool") === tool));
    }
    if (!tool) {
      hint.textContent = firstHint;
      return;
    }
    say(tool === "door" ? "Drag along a wall, or press Enter for a usual door in the front wall." : "Drag a rectangle, or press corner by corner. Enter puts one of the usual size in the middle. Esc leaves off.");
    canvas.svg.focus({ preventScroll: true });
  }

  /** @param {"back" | "again"} way */
  function undoOrRedo(way) {
    const found = way === "back" ? undo.back(drawing) : undo.again(drawing);
    if (!found) return;
    if (chosen !== "plan" && !thingAt(found, chosen)) chosen = "";
    show(found);
  }

  const hands = new Hands({
    canvas,
    drawing: () => drawing,
    chosen: () => chosen,
    units: () => units,
    how: () => ({ step: Number(step.value), grid: isOn("snap-grid"), edges: isOn("snap-edges") }),
    tool: () => tool,
    disarm: () => tool && arm(tool),
    choose: (ref) => void choose(ref),
    put: (ref, points) => change(withPoints(drawing, ref, points)),
    add: (kind, points) => void act({ act: "add", kind, ...(points ? { shape: JSON.stringify(points) } : {}) }),
    remove: (ref) => void act({ act: "remove", ref }),
    type: () => /** @type {HTMLElement | null} */ (part("part-thing").querySelector(".thing-form input:not([type=hidden])"))?.focus(),
    undo: () => undoOrRedo("back"),
    redo: () => undoOrRedo("again"),
    say,
  });

  document.addEventListener("submit", (event) => {
    const form = /** @type {HTMLFormElement} */ (event.target);
    if (form.getAttribute("action") !== page.dataset.thingUrl) {
      if ((form.id === "publish" || form.id === "discard-form") && saving.unsaved) {
        event.preventDefault();
        void saving.flush().then((kept) => kept && form.submit());
      }
      return;
    }
    event.preventDefault();
    const values = new FormData(form, /** @type {HTMLElement} */ (event.submitter));
    if (form.id === "tools") arm(String(values.get("kind")));
    else void saving.act(values);
  });

  document.addEventListener("click", (event) => {
    const target = /** @type {Element} */ (event.target);
    const link = target.closest("a[data-ref]");
    if (link && !event.ctrlKey && !event.metaKey) {
      event.preventDefault();
      void choose(link.getAttribute("data-ref") ?? "");
    }
    const named = target.closest("[data-do]")?.getAttribute("data-do");
    if (named === "undo") undoOrRedo("back");
    if (named === "redo") undoOrRedo("again");
    if (named === "larger") canvas.zoom(1 / 1.3);
    if (named === "smaller") canvas.zoom(1.3);
    if (named === "whole") canvas.showWhole(drawing);
  });

  document.addEventListener("keydown", (event) => {
    const inField = /** @type {HTMLElement} */ (event.target).matches?.("input, textarea, select");
    if (event.key === "Escape" && inField && part("part-thing").contains(/** @type {Node} */ (event.target))) {
      focusOn(chosen);
      return;
    }
    if (inField || !(event.ctrlKey || event.metaKey)) return;
    const key = event.key.toLowerCase();
    if (key === "z" && !event.shiftKey) undoOrRedo("back");
    else if (key === "y" || (key === "z" && event.shiftKey)) undoOrRedo("again");
    else return;
    event.preventDefault();
  });

  step.addEventListener("change", draw);
  window.addEventListener("beforeunload", (event) => {
    if (saving.unsaved) event.preventDefault();
  });
  document.addEventListener("visibilitychange", () => document.hidden && void saving.flush());
  for (const hidden of document.querySelectorAll(".scripted")) hidden.removeAttribute("hidden");
  hint.textContent = firstHint;
  canvas.onview = draw;
  canvas.showWhole(drawing);
  return hands;
}

/** @param {string} id */
function isOn(id) {
  return /** @type {HTMLInputElement} */ (part(id)).checked;
}

/** @param {Partial<Drawing>} given @returns {Drawing} with every list present */
function whole(given) {
  return { name: "", outline: [], holes: [], obstacles: [], doors: [], zones: [], bays: [], ...given };
}

const page = document.querySelector(".draw");
if (page instanceof HTMLElement) begin(page);
