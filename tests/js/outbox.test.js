import assert from "node:assert/strict";
import { test } from "node:test";

import {
  BOOKED, KEPT_MS, meaningOf, openOutbox, REFUSED, waitBefore, WAITING, withFields,
} from "../../static/js/outbox.js";
import { memoryStorage } from "./memory_storage.js";
import { answered, makeBook, makeLocks, makeTimer, openShed, pail, rest } from "./shed.js";

const field = (entry, name) => entry.fields.find(([one]) => one === name)?.[1];

test("an entry is on the tablet before anything is sent", async () => {
  const shed = await openShed();
  const seen = [];
  shed.book.before = async () => {
    seen.push([...shed.storage.stores.entries.values()].length);
    return null;
  };
  const entry = await shed.outbox.put(pail());
  assert.equal(shed.storage.stores.entries.get(entry.id).state, WAITING);
  await rest(shed);
  assert.deepEqual(seen, [1]);
  assert.equal(shed.storage.stores.entries.get(entry.id).state, BOOKED);
});

test("what is told says who, when, in which order, and under its own id", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  const [first, second] = [await shed.outbox.put(pail(1)), await shed.outbox.put(pail(2))];
  assert.equal(field(first, "logged_by"), "KB");
  assert.equal(field(first, "tapped_at"), "2026-11-18T10:37:02.000Z");
  assert.equal(field(first, "happened_at"), "");
  assert.deepEqual([field(first, "sequence"), field(second, "sequence")], ["1", "2"]);
  assert.notEqual(field(first, "entry_id"), field(second, "entry_id"));
});

test("everything arrives once and in the order of the taps", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  for (let number = 1; number <= 40; number += 1) await shed.outbox.put(pail(number));
  await rest(shed);
  shed.book.isDown = false;
  await rest(shed);
  await rest(shed);
  const pails = Array.from({ length: 40 }, (_, index) => String(index + 1));
  assert.deepEqual(shed.book.entries.map((entry) => entry.pail), pails);
});

test("an answer that is lost after the book took the entry makes no second one", async () => {
  const shed = await openShed();
  shed.book.losesAnswers = 2;
  const entry = await shed.outbox.put(pail());
  await rest(shed);
  await shed.timer.run();
  await rest(shed);
  await shed.timer.run();
  await rest(shed);
  assert.equal(shed.book.entries.length, 1);
  assert.ok(shed.book.posts.length >= 3);
  assert.equal(shed.storage.stores.entries.get(entry.id).number, 1);
});

test("control: with a new id at every sending the same loss makes doubles", async () => {
  const shed = await openShed();
  const honest = shed.book.fetch;
  shed.book.fetch = (url, options) => {
    options.body.set("entry_id", crypto.randomUUID());
    return honest(url, options);
  };
  shed.book.losesAnswers = 2;
  await shed.outbox.put(pail());
  for (let again = 0; again < 3; again += 1) {
    await rest(shed);
    await shed.timer.run();
  }
  await rest(shed);
  assert.ok(shed.book.entries.length > 1);
});

test("the waits grow from one second to sixty and never beyond", () => {
  const waits = Array.from({ length: 12 }, (_, tries) => waitBefore(tries, () => 1));
  assert.deepEqual(waits.slice(0, 6), [1000, 2000, 4000, 8000, 16000, 32000]);
  assert.ok(waits.slice(6).every((wait) => wait === 60_000));
  assert.equal(waitBefore(3, () => 0), 4000);
});

test("a try that fails is followed by another, and a success starts the waits anew", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  await shed.outbox.put(pail());
  await rest(shed);
  const first = [...shed.timer.due.values()][0].ms;
  await rest(shed);
  assert.ok([...shed.timer.due.values()][0].ms > first);
  assert.equal(shed.timer.due.size, 1);
  shed.book.isDown = false;
  await rest(shed);
  assert.equal(shed.timer.due.size, 0);
  shed.book.isDown = true;
  await shed.outbox.put(pail(2));
  await rest(shed);
  assert.ok([...shed.timer.due.values()][0].ms <= 2000);
});

