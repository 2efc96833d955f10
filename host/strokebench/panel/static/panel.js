// The bench's page: joins socket, readings, charts and controls.

import { draw, take, wipe } from "./charts.js";
import { controlState, leaving, listen } from "./controls.js";
import { keep, restore } from "./kept.js";
import { live } from "./lifeline.js";
import { show, showLost } from "./readings.js";
import { bar, barLost } from "./stopbar.js";

let waiting = null;
let phase = "";

// Drawing gets a quarter of the time at most, however slow the machine: echo and STOP come first.
const SHARE = 4;
let rested = 0;

function paint() {
  const update = waiting;
  waiting = null;
  show(update, leaving());
  const began = performance.now();
  if (began < rested) return;
  draw();
  const ended = performance.now();
  rested = ended + (SHARE - 1) * (ended - began);
}

function hear(update) {
  if (update.phase === "run" && phase !== "run") wipe();
  phase = update.phase;
  controlState(update);
  restore();
  bar(update);
  take(update.points);
  if (waiting === null) requestAnimationFrame(paint);
  waiting = update;
}

document.addEventListener("click", (event) => {
  if (event.target.closest('[data-here="wipe"]')) wipe();
});
document.addEventListener("input", (event) => keep(event.target));

listen();
live(hear, (age, first) => {
  barLost(age);
  showLost(first);
});
