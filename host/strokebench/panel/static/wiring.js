// The page of the wiring: what the check or the pin finder says and asks, and the answers. All goes in as text.

import { command } from "./lifeline.js";

const SIGNS = { true: "\u2713 ", false: "\u2717 ", null: "" };
const places = (name) => document.querySelectorAll(`[data-wire="${name}"]`);
let shown = "";

function put(name, text) {
  for (const element of places(name)) if (element.textContent !== text) element.textContent = text;
}

function list(name, lines) {
  for (const place of places(name)) {
    place.replaceChildren(...lines.map((line) => Object.assign(document.createElement("li"), { textContent: line })));
  }
}

function show(wiring) {
  put("headline", `${SIGNS[wiring.as_drawn] ?? ""}${wiring.headline}`);
  put("to_do", wiring.to_do);
  put("asks", wiring.asks);
  list("sentences", wiring.sentences);
  list("measured", wiring.measured);
  for (const box of document.querySelectorAll("[data-question]")) box.hidden = box.dataset.question !== wiring.question;
  for (const place of places("headline")) place.dataset.drawn = String(wiring.as_drawn);
}

document.addEventListener("panel-update", (event) => {
  const text = JSON.stringify(event.detail.wiring);
  if (text === shown) return; // a line that is being read is left alone
  shown = text;
  show(event.detail.wiring);
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-wiring]");
  if (!button || button.disabled) return;
  const [name, answer] = button.dataset.wiring.split(" ");
  if (name === "find") command(name, { pins: Number(document.getElementById("f-pins").value) || 0 });
  else if (answer) command(name, { yes: answer === "yes" });
  else command(name);
});
