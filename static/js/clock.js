// The line about a clock that is wrong: as the newest push of the page says it, on top of the page. While the booth has no
// time, its button says by this device's clock what time it is; whoever taps it reads the time first.

import { token } from "./token.js";

const line = document.getElementById("clock");
let isSending = false;

function show() {
  const pushed = document.querySelector("[data-clock-line]");
  if (pushed && pushed.innerHTML !== line.said) {
    line.said = pushed.innerHTML;
    line.innerHTML = pushed.innerHTML;
  }
  line.hidden = !line.textContent.trim();
  const button = line.querySelector("[data-clock-set]");
  if (button && !isSending) {
    button.hidden = false;
    button.textContent = `It is ${now(button.dataset.zone)}: go by this device`;
  }
}

function now(timeZone) {
  const parts = { day: "numeric", month: "long", year: "numeric", hour: "2-digit", minute: "2-digit" };
  return new Intl.DateTimeFormat("en-GB", { ...parts, timeZone }).format(new Date());
}

async function send(button) {
  isSending = true;
  button.disabled = true;
  try {
    const answer = await fetch(button.dataset.clockSet, {
      method: "POST",
      headers: { "Content-Type": "application/json", Accept: "application/json", "X-Portraitq-Token": token() },
      body: JSON.stringify({ at: new Date().toISOString() }),
    });
    if (answer.ok) return location.reload();
    line.querySelector("p").textContent = (await answer.json()).detail ?? answer.statusText;
  } catch {
    line.querySelector("p").textContent = "The booth is out of reach: tap again once it is there.";
  } finally {
    button.disabled = false;
    isSending = false;
  }
}

line.addEventListener("click", ({ target }) => {
  const button = target.closest("[data-clock-set]");
  if (button && !isSending) send(button);
});
document.addEventListener("portraitq:fresh", show);
setInterval(show, 10000); // the minute on the button
show();