test("the network's return during a try that fails is not forgotten until a minute later", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  await shed.outbox.put(pail());
  for (let again = 0; again < 10; again += 1) await rest(shed);
  const honest = shed.book.fetch;
  shed.book.fetch = async (...asked) => {
    shed.outbox.flush();
    return honest(...asked);
  };
  await shed.outbox.flush();
  assert.deepEqual([...shed.timer.due.values()].map(({ ms }) => ms), [500]);
});

test("what the book does not take is kept with its reason and lets the others pass", async () => {
  const shed = await openShed();
  shed.book.before = ({ pail: number }) =>
    number === "2" ? answered(422, { problems: { resin_kg: "1820 kg is more than a pail holds." } }) : null;
  const entries = [await shed.outbox.put(pail(1)), await shed.outbox.put(pail(2)), await shed.outbox.put(pail(3))];
  await rest(shed);
  const kept = shed.storage.stores.entries;
  assert.deepEqual(entries.map((entry) => kept.get(entry.id).state), [BOOKED, REFUSED, BOOKED]);
  assert.match(kept.get(entries[1].id).why, /1820 kg/);
  assert.deepEqual((await shed.outbox.waiting()).map((entry) => entry.id), [entries[1].id]);
});

test("what names an entry that was not taken waits for it", async () => {
  const shed = await openShed();
  let isRefused = true;
  shed.book.before = ({ pail: number }) =>
    number === "1" && isRefused ? answered(422, { problems: { "": "Key it again." }, questions: [] }) : null;
  const wrong = await shed.outbox.put(pail(1));
  await rest(shed);
  const mended = await shed.outbox.put({ ...pail(), act: "Mended", fields: [["trouble", wrong.id]] });
  const other = await shed.outbox.put(pail(3));
  await rest(shed);
  const state = (entry) => shed.storage.stores.entries.get(entry.id).state;
  assert.deepEqual([state(wrong), state(mended), state(other)], [REFUSED, WAITING, BOOKED]);
  isRefused = false;
  await shed.outbox.answer(wrong.id, []);
  await rest(shed);
  assert.deepEqual([state(wrong), state(mended)], [BOOKED, BOOKED]);
});

test("a question is answered under the same id and number, and what was tapped first stays", async () => {
  const shed = await openShed();
  shed.book.before = (fields) =>
    fields["answer-resin_kg"] === "182" ? null : answered(422, {
      problems: { "": "Please answer the question." },
      questions: [{ field: "resin_kg", given: "182", sentence: "182 kg in one pail?", likely: "18.2" }],
    });
  const entry = await shed.outbox.put({ ...pail(), fields: [["resin_kg", "182"]] });
  await rest(shed);
  const asked = shed.storage.stores.entries.get(entry.id);
  assert.equal(asked.questions[0].likely, "18.2");
  shed.clock.ms += 60_000;
  await shed.outbox.answer(entry.id, [["answer-resin_kg", "182"]]);
  await rest(shed);
  const booked = shed.book.entries[0];
  assert.equal(booked.id, entry.id);
  assert.deepEqual([booked.sequence, booked.tapped_at], ["1", "2026-11-18T10:37:02.000Z"]);
});

test("what is keyed again goes under the first id, number and name, without what is no longer keyed", async () => {
  const shed = await openShed();
  shed.book.before = (fields) => (fields.resin_kg === "18.2" ? null : answered(422, { problems: { resin_kg: "No." } }));
  const entry = await shed.outbox.put({ ...pail(), fields: [["resin_kg", "x"], ["second_lot", "R-1"]] });
  await rest(shed);
  await shed.outbox.light("MO");
  await shed.outbox.keyAgain(entry.id, [["resin_kg", "18.2"], ["happened_at", ""]], [["Resin", "18.2 kg"]]);
  await rest(shed);
  const [booked] = shed.book.entries;
  assert.deepEqual(
    [booked.id, booked.logged_by, booked.sequence, booked.second_lot],
    [entry.id, "KB", "1", undefined],
  );
});

