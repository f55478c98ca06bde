// How long ago something was, by this device alone: right after its sleep, and not moved when somebody sets its clock.
// performance.now() cannot be set but stands still while a tablet sleeps; Date.now() is the other way round. A sleeping
// page is hidden, so what Date.now() gained while it was hidden is counted as sleep, and anything else as a clock set.
// Across a reload only the moment between two pages is told by the device's clock.

const SLEPT_MS = 2000; // two clocks that are read one after the other never differ by so much
const page = Math.random();
let sleptMs = 0;
let looked = { ms: performance.now(), wallMs: Date.now(), isHidden: document.hidden };

function look() {
  const seen = { ms: performance.now(), wallMs: Date.now(), isHidden: document.hidden };
  const gainedMs = seen.wallMs - looked.wallMs - (seen.ms - looked.ms);
  if (looked.isHidden && gainedMs > SLEPT_MS) sleptMs += gainedMs;
  looked = seen;
}

// Milliseconds since this page began, those asleep among them.
export function nowMs() {
  look();
  return performance.now() + sleptMs;
}

// The present (or `agoMs` before it) as something that can be kept in localStorage.
export function mark(agoMs = 0) {
  return { page, atMs: nowMs() - agoMs, agedMs: agoMs, wallMs: Date.now() };
}

export function ageMs({ atMs }) {
  return Math.max(0, nowMs() - atMs);
}

// What was kept, as old as it is now, to be kept anew: of its age only what comes after this hangs on the device's clock.
export function aged(kept) {
  return { ...kept, agedMs: ageMs(kept), wallMs: Date.now() };
}

// What another page kept, in the time of this one.
export function remembered(kept) {
  if (kept.page === page) return kept;
  const oldMs = (kept.agedMs ?? 0) + Math.max(0, Date.now() - kept.wallMs);
  return { ...kept, page, atMs: nowMs() - oldMs };
}

document.addEventListener("visibilitychange", look);
setInterval(look, 1000);
