// Sends commands to the booth: each gets its id here, waits in localStorage, and is sent in order, once, until answered.
// Works on every [data-command] button of the page; other scripts call send(). What happens is told by events on document:
//   "portraitq:tapped" {command}, "portraitq:done" {command, answer}, "portraitq:refused" {command, sentence}, "portraitq:unsent" {count}

import { keepMisfit } from "./misfits.js";
import { aged, ageMs, mark, nowMs, remembered } from "./stopwatch.js";
import { renew, token } from "./token.js";

const SAME_TAP_MS = 800; // chalky fingers bounce; sooner than this on the same target is one tap
const FIRST_WAIT_MS = 500;
const LONGEST_WAIT_MS = 15000;
const WORTH_SAYING_MS = 1500; // a tap on its way for less than this needs no words
const BOX = "portraitq-tap:"; // one item a tap, so that two tabs never overwrite each other's
const AT_ONCE_S = 0.1; // a tap sent sooner than this has no age worth a figure
const AGED_EVERY_MS = 5000; // so much of a tap's age a power cut leaves to the device's clock
const MINE = 40; // so many of this page's answered taps are known as its own
const LANDING_MS = 10000; // a push that knows of an answered tap is here long before, or the journal is another one

let box = read();
const mine = [];
let landing = []; // answered, while the page may still get a push that was on its way before
let isSending = false;
let isUnsigned = false;
let tries = 0;
let hurry = () => {}; // ends the wait before the next try
let trouble = ""; // what the booth says why it takes no taps just now; empty while it cannot be asked
const tappedAt = new WeakMap();

export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(12)); // randomUUID needs https, which a booth has not
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// Puts a command into the outbox; resolves with {seq, events}, or null when it was refused. `agoMs` is how long ago the
// hand meant it, where a second touch (a reason, a rack place) completed it.
export function send(kind, data, { booth = here(), by = "counter", agoMs = 0 } = {}) {
  const entry = { ...mark(agoMs), id: newId(), booth, by, kind, data, hasAge: agoMs > 0, boxedMs: nowMs(), seq: seqShown() };
  box.push(entry);
  keep(entry);
  keepAges();
  tell("tapped", { command: entry });
  const settled = new Promise((resolve) => { waiting.set(entry.id, resolve); });
  setTimeout(count, WORTH_SAYING_MS);
  if (!trouble) hurry(); // whoever taps may be back in range
  work();
  return settled;
}
const waiting = new Map();

// The commands that are not answered yet, oldest first.
export function unanswered() {
  return [...box];
}

// The commands that what the page shows does not know yet, oldest first: just answered, or not answered at all.
export function unshown() {
  return [...stillLanding().map(({ entry }) => entry), ...box];
}

function stillLanding() {
  return landing.filter(({ seq, answeredMs }) => seq > seqShown() && nowMs() - answeredMs < LANDING_MS);
}

function here() {
  return document.querySelector("[data-booth]")?.dataset.booth ?? location.pathname.split("/")[1];
}

// Which line of the journal the page knew when the hand tapped: what came after it may be why the tap does not fit.
function seqShown() {
  return Number(document.querySelector("[data-view]")?.dataset.seq) || 0;
}

// Those of an earlier page are sure to be late, and their age is worth saying however short.
function read() {
  try {
    const keys = Object.keys(localStorage).filter((key) => key.startsWith(BOX));
    const kept = keys.map((key) => JSON.parse(localStorage.getItem(key)));
    return kept.map((one) => ({ ...remembered(one), isKept: true })).sort((a, b) => a.atMs - b.atMs);
  } catch { return []; }
}

function keep(entry) {
  try { localStorage.setItem(BOX + entry.id, JSON.stringify(entry)); } catch { /* private mode: kept in this page alone */ }
}

// All at once, so that their order does not hang on the device's clock. One that is there no more was sent by another tab.
function keepAges() {
  for (const entry of box) {
    try { if (localStorage.getItem(BOX + entry.id) !== null) keep(aged(entry)); } catch { /* private mode */ }
  }
}

function forget(entry) {
  box = box.filter((one) => one.id !== entry.id);
  try { localStorage.removeItem(BOX + entry.id); } catch { /* it never got there */ }
  count();
}

function agoS(entry) {
  const s = Math.round(ageMs(entry)) / 1000;
  return s < AT_ONCE_S && !entry.hasAge && !entry.isKept ? 0 : s;
}

async function work() {
  if (isSending) return;
  isSending = true;
  try {
    while (box.length) {
      const entry = box[0];
      const first = await post(entry);
      const answer = first === "unsigned" && await renew() ? await post(entry) : first;
      if (answer === "unsigned") return askToSignIn();
      if (answer === "later") {
        tries += 1;
        await new Promise((again) => {
          hurry = again;
          setTimeout(again, Math.random() * Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** tries));
        });
        continue;
      }
      tries = 0;
      if (isUnsigned) signedInAgain();
      forget(entry);
      settle(entry, answer);
    }
  } finally {
    isSending = false;
  }
}

