// What the artist does with the photo on the easel: which view of it is shown, turned how, under which lines, from how
// near. Chosen by buttons or keys, kept for each photo over pushes and reloads (the choice, never a picture).
// The tools and their keys stand in the fragment (portraitq/web/drawing.py); where a picture lies says zoom.js, its lines
// grid.js, fingers frame.js, and which pictures are in memory pictures.js.

import { Frame } from "./frame.js";
import { down, FEWEST, MOST_SQUARES, THICK_PX } from "./grid.js";
import { Pictures } from "./pictures.js";
import { unanswered } from "./taps.js";
import { MOST, STEP, WHOLE } from "./zoom.js";

const SAME_TAP_MS = 800; // chalky fingers bounce
const SAME_STEP_MS = 250; // what is pressed again and again on purpose bounces quicker than a hand means it
const PAN = 0.4; // of the box, by one touch
const LOOKS = ["plain", "grey", "values-3", "values-5", "values-7", "eyes"];
const TURNS = { mirrored: "mirrored", "upside-down": "upsideDown", soft: "soft" };
const SIDES = { up: [0, -1], down: [0, 1], left: [-1, 0], right: [1, 0] };
const STEPS = ["fewer", "more", "out", "in", ...Object.keys(SIDES)];
const WITHOUT_TOOLS = ["rack", "why", "paused", "touch-up-rest"]; // somebody has something else to say just then
const FRESH = { look: "plain", face: 1, mirrored: false, upsideDown: false, soft: false, grid: "", places: {} };
const TYPED_IN = "input, textarea, select, [contenteditable]";

const main = document.querySelector('[data-view="easel"]');
const announced = document.querySelector("[data-view-said]");
const KEPT = `portraitq-views:${main.dataset.booth}:${main.dataset.artist}`;
const pictures = new Pictures(() => unanswered().length > 0);
const frames = new Map(); // by photo
const troubles = new Map(); // by photo: what could not be shown, in words
const chosen = remember(); // {tools: {isOpen, page, across, thick, dark}, photos: {ID: {…FRESH}}, flips: {TICKET: at}}
let isColours = false; // whether the swatches stand where the tools stand
let isOpenBefore = false; // the tools while nothing is drawn yet
let front; // the ticket whose sketch is shown
let coloursAt = 0; // how far down the swatches are
let lastPress = { name: "", atMs: -Infinity };

function remember() {
  let kept = {};
  try { kept = JSON.parse(localStorage.getItem(KEPT)) ?? {}; } catch { /* nothing to be remembered */ }
  return { tools: { isOpen: false, page: "look", across: 6, thick: 0, dark: false, ...kept.tools }, photos: { ...kept.photos }, flips: { ...kept.flips } };
}

function keep() {
  try { localStorage.setItem(KEPT, JSON.stringify(chosen)); } catch { /* private mode: kept in this page alone */ }
}

// The parts of a sketch.
const photosOf = (sketch) => [...sketch.querySelectorAll(".sketch__photo[data-photo]")];
const photoShown = (sketch) => photosOf(sketch).find((photo) => !photo.hidden);
const sketchShown = () => [...main.querySelectorAll(".sketch")].find((sketch) => !sketch.hidden);
const stateOf = (photo) => (chosen.photos[photo.dataset.photo] ??= structuredClone(FRESH));
const sizeOf = (photo) => ({ width: Number(photo.dataset.width), height: Number(photo.dataset.height) });
const eyesOf = (photo) => Number(photo.dataset.eyes);

// After each change of the fragment: the same pictures, as they were, in the new places.
export function mountPictures() {
  const sketches = [...main.querySelectorAll(".sketch")].sort((a, b) => a.hidden - b.hidden); // in hand first
  const photos = sketches.flatMap(photosOf);
  turnTo(sketches.find((sketch) => !sketch.hidden)?.dataset.ticket);
  const places = [...main.querySelectorAll("[data-picture]")];
  forgetWhatLeft(sketches, photos);
  for (const place of places) if (!place.dataset.photo) mount(place, Object.assign(pictures.photo(place.dataset.picture), { alt: place.dataset.alt }));
  for (const photo of photos) mount(photo, frameOf(photo).element);
  for (const sketch of sketches) if (photosOf(sketch).length) show(sketch);
  pictures.want(places.map((place) => place.dataset.picture), sketches.flatMap(wishesOf));
}

