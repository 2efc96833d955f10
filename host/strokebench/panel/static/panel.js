// The bench's page: joins socket, readings and controls; curves hear of it by events.

import { controlState, leaving, listen } from "./controls.js";
import { keep, restore } from "./kept.js";
import { live } from "./lifeline.js";
import { show, showLost } from "./readings.js";
import { bar, barLost } from "./stopbar.js";

let waiting = null;
let phase = "";
let label = "";
let findings = 0;

function paint() {
  const update = waiting;
  waiting = null;
  show(update, leaving());
}

const say = (name, detail) => document.dispatchEvent(new CustomEvent(name, { detail }));

async function showFindings() {
  const place = document.querySelector("[data-findings]");
  const answer = await fetch("/findings").catch(() => null);
  if (answer?.ok && place) place.innerHTML = await answer.text(); // made by the server, everything in it escaped
}

function hear(update) {
  if (update.phase === "run" && phase !== "run") say("panel-run");
  if (update.phase !== phase || update.run.label !== label) say("panel-label");
  [phase, label] = [update.phase, update.run.label];
  if (update.findings !== findings) showFindings();
  findings = update.findings;
  controlState(update);
  restore();
  bar(update);
  say("panel-points", update.points);
  say("panel-update", update);
  if (waiting === null) requestAnimationFrame(paint);
  waiting = update;
}

document.addEventListener("input", (event) => keep(event.target));

listen();
live(hear, (age, first) => {
  barLost(age);
  showLost(first);
});
