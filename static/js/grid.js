// The lines over a picture by which it is copied onto paper: squares counted across its width, or thirds.
// They belong to the picture: they turn, grow and move with it, but stay as thin as they were chosen.

export const FEWEST = 2;
export const MOST_SQUARES = 12;
export const THICK_PX = [1, 2, 4];
const EDGE_PX = 1; // of the other colour along each line, so that it is seen on light and on dark alike
const LIGHT = "#fffdf8";
const DARK = "#1d1b19";

// Where the lines are, as shares of the picture's width and of its height, counted from its upper left corner as it
// was taken. Squares stay square: what is left over below is a part of one.
export function shares({ kind, across }, { width, height }) {
  if (kind === "thirds") return { x: [1 / 3, 2 / 3], y: [1 / 3, 2 / 3] };
  if (kind !== "squares") return { x: [], y: [] };
  const side = width / across;
  const x = Array.from({ length: across - 1 }, (_, at) => (at + 1) / across);
  const y = Array.from({ length: Math.ceil(height / side - 1e-6) - 1 }, (_, at) => ((at + 1) * side) / height);
  return { x, y };
}

// How many squares there are down, of which the last may be a part.
export function down({ across }, { width, height }) {
  return Math.round((height * across * 10) / width) / 10;
}

// Draws the lines of `grid` on a canvas that covers the box ({left, top, width, height} on the page, CSS pixels), dot on
// dot of the screen, so that a thin line is not smeared over two; `at` is where the picture lies in the box (zoom.js, laid).
export function draw(canvas, box, picture, at, grid) {
  const dots = globalThis.devicePixelRatio || 1;
  const across = onDots(canvas, "width", "left", box.left, box.width, dots);
  const downwards = onDots(canvas, "height", "top", box.top, box.height, dots);
  const pen = canvas.getContext("2d");
  pen.clearRect(0, 0, canvas.width, canvas.height);
  const lines = shares(grid, picture);
  const xs = lines.x.map((share) => across((at.isFlippedX ? 1 - share : share) * at.width + at.left));
  const ys = lines.y.map((share) => downwards((at.isFlippedY ? 1 - share : share) * at.height + at.top));
  const [left, right] = span(across, at.left, at.width, canvas.width);
  const [top, bottom] = span(downwards, at.top, at.height, canvas.height);
  const thick = Math.max(1, Math.round(THICK_PX[grid.thick] * dots));
  const edge = Math.max(1, Math.round(EDGE_PX * dots));
  for (const [ink, px] of [[grid.dark ? LIGHT : DARK, thick + 2 * edge], [grid.dark ? DARK : LIGHT, thick]]) {
    pen.fillStyle = ink;
    for (const x of xs) pen.fillRect(Math.round(x - px / 2), top, px, bottom - top);
    for (const y of ys) pen.fillRect(left, Math.round(y - px / 2), right - left, px);
  }
}

// Lays one side of the canvas on whole dots of the screen; returns where a place in the box is on the canvas, in dots.
function onDots(canvas, side, edge, start, size, dots) {
  const first = Math.round(start * dots);
  const count = Math.round((start + size) * dots) - first;
  if (canvas[side] !== count) canvas[side] = count;
  canvas.style[side] = `${count / dots}px`;
  canvas.style[edge] = `${first / dots - start}px`;
  return (place) => (start + place) * dots - first;
}

// From where to where a line goes: as far as the picture is seen.
function span(onCanvas, start, size, room) {
  return [Math.max(0, Math.round(onCanvas(start))), Math.min(room, Math.round(onCanvas(start + size)))];
}
