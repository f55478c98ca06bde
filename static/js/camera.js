// The picture before the press: the device's camera on the page, which browsers let a page have under https. What is
// taken goes the way of a chosen file. Without https, or where there is none, or it is refused, the file field opens the
// device's own camera. The camera is off again the moment nobody looks through it.

const FINEST = { width: { ideal: 4096 }, height: { ideal: 3072 } }; // the most that the camera shows live
const QUALITY = 0.92;
const WHY_NOT = {
  NotAllowedError: "This browser does not let the booth use the camera; its settings for this page say so.",
  NotFoundError: "No camera was found on this device.",
  NotReadableError: "The camera could not be started: another app may be using it.",
};

let isUsable = location.protocol === "https:" && Boolean(navigator.mediaDevices?.getUserMedia);
let facing = "environment";

// Lets a press on the file field `input` open the live picture; `taken` gets the file.
export function offerCamera(input, taken) {
  let isForOwn = false;
  input.addEventListener("click", (event) => {
    if (!isUsable || isForOwn) return;
    event.preventDefault();
    new Camera(taken, () => { isForOwn = true; input.click(); isForOwn = false; }).open(input);
  });
}

class Camera {
  constructor(taken, useOwn) {
    Object.assign(this, { taken, useOwn, stream: null, asked: 0 });
    this.dialog = make("dialog", "camera", { ariaLabel: "Camera" });
    this.video = make("video", "camera__picture", { muted: true, playsInline: true });
    this.said = make("p", "camera__said", { textContent: "The camera is starting …" });
    this.said.setAttribute("role", "status");
    this.shutter = make("button", "camera__shutter", { type: "button", disabled: true, ariaLabel: "Take the photo" });
    this.close = make("button", "button button--large", { type: "button", textContent: "Close" });
    this.other = make("button", "button button--large", { type: "button", textContent: "Other camera", hidden: true });
    this.own = make("button", "button button--large", { type: "button", textContent: "Device’s own camera" });
    const bar = make("div", "camera__bar");
    bar.append(this.close, this.shutter, this.own, this.other);
    this.dialog.append(this.video, this.said, bar);
    this.close.addEventListener("click", () => this.dialog.close());
    this.shutter.addEventListener("click", () => this.shoot());
    this.other.addEventListener("click", () => { facing = facing === "environment" ? "user" : "environment"; this.start(); });
    this.own.addEventListener("click", () => { this.dialog.close(); this.useOwn(); });
    this.video.addEventListener("loadeddata", () => { this.said.hidden = true; this.shutter.disabled = false; this.shutter.focus(); });
  }

  open(from) {
    const hide = () => { if (document.hidden) this.dialog.close(); };
    document.addEventListener("visibilitychange", hide);
    addEventListener("pagehide", () => this.stop(), { once: true });
    this.dialog.addEventListener("close", () => {
      document.removeEventListener("visibilitychange", hide);
      this.stop();
      this.dialog.remove();
      from.focus({ preventScroll: true });
    });
    document.body.append(this.dialog);
    this.dialog.showModal();
    this.start();
  }

  async start() {
    const mine = ++this.asked;
    this.release();
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: { ideal: facing }, ...FINEST } });
      if (mine !== this.asked) return stop(stream); // closed, or turned round, while it was starting
      this.stream = stream;
      this.video.srcObject = stream;
      await this.video.play();
      const all = await navigator.mediaDevices.enumerateDevices();
      this.other.hidden = all.filter(({ kind }) => kind === "videoinput").length < 2;
    } catch (why) {
      if (mine === this.asked) this.refuse(why);
    }
  }

  refuse({ name }) {
    isUsable = false; // from now on a press opens the device's own at once
    this.release();
    this.said.hidden = false;
    this.said.textContent = `${WHY_NOT[name] ?? WHY_NOT.NotReadableError} The device’s own camera, or a file, does as well.`;
    this.own.focus();
  }

  shoot() {
    const { videoWidth: width, videoHeight: height } = this.video;
    const canvas = Object.assign(document.createElement("canvas"), { width, height });
    canvas.getContext("2d").drawImage(this.video, 0, 0);
    this.dialog.close();
    canvas.toBlob((blob) => this.taken(new File([blob], "photo.jpg", { type: blob.type })), "image/jpeg", QUALITY);
  }

  // Off, and whatever is still starting is let go of when it comes.
  stop() {
    this.asked += 1;
    this.release();
  }

  release() {
    this.shutter.disabled = true;
    stop(this.stream);
    this.stream = this.video.srcObject = null;
  }
}

function stop(stream) {
  for (const track of stream?.getTracks() ?? []) track.stop();
}

function make(name, className, properties = {}) {
  return Object.assign(document.createElement(name), { className, ...properties });
}
