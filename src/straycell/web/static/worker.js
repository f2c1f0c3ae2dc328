"use strict";
/* Keeps the pages that were opened, for when there is no network. It never answers from them while there is one, and
   it keeps nothing that is sent: the page itself does that. */
const KEPT = "straycell-pages-2", MOST = 80;
const FILES = ["/static/page.css", "/static/page.js", "/static/icon.svg", "/offline"];

self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(KEPT).then((cache) => cache.addAll(FILES)).then(() => self.skipWaiting()));
});
self.addEventListener("activate", (event) => {
  event.waitUntil(
    caches.keys()
      .then((names) => Promise.all(names.filter((name) => name !== KEPT).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

self.addEventListener("message", (event) => event.waitUntil(self.clients.claim()));

async function keep(request, answer) {
  const cache = await caches.open(KEPT);
  await cache.put(request, answer);
  const kept = (await cache.keys()).filter((each) => !FILES.includes(new URL(each.url).pathname));
  for (const old of kept.slice(0, Math.max(0, kept.length - MOST))) await cache.delete(old);
}

async function answer(request) {
  const path = new URL(request.url).pathname;
  try {
    const found = await fetch(request);
    const once = found.headers.get("x-once") || found.redirected || !found.ok || found.type !== "basic";
    if (!once && path !== "/pair") await keep(request, found.clone());
    return found;
  } catch (fault) {
    const kept = await caches.match(request);
    if (kept) return kept;
    if (request.mode === "navigate") return caches.match("/offline");
    throw fault;
  }
}

self.addEventListener("fetch", (event) => {
  const path = new URL(event.request.url).pathname;
  if (event.request.method !== "GET" || path === "/alive" || /^\/(api|photograph|picture)\//.test(path)) return;
  event.respondWith(answer(event.request));
});
