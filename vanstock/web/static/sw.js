/**
 * Pages without signal, where the phone has the laptop's https address (a browser gives no worker to plain http): the
 * laptop first, and what was last seen when it does not answer, marked as old. Acts and everything else that is posted
 * never pass through here: the queue keeps those. Registered by queue.js.
 */
"use strict";

const STORE = "seen-1";
const SHELL = ["/", "/static/style.css", "/static/queue.js", "/static/acts.js", "/static/figures.js", "/static/page.js",
  "/static/waiting.js", "/static/find.js", "/static/leave.js",
  "/static/scan.js"]; // prettier-ignore
const NEVER = ["/act", "/find", "/pair"]; // a code that pairs is nothing to keep
const PATIENCE = 4000; // milliseconds: a laptop out of reach answers nothing at all, not even a refusal

self.addEventListener("install", (event) => event.waitUntil(fillShell()));
self.addEventListener("activate", (event) => event.waitUntil(dropOldStores().then(() => self.clients.claim())));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin || NEVER.includes(pathname)) return;
  if (request.mode === "navigate" || pathname.startsWith("/static/")) event.respondWith(laptopFirst(event));
  else if (request.headers.get("Accept") === "text/html") event.respondWith(fetchAndKeep(event)); // never old figures
});

async function fillShell() {
  const store = await caches.open(STORE);
  await Promise.allSettled(SHELL.map((path) => store.add(path)));
  await self.skipWaiting();
}

async function dropOldStores() {
  const names = await caches.keys();
  return Promise.all(names.filter((name) => name !== STORE).map((name) => caches.delete(name)));
}

async function fetchAndKeep(event) {
  const answer = await fetch(event.request);
  const unpaired = answer.redirected && new URL(answer.url).pathname === "/pair";
  if (unpaired) event.waitUntil(caches.delete(STORE)); // no longer this phone's to see
  if (answer.ok && !answer.redirected && answer.type === "basic") {
    const copy = answer.clone();
    event.waitUntil(caches.open(STORE).then((store) => store.put(event.request.url, copy)));
  }
  return answer;
}

async function laptopFirst(event) {
  const fresh = fetchAndKeep(event).catch(() => null);
  const answer = await Promise.race([fresh, new Promise((done) => setTimeout(done, PATIENCE, null))]);
  if (answer) return answer;
  const seen = await caches.match(event.request.url, { cacheName: STORE });
  if (seen) return event.request.mode === "navigate" ? markOld(seen) : seen;
  const sorry = "The laptop is out of reach, and this page was not opened before.";
  return (await fresh) ?? new Response(sorry, { status: 503, headers: { "Content-Type": "text/plain" } });
}

/** The same page, saying when it was seen; `data-old` has queue.js ask for a fresh one until it comes. */
async function markOld(seen) {
  const at = new Date(seen.headers.get("Date") ?? NaN);
  const when = Number.isNaN(at.getTime()) ? "earlier" : `at ${at.toLocaleString()}`;
  const note = `<p class="trouble" data-old>The laptop is out of reach: this page was seen ${when}.</p>`;
  const page = (await seen.text()).replace(/<main\b[^>]*>/, (start) => start + note);
  return new Response(page, { status: 200, headers: seen.headers });
}
