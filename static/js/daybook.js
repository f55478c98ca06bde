// The day book's two conveniences: choosing a day shows it at once, and a button for printing. Without this script the
// Show button and the browser's own print do the same.
const choice = document.querySelector("#day");
let byKeyboard = false; // somebody who walks through the days with the arrow keys says with Enter when to go

choice?.addEventListener("keydown", () => { byKeyboard = true; });
choice?.addEventListener("pointerdown", () => { byKeyboard = false; });
choice?.addEventListener("change", () => { if (!byKeyboard) choice.form.submit(); });

for (const button of document.querySelectorAll("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}
