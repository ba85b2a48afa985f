import assert from "node:assert/strict";
import { test } from "node:test";

import { openPhotos, PIECE_BYTES, piecesOf, sha256, within } from "../../static/js/photos.js";
import { answered, makeTimer, openShed, pail, rest } from "./shed.js";

const TAKEN = { type: "image/jpeg", lastModified: 1e12 };
const picture = (size, fill = 7) => new File([new Uint8Array(size).fill(fill)], "photo.jpg", TAKEN);

/** A yard that keeps pieces of photos. */
function makeFolder() {
  const folder = { pieces: new Map(), sizes: [], asked: [], before: () => null };
  folder.fetch = async (path, options = {}) => {
    const [, , hash, number] = path.split("/");
    folder.asked.push([options.method ?? "GET", number || ""]);
    const early = folder.before(options.method ?? "GET", number);
    if (early) return early;
    if (!folder.pieces.has(hash)) folder.pieces.set(hash, new Map());
    const held = folder.pieces.get(hash);
    if (options.method !== "POST") return answered(200, { pieces: [...held.keys()] });
    held.set(Number(number), new Uint8Array(options.body));
    folder.sizes.push(options.body.byteLength);
    return answered(200, { piece: Number(number) });
  };
  folder.whole = (hash) => {
    const pieces = [...folder.pieces.get(hash).entries()].toSorted(([one], [other]) => one - other);
    return Buffer.concat(pieces.map(([, bytes]) => bytes));
  };
  return folder;
}

async function openWithPhotos(shrink = async (file) => ({ blob: file, isAsItCame: true })) {
  const shed = await openShed();
  shed.folder = makeFolder();
  shed.photos = openPhotos({
    storage: shed.storage, outbox: shed.outbox, locks: shed.locks, token: () => "fresh", shrink, random: () => 1,
    fetch: (...asked) => shed.folder.fetch(...asked), now: () => shed.clock.ms, timer: (shed.again = makeTimer()),
  });
  return shed;
}

async function restWithPhotos(shed) {
  for (let turn = 0; turn < 4; turn += 1) {
    await rest(shed);
    await shed.photos.flush();
  }
  await rest(shed);
}

test("a photo is within 2560 px, its sides in proportion, and never made larger", () => {
  assert.deepEqual(within(4032, 3024), { width: 2560, height: 1920 });
  assert.deepEqual(within(3024, 4032), { width: 1920, height: 2560 });
  assert.deepEqual(within(800, 600), { width: 800, height: 600 });
  assert.deepEqual(within(90000, 10), { width: 2560, height: 1 });
});

test("pieces are 256 KiB and the last is what is left", () => {
  const size = 2 * PIECE_BYTES + 5;
  assert.deepEqual(piecesOf(size), [[0, PIECE_BYTES], [PIECE_BYTES, 2 * PIECE_BYTES], [2 * PIECE_BYTES, size]]);
  assert.deepEqual(piecesOf(PIECE_BYTES), [[0, PIECE_BYTES]]);
});

test("a photo goes in pieces after its entry, and its own entry goes last", async () => {
  const shed = await openWithPhotos();
  shed.book.isDown = true;
  const entry = await shed.outbox.put(pail());
  const file = picture(600_000);
  await shed.photos.keep(file, entry);
  await restWithPhotos(shed);
  assert.deepEqual(shed.folder.asked, []);
  shed.book.isDown = false;
  await restWithPhotos(shed);
  assert.deepEqual(shed.book.entries.map((one) => one.url), [entry.url, `/photos/${await sha256(file)}/log/`]);
  assert.deepEqual(shed.folder.sizes, [PIECE_BYTES, PIECE_BYTES, 600_000 - 2 * PIECE_BYTES]);
  assert.equal(await sha256(new Blob([shed.folder.whole(await sha256(file))])), await sha256(file));
  assert.equal(shed.book.entries[1].of, entry.id);
  assert.equal(shed.book.entries[1].logged_by, "KB");
  await restWithPhotos(shed);
  assert.equal(shed.storage.stores.photos.size, 0);
});

test("a photo never holds up an entry", async () => {
  const shed = await openWithPhotos();
  shed.folder.before = () => {
    throw new TypeError("Failed to fetch");
  };
  const entry = await shed.outbox.put(pail(1));
  await shed.photos.keep(picture(1000), entry);
  await shed.outbox.put(pail(2));
  await restWithPhotos(shed);
  assert.deepEqual(shed.book.entries.map((one) => one.pail), ["1", "2"]);
  assert.equal((await shed.outbox.waiting()).length, 1);
});

