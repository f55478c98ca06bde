// Keeps every [data-view] element as the booth stands: Engine.IO 4 / Socket.IO 5 over one WebSocket, namespace /live.
// While the line is down it asks by plain HTTP. What is older never replaces what is newer.
// Tells age.js how fresh a view is by events on the element: "portraitq:fresh" (detail: as_of) and "portraitq:doubt".

const NAMESPACE = "/live";
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 20000;
const ASK_AFTER_MS = 5000; // a line that is back within this needs no asking
const ASK_EVERY_MS = 15000;
const ASK_AGAIN_MS = 2000; // an answer older than the page is asked for once more after this: quotes may lag a little
const LONGEST_BACK_MS = 120000; // whatever an answer says, a page looks again after this
const REFUSED_WAIT_MS = 60000; // for whoever may not see this, or asks for what is not there: it rarely changes
const TO_STAY = ["unsigned", "unknown", "wait"]; // why a line was refused; any other reason passes by itself
const KEPT_KEYS = ["id", "data-key", "data-command", "name", "href"]; // by which a focused part is found again

let pointerIsDown = false;
const afterPointer = [];
for (const name of ["pointerup", "pointercancel"]) {
  addEventListener(name, () => {
    pointerIsDown = false;
    setTimeout(() => { for (const work of afterPointer.splice(0)) work(); }); // after the click that follows
  }, true);
}
addEventListener("pointerdown", () => { pointerIsDown = true; }, true);

// Puts a pushed view on the page, unless a newer one stands there; never under a finger that is pressing a button.
export function show(element, { seq, html, as_of }) {
  if (seq < Number(element.dataset.seq)) return;
  if (pointerIsDown) {
    element.pushed = { seq, html, as_of }; // the newest alone is shown when the finger lifts
    if (!element.waits) afterPointer.push(() => { element.waits = false; show(element, element.pushed); });
    element.waits = true;
    return;
  }
  Object.assign(element.dataset, { seq, asOf: as_of });
  if (html !== undefined && html !== element.shown) swap(element, html);
  element.dispatchEvent(new CustomEvent("portraitq:fresh", { detail: as_of, bubbles: true }));
}

function swap(element, html) {
  const focused = element.contains(document.activeElement) ? nameOf(element, document.activeElement) : null;
  const scrolled = [...element.querySelectorAll("[data-keeps-scroll]")].map((part) => [part.dataset.keepsScroll, part.scrollLeft, part.scrollTop]);
  const opened = [...element.querySelectorAll("details[open][data-key]")].map((part) => part.dataset.key);
  element.innerHTML = html;
  element.shown = html;
  for (const key of opened) element.querySelector(`details[data-key="${CSS.escape(key)}"]`)?.setAttribute("open", "");
  for (const [key, left, top] of scrolled) element.querySelector(`[data-keeps-scroll="${CSS.escape(key)}"]`)?.scrollTo({ left, top, behavior: "instant" });
  element.dispatchEvent(new CustomEvent("portraitq:swapped", { bubbles: true }));
  if (focused) [...element.querySelectorAll(focused.selector)][focused.at]?.focus({ preventScroll: true }); // what was folded away is open again by now
}

function nameOf(element, part) {
  const key = KEPT_KEYS.find((one) => part.hasAttribute(one));
  const selector = key ? `${part.localName}[${key}="${CSS.escape(part.getAttribute(key))}"]` : part.localName;
  return { selector, at: [...element.querySelectorAll(selector)].indexOf(part) };
}

