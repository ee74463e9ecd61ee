/**
 * Pages without signal, where the phone has the computer's https address (a browser gives no worker to plain http): the
 * computer first, and what was last seen when it does not answer, marked as old. Acts and everything else that is posted
 * never pass through here: the queue keeps those. Registered by queue.js.
 */
"use strict";

const STORE = "seen-VERSION"; // of all our files, put in by the computer: no old page meets a newer script
const SHELL = ["/", "/static/style.css", "/static/queue.js", "/static/acts.js", "/static/figures.js", "/static/page.js",
  "/static/waiting.js", "/static/find.js", "/static/leave.js", "/static/amounts.js", "/static/scan.js",
  "/static/steps.js"]; // prettier-ignore
const NEVER = ["/act", "/find", "/pair", "/authority.crt"]; // a code that pairs is nothing to keep
const MOST = 60; // pages
const PATIENCE = 4000; // milliseconds: a computer out of reach answers nothing at all, not even a refusal
const SORRY = `<!doctype html><html lang="en"><meta charset="utf-8"><title>Out of reach</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><link rel="stylesheet" href="/static/style.css">
<main><h1>Out of reach</h1><p class="trouble">The computer is out of reach, and this page was not opened before.</p>
<p><a class="button" href="/">Today</a></p></main></html>`;

self.addEventListener("install", (event) => event.waitUntil(fetchAll(SHELL).then(() => self.skipWaiting())));
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));
self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin || NEVER.includes(pathname)) return;
  if (request.mode === "navigate" || pathname.startsWith("/static/")) event.respondWith(computerFirst(event));
  else if (request.headers.get("Accept") === "text/html") event.respondWith(fetchAndKeep(event)); // never old figures
});

const fetchAll = (addresses) => Promise.allSettled(addresses.map(async (one) => keep(one, await fetch(one))));

/** Drop what an older version kept, and keep the pages that are open, which came before there was a worker. */
async function takeOver() {
  const names = await caches.keys();
  await Promise.all(names.filter((name) => name !== STORE).map((name) => caches.delete(name)));
  await self.clients.claim();
  const open = (await self.clients.matchAll({ type: "window" })).map((client) => client.url);
  await fetchAll(open.filter((url) => ![...NEVER, "/"].includes(new URL(url).pathname)));
}

/** Keep a page or file of ours, and no more pages than the latest. */
async function keep(address, answer) {
  if (!answer.ok || answer.redirected || answer.type !== "basic") return;
  const store = await caches.open(STORE);
  await store.put(address, answer);
  const pages = (await store.keys()).filter(({ url }) => !new URL(url).pathname.startsWith("/static/"));
  await Promise.all(pages.slice(0, -MOST).map((page) => store.delete(page)));
}

async function fetchAndKeep(event) {
  const { url } = event.request;
  const answer = await fetch(event.request);
  const moved = answer.redirected || answer.type === "opaqueredirect";
  event.waitUntil(moved ? forgetIfUnpaired(url) : keep(url, answer.clone()));
  return answer;
}

/** What was seen is no longer this phone's to see once its pages lead to pairing. A page that a person opens does not
 * say where it leads, so that this asks again. */
async function forgetIfUnpaired(address) {
  const answer = await fetch(address, { headers: { Accept: "text/html" }, cache: "no-store" });
  if (new URL(answer.url).pathname === "/pair") await caches.delete(STORE);
}

async function computerFirst(event) {
  const fresh = fetchAndKeep(event).catch(() => null);
  event.waitUntil(fresh); // also when what was seen is shown in the meantime
  const answer = await Promise.race([fresh, new Promise((done) => setTimeout(done, PATIENCE, null))]);
  if (answer) return answer;
  const seen = await caches.match(event.request.url, { cacheName: STORE });
  if (seen) return event.request.mode === "navigate" ? markOld(seen) : seen;
  const headers = { "Content-Type": "text/html", "Content-Security-Policy": "default-src 'none'; style-src 'self'" };
  return (await fresh) ?? new Response(SORRY, { status: 503, headers });
}

/** The same page, saying when it was seen; `data-old` has queue.js ask for a fresh one until it comes. */
async function markOld(seen) {
  const at = new Date(seen.headers.get("Date") ?? NaN);
  const when = Number.isNaN(at.getTime()) ? "earlier" : `at ${at.toLocaleString()}`;
  const note = `<p class="trouble" data-old>The computer is out of reach: this page was seen ${when}.</p>`;
  const page = (await seen.text()).replace(/<main\b[^>]*>/, (start) => start + note);
  return new Response(page, { status: 200, headers: seen.headers });
}
