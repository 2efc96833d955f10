// Keys, hold-to-run, and buttons that send commands. Space and Escape stop, whatever else has the focus.

import { command, isStale, stop } from "./lifeline.js";

const GRACE_MS = 1500; // after a command that moves, until the server's own word is here
const state = { moving: false, armed: false, mine: false, asked: -Infinity };
let held = null;

export function controlState(update) {
  state.moving = update.moving;
  state.mine = update.mine;
  state.armed = update.phase === "armed" || update.phase === "jog";
}

const value = (id) => document.getElementById(id)?.value ?? "";

function ask(name, more) {
  if (name === "arm" || name === "run" || name === "jog") state.asked = performance.now();
  command(name, more);
}

function release() {
  if (held === null) return;
  held.button?.classList.remove("held");
  held = null;
  command("release");
}

function jog() {
  ask("jog", { drive: (held.direction * Number(value("f-level"))) / 100 });
}

function hold(direction, by, button) {
  if (held !== null || !state.mine || !state.armed || isStale()) return;
  held = { by, button, direction };
  button?.classList.add("held");
  jog();
}

// What the slider shows is what is driven, also while the button is held.
function onInput(event) {
  if (event.target.id !== "f-level") return;
  document.getElementById("level").textContent = `${event.target.value} %`;
  if (held !== null) jog();
}

let leavingFor = null;

// A link would end what the part does: ask first, in the page, so that the page goes on living.
function onLink(event) {
  const link = event.target.closest("a[href]");
  if (!link || !state.moving) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  leavingFor = link.href;
  document.querySelector('[data-show="leaving"]').hidden = false;
}

function onAnswer(name) {
  const target = leavingFor;
  leavingFor = null;
  document.querySelector('[data-show="leaving"]').hidden = true;
  if (name !== "leave" || target === null) return;
  halt();
  location.href = target;
}

export const leaving = () => leavingFor !== null;

function faults(part) {
  const box = document.querySelector(`[data-faults="${CSS.escape(part)}"]`);
  if (!box) return [];
  const size = box.querySelector('[name="size"]').value;
  const ticked = [...box.querySelectorAll('[name="fault"]:checked')].map((box) => box.value);
  return ticked.map((name) => (/[=:@]/.test(name) ? name : `${name}:${size}`));
}

function details(name) {
  if (name === "run") return { customer: value("f-customer"), serial: value("f-serial"), note: value("f-note") };
  if (name !== "open") return {};
  const part = value("f-part");
  const simulated = value("f-way").startsWith("simulated");
  const acknowledged = !!document.getElementById(`ack-${part}`)?.checked;
  return { part, simulated, port: value("f-port"), faults: simulated ? faults(part) : [], acknowledged };
}

function halt() {
  release();
  stop();
}

function choosing(element) {
  return element?.matches("input, textarea, select, summary, [contenteditable]") ?? false;
}

function onKeyDown(event) {
  if ((event.altKey || event.ctrlKey || event.metaKey) && event.key !== "Escape") return; // the browser's own
  if (event.key === " " || event.key === "Escape") {
    const busy = state.moving || performance.now() - state.asked < GRACE_MS;
    if (!busy && event.key === " " && choosing(document.activeElement)) return;
    if (busy || event.key === " ") event.preventDefault();
    event.stopImmediatePropagation();
    halt();
    return;
  }
  const jog = document.activeElement?.dataset?.jog;
  if (event.key === "Enter" && jog) {
    event.preventDefault();
    if (!event.repeat) hold(Number(jog), "Enter", document.activeElement);
  } else if ((event.key === "ArrowLeft" || event.key === "ArrowRight") && !choosing(document.activeElement)) {
    event.preventDefault();
    const direction = event.key === "ArrowLeft" ? -1 : 1;
    if (!event.repeat) hold(direction, event.key, document.querySelector(`[data-jog="${direction}"]`));
  }
}

function onKeyUp(event) {
  if (held && event.key === held.by) release();
  if (event.key === " " && !choosing(document.activeElement)) event.preventDefault();
}

function onPointerDown(event) {
  const button = event.target.closest("button");
  if (!button || button.disabled || event.button !== 0) return;
  if (button.dataset.do === "stop") halt();
  else if (button.dataset.jog) {
    button.setPointerCapture(event.pointerId);
    hold(Number(button.dataset.jog), "pointer", button);
  }
}

function onClick(event) {
  const button = event.target.closest("button");
  if (!button || button.disabled) return;
  if (button.dataset.here === "stay" || button.dataset.here === "leave") onAnswer(button.dataset.here);
  else if (button.dataset.do === "stop") {
    if (event.detail === 0) halt(); // by keyboard; the pointer has done it when it went down
  } else if (button.dataset.do) ask(button.dataset.do, details(button.dataset.do));
}

export function listen() {
  window.addEventListener("keydown", onKeyDown, true);
  window.addEventListener("keyup", onKeyUp, true);
  window.addEventListener("blur", release);
  document.addEventListener("visibilitychange", release);
  document.addEventListener("pointerdown", onPointerDown);
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) document.addEventListener(end, release, true);
  document.addEventListener("click", onLink, true);
  document.addEventListener("click", onClick);
  document.addEventListener("input", onInput);
  document.addEventListener("contextmenu", (event) => event.target.closest("[data-jog]") && event.preventDefault());
}