export class Live {
  constructor(element) {
    const { etag } = element.dataset; // names what the page shows, as long as no push replaced it
    Object.assign(this, { element, tries: 0, socket: null, isUp: false, isRefused: false, isBehind: false, etag, quoted: etag && `"${etag}"` });
    this.downSince = performance.now();
    setInterval(() => this.askWhileDown(), 1000);
    addEventListener("online", () => this.again());
    addEventListener("pageshow", (event) => { if (event.persisted) this.doubt(); });
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.doubt(); });
    this.open();
  }

  open() {
    clearTimeout(this.retry);
    this.drop();
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const socket = this.socket = new WebSocket(`${scheme}://${location.host}/socket.io/?EIO=4&transport=websocket`);
    this.patience(20000);
    socket.onmessage = ({ data }) => { if (socket === this.socket) this.hear(String(data)); };
    socket.onclose = () => { if (socket === this.socket) this.lost(); };
  }

  hear(packet) {
    this.patience();
    if (packet[0] === "0") {
      const { pingInterval, pingTimeout } = JSON.parse(packet.slice(1));
      this.silence = pingInterval + pingTimeout;
      this.socket.send(`40${NAMESPACE},${JSON.stringify(this.auth())}`);
    } else if (packet === "2") {
      this.socket.send("3");
    } else if (packet[0] === "1" || packet.startsWith(`41${NAMESPACE},`)) this.lost();
    else if (packet.startsWith(`44${NAMESPACE},`)) this.refused(packet.slice(packet.indexOf(",") + 1));
    else if (packet.startsWith(`40${NAMESPACE},`)) this.accepted();
    else if (packet.startsWith(`42${NAMESPACE},`)) this.event(packet.slice(packet.indexOf(",") + 1));
  }

  event(rest) {
    const [, id, body] = /^(\d*)(.*)$/s.exec(rest);
    const [name, content] = JSON.parse(body);
    if (name === "view") {
      this.quoted = undefined; // whatever was asked for earlier, this is shown now
      show(this.element, content);
    }
    if (name === "same" && content.seq >= Number(this.element.dataset.seq)) show(this.element, { seq: content.seq, as_of: content.as_of });
    if (id) this.socket.send(`43${NAMESPACE},${id}[]`);
    if (name === "start_over") this.startOver();
  }

  // The booth's journal is another one than this page knows (a backup was put back): its numbers count no more.
  startOver() {
    this.element.dataset.seq = 0;
    this.again();
  }

  auth() {
    const { view, booth, code, artist, seq } = this.element.dataset;
    const etag = this.element.shown === undefined ? this.etag : undefined; // known for what the page came with
    return { view, booth, code, artist, seq: Number(seq) || 0, etag };
  }

  accepted() {
    this.isUp = true;
    this.tries = 0;
    if (this.isRefused) this.say("");
    this.isRefused = false;
  }

  // A store that did not answer for a moment is asked again as after any loss; a page that may not be seen, each minute.
  refused(text) {
    const { message, data } = JSON.parse(text);
    if (data?.why === "withdrawn") return location.reload(); // what this page shows is not for whoever has the tablet now
    this.isRefused = TO_STAY.includes(data?.why);
    if (this.isRefused) this.say(message ?? "This page cannot be kept up to date: load it again.");
    this.lost();
  }

  // Words with a way out beside them are of a tap, and worth more than these.
  say(sentence) {
    const said = document.getElementById("said");
    if (said && !said.childElementCount) said.textContent = sentence;
  }

  // Nothing for so long means that the line is dead, whatever the socket says.
  patience(ms = this.silence ?? 20000) {
    clearTimeout(this.silent);
    this.silent = setTimeout(() => this.lost(), ms);
  }

  lost() {
    this.drop();
    clearTimeout(this.retry);
    const soon = Math.random() * Math.min(LONGEST_WAIT_MS, FIRST_WAIT_MS * 2 ** this.tries++); // full jitter
    const wait = this.isRefused ? REFUSED_WAIT_MS : soon;
    this.retry = setTimeout(() => this.open(), wait);
  }

  drop() {
    clearTimeout(this.silent);
    const socket = this.socket;
    this.socket = null;
    if (this.isUp) this.downSince = performance.now();
    this.isUp = false;
    socket?.close();
  }

  // The page was away: what it shows may be old, and a socket that slept may be dead without knowing.
  doubt() {
    this.element.dispatchEvent(new CustomEvent("portraitq:doubt", { bubbles: true }));
    this.again();
  }

  again() {
    this.tries = 0;
    this.open();
  }

  async askWhileDown() {
    const now = performance.now();
    if (this.isUp || document.hidden || now - this.downSince < ASK_AFTER_MS || now - (this.askedAt ?? -Infinity) < ASK_EVERY_MS) return;
    this.askedAt = now;
    const address = this.element.dataset.fragment ?? `${location.pathname}?fragment=1`;
    try {
      const answer = await fetch(address, { cache: "no-store", headers: this.quoted ? { "If-None-Match": this.quoted } : {}, signal: AbortSignal.timeout?.(10000) });
      if (answer.status === 503 || answer.status === 429) this.comeBack(answer.headers.get("Retry-After"));
      else if (answer.status === 304) show(this.element, { seq: Number(this.element.dataset.seq), as_of: answer.headers.get("X-Portraitq-As-Of") });
      else if (answer.ok && answer.headers.get("Content-Type")?.startsWith("application/json")) {
        const content = await answer.json();
        if (!this.isUp && this.isCurrent(content, now)) {
          show(this.element, content);
          this.quoted = answer.headers.get("ETag");
        }
      }
    } catch { /* out of reach: the age line tells it, and the next try is in a while */ }
  }

  // Too many ask just now: so many seconds later at the earliest, and not all at once.
  comeBack(after) {
    const wait = Math.min(Number(after) * 1000 || ASK_EVERY_MS, LONGEST_BACK_MS) * (1 + Math.random() / 2);
    this.askedAt = performance.now() + wait - ASK_EVERY_MS;
  }

  // Whether an answer may be shown. One that knows less than the page, twice in a row, is of another journal.
  isCurrent({ seq }, askedAt) {
    const isOlder = seq < Number(this.element.dataset.seq);
    if (isOlder && !this.isBehind) {
      this.isBehind = true;
      this.askedAt = askedAt - ASK_EVERY_MS + ASK_AGAIN_MS;
      return false;
    }
    if (isOlder) this.element.dataset.seq = 0;
    this.isBehind = false;
    return true;
  }
}

for (const element of document.querySelectorAll("[data-view]")) {
  element.live = new Live(element);
}
import("./age.js");
import("./slips.js");
