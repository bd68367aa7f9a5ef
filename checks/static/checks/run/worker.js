// The service worker: a run once opened can be opened again without a network, by the same person alone.
// It keeps the pages of one person at a time and forgets them at any log-in or log-out.
"use strict";

const SHELL = "weepwatch-shell";
const PAGES = "weepwatch-pages-";
const NAMES = "/kept-name"; // before the path of a page: what the check is called
const WAIT_MS = 6_000; // one bar of wifi: after that what is kept here is better than nothing
const SHIFT_MS = 12 * 3600 * 1000; // as long as a session lasts
let slowUntil = 0;

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

async function forget(but = "") {
  const names = (await caches.keys()).filter((name) => name.startsWith(PAGES) && name !== but);
  await Promise.all(names.map((name) => caches.delete(name)));
}

self.addEventListener("message", (event) => {
  if (event.data?.kind === "keep") event.waitUntil(keep(event.data));
});

async function keep({ person, page, name, shell }) {
  const own = `${PAGES}${person}`;
  await forget(own);
  const [pages, files] = await Promise.all([caches.open(own), caches.open(SHELL)]);
  const put = async (cache, address, good) => {
    const response = await fetch(address, { credentials: "same-origin" });
    if (response.ok && !response.redirected && good(response)) await cache.put(address, response);
  };
  await pages.put(`${NAMES}${page}`, new Response(name));
  await Promise.allSettled([
    put(pages, page, (response) => response.headers.get("X-Run-Person") === String(person)),
    ...shell.map((address) => put(files, address, () => true)),
  ]);
}

const late = (ms) => new Promise((_, reject) => setTimeout(() => reject(new Error("late")), ms));

/** From the network; from what is kept where the network fails or takes too long. */
async function networkFirst(request, kept) {
  if (!kept) return fetch(request);
  try {
    return await Promise.race([fetch(request), late(Date.now() < slowUntil ? 500 : WAIT_MS)]);
  } catch (error) {
    slowUntil = Date.now() + 30_000;
    return kept;
  }
}

async function keptPage(url) {
  for (const name of await caches.keys()) {
    if (!name.startsWith(PAGES)) continue;
    const found = await (await caches.open(name)).match(url.pathname);
    if (found && Date.now() - Date.parse(found.headers.get("Date") ?? 0) < SHIFT_MS) return found;
  }
  return null;
}

async function page(request) {
  const response = await networkFirst(request, await keptPage(new URL(request.url))).catch(() => nothing());
  const person = response.headers.get("X-Run-Person");
  if (person) await forget(`${PAGES}${person}`);
  return response;
}

/** No network and nothing kept of this page: the runs that are kept, in words. */
async function nothing() {
  const lines = [];
  for (const name of await caches.keys()) {
    if (!name.startsWith(PAGES)) continue;
    const pages = await caches.open(name);
    for (const { url } of await pages.keys()) {
      const path = new URL(url).pathname;
      if (path.startsWith(NAMES)) continue;
      const called = (await (await pages.match(NAMES + path))?.text()) ?? "A check opened on this phone";
      lines.push(`<li><a class="button" href="${path}">${called.replace(/[&<>"]/g, (sign) => `&#${sign.charCodeAt(0)};`)}</a></li>`);
    }
  }
  const styles = (await (await caches.open(SHELL)).keys()).filter(({ url }) => url.includes("/weepwatch") && url.endsWith(".css"));
  const links = styles.map(({ url }) => `<link rel="stylesheet" href="${new URL(url).pathname}">`).join("");
  const words = lines.length ? `<p>These open without a network:</p><ul class="messages">${lines.join("")}</ul>` : "<p>Try again where there is one.</p>";
  const body = `<!doctype html><html lang="en-gb"><meta charset="utf-8"><meta name="viewport" content="width=device-width">` +
    `<meta name="color-scheme" content="light dark"><title>No network</title>${links}<body class="roomy"><main><h1>No network</h1><p>This page can't be reached now. Nothing kept on this phone is lost.</p>${words}</main></html>`;
  const headers = { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": "default-src 'none'; style-src 'self'" };
  return new Response(body, { status: 503, headers });
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  if (request.method === "POST" && /\/(login|logout)\/$/.test(url.pathname)) event.waitUntil(forget());
  else if (request.method !== "GET") return;
  else if (request.mode === "navigate") event.respondWith(page(request));
  else if (url.pathname.startsWith("/static/"))
    event.respondWith(caches.match(request.url).then((kept) => networkFirst(request, kept)));
});