test("what is taken away leaves its number empty", async () => {
  const shed = await openShed();
  const refused = { problems: { "": "You need a role." } };
  shed.book.before = ({ pail: number }) => (number === "1" ? answered(403, refused) : null);
  const wrong = await shed.outbox.put(pail(1));
  await rest(shed);
  await shed.outbox.takeAway(wrong.id);
  await shed.outbox.put(pail(2));
  await rest(shed);
  assert.deepEqual(shed.book.entries.map((entry) => entry.sequence), ["2"]);
  assert.equal((await shed.outbox.all()).length, 1);
});

test("what waits or is in the book cannot be taken away", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  const entry = await shed.outbox.put(pail());
  await shed.outbox.takeAway(entry.id);
  assert.equal((await shed.outbox.all()).length, 1);
  shed.book.isDown = false;
  await rest(shed);
  await rest(shed);
  await shed.outbox.takeAway(entry.id);
  assert.equal((await shed.outbox.all())[0].state, BOOKED);
});

for (const why of ["not signed in", "not enrolled"]) {
  test(`${why}: everything is kept and says why`, async () => {
    const shed = await openShed();
    const heard = [];
    shed.outbox.on("out", (reason) => heard.push(reason));
    shed.book.before = () => answered(401, { why });
    for (let number = 1; number <= 30; number += 1) await shed.outbox.put(pail(number));
    await rest(shed);
    assert.equal((await shed.outbox.waiting()).length, 30);
    assert.equal(heard.at(-1), why);
    shed.book.before = () => null;
    await rest(shed);
    await rest(shed);
    assert.equal(shed.book.entries.length, 30);
    assert.equal(heard.at(-1), "");
  });
}

test("somebody else is signed in: theirs goes, the other's stays, and nothing changes its name", async () => {
  const shed = await openShed();
  const out = { why: "somebody else is signed in" };
  shed.book.before = ({ logged_by: who }) => (who === "MO" ? null : answered(401, out));
  await shed.outbox.put(pail(1));
  await shed.outbox.put(pail(2));
  await shed.outbox.light("MO");
  await shed.outbox.put(pail(3));
  await rest(shed);
  await rest(shed);
  assert.deepEqual(shed.book.entries.map((entry) => [entry.pail, entry.logged_by]), [["3", "MO"]]);
  shed.book.before = () => null;
  await rest(shed);
  await rest(shed);
  assert.deepEqual(shed.book.entries.map((entry) => entry.logged_by), ["MO", "KB", "KB"]);
});

test("a token that is stale is followed by the fresh one at once", async () => {
  const shed = await openShed();
  let isStale = true;
  shed.book.before = () => {
    const answer = isStale ? answered(403, { why: "token" }) : null;
    isStale = false;
    return answer;
  };
  await shed.outbox.put(pail());
  await rest(shed);
  assert.equal(shed.book.entries.length, 1);
  assert.equal(shed.book.posts[1].headers["X-CSRFToken"], "fresh");
});

test("what is not the book refuses nothing: a page of another network, a door", async () => {
  const shed = await openShed();
  for (const status of [200, 403, 404, 511, 502]) {
    shed.book.before = () => new Response("<h1>Welcome</h1>", { status, headers: { "content-type": "text/html" } });
    if (status === 200) await shed.outbox.put(pail());
    await rest(shed);
    assert.equal((await shed.outbox.all())[0].state, WAITING, String(status));
  }
});

