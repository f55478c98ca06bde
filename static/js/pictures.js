// The pictures of the easel, in this page's memory alone: nothing is kept on the device, and each comes once.
// Photos come at once; what is made of them comes after, one at a time, in the order of the wish, and never while a tap
// still waits for its answer. What is no longer wished is forgotten, and its memory given back.

const LOOK_AGAIN_MS = 300; // whether the taps are answered
const TRY_AGAIN_MS = 8000;
const PATIENCE_MS = 30000;
const GENTLE_MS = 40; // between two, so that a slow tablet stays quick under the hand

const OUT_OF_RANGE = "out of range of the booth";
const SIGNED_OUT = "sign in again";
const GONE = "it was deleted";
const NO_ANSWER = "the booth could not make it";

export class Pictures {
  constructor(isBusy) {
    Object.assign(this, { isBusy, photos: new Map(), made: new Map(), coming: new Map(), refused: new Map(), wishes: [], isFetching: false });
    addEventListener("online", () => this.again());
    document.addEventListener("portraitq:fresh", () => this.again()); // something came through the air
  }

  // The picture at `address` as an element; it shows itself when it is there.
  photo(address) {
    if (!this.photos.has(address)) {
      const image = Object.assign(new Image(), { decoding: "async", draggable: false });
      image.onload = () => { image.isThere = true; this.work(); };
      image.onerror = () => { image.isMissing = true; setTimeout(() => this.once(address, image), TRY_AGAIN_MS); };
      image.src = address;
      this.photos.set(address, image);
    }
    return this.photos.get(address);
  }

  once(address, image) {
    if (!image.isMissing || this.photos.get(address) !== image) return;
    image.isMissing = false;
    image.src = address;
  }

  // What was made of a photo: an Image, or a text; undefined while it is not here.
  ready(address) {
    return this.made.get(address)?.thing;
  }

  // The same as a promise, before everything that is only wished. Rejects with an Error that says why in a few words.
  need(address) {
    if (this.made.has(address)) return Promise.resolve(this.made.get(address).thing);
    if (!this.coming.has(address)) {
      const coming = fetched(address).then((found) => { this.keep(address, found); return found.thing; }, (why) => {
        if (why.message === GONE) this.refused.set(address, why);
        throw why;
      });
      this.coming.set(address, coming);
      coming.catch(() => undefined).finally(() => this.coming.delete(address));
    }
    return this.coming.get(address);
  }

  keep(address, found) {
    if (this.wishes.includes(address)) this.made.set(address, found);
    else free(found);
  }

  // From now on `photos` and `wishes` are kept: addresses, in the order in which they should come.
  want(photos, wishes) {
    this.wishes = wishes;
    for (const address of photos) this.photo(address);
    for (const address of this.photos.keys()) if (!photos.includes(address)) this.photos.delete(address);
    for (const [address, found] of this.made) {
      if (wishes.includes(address)) continue;
      this.made.delete(address);
      free(found);
    }
    for (const address of this.refused.keys()) if (!wishes.includes(address)) this.refused.delete(address);
    this.work();
  }

  again() {
    for (const [address, image] of this.photos) this.once(address, image);
    this.work();
  }

  async work() {
    if (this.isFetching) return;
    this.isFetching = true;
    clearTimeout(this.later);
    while (this.next() && this.arePhotosThere()) { // a photo that comes calls again
      if (this.isBusy()) await pause(LOOK_AGAIN_MS);
      else if (await this.need(this.next()).then(() => true, (why) => why.message === GONE)) await pause(GENTLE_MS);
      else {
        this.later = setTimeout(() => this.work(), TRY_AGAIN_MS);
        break;
      }
    }
    this.isFetching = false;
  }

  next() {
    return this.wishes.find((address) => !this.made.has(address) && !this.refused.has(address));
  }

  arePhotosThere() {
    return [...this.photos.values()].every((image) => image.isThere || image.isMissing);
  }
}

async function fetched(address) {
  let answer;
  try {
    answer = await fetch(address, { cache: "no-store", signal: AbortSignal.timeout?.(PATIENCE_MS) });
  } catch {
    throw new Error(OUT_OF_RANGE);
  }
  if (answer.redirected || answer.status === 401 || answer.status === 403) throw new Error(SIGNED_OUT);
  if (answer.status === 404 || answer.status === 410) throw new Error(GONE);
  if (!answer.ok) throw new Error(NO_ANSWER);
  const isPicture = answer.headers.get("Content-Type")?.startsWith("image/");
  try {
    return isPicture ? await pictured(await answer.blob()) : { thing: await answer.text() };
  } catch (why) {
    throw new Error(isPicture && why.name === "EncodingError" ? NO_ANSWER : OUT_OF_RANGE);
  }
}

async function pictured(blob) {
  const address = URL.createObjectURL(blob);
  const image = Object.assign(new Image(), { decoding: "sync", draggable: false, src: address }); // decoded before it is shown
  try {
    await image.decode();
  } catch (why) {
    URL.revokeObjectURL(address);
    throw why;
  }
  return { thing: image, address };
}

function free({ address }) {
  if (address) URL.revokeObjectURL(address);
}

function pause(ms) {
  return new Promise((over) => { setTimeout(over, ms); });
}
