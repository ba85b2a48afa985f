import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import vm from "node:vm";

const SOURCE = readFileSync(new URL("../../static/js/sw.js", import.meta.url), "utf8");
const HOST = "http://shed.test";

/** The worker with caches in memory, on a network that `answer` stands for. */
function makeWorker(answer) {
  const all = new Map();
  const heard = {};
  const open = (name) => {
    if (!all.has(name)) all.set(name, new Map());
    const held = all.get(name);
    const key = (request) => (typeof request === "string" ? new URL(request, HOST).href : request.url);
    return {
      match: async (request) => held.get(key(request))?.clone(),
      put: async (request, response) => void held.set(key(request), response),
      keys: async () => [...held.keys()].map((url) => ({ url })),
      delete: async (request) => held.delete(key(request)),
      addAll: async (requests) => {
        for (const request of requests) held.set(key(request), new Response("file"));
      },
    };
  };
  const caches = {
    open: async (name) => open(name),
    keys: async () => [...all.keys()],
    delete: async (name) => all.delete(name),
    match: async (request) => {
      for (const name of all.keys()) {
        const found = await open(name).match(request);
        if (found) return found;
      }
      return undefined;
    },
  };
  const self = {
    SHELL: ["/static/css/base.1.css"], GENERATION: "g2", location: new URL(`${HOST}/sw.js`),
    clients: { claim: async () => {} },
    skipWaiting: async () => {}, addEventListener: (name, work) => { heard[name] = work; },
  };
  const asked = [];
  const world = {
    self, caches, URL, Headers, setTimeout, Date, Number, Set, Promise, String, decodeURIComponent, encodeURIComponent,
    Response: class extends Response {
      static redirect(where) { return new Response("", { status: 302, headers: { location: where } }); }
    },
    Request: class { constructor(url) { this.url = new URL(url, HOST).href; } },
    fetch: async (request, options) => {
      const url = typeof request === "string" ? new URL(request, HOST).href : request.url;
      asked.push(url.replace(HOST, ""));
      const given = await answer(url.replace(HOST, ""), options);
      Object.defineProperty(given, "type", { value: "basic" });
      return given;
    },
  };
  vm.runInNewContext(SOURCE, world);
  const get = async (path, more = {}) => {
    let promise = null;
    const asks = { method: "GET", mode: "navigate", cache: "default", headers: new Headers(), ...more };
    const request = { url: `${HOST}${path}`, ...asks };
    heard.fetch({ request, respondWith: (given) => { promise = given; } });
    return promise;
  };
  const keep = async (hull, page = "/") => {
    let done = null;
    heard.message({ data: { keep: hull, page }, waitUntil: (given) => { done = given; } });
    await done;
  };
  const paths = () => [...(all.get("hullbook-pages-g2")?.keys() ?? [])].map((url) => url.replace(HOST, ""));
  return { get, keep, heard, all, asked, paths, open };
}

const pageOf = (path) => new Response(`page ${path}`, { headers: { "content-type": "text/html" } });
function book(path) {
  const hull = path.match(/^\/hulls\/([^/]+)\/kept\/$/);
  return hull ? Response.json({ pages: [`/hulls/${hull[1]}/`, `/hulls/${hull[1]}/lay-up/`] }) : pageOf(path);
}
const away = () => { throw new TypeError("Failed to fetch"); };

test("what is posted goes by untouched, and so does what asks for the book itself", async () => {
  const worker = makeWorker(book);
  assert.equal(await worker.get("/hulls/MB84-03/findings/log/", { method: "POST" }), null);
  assert.equal(await worker.get("/tablet/state/", { mode: "cors", cache: "no-store" }), null);
  assert.equal(await worker.get("/photos/00/", { mode: "cors" }), null);
});

const ALWAYS = ["/tablet/waiting/", "/tablet/setting-up/", "/"];

