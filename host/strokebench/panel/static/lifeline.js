// The page's one socket: updates come in and are echoed, which is the dead-man; commands go out.
// The echo is sent by the main thread and only while the page is seen: a hung or hidden page falls silent.

const AGAIN_MS = 700;
const STALE_MS = 500; // news older than this is no news
const LOOK_MS = 100;
const FRAMES_MS = 5000;
const PAGE = document.querySelector('meta[name="panel-page"]').content;
const ROLE = document.querySelector('meta[name="panel-role"]').content;

let socket = null;
let hear = () => {};
let lost = () => {};
let heard = performance.now();
let stale = false;
const stops = { asked: 0, confirmed: 0, at: 0 };

export function send(message) {
  if (socket && socket.readyState === WebSocket.OPEN) {
    socket.send(JSON.stringify(message));
    return true;
  }
  return false;
}

export function command(name, more = {}) {
  return send({ do: name, ...more });
}

// STOP goes both ways at once; the number makes it one STOP, and tells which one the bench has confirmed.
function sendStop() {
  command("stop", { stop: stops.asked });
  fetch(`/stop?page=${PAGE}&stop=${stops.asked}`, { method: "POST", keepalive: true }).catch(() => {});
}

export function stop() {
  stops.asked += 1;
  stops.at = performance.now();
  sendStop();
  document.dispatchEvent(new Event("panel-stop"));
}

export const stopState = () => ({
  asked: stops.asked,
  off: stops.asked > 0 && stops.confirmed >= stops.asked,
  age: performance.now() - stops.at,
});

// How long the page's own frames take, the slowest of the last five to ten seconds: a busy computer, not a dead
// one. What was slow before the seconds began anew still counts, or each new beginning would look like haste.
const frames = { last: performance.now(), slowest: 0, before: 0, since: performance.now() };
function frame(now) {
  if (now - frames.since > FRAMES_MS) Object.assign(frames, { before: frames.slowest, slowest: 0, since: now });
  frames.slowest = Math.max(frames.slowest, now - frames.last);
  frames.last = now;
  requestAnimationFrame(frame);
}
const slowestFrame = () => Math.round(Math.max(frames.slowest, frames.before));

function connect() {
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  socket = new WebSocket(`${scheme}://${location.host}/lifeline/${PAGE}?role=${ROLE}`);
  socket.onopen = () => {
    if (stops.confirmed < stops.asked) sendStop(); // nobody has confirmed it: once more
  };
  socket.onmessage = (event) => {
    const update = JSON.parse(event.data);
    if (document.visibilityState === "visible") send({ echo: update.n, frame: slowestFrame() });
    else send({ seen: update.n });
    heard = performance.now();
    stale = false;
    stops.confirmed = Math.max(stops.confirmed, update.off);
    hear(update);
  };
  socket.onclose = (event) => {
    if (event.code === 4403) location.reload();
    else setTimeout(connect, AGAIN_MS);
  };
}

// Where the page itself stood still, news may be waiting: it has its turn before anything is called old, once.
const looks = { at: performance.now(), waited: false };
function look() {
  const now = performance.now();
  looks.waited = now - looks.at > 2 * LOOK_MS && !looks.waited;
  looks.at = now;
  if (looks.waited || now - heard <= STALE_MS) return;
  const first = !stale;
  stale = true;
  lost((now - heard) / 1000, first);
}

export function live(onUpdate, onLost) {
  hear = onUpdate;
  lost = onLost;
  requestAnimationFrame(frame);
  setInterval(look, LOOK_MS);
  connect();
}

export const isStale = () => stale;

if (ROLE === "drive") {
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState !== "visible") command("hidden");
  });
  document.addEventListener("freeze", () => command("hidden"));
  for (const leaving of ["beforeunload", "pagehide"]) window.addEventListener(leaving, () => command("hidden"));
}
