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
  const asked = new Set();
  const next = () => misfits.find((one) => isShown(one) && !one.told && !asked.has(one));
  try {
    for (let misfit = next(); misfit; misfit = next()) {
      asked.add(misfit);
      const { kind, data, id, seq, mine } = misfit;
      const about = new URLSearchParams({ command: JSON.stringify({ id, kind, data, ago_s: ageMs(misfit) / 1000 }), after: seq ?? 0, mine: mine.join(",") });
      const answer = await fetch(`${place.dataset.misfits}?${about}`, { cache: "no-store", headers: { Accept: "application/json" }, signal: AbortSignal.timeout?.(10000) });
      if (!answer.ok || !answer.headers.get("Content-Type")?.includes("json")) continue;
      misfit.told = await answer.json();
      if (misfits.includes(misfit)) keep(misfit);
    }
  } catch { /* out of reach: asked again in a while */ } finally {
    isAsking = false;
    show();
  }
}

// The oldest stands there in full, how many more there are beside it; dropping it brings the next.
function show() {
  if (!place) return;
  const shown = misfits.filter(isShown);
  const list = place.querySelector("ol");
  const [first] = shown;
  const card = [...list.children].find((one) => one.dataset.misfit === first?.id) ?? (first && newCard(first));
  if (first) fill(card, first);
  if (card?.parentNode !== list || list.children.length > 1) list.replaceChildren(...(card ? [card] : []));
  place.hidden = !first;
  say("[data-more]", shown.length > 1 ? `${shown.length - 1} more ${shown.length === 2 ? "was" : "were"} not taken.` : "");
  say("[data-drop-all]", shown.length > 1 ? `Drop all ${shown.length}` : "");
}

// Only what is new is written, so that a screen reader says it once.
function say(selector, text, within = place) {
  const part = within.querySelector(selector);
  if (part.textContent !== text) part.textContent = text;
  part.hidden = !text;
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

function fill(card, { told, why }) {
  const wasSaid = told?.was_said ?? false;
  say('[data-say="tapped"]', told?.tapped ?? "A tap of yours", card);
  say('[data-say="end"]', wasSaid ? "was said already." : "was not taken.", card);
  say('[data-say="why"]', wasSaid ? "" : why, card);
  say('[data-say="instead"]', (told?.instead ?? []).join(" "), card);
}

place?.querySelector("[data-drop-all]").addEventListener("click", () => drop(misfits.filter(isShown)));
// Another tab of this easel dropped or kept one.
addEventListener("storage", ({ key }) => { if (key === null || key.startsWith(KEY)) { misfits = read(); show(); } });
addEventListener("online", ask);
setInterval(() => { if (misfits.some((one) => isShown(one) && !one.told)) ask(); }, ASK_AGAIN_MS);
show();
ask();
