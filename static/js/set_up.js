// Set-up without losing one's place: adding, moving and removing rows swaps the form where it stands instead of loading
// the page, and leaving with unsaved changes asks first. Without this script every button does the same by loading.
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

form?.addEventListener("submit", (event) => {
  const button = event.submitter;
  if (form.dataset.plainly || !button || button.value === "save") {
    isLeaving = true;
    return;
  }
  event.preventDefault();
  change(button);
});
form?.addEventListener("input", mark);
window.addEventListener("beforeunload", (event) => {
  if (form && !isLeaving && isUnsaved()) event.preventDefault();
});
if (form) mark();
document.querySelector("main .refusal[role=alert]:not(:has(a))")?.focus();
