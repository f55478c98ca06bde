// What a key says at the Easel: the usual keys of pedals and keyboards, and those that this browser has learned.
// A learned meaning wins. A press is known by its code (the place of the key) and its key (what it sends); some pedals
// send only one of the two.

const KEPT = "portraitq-pedal";
const USUAL = {
  next: ["PageDown", "ArrowRight", "Enter", " "],
  back: ["PageUp", "ArrowLeft"],
  pause: ["p", "P"],
};
const NAMES = { " ": "Space", PageDown: "Page Down", PageUp: "Page Up", ArrowRight: "→", ArrowLeft: "←", ArrowUp: "↑", ArrowDown: "↓" };
const HELD_WITH = ["Shift", "Control", "Alt", "Meta", "AltGraph", "CapsLock", "NumLock", "ScrollLock", "Fn"];
const THE_PAGES = ["Tab", "Escape"]; // by these one gets around without a hand on the screen
const THE_BROWSERS = ["F5", "F11", "F12", "BrowserBack", "BrowserForward", "BrowserRefresh", "BrowserHome", "GoBack"];
const THE_DEVICES = ["AudioVolumeUp", "AudioVolumeDown", "AudioVolumeMute", "Power", "Sleep"];

// [{key, code, means}], at most one for each press.
export function learned() {
  try {
    const kept = JSON.parse(localStorage.getItem(KEPT));
    return Array.isArray(kept) ? kept.filter(({ means }) => means in USUAL) : [];
  } catch { return []; }
}

// Keeps what a press means; false where this browser keeps nothing.
export function learn({ key, code }, means) {
  return put([...learned().filter((one) => !isSame(one, { key, code })), { key, code, means }]);
}

export function forget(press) {
  return put(press ? learned().filter((one) => !isSame(one, press)) : []);
}

function put(all) {
  try {
    if (all.length) localStorage.setItem(KEPT, JSON.stringify(all));
    else localStorage.removeItem(KEPT);
    return true;
  } catch { return false; }
}

const isNamed = (name) => Boolean(name) && name !== "Unidentified";

// The same press, by its code where it has one: a pedal's key may differ with the language of the keyboard.
export function isSame(one, other) {
  return isNamed(one.code) || isNamed(other.code) ? one.code === other.code : isNamed(one.key) && one.key === other.key;
}

// "next", "back" or "pause" and whether it was learned; undefined for a key that says nothing.
export function meaningOf({ key, code }) {
  const own = learned().find((one) => isSame(one, { key, code }));
  if (own) return { means: own.means, isLearned: true };
  const means = Object.keys(USUAL).find((one) => USUAL[one].includes(key) || (!isNamed(key) && USUAL[one].includes(code)));
  return means && { means, isLearned: false };
}

// Why a press cannot be learned, as a sentence; undefined where it can.
export function whyNot({ key, code, ctrlKey, altKey, metaKey }) {
  if (HELD_WITH.includes(key)) return "This key is held together with others and says nothing alone.";
  if (THE_PAGES.includes(key)) return `${nameOf({ key, code })} moves around on the screen for people without a mouse; it stays as it is.`;
  if (THE_DEVICES.includes(key)) return "The tablet keeps this key for itself (volume, power). Set the pedal to another mode, such as Page Up and Page Down.";
  if (THE_BROWSERS.includes(key) || ctrlKey || metaKey || altKey) return "The browser keeps this key for itself. Set the pedal to another mode, such as Page Up and Page Down.";
  if (!isNamed(key) && !isNamed(code)) return "This press has neither a key nor a code, so it cannot be told from others. Set the pedal to another mode.";
  return undefined;
}

// What a learned press would take away, as a sentence; empty where there is nothing to know.
export function caution({ key }) {
  if (key.length === 1 && key !== " ") return "This key types a letter: at the Easel that does no harm, for nothing is typed there.";
  if (key === "Enter" || key === " ") return "With a button in focus it presses that button, as on every page.";
  return "";
}

export function nameOf({ key, code }) {
  if (isNamed(key)) return NAMES[key] ?? (key.length === 1 ? key.toUpperCase() : key.replace(/([a-z])([A-Z])/g, "$1 $2"));
  return isNamed(code) ? code : "a key without a name";
}
