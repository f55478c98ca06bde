// Where a picture lies in its box: pure geometry, nothing here touches the page.
// A box is {width, height, isAtTop} in CSS pixels; isAtTop: what is left over in height stays below. A picture is
// {width, height} in its own pixels. A place is {zoom, x, y}: how many times as large as the whole fits, and which point of the picture (0–1, as
// the photo was taken) stands in the middle of the box. A turn is {mirrored, upsideDown}.

export const WHOLE = Object.freeze({ zoom: 1, x: 0.5, y: 0.5 });
export const MOST = 12; // beyond that a photo of 2400 px is only blocks
export const STEP = 1.5; // one touch of + or −

// {left, top, width, height, isFlippedX, isFlippedY} of the whole picture, in the box's pixels.
export function laid(box, picture, place, turn) {
  const fits = Math.min(box.width / picture.width, box.height / picture.height);
  const width = picture.width * fits * place.zoom;
  const height = picture.height * fits * place.zoom;
  const isFlippedX = Boolean(turn.mirrored) !== Boolean(turn.upsideDown);
  const isFlippedY = Boolean(turn.upsideDown);
  const x = isFlippedX ? 1 - place.x : place.x;
  const y = isFlippedY ? 1 - place.y : place.y;
  const left = within(box.width, width, box.width / 2 - x * width, 0.5);
  const top = within(box.height, height, box.height / 2 - y * height, box.isAtTop ? 0 : 0.5);
  return { left, top, width, height, isFlippedX, isFlippedY };
}

// `place` with the picture `factor` times as large, and what lay at `from` (box pixels) now at `to`, as far as it can.
export function carried(box, picture, place, turn, from, to, factor = 1) {
  const zoom = Math.min(MOST, Math.max(1, place.zoom * factor));
  const now = laid(box, picture, place, turn);
  const grown = zoom / place.zoom;
  return placeOf(box, turn, {
    width: now.width * grown,
    height: now.height * grown,
    left: to.x - (from.x - now.left) * grown,
    top: to.y - (from.y - now.top) * grown,
  }, zoom);
}

// Which sides have more of the picture than is seen: {up, left, down, right}.
export function hiddenSides(box, { left, top, width, height }) {
  const PX = 0.5;
  return { up: top < -PX, left: left < -PX, down: top + height > box.height + PX, right: left + width > box.width + PX };
}

function placeOf(box, { mirrored, upsideDown }, { left, top, width, height }, zoom) {
  const x = (box.width / 2 - within(box.width, width, left, 0.5)) / width;
  const y = (box.height / 2 - within(box.height, height, top, 0.5)) / height;
  const isFlippedX = Boolean(mirrored) !== Boolean(upsideDown);
  return { zoom, x: isFlippedX ? 1 - x : x, y: upsideDown ? 1 - y : y };
}

// A picture that is larger than the room covers all of it; a smaller one stands at `share` of what is left over.
function within(room, size, start, share) {
  return size <= room ? (room - size) * share : Math.min(0, Math.max(room - size, start));
}
