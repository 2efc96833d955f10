// The bench's own view: it follows what is measured until somebody wants to look at something.

import { Newest } from "./curves.js";
import { View } from "./instrument.js";

const SHARE = 4; // drawing gets a quarter of the time at most, however slow the machine: echo and STOP come first
const STREAMED_S = 10; // a window that the updates themselves fill
const FETCH_MS = 700;
const PLANES_MS = 300;
const EVERY_MS = 90;

const newest = new Newest();
const view = new View(document.querySelector("[data-strips]"));
document.view = view; // for whoever looks from the console
let window_s = STREAMED_S;
let changed = false;
let began = 0;
let fetched = 0;
let wiped = -Infinity;
const planes = { at: 0, took: 0 };

const pause = document.querySelector('[data-view="pause"]');
view.hold = () => follow(false);
const drawPlane = view.drawPlane.bind(view);
view.drawPlanes = (reply) => {
  if (view.follows && performance.now() - planes.at < PLANES_MS) return;
  Object.assign(planes, { at: performance.now(), took: 0 });
  for (const number of view.planes.keys()) {
    setTimeout(() => { // in a turn of its own, so that a key gets in between
      const began = performance.now();
      drawPlane(reply, number);
      planes.took += performance.now() - began;
    }, 0);
  }
};

function follow(on) {
  if (view.follows === on) return;
  view.follows = on;
  shown();
  if (on) {
    view.setCursors(null, null);
    view.place();
  }
}

function shown() {
  pause.textContent = view.follows ? "Pause" : "Follow";
  pause.setAttribute("aria-pressed", String(!view.follows));
  for (const button of document.querySelectorAll("[data-window]")) {
    button.setAttribute("aria-pressed", String(view.follows && Number(button.dataset.window) === window_s));
  }
}

async function drawLong() {
  const reply = await view.ask("curves", { start: view.start, end: view.end, points: 900 });
  if (reply && view.follows) view.draw(reply);
}

function draw() {
  const time = newest.time;
  if (!view.follows || !changed || time === null) return;
  changed = false;
  [view.start, view.end] = [time - window_s, time];
  if (window_s <= STREAMED_S) view.draw(since(newest.reply()));
  else if (performance.now() - fetched > Math.max(FETCH_MS, window_s)) {
    fetched = performance.now();
    drawLong();
  }
}

// The plots start anew where they were wiped; the strips do not.
function since(reply) {
  const mean = reply.mean.map((values) => values.map((value, i) => (reply.time[i] >= wiped ? value : null)));
  return { ...reply, mean };
}

// What the drawing before took, turns of the strips included, says how long the next one has to wait.
function paint() {
  const now = performance.now();
  if (view.rolling.busy || now - began < Math.max(SHARE * (view.rolling.took + planes.took), EVERY_MS)) return;
  began = now;
  draw();
}

export function take(points) {
  if (!points.length) return;
  newest.take(points);
  if (newest.time !== null) view.extent = [Math.min(view.extent[0], newest.first), newest.time];
  changed = true;
  requestAnimationFrame(paint);
}

export function wipe() {
  wiped = newest.time ?? -Infinity;
  changed = true;
}

async function segments() {
  if (view.follows && window_s <= STREAMED_S) {
    const reply = await view.ask("curves", { start: view.start, end: view.end, points: 8 });
    if (reply && view.follows) {
      view.segments = reply.segments;
      if (reply.extent) view.extent = reply.extent;
      view.offer();
      view.mark();
    }
  }
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-window], [data-view='pause'], [data-here='wipe']");
  if (!button) return;
  if (button.dataset.here) wipe();
  else if (button.dataset.window) {
    window_s = Number(button.dataset.window);
    fetched = 0;
    follow(true);
  } else if (view.follows) view.show(view.start, view.end);
  else follow(true);
  shown();
});
document.addEventListener("panel-points", (event) => take(event.detail));
document.addEventListener("panel-label", segments);
document.addEventListener("panel-run", wipe);

follow(true);
segments();
