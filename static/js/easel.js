// The Easel in the hand: one press counts once, the screen confirms it before the network does, pedals and keys work.
// The fragment holds every step that can be reached; this file only chooses which is seen. What was tapped and is not
// known to a push yet is laid over it, so an older push never takes a tap back from the eye.

import { mountPictures } from "./drawing.js";
import { confirm } from "./easel-senses.js";
import { learned, meaningOf, nameOf } from "./pedal-keys.js";
import { aged, ageMs, mark, remembered } from "./stopwatch.js";
import { send, unshown } from "./taps.js";

const SAME_TAP_MS = 800; // chalky fingers bounce, and the next button stands where the last one stood
const REASON_WAIT_MS = 8000; // so long a second touch may say why; the pause counts from the first
const AGED_EVERY_MS = 5000;
const SAYS = { next: "[data-main]", back: "[data-take-back]", pause: "[data-pause], [data-go-on]" };
const TYPED_IN = "input, textarea, select, [contenteditable]";

const main = document.querySelector('[data-view="easel"]');
const { booth, artist } = main.dataset;
const by = `easel:${artist}`;
const KEPT = `portraitq-easel:${booth}:${artist}`;
const AT_WORK = ["drawing", "paused", "touch-up", "touch-up-rest"];

let sign = null; // a mark with its ticket: signed, its rack place not chosen yet
let rest = null; // a mark with its ticket: paused, its reason not said yet and so not sent yet
let lastPressMs = -Infinity;
let shown; // which ticket stands in front
let readTo = 0; // how far down it is read beside the photo
let pushed = main.innerHTML; // the fragment as it came

const easel = () => main.querySelector(".easel");
const sketches = () => [...main.querySelectorAll(".sketch")];
const sketchOf = (ticket) => sketches().find((one) => one.dataset.ticket === ticket);
const visible = (selector) => [...main.querySelectorAll(selector)].find((one) => one.offsetParent !== null);

// What one command does to what is seen. Each applies only where it fits, so it does no harm to apply it twice.
const DOES = {
  artist_in: () => { if (easel().dataset.face === "out") easel().dataset.face = sketches().length ? "sketch" : "nothing"; },
  artist_out: () => { easel().dataset.face = "out"; },
  started: (sketch) => { if (sketch.dataset.state === "next") sketch.dataset.state = "drawing"; },
  stage_done: (sketch, { stage }) => { if (isAtWork(sketch) && stageOf(sketch) === stage) step(sketch, +1); },
  stage_undone: (sketch, { stage }) => { if (isAtWork(sketch) && stageOf(sketch, -1) === stage) step(sketch, -1); },
  paused: (sketch) => { sketch.dataset.state = { drawing: "paused", "touch-up": "touch-up-rest" }[sketch.dataset.state] ?? sketch.dataset.state; },
  resumed: (sketch) => { sketch.dataset.state = { paused: "drawing", "touch-up-rest": "touch-up" }[sketch.dataset.state] ?? sketch.dataset.state; },
  put_back: (sketch) => { if (isAtWork(sketch)) sketch.dataset.state = "next"; },
  finished: (sketch) => { if (isAtWork(sketch)) sketch.remove(); },
};

function isAtWork(sketch) {
  return AT_WORK.includes(sketch.dataset.state);
}

function stageOf(sketch, from = 0) {
  const at = Number(sketch.dataset.step) + from;
  return sketch.querySelector(`.sketch__step[data-at="${at}"]`)?.dataset.stage;
}

function step(sketch, by) {
  sketch.dataset.step = Number(sketch.dataset.step) + by;
}

function apply({ kind, data, by: who }) {
  if (!DOES[kind] || (who !== by && data.ticket === undefined)) return;
  const sketch = data.ticket === undefined ? null : sketchOf(data.ticket);
  if (data.ticket === undefined ? data.artist === artist : sketch) DOES[kind](sketch, data);
}

// Lays what is pending over the fragment and shows what follows from it.
function lay() {
  for (const command of unshown()) apply(command);
  if (rest && sketchOf(rest.ticket)) DOES.paused(sketchOf(rest.ticket));
  if (sign && !canSign(sketchOf(sign.ticket))) keepSign(null);
  if (easel().dataset.face === "sketch" && !sketches().length) easel().dataset.face = "nothing";
  if (easel().dataset.face === "nothing" && sketches().length) easel().dataset.face = "sketch";
  const { face } = easel().dataset;
  sayReach();
  for (const part of main.querySelectorAll("[data-face-of]")) part.hidden = part.dataset.faceOf !== face;
  const first = sketches().find(isAtWork) ?? sketches()[0];
  if (first && first.dataset.ticket !== shown) main.scrollTop = readTo = 0;
  shown = first?.dataset.ticket;
  for (const sketch of sketches()) {
    sketch.hidden = face !== "sketch" || sketch !== first;
    layOne(sketch);
  }
  mountPictures();
  const side = first?.querySelector(".sketch__side");
  if (side && side.scrollTop !== readTo) side.scrollTop = readTo;
}

document.addEventListener("scroll", ({ target }) => {
  if (target.matches?.(".sketch__side")) readTo = target.scrollTop;
}, true);

// With taps unsent nobody knows whether something waits: the page says what it knows.
function sayReach() {
  const isOut = !document.getElementById("unsent").hidden;
  for (const part of main.querySelectorAll("[data-when]")) part.hidden = (part.dataset.when === "out-of-reach") !== isOut;
}
document.addEventListener("portraitq:unsent", sayReach);

