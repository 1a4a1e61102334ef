// @ts-check
/**
 * A vehicle on the map, moved by hand: dragged, turned by the ring before its nose, or by keys.
 * It follows at once; what it meets there comes from the server, the last answer winning.
 *
 * @typedef {{x: number, y: number, heading: number}} Pose millimetres and degrees of the plan
 */

const ASK_EVERY_MS = 100;
const GIVE_UP_MS = 20000; // the first way in of a vehicle takes seconds
const FIELDS = ["x", "y", "heading"];

const form = /** @type {HTMLFormElement | null} */ (document.getElementById("place-form"));
const stage = document.getElementById("place-stage");
if (form && stage) place(form, stage);

/** @param {HTMLFormElement} form @param {HTMLElement} stage */
function place(form, stage) {
  /** @type {Pose | null} */
  let pose = null;
  /** @type {{from: DOMPoint, pose: Pose, turning: boolean} | null} */
  let drag = null;
  let moved = 0; // counts what people do
  let answered = 0; // the newest of it that has been answered
  let inFlight = false;
  let waiting = 0;
  let askedAt = 0;
  /** @type {Record<string, string>} what the next question says beside the pose */
  let extra = {};

  const pad = stage.parentElement?.querySelector("[data-pad]");
  if (pad instanceof HTMLElement) pad.hidden = false;
  take();

  stage.addEventListener("pointerdown", (event) => {
    const target = /** @type {Element} */ (event.target);
    if (!pose || event.button !== 0 || !target.closest("[data-placed]")) return;
    event.preventDefault();
    stage.focus({ preventScroll: true });
    stage.setPointerCapture(event.pointerId);
    drag = { from: onFloor(event), pose, turning: target.closest("[data-turn]") !== null };
    stage.classList.add("dragging");
  });
  stage.addEventListener("pointermove", (event) => {
    if (drag) move(dragged(drag, onFloor(event)));
  });
  for (const end of ["pointerup", "pointercancel"]) {
    stage.addEventListener(end, () => {
      if (!drag) return;
      drag = null;
      stage.classList.remove("dragging");
    });
  }
  stage.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && drag) {
      move(drag.pose);
      drag = null;
      return;
    }
    const to = keyed(event);
    if (!to) return;
    event.preventDefault();
    move(to);
  });
  pad?.addEventListener("click", (event) => {
    const button = /** @type {Element} */ (event.target).closest("button");
    if (!button || !pose) return;
    const [right, up] = (button.dataset.move ?? "0,0").split(",").map(Number);
    const step = Number(stage.dataset.step);
    move({ x: pose.x + right * step, y: pose.y + up * step, heading: pose.heading + Number(button.dataset.turn ?? 0) });
  });
  form.addEventListener("change", (event) => {
    const field = /** @type {HTMLInputElement | HTMLSelectElement} */ (event.target);
    if (!field.value) return;
    pose = null; // as typed, not as dragged
    changed();
    if (!FIELDS.includes(field.name)) lookForPlaces();
  });
  form.addEventListener("submit", (event) => {
    const button = /** @type {HTMLButtonElement | null} */ (event.submitter);
    if (button?.name !== "find") return;
    event.preventDefault();
    extra = { find: button.value };
    changed();
  });
  document.body.addEventListener("click", (event) => {
    const link = /** @type {Element} */ (event.target).closest("a[data-put]");
    if (!(link instanceof HTMLAnchorElement) || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    for (const name of FIELDS) field(name).value = link.dataset[name] ?? "";
    pose = null;
    changed();
    stage.scrollIntoView({ block: "nearest" });
  });

  /** @param {string} name */
  function field(name) {
    return /** @type {HTMLInputElement} */ (form.elements.namedItem(name));
  }

  function map() {
    return /** @type {HTMLElement} */ (document.getElementById("place-map"));
  }

  /** @param {PointerEvent} event */
  function onFloor(event) {
    const svg = /** @type {SVGSVGElement} */ (map().querySelector("svg"));
    const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM()?.inverse());
    const { scale, left, top, lowX, highY } = map().dataset;
    return new DOMPoint(Number(lowX) + (spot.x - Number(left)) / Number(scale), Number(highY) - (spot.y - Number(top)) / Number(scale));
  }

  /** @param {{from: DOMPoint, pose: Pose, turning: boolean}} drag @param {DOMPoint} to @returns {Pose} */
  function dragged(drag, to) {
    const start = drag.pose;
    if (drag.turning) {
      const degrees = (Math.atan2(to.y - start.y, to.x - start.x) * 180) / Math.PI;
      return { ...start, heading: Math.round(degrees) };
    }
    const snap = Number(stage.dataset.fine);
    const snapped = (/** @type {number} */ value) => Math.round(value / snap) * snap;
    return { ...start, x: snapped(start.x + to.x - drag.from.x), y: snapped(start.y + to.y - drag.from.y) };
  }

  /** @param {KeyboardEvent} event @returns {Pose | null} */
  function keyed(event) {
    if (!pose || event.metaKey || event.altKey) return null;
    const step = Number(event.shiftKey ? stage.dataset.fine : event.ctrlKey ? stage.dataset.coarse : stage.dataset.step);
    const angle = event.shiftKey ? 1 : 5;
    /** @type {Record<string, [number, number, number]>} */
    const keys = {
      ArrowLeft: [-step, 0, 0], ArrowRight: [step, 0, 0], ArrowUp: [0, step, 0], ArrowDown: [0, -step, 0],
    };
    if (!event.ctrlKey) {
      for (const key of ["[", "{", "r", "R"]) keys[key] = [0, 0, angle];
      for (const key of ["]", "}"]) keys[key] = [0, 0, -angle];
    }
    const by = keys[event.key];
    return by ? { x: pose.x + by[0], y: pose.y + by[1], heading: pose.heading + by[2] } : null;
  }

  /** @param {Pose} to */
  function move(to) {
    pose = { ...to, heading: ((to.heading % 360) + 360) % 360 };
    draw();
    changed();
  }

  /** The vehicle follows the hand; distances that no longer hold are taken away. */
  function draw() {
    const placed = map().querySelector("[data-placed]");
    if (!pose || !placed) return;
    const { scale, left, top, lowX, highY } = map().dataset;
    const across = Number(left) + (pose.x - Number(lowX)) * Number(scale);
    const down = Number(top) + (Number(highY) - pose.y) * Number(scale);
    placed.setAttribute("transform", `translate(${across} ${down}) rotate(${-pose.heading})`);
    for (const old of map().querySelectorAll("[data-dimensions], .move, .move-name")) old.remove();
  }

  function changed() {
    moved += 1;
    soon();
  }

  function soon() {
    if (inFlight || waiting) return;
    const wait = Math.max(0, askedAt + ASK_EVERY_MS - performance.now());
    waiting = window.setTimeout(() => {
      waiting = 0;
      void ask();
    }, wait);
  }

  /** @returns {URLSearchParams} */
  function question() {
    const query = new URLSearchParams();
    for (const [name, value] of new FormData(form)) query.set(name, String(value));
    if (pose) {
      query.set("x", `${pose.x.toFixed(2)} mm`);
      query.set("y", `${pose.y.toFixed(2)} mm`);
      query.set("heading", String(pose.heading));
    }
    return query;
  }

  async function ask() {
    const number = moved;
    const query = question();
    for (const [name, value] of Object.entries(extra)) query.set(name, value);
    extra = {};
    inFlight = true;
    askedAt = performance.now();
    stage.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(`${form.dataset.panel}?${query}`, { signal: AbortSignal.timeout(GIVE_UP_MS) });
      if (number < answered || !(answer.ok || answer.status === 422)) return;
      answered = number;
      show(await answer.text(), answer.ok, number === moved);
    } catch {
      // Not reached: the vehicle stays where it was put, and the next move asks again.
    } finally {
      inFlight = false;
      stage.setAttribute("aria-busy", "false");
      if (moved > number) soon();
    }
  }

  /** @param {string} text @param {boolean} ok @param {boolean} newest nothing was moved since */
  function show(text, ok, newest) {
    const holder = document.createElement("template");
    holder.innerHTML = text;
    const drawn = holder.content.getElementById("place-map");
    for (const id of ["place-verdict", "place-answer"]) {
      document.getElementById(id)?.replaceChildren(...(holder.content.getElementById(id)?.childNodes ?? []));
    }
    if (!ok || !drawn) return;
    map().replaceWith(drawn);
    if (!newest) {
      draw();
      return;
    }
    take();
    const query = question();
    window.history.replaceState(null, "", `?${query}`);
  }

  /** The pose as the server has it, and in the fields as people write it. */
  function take() {
    const { x, y, heading } = map().dataset;
    if (x === undefined || y === undefined || heading === undefined) return;
    const had = drag;
    pose = { x: Number(x), y: Number(y), heading: Number(heading) };
    if (had) return;
    for (const name of FIELDS) {
      const words = map().dataset[`${name}Words`];
      if (words !== undefined && document.activeElement !== field(name)) field(name).value = words;
    }
  }

  function lookForPlaces() {
    const list = document.getElementById("place-options");
    const address = list?.getAttribute("hx-get")?.split("?")[0];
    // @ts-ignore htmx is a global
    if (list && address) void window.htmx?.ajax("GET", `${address}?${question()}`, { target: list, swap: "innerHTML" });
  }
}