test("a photo that was broken off goes on with the pieces that are missing", async () => {
  const shed = await openWithPhotos();
  const entry = await shed.outbox.put(pail());
  let isBroken = true;
  shed.folder.before = (method, number) => {
    if (method === "POST" && number === "1" && isBroken) {
      isBroken = false;
      throw new TypeError("Failed to fetch");
    }
    return null;
  };
  await shed.photos.keep(picture(600_000), entry);
  await restWithPhotos(shed);
  const posted = shed.folder.asked.filter(([method]) => method === "POST").map(([, number]) => number);
  assert.deepEqual(posted, ["0", "1", "1", "2"]);
  assert.equal(shed.book.entries.length, 2);
});

test("while the yard is away a photo is tried again, and the waits grow", async () => {
  const shed = await openWithPhotos();
  const entry = await shed.outbox.put(pail());
  await rest(shed);
  shed.folder.before = () => {
    throw new TypeError("Failed to fetch");
  };
  await shed.photos.keep(picture(1000), entry);
  await rest(shed);
  await shed.photos.flush();
  const first = [...shed.again.due.values()].map(({ ms }) => ms);
  await shed.photos.flush();
  const second = [...shed.again.due.values()].map(({ ms }) => ms);
  assert.deepEqual([first.length, second.length], [1, 1]);
  assert.ok(second[0] > first[0]);
  shed.folder.before = () => null;
  await shed.again.run();
  await restWithPhotos(shed);
  assert.equal(shed.book.entries.length, 2);
});

test("pieces the yard has lost, or that were not the photo, are brought again", async () => {
  const shed = await openWithPhotos();
  const entry = await shed.outbox.put(pail());
  let isLost = true;
  shed.book.before = (fields, url) => {
    if (!url.startsWith("/photos/") || !isLost) return null;
    isLost = false;
    shed.folder.pieces.clear();
    return answered(425, { why: "pieces" });
  };
  await shed.photos.keep(picture(1000), entry);
  await restWithPhotos(shed);
  await restWithPhotos(shed);
  assert.equal(shed.folder.asked.filter(([method]) => method === "POST").length, 2);
  assert.equal(shed.book.entries.length, 2);
});

test("a photo that the yard does not take is parked with its reason, and the rest goes on", async () => {
  const shed = await openWithPhotos();
  const entry = await shed.outbox.put(pail());
  const tooLarge = { problems: { "": "The photo has 16.0 MB." } };
  shed.folder.before = (method) => (method === "POST" ? answered(413, tooLarge) : null);
  const photo = await shed.photos.keep(picture(1000), entry);
  await restWithPhotos(shed);
  const kept = shed.storage.stores.entries.get(photo.id);
  assert.deepEqual([kept.state, kept.why], ["not taken", "The photo has 16.0 MB."]);
  await shed.outbox.takeAway(photo.id);
  await rest(shed);
  assert.equal(shed.storage.stores.photos.size, 0);
});

test("too many an hour wait until they are let in", async () => {
  const shed = await openWithPhotos();
  const entry = await shed.outbox.put(pail());
  const tooMany = { problems: { "": "200 within the hour." } };
  shed.folder.before = (method) => (method === "POST" ? answered(429, tooMany, { "retry-after": "600" }) : null);
  const photo = await shed.photos.keep(picture(1000), entry);
  await restWithPhotos(shed);
  const asked = shed.folder.asked.length;
  await restWithPhotos(shed);
  assert.equal(shed.folder.asked.length, asked);
  assert.equal(shed.storage.stores.entries.get(photo.id).state, "waiting");
  shed.folder.before = () => null;
  shed.clock.ms += 601_000;
  await restWithPhotos(shed);
  assert.equal(shed.book.entries.length, 2);
});

test("where a photo was made smaller, the hash of the one that was taken goes along", async () => {
  const shed = await openWithPhotos(async () => ({ blob: picture(500, 9), isAsItCame: false }));
  const entry = await shed.outbox.put(pail());
  const file = picture(5000);
  await shed.photos.keep(file, entry);
  await restWithPhotos(shed);
  assert.equal(shed.book.entries[1].original_sha256, await sha256(file));
  assert.equal(shed.book.entries[1].url, `/photos/${await sha256(picture(500, 9))}/log/`);
  assert.equal(shed.book.entries[1].claimed_at, "2001-09-09T01:46:40.000Z");
});

test("without room the photo is not kept, says so, and the entry stays", async () => {
  const shed = await openWithPhotos();
  shed.book.isDown = true;
  const entry = await shed.outbox.put(pail());
  const write = shed.storage.write;
  const full = Object.assign(new Error("full"), { name: "QuotaExceededError" });
  shed.storage.write = (stores, work) => (stores.includes("photos") ? Promise.reject(full) : write(stores, work));
  const wrong = await shed.photos.keepOne(picture(1000), entry);
  assert.match(wrong, /photo.*no room left/i);
  assert.deepEqual((await shed.outbox.all()).map((one) => one.id), [entry.id]);
});
