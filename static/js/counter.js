// The form of a new order: its quotes kept fresh, its photos shown, everything sent at once, and nothing typed lost.
// The quotes are asked for again after each push and whenever sitters or artist change; only their words are swapped.
import "./photo.js";
import { newId, say } from "./taps.js";
import { renew, token } from "./token.js";
import { aim } from "./why.js";

const form = document.getElementById("order");
const taken = document.getElementById("taken");
const dayPanel = document.getElementById("day-panel");
const queue = document.querySelector('[data-view="counter"]');
const photos = form.querySelector("booth-photos");
const progress = form.querySelector("progress");
const why = document.getElementById("why");
why.dataset.asks = why.dataset.why;
const QUOTE_AFTER_MS = 150; // several steps of the stepper are one question
let asking = 0;
let isSending = false;

form.elements.id.value = newId();
form.noValidate = true;

// Quotes

let soon = 0;
function askSoon() {
  clearTimeout(soon);
  soon = setTimeout(ask, QUOTE_AFTER_MS);
}

async function ask() {
  if (form.hidden) return;
  const mine = ++asking;
  const { sitters, artist } = form.elements;
  const address = `${form.dataset.quotes}?${new URLSearchParams({ sitters: sitters.value || "1", artist: artist?.value ?? "" })}`;
  try {
    const answer = await fetch(address, { cache: "no-store" });
    if (!answer.ok || answer.redirected || mine !== asking) return;
    const part = document.createElement("template");
    part.innerHTML = await answer.text();
    if (mine !== asking) return;
    for (const one of part.content.querySelectorAll("[data-quote]")) {
      const slot = form.querySelector(`[data-quote="${CSS.escape(one.dataset.quote)}"]`);
      if (!slot) continue;
      if (slot.innerHTML !== one.innerHTML) slot.innerHTML = one.innerHTML;
      const { readyBy, promise, instead } = one.dataset;
      Object.assign(slot.dataset, { readyBy, promise, instead });
    }
    follow();
  } catch { /* out of reach: the age line tells how old the quotes are, the next push asks again */ }
}

// What follows from the choices: the promise that is told and why, the price, who may be asked for.

function chosen() {
  return form.querySelector('input[name="style"]:checked');
}

function follow() {
  const style = chosen();
  const slot = style && form.querySelector(`[data-quote="${CSS.escape(style.value)}"]`);
  form.elements.ready_by.value = slot?.dataset.readyBy ?? "";
  form.querySelector("[data-promise-said]").textContent = slot?.dataset.promise ? `back at ${slot.dataset.promise}` : "";
  sayInstead(slot?.dataset.instead ?? "");
  askWhy(style?.value ?? "");
  const draws = style?.dataset.artists.split(" ") ?? [];
  const asked = document.getElementById("asked");
  if (asked && style) {
    asked.hidden = draws.length < 2;
    for (const chip of asked.querySelectorAll("[data-draws]")) {
      const may = chip.dataset.draws.split(" ").includes(style.value);
      chip.hidden = !may;
      if (!may && chip.firstElementChild.checked) { asked.querySelector('input[value=""]').checked = true; askSoon(); }
    }
  }
}

// Not for today, and what still is: written only where it changed, so that it is not read out again.
function sayInstead(said) {
  const place = form.querySelector("[data-instead-said]");
  if (place.textContent !== said) place.textContent = said;
}

function askWhy(style) {
  const { sitters, artist } = form.elements;
  const asked = new URLSearchParams({ style, sitters: sitters.value || "1", artist: artist?.value ?? "" });
  aim(why, `${why.dataset.asks}?${asked}`);
}

form.addEventListener("change", ({ target }) => {
  if (target.name === "style") {
    form.elements.price.value = target.dataset.amount;
    refuse("", "style");
  }
  if (target.name === "sitters" || target.name === "artist") askSoon();
  if (target.name === "sitters") photos.refresh();
  if (target.name === "is_child" && target.checked) form.elements.consent_by.focus();
  follow();
});

for (const step of form.querySelectorAll("[data-step]")) {
  step.addEventListener("click", () => {
    const { sitters } = form.elements;
    const next = Math.min(Number(sitters.max), Math.max(Number(sitters.min), (Number(sitters.value) || 1) + Number(step.dataset.step)));
    if (String(next) === sitters.value) return;
    sitters.value = next;
    photos.refresh();
    askSoon();
  });
}

// A refusal stands beside its field; one for a field that is folded away unfolds it.

