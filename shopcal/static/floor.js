// @ts-check
/**
 * The floor at any minute: the slider over the hours of the day asks for the map again as it is
 * moved. Without it the time field and the links to full hours do the same.
 */

const WAIT_MS = 120; // one question at a time while the slider moves
const HOUR = 60;

const form = /** @type {HTMLFormElement | null} */ (document.querySelector(".floor-clock"));
if (form) slide(form);

/** @param {HTMLFormElement} form */
function slide(form) {
  const slider = /** @type {HTMLInputElement} */ (form.querySelector("input[type=range]"));
  const shown = /** @type {HTMLOutputElement} */ (form.querySelector("output"));
  const day = /** @type {HTMLInputElement} */ (form.elements.namedItem("on"));
  const at = /** @type {HTMLInputElement} */ (form.elements.namedItem("at"));
  const measure = /** @type {HTMLSelectElement} */ (form.elements.namedItem("measure"));
  const opensMs = Number(form.dataset.opensMs);
  const zone = form.dataset.zone;
  const clock = new Intl.DateTimeFormat("en-GB", { timeZone: zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  const date = new Intl.DateTimeFormat("en-CA", { timeZone: zone, year: "numeric", month: "2-digit", day: "2-digit" });
  let asked = 0;
  let answered = 0;
  let waiting = 0;

  slider.hidden = false;
  slider.addEventListener("input", () => {
    tell();
    at.value = shown.value;
    soon();
  });
  slider.addEventListener("keydown", (event) => {
    const by = { PageUp: HOUR, PageDown: -HOUR }[event.key];
    if (!by) return;
    event.preventDefault();
    slider.valueAsNumber += by;
    slider.dispatchEvent(new Event("input", { bubbles: true }));
  });
  measure.addEventListener("change", soon);
  tell();

  document.body.addEventListener("htmx:afterSwap", () => follow(document.getElementById("floor-panel")));

  function moment() {
    return new Date(opensMs + slider.valueAsNumber * 60_000);
  }

  function tell() {
    shown.value = clock.format(moment());
    slider.setAttribute("aria-valuetext", shown.value);
  }

  function soon() {
    window.clearTimeout(waiting);
    waiting = window.setTimeout(ask, WAIT_MS);
  }

  async function ask() {
    const number = ++asked;
    const query = new URLSearchParams({ on: date.format(moment()), at: at.value });
    if (measure.value !== "zones") query.set("measure", measure.value);
    const answer = await fetch(`${form.dataset.panel}?${query}`, { headers: { "HX-Request": "true" } }).catch(() => null);
    // An answer that was overtaken by a later one is late news.
    if (!answer?.ok || number < answered) return;
    const text = await answer.text();
    if (number < answered) return;
    answered = number;
    const old = document.getElementById("floor-panel");
    const holder = document.createElement("template");
    holder.innerHTML = text;
    const panel = /** @type {HTMLElement | null} */ (holder.content.querySelector("#floor-panel"));
    if (!old || !panel) return;
    old.replaceWith(panel);
    // @ts-ignore htmx is a global
    window.htmx?.process(panel);
    follow(panel);
    window.history.replaceState(null, "", `?${query}`);
  }

  /** @param {HTMLElement | null} panel the map as it came, with the moment it shows */
  function follow(panel) {
    const title = document.querySelector("[data-floor-title]");
    if (!panel || !title) return;
    title.textContent = panel.dataset.title ?? "";
    for (const link of document.querySelectorAll("a[data-carries-moment]")) {
      const address = new URL(/** @type {HTMLAnchorElement} */ (link).href);
      address.search = new URLSearchParams({ on: date.format(moment()), at: at.value }).toString();
      /** @type {HTMLAnchorElement} */ (link).href = address.href;
    }
    if (document.activeElement !== slider && panel.dataset.minute) {
      slider.value = panel.dataset.minute;
      tell();
    }
    for (const hour of form.querySelectorAll(".slide-hours a")) {
      if (hour.textContent === shown.value) hour.setAttribute("aria-current", "true");
      else hour.removeAttribute("aria-current");
    }
  }
}
