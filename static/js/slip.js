// Opens the print dialog on a touch, and at once where the address asks for it.
document.querySelector("[data-print]")?.addEventListener("click", () => print());
if (new URLSearchParams(location.search).has("print")) addEventListener("load", () => print());