// Another sketch begins with its photo, not with the swatches of the last one.
function turnTo(ticket) {
  if (ticket === front) return;
  front = ticket;
  isColours = false;
  isOpenBefore = false;
}

function mount(place, element) {
  if (element.parentNode !== place) place.replaceChildren(element);
}

function frameOf(photo) {
  const { photo: id } = photo.dataset;
  if (!frames.has(id)) {
    frames.set(id, new Frame({
      placed: (place) => { put(chosen.photos[id], place); sayOf(id); },
      looked: (sides) => edge(id, sides),
    }));
  }
  return frames.get(id);
}

function forgetWhatLeft(sketches, photos) {
  const ids = photos.map((photo) => photo.dataset.photo);
  const tickets = sketches.map((sketch) => sketch.dataset.ticket);
  for (const map of [frames, troubles]) for (const id of map.keys()) if (!ids.includes(id)) map.delete(id);
  const left = [...gone(chosen.photos, ids), ...gone(chosen.flips, tickets)];
  if (left.length) keep();
}

// Takes out of `kept` what is not among `present`; what it was.
function gone(kept, present) {
  const left = Object.keys(kept).filter((one) => !present.includes(one));
  for (const one of left) delete kept[one];
  return left;
}

// The addresses of what is made of a photo. What follows from the marked faces changes its address with them.
function addressOf(photo, name) {
  const { picture, version } = photo.dataset;
  return name === "colours" ? `${picture}/colours?v=${version}` : `${picture}/views/${name}${name.startsWith("eyes") ? `?v=${version}` : ""}`;
}

function wishesOf(sketch) {
  const shown = photoShown(sketch);
  const photos = photosOf(sketch).sort((a, b) => (b === shown) - (a === shown));
  return photos.flatMap((photo) => {
    const eyes = Array.from({ length: eyesOf(photo) }, (_, at) => `eyes-${at + 1}`);
    return ["grey", "values-3", "values-5", "values-7", ...eyes, "colours"].map((name) => addressOf(photo, name));
  });
}

// Shows one sketch as it was chosen.
function show(sketch) {
  const photos = photosOf(sketch);
  const at = (chosen.flips[sketch.dataset.ticket] ?? 0) % photos.length;
  for (const [index, photo] of photos.entries()) photo.hidden = index !== at;
  const line = sketch.querySelector("[data-flip-said]");
  if (line) line.textContent = `${at + 1} of ${photos.length}`;
  fold(sketch); // first: what is open says how much room the photo has
  draw(photos[at]);
  lay(sketch);
}

// Shows the photo's chosen view once it is here; until then what stood there, turned and lined as was chosen.
function draw(photo) {
  const state = stateOf(photo);
  if (state.face > eyesOf(photo)) state.face = 1;
  const frame = frameOf(photo);
  if (state.look === "plain") return display(photo, pictures.photo(photo.dataset.picture), sizeOf(photo));
  const view = viewOf(state);
  const address = addressOf(photo, view);
  const image = pictures.ready(address);
  if (image && image === frame.image) return display(photo, image);
  if (frame.image) display(photo, frame.image, frame.picture, frame.place);
  else display(photo, pictures.photo(photo.dataset.picture), sizeOf(photo));
  if (image) decoded(image).then(() => redraw(photo, address));
  else pictures.need(address).then(() => redraw(photo, address), (why) => stayPlain(photo, view, why));
}

function redraw(photo, address) {
  const now = standing(photo.dataset.photo);
  if (!now || stateOf(now).look === "plain" || addressOf(now, viewOf(stateOf(now))) !== address) return; // another wish meanwhile
  const image = pictures.ready(address);
  if (image) display(now, image);
  lay(now.closest(".sketch"));
}

const decoded = (image) => image.decode().catch(() => undefined); // it was once already: this is only to be quick

