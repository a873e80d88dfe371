// Keeps the page on the phone by the hashes of its parts, which the hub writes
// before this script as `shell`: {version, page: sha256 of /phone, files: [path]}.
// All of one version are stored, or none. What is asked of the hub's own paths it
// never touches.
/* global shell */
const name = "earlyage-" + shell.version;

self.addEventListener("install", (event) => event.waitUntil(fill()));

async function fill() {
  const cache = await caches.open(name);
  const page = await get("/phone");
  const text = await page.clone().arrayBuffer();
  const sum = new Uint8Array(await crypto.subtle.digest("SHA-256", text));
  const hex = Array.from(sum, (b) => b.toString(16).padStart(2, "0")).join("");
  if (hex !== shell.page) throw new Error("the page is not the one of this version");
  await cache.put("/phone", page);
  await Promise.all(shell.files.map(async (path) => cache.put(path, await get(path))));
}

async function get(path) {
  const r = await fetch(path, { cache: "no-cache", credentials: "omit" });
  if (!r.ok || r.redirected) throw new Error(`${path}: ${r.status}`);
  return r;
}

self.addEventListener("activate", (event) => event.waitUntil(tidy()));

async function tidy() {
  for (const other of await caches.keys()) if (other.startsWith("earlyage-") && other !== name) await caches.delete(other);
  await self.clients.claim();
}

self.addEventListener("message", (event) => {
  if (event.data === "take over") self.skipWaiting();
});

self.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  const isPage = event.request.mode === "navigate" && url.pathname === "/phone";
  if (!isPage && !shell.files.includes(url.pathname)) return;
  const path = isPage ? "/phone" : url.pathname;
  event.respondWith(caches.open(name).then((c) => c.match(path)).then((hit) => hit ?? fetch(event.request)));
});

// ---- What the hub tells while no page is open. The message is put where the page
// finds it: only the page can show it, and say that it was shown.

const pushed = "told";

self.addEventListener("push", (event) => event.waitUntil(tell(event)));

async function tell(event) {
  let m;
  try {
    m = event.data.json();
  } catch {
    return; // from no hub
  }
  if (typeof m?.id !== "string" || typeof m.first !== "string") return;
  const cache = await caches.open(pushed);
  await cache.put("/phone/told/" + encodeURIComponent(m.id), new Response(JSON.stringify(m)));
  await self.registration.showNotification(m.first, {
    body: m.short && m.short !== m.first ? m.short : "", tag: m.alerts?.[0] ?? m.id, renotify: true,
    requireInteraction: !!m.urgent, timestamp: Date.parse(m.at) || Date.now(), data: { id: m.id, link: m.link ?? "" },
    ...(m.urgent ? { vibrate: [500, 200, 500, 200, 500] } : {}),
  });
  await say({ told: m.id });
}

/** Tells the pages that are open. */
async function say(message) {
  const all = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  const phones = all.filter((c) => new URL(c.url).pathname === "/phone");
  for (const c of phones) c.postMessage(message);
  return phones;
}

self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(open(event.notification.data?.id ?? ""));
});

async function open(id) {
  const [first] = await say({ told: id });
  if (first) return first.focus().catch(() => {}); // a browser may not let it; the page has the message
  return self.clients.openWindow("/phone");
}

// The page knows the hub and has its key: it gives the hub the new one, when it is
// open or opened next.
self.addEventListener("pushsubscriptionchange", (event) => event.waitUntil(say({ subscription: true })));
