// The page's one socket: updates come in and are echoed, which is the dead-man; commands go out.
// The echo is sent by the main thread and only while the page is seen: a hung or hidden page falls silent.

const AGAIN_MS = 700;
const PAGE = document.querySelector('meta[name="panel-page"]').content;

let socket = null;
let hear = () => {};
let offline = () => {};

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

// STOP has a second way, for the moment in which the socket is not there.
export function stop() {
  if (!command("stop")) fetch("/stop", { method: "POST", keepalive: true }).catch(() => {});
}

function connect() {
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  socket = new WebSocket(`${scheme}://${location.host}/lifeline/${PAGE}`);
  socket.onmessage = (event) => {
    const update = JSON.parse(event.data);
    if (document.visibilityState === "visible") send({ echo: update.n });
    else send({ seen: update.n });
    hear(update);
  };
  socket.onclose = (event) => {
    offline();
    if (event.code === 4403) location.reload();
    else setTimeout(connect, AGAIN_MS);
  };
}

export function live(onUpdate, onOffline) {
  hear = onUpdate;
  offline = onOffline;
  connect();
}

document.addEventListener("visibilitychange", () => {
  if (document.visibilityState !== "visible") command("hidden");
});
document.addEventListener("freeze", () => command("hidden"));
for (const leaving of ["beforeunload", "pagehide"]) window.addEventListener(leaving, () => command("hidden"));
