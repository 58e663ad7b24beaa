// Lets the program open without a signal: one page that holds nothing of the club, and what it needs to be drawn. What a
// member sees is never kept here; where the server cannot be reached, every address leads to that page.
"use strict";

const VERSION = new URL(self.location.href).search;
const CACHE = `undercroft${VERSION}`;
const BASE = new URL(self.registration.scope).pathname;
const SHELL = `${BASE}phone`;
const FILES = ["undercroft.css", "print.css", "outbox.js", "undercroft.js", "scan.js", "phone.js", "mark.svg"];

self.addEventListener("install", (event) => {
  event.waitUntil(
    (async () => {
      const cache = await caches.open(CACHE);
      await cache.addAll(FILES.map((name) => `${BASE}static/${name}${VERSION}`));
      // Without a cookie, so that nobody's name is on it.
      const shell = await fetch(SHELL, { credentials: "omit", cache: "no-store" });
      if (!shell.ok) throw new Error("the page is not there");
      await cache.put(SHELL, shell);
      await self.skipWaiting();
    })(),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      for (const name of await caches.keys()) if (name !== CACHE) await caches.delete(name);
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (pathname.startsWith(`${BASE}static/`)) {
    event.respondWith(caches.match(request).then((found) => found ?? fetch(request)));
  } else if (request.mode === "navigate") {
    event.respondWith(fetch(request).catch(async () => (await caches.match(SHELL)) ?? Response.error()));
  }
});
