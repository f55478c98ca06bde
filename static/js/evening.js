// Light or dark by hand: a night market is dark long before the tablet's own settings say so.
// Loaded before the page is painted, so that nothing flashes.
const root = document.documentElement;
const kept = (() => { try { return localStorage.getItem("portraitq-evening"); } catch { return null; } })();
if (kept === "on" || kept === "off") root.dataset.evening = kept;

function isEvening() {
  return root.dataset.evening ? root.dataset.evening === "on" : matchMedia("(prefers-color-scheme: dark)").matches;
}

document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-evening-switch]");
  if (!button) return;
  root.dataset.evening = isEvening() ? "off" : "on";
  button.setAttribute("aria-pressed", String(isEvening()));
  try { localStorage.setItem("portraitq-evening", root.dataset.evening); } catch { /* private mode keeps nothing */ }
});
document.addEventListener("DOMContentLoaded", () => {
  for (const button of document.querySelectorAll("[data-evening-switch]")) button.setAttribute("aria-pressed", String(isEvening()));
});
