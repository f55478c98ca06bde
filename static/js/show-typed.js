// A passphrase is shown as it is typed while its form's box is ticked; without this script the box stays away.
for (const box of document.querySelectorAll("[data-show-typed]")) {
  const hidden = [...box.form.querySelectorAll('input[type="password"]')];
  box.closest("label").hidden = false;
  box.addEventListener("change", () => hidden.forEach((field) => (field.type = box.checked ? "text" : "password")));
  box.form.addEventListener("submit", () => hidden.forEach((field) => (field.type = "password"))); // browsers keep text
}
