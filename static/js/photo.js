// Photos at the Counter: each goes to the booth at once, with how far it is in words; what would make it better stands
// beside it while the sitter is still there. One that cannot be sent yet stays on the device and is tried again, or goes
// along with its order. <booth-photos> is the list, in the form of a new order and on the sheet of a ticket.
import { offerCamera } from "./camera.js";
import { Marks } from "./marks.js";
import { newId } from "./taps.js";
import { renew, token } from "./token.js";

const CANNOT_SHOW = "This browser cannot show it here; it is sent all the same.";
const OUT_OF_REACH = "The booth is out of reach. The photo is kept here and sent again by itself.";
const NOT_TAKEN = "The booth could not take the photo just now. It is kept here and sent again by itself.";
const UNSIGNED = "Your sign-in has run out. Sign in on another tab: the photo is kept here and sent then.";
const SENT_AGAIN = "It was no longer at the booth and is sent again: tap once more.";
const LONGEST_WAIT_MS = 15000;
const MARKED_AFTER_MS = 400; // several steps of an arrow key are one mark
const SILENCE_MS = 90000; // a slow line takes as long as it takes; one on which nothing moves is dead
// What stands in the place of a photo's id in the order: it comes along as a file, or was refused.
const ALONG = "";
const REFUSED = "-";
const TYPED_IN = "input:not([type=file], [type=radio], [type=checkbox]), textarea";
const TOLD = ".photo--advised, .photo--refused";
const BAR_PX = 110; // so much of the screen is under the row that takes the order

// One photo. `state` is coming (on its way), waits (out of reach), kept (at the booth) or refused.
class Card {
  constructor(part, item) {
    Object.assign(this, { part, item, id: item.dataset.photo ?? "", state: "kept", file: null, address: "", isGone: false, marked: 0 });
    this.image = this.find(".photo__picture");
    this.whole = item.dataset.whole ?? "";
    this.marks = new Marks(this.find(".photo__frame"), {
      faces: JSON.parse(item.dataset.faces || "[]"), most: () => part.sitters, changed: (faces) => this.mark(faces),
    });
    this.image.addEventListener("load", () => { this.show(); if (this.state === "coming") this.reveal(); });
    this.image.addEventListener("error", () => { if (this.image.getAttribute("src")) this.noPicture(); });
    const again = this.find(".photo__input");
    if (again) offerCamera(again, (file) => this.send(file));
    again?.addEventListener("change", (event) => {
      event.stopPropagation();
      const [file] = event.target.files;
      event.target.value = ""; // the same file may be chosen again
      if (file) this.send(file);
    });
    this.find(".photo__use").addEventListener("click", () => this.advise([]));
    this.find(".photo__another").addEventListener("click", () => this.marks.add());
    this.find(".photo__unmark").addEventListener("click", () => this.marks.clear());
    this.find(".photo__away")?.addEventListener("click", () => part.remove(this));
    this.find(".photo__larger").addEventListener("click", (event) => { event.preventDefault(); enlarge(this); });
    this.show();
  }

  find(selector) {
    return this.item.querySelector(selector);
  }

  // Sends a file, as a new photo or in the place of the one that stands here.
  async send(file) {
    const before = { id: this.id, state: this.state, file: this.file, faces: this.marks.faces, src: this.image.src, address: this.address, whole: this.whole };
    const mine = this.sending = { id: newId() };
    const body = new FormData();
    const fields = { id: mine.id, ticket: this.part.dataset.ticket ?? "", instead_of: this.id, sitters: this.part.sitters };
    for (const [name, value] of Object.entries(fields)) body.append(name, value);
    body.append("photo", file, file.name || "photo.jpg");
    this.address = URL.createObjectURL(file);
    this.whole = this.address;
    this.file = file;
    this.picture(this.address);
    this.marks.set([]);
    this.advise([]);
    this.say("");
    for (let tries = 1; ; tries += 1) {
      this.become("coming");
      const answer = await this.part.inLine(() => (this.isGone || this.sending !== mine ? null : this.post(body, mine)));
      if (this.isGone || this.sending !== mine) return;
      if (answer?.ok) return this.keep(answer.content, before);
      if (answer?.no) return this.refuseFile(answer.no, before);
      this.say(answer?.unsigned ? UNSIGNED : answer?.isThere ? NOT_TAKEN : OUT_OF_REACH);
      this.become("waits");
      await patience(tries);
      if (this.isGone || this.sending !== mine) return;
      this.say("");
    }
  }