test("one entry that the book stumbles over does not hold up the next", async () => {
  const shed = await openShed();
  shed.book.before = ({ pail: number }) => (number === "1" ? new Response("", { status: 500 }) : null);
  await shed.outbox.put(pail(1));
  await shed.outbox.put(pail(2));
  await shed.outbox.put(pail(3));
  await rest(shed);
  await rest(shed);
  assert.deepEqual(shed.book.entries.map((entry) => entry.pail), ["2", "3"]);
  assert.equal((await shed.outbox.waiting()).length, 1);
  assert.equal(shed.timer.due.size, 1);
});

test("a book that is ill is left in peace after two", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  for (let number = 1; number <= 20; number += 1) await shed.outbox.put(pail(number));
  await rest(shed);
  shed.book.isDown = false;
  shed.book.before = () => new Response("", { status: 500 });
  const before = shed.book.posts.length;
  await rest(shed);
  assert.equal(shed.book.posts.length - before, 2);
});

test("of two pages of one tablet one sends, and both count in one row", async () => {
  const storage = memoryStorage();
  const [book, locks] = [makeBook(), makeLocks()];
  const one = await openShed({ storage, book, locks });
  const other = await openShed({ storage, book, locks });
  await Promise.all(Array.from({ length: 20 }, (_, index) => (index % 2 ? one : other).outbox.put(pail(index + 1))));
  await Promise.all([rest(one), rest(other)]);
  await rest(one);
  await rest(one);
  assert.equal(book.entries.length, 20);
  assert.equal(book.posts.length, 20);
  const numbers = book.entries.map((entry) => Number(entry.sequence)).toSorted((a, b) => a - b);
  assert.deepEqual(numbers, Array.from({ length: 20 }, (_, index) => index + 1));
});

test("control: without the lock two pages send the same entry twice", async () => {
  const storage = memoryStorage();
  const book = makeBook();
  const none = { held: new Set(), request: (name, options, work) => Promise.resolve(work({ name })) };
  const one = await openShed({ storage, book, locks: none });
  const other = await openShed({ storage, book, locks: none });
  book.isDown = true;
  for (let number = 1; number <= 5; number += 1) await one.outbox.put(pail(number));
  await rest(one);
  book.isDown = false;
  book.posts.length = 0;
  await Promise.all([one.outbox.flush(), other.outbox.flush()]);
  assert.ok(book.posts.length > 5);
});

test("a page whose tablet sends elsewhere looks again whether that one still does", async () => {
  const shed = await openShed();
  shed.locks.held.add("hullbook-send");
  const entry = await shed.outbox.put(pail());
  await new Promise((resolve) => setTimeout(resolve, 20));
  assert.equal((await shed.outbox.all())[0].state, WAITING);
  assert.equal(shed.timer.due.size, 1);
  shed.locks.held.clear();
  await shed.timer.run();
  await rest(shed);
  assert.equal(shed.storage.stores.entries.get(entry.id).state, BOOKED);
});

test("a tablet without room says so and claims nothing", async () => {
  const shed = await openShed({ storage: memoryStorage({ room: 3000 }) });
  shed.book.isDown = true;
  const told = [];
  shed.outbox.on("told", (entry) => told.push(entry));
  let kept = 0;
  let refused = null;
  while (!refused) {
    try {
      await shed.outbox.put(pail(kept + 1));
      kept += 1;
    } catch (error) {
      refused = error;
    }
  }
  assert.equal(refused.name, "QuotaExceededError");
  assert.equal(told.length, kept);
  assert.equal((await shed.outbox.all()).length, kept);
  // The number of what was not kept is given to the next, so that nothing seems to be missing.
  assert.equal(shed.storage.stores.tablet.get("sequence").value, kept);
});

test("the clock of the moment of sending goes along, the tap keeps its own", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  await shed.outbox.put(pail());
  await rest(shed);
  shed.clock.ms += 3 * 3600 * 1000;
  shed.book.isDown = false;
  await rest(shed);
  assert.equal(shed.book.clocks.at(-1), "2026-11-18T13:37:02.000Z");
  assert.equal(shed.book.entries[0].tapped_at, "2026-11-18T10:37:02.000Z");
});

