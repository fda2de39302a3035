// The page of the phone: it takes what the motion sensor gives, keeps it until it is
// acknowledged, and shows the advice. What is old is never shown as new.
import { Outbox } from "./outbox.js";
import { sight } from "./sight.js";

const QUIET = 2000;  // ms without a word or a sample that are said
const BEAT = 500;    // ms between two words to the server
const RETRY = 500;   // ms before the next try to connect
const ENDED = 3000;  // ms, likewise, while vibe has ended on the computer

const $ = (id) => document.getElementById(id);
const say = (id, text) => { if ($(id).textContent !== text) $(id).textContent = text; };

const load = crypto.randomUUID?.() ?? "";
let phone = sessionStorage.getItem("phone");
if (!phone) sessionStorage.setItem("phone", phone = load);

const outbox = new Outbox();
let started = false;    // the motion sensor is listened to
let over = "";          // why there is no more connecting
let ended = false;      // vibe has, on the computer; it may be started anew
let socket = null;
let heard = -Infinity;  // performance.now() of the server's newest word
let told = -Infinity;   // of the newest advice
let moved = -Infinity;  // of the newest sample
let since = 0;          // of the start, or the return to the front
let spoke = 0;          // of our newest word
let away = 0;           // when the page went to the background; 0: it is in front
let empty = false;      // the sensor gave an event without values
let lock = null;
let awake = "";

async function start() {
  if (!isSecureContext) return say("state", "This page was not opened with https, and browsers give motion data to https pages only: use the link as the computer shows it.");
  if (typeof DeviceMotionEvent === "undefined") return say("state", "This browser gives no motion data: try another one, or another phone.");
  try {
    const ask = DeviceMotionEvent.requestPermission;
    if (ask && await ask.call(DeviceMotionEvent) !== "granted") return say("state", "The phone said no to motion data: see “It says that it may not” below, then tap Start again.");
  } catch (e) {
    return say("state", `Motion data could not be asked for (${e.message}): tap Start again.`);
  }
  over = "";
  since = performance.now();
  empty = false;
  if (!started) addEventListener("devicemotion", motion);
  started = true;
  $("start").hidden = true;
  $("sees").hidden = $("advice").hidden = false;
  connect();
  await stayAwake();
}

async function stayAwake() {
  try {
    lock = await navigator.wakeLock.request("screen");
    awake = "The screen stays on.";
    lock.addEventListener("release", () => { awake = "The screen may go off: set it to stay on in the phone's settings."; });
  } catch {
    awake = "This browser cannot keep the screen on: set it to stay on in the phone's settings, or no data come.";
  }
}

function motion(event) {
  const a = event.accelerationIncludingGravity;
  if (!a || a.x === null || a.y === null || a.z === null) {
    empty = true;
    return;
  }
  if (document.hidden || over) return;
  const now = performance.now();
  // The event's own time counts, where it is on the page's clock as it should be.
  const at = Math.abs(event.timeStamp - now) < 60000 ? event.timeStamp : now;
  moved = now;
  empty = false;
  outbox.add(at, a.x, a.y, a.z);
  outbox.flush(socket, now);
}

function connect() {
  if (socket) {
    socket.onclose = socket.onmessage = null;
    socket.close();
  }
  outbox.ready = false;
  const url = new URL("socket", location.href.split(/[?#]/)[0]);
  url.protocol = url.protocol.replace("http", "ws");
  url.search = new URLSearchParams({ phone, load });
  const s = socket = new WebSocket(url);
  heard = performance.now(); // so long it may take
  s.onmessage = (m) => word(JSON.parse(m.data));
  s.onclose = (e) => {
    if (s !== socket) return;
    socket = null;
    outbox.ready = false;
    if (!ended && (e.code === 4001 || e.code === 4002)) stop(e.reason);
    else if (!over) setTimeout(() => { if (!socket && !over) connect(); }, ended ? ENDED : RETRY);
  };
}

// stop leaves the sensor off until the next tap.
function stop(why) {
  over = why;
  $("start").hidden = false;
  show();
}

// word takes what the server says.
function word(w) {
  const now = heard = performance.now();
  ended = w.over === "ended";
  if (w.over === "replaced") stop("this page is open in another window, which is the sensor now");
  if (w.over) return show();
  outbox.acknowledge(w.have);
  outbox.flush(socket, now);
  if (w.shown) {
    told = now;
    advise(w.shown);
  }
}

function advise(a) {
  $("advice").dataset.action = a.action;
  const action = `${a.action.toUpperCase()} ${a.target}`.trim();
  say("action", action);
  say("spoken", action); // not each new number
  say("say", a.say);
  say("numbers", `${a.speed} rpm · ${a.shake} mm/s · ${a.feel}`);
  say("caution", `! ${a.caution}`);
  const list = $("reasons");
  if (list.dataset.said === a.reasons.join("\n")) return;
  list.dataset.said = a.reasons.join("\n");
  list.replaceChildren(...a.reasons.map((r) => Object.assign(document.createElement("li"), { textContent: r })));
}

// old takes the advice away: what was said is not true any more, or may not be.
function old(why) {
  $("advice").dataset.action = "none";
  say("action", "NO NEWS");
  say("spoken", "no news: what was said before is old");
  say("say", `${why}: what was said before is old.`);
  say("numbers", "– rpm · – mm/s · –");
  $("reasons").replaceChildren();
  delete $("reasons").dataset.said;
}

// show says how things stand, a few times a second.
function show() {
  if (!started) return;
  const now = performance.now();
  const waiting = outbox.waiting(now);
  if (ended || now - told > QUIET) old(over || (ended ? "vibe has ended on the computer" : "Nothing from vibe for 2 s"));
  else if (waiting > QUIET) old("The samples do not get through");
  const linked = socket?.readyState === WebSocket.OPEN && now - heard < QUIET;
  if (over) say("state", `Stopped: ${over}. Tap Start to be the sensor.`);
  else if (ended) say("state", "vibe has ended on the computer. When it runs again this page goes on by itself; close it if it is not needed.");
  else if (now - moved > QUIET && now - since > QUIET) say("state", empty
    ? "This phone gives motion events without values: it has no accelerometer, or the browser may not use it. See below."
    : "No motion data come: see “gets no data” below.");
  else if (!linked) say("state", "The network to the computer is gone. Ten seconds of samples are kept; trying again.");
  else if (moved > 0) say("state", "Running. Leave this page in front.");
  else say("state", "Starting …");
  const s = sight(outbox.recent);
  say("speed", s.speed);
  say("step", s.step);
  say("link", `${outbox.sentText()}${outbox.dropped ? ` ${outbox.dropped} samples were lost: the network was gone for more than 10 s.` : ""}${outbox.absent ? ` In the background for ${outbox.absent.toFixed(0)} s in all: no data from then.` : ""}`);
  say("awake", awake);
}

function tick() {
  if (!started || over) return show();
  const now = performance.now();
  if (socket && now - heard > QUIET) connect();
  if (socket?.readyState === WebSocket.OPEN && now - spoke > BEAT) {
    spoke = now;
    socket.send("here");
  }
  outbox.flush(socket, now);
  show();
}

document.addEventListener("visibilitychange", () => {
  const now = performance.now();
  if (document.hidden) {
    away = now;
    if (started && socket?.readyState === WebSocket.OPEN) socket.send("hidden");
    return;
  }
  if (!away) return;
  outbox.returned((now - away) / 1000);
  away = 0;
  since = now;
  if (started && !over) {
    old("The page was in the background");
    told = -Infinity;
    connect();
    stayAwake();
  }
});

$("start").addEventListener("click", start);
setInterval(tick, 250);
