// Keeps the screen awake while the day is open, where the browser lets a page do so: under https, and on this computer.
// A browser lets go of it whenever the page is out of sight or the battery is low; it is asked again when that is over.

const HINT = "This screen may go dark by itself. iPad: Settings, Display & Brightness, Auto-Lock. Android: Settings, Display, Screen timeout.";
const BY_HTTPS = "Opened by https, the booth keeps it awake.";

let lock = null;
let isAsking = false;

function isOpen() {
  return !document.querySelector('[data-day="closed"], [data-face="closed"]');
}

async function follow() {
  if (!isOpen()) await lock?.release();
  if (!isOpen() || document.hidden || lock || isAsking) return say();
  isAsking = true;
  try {
    const held = await navigator.wakeLock?.request("screen");
    held?.addEventListener("release", () => { if (lock === held) lock = null; say(); });
    lock = held && !held.released ? held : null;
  } catch { lock = null; /* not before the first touch, or not with a low battery: the hint says what else helps */ }
  isAsking = false;
  if (lock && !isOpen()) return follow(); // closed meanwhile
  say();
}

function say() {
  const isAwake = Boolean(lock) || document.hidden || !isOpen();
  document.documentElement.dataset.awake = lock ? "yes" : "no";
  for (const line of document.querySelectorAll("[data-awake-said]")) {
    line.hidden = isAwake;
    const text = isSecureContext ? HINT : `${HINT} ${BY_HTTPS}`;
    if (line.textContent !== text) line.textContent = text;
  }
}

document.addEventListener("visibilitychange", follow);
document.addEventListener("portraitq:swapped", follow);
addEventListener("pointerdown", follow, { passive: true });
follow();
