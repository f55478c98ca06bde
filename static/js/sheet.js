// The sheet over the counter, and the same forms on the hand-over page: opens one ticket, sends its forms without
// leaving the page, shows a refusal beside what was tapped, and reads itself anew after everything that was done; the
// hand-over page also whenever its ticket changes.
// Without this script every link and form still works as a page of its own.
import { say } from "./taps.js";
import { renew, token } from "./token.js";

const UNSIGNED = "Your sign-in has run out. Sign in on another tab, then tap again: everything here stays.";
const sheet = document.getElementById("sheet");
const content = document.querySelector("[data-sheet-content]");
let source = content?.dataset.source ?? "";
let opener = null;
let isTapped = false; // here, and what it changes is not seen yet

export async function open(address, link = null) {
  opener = link ?? opener;
  source = address;
  isTapped = false;
  if (!(await read())) return;
  if (sheet && !sheet.open) sheet.showModal();
  content.closest("dialog")?.scrollTo(0, 0);
}

// Reads the sheet's part anew; false when the booth cannot be reached.
async function read() {
  const address = new URL(source, location.href);
  address.searchParams.set("sheet", "1");
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html" }, cache: "no-store" });
    if (answer.redirected) { say(UNSIGNED); return false; }
    if (!answer.ok) { location.href = source; return false; }
    const opened = [...content.querySelectorAll("details[open][data-key]")].map((one) => one.dataset.key);
    const html = await answer.text();
    const stood = content.querySelector("[data-stands]");
    const hadFocus = stood !== null && stood === document.activeElement;
    content.innerHTML = html;
    for (const key of opened) content.querySelector(`details[data-key="${CSS.escape(key)}"]`)?.setAttribute("open", "");
    showWhereItStands(stood, hadFocus);
    return true;
  } catch {
    say("The booth is out of reach. Tap again in a moment.");
    return false;
  }
}

// Where the ticket is now comes into sight when a tap of ours changed it: the button that did it is gone.
function showWhereItStands(before, hadFocus) {
  const now = content.querySelector("[data-stands]");
  const isChanged = isTapped && before !== null && now?.textContent !== before.textContent;
  if (isChanged) isTapped = false;
  if (isChanged || hadFocus) now?.focus({ preventScroll: true });
  if (isChanged) now?.scrollIntoView({ block: "nearest" });
}

function close() {
  sheet?.close();
}

// Shows `sentence` in the nearest place that is meant for it, or takes it away.
export function refuse(near, sentence, field = "") {
  const named = field && near.querySelector?.(`[data-refusal="${CSS.escape(field)}"]`);
  const place = named || near.closest?.("form, .ask__really, article, section")?.querySelector('[data-refusal=""]') || content?.querySelector('[data-refusal=""]');
  if (!place) return say(sentence);
  place.textContent = sentence;
  place.hidden = !sentence;
  if (sentence) place.scrollIntoView({ block: "nearest" });
}

async function sendForm(form, button) {
  if (form.dataset.sending) return;
  form.dataset.sending = "yes";
  refuse(form, "");
  const body = new FormData(form, button);
  try {
    const post = () => fetch(form.action, { method: "POST", body, headers: { "X-Portraitq-Token": token(), Accept: "application/json" } });
    let answer = await post();
    if ((answer.status === 401 || answer.status === 403) && await renew()) answer = await post();
    if (answer.status === 401 || answer.status === 403) { refuse(form, UNSIGNED); return; }
    if (!answer.ok) { refuse(form, ((await answer.json()).detail ?? "The booth did not take it. Try again.").replace(/^[a-z_]+: /, "")); return; }
    if (form.dataset.form === "reload") { location.reload(); return; }
    await read();
  } catch {
    refuse(form, "The booth is out of reach; nothing was sent. Tap again in a moment.");
  } finally {
    delete form.dataset.sending;
  }
}

document.addEventListener("click", (event) => {
  const link = event.target.closest?.("a[data-sheet]");
  if (link && sheet) {
    event.preventDefault();
    open(link.href, link);
    return;
  }
  if (event.target === sheet || event.target.closest?.("[data-close]")) close();
});

document.addEventListener("submit", (event) => {
  const form = event.target.closest?.("form[data-form]");
  if (!form) return;
  event.preventDefault();
  sendForm(form, event.submitter);
});

sheet?.addEventListener("close", () => {
  if (sheet.open) return; // opened again before this was told
  content.replaceChildren();
  const again = opener && !opener.isConnected ? document.querySelector(`a[href="${CSS.escape(opener.getAttribute("href"))}"]`) : opener;
  again?.focus({ preventScroll: true });
  opener = null;
});

// The hand-over page follows the booth too, but never under a hand that types.
function isTyped({ value, defaultValue, checked, defaultChecked, type }) {
  return ["radio", "checkbox"].includes(type) ? checked !== defaultChecked : value !== defaultValue;
}
document.querySelector("[data-follows]")?.addEventListener("portraitq:swapped", () => {
  const fields = [...content.querySelectorAll("input:not([type=hidden]), textarea")];
  if (!fields.some(isTyped) && !fields.includes(document.activeElement)) read();
});

// What taps.js sent from here, and what became of it.
const tappedHere = new Map();
document.addEventListener("portraitq:tapped", ({ detail }) => {
  const button = content?.querySelector(".is-tapped");
  tappedHere.set(detail.command.id, button);
  isTapped = Boolean(button);
  if (button) refuse(button, "");
});
document.addEventListener("portraitq:done", ({ detail }) => {
  const button = tappedHere.get(detail.command.id);
  tappedHere.delete(detail.command.id);
  if (button?.dataset.then === "reload") return location.reload();
  if (content && source && (!sheet || sheet.open)) read();
});
document.addEventListener("portraitq:refused", ({ detail }) => {
  const button = tappedHere.get(detail.command.id);
  tappedHere.delete(detail.command.id);
  if (!button?.isConnected) return;
  say("");
  refuse(button, detail.sentence);
});
