// The page of a pairing code: asks now and then whether the code was used, and then goes on to the list.
const ASKED_EVERY_MS = 2000;
const main = document.querySelector("[data-pairing]");

async function look() {
  try {
    const answer = await fetch(main.dataset.pairing, { headers: { Accept: "application/json" } });
    const { state } = answer.ok ? await answer.json() : { state: answer.status < 500 ? "over" : "waiting" };
    if (state !== "waiting") return location.replace(`${main.dataset.then}?said=${state}`);
  } catch {
    // out of reach for a moment: asked again
  }
  setTimeout(look, ASKED_EVERY_MS);
}

setTimeout(look, ASKED_EVERY_MS);
