// Takes a page off the screen of a tablet that was withdrawn. Pages with a live view are told by it; the others ask here.

const ASK_EVERY_MS = 10000;

async function ask() {
  if (document.hidden || document.querySelector("[data-view]")) return;
  try {
    const answer = await fetch("/devices/withdrawn", { cache: "no-store" });
    if (answer.ok && (await answer.json()).is_withdrawn) location.reload();
  } catch { /* out of reach: it is asked again */ }
}

setInterval(ask, ASK_EVERY_MS);
document.addEventListener("visibilitychange", ask);
addEventListener("pageshow", (event) => { if (event.persisted) ask(); });
