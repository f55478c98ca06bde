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

// Draws the lines of `grid` on a canvas that covers the box; `at` is where the picture lies (zoom.js, laid).
export function draw(canvas, box, picture, at, grid) {
  const dots = globalThis.devicePixelRatio || 1;
  const wide = Math.round(box.width * dots);
  const high = Math.round(box.height * dots);
  if (canvas.width !== wide) canvas.width = wide;
  if (canvas.height !== high) canvas.height = high;
  const pen = canvas.getContext("2d");
  pen.clearRect(0, 0, wide, high);
  const lines = shares(grid, picture);
  if (!lines.x.length && !lines.y.length) return;
  const [from, to] = [span(at.left, at.width, wide, dots), span(at.top, at.height, high, dots)];
  const xs = lines.x.map((share) => (at.left + (at.isFlippedX ? 1 - share : share) * at.width) * dots);
  const ys = lines.y.map((share) => (at.top + (at.isFlippedY ? 1 - share : share) * at.height) * dots);
  const thick = Math.max(1, Math.round(THICK_PX[grid.thick] * dots));
  const edge = Math.max(1, Math.round(EDGE_PX * dots));
  for (const [ink, px] of [[grid.dark ? LIGHT : DARK, thick + 2 * edge], [grid.dark ? DARK : LIGHT, thick]]) {
    pen.fillStyle = ink;
    for (const x of xs) pen.fillRect(Math.round(x - px / 2), to[0], px, to[1]);
    for (const y of ys) pen.fillRect(from[0], Math.round(y - px / 2), from[1], px);
  }
}

// From where to how far a line goes: as far as the picture is seen.
function span(start, size, room, dots) {
  const first = Math.max(0, Math.round(start * dots));
  return [first, Math.min(room, Math.round((start + size) * dots)) - first];
}
