// Set-up without losing one's place: adding, moving and removing rows swaps the form where it stands instead of loading
// the page, and leaving with unsaved changes asks first. Without this script every button does the same by loading.
import { renew, token } from "./token.js";

const SIGNED_OUT =
  "Not sent: the booth is out of reach, or the sign-in ran out. Sign in on another tab, then press again; nothing typed is lost.";
const small = document.querySelector("form[data-keeps]"); // words that somebody typed and would miss
const form = document.querySelector("[data-set-up]");
const saved = form && typed();
let isLeaving = false;

function typed() {
  const fields = new FormData(form);
  fields.delete("token");
  fields.delete("based_on");
  return JSON.stringify([...fields]);
}

function isUnsaved() {
  return typed() !== saved || form.querySelector(".refusal[role=alert]") !== null;
}

function mark() {
  const note = form.querySelector("[data-unsaved]");
  if (note) note.hidden = !isUnsaved();
}

// Whether somebody is still signed in here; if so the form carries a token that counts. If not it says so and stays.
async function isSignedIn() {
  const found = await renew();
  if (found) for (const field of document.querySelectorAll("input[name=token]")) field.value = token();
  const said = document.getElementById("said");
  if (said) said.textContent = found ? "" : SIGNED_OUT;
  return found;
}

async function change(button) {
  const body = new URLSearchParams(new FormData(form, button));
  let answer;
  try {
    answer = await fetch(form.action, { method: "POST", body });
  } catch {
    answer = null; // out of reach: load it the plain way, which says so
  }
  if (!answer?.ok) {
    isLeaving = true;
    form.dataset.plainly = "yes";
    button.click();
    return;
  }
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const next = page.querySelector("[data-set-up]");
  if (!next) { location.reload(); return; }
  form.replaceChildren(...next.children);
  form.querySelector("[autofocus]")?.focus();
  mark();
}

form?.addEventListener("submit", async (event) => {
  const button = event.submitter;
  if (form.dataset.plainly) {
    isLeaving = true;
    return;
  }
  event.preventDefault();
  if (!await isSignedIn()) return;
  if (button && button.value !== "save") {
    change(button);
    return;
  }
  isLeaving = true;
  form.dataset.plainly = "yes";
  form.requestSubmit(button);
});
form?.addEventListener("input", mark);
small?.addEventListener("input", () => { small.dataset.typed = "yes"; });
small?.addEventListener("submit", async (event) => {
  if (!small.dataset.plainly) {
    event.preventDefault();
    if (!await isSignedIn()) return;
    small.dataset.plainly = "yes";
    small.requestSubmit(event.submitter);
  }
  delete small.dataset.typed;
  delete small.dataset.plainly;
});
window.addEventListener("beforeunload", (event) => {
  if (small?.dataset.typed || (form && !isLeaving && isUnsaved())) event.preventDefault();
});
if (form) mark();
document.querySelector("main .refusal[role=alert]:not(:has(a))")?.focus();
