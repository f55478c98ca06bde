// Says how fresh the page is: "as of 14:05" once what it shows is older than a minute, or while nobody knows.
// Never from the device's clock: the time comes from the server, how long ago from performance.now().

const OLD_MS = 60000;
const GRACE_MS = 5000; // a line that is back within this was never worth a word
const line = document.getElementById("age");
const views = new Map(); // element -> {asOf, at, doubtAt}

for (const element of document.querySelectorAll("[data-view]")) {
  // A page out of a cache says its old as_of; until the server confirms it, that is doubted.
  views.set(element, { asOf: element.dataset.asOf, at: performance.now(), doubtAt: performance.now() });
  element.addEventListener("portraitq:fresh", ({ detail }) => { views.set(element, { asOf: detail, at: performance.now() }); say(); });
  element.addEventListener("portraitq:doubt", () => { const known = views.get(element); known.doubtAt ??= performance.now(); });
}

function isOld({ at, doubtAt }) {
  const now = performance.now();
  return now - at > OLD_MS || (doubtAt !== undefined && now - doubtAt > GRACE_MS);
}

function clock(asOf, zone) {
  return new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone }).format(new Date(asOf));
}

function say() {
  const old = [...views].filter(([, known]) => known.asOf && isOld(known)).sort(([, a], [, b]) => (a.asOf < b.asOf ? -1 : 1))[0];
  const text = old ? `as of ${clock(old[1].asOf, old[0].dataset.zone)}` : "";
  if (!line || line.textContent === text) return;
  line.textContent = text;
  line.hidden = !text;
  line.classList.toggle("is-old", Boolean(text));
}

setInterval(say, 1000);
