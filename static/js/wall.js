// The Wall's own: the evening variant by its address (?evening=1), and numbers that step down a size where a screen of
// another shape has no room for them.

const main = document.querySelector('[data-view="wall"]');
if (main?.dataset.eveningWish) document.documentElement.dataset.evening = main.dataset.eveningWish;

const SMALLER = { few: "some", some: "many" };

function fit() {
  const wall = main?.querySelector(".wall");
  if (!wall || getComputedStyle(wall).overflow !== "hidden") return; // one column scrolls, nothing need fit
  while (SMALLER[wall.dataset.size] && isTooSmall(wall)) wall.dataset.size = SMALLER[wall.dataset.size];
}

function isTooSmall(wall) {
  const ready = wall.querySelector(".wall__ready");
  return wall.scrollHeight > wall.clientHeight + 1 || (ready && ready.scrollHeight > ready.clientHeight + 1);
}

main?.addEventListener("portraitq:swapped", fit);
addEventListener("resize", fit);
fit();
