/**
 * Opens the page without signal: the shell (styles, scripts, icons) from the cache, screens from the node
 * and else as they were last seen. It sends the queue when the browser wakes it. It never keeps what is
 * posted, and forgets the screens when the session is closed.
 */

import { sendNow, tell } from "./static/sending.js";

/** The node puts a digest of all the shell's files here, so that new files make a new cache. */
const SHELL = "shell-development";
const SCREENS = "screens";
const SHELL_FILES = [
  "/manifest.webmanifest",
  "/static/page.css",
  "/static/made.css",
  "/static/unsent.html",
  "/static/icon.svg",
  "/static/icon-192.png",
  "/static/page.js",
  "/static/announce.js",
  "/static/dials.js",
  "/static/export.js",
  "/static/forms.js",
  "/static/install.js",
  "/static/live.js",
  "/static/make.js",
  "/static/moment.js",
  "/static/morph.js",
  "/static/node.js",
  "/static/now.js",
  "/static/offline.js",
  "/static/photos.js",
  "/static/queue.js",
  "/static/sending.js",
  "/static/shelf.js",
  "/static/waiting.js",
];
/** With a screen in the cache, nobody waits longer than this for a bar of signal. */
const PATIENCE_MS = 4_000;
/** A screen that was kept unseen is fetched anew after so long. */
const STALE_MS = 24 * 3_600_000;
/** What is no screen, or is never kept: a link that joins works once. */
const NEVER_KEPT = /^\/(join|live|uploads|photos)(\/|$)/;
/** Where the node sends a browser without a session. */
const DOOR = "/join";

self.addEventListener("install", (event) => {
  event.waitUntil(fillShell().then(() => self.skipWaiting()));
});

self.addEventListener("activate", (event) => {
  const clean = async () => {
    const old = (await caches.keys()).filter((name) => name !== SHELL && name !== SCREENS);
    await Promise.all(old.map((name) => caches.delete(name)));
    await self.clients.claim();
  };
  event.waitUntil(clean());
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== self.location.origin) return;
  if (request.mode === "navigate" && url.pathname === DOOR) event.waitUntil(caches.delete(SCREENS));
  if (SHELL_FILES.includes(url.pathname)) event.respondWith(shellFile(request));
  else if (NEVER_KEPT.test(url.pathname)) return;
  else if (request.mode === "navigate") event.respondWith(screen(event, true));
  else if (request.headers.has("X-Refresh")) event.respondWith(screen(event, false));
});

/** A page asks whether it can be opened without signal, and is answered once it can, or that it can't yet. */
self.addEventListener("message", (event) => {
  const answer = (isReady) => event.ports[0].postMessage({ isReady });
  event.waitUntil(getReady(event.data.screens).then(() => answer(true), () => answer(false)));
});

self.addEventListener("sync", (event) => {
  if (event.tag === "send") event.waitUntil(sendInBackground());
});

/** All files or none: a page with half of its scripts is worse than none. */
async function fillShell() {
  const cache = await caches.open(SHELL);
  const kept = await Promise.all(SHELL_FILES.map((path) => cache.match(path)));
  const missing = SHELL_FILES.filter((_, place) => !kept[place]);
  await cache.addAll(missing.map((path) => new Request(path, { cache: "no-cache" })));
}

/**
 * Takes charge of every page that is open, and keeps screens that were not opened yet.
 * @param {string[]} addresses
 */
async function getReady(addresses) {
  // A page whose address was asked for before this worker was active, and that was not there yet when it
  // became so, was overlooked then.
  await self.clients.claim();
  await fillShell();
  const cache = await caches.open(SCREENS);
  for (const address of addresses) {
    const kept = await cache.match(address);
    if (kept && Date.now() - Date.parse(kept.headers.get("X-Heard-At") ?? "") < STALE_MS) continue;
    const response = await fetch(address, { headers: { Accept: "text/html", "X-Unseen": "1" }, redirect: "manual" });
    if (isScreen(response)) await keep(address, response);
  }
}

/** Fails if something is left, so that the browser wakes the worker again. */
async function sendInBackground() {
  const report = await sendNow();
  if (report.stopped === "unreachable") throw new Error("the node is not reached");
}

/** @param {Request} request */
async function shellFile(request) {
  const cache = await caches.open(SHELL);
  return (await cache.match(request, { ignoreSearch: true })) ?? fetch(request);
}

/**
 * A screen from the node, and as it was last seen if the node can't be reached.
 * @param {FetchEvent} event
 * @param {boolean} mayBeOld
 */
async function screen(event, mayBeOld) {
  const fetched = fromNode(event);
  if (!mayBeOld) return fetched;
  const cache = await caches.open(SCREENS);
  const kept = await cache.match(event.request.url);
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE_MS));
  const first = await Promise.race([fetched, ...(kept ? [late] : [])]).catch(() => undefined);
  if (first) return first;
  if (!kept) return (await caches.match("/static/unsent.html")) ?? Response.error();
  event.waitUntil(fetched.catch(() => undefined));
  return asLastHeard(kept);
}

/** @param {FetchEvent} event */
async function fromNode(event) {
  const response = await fetch(event.request);
  if (response.status === 401) {
    await caches.delete(SCREENS);
    tell("closed");
  } else if (isScreen(response)) {
    const copy = response.clone();
    event.waitUntil(keep(event.request.url, copy));
  }
  return response;
}

/** @param {Response} response */
function isScreen(response) {
  const isHtml = response.headers.get("Content-Type")?.startsWith("text/html");
  return response.status === 200 && response.type === "basic" && !response.redirected && isHtml;
}

/** @param {string} url @param {Response} response */
async function keep(url, response) {
  const headers = new Headers(response.headers);
  headers.set("X-Heard-At", new Date().toISOString());
  const cache = await caches.open(SCREENS);
  await cache.put(url, new Response(await response.blob(), { status: 200, headers }));
}

/**
 * Writes into the page when it was true. Only the scripts read it.
 * @param {Response} kept
 */
async function asLastHeard(kept) {
  const heardAt = kept.headers.get("X-Heard-At") ?? "";
  const html = (await kept.text()).replace("<body", `<body data-heard-at="${heardAt}"`);
  return new Response(html, { headers: kept.headers });
}
