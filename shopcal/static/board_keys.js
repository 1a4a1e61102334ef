// @ts-check
/**
 * From one step to the next with the arrows.
 *
 * @param {SVGElement} bar @param {string} key an arrow
 * @returns {SVGElement | null}
 */
export function neighbour(bar, key) {
  const chart = bar.closest("svg");
  const bars = [.../** @type {NodeListOf<SVGElement>} */ (chart?.querySelectorAll("a.bar[data-row]"))];
  const rows = [.../** @type {NodeListOf<SVGElement>} */ (chart?.querySelectorAll("rect.row"))].map((row) => row.dataset.row);
  const from = Number(bar.dataset.from);
  if (key === "ArrowLeft" || key === "ArrowRight") {
    const way = key === "ArrowRight" ? 1 : -1;
    const beside = bars.filter((one) => one.dataset.row === bar.dataset.row && way * (Number(one.dataset.from) - from) > 0);
    return nearest(beside, from);
  }
  const way = key === "ArrowDown" ? 1 : -1;
  for (let at = rows.indexOf(bar.dataset.row) + way; at >= 0 && at < rows.length; at += way) {
    const there = nearest(bars.filter((one) => one.dataset.row === rows[at]), from);
    if (there) return there;
  }
  return null;
}

/** @param {SVGElement[]} bars @param {number} minute */
function nearest(bars, minute) {
  const away = (/** @type {SVGElement} */ bar) => Math.abs(Number(bar.dataset.from) - minute);
  return bars.reduce((/** @type {SVGElement | null} */ best, bar) => (best && away(best) <= away(bar) ? best : bar), null);
}
