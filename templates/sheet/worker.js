/* Keeps the visit sheet's own files, and nothing that belongs to anybody: no answer of the API, no signed-in page.
   A new version waits until no sheet is open, so that none changes under a visit. */

const NAME = "sheet-{{ version }}";
const KEPT = {{ kept|safe }};

self.addEventListener("install", (event) => {
  const requests = KEPT.map((address) => new Request(address, { cache: "no-cache" }));
  event.waitUntil(caches.open(NAME).then((cache) => cache.addAll(requests)));
});

self.addEventListener("activate", (event) => {
  const drop = async () => {
    const older = (await caches.keys()).filter((name) => name.startsWith("sheet-") && name !== NAME);
    await Promise.all(older.map((name) => caches.delete(name)));
  };
  event.waitUntil(drop().then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  const isKept = address.origin === self.location.origin && KEPT.includes(address.pathname);
  if (event.request.method !== "GET" || !isKept) return;
  const find = async () => (await caches.open(NAME)).match(address.pathname);
  event.respondWith(find().then((kept) => kept ?? fetch(event.request)));
});