async function post(entry) {
  const { id, kind, data, booth, by } = entry;
  const ago_s = agoS(entry);
  try {
    const answer = await fetch(`/api/v1/booths/${encodeURIComponent(booth)}/commands`, {
      method: "POST",
      headers: { "Content-Type": "application/json", "X-Portraitq-By": by, "X-Portraitq-Token": token() },
      body: JSON.stringify(ago_s ? { id, kind, data, ago_s } : { id, kind, data }),
      signal: AbortSignal.timeout?.(10000),
    });
    if (answer.status >= 500 || answer.status === 429) return later((await answer.json()).detail);
    trouble = "";
    if (answer.status === 401 || answer.status === 403) return "unsigned";
    const content = await answer.json();
    return answer.ok ? { done: content } : { refused: content.detail ?? answer.statusText, status: answer.status };
  } catch {
    return later(""); // out of reach, or whoever answered was not the booth
  }
}

function later(sentence) {
  trouble = sentence ?? "";
  count();
  return "later";
}

function settle(entry, { done, refused, status }) {
  waiting.get(entry.id)?.(done ?? null);
  waiting.delete(entry.id);
  mine.push(entry.id);
  if (mine.length > MINE) mine.shift();
  if (done) {
    landing = [...stillLanding(), { entry, seq: done.seq, answeredMs: nowMs() }];
    return tell("done", { command: entry, answer: done });
  }
  if (!keepMisfit(entry, refused, mine)) say(refused);
  tell("refused", { command: entry, sentence: refused, status });
}

// The sign-in has run out. The taps stay kept and are sent, with their age, once somebody is signed in: by the next
// page, or by this one when it is come back to or tapped again.
function askToSignIn() {
  isUnsigned = true;
  count();
  say("Your sign-in has run out. Your taps are kept and sent once you are signed in again.");
  const way = Object.assign(document.createElement("a"), { href: `/sign-in?next=${encodeURIComponent(location.pathname)}`, textContent: "Sign in" });
  document.getElementById("said")?.append(way);
}

function signedInAgain() {
  isUnsigned = false;
  say("");
}

// A sentence for whoever tapped; it stays until it is put away, the next one comes, or half a minute is over.
export function say(sentence) {
  const place = document.getElementById("said");
  if (!place) return;
  clearTimeout(place.gone);
  place.textContent = sentence;
  if (!sentence) return;
  const away = Object.assign(document.createElement("button"), { type: "button", textContent: "OK", onclick: () => say("") });
  place.append(away);
  place.gone = setTimeout(() => say(""), 30000);
}

function count() {
  const late = box.filter((entry) => entry.isKept || nowMs() - entry.boxedMs >= WORTH_SAYING_MS);
  const line = document.getElementById("unsent");
  if (line) {
    line.hidden = !late.length;
    const one = late.length === 1;
    const kept = one ? "it is kept" : "they are kept";
    const why = isUnsigned ? `: your sign-in has run out. ${one ? "It is" : "They are"} kept.` : `: the booth is out of reach. Go on; ${kept}.`;
    const told = trouble && !isUnsigned ? `. ${one ? "It is kept and sent by itself" : "They are kept and sent by themselves"}. The booth says: ${trouble}` : why;
    line.textContent = late.length ? `${late.length} ${one ? "tap is" : "taps are"} not sent yet${told}` : "";
  }
  tell("unsent", { count: late.length });
}

function tell(name, detail) {
  document.dispatchEvent(new CustomEvent(`portraitq:${name}`, { detail }));
}

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-command]");
  if (!button || button.disabled || button.getAttribute("aria-disabled") === "true") return;
  event.preventDefault();
  if (isSameTap(button)) return;
  const { kind, data } = JSON.parse(button.dataset.command);
  button.classList.add("is-tapped");
  setTimeout(() => button.classList.remove("is-tapped"), SAME_TAP_MS);
  const holder = button.closest("[data-by]");
  send(kind, data, { booth: button.closest("[data-booth]")?.dataset.booth ?? here(), by: holder?.dataset.by ?? "counter" });
});

// By what it says, not by which element: a push may have put a new one in its place between two bounces.
const lastTaps = new Map();
function isSameTap(button) {
  const now = performance.now();
  const key = button.dataset.command;
  const before = lastTaps.get(key) ?? tappedAt.get(button);
  lastTaps.set(key, now);
  tappedAt.set(button, now);
  if (lastTaps.size > 50) lastTaps.delete(lastTaps.keys().next().value);
  return before !== undefined && now - before < SAME_TAP_MS;
}

addEventListener("pagehide", keepAges);
setInterval(keepAges, AGED_EVERY_MS);

// The line may be back: at once, whatever wait is still to go.
function again() {
  tries = 0;
  hurry();
  work();
}
addEventListener("online", again);
document.addEventListener("visibilitychange", () => { if (!document.hidden) again(); });
// Something came from the booth. Where it is the booth itself that takes no taps just now, the wait is kept.
document.addEventListener("portraitq:fresh", () => { if (box.length && !trouble && !isUnsigned) again(); });
count();
work();