test("the pages of the open hull are kept, those of the one before are not", async () => {
  const worker = makeWorker(book);
  await worker.keep("MB84-03", "/hulls/MB84-03/");
  assert.deepEqual(worker.paths(), [...ALWAYS, "/hulls/MB84-03/", "/hulls/MB84-03/lay-up/"]);
  await worker.keep("MB84-05", "/hulls/MB84-05/");
  assert.deepEqual(worker.paths(), [...ALWAYS, "/hulls/MB84-05/", "/hulls/MB84-05/lay-up/"]);
});

test("a page comes from the book while it answers, and from the tablet when it does not", async () => {
  let answer = book;
  const worker = makeWorker((path) => answer(path));
  await worker.keep("MB84-03", "/hulls/MB84-03/");
  answer = (path) => new Response(`newer ${path}`);
  assert.equal(await (await worker.get("/hulls/MB84-03/")).text(), "newer /hulls/MB84-03/");
  answer = away;
  assert.equal(await (await worker.get("/hulls/MB84-03/")).text(), "newer /hulls/MB84-03/");
  answer = () => new Response("", { status: 503 });
  assert.equal(await (await worker.get("/hulls/MB84-03/")).text(), "newer /hulls/MB84-03/");
});

test("a page that is not kept leads to what waits, which is always kept", async () => {
  let answer = book;
  const worker = makeWorker((path) => answer(path));
  await worker.keep("", "/");
  answer = away;
  const led = await worker.get("/store/?page=2");
  assert.equal(led.headers.get("location"), "/tablet/waiting/?away=%2Fstore%2F%3Fpage%3D2");
  assert.equal(await (await worker.get("/tablet/waiting/?away=%2Fstore%2F")).text(), "page /tablet/waiting/");
});

test("a door in the place of a page is not kept for it", async () => {
  const worker = makeWorker((path) => (path === "/" || path.endsWith("/kept/") ? book(path) : away()));
  await worker.keep("MB84-03", "/hulls/MB84-03/");
  assert.deepEqual(worker.paths(), ["/"]);
});

test("files of the pages come from the tablet first", async () => {
  const worker = makeWorker(book);
  let done = null;
  worker.heard.install({ waitUntil: (given) => { done = given; } });
  await done;
  assert.equal(await (await worker.get("/static/css/base.1.css", { mode: "no-cors" })).text(), "file");
  assert.deepEqual(worker.asked, []);
});

test("the pour's sheet comes from the book, and from the tablet when that is away", async () => {
  let answer = () => Response.json({ now: 1 });
  const worker = makeWorker((path) => answer(path));
  const path = "/hulls/MB84-03/parts/hull%20shell/pours/1/sheet.json";
  await worker.get(path, { mode: "cors" });
  answer = away;
  assert.deepEqual(await (await worker.get(path, { mode: "cors" })).json(), { now: 1 });
});

test("a fragment is kept apart from the page of the same address", async () => {
  let answer = book;
  const worker = makeWorker((path) => answer(path));
  await worker.keep("MB84-03", "/hulls/MB84-03/");
  answer = () => new Response("only a part");
  const headers = new Headers({ "HX-Request": "true" });
  await worker.get("/hulls/MB84-03/lay-up/", { mode: "cors", headers });
  answer = away;
  assert.equal(await (await worker.get("/hulls/MB84-03/lay-up/")).text(), "page /hulls/MB84-03/lay-up/");
  assert.equal(await (await worker.get("/hulls/MB84-03/lay-up/", { mode: "cors", headers })).text(), "only a part");
});

test("of the generations before, the last stays until its pages are kept anew", async () => {
  const worker = makeWorker(book);
  for (const name of ["shell-g0", "pages-g0", "shell-g1", "pages-g1", "shell-g2"]) worker.open(`hullbook-${name}`);
  let done = null;
  worker.heard.activate({ waitUntil: (given) => { done = given; } });
  await done;
  assert.deepEqual([...worker.all.keys()], ["hullbook-shell-g1", "hullbook-pages-g1", "hullbook-shell-g2"]);
});
