// One photo's frame on the easel: shows one picture of it, turned, enlarged and under its grid, and lets two fingers
// zoom it. The element outlives the fragments that it is put into, so nothing flickers when one is swapped.
// A single tap does nothing, and one finger moves only what is enlarged: there are buttons for all of it.

import { draw } from "./grid.js";
import { carried, hiddenSides, laid, WHOLE } from "./zoom.js";

const DRAG_PX = 10; // less is a tap
const SQUINT = 0.012; // of the picture's shorter side: eyelashes go, the masses stay

export class Frame {
  // `placed` is told a new place when a hand has moved the picture; `looked`, after each change, which sides have more.
  constructor({ placed, looked }) {
    this.element = Object.assign(document.createElement("div"), { className: "frame" });
    this.canvas = Object.assign(document.createElement("canvas"), { className: "frame__grid" });
    this.canvas.setAttribute("aria-hidden", "true");
    this.element.append(this.canvas);
    Object.assign(this, { placed, looked, image: null, place: WHOLE, turn: {}, grid: {}, isSoft: false, pointers: new Map(), held: null });
    new ResizeObserver(() => this.lay()).observe(this.element);
    for (const name of ["pointerdown", "pointermove", "pointerup", "pointercancel", "lostpointercapture"]) {
      this.element.addEventListener(name, (event) => this[name](event));
    }
    this.element.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
  }

  // Shows `image`, whose size is `picture` ({width, height}), in this way; at once, without a frame in between.
  show(image, picture, { place, turn, grid, isSoft, said }) {
    if (this.image !== image) {
      this.image?.remove();
      this.element.prepend(image);
    }
    Object.assign(this, { image, picture, place, turn, grid, isSoft });
    if (image.alt !== said) image.alt = said;
    this.lay();
  }

  box() {
    const { left, top, width, height } = this.element.getBoundingClientRect();
    const isUpright = this.picture && this.picture.height > this.picture.width;
    const isAtTop = isUpright && getComputedStyle(this.element).getPropertyValue("--photo-stands").trim() === "top";
    return { left, top, width, height, isAtTop };
  }

  lay() {
    const box = this.box();
    if (!this.image || !box.width || !box.height) return;
    const at = laid(box, this.picture, this.place, this.turn);
    const { zoom } = this.place;
    const { style } = this.image;
    const [wide, high] = [at.width / zoom, at.height / zoom];
    style.width = `${wide}px`;
    style.height = `${high}px`;
    const x = at.isFlippedX ? at.left + at.width : at.left;
    const y = at.isFlippedY ? at.top + at.height : at.top;
    style.transform = `matrix(${at.isFlippedX ? -zoom : zoom}, 0, 0, ${at.isFlippedY ? -zoom : zoom}, ${x}, ${y})`;
    style.filter = this.isSoft ? `blur(${SQUINT * Math.min(wide, high)}px)` : "";
    draw(this.canvas, box, this.picture, at, this.grid);
    this.looked(hiddenSides(box, at));
  }

  // Larger or smaller around the middle of the box, or around `point`.
  zoom(factor, point) {
    const box = this.box();
    const around = point ?? { x: box.width / 2, y: box.height / 2 };
    this.put(carried(box, this.picture, this.place, this.turn, around, around, factor));
  }

  // Shows more of one side: the picture goes the other way by that share of the box.
  pan(shareX, shareY) {
    const box = this.box();
    const to = { x: -shareX * box.width, y: -shareY * box.height };
    this.put(carried(box, this.picture, this.place, this.turn, { x: 0, y: 0 }, to));
  }

  put(place) {
    this.place = place;
    this.lay();
    this.placed(place);
  }

  pointerdown(event) {
    if (event.pointerType === "mouse" && event.button !== 0) return;
    this.pointers.set(event.pointerId, { x: event.clientX, y: event.clientY });
    this.grasp();
  }

  // From here the fingers are followed: as many as there are now, and the picture as it lies now.
  grasp() {
    this.held = this.pointers.size ? { ...this.fingers(), place: this.place } : null;
  }

  pointermove(event) {
    const finger = this.pointers.get(event.pointerId);
    if (!finger || !this.image) return;
    Object.assign(finger, { x: event.clientX, y: event.clientY });
    const { held } = this;
    const now = this.fingers();
    held.isMoving ||= this.pointers.size > 1 || (this.place.zoom > 1 && Math.hypot(now.x - held.x, now.y - held.y) > DRAG_PX);
    if (!held.isMoving) return;
    if (!this.element.hasPointerCapture(event.pointerId)) this.element.setPointerCapture(event.pointerId);
    this.put(carried(this.box(), this.picture, held.place, this.turn, held, now, held.apart ? now.apart / held.apart : 1));
  }

  // The middle between the fingers in the box, and how far they are apart (0 for one).
  fingers() {
    const { left, top } = this.element.getBoundingClientRect();
    const [one, other] = [...this.pointers.values()];
    const two = other ?? one;
    return { x: (one.x + two.x) / 2 - left, y: (one.y + two.y) / 2 - top, apart: Math.hypot(one.x - two.x, one.y - two.y) };
  }

  pointerup(event) {
    if (this.pointers.delete(event.pointerId)) this.grasp();
  }

  pointercancel(event) { this.pointerup(event); }

  lostpointercapture(event) {
    if (event.target === this.element) this.pointerup(event); // not when the frame takes a finger over from its picture
  }

  // A touchpad says a pinch like this; a plain wheel stays the page's.
  wheel(event) {
    if (!event.ctrlKey || !this.image) return;
    event.preventDefault();
    const { left, top } = this.element.getBoundingClientRect();
    this.zoom(Math.exp(-event.deltaY / 100), { x: event.clientX - left, y: event.clientY - top });
  }
}
