/* The service worker: keeps the shell (MARK, SHELL and SHELL_PAGE stand above) and the pages of open jobs.
   It never touches what is posted: entries belong to the page's outbox. */
"use strict";

const SHELL_CACHE = "countback-shell-" + MARK;
const PAGES = "countback-pages-" + MARK;
const WAIT_MS = 5000;
/* Pages that are worked without a network: where they are kept, without what follows the question mark. */
const KEPT = /^\/jobs\/[^/]+\/(bench|bench\/pause|trouble)$/;

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(SHELL_CACHE)
      .then(async (cache) => {
        await cache.addAll(SHELL);
        const page = await fetch(SHELL_PAGE, { cache: "no-cache" });
        if (!page.ok) throw new Error("no shell page");
        await withItsFiles(await page.clone().text());
        await cache.put(SHELL_PAGE, page);
      })
      .then(() => self.skipWaiting())
  );
});

/* Styles, scripts and the icon that a page names are kept with it. */
async function withItsFiles(text) {
  const cache = await caches.open(SHELL_CACHE);
  const named = new Set([...text.matchAll(/(?:href|src)="(\/static\/[^"]+)"/g)].map((found) => found[1].replaceAll("&amp;", "&")));
  await Promise.all([...named].map(async (url) => (await cache.match(url)) || cache.add(url)));
}

self.addEventListener("activate", (event) => event.waitUntil(takeOver()));

/* Pages of an older version name files of an older shell: they are fetched anew before the old ones go. */
async function takeOver() {
  const mine = await caches.open(PAGES);
  for (const name of await caches.keys()) {
    if (name.startsWith("countback-pages-") && name !== PAGES) {
      const old = await caches.open(name);
      const fetched = await Promise.all((await old.keys()).map((request) => renew(mine, request.url)));
      if (fetched.every(Boolean)) await caches.delete(name);
    }
  }
  const left = (await caches.keys()).some((name) => name.startsWith("countback-pages-") && name !== PAGES);
  for (const name of await caches.keys()) {
    if (!left && name.startsWith("countback-shell-") && name !== SHELL_CACHE) await caches.delete(name);
  }
  await self.clients.claim();
}

async function renew(cache, url) {
  try {
    return await keep(cache, url, await fetch(url, { credentials: "same-origin", redirect: "manual" }));
  } catch {
    return false;
  }
}

/* Keep a page of ours and nothing else: a captive portal answers 200 as well. */
async function keep(cache, url, response) {
  if (!response.ok || response.redirected) return false;
  const text = await response.clone().text();
  if (!text.includes('name="countback-tap"')) return false;
  await withItsFiles(text);
  await cache.put(url, response);
  return true;
}

self.addEventListener("message", (event) => {
  const urls = event.data?.keep;
  if (!urls) return;
  event.waitUntil(caches.open(PAGES).then((cache) => Promise.all(urls.map((url) => renew(cache, new URL(url, location.origin).href)))));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(fromShell(request));
  else if (request.mode === "navigate") event.respondWith(navigate(event, url));
});

async function fromShell(request) {
  const found = await caches.match(request);
  if (found) return found;
  return fetch(request);
}

const keepCopy = async (key, response) => keep(await caches.open(PAGES), key, response).catch(() => false);

async function navigate(event, url) {
  const { request } = event;
  const isKept = KEPT.test(url.pathname);
  const key = url.origin + url.pathname;
  const copy = isKept ? await caches.match(key) : undefined;
  const patience = copy ? AbortSignal.timeout(WAIT_MS) : undefined;
  try {
    const response = await fetch(request, patience ? { signal: patience } : {});
    if (response.status >= 502 && response.status <= 504 && copy) return marked(copy);
    if (isKept && !url.search) event.waitUntil(keepCopy(key, response.clone()));
    return response;
  } catch {
    if (copy) return marked(copy);
    return (await caches.match(SHELL_PAGE)) || Response.error();
  }
}

/* The copy may be steps behind: the page says so to its script, which shows it only when it is right again. */
async function marked(copy) {
  const text = (await copy.text()).replace("<html ", "<html data-kept ");
  return new Response(text, { status: 200, headers: copy.headers });
}