function layOne(sketch) {
  const { ticket, step: at } = sketch.dataset;
  const state = sign?.ticket === ticket ? "rack" : rest?.ticket === ticket ? "why" : sketch.dataset.state;
  sketch.dataset.seen = state;
  for (const part of sketch.querySelectorAll("[data-in]")) {
    part.hidden = !part.dataset.in.split(" ").includes(state) || (part.dataset.at !== undefined && part.dataset.at !== at);
  }
}

function canSign(sketch) {
  return sketch && ["drawing", "touch-up"].includes(sketch.dataset.state) && sketch.querySelector(`[data-sign][data-at="${sketch.dataset.step}"]`);
}

// Two touches that make one tap. What is pending survives a reload.

function keep() {
  const kept = { sign: sign && aged(sign), rest: rest && aged(rest) };
  try { localStorage.setItem(KEPT, JSON.stringify(kept)); } catch { /* private mode: kept in this page alone */ }
}

function keepSign(value) {
  sign = value;
  keep();
}

function touched(ticket) {
  return { ...mark(), ticket };
}

function pause(ticket) {
  rest = touched(ticket);
  keep();
  confirm("paused");
  lay();
  setTimeout(sayRest, REASON_WAIT_MS, "other", rest);
}

function sayRest(why = "other", which = rest) {
  if (!rest || rest !== which) return;
  const { ticket } = rest;
  const agoMs = ageMs(rest);
  rest = null;
  keep();
  send("paused", { ticket, why }, { booth, by, agoMs });
  lay();
}

function finish(button) {
  const { kind, data } = JSON.parse(button.dataset.finish);
  const agoMs = sign ? ageMs(sign) : 0;
  keepSign(null);
  send(kind, data, { booth, by, agoMs });
}

// What was half said before a reload: the pause is sent as it was meant, the rack place is asked for again.
function remember() {
  let kept = {};
  try { kept = JSON.parse(localStorage.getItem(KEPT)) ?? {}; } catch { /* nothing to be remembered */ }
  sign = kept.sign ? remembered(kept.sign) : null;
  rest = kept.rest ? remembered(kept.rest) : null;
  sayRest();
}

// Presses. Capturing, so that a bounce never reaches anybody, whichever button stands there by then.
main.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const now = performance.now();
  const isBounce = now - lastPressMs < SAME_TAP_MS;
  lastPressMs = isBounce ? lastPressMs : now;
  if (isBounce) {
    event.stopPropagation();
    event.preventDefault();
    return;
  }
  press(button);
}, true);

function press(button) {
  const ticket = button.closest(".sketch")?.dataset.ticket;
  if (rest && !button.matches("[data-pause], [data-why]")) sayRest();
  if (button.matches("[data-pause]")) pause(ticket);
  else if (button.matches("[data-why]")) sayRest(button.dataset.why);
  else if (button.matches("[data-sign]")) { keepSign(touched(ticket)); confirm("signed"); lay(); }
  else if (button.matches("[data-unsign]")) { keepSign(null); confirm("stage_undone"); lay(); }
  else if (button.matches("[data-finish]")) finish(button);
}

// What was under a card that is dropped must not get the second half of the press.
document.querySelector("[data-misfits]").addEventListener("click", () => { lastPressMs = performance.now(); }, true);

document.addEventListener("portraitq:tapped", ({ detail: { command } }) => {
  if (command.booth !== booth) return;
  if (command.by === by && command.kind !== "paused") confirm(command.kind);
  lay();
});
// What was refused did not happen: the fragment as it last came, and what is still pending over it.
document.addEventListener("portraitq:refused", ({ detail: { command } }) => {
  if (command.booth !== booth) return;
  confirm("refused");
  main.innerHTML = pushed;
  lay();
  main.live?.again();
});
main.addEventListener("portraitq:swapped", () => { pushed = main.innerHTML; lay(); });

// The menu gives way to whatever else is touched, and that touch counts.
const menu = document.querySelector(".easel-menu");
document.addEventListener("click", ({ target }) => { if (!menu.contains(target)) menu.open = false; }, true);

// Keys and pedals, which are keys.
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.isComposing || event.target.closest?.(TYPED_IN)) return;
  if (event.key === "Escape" && menu.open) {
    menu.open = false;
    menu.querySelector("summary").focus();
  }
  const focused = event.target.closest?.("a, button, summary");
  const isForFocused = focused && !focused.matches("[data-main]") && [" ", "Enter"].includes(event.key);
  if (isForFocused) return;
  const known = meaningOf(event);
  if (!known) return;
  event.preventDefault(); // and the page does not scroll under a pedal
  if (event.repeat) return;
  visible(SAYS[known.means])?.click();
});

function sayLearned() {
  const own = learned();
  const line = document.querySelector("[data-learned]");
  line.hidden = !own.length;
  line.querySelector("[data-learned-said]").textContent = own.map((one) => `${nameOf(one)}: ${{ next: "stage done", back: "take back", pause: "pause" }[one.means]}`).join(", ");
}
addEventListener("storage", sayLearned);
sayLearned();

addEventListener("pagehide", () => { sayRest(); keep(); });
setInterval(() => { if (sign || rest) keep(); }, AGED_EVERY_MS);
remember();
lay();
main.dataset.isReady = ""; // from now on a press counts, and it looks so
