// @ts-check
/** Under the day board: what is said, which step is chosen, and whether it is kept there. */

export class Strip {
  /** @param {(pinned: boolean) => void} keep */
  constructor(keep) {
    /** @type {{step: number, version: number, name: string} | null} */
    this.chosen = null;
    this.bubble = document.createElement("div");
    this.bubble.className = "board-tip";
    this.bubble.hidden = true;
    document.body.append(this.bubble);
    document.addEventListener("change", (event) => {
      const box = /** @type {HTMLInputElement} */ (event.target);
      if (box.matches("[data-keep]")) keep(box.checked);
    });
  }

  get root() {
    return document.getElementById("board-moves");
  }

  /** @param {"places" | "move" | "pin" | "undo"} what @param {number | string} [step] @param {boolean} [day] */
  url(what, step = 0, day = false) {
    const url = (this.root?.dataset[`${what}Url`] ?? "").replace("/0/", `/${step}/`);
    return day ? `${url}?on=${this.root?.dataset.on}` : url;
  }

  /** @param {string} words */
  tell(words) {
    const place = this.root?.querySelector("[data-words]");
    if (place) place.textContent = words;
  }

  /** @param {number} step @param {number} version @param {string} name @param {boolean} pinned */
  choose(step, version, name, pinned) {
    this.chosen = { step, version, name };
    const box = /** @type {HTMLInputElement | null} */ (this.root?.querySelector("[data-keep]"));
    const kept = this.root?.querySelector("[data-kept]");
    if (box) box.checked = pinned;
    if (kept) kept.textContent = name;
    this.root?.querySelector("[data-keep-choice]")?.removeAttribute("hidden");
  }

  forget() {
    this.chosen = null;
    this.root?.querySelector("[data-keep-choice]")?.setAttribute("hidden", "");
  }

  /** Words beside the hand, kept on the screen. @param {string} words @param {number} x @param {number} y @param {string} kind */
  tip(words, x, y, kind) {
    this.bubble.hidden = !words;
    if (!words) return;
    this.bubble.textContent = words;
    this.bubble.className = `board-tip ${kind}`;
    const { width, height } = this.bubble.getBoundingClientRect();
    const left = Math.min(Math.max(8, x + 14), window.innerWidth - width - 8);
    const below = y + 20 + height < window.innerHeight;
    this.bubble.style.left = `${left}px`;
    this.bubble.style.top = `${below ? y + 20 : y - height - 20}px`;
  }
}