// The photo's place in the fragment that stands there now.
function standing(id) {
  return [...main.querySelectorAll(".sketch__photo[data-photo]")].find((photo) => photo.dataset.photo === id);
}

function stayPlain(photo, view, why) {
  const now = standing(photo.dataset.photo);
  if (!now || viewOf(stateOf(now)) !== view) return;
  const said = capital(saidOf(view, now));
  stateOf(now).look = "plain";
  keep();
  troubles.set(now.dataset.photo, `${said} could not be fetched: ${why.message}. This is the plain photo.`);
  draw(now);
  lay(now.closest(".sketch"));
  announce(troubles.get(now.dataset.photo));
}

function display(photo, image, size = { width: image.naturalWidth, height: image.naturalHeight }, place = placeOf(stateOf(photo))) {
  const state = stateOf(photo);
  const { across, thick, dark } = chosen.tools;
  const words = wordsOf(photo, size);
  frameOf(photo).show(image, size, {
    place,
    turn: { mirrored: state.mirrored, upsideDown: state.upsideDown },
    grid: { kind: state.grid, across, thick, dark },
    isSoft: state.soft,
    said: [photo.dataset.alt, ...words].join(", "),
  });
}

// Each view keeps its own place. One that no hand has placed yet is shown from where the last one was, so that grey
// and values open on the same eye; the close-up of the eyes has a geometry of its own.
const viewOf = ({ look, face }) => (look === "eyes" ? `eyes-${face}` : look);

function placeOf(state) {
  return state.places[viewOf(state)] ?? (state.look === "eyes" ? WHOLE : state.from ?? WHOLE);
}

function put(state, place) {
  if (!state) return;
  state.places[viewOf(state)] = place;
  clearTimeout(put.later);
  put.later = setTimeout(keep, 200); // not with every step of a pinch
}

function look(photo, wanted) {
  const state = stateOf(photo);
  if (state.look !== "eyes") state.from = placeOf(state);
  if (wanted === "eyes") {
    const next = state.look === "eyes" ? state.face + 1 : state.face;
    state.look = next > eyesOf(photo) ? "plain" : "eyes";
    state.face = next > eyesOf(photo) ? 1 : next;
  } else state.look = state.look === wanted ? "plain" : wanted;
}

// What is seen, in words: "Mirrored · grey · 6 × 8 squares · 2.3×".
function wordsOf(photo, size) {
  const state = stateOf(photo);
  const { across } = chosen.tools;
  return [
    state.mirrored && "mirrored",
    state.upsideDown && "upside down",
    state.look !== "plain" && saidOf(state.look, photo),
    state.soft && "soft",
    state.grid === "thirds" && "thirds",
    state.grid === "squares" && `${across} × ${down({ across }, size)} squares`,
  ].filter(Boolean);
}

function saidOf(name, photo) {
  if (name.startsWith("eyes")) return eyesOf(photo) > 1 ? `eyes ${stateOf(photo).face} of ${eyesOf(photo)}` : "eyes";
  return name.startsWith("values") ? `${name.at(-1)} values` : name;
}

function capital(words) {
  return words.slice(0, 1).toUpperCase() + words.slice(1);
}

function nowOf(photo) {
  const state = stateOf(photo);
  const frame = frameOf(photo);
  const size = frame.picture ?? sizeOf(photo);
  const { zoom } = placeOf(state);
  const words = [...wordsOf(photo, size), zoom > 1.01 && `${zoom.toFixed(1)}×`].filter(Boolean).join(" · ");
  const isComing = state.look !== "plain" && !pictures.ready(addressOf(photo, viewOf(state)));
  return troubles.get(photo.dataset.photo) ?? (isComing ? `${capital(saidOf(state.look, photo))} is on its way` : capital(words));
}

function sayOf(id) {
  const photo = standing(id);
  if (photo && !photo.hidden) lay(photo.closest(".sketch"));
}

function announce(words) {
  if (announced) announced.textContent = words;
}

