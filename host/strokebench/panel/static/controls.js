// Keys, hold-to-run, and buttons that send commands. Space and Escape stop, whatever else has the focus.

import { command, stop } from "./lifeline.js";

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

function hold(direction, by, button) {
  if (held !== null || !state.mine || !state.armed) return;
  held = { by, button };
  button?.classList.add("held");
  ask("jog", { drive: (direction * Number(value("f-level"))) / 100 });
}

function faults(part) {
  const box = document.querySelector(`[data-faults="${CSS.escape(part)}"]`);
  if (!box) return [];
  const size = box.querySelector('[name="size"]').value;
  const ticked = [...box.querySelectorAll('[name="fault"]:checked')].map((one) => one.value);
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
  if (button.dataset.do === "stop") halt();
  else if (button.dataset.do) ask(button.dataset.do, details(button.dataset.do));
}

export function listen() {
  window.addEventListener("keydown", onKeyDown, true);
  window.addEventListener("keyup", onKeyUp, true);
  window.addEventListener("blur", release);
  document.addEventListener("visibilitychange", release);
  document.addEventListener("pointerdown", onPointerDown);
  for (const end of ["pointerup", "pointercancel", "lostpointercapture"]) document.addEventListener(end, release, true);
  document.addEventListener("click", onClick);
  document.addEventListener("contextmenu", (event) => event.target.closest("[data-jog]") && event.preventDefault());
}