  async post(body, mine) {
    const progress = ({ loaded, total, lengthComputable }) => { if (lengthComputable && this.sending === mine) this.progress(100 * loaded / total); };
    this.progress(0);
    let answer = await request(this.part.dataset.upload, body, progress, mine);
    if ((answer.status === 401 || answer.status === 403) && await renew()) answer = await request(this.part.dataset.upload, body, progress, mine);
    if (answer.status === 401 || answer.status === 403) return { unsigned: true };
    if (answer.status === 0 || answer.status >= 500 || answer.status === 429) return { isThere: answer.status > 0 };
    return answer.status < 300 ? { ok: true, content: answer.content } : { no: answer.content?.detail ?? "The booth did not take this photo." };
  }

  keep(content, before) {
    if (before.address) URL.revokeObjectURL(before.address);
    this.id = this.item.dataset.photo = content.id;
    this.whole = content.whole;
    if (!this.marks.canMark) this.picture(content.small);
    this.become("kept");
    this.advise(content.advice);
    this.reveal();
    if (this.marks.faces.length) this.mark(this.marks.faces);
  }

  // Said beside it; where another stood here before, that one stays.
  refuseFile(sentence, before) {
    if (!before.id) {
      this.become("refused");
      const name = this.find(".photo__name");
      if (name) name.textContent = this.file.name;
      this.say(sentence);
      return this.reveal();
    }
    URL.revokeObjectURL(this.address);
    Object.assign(this, { id: before.id, file: before.file, address: before.address, whole: before.whole });
    this.picture(before.src);
    this.marks.set(before.faces);
    this.become("kept");
    this.say(`${sentence} The one before stays.`, false);
    this.reveal();
  }

  async mark(faces) {
    const mine = ++this.marked;
    this.show();
    for (let tries = 0; ; tries += 1) {
      await new Promise((on) => { setTimeout(on, tries ? LONGEST_WAIT_MS / 3 : MARKED_AFTER_MS); });
      if (mine !== this.marked || this.isGone || this.state !== "kept") return;
      const body = new FormData();
      body.append("faces", JSON.stringify(faces));
      body.append("sitters", this.part.sitters);
      const answer = await request(`${this.part.dataset.upload}/${encodeURIComponent(this.id)}/faces`, body);
      if (mine !== this.marked || this.isGone) return;
      if (answer.status && answer.status < 300) return this.advise(answer.content.advice);
      const isUnsigned = answer.status === 401 || answer.status === 403;
      if (isUnsigned ? !(await renew()) : answer.status >= 400 && answer.status < 500 && answer.status !== 429) return;
    }
  }

  // On the screen

  picture(address) {
    const frame = this.find(".photo__frame");
    frame.querySelector(".photo__name")?.remove();
    this.image.hidden = false;
    this.image.removeAttribute("width");
    this.image.removeAttribute("height");
    this.image.src = address;
  }

  noPicture() {
    const text = this.state === "refused" ? this.file.name : `${this.file?.name ?? "This photo"}. ${CANNOT_SHOW}`;
    this.image.hidden = true;
    this.find(".photo__frame").append(Object.assign(document.createElement("p"), { className: "photo__name", textContent: text }));
    this.marks.draw();
  }

  become(state) {
    this.state = state;
    if (state !== "coming") this.find(".photo__on-its-way").hidden = true;
    this.item.classList.toggle("photo--refused", state === "refused");
    this.show();
    this.part.dispatchEvent(new CustomEvent("portraitq:photo"));
  }

  progress(percent) {
    const whole = Math.floor(percent);
    this.find(".photo__on-its-way").hidden = false;
    this.find(".photo__progress").value = percent;
    this.find(".photo__sent").textContent = whole >= 100 ? "Sent. Looking at it …" : `${whole} % sent`;
  }

  say(sentence, isRefusal = true) {
    const said = this.find(".photo__said");
    said.textContent = sentence;
    said.hidden = !sentence;
    if (isRefusal) this.item.classList.toggle("photo--told", Boolean(sentence));
  }

