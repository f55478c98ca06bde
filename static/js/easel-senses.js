// How the Easel tells a hand that nobody looks at it: a short sound, a sweep of colour, a buzz where there is one.

// Each sound is a few notes: [Hz, begins after ms, lasts ms]. Rising: done. Falling: taken back. Low: rest.
const NOTES = {
  started: [[523, 0, 90], [784, 100, 160]],
  stage_done: [[659, 0, 90], [880, 90, 190]],
  signed: [[659, 0, 90], [880, 90, 190]],
  finished: [[523, 0, 90], [659, 90, 90], [784, 180, 90], [1047, 270, 260]],
  resumed: [[523, 0, 90], [659, 90, 160]],
  paused: [[392, 0, 220]],
  stage_undone: [[659, 0, 110], [440, 110, 200]],
  put_back: [[523, 0, 110], [392, 110, 200]],
  refused: [[233, 0, 160], [233, 220, 200]],
};
const PLAIN = [[587, 0, 140]];
const BUZZ_MS = { refused: [60, 80, 60], stage_undone: [30, 60, 30] };
const LOUDNESS = 0.25;
const SWEEP_MS = 450;
const STALE_MS = 1000; // a sound that comes later tells of nothing any more
const SILENT = "portraitq-silent";

const sweep = document.querySelector(".easel-sweep");
const soundSwitch = document.querySelector("[data-sound]");
let isSilent = readSilent();
let sounds = null;

function readSilent() {
  try { return localStorage.getItem(SILENT) === "yes"; } catch { return false; }
}

// A browser lets a page sound only once somebody has touched it, and for some a touch is one only when the finger lifts.
// What slept, or gave way to a call, is silent until it is woken by the next touch.
for (const name of ["pointerdown", "pointerup", "keydown"]) {
  addEventListener(name, () => {
    sounds ??= window.AudioContext ? new AudioContext() : null;
    wake();
  }, { capture: true, passive: true });
}

// Whether it can be heard by then; a browser that does not let it sound yet leaves this waiting.
async function wake() {
  if (sounds && sounds.state !== "running" && sounds.state !== "closed") await sounds.resume();
  return sounds?.state === "running";
}

export function confirm(kind) {
  sound(NOTES[kind] ?? PLAIN);
  navigator.vibrate?.(BUZZ_MS[kind] ?? 40);
  colour(kind);
}

async function sound(notes) {
  if (isSilent) return;
  const askedMs = performance.now();
  if (!await wake() || performance.now() - askedMs > STALE_MS) return;
  const now = sounds.currentTime;
  for (const [hz, after, lasts] of notes) {
    const tone = new OscillatorNode(sounds, { type: "triangle", frequency: hz });
    const loud = new GainNode(sounds, { gain: 0 });
    const begins = now + after / 1000;
    loud.gain.setValueAtTime(0.0001, begins);
    loud.gain.exponentialRampToValueAtTime(LOUDNESS, begins + 0.012);
    loud.gain.exponentialRampToValueAtTime(0.0001, begins + lasts / 1000);
    tone.connect(loud).connect(sounds.destination);
    tone.start(begins);
    tone.stop(begins + lasts / 1000 + 0.02);
  }
}

function colour(kind) {
  if (!sweep) return;
  clearTimeout(sweep.over);
  sweep.hidden = true;
  void sweep.offsetWidth; // so that the next sweep begins anew
  sweep.dataset.kind = kind;
  sweep.hidden = false;
  sweep.over = setTimeout(() => { sweep.hidden = true; }, SWEEP_MS);
}

soundSwitch?.setAttribute("aria-pressed", String(!isSilent));
soundSwitch?.addEventListener("click", () => {
  isSilent = !isSilent;
  soundSwitch.setAttribute("aria-pressed", String(!isSilent));
  try { localStorage.setItem(SILENT, isSilent ? "yes" : "no"); } catch { /* private mode forgets */ }
  sound(NOTES.stage_done);
});

// Most tablets can fill the screen; where they cannot, nothing is offered.
const fullScreen = document.querySelector("[data-full-screen]");
if (fullScreen && document.fullscreenEnabled) {
  fullScreen.hidden = false;
  fullScreen.addEventListener("click", () => {
    if (document.fullscreenElement) document.exitFullscreen();
    else document.documentElement.requestFullscreen();
  });
}
