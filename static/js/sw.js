// What is there when the book is not: the shell of every page, and the pages of the hull that is open.
//
// The book serves this file at /sw.js with `self.SHELL` (every file the pages are made of) and `self.GENERATION` (the
// hash of that list) written before it. What is posted goes by untouched.

const SHELL_CACHE = `hullbook-shell-${self.GENERATION}`;
const PAGES_CACHE = `hullbook-pages-${self.GENERATION}`;
const WAITING_PAGE = "/tablet/waiting/";
const SETTING_UP_PAGE = "/tablet/setting-up/";
const TIME_OUT_MS = 4000;
const FRESH_MS = 5 * 60_000;
const KEPT_AT = "hb-kept-at";
const KEPT_JSON = /(^\/tablet\/state\/|\/sheet\.json)$/;

/** How a request is answered: "shell", "page", "json" or "" (left to the browser). */
function wayOf({ method, mode, cache, path, isFragment }) {
  if (method !== "GET" || cache === "no-store") return "";
  if (self.SHELL.includes(path)) return "shell";
  if (mode === "navigate") return "page";
  if (KEPT_JSON.test(path)) return "json";
  return isFragment ? "fragment" : "";
}

/** Whether a kept address may stay when `hull` is the one that is open. */
function mayStay(path, hull) {
  const found = path.match(/^\/hulls\/([^/]+)\//);
  return !found || decodeURIComponent(found[1]) === hull;
}

async function store(key, answer) {
  const headers = new Headers(answer.headers);
  headers.set(KEPT_AT, String(Date.now()));
  headers.delete("set-cookie");
  const body = await answer.blob();
  const pages = await caches.open(PAGES_CACHE);
  await pages.put(key, new Response(body, { status: 200, headers }));
}

/** What the book answers in time; null after four seconds without a word. */
function inTime(asked) {
  return Promise.race([asked, new Promise((resolve) => setTimeout(() => resolve(null), TIME_OUT_MS))]);
}

/** One of the two generations of pages kept, the newer first. */
async function kept(key) {
  const names = (await caches.keys()).filter((name) => name.startsWith("hullbook-pages-")).reverse();
  for (const name of [PAGES_CACHE, ...names]) {
    const found = await (await caches.open(name)).match(key);
    if (found) return found;
  }
  return undefined;
}

async function shell(request) {
  return (await caches.match(request, { ignoreVary: true })) ?? fetch(request);
}

async function page(request) {
  const asked = fetch(request);
  try {
    const before = await kept(request.url);
    // Where nothing is kept, waiting longer is all there is.
    const answer = before ? await inTime(asked) : await asked;
    if (!answer || answer.status >= 500) return before ?? answer;
    // What is kept is kept up to date; what is not was not asked for by the hull that is open.
    if (before && answer.ok && answer.type === "basic" && !answer.redirected) await store(request.url, answer.clone());
    return answer;
  } catch {
    return (await kept(request.url)) ?? leadToWaiting(new URL(request.url));
  } finally {
    asked.catch(() => {}); // it may still fail after its time was up
  }
}

async function leadToWaiting(where) {
  const waiting = await kept(new URL(WAITING_PAGE, self.location).href);
  if (!waiting || where.pathname === WAITING_PAGE) return waiting ?? Response.error();
  return Response.redirect(`${WAITING_PAGE}?away=${encodeURIComponent(where.pathname + where.search)}`);
}

async function data(request, key) {
  const asked = fetch(request);
  try {
    const answer = await inTime(asked);
    if (!answer) return (await kept(key)) ?? (await asked);
    if (answer.ok) await store(key, answer.clone());
    return answer;
  } catch {
    return (await kept(key)) ?? Response.error();
  } finally {
    asked.catch(() => {});
  }
}

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(SHELL_CACHE)
      .then((cache) => cache.addAll(self.SHELL.map((path) => new Request(path, { cache: "reload" }))))
      .then(() => self.skipWaiting()),
  );
});

/** The generation before stays: a page kept in it still finds its files until it has been kept anew. */
async function clearOld() {
  const names = await caches.keys();
  for (const kind of ["hullbook-shell-", "hullbook-pages-"]) {
    const own = names.filter((name) => name.startsWith(kind) && !name.endsWith(self.GENERATION));
    for (const name of own.slice(0, -1)) await caches.delete(name);
  }
}

self.addEventListener("activate", (event) => {
  event.waitUntil(clearOld().then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const where = new URL(request.url);
  if (where.origin !== self.location.origin) return;
  const { method, mode, cache } = request;
  const isFragment = request.headers.get("HX-Request") === "true";
  const way = wayOf({ method, mode, cache, path: where.pathname, isFragment });
  if (way === "shell") event.respondWith(shell(request));
  else if (way === "page") event.respondWith(page(request));
  else if (way === "json") event.respondWith(data(request, request.url));
  else if (way === "fragment") event.respondWith(data(request, `${where.origin}${where.pathname}?fragment`));
});

// ---- Keeping the pages of the hull that is open

let round = 0; // each asking ends the one before, and forgetting ends them all

async function keepOne(path, mine) {
  const url = new URL(path, self.location).href;
  const before = await kept(url);
  if (before && Date.now() - Number(before.headers.get(KEPT_AT)) < FRESH_MS) return;
  const answer = await fetch(url, { credentials: "same-origin", redirect: "error", cache: "no-store" });
  if (answer.ok && mine === round) await store(url, answer);
}

async function forgetOthers(hull) {
  for (const name of (await caches.keys()).filter((one) => one.startsWith("hullbook-pages-"))) {
    const pages = await caches.open(name);
    for (const request of await pages.keys()) {
      if (!mayStay(new URL(request.url).pathname, hull)) await pages.delete(request);
    }
  }
}

async function keep({ keep: hull, page: shownNow }, mine) {
  if (hull) await forgetOthers(hull);
  const paths = new Set([WAITING_PAGE, SETTING_UP_PAGE, "/", shownNow]);
  try {
    const list = `/hulls/${encodeURIComponent(hull)}/kept/`;
    const answer = hull ? await fetch(list, { cache: "no-store", redirect: "error" }) : null;
    for (const path of answer?.ok ? (await answer.json()).pages : []) paths.add(path);
    // One after the other: the book has others to serve.
    for (const path of paths) if (mine === round) await keepOne(path, mine).catch(() => {});
  } catch {
    // Out of reach: what is kept stays as it is.
  }
}

/** Pages hold names: they go with who signs out. */
async function forget() {
  for (const name of await caches.keys()) if (name.startsWith("hullbook-pages-")) await caches.delete(name);
}

let keeping = Promise.resolve();

self.addEventListener("message", (event) => {
  const { data: asked, ports } = event;
  const mine = ++round;
  if ("keep" in asked) {
    keeping = keeping.then(() => keep(asked, mine));
    event.waitUntil(keeping);
  } else if (asked.forget) {
    event.waitUntil(forget().then(() => ports[0].postMessage("forgotten")));
  }
});
