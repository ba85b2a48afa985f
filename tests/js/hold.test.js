// A hold test while it runs: its own times, the line through it, and the form it ends in.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { asReadings, fitNow, fitRise, keptDraft, points, toGo } from "../../static/js/hold.js";

const START = Date.parse("2026-06-02T07:12:30Z");
const MINUTE = 60_000;
const draftOf = (...readings) => ({ isolated_at: START, fields: {}, readings: readings.map(([minute, shown]) =>
  ({ at: START + minute * MINUTE, shown })) });

test("the line while it runs is the book's own least squares", () => {
  for (const { minutes, pressures, rate, intercept, uncertainty } of JSON.parse(readFileSync(new URL("rises.json",
    import.meta.url)))) {
    const found = fitRise(minutes, pressures);
    assert.ok(Math.abs(found.rate - rate) < 1e-9);
    assert.ok(Math.abs(found.intercept - intercept) < 1e-9);
    assert.ok(Math.abs(found.uncertainty - uncertainty) < 1e-7);
  }
});

test("there is no line through two readings", () => {
  assert.equal(fitRise([0, 1], [14, 15]), null);
  assert.equal(fitRise([2, 2, 2], [14, 15, 16]), null);
});

test("the first three minutes are left out of the line while it runs", () => {
  const settling = draftOf([0, "14.0"], [1, "16.0"], [2, "17.0"], [3, "17.0"], [5, "17.4"], [7, "17.8"]);
  assert.ok(Math.abs(fitNow(settling).rate - 0.2) < 1e-9);
  assert.equal(fitNow(draftOf([0, "14"], [1, "15"], [3, "16"], [4, "16"])), null);
});

test("each reading has its own time, and goes to the form as its minute and what was shown", () => {
  const draft = draftOf([0.05, "14.2"], [5, "15.0"], [10.5, "15.80"]);
  assert.equal(asReadings(draft), "0.05 14.2\n5.00 15.0\n10.50 15.80");
  assert.deepEqual(points(draft).map(({ shown }) => shown), [14.2, 15, 15.8]);
});

test("a reading from before the bag was isolated is none of the test's", () => {
  assert.equal(asReadings(draftOf([-1, "14.0"], [1, "14.2"])), "1.00 14.2");
});

test("two taps within the same hundredth of a minute are one line, the later one", () => {
  assert.equal(asReadings(draftOf([1, "14.2"], [1.001, "14.3"])), "1.00 14.3");
});

test("what is left is counted to the end of the time the limit is stated over", () => {
  assert.equal(toGo(draftOf(), 30, START + 20.5 * MINUTE), 9.5 * MINUTE);
  assert.equal(toGo(draftOf(), null, START), null);
});

test("a draft is there again after the page was loaded anew, and gone once it was told", () => {
  const kept = new Map();
  const storage = { getItem: (name) => kept.get(name) ?? null, setItem: (name, text) => kept.set(name, text),
    removeItem: (name) => kept.delete(name) };
  const draft = draftOf([1, "14.2"]);
  keptDraft(storage, "one").write(draft);
  assert.deepEqual(keptDraft(storage, "one").read(), draft);
  assert.equal(keptDraft(storage, "two").read().isolated_at, null);
  keptDraft(storage, "one").forget();
  assert.deepEqual(keptDraft(storage, "one").read().readings, []);
});

test("a draft that cannot be read is none", () => {
  assert.equal(keptDraft({ getItem: () => "{" }, "one").read().isolated_at, null);
});
