// Keeps one household's page and its few files. The network comes first; the
// store answers only without it. A link that was withdrawn empties the store.
const store = "roof-" + self.registration.scope;
const files = ["/home/-/home.css", "/home/-/home.js", "/home/-/icon.svg"];
const page = new URL(self.registration.scope).pathname.replace(/\/$/, "");
self.addEventListener("install", (e) => {
  e.waitUntil(caches.open(store).then((c) => c.addAll([...files, page])).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (e) => e.waitUntil(self.clients.claim()));
self.addEventListener("fetch", (e) => {
  const u = new URL(e.request.url);
  if (e.request.method !== "GET" || u.origin !== location.origin || !(u.pathname === page || files.includes(u.pathname))) return;
  e.respondWith(
    fetch(e.request).then((answer) => {
      if (answer.ok) {
        const copy = answer.clone();
        e.waitUntil(caches.open(store).then((c) => c.put(u.pathname, copy)));
      } else if (answer.status === 404 && u.pathname === page) {
        e.waitUntil(caches.delete(store));
      }
      return answer;
    }).catch(async () => (await (await caches.open(store)).match(u.pathname)) ?? Response.error()),
  );
});
