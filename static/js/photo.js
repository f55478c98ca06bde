// Photos on their way into an order: shown small, taken out again, each with its own refusal beside it.
// They stay on the device until the order is sent.

const CANNOT_SHOW = "This browser cannot show it here; it is sent all the same.";

export class Photos {
  constructor(part) {
    this.list = part.querySelector(".photos");
    this.kept = []; // {file, item, address}
    for (const input of part.querySelectorAll(".photos__input")) {
      input.addEventListener("change", () => {
        for (const file of input.files) this.add(file);
        input.value = ""; // the same file may be chosen again
      });
    }
  }

  get files() {
    return this.kept.map(({ file }) => file);
  }

  add(file) {
    const address = URL.createObjectURL(file);
    const item = document.createElement("li");
    item.className = "photo";
    const image = Object.assign(document.createElement("img"), { className: "photo__picture", alt: `Photo ${this.kept.length + 1}`, src: address });
    const away = Object.assign(document.createElement("button"), { type: "button", className: "button photo__away", textContent: "Remove" });
    away.setAttribute("aria-label", `Remove photo ${this.kept.length + 1}`);
    const said = Object.assign(document.createElement("p"), { className: "photo__said", hidden: true });
    said.setAttribute("role", "alert");
    image.addEventListener("error", () => { image.replaceWith(Object.assign(document.createElement("p"), { className: "photo__name", textContent: `${file.name}. ${CANNOT_SHOW}` })); });
    away.addEventListener("click", () => this.remove(item));
    item.append(image, away, said);
    this.list.append(item);
    this.kept.push({ file, item, address });
  }

  remove(item) {
    const one = this.kept.find((each) => each.item === item);
    if (!one) return;
    URL.revokeObjectURL(one.address);
    item.remove();
    this.kept = this.kept.filter((each) => each !== one);
  }

  // Says why the photo at `place` was refused; false when there is none there.
  refuse(place, sentence) {
    const one = this.kept[place];
    if (!one) return false;
    const said = one.item.querySelector(".photo__said");
    said.textContent = sentence;
    said.hidden = !sentence;
    one.item.classList.toggle("photo--refused", Boolean(sentence));
    if (sentence) one.item.scrollIntoView({ block: "center" });
    return true;
  }

  refuseNone() {
    for (let place = 0; place < this.kept.length; place += 1) this.refuse(place, "");
  }

  clear() {
    for (const { item } of [...this.kept]) this.remove(item);
  }
}
