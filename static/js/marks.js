// The faces marked on one picture: a tap puts a mark or moves the nearest, a drag draws one, the keyboard moves and sizes
// the one that has the focus. Each is [left, top, width, height] in shares of the upright picture, as `photo/face.py` has
// them. Where none is marked, a dashed one shows where the booth looks.

const TAPPED = 0.42; // of the shorter side: how wide a face is taken to be that was only tapped, as in face.py
const HEAD = 1.3; // how much higher than wide
const SMALLEST_TAPPED = 0.14; // of the shorter side, however many sit there
const SLIP_PX = 8; // a finger moves that far in a tap
const STEP = 0.02;
const FINE_STEP = 0.005;
const GROW = 1.1;
const SMALLEST = 0.02;

export class Marks {
  // `most()` says how many faces there may be, `changed(faces)` is called after each change by a hand.
  constructor(frame, { faces = [], most = () => 1, changed = () => {} } = {}) {
    Object.assign(this, { frame, most, changed, faces });
    this.image = frame.querySelector("img");
    frame.addEventListener("pointerdown", (event) => this.press(event));
    frame.addEventListener("pointermove", (event) => this.move(event));
    frame.addEventListener("pointerup", (event) => this.release(event));
    frame.addEventListener("pointercancel", () => this.let());
    frame.addEventListener("keydown", (event) => this.key(event));
    frame.addEventListener("click", (event) => { if (event.detail === 0 && event.target.closest(".mark--guess")) this.put(this.shown()[0], 0); }); // Enter
    this.image.addEventListener("load", () => this.draw());
    this.draw();
  }

  get canMark() {
    return this.image.isConnected && this.image.complete && this.image.naturalWidth > 0;
  }

  set(faces) {
    this.faces = faces;
    this.draw();
  }

  shown() {
    return this.faces.length ? this.faces : [this.around(0.5, 0.5, 1)];
  }

  // Puts `face` among the marks: at `place`, or as one more where that is past the last.
  put(face, place = this.placeFor(face)) {
    this.faces = [...this.faces.slice(0, place), face, ...this.faces.slice(place + 1)];
    this.draw();
    this.changed(this.faces);
  }

  add() {
    const free = [[0.5, 0.5], [0.3, 0.5], [0.7, 0.5], [0.5, 0.3], [0.5, 0.7]];
    const [x, y] = free[this.faces.length % free.length];
    this.faces = [...this.faces, this.around(x, y)];
    this.draw();
    this.frame.querySelectorAll(".mark")[this.faces.length - 1].focus();
    this.changed(this.faces);
  }

  clear() {
    this.set([]);
    this.changed([]);
  }

  around(x, y, sitters = Math.max(1, this.most())) {
    const { naturalWidth: wide = 1, naturalHeight: high = 1 } = this.image;
    const side = Math.max(SMALLEST_TAPPED, TAPPED / Math.sqrt(sitters)) * Math.min(wide, high);
    const width = side / (wide || 1);
    const height = Math.min(1, HEAD * side / (high || 1));
    return inside([x - width / 2, y - height / 2, width, height]);
  }

  // A tap in a mark moves that one; elsewhere it adds one, or moves the nearest when there are as many as sitters.
  placeFor([left, top, width, height]) {
    const x = left + width / 2;
    const y = top + height / 2;
    const within = this.faces.findIndex((face) => x >= face[0] && x <= face[0] + face[2] && y >= face[1] && y <= face[1] + face[3]);
    if (within >= 0) return within;
    if (this.faces.length < Math.max(1, this.most())) return this.faces.length;
    const far = this.faces.map((face) => Math.hypot(face[0] + face[2] / 2 - x, face[1] + face[3] / 2 - y));
    return far.indexOf(Math.min(...far));
  }

  // By hand

  at({ clientX, clientY }) {
    const box = this.frame.getBoundingClientRect();
    return [clip((clientX - box.left) / box.width), clip((clientY - box.top) / box.height)];
  }

  press(event) {
    if (!event.isPrimary || event.button !== 0 || !this.canMark) return;
    this.pressed = { at: this.at(event), x: event.clientX, y: event.clientY, isDrag: false };
    this.frame.setPointerCapture(event.pointerId);
  }

  move(event) {
    const { pressed } = this;
    if (!pressed) return;
    pressed.isDrag ||= Math.hypot(event.clientX - pressed.x, event.clientY - pressed.y) > SLIP_PX;
    if (pressed.isDrag) this.draw([...this.faces, between(pressed.at, this.at(event))]);
  }

  release(event) {
    const { pressed } = this;
    this.let();
    if (!pressed) return;
    const face = pressed.isDrag ? between(pressed.at, this.at(event)) : this.around(...pressed.at);
    this.put(face);
  }

  // The browser takes the finger for something else: scrolling, zooming.
  let() {
    this.pressed = null;
    this.draw();
  }

  key(event) {
    const place = [...this.frame.querySelectorAll(".mark")].indexOf(event.target);
    if (place < 0 || !this.canMark || event.ctrlKey || event.metaKey || event.altKey) return;
    const [left, top, width, height] = this.shown()[place];
    const step = event.shiftKey && event.key.startsWith("Arrow") ? FINE_STEP : STEP;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step] };
    const sizes = { "+": GROW, "=": GROW, "-": 1 / GROW, "_": 1 / GROW };
    if (moves[event.key]) {
      const [x, y] = moves[event.key];
      this.put(inside([left + x, top + y, width, height]), place);
    } else if (sizes[event.key]) {
      const by = sizes[event.key];
      const [wide, high] = [Math.max(SMALLEST, Math.min(1, width * by)), Math.max(SMALLEST, Math.min(1, height * by))];
      this.put(inside([left + (width - wide) / 2, top + (height - high) / 2, wide, high]), place);
    } else if ((event.key === "Delete" || event.key === "Backspace") && this.faces.length) {
      this.faces = this.faces.filter((_, each) => each !== place);
      this.draw();
      this.changed(this.faces);
    } else return;
    event.preventDefault();
  }

  // On the screen

  draw(faces = this.faces) {
    const shown = this.canMark ? (faces.length ? faces : this.shown()) : [];
    const marks = [...this.frame.querySelectorAll(".mark")];
    for (const one of marks.slice(shown.length)) one.remove();
    while (marks.length < shown.length) {
      const one = Object.assign(document.createElement("button"), { type: "button", className: "mark" });
      this.frame.append(one);
      marks.push(one);
    }
    shown.forEach(([left, top, width, height], place) => {
      const one = marks[place];
      one.classList.toggle("mark--guess", !faces.length);
      one.setAttribute("aria-label", faces.length
        ? `Face ${place + 1} of ${faces.length}: arrow keys move it, plus and minus size it, Delete takes the mark off`
        : "The face is looked for here: arrow keys move it, plus and minus size it");
      Object.assign(one.style, { left: `${100 * left}%`, top: `${100 * top}%`, width: `${100 * width}%`, height: `${100 * height}%` });
    });
  }
}

function clip(share) {
  return Math.min(1, Math.max(0, share));
}

// The same box, moved so that it lies in the picture; four digits are a quarter of a pixel.
function inside([left, top, width, height]) {
  const put = (start, size) => Math.min(Math.max(start, 0), 1 - size);
  return [put(left, width), put(top, height), width, height].map((share) => Math.round(share * 1e4) / 1e4);
}

function between([x, y], [otherX, otherY]) {
  const [width, height] = [Math.max(SMALLEST, Math.abs(x - otherX)), Math.max(SMALLEST, Math.abs(y - otherY))];
  return inside([Math.min(x, otherX), Math.min(y, otherY), width, height]);
}
