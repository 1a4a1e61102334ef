// @ts-check
/**
 * What else a move would change is shown before it is made.
 *
 * @param {string} name the step's
 * @param {import("./board_asking.js").Answer} answer a refusal with the code `moves_more`
 * @returns {Promise<boolean>} whether to move it all
 */
export function askFirst(name, answer) {
  const { changes, promises, along } = answer.told.facts;
  const dialog = document.createElement("dialog");
  dialog.setAttribute("aria-labelledby", "board-ask-title");
  const title = element("h2", along ? `${name}: more would move` : `${name}: the promise would not be kept`);
  title.id = "board-ask-title";
  dialog.append(title);
  if (promises.length) dialog.append(note(promises));
  dialog.append(element("p", along ? "These steps of the visit would move:" : "This would move:"), list(changes));
  const acts = element("div", "");
  acts.className = "acts";
  const yes = button(along ? "Move them all" : "Move it all the same", "primary", "yes");
  acts.append(yes, button("Leave it where it was", "", "no"));
  dialog.append(acts);
  document.body.append(dialog);
  return new Promise((answered) => {
    dialog.addEventListener("click", (event) => {
      const pressed = /** @type {Element} */ (event.target).closest("button");
      if (pressed) dialog.close(pressed.value);
    });
    dialog.addEventListener("close", () => {
      dialog.remove();
      answered(dialog.returnValue === "yes");
    });
    dialog.showModal();
    yes.focus();
  });
}

/** @param {string} name @param {string} words */
function element(name, words) {
  const made = document.createElement(name);
  made.textContent = words;
  return made;
}

/** @param {string[]} lines */
function list(lines) {
  const made = document.createElement("ul");
  made.append(...lines.map((line) => element("li", line)));
  return made;
}

/** @param {string[]} lines */
function note(lines) {
  const made = element("div", "");
  made.className = "note caution";
  made.append(...lines.map((line) => element("p", `◆ ${line}.`)));
  return made;
}

/** @param {string} words @param {string} kind @param {string} value */
function button(words, kind, value) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = words;
  made.className = kind;
  made.value = value;
  return made;
}
