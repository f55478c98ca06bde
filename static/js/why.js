// "Why this time?": a disclosure whose answer is fetched when it is opened, so that a closed one costs nothing.
// Without this script its link leads to the same answer on a page of its own.
import { token } from "./token.js";

document.addEventListener("toggle", ({ target }) => {
  if (target.matches?.("details[data-why]") && target.open) ask(target);
}, true);

// Points it at another quote; what is open is asked anew, also when only the time went on.
export function aim(details, address) {
  details.dataset.why = address;
  if (details.open) ask(details);
}

async function ask(details) {
  const place = details.querySelector("[data-why-said]");
  const address = details.dataset.why;
  const asked = new URL(address, location.href);
  asked.searchParams.set("sheet", "1");
  place.setAttribute("aria-busy", "true");
  try {
    const answer = await fetch(asked, { cache: "no-store", headers: { "X-Portraitq-Token": token() } });
    const said = answer.ok ? await answer.text() : (await answer.json()).detail;
    if (details.dataset.why !== address) return; // it was pointed elsewhere meanwhile
    if (answer.ok) place.innerHTML = said;
    else place.replaceChildren(sentence(said));
  } catch {
    if (details.dataset.why === address) place.replaceChildren(sentence("The booth is out of reach. Close this and open it again in a moment."));
  } finally {
    place.removeAttribute("aria-busy");
  }
}

function sentence(text) {
  const said = document.createElement("p");
  said.textContent = text;
  return said;
}