test("a clock that is put back does not change the order of the taps", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  for (const jump of [0, -3600_000, 86_400_000, -172_800_000, 1000]) {
    shed.clock.ms += jump;
    await shed.outbox.put(pail(1));
  }
  shed.book.isDown = false;
  await rest(shed);
  await rest(shed);
  assert.deepEqual(shed.book.entries.map((entry) => entry.sequence), ["1", "2", "3", "4", "5"]);
});

test("a clock that is off is told", async () => {
  const shed = await openShed();
  const heard = [];
  shed.outbox.on("clock", (ahead) => heard.push(ahead));
  const head = { number: 1, hash: "0".repeat(64) };
  shed.book.before = ({ entry_id: id }) =>
    answered(201, { entry: 1, id, hash: head.hash, kind: "x", head, clock_ahead_s: 184.2, beside: null });
  await shed.outbox.put(pail());
  await rest(shed);
  assert.deepEqual(heard, [184.2]);
});

test("an entry is struck out once it is in the book, and never rubbed out before", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  const entry = await shed.outbox.put(pail());
  await shed.outbox.strikeOut(entry.id, "tapped twice");
  shed.book.isDown = false;
  await rest(shed);
  await rest(shed);
  assert.deepEqual(shed.book.entries.map((one) => one.url), [entry.url, "/hulls/MB84-03/entries/1/strike-out/"]);
  assert.equal(shed.book.entries[1].reason, "tapped twice");
});

test("what is in the book is kept for seven days and then erased; what waits is never", async () => {
  const shed = await openShed();
  await shed.outbox.put(pail(1));
  await rest(shed);
  shed.book.isDown = true;
  await shed.outbox.put(pail(2));
  await rest(shed);
  const later = shed.clock.ms + KEPT_MS + 1;
  const { storage, locks, book } = shed;
  const again = await openOutbox({ storage, locks, fetch: book.fetch, now: () => later, timer: makeTimer() });
  assert.deepEqual((await again.all()).map((entry) => entry.state), [WAITING]);
});

test("a browser that was killed finds all that it said was kept", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  for (let number = 1; number <= 50; number += 1) await shed.outbox.put(pail(number));
  const again = await openShed({ storage: shed.storage, book: shed.book });
  shed.book.isDown = false;
  await rest(again);
  await rest(again);
  assert.equal(shed.book.entries.length, 50);
});

test("a store that was emptied is noticed by the number told before, which a cookie remembers", async () => {
  const shed = await openShed();
  assert.equal(await shed.outbox.know({ device: "T1", enrolled: true, last_sequence: 0 }), null);
  const emptied = await openShed();
  const lost = await emptied.outbox.know({ device: "T1", enrolled: true, last_sequence: 4 }, 7);
  assert.deepEqual(lost, { from: 5, to: 7 });
  await emptied.outbox.put(pail());
  await rest(emptied);
  assert.equal(emptied.book.entries[0].sequence, "8");
});

test("a store that is emptied under an open page gives no number twice, and says so", async () => {
  const shed = await openShed();
  await shed.outbox.know({ device: "T1", enrolled: true, last_sequence: 0 });
  shed.book.isDown = true;
  await shed.outbox.put(pail(1));
  await shed.outbox.put(pail(2));
  for (const store of Object.values(shed.storage.stores)) store.clear();
  const heard = [];
  shed.outbox.on("emptied", (entry) => heard.push(entry.sequence));
  const entry = await shed.outbox.put(pail(3));
  await shed.outbox.put(pail(4));
  assert.deepEqual([entry.sequence, heard], [3, [3]]);
  for (const store of Object.values(shed.storage.stores)) store.clear();
  assert.deepEqual(await shed.outbox.know({ device: "T1", enrolled: true, last_sequence: 1 }), { from: 2, to: 4 });
});