// Shows the tools that are open and folds the others away.
function fold(sketch) {
  const isOpen = isOpenAt(sketch);
  if (!isColours) coloursAt = 0;
  if (isOpen) sketch.dataset.viewsOpen = isColours ? "colours" : "tools";
  else delete sketch.dataset.viewsOpen;
  const tools = sketch.querySelector("[data-tools]");
  tools.hidden = !isOpen;
  tools.dataset.page = chosen.tools.page;
  tools.toggleAttribute("data-is-colours", isColours);
  sketch.querySelector("[data-corner]").hidden = WITHOUT_TOOLS.includes(sketch.dataset.seen);
  colours(sketch, photoShown(sketch));
}

// Lays what is chosen over the buttons: which are on, which can do nothing now.
function lay(sketch) {
  fold(sketch);
  const photo = photoShown(sketch);
  const state = stateOf(photo);
  const isOpen = isOpenAt(sketch);
  const { page, dark } = chosen.tools;
  const { zoom } = placeOf(state);
  const on = {
    [state.look]: true, mirrored: state.mirrored, "upside-down": state.upsideDown, soft: state.soft, [state.grid]: true,
    dark, [`page-${page}`]: true, colours: isColours,
  };
  const off = {
    fewer: state.grid !== "squares" || chosen.tools.across <= FEWEST,
    more: state.grid !== "squares" || chosen.tools.across >= MOST_SQUARES,
    thicker: !state.grid,
    dark: !state.grid,
    out: zoom <= 1,
    whole: zoom <= 1,
    in: zoom >= MOST,
  };
  for (const button of sketch.querySelectorAll("[data-tool]")) {
    const { tool } = button.dataset;
    if (button.hasAttribute("aria-pressed")) button.setAttribute("aria-pressed", String(Boolean(on[tool])));
    if (off[tool]) button.setAttribute("aria-disabled", "true"); else if (!SIDES[tool]) button.removeAttribute("aria-disabled");
    if (tool === "tools") button.setAttribute("aria-expanded", String(isOpen));
  }
  const now = sketch.querySelector("[data-now]");
  const words = nowOf(photo);
  if (now.textContent !== words) now.textContent = words;
  now.hidden = !words;
  const frame = frameOf(photo);
  if (frame.sides) edge(photo.dataset.photo, frame.sides);
}

function isOpenAt(sketch) {
  const { seen, state } = sketch.dataset;
  if (WITHOUT_TOOLS.includes(seen)) return false;
  return state === "next" ? isOpenBefore : chosen.tools.isOpen; // what is to be done before a sketch is not covered by itself
}

// The arrows stand on the sides where there is more to see, as long as the tools are open; on a phone among the tools.
function edge(id, sides) {
  const photo = standing(id);
  const frame = frames.get(id);
  if (frame) frame.sides = sides;
  if (!photo || photo.hidden) return;
  const sketch = photo.closest(".sketch");
  for (const button of sketch.querySelectorAll(".drawing__side")) button.hidden = !(sides[button.dataset.tool] && isOpenAt(sketch));
  for (const button of sketch.querySelectorAll(".drawing__way")) {
    if (sides[button.dataset.tool]) button.removeAttribute("aria-disabled"); else button.setAttribute("aria-disabled", "true");
  }
}

function colours(sketch, photo) {
  const place = sketch.querySelector("[data-colours]");
  place.hidden = !isColours;
  if (!isColours || sketch.hidden) return;
  const address = addressOf(photo, "colours");
  if (place.dataset.from === address) return;
  const text = pictures.ready(address);
  place.dataset.from = text === undefined ? "" : address;
  if (text !== undefined) {
    place.innerHTML = text;
    place.scrollTop = coloursAt;
    return;
  }
  place.textContent = "The colours are on their way.";
  pictures.need(address).then(() => sayOf(photo.dataset.photo), (why) => {
    place.textContent = `The colours could not be fetched: ${why.message}.`;
    announce(place.textContent);
  });
}

