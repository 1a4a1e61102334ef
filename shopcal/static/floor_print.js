// @ts-check
/** Shows the print button where there is a script to answer it; the browser's own menu does too. */

const button = /** @type {HTMLButtonElement | null} */ (document.querySelector("[data-print]"));
if (button) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