  advise(advice) {
    const place = this.find(".photo__advice");
    place.replaceChildren(...advice.map(({ said }) => Object.assign(document.createElement("p"), { textContent: said })));
    this.find(".photo__use").hidden = !advice.length;
    this.part.watch(this.find(".photo__advice"));
    this.find(".photo__again")?.classList.toggle("button--hand", Boolean(advice.length) || this.state === "refused");
    this.item.classList.toggle("photo--advised", Boolean(advice.length));
  }

  show() {
    const { canMark, faces } = this.marks;
    const isHere = this.state === "kept" && canMark;
    this.find(".photo__another").hidden = !isHere || !faces.length || faces.length >= this.part.sitters;
    this.find(".photo__unmark").hidden = !isHere || !faces.length;
    const hint = this.find(".photo__hint");
    hint.textContent = hintFor(faces.length, this.part.sitters);
    hint.hidden = !isHere || !hint.textContent;
    this.find(".photo__larger").hidden = !canMark;
    const again = this.find(".photo__again");
    if (!again) return;
    again.hidden = this.state === "coming";
    again.classList.toggle("button--hand", this.state === "refused" || this.item.classList.contains("photo--advised"));
  }

  // The camera leaves the page where it was, and this below the fold. It never moves under somebody who types, nor away
  // from another photo that wants a hand.
  reveal() {
    const isBehind = this.part.cards?.some(({ item }) => item !== this.item && item.matches(TOLD)) && !this.item.matches(TOLD);
    if (!isBehind && !document.activeElement?.matches(TYPED_IN)) this.come();
  }

  come() {
    this.item.scrollIntoView({ block: "nearest" });
    this.find(".photo__beside").scrollIntoView({ block: "nearest" });
  }

  name(number) {
    if (!this.item.dataset.whole) this.image.alt = `Photo ${number}`;
    this.find(".photo__away")?.setAttribute("aria-label", `Remove photo ${number}`);
    this.find(".photo__progress").setAttribute("aria-label", `Photo ${number} on its way`);
  }

  let() {
    this.isGone = true;
    this.sending?.request?.abort();
    if (this.address) URL.revokeObjectURL(this.address);
    this.item.remove();
    this.part.watch(this.find(".photo__advice"));
  }
}

// What is still to be tapped, for the artist gets eyes and colours face by face.
function hintFor(marked, sitters) {
  if (!marked) return sitters > 1 ? "Tap each face: the artist gets its eyes and colours close up." : "Tap the face if it is not in the dashed oval.";
  return marked < sitters ? `${marked} of ${sitters} faces marked: tap the next one, if it is in this photo.` : "";
}

class BoothPhotos extends HTMLElement {
  connectedCallback() {
    if (this.cards) return;
    this.list = this.querySelector(".photos");
    this.unseen = new Set();
    this.sight = new IntersectionObserver((seen) => this.tell(seen), { rootMargin: `0px 0px -${BAR_PX}px`, threshold: 1 });
    this.advised = this.closest("form")?.querySelector("[data-photo-said]");
    this.advised?.addEventListener("click", () => { this.cards.find(({ item }) => item.contains(this.advised.about))?.come(); });
    this.line = Promise.resolve();
    this.cards = [...this.list.querySelectorAll(".photo")].map((item) => new Card(this, item));
    this.addEventListener("change", (event) => {
      if (!event.target.matches(".photos__input")) return;
      event.stopPropagation();
      for (const file of event.target.files) this.add(file);
      event.target.value = "";
    });
    for (const input of this.querySelectorAll(".photos__input[capture]")) offerCamera(input, (file) => this.add(file));
    this.number();
  }

  get sitters() {
    return Number(this.dataset.sitters ?? this.closest("form")?.elements.sitters?.value) || 1;
  }

  // For each photo of the order its id, or what else becomes of it; and the files that go along.
  get kept() {
    return this.cards.map(({ state, id }) => ({ kept: id, refused: REFUSED })[state] ?? ALONG);
  }

  get files() {
    return this.cards.filter(({ state }) => state === "coming" || state === "waits").map(({ file }) => file);
  }

  add(file) {
    const item = this.querySelector("template").content.firstElementChild.cloneNode(true);
    this.list.append(item);
    const card = new Card(this, item);
    this.cards.push(card);
    this.number();
    card.send(file);
  }