// One touch or key. What it changes is drawn at once.
function act(sketch, name) {
  const photo = photoShown(sketch);
  if (!photo) return;
  const state = stateOf(photo);
  const { tools } = chosen;
  const frame = frameOf(photo);
  troubles.delete(photo.dataset.photo);
  if (LOOKS.includes(name)) look(photo, name);
  else if (TURNS[name]) state[TURNS[name]] = !state[TURNS[name]];
  else if (name === "squares" || name === "thirds") state.grid = state.grid === name ? "" : name;
  else if (name === "fewer") tools.across = Math.max(FEWEST, tools.across - 1);
  else if (name === "more") tools.across = Math.min(MOST_SQUARES, tools.across + 1);
  else if (name === "thicker") tools.thick = (tools.thick + 1) % THICK_PX.length;
  else if (name === "dark") tools.dark = !tools.dark;
  else if (name === "in") frame.zoom(STEP);
  else if (name === "out") frame.zoom(1 / STEP);
  else if (name === "whole") frame.put(WHOLE);
  else if (SIDES[name]) frame.pan(PAN * SIDES[name][0], PAN * SIDES[name][1]);
  else if (name === "tools") open(sketch, !isOpenAt(sketch));
  else if (name === "colours") { isColours = !(isColours && isOpenAt(sketch)); if (isColours) open(sketch, true); }
  else if (name === "further") further(sketch.querySelector("[data-colours]"));
  else if (name.startsWith("page-")) tools.page = name.slice("page-".length);
  else if (name === "flip") flip(sketch);
  keep();
  show(sketch);
  const words = nowOf(photoShown(sketch));
  if (name !== "tools" && !name.startsWith("page-")) announce(words || "Plain photo");
}

// A screenful further down, and from the end back to the beginning: nobody has to drag.
function further(list) {
  const isAtEnd = list.scrollTop + list.clientHeight >= list.scrollHeight - 2;
  list.scrollTop = isAtEnd ? 0 : list.scrollTop + list.clientHeight * 0.8;
}

function open(sketch, isOpen) {
  if (sketch.dataset.state === "next") isOpenBefore = isOpen;
  else chosen.tools.isOpen = isOpen;
  if (!isOpen) isColours = false;
}

function flip(sketch) {
  const { ticket } = sketch.dataset;
  chosen.flips[ticket] = ((chosen.flips[ticket] ?? 0) + 1) % photosOf(sketch).length;
}

function can(sketch, name) {
  if (["tools", "colours"].includes(name) && WITHOUT_TOOLS.includes(sketch.dataset.seen)) return false;
  return [...sketch.querySelectorAll(`[data-tool="${name}"]`)].some((button) => button.getAttribute("aria-disabled") !== "true");
}

// Touches are taken before anybody else sees them: a view is no tap of work, and must not stand in the way of one.
document.addEventListener("click", (event) => {
  const button = event.target.closest?.("[data-tool]");
  const sketch = button?.closest(".sketch");
  if (!sketch) return;
  event.stopPropagation();
  const { tool } = button.dataset;
  const now = performance.now();
  const isBounce = tool === lastPress.name && now - lastPress.atMs < (STEPS.includes(tool) ? SAME_STEP_MS : SAME_TAP_MS);
  if (event.detail > 0) button.blur(); // so that Enter and space stay the pedal's
  if (isBounce && event.detail > 0) return;
  lastPress = { name: tool, atMs: now };
  if (can(sketch, tool)) act(sketch, tool);
}, true);

document.addEventListener("scroll", ({ target }) => {
  if (target.matches?.("[data-colours]") && !target.hidden) coloursAt = target.scrollTop;
}, true);

// Keys come last: what a pedal or anybody else took is none of ours.
addEventListener("keydown", (event) => {
  if (event.defaultPrevented || event.ctrlKey || event.altKey || event.metaKey || event.isComposing || event.target.closest?.(TYPED_IN)) return;
  const sketch = sketchShown();
  const key = event.key === "=" ? "+" : event.key.toLowerCase();
  const button = sketch && photoShown(sketch) && [...sketch.querySelectorAll("[data-keys]")].find((one) => one.dataset.keys === key);
  if (!button) return;
  const { tool } = button.dataset;
  if (event.repeat && !STEPS.includes(tool)) return;
  event.preventDefault();
  if (can(sketch, tool)) act(sketch, tool);
});

addEventListener("pagehide", keep);
