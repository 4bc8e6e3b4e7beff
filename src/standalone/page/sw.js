// Keeps the page in the browser's cache, so that it opens without a network once it was opened with one. VERSION is the hash of the
// page, which `.ci/page` puts in: another page is another keeper, which fetches it anew.

const CACHE = "gritwise-VERSION";
const ALL = ["./", "manifest.webmanifest", "mark.svg"];

addEventListener("install", (event) => {
  const fetched = ALL.map((part) => new Request(part, { cache: "reload" }));
  event.waitUntil(caches.open(CACHE).then((cache) => cache.addAll(fetched)));
});

addEventListener("activate", (event) => {
  const others = (names) => names.filter((name) => name.startsWith("gritwise-") && name !== CACHE);
  event.waitUntil(caches.keys().then((names) => Promise.all(others(names).map((name) => caches.delete(name)))));
});

addEventListener("fetch", (event) => {
  // The page under whatever name it is opened.
  const asked = event.request.mode === "navigate" ? "./" : event.request;
  const kept = caches.open(CACHE).then((cache) => cache.match(asked));
  event.respondWith(kept.then((found) => found ?? fetch(event.request)));
});