function refuse(sentence, field = "") {
  const [name, index] = field.split(".");
  if (name === "photo" && index !== undefined && photos.refuse(Number(index), sentence)) return;
  const place = form.querySelector(`[data-refusal="${CSS.escape(name)}"]`) ?? form.querySelector('[data-refusal=""]');
  place.textContent = plain(sentence, name);
  place.hidden = !sentence;
  if (!sentence) return;
  const folded = place.closest("details");
  if (folded) folded.open = true;
  place.scrollIntoView({ block: "center" });
  form.elements[name]?.focus?.({ preventScroll: true });
}

// Beside its field a sentence need not name the field again.
function plain(sentence, name) {
  const rest = name && sentence.startsWith(`${name}: `) ? sentence.slice(name.length + 2) : sentence;
  return rest.charAt(0).toUpperCase() + rest.slice(1);
}

function refuseNothing() {
  for (const place of form.querySelectorAll("[data-refusal]")) place.hidden = true;
}

// Sending

form.addEventListener("submit", (event) => {
  event.preventDefault();
  if (isSending) return;
  if (event.submitter?.dataset.walkedAway !== undefined) walkedAway(); else take();
});

// Photos that are still on their way are waited for; those that cannot be sent just now go along.
async function take() {
  refuseNothing();
  if (!chosen()) return refuse("Choose a style first.", "style");
  busy(true);
  if (photos.isSending) say("The order goes off as soon as its photos are sent.");
  await photos.settled();
  say("");
  const body = new FormData(form);
  body.delete("photo");
  for (const id of photos.kept) body.append("kept_photo", id);
  for (const file of photos.files) body.append("photo", file, file.name || "photo.jpg");
  send(form.action, body, (text) => {
    taken.innerHTML = text;
    taken.hidden = false;
    form.hidden = true;
    begin();
    taken.focus({ preventScroll: true });
    taken.scrollIntoView({ block: "start" });
  });
}

function walkedAway() {
  refuseNothing();
  const body = new FormData();
  for (const name of ["id", "style", "sitters", "ready_by"]) body.append(name, form.elements[name]?.value ?? "");
  for (const id of photos.kept) body.append("kept_photo", id);
  send(form.dataset.left, body, () => {
    begin();
    say("Noted: walked away.");
  });
}

// A request that tells how far it is; the id stays the same until it was answered, so that a second try is harmless.
function send(address, body, done, isAgain = false) {
  busy(true);
  const request = new XMLHttpRequest();
  request.open("POST", address);
  request.timeout = 120000;
  request.setRequestHeader("X-Portraitq-Token", token());
  request.setRequestHeader("Accept", "text/html, application/problem+json");
  request.upload.onprogress = ({ lengthComputable, loaded, total }) => {
    progress.hidden = !lengthComputable || total < 100000;
    progress.value = lengthComputable ? 100 * loaded / total : 0;
  };
  request.onload = async () => {
    const isStale = (request.status === 401 || request.status === 403) && !isAgain;
    if (isStale && await renew()) return send(address, body, done, true);
    busy(false);
    if (request.status < 300) return done(request.responseText);
    if (request.status === 401 || request.status === 403) return refuse("Your sign-in has run out. Sign in on another tab, then tap again: everything here stays.");
    const no = problemOf(request);
    refuse(no.detail, no.field ?? "");
  };
  request.onerror = request.ontimeout = () => {
    busy(false);
    refuse("The booth is out of reach, and the order is not sent. Everything here stays: tap again in a moment.");
  };
  request.send(body);
}

function problemOf(request) {
  try { return JSON.parse(request.responseText); } catch { return { detail: "The booth could not take the order. Everything here stays: tap again." }; }
}

function busy(is) {
  isSending = is;
  form.toggleAttribute("aria-busy", is);
  form.querySelector("[data-take]").setAttribute("aria-disabled", String(is));
  if (!is) progress.hidden = true;
}

// A fresh form for the next customer, with an id of its own.
function begin() {
  form.reset();
  photos.clear();
  refuseNothing();
  form.elements.id.value = newId();
  document.getElementById("more").open = false;
  const only = form.querySelectorAll('input[name="style"]');
  form.elements.price.value = only.length === 1 ? only[0].dataset.amount : "";
  ask();
  follow();
}

taken.addEventListener("click", (event) => {
  if (!event.target.closest("[data-next-customer]")) return;
  event.preventDefault();
  taken.hidden = true;
  taken.replaceChildren();
  form.hidden = !dayPanel.hidden;
  ask();
  form.querySelector('input[name="style"]')?.focus({ preventScroll: true });
  scrollTo({ top: 0 });
});

// Pushes: fresher quotes, and the day opened or closed from another device.

queue?.addEventListener("portraitq:fresh", () => {
  const isOpen = queue.querySelector("[data-day]")?.dataset.day === "open";
  if (dayPanel.hidden !== isOpen) {
    dayPanel.hidden = isOpen;
    form.hidden = !isOpen || !taken.hidden;
  }
  askSoon();
});

follow();
