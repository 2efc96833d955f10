// Pages that drive nothing: they show the state and have STOP.

import { live, stop } from "./lifeline.js";
import { bar, barLost } from "./stopbar.js";

let moving = false;

function choosing(element) {
  return element?.matches("input, textarea, select, summary, a, button, [contenteditable]") ?? false;
}

window.addEventListener("keydown", (event) => {
  if (event.altKey || event.ctrlKey || event.metaKey) return;
  if (event.key === "Escape" || (event.key === " " && (moving || !choosing(document.activeElement)))) {
    event.preventDefault();
    event.stopImmediatePropagation();
    stop();
  }
}, true);
document.addEventListener("pointerdown", (event) => {
  if (event.button === 0 && event.target.closest('[data-do="stop"]')) stop();
});
document.addEventListener("keyup", (event) => {
  if (event.key === "Enter" && event.target.closest?.('[data-do="stop"]')) stop();
});

live((update) => {
  moving = update.moving;
  bar(update);
}, barLost);
