// The Wall's own: the evening variant by its address (?evening=1), and numbers that step down a size where a screen of
// another shape has no room for them.

const main = document.querySelector('[data-view="wall"]');
if (main?.dataset.eveningWish) document.documentElement.dataset.evening = main.dataset.eveningWish;

const SMALLER = { two: "few", few: "some", some: "many" };

function fit() {
  const wall = main?.querySelector(".wall");
  if (!wall || getComputedStyle(wall).overflow !== "hidden") return; // one column scrolls, nothing need fit
  const next = wall.querySelector(".wall__next");
  if (next) next.hidden = false; // a screen that was turned may have room again
  while (SMALLER[wall.dataset.size] && overflows(wall.querySelector(".wall__ready"), wall)) wall.dataset.size = SMALLER[wall.dataset.size];
  fitQueue(wall.querySelector(".wall__queue"), next);
}

function overflows(part, whole) {
  return Boolean(part && part.scrollHeight > part.clientHeight + 1) || Boolean(whole && whole.scrollHeight > whole.clientHeight + 1);
}

// As many of those who wait as there is room for; the others are counted. Where there is not even room for one under
// its heading, heading and numbers share a line; half a line of letters is worse than none.
function fitQueue(queue, next) {
  while (queue && overflows(next) && queue.querySelectorAll("[data-waits]").length > 1) {
    let more = queue.querySelector(".wall__more");
    if (!more) queue.append(more = Object.assign(document.createElement("li"), { className: "wall__waiting wall__more" }));
    [...queue.querySelectorAll("[data-waits]")].at(-1).remove();
    more.dataset.more = Number(more.dataset.more ?? 0) + 1;
    more.textContent = `and ${more.dataset.more} more`;
  }
  if (!overflows(next)) return;
  next.dataset.inLine = "";
  if (overflows(next)) next.hidden = true;
}

main?.addEventListener("portraitq:swapped", fit);
addEventListener("resize", fit);
fit();
