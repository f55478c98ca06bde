// Says politely, once, that a promise slips: whatever on the page has a new data-slip goes into the line that
// screen readers read out. What the page came with is read with the page.

const line = document.getElementById("slips");
let known = slips();

function slips() {
  return [...document.querySelectorAll("[data-slip]")].map((part) => part.dataset.slip);
}

addEventListener("portraitq:swapped", () => {
  const now = slips();
  const said = now.filter((one) => !known.includes(one)).join(". ");
  if (said) line.textContent = said;
  known = now;
});
