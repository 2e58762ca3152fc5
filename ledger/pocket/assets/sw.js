/* The page from the server where it answers in time, and else as it was kept. BUILD and NAMES, what
to keep, are written before this script. */

const OWN = `pocket ${self.registration.scope} `;
const CACHE = `${OWN}${BUILD}`;
const FILES = NAMES.map((name) => new URL(name, self.registration.scope).href);
const WAIT_MS = 3000;

self.addEventListener("install", (event) => event.waitUntil(keepAll()));
self.addEventListener("activate", (event) => event.waitUntil(dropOlder()));
self.addEventListener("fetch", (event) => {
  const address = event.request.url.replace(/[?#].*/, "");
  if (event.request.method === "GET" && FILES.includes(address)) {
    event.respondWith(networkFirst(event.request, address));
  }
});

async function keepAll() {
  const cache = await caches.open(CACHE);
  await cache.addAll(FILES.map((address) => new Request(address, { cache: "reload" })));
  await self.skipWaiting();
}

/* Other sites may share the origin: only what an earlier build of this one kept. */
async function dropOlder() {
  const names = await caches.keys();
  const older = names.filter((name) => name.startsWith(OWN) && name !== CACHE);
  await Promise.all(older.map((name) => caches.delete(name)));
  await self.clients.claim();
}

async function networkFirst(request, address) {
  const cache = await caches.open(CACHE);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(WAIT_MS) });
    if (answer.ok) {
      await cache.put(address, answer.clone());
      return answer;
    }
  } catch {
    // No network, no server, or too slow: what is kept is there.
  }
  return (await cache.match(address)) ?? Response.error();
}
