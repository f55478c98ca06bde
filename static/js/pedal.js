// The pedal's page: shows each press in words, and learns what it is to say at the Easel.

import { caution, forget, isSame, learn, learned, meaningOf, nameOf, whyNot } from "./pedal-keys.js";

const SAME_TAP_MS = 800; // as at the Easel
const USUAL_SAID = { next: "Page Down, →, Enter or Space", back: "Page Up or ←", pause: "P" };
const heard = (name) => document.querySelector(`[data-heard="${name}"]`);
const asks = document.querySelector("[data-asks]");
const rows = [...document.querySelectorAll("[data-means]")];
const wordsOf = (means) => rows.find((row) => row.dataset.means === means).dataset.words;

let learning = null; // which meaning the next press is for
let last = null; // {key, code, atMs, repeats}

document.addEventListener("keydown", (event) => {
  const press = { key: event.key, code: event.code };
  if (event.repeat) {
    if (last && isSame(last, press)) showRepeat();
    if (learning) event.preventDefault();
    return;
  }
  if (event.isComposing) return;
  if (learning && event.key === "Escape") return stopLearning("Nothing was changed.");
  const isGettingAround = ["Tab", "Shift", "Escape"].includes(event.key);
  if (learning && !isGettingAround) {
    event.preventDefault();
    event.stopPropagation();
    hear(event);
    return take(event);
  }
  hear(event);
  const isForFocused = event.target.closest?.("a, button, summary") && ["Enter", " "].includes(event.key);
  if (!isForFocused && !isGettingAround && meaningOf(press) && !event.ctrlKey && !event.altKey && !event.metaKey) event.preventDefault(); // the page stays where it is
}, true);

// Space presses a button when it comes up again: not the one that was just asked for.
document.addEventListener("keyup", (event) => { if (event.key === " " && last?.isTaken) { event.preventDefault(); last.isTaken = false; } }, true);

function hear(event) {
  const gapMs = last ? event.timeStamp - last.atMs : null;
  last = { key: event.key, code: event.code, atMs: event.timeStamp, repeats: 0 };
  const known = meaningOf(last);
  const no = whyNot(event);
  heard("key").textContent = nameOf(last);
  heard("does").textContent = known ? `The Easel knows it${known.isLearned ? ", for this tablet learned it" : ""}: “${wordsOf(known.means)}”.`
    : no ? "" : "The Easel does not know it yet: teach it below.";
  heard("why").textContent = !known && no ? no : gapMs !== null && gapMs < SAME_TAP_MS ? "So soon after the one before the Easel takes both for one press." : "";
  heard("sent").textContent = event.key === " " ? "Space (“ ”)" : event.key || "none";
  heard("code").textContent = event.code || "none";
  heard("gap").textContent = gapMs === null ? "the first" : `${(gapMs / 1000).toFixed(1)} s`;
  showRepeat(0);
  heard("facts").hidden = false;
}

function showRepeat(repeats = last.repeats + 1) {
  last.repeats = repeats;
  heard("repeat").textContent = repeats ? `yes, it repeats (${repeats}); the Easel counts it once` : "no";
}

// Learning: one press for one meaning.

function startLearning(means) {
  learning = means;
  say(`Now press the pedal for “${wordsOf(means)}”.`, [["Cancel", () => stopLearning("Nothing was changed.")]]);
  for (const row of rows) row.classList.toggle("is-learning", row.dataset.means === means);
}

function stopLearning(sentence) {
  const means = learning;
  learning = null;
  for (const row of rows) row.classList.remove("is-learning");
  say(sentence);
  rows.find((row) => row.dataset.means === means)?.querySelector("[data-learn]").focus();
}

function take(event) {
  const press = { key: event.key, code: event.code };
  const means = learning;
  last.isTaken = true;
  const no = whyNot(event);
  if (no) return say(`${no} Press another one for “${wordsOf(means)}”.`, [["Cancel", () => stopLearning("Nothing was changed.")]]);
  const before = meaningOf(press);
  if (before?.means === means) return stopLearning(`${nameOf(press)} says “${wordsOf(means)}” already.`);
  if (!before) return keep(press, means);
  learning = null;
  say(`${nameOf(press)} says “${wordsOf(before.means)}” until now. One press cannot say two things.`, [
    [`Let it say “${wordsOf(means)}”`, () => keep(press, means)],
    [`Leave it “${wordsOf(before.means)}”`, () => { learning = means; stopLearning("Nothing was changed."); }],
  ]);
}

function keep(press, means) {
  learning = means;
  const isKept = learn(press, means);
  const done = `${nameOf(press)} says “${wordsOf(means)}” from now on. ${caution(press)}`.trim();
  stopLearning(isKept ? done : "This browser keeps nothing (a private window?): the usual keys go on working.");
  show();
}

function say(sentence, choices = []) {
  asks.hidden = !sentence;
  asks.replaceChildren(Object.assign(document.createElement("p"), { textContent: sentence }));
  for (const [text, onclick] of choices) asks.append(Object.assign(document.createElement("button"), { type: "button", className: "button pedal__target", textContent: text, onclick }));
  if (choices.length > 1) asks.querySelector("button").focus();
}

function show() {
  const own = learned();
  for (const row of rows) {
    const { means, words } = row.dataset;
    row.querySelector("[data-now]").textContent = `${USUAL_SAID[means]}${own.some((one) => one.means === means) ? ", and what it learned" : ""}.`;
    row.querySelector("[data-own]").replaceChildren(...own.filter((one) => one.means === means).map((one) => {
      const button = Object.assign(document.createElement("button"), { type: "button", className: "button pedal__target", textContent: `Forget ${nameOf(one)} for “${words}”` });
      button.onclick = () => { forget(one); show(); say(`${nameOf(one)} is forgotten.`); row.querySelector("[data-learn]").focus(); };
      return button;
    }));
  }
  document.querySelector("[data-forget-all]").hidden = own.length < 2;
}

for (const row of rows) row.querySelector("[data-learn]").addEventListener("click", () => startLearning(row.dataset.means));
document.querySelector("[data-forget-all]").addEventListener("click", () => { forget(); show(); say("All is forgotten; the usual keys are as they were."); rows[0].querySelector("[data-learn]").focus(); });
show();
