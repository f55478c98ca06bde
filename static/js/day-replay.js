// The slider through a day: moving it fetches that minute and puts it on the page. One question is under way at a time;
// what was wanted meanwhile is asked next, the newest alone. Without this script the form and the links do the same.
const SOON_MS = 40; // a slider that is dragged says where it is many times a second
const AGAIN_MS = 1000; // while the record is being read
const TEN_MIN = 10;

const slider = document.querySelector("#replay-minute");
const shown = document.querySelector("#replay-shown");
const typed = document.querySelector("#replay-at");
const said = document.querySelector("#said");
let wanted = null;
let isAsking = false;
let timer;

function address(query) {
  const asked = new URLSearchParams(query);
  asked.set("fragment", "1");
  return `${location.pathname}?${asked}`;
}

async function fetched(query) {
  return fetch(address(query), { headers: { Accept: "application/json" }, cache: "no-store" });
}

// The clock of the booth at a minute, before the answer is there.
function clockAt(minute) {
  const at = new Date(new Date(slider.dataset.firstAt).getTime() + minute * 60000);
  return new Intl.DateTimeFormat("en-GB", { timeZone: slider.dataset.zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23" }).format(at);
}

function want(query) {
  wanted = query;
  clearTimeout(timer);
  timer = setTimeout(ask, SOON_MS);
}

async function ask() {
  if (isAsking || wanted === null) return;
  const query = wanted;
  wanted = null;
  isAsking = true;
  shown.setAttribute("aria-busy", "true");
  try {
    const answer = await fetched(query);
    if (answer.status === 401) location.reload(); // signed out meanwhile: the page itself leads to the way in
    else if (answer.status === 202) again(query, "Reading the record…");
    else if (answer.ok) show(await answer.json());
    else say((await answer.json()).detail ?? "This minute could not be shown. Load the page again.");
  } catch {
    say("This minute could not be fetched: the booth is out of reach. Move the slider to try again.");
  } finally {
    isAsking = false;
    shown.removeAttribute("aria-busy");
    if (wanted !== null) ask();
  }
}

function again(query, sentence) {
  say(sentence);
  setTimeout(() => { if (wanted === null) want(query); }, AGAIN_MS);
}

function say(sentence) {
  if (said && said.textContent !== sentence) said.textContent = sentence;
}

function show({ minute, clock, said: sentence, address: where, html }) {
  const focused = shown.contains(document.activeElement) ? document.activeElement.id : "";
  shown.innerHTML = html;
  if (focused) document.getElementById(focused)?.focus({ preventScroll: true });
  if (wanted === null) place(minute, clock, sentence); // else it has moved on already
  history.replaceState(null, "", where);
  if (document.activeElement !== slider) say(sentence); // the slider says it by itself
  else say("");
}

function place(minute, clock, sentence) {
  slider.value = minute;
  slider.setAttribute("aria-valuetext", sentence);
  if (document.activeElement !== typed) typed.value = clock;
}

function moved() {
  const minute = Number(slider.value);
  place(minute, clockAt(minute), clockAt(minute));
  want({ day: slider.dataset.day, minute });
}

if (slider) {
  slider.hidden = false;
  slider.addEventListener("input", moved);
  slider.addEventListener("keydown", (event) => {
    const by = { PageUp: TEN_MIN, PageDown: -TEN_MIN }[event.key];
    if (by === undefined || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    slider.value = Number(slider.value) + by;
    moved();
  });
  typed.form.addEventListener("submit", (event) => {
    if (typed.form.elements.day.value !== slider.dataset.day) return; // another day is another page
    event.preventDefault();
    want({ day: slider.dataset.day, at: typed.value });
  });
  document.addEventListener("click", (event) => {
    const way = event.target.closest("a[data-minute]");
    if (!way || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    want({ day: slider.dataset.day, minute: way.dataset.minute });
  });
} else if (document.querySelector("[data-reading]")) {
  readOn();
}

// Asks until the record is read, and then loads the page.
async function readOn() {
  try {
    const answer = await fetched(location.search.slice(1));
    if (answer.status !== 202) {
      location.reload();
      return;
    }
  } catch { /* out of reach: the next try is in a moment, and the button is there */ }
  setTimeout(readOn, AGAIN_MS);
}