test("a store that was emptied with its cookie leaves one number free", async () => {
  const shed = await openShed();
  assert.deepEqual(await shed.outbox.know({ device: "T1", enrolled: true, last_sequence: 4 }), { from: 5, to: 5 });
  await shed.outbox.put(pail());
  await rest(shed);
  assert.equal(shed.book.entries[0].sequence, "6");
});

test("a tablet's numbers go on from what the book has", async () => {
  const shed = await openShed();
  await shed.outbox.know({ device: "T1", enrolled: true, last_sequence: 0 });
  await shed.outbox.put(pail());
  assert.equal(await shed.outbox.know({ device: "T1", enrolled: true, last_sequence: 12 }), null);
  assert.equal(shed.outbox.nextSequence(), 13);
  assert.equal(await shed.outbox.know({ device: "T1", enrolled: true, last_sequence: 3 }), null);
  assert.equal(shed.outbox.nextSequence(), 13);
});

test("a page kept from before the browser was enrolled does not set its numbers back", async () => {
  const shed = await openShed();
  await shed.outbox.know({ device: "B1", last_sequence: 3 });
  await shed.outbox.know({ device: "T1", enrolled: true, last_sequence: 40 }, 0, true);
  await shed.outbox.know({ device: "B1", last_sequence: 3 });
  assert.equal(shed.outbox.nextSequence(), 41);
});

test("what comes after a refused entry and names it is not sent behind it in the same go", async () => {
  const shed = await openShed();
  shed.book.isDown = true;
  const wrong = await shed.outbox.put(pail(1));
  const mended = await shed.outbox.put({ ...pail(), fields: [["trouble", wrong.id]] });
  await rest(shed);
  shed.book.isDown = false;
  shed.book.before = ({ pail: number }) => (number === "1" ? answered(422, { problems: { "": "No." } }) : null);
  await rest(shed);
  assert.equal(shed.storage.stores.entries.get(mended.id).state, WAITING);
  assert.equal(shed.book.entries.length, 0);
});

test("the last minute and what waits are read without the rest", async () => {
  const shed = await openShed();
  await shed.outbox.put(pail(1));
  await rest(shed);
  shed.clock.ms += 120_000;
  await shed.outbox.put(pail(2));
  await rest(shed);
  assert.deepEqual((await shed.outbox.recent(60_000)).map((entry) => entry.sequence), [2]);
  assert.equal((await shed.outbox.all()).length, 2);
});

test("the tile that is lit, and since when the book is out of reach, are there after a restart", async () => {
  const shed = await openShed();
  await shed.outbox.light("MO");
  await shed.outbox.reached(false);
  const { storage, locks, book } = shed;
  const again = await openOutbox({ storage, locks, fetch: book.fetch, now: () => 5, timer: makeTimer() });
  assert.equal(again.lit(), "MO");
  assert.equal(again.outOfReachSince(), shed.clock.ms);
});

test("what an answer means", () => {
  const said = { problems: { "": "No." } };
  assert.deepEqual(
    [
      [201, { entry: 1 }], [200, { entry: 1 }], [200, null], [401, { why: "not signed in" }], [401, null],
      [403, { why: "token" }], [403, said], [404, said], [422, said], [404, null], [408, null], [409, said],
      [425, said], [429, null], [500, null], [503, null],
    ].map(([status, given]) => meaningOf(status, given)),
    [
      "booked", "booked", "later", "out", "later",
      "token", "refused", "refused", "refused", "ill", "later", "later",
      "early", "later", "ill", "later",
    ],
  );
});

test("a name with several values is set anew as a whole", () => {
  assert.deepEqual(withFields([["a", "1"], ["a", "2"], ["b", "3"]], [["a", "4"]]), [["b", "3"], ["a", "4"]]);
});
