// The day book's conveniences: choosing a day shows it at once, a button for printing, and paper on which nothing is folded
// away. Without this script the Show button and the browser's own print do the same, and newer browsers unfold by the sheet.
const choice = document.querySelector("#day");
let byKeyboard = false; // somebody who walks through the days with the arrow keys says with Enter when to go

choice?.addEventListener("keydown", () => { byKeyboard = true; });
choice?.addEventListener("pointerdown", () => { byKeyboard = false; });
choice?.addEventListener("change", () => { if (!byKeyboard) choice.form.submit(); });

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

let unfolded = []; // folded on the screen, open on paper
addEventListener("beforeprint", () => {
  unfolded = [...document.querySelectorAll("details:not([open])")];
  for (const part of unfolded) part.open = true;
});
addEventListener("afterprint", () => {
  for (const part of unfolded) part.open = false;
  unfolded = [];
});
