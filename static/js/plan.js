// Looks how far a plan is, and shows its answer once it is there. Without this script the link on the page does the same.
const LOOK_EVERY_MS = 700;
const place = document.querySelector("[data-plan-run]");

async function look() {
  try {
    const answer = await fetch(place.dataset.planRun, { cache: "no-store", headers: { Accept: "text/html" } });
    if (!answer.ok) throw new Error(String(answer.status));
    const found = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector(".plan__run");
    if (!found) throw new Error("nothing about a plan came");
    if (found.dataset.state === "done") { location.replace(place.dataset.planPage); return; }
    show(found);
    if (found.dataset.state !== "running") return;
  } catch {
    place.querySelector("p")?.append(" The booth does not answer just now; looking again.");
    setTimeout(look, 10 * LOOK_EVERY_MS);
    return;
  }
  setTimeout(look, LOOK_EVERY_MS);
}

// The bar and the words move; the button under a thumb stays.
function show(found) {
  const bar = place.querySelector("progress");
  if (found.dataset.state !== "running" || !bar) { place.replaceChildren(found); return; }
  bar.value = found.querySelector("progress").value;
  place.querySelector("p").replaceWith(found.querySelector("p"));
}

if (place?.querySelector('[data-state="running"]')) setTimeout(look, LOOK_EVERY_MS);