  // Takes a photo out, here and at the booth.
  remove(card) {
    card.let();
    this.cards = this.cards.filter((each) => each !== card);
    this.number();
    const body = new FormData();
    body.append("ticket", this.dataset.ticket ?? "");
    if (card.id) request(`${this.dataset.upload}/${encodeURIComponent(card.id)}/remove`, body);
    (this.cards.at(-1)?.find(".photo__away") ?? this.querySelector(".photos__input"))?.focus({ preventScroll: true });
  }

  // One upload at a time: on a slow line the first is there early, not all of them late.
  inLine(work) {
    this.line = this.line.then(work, work);
    return this.line;
  }

  number() {
    this.cards.forEach((card, place) => card.name(place + 1));
  }

  // From now on, what is said at `place` stands beside the button that takes the order whenever it is out of sight.
  watch(place) {
    if (!this.advised) return;
    this.sight.unobserve(place);
    this.unseen.delete(place);
    if (place.childElementCount) this.sight.observe(place);
    this.tell([]);
  }

  tell(seen) {
    for (const { target, isIntersecting } of seen) if (isIntersecting) this.unseen.delete(target); else this.unseen.add(target);
    const [about] = [...this.unseen].filter((place) => place.isConnected && place.childElementCount);
    Object.assign(this.advised, { about, hidden: !about, textContent: about?.firstElementChild.textContent ?? "" });
  }

  refresh() {
    for (const card of this.cards) card.show();
  }

  get isSending() {
    return this.cards.some(({ state }) => state === "coming");
  }

  // Resolves when nothing is on its way any more.
  async settled() {
    while (this.isSending) await new Promise((on) => { this.addEventListener("portraitq:photo", on, { once: true }); });
  }

  // Says why the order was refused for the photo at `place`; false when there is none there.
  refuse(place, sentence) {
    const card = this.cards[place];
    if (!card) return false;
    if (card.state === "kept" && sentence) {
      card.id = "";
      if (card.file) { card.send(card.file); card.say(SENT_AGAIN); } else { card.become("refused"); card.say(sentence); }
    } else if (card.state !== "refused") { card.become("refused"); card.say(sentence); }
    card.item.scrollIntoView({ block: "center" });
    return true;
  }

  clear() {
    for (const card of this.cards) card.let();
    this.cards = [];
  }
}

// A request that tells how far it is; status 0 when the booth cannot be reached.
function request(address, body, progress = null, mine = {}) {
  return new Promise((done) => {
    const asked = mine.request = new XMLHttpRequest();
    asked.open("POST", address);
    let silence = setTimeout(() => asked.abort(), SILENCE_MS);
    const moved = () => { clearTimeout(silence); silence = setTimeout(() => asked.abort(), SILENCE_MS); };
    asked.setRequestHeader("X-Portraitq-Token", token());
    asked.setRequestHeader("Accept", "application/json");
    if (progress) asked.upload.onprogress = (event) => { moved(); progress(event); };
    asked.onloadend = () => clearTimeout(silence);
    asked.onload = () => done({ status: asked.status, content: read(asked.responseText) });
    asked.onerror = asked.onabort = () => done({ status: 0 });
    asked.send(body);
  });
}

function read(text) {
  try { return JSON.parse(text); } catch { return null; }
}

function patience(tries) {
  return new Promise((on) => {
    setTimeout(on, Math.min(LONGEST_WAIT_MS, 1000 * 2 ** tries));
    addEventListener("online", on, { once: true });
  });
}

// The picture as large as the screen, with the same marks.
function enlarge(card) {
  const dialog = document.createElement("dialog");
  dialog.className = "larger";
  dialog.setAttribute("aria-label", card.image.alt);
  const frame = Object.assign(document.createElement("div"), { className: "photo__frame larger__frame" });
  const image = Object.assign(document.createElement("img"), { className: "larger__picture", alt: card.image.alt, src: card.address || card.whole, draggable: false });
  const close = Object.assign(document.createElement("button"), { type: "button", className: "button button--large larger__close", textContent: "Close" });
  frame.append(image);
  dialog.append(frame, close);
  document.body.append(dialog);
  new Marks(frame, { faces: card.marks.faces, most: () => card.part.sitters, changed: (faces) => { card.marks.set(faces); card.mark(faces); } });
  close.addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => { dialog.remove(); card.find(".photo__larger").focus({ preventScroll: true }); });
  dialog.showModal();
}

customElements.define("booth-photos", BoothPhotos);
