/* Keeps the visit sheet's own files, and nothing that belongs to anybody: no answer of the API, no signed-in page.
   A new version waits until no sheet is open, so that none changes under a visit. */

const NAME = "sheet-{{ version }}";
const KEPT = {{ kept|safe }};
const ICON = "{{ icon|escapejs }}";

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

// A message comes encrypted for this phone. One that was told already has the same id and takes its place.
self.addEventListener("push", (event) => {
  let message = {};
  try {
    message = event.data?.json() ?? {};
  } catch {
    // A message that cannot be read is shown as well: the browser ends subscriptions that show nothing.
  }
  const shown = { body: message.text ?? "", tag: message.id ?? "", requireInteraction: message.is_danger === true, icon: ICON };
  event.waitUntil(self.registration.showNotification(message.title ?? "Gaugeglass", shown));
});

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(self.clients.openWindow("/alerts/"));
});

self.addEventListener("fetch", (event) => {
  const address = new URL(event.request.url);
  const isKept = address.origin === self.location.origin && KEPT.includes(address.pathname);
  if (event.request.method !== "GET" || !isKept) return;
  const find = async () => (await caches.open(NAME)).match(address.pathname);
  event.respondWith(find().then((kept) => kept ?? fetch(event.request)));
});
