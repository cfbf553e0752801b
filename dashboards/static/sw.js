/* Service worker: the rack, pages as they were last seen, and the help open without a network. */
"use strict";
const FILES = "solespan-files-1";
const PAGES = "solespan-pages-1";
const HELP = { cache: "solespan-help", pages: [] }; // the service fills in its help pages
const MOST_PAGES = 12;

/* The user's guide is kept at once: it is the same for everybody, and holds no record. */
self.addEventListener("install", (event) => {
  self.skipWaiting();
  event.waitUntil(caches.open(HELP.cache).then((cache) => cache.addAll(HELP.pages)).catch(() => {}));
});
self.addEventListener("activate", (event) => {
  event.waitUntil((async () => {
    for (const name of await caches.keys()) {
      if (name.startsWith("solespan-") && ![FILES, PAGES, HELP.cache].includes(name)) await caches.delete(name);
    }
    await self.clients.claim();
  })());
});

/* What may be shown again without a network: the rack and pairs, nothing with an answer in it. */
function kept(url) {
  if (url.searchParams.has("done")) return false;
  return url.pathname === "/" || /^\/pairs\/[^/]+$/.test(url.pathname);
}

function nameOf(url) {
  const plain = new URL(url.pathname, url.origin);
  for (const name of ["wearer", "band", "q"]) {
    const value = url.searchParams.get(name);
    if (value) plain.searchParams.set(name, value);
  }
  return plain.href;
}

async function file(request) {
  const cache = await caches.open(FILES);
  const found = await cache.match(request);
  if (found) return found;
  const answer = await fetch(request);
  if (answer.ok) await cache.put(request, answer.clone());
  return answer;
}

async function keep(url, answer) {
  const cache = await caches.open(PAGES);
  await cache.delete(nameOf(url));
  await cache.put(nameOf(url), answer);
  const names = await cache.keys();
  for (const old of names.slice(0, Math.max(0, names.length - MOST_PAGES))) await cache.delete(old);
}

async function page(request, url) {
  try {
    const answer = await fetch(request);
    if (kept(url) && answer.ok && !answer.redirected) await keep(url, answer.clone());
    return answer;
  } catch (failure) {
    if (HELP.pages.includes(url.pathname)) {
      const chapter = await (await caches.open(HELP.cache)).match(url.pathname);
      if (chapter) return chapter;
    }
    const cache = await caches.open(PAGES);
    const names = await cache.keys();
    const racks = names.filter((name) => new URL(name.url).pathname === "/").reverse();
    const found = (await cache.match(nameOf(url))) || (racks.length && (await cache.match(racks[0])));
    if (found) return found;
    throw failure;
  }
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/assets/")) event.respondWith(file(event.request));
  else if (event.request.mode === "navigate") event.respondWith(page(event.request, url));
});

/* Whoever leaves takes along what was seen: pages ask for this when somebody signs out. */
self.addEventListener("message", (event) => {
  if (event.data === "forget") event.waitUntil(caches.delete(PAGES));
});
