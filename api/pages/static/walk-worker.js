// Answers for the server where there is no signal: the walk-round's own page, its scripts and pictures, nothing else.
// Answers that people give are kept by the page itself; no request that changes anything passes through here.

const CACHE = `walk-round ${self.location.search}`;
const PATIENCE = 4000; // ms that the server is waited for before the kept page is shown

self.addEventListener("install", () => self.skipWaiting());

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      for (const name of await caches.keys()) if (name !== CACHE && name.startsWith("walk-round")) await caches.delete(name);
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("message", (event) => {
  const { keep, from } = event.data ?? {};
  if (keep) event.waitUntil(kept(keep).then((whole) => event.source.postMessage({ whole, from })));
});

/** Fetches what the page needs; whether all of it is there. */
async function kept(addresses) {
  const cache = await caches.open(CACHE);
  const found = await Promise.all(
    addresses.map(async (address) => {
      if (address.startsWith("/static/") && (await cache.match(address))) return true;
      try {
        const answer = await fetch(address, { credentials: "same-origin", redirect: "error" });
        if (answer.ok) await cache.put(address, answer);
      } catch {
        // no signal; what was kept before stands
      }
      return Boolean(await cache.match(address));
    }),
  );
  return found.every(Boolean);
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (request.method !== "GET" || origin !== self.location.origin) return;
  if (request.mode === "navigate" && /^\/unit\/[^/]+\/walk-round$/.test(pathname)) event.respondWith(pageOf(request, pathname));
  else if (pathname.startsWith("/static/")) event.respondWith(fileOf(request));
});

async function pageOf(request, pathname) {
  const cache = await caches.open(CACHE);
  const before = await cache.match(pathname);
  try {
    const answer = await fetch(request, before ? { signal: AbortSignal.timeout(PATIENCE) } : {});
    if (answer.ok) await cache.put(pathname, answer.clone());
    return answer.status >= 500 && before ? before : answer;
  } catch (error) {
    if (before) return before;
    throw error;
  }
}

async function fileOf(request) {
  const found = await (await caches.open(CACHE)).match(request.url, { ignoreVary: true });
  return found ?? fetch(request);
}
