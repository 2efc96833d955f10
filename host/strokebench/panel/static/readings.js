// Puts an update's numbers and words where they belong. Everything goes in as text.

const PLACES = {
  "now.current_a": (v) => v.toFixed(2),
  "now.supply_v": (v) => v.toFixed(2),
  "now.drive": (v) => (100 * v).toFixed(0),
  "now.position": (v) => v.toFixed(1),
  "now.heatsink_c": (v) => v.toFixed(1),
  "now.part_c": (v) => v.toFixed(1),
  "left.part": percent,
  "left.leads": percent,
  "left.bench": percent,
  cap: percent,
  junction_c: (v) => v.toFixed(0),
  "run.done": (v) => v.toFixed(1),
  "run.total": (v) => v.toFixed(1),
};
const SLOW_MS = 200; // numbers that change faster cannot be read
const NEWS_MS = 12000;
const news = { number: 0, at: 0 };
let last = 0;

function percent(share) {
  return `${(100 * share).toFixed(0)} %`;
}

function pick(update, path) {
  return path.split(".").reduce((at, name) => at?.[name], update);
}

function put(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

function texts(update) {
  const who = update.mine ? "You have the controls." : update.taken ? "Another page has the controls." : "Nobody has the controls.";
  const watches = update.may ? "" : " This device only watches, and may stop.";
  const all = { ...update, who: who + watches };
  for (const element of document.querySelectorAll("[data-out]")) {
    const found = pick(all, element.dataset.out);
    const shape = PLACES[element.dataset.out];
    if (found === null || found === undefined || found === "") put(element, element.dataset.out === "message.hint" ? "" : "\u2013");
    else put(element, shape ? shape(found) : String(found));
  }
  for (const meter of document.querySelectorAll("[data-meter]")) meter.value = update.left[meter.dataset.meter] ?? 1;
  const progress = document.getElementById("progress");
  if (progress && update.run.total) progress.value = (100 * update.run.done) / update.run.total;
}

// News goes away by itself, an error only when something newer comes.
function fresh(message) {
  if (message.number !== news.number) Object.assign(news, { number: message.number, at: performance.now() });
  return !!message.text && (message.error || performance.now() - news.at < NEWS_MS);
}

function visibility(update, leaving) {
  const simulated = document.getElementById("f-way")?.value.startsWith("simulated") ?? true;
  const part = document.getElementById("f-part")?.value;
  const shown = {
    fault: !!update.fault,
    warning: !!update.warning,
    message: fresh(update.message),
    running: update.phase === "run",
    real: !simulated,
    offline: false,
    leaving: leaving && update.moving,
  };
  for (const element of document.querySelectorAll("[data-show]")) element.hidden = !shown[element.dataset.show];
  for (const element of document.querySelectorAll("[data-faults]")) element.hidden = !simulated || element.dataset.faults !== part;
  for (const element of document.querySelectorAll("[data-about]")) element.hidden = element.dataset.about !== part;
  document.querySelector('[data-show="message"]')?.classList.toggle("error", update.message.error);
}

function abilities(update) {
  const can = {
    mine: update.mine,
    watching: !update.mine && update.may,
    idle: update.phase === "idle" && !update.fault?.latched, // first somebody has to look and clear it
    armed: update.phase === "armed" || update.phase === "jog",
    still: !update.moving && update.phase !== "connecting",
    connected: update.phase !== "none",
  };
  for (const element of document.querySelectorAll("[data-needs]")) {
    element.disabled = !element.dataset.needs.split(" ").every((need) => can[need]);
  }
  for (const element of document.querySelectorAll("[data-seen]")) element.hidden = !can[element.dataset.seen];
}

// Where one is on the way through the job: part, connect, move or run, verdict, report.
function steps(update) {
  const by = { none: 0, connecting: 1, judging: 3 };
  const now = update.verdict && update.phase === "idle" ? 4 : (by[update.phase] ?? 2);
  document.querySelectorAll("[data-step]").forEach((step, i) => {
    if (i === now) step.setAttribute("aria-current", "step");
    else step.removeAttribute("aria-current");
    step.classList.toggle("done", i < now);
  });
}

export function show(update, leaving) {
  const now = performance.now();
  const same = document.body.dataset.phase === update.phase;
  if (same && now - last < SLOW_MS) return;
  last = now;
  abilities(update);
  visibility(update, leaving);
  texts(update);
  steps(update);
  document.body.dataset.phase = update.phase;
}

export function showLost(first) {
  last = 0; // what comes next is shown at once
  const banner = document.querySelector('[data-show="offline"]');
  if (banner && first) banner.hidden = false;
  for (const element of document.querySelectorAll("[data-needs]")) element.disabled = true;
}
