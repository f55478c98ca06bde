// Moving in the queue: what each place would do is fetched when the places are opened, and again after every push while
// they stand open; and the card of a better order, asked for after every push. Nothing is put in place under a finger.
// Without this script both are pages of their own.
import { say } from "./taps.js";
import { renew, token } from "./token.js";

const ASK_AFTER_MS = 700; // several pushes in a row are one question
const LEFT = "portraitq-left-order:"; // the suggestion that this device was told to leave
const card = document.getElementById("better-order");
const booth = document.querySelector("[data-booth]")?.dataset.booth ?? "";
let isPressed = false;
const afterwards = new Set();

addEventListener("pointerdown", () => { isPressed = true; }, true);
for (const name of ["pointerup", "pointercancel"]) {
  addEventListener(name, () => {
    isPressed = false;
    setTimeout(() => { for (const work of [...afterwards]) { afterwards.delete(work); work(); } }); // after the click that follows
  }, true);
}

// The part at `address`, or the sentence why there is none; null when the booth is out of reach.
async function part(address) {
  const asked = new URL(address, location.href);
  asked.searchParams.set("sheet", "1");
  try {
    const answer = await fetch(asked, { cache: "no-store", headers: { "X-Portraitq-Token": token() } });
    if (answer.ok) return { html: await answer.text() };
    return { sentence: (await answer.json()).detail ?? "The booth did not answer. Try again." };
  } catch {
    return null;
  }
}

// The places

document.addEventListener("toggle", ({ target }) => {
  if (target.matches?.("details[data-move]") && target.open) places(target);
}, true);

async function places(details) {
  const place = details.querySelector("[data-move-said]");
  const mine = details.asked = (details.asked ?? 0) + 1;
  if (!place.querySelector("button")) place.setAttribute("aria-busy", "true"); // places that are read stay as they are
  const found = await part(details.dataset.move);
  if (mine !== details.asked) return; // a later question will be answered
  place.removeAttribute("aria-busy");
  put(details, place, found);
}

function put(details, place, found) {
  if (!details.isConnected || !details.open) return;
  if (isPressed) { afterwards.add(() => places(details)); return; }
  if (!found) {
    if (!place.querySelector("button")) place.replaceChildren(sentence("The booth is out of reach. Close this and open it again in a moment."));
    return;
  }
  if (found.sentence) { place.replaceChildren(sentence(found.sentence)); return; }
  if (place.shown === found.html) return;
  const focused = place.contains(document.activeElement) ? document.activeElement.dataset.command : undefined;
  place.innerHTML = place.shown = found.html;
  if (focused) place.querySelector(`[data-command="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
}

function sentence(text) {
  return Object.assign(document.createElement("p"), { textContent: text });
}

// The better order

function left() {
  try { return sessionStorage.getItem(LEFT + booth); } catch { return null; }
}

let isAsking = false;
async function better() {
  if (!card || isAsking || document.hidden) return;
  isAsking = true;
  const found = await part(card.dataset.betterOrder);
  isAsking = false;
  if (found?.html !== undefined) showCard(found.html);
}

function showCard(html) {
  if (isPressed) { afterwards.add(() => showCard(html)); return; }
  if (card.querySelector("form")?.dataset.sending) return;
  const page = document.createElement("template");
  page.innerHTML = html;
  const key = page.content.querySelector("[data-better]")?.dataset.better ?? "";
  if (!key || key === left()) { card.replaceChildren(); return; }
  const before = card.querySelector("[data-better]")?.dataset.better;
  const focused = [...card.querySelectorAll(".button")].indexOf(document.activeElement);
  card.replaceChildren(page.content);
  card.querySelectorAll(".button")[focused]?.focus({ preventScroll: true });
  if (key !== before) document.getElementById("better-said").textContent = card.querySelector("h2").textContent;
}

card?.addEventListener("click", (event) => {
  if (!event.target.closest("[data-leave]")) return;
  event.preventDefault();
  try { sessionStorage.setItem(LEFT + booth, card.querySelector("[data-better]").dataset.better); } catch { /* private mode: it comes back with the next push */ }
  away();
});

function away() {
  card.replaceChildren();
  document.getElementById("queue")?.focus({ preventScroll: true });
}

card?.addEventListener("submit", async (event) => {
  event.preventDefault();
  const form = event.target;
  if (form.dataset.sending) return;
  form.dataset.sending = "yes";
  const refusal = form.querySelector("[data-refusal]");
  const refuse = (text) => Object.assign(refusal, { textContent: text, hidden: !text });
  refuse("");
  const post = () => fetch(form.action, { method: "POST", body: new FormData(form), headers: { "X-Portraitq-Token": token(), Accept: "application/json" } });
  try {
    let answer = await post();
    if ((answer.status === 401 || answer.status === 403) && await renew()) answer = await post();
    if (answer.ok) { say("Done: the queue stands in that order."); away(); return; }
    refuse((await answer.json()).detail ?? "The booth did not take it. Try again.");
  } catch {
    refuse("The booth is out of reach; nothing was moved. Tap again in a moment.");
  } finally {
    delete form.dataset.sending;
  }
});

let soon = 0;
document.addEventListener("portraitq:fresh", () => {
  clearTimeout(soon);
  soon = setTimeout(() => {
    better();
    for (const details of document.querySelectorAll("details[data-move][open]")) places(details);
  }, ASK_AFTER_MS);
});
if (card) better();
