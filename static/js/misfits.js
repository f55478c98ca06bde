// Taps of an easel that the booth could not take any more: each stays, over a reload too, until the artist drops it.
// Shown where the page has [data-misfits]: what was tapped and when, why it does not fit, what happened instead, by whom.
// The words are the booth's (web/misfit.py), asked for once; until they come, its refusal stands there alone.

import { aged, ageMs, remembered } from "./stopwatch.js";

const KEY = "portraitq-misfit:"; // one item each, so that two tabs never overwrite each other's
const ASK_AGAIN_MS = 10000;
const place = document.querySelector("[data-misfits]");
let misfits = read();
let isAsking = false;

// Keeps a refused tap; false where it is nobody's easel or cannot be shown here, so that it is to be said otherwise.
export function keepMisfit(entry, sentence, mine = []) {
  if (!entry.by.startsWith("easel:")) return false;
  const misfit = aged({ ...entry, why: sentence, mine, told: null });
  misfits.push(misfit);
  keep(misfit);
  show();
  ask();
  return isShown(misfit);
}

function isShown({ booth, by }) {
  return Boolean(place) && booth === place.dataset.booth && by === place.dataset.by;
}

function read() {
  try {
    const keys = Object.keys(localStorage).filter((key) => key.startsWith(KEY));
    return keys.map((key) => remembered(JSON.parse(localStorage.getItem(key)))).sort((a, b) => a.atMs - b.atMs);
  } catch { return []; }
}

function keep(misfit) {
  try { localStorage.setItem(KEY + misfit.id, JSON.stringify(misfit)); } catch { /* private mode: kept in this page alone */ }
}

function drop(these) {
  misfits = misfits.filter((one) => !these.includes(one));
  for (const { id } of these) try { localStorage.removeItem(KEY + id); } catch { /* it never got there */ }
  show();
}

// What happened instead is asked for once: it lies in the past and stays as it was.
async function ask() {
  if (isAsking || !place) return;
  isAsking = true;
  try {
    for (const misfit of misfits.filter((one) => isShown(one) && !one.told)) {
      const { kind, data, id, seq, mine } = misfit;
      const asked = new URLSearchParams({ command: JSON.stringify({ id, kind, data, ago_s: ageMs(misfit) / 1000 }), after: seq ?? 0, mine: mine.join(",") });
      const answer = await fetch(`${place.dataset.misfits}?${asked}`, { cache: "no-store", headers: { Accept: "application/json" }, signal: AbortSignal.timeout?.(10000) });
      if (!answer.ok || !answer.headers.get("Content-Type")?.includes("json")) continue;
      misfit.told = await answer.json();
      if (misfits.includes(misfit)) keep(misfit);
    }
  } catch { /* out of reach: asked again in a while */ } finally {
    isAsking = false;
    show();
  }
}

function show() {
  if (!place) return;
  const shown = misfits.filter(isShown);
  const known = new Map([...place.querySelectorAll("[data-misfit]")].map((card) => [card.dataset.misfit, card]));
  for (const misfit of shown) {
    const card = known.get(misfit.id) ?? newCard(misfit);
    known.delete(misfit.id);
    fill(card, misfit);
    if (!card.isConnected) place.querySelector("ol").append(card);
  }
  for (const card of known.values()) card.remove();
  place.hidden = !shown.length;
  const all = place.querySelector("[data-drop-all]");
  all.hidden = shown.length < 2;
  all.textContent = `Drop all ${shown.length}`;
}

function newCard(misfit) {
  const card = place.querySelector("template").content.firstElementChild.cloneNode(true);
  card.dataset.misfit = misfit.id;
  card.querySelector("button").addEventListener("click", () => {
    drop([misfit]);
    place.querySelector(".misfits__one button")?.focus();
  });
  return card;
}

// Only what is new is written, so that a screen reader says it once.
function fill(card, { told, why }) {
  const words = { tapped: told?.tapped ?? "A tap of yours", why, instead: (told?.instead ?? []).join(" ") };
  for (const [name, text] of Object.entries(words)) {
    const part = card.querySelector(`[data-say="${name}"]`);
    if (part.textContent !== text) part.textContent = text;
    part.hidden = !text;
  }
}

place?.querySelector("[data-drop-all]").addEventListener("click", () => drop(misfits.filter(isShown)));
// Another tab of this easel dropped or kept one.
addEventListener("storage", ({ key }) => { if (key === null || key.startsWith(KEY)) { misfits = read(); show(); } });
addEventListener("online", ask);
setInterval(() => { if (misfits.some((one) => isShown(one) && !one.told)) ask(); }, ASK_AGAIN_MS);
show();
ask();
