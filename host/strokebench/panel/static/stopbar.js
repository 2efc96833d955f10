// What the bar at the bottom says on every page: the state, how far a STOP has come, and the verdict.

import { isStale, stopState } from "./lifeline.js";

const CONFIRM_MS = 350; // so that the words are there within half a second also where the page is slow
const LOOK_MS = 50;
const SIGNS = { pass: "\u2713", fail: "\u2717", inconclusive: "?" };
let newest = null;

function put(element, text) {
  if (element && element.textContent !== text) element.textContent = text;
}

function stopWords() {
  const stop = stopState();
  if (!stop.asked) return ["", ""];
  if (stop.off) return newest?.moving ? ["", ""] : ["Confirmed: drive and supply are off.", "off"];
  if (stop.age < CONFIRM_MS) return ["STOP sent.", "sent"];
  const why = newest?.phase === "none" && !isStale() ? " (no bench is connected)" : "";
  return [`NOT CONFIRMED${why}: use the stop button on the bench.`, "open"];
}

function look() {
  const [text, state] = stopWords();
  const element = document.querySelector("[data-stop-state]");
  put(element, text);
  if (element && element.dataset.state !== state) element.dataset.state = state;
}

function verdictLine(update) {
  const line = document.querySelector("[data-verdict]");
  if (!line || line.dataset.shown === `${update.judged} ${update.verdict}`) return;
  line.dataset.shown = `${update.judged} ${update.verdict}`;
  line.textContent = "";
  line.className = `verdict-line ${update.verdict}`;
  if (!update.verdict) return;
  const link = document.createElement("a");
  link.href = `/report/${update.judged}`;
  link.target = "_blank";
  link.textContent = `Run ${update.judged}: ${SIGNS[update.verdict]} ${update.verdict}`;
  line.append(link);
}

export function bar(update) {
  newest = update;
  document.body.classList.remove("stale");
  put(document.querySelector('[data-out="says"]'), update.says);
  verdictLine(update);
}

export function barLost(age) {
  document.body.classList.add("stale");
  put(document.querySelector('[data-out="says"]'), `No news for ${age.toFixed(1)} s: the state of the part is not known`);
}

document.addEventListener("panel-stop", () => {
  look();
  setTimeout(look, CONFIRM_MS + 1);
});
setInterval(look, LOOK_MS);
