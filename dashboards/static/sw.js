/* Service worker: the rack, pages as they were last seen, and the help open without a network. */
"use strict";
const FILES = "solespan-files-1";
const PAGES = "solespan-pages-1";
const HELP = { cache: "solespan-help", pages: [] }; // the service fills in its help pages
const MOST_PAGES = 14;
const THUMB = "/thumb";
const KEPT_MS = 12 * 3600 * 1000;

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
  return ["/", THUMB, "/worn"].includes(url.pathname) || /^\/(pairs|worn)\/[^/]+$/.test(url.pathname);
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

/* With the rack comes the form of a thumb check, so that a check can be logged in a cellar. */
async function keepThumbForm(origin) {
  const url = new URL(THUMB, origin);
  const old = await (await caches.open(PAGES)).match(nameOf(url));
  if (old && Date.now() - Date.parse(old.headers.get("date")) < KEPT_MS) return;
  const answer = await fetch(url, { headers: { accept: "text/html" } });
  if (!answer.ok || answer.redirected) return;
  const text = await answer.clone().text();
  await keep(url, answer);
  for (const [, asset] of text.matchAll(/(?:href|src)="(\/assets\/[^"]+)"/g)) await file(new Request(new URL(asset, origin)));
}

/* A copy says that it is one, and of when. */
async function copyOf(found) {
  const at = new Date(found.headers.get("date") || Date.now());
  const words = `Offline. This is a copy of ${at.toLocaleDateString()}, ${at.toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" })}.`;
  const strip = `<p class="strip" id="copy" role="status">${words}</p>`;
  const text = (await found.text()).replace(/<main [^>]*>/, (main) => main + strip);
  const headers = new Headers(found.headers);
  headers.delete("content-encoding");
  headers.delete("content-length");
  return new Response(text, { status: found.status, headers });
}

/* No other page stands under an address that has no copy. */
function noCopy() {
  const text = '<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>Offline</title><main id="main"><h1>Offline</h1><p>This page has no copy on this device.</p><p><a href="/">The rack</a> and <a href="/thumb">the thumb check</a> have one once they were opened with a network.</p></main>';
  return new Response(text, { status: 503, headers: { "content-type": "text/html; charset=utf-8" } });
}

async function page(event, url) {
  const request = event.request;
  try {
    const answer = await fetch(request);
    if (kept(url) && answer.ok && !answer.redirected) {
      await keep(url, answer.clone());
      if (url.pathname === "/") event.waitUntil(keepThumbForm(url.origin).catch(() => {}));
    }
    return answer;
  } catch {
    if (HELP.pages.includes(url.pathname)) {
      const chapter = await (await caches.open(HELP.cache)).match(url.pathname);
      if (chapter) return chapter;
    }
    const guided = /^\/pairs\/([^/]+)\/thumb$/.exec(url.pathname);
    if (guided) return Response.redirect(`${THUMB}?pair=${guided[1]}`);
    const cache = await caches.open(PAGES);
    const names = await cache.keys();
    const racks = url.pathname === "/" ? names.filter((name) => new URL(name.url).pathname === "/").reverse() : [];
    const found = (await cache.match(nameOf(url))) || (racks.length && (await cache.match(racks[0])));
    return found ? copyOf(found) : noCopy();
  }
}

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== self.location.origin) return;
  if (url.pathname.startsWith("/assets/")) event.respondWith(file(event.request));
  else if (event.request.mode === "navigate") event.respondWith(page(event, url));
});

/* Whoever leaves takes along what was seen: pages ask for this when somebody signs out. */
self.addEventListener("message", (event) => {
  if (event.data === "forget") event.waitUntil(caches.delete(PAGES));
});

/* A reminder that the service sent; a tap on it opens the rack. */
self.addEventListener("push", (event) => {
  const said = event.data?.json() || { title: "solespan", body: "" };
  event.waitUntil(self.registration.showNotification(said.title, { body: said.body, tag: "reminder" }));
});
self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(self.clients.openWindow("/"));
});
