// @ts-check
/**
 * At the vehicle: fetches the panel again when somebody else changed this visit, but never while
 * a field is being edited, so that nothing typed is lost.
 */

const panel = document.getElementById("work");

/** @param {Element} field */
function isChanged(field) {
  if (field instanceof HTMLInputElement && ["checkbox", "radio"].includes(field.type)) {
    return field.checked !== field.defaultChecked;
  }
  if (field instanceof HTMLInputElement && field.type === "hidden") return false;
  if (field instanceof HTMLInputElement || field instanceof HTMLTextAreaElement) {
    return field.value !== field.defaultValue;
  }
  if (field instanceof HTMLSelectElement) {
    return [...field.options].some((option) => option.selected !== option.defaultSelected);
  }
  return false;
}

/** @param {HTMLElement} within */
function isBeingEdited(within) {
  const here = document.activeElement;
  const inField = here instanceof HTMLElement && within.contains(here) && here.matches("input, textarea, select");
  const open = within.querySelector("[popover]:popover-open") !== null;
  // A refused form shows what was typed as the server sent it back: unchanged, but not yet kept.
  const refused = within.querySelector("[aria-invalid=true], .faults, [data-refused]") !== null;
  return inField || open || refused || [...within.querySelectorAll("input, textarea, select")].some(isChanged);
}

/** @param {HTMLElement} within */
function follow(within) {
  let waiting = false;

  function quietly() {
    if (!waiting || isBeingEdited(within) || within.querySelector(".htmx-request")) return;
    waiting = false;
    within.dispatchEvent(new CustomEvent("quiet-change"));
  }

  document.body.addEventListener("changed", (event) => {
    const subjects = /** @type {CustomEvent<{subjects: string[]}>} */ (event).detail?.subjects ?? ["*"];
    const ours = (within.dataset.subjects ?? "").split(" ");
    if (!subjects.some((subject) => subject === "*" || ours.includes(subject))) return;
    waiting = true;
    quietly();
  });
  // What the server has just sent is as new as it gets.
  within.addEventListener("htmx:afterSwap", () => {
    waiting = false;
  });
  within.addEventListener("focusout", () => window.setTimeout(quietly, 300));
}

if (panel) follow(panel);
