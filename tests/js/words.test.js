import assert from "node:assert/strict";
import { test } from "node:test";

import { isDark } from "../../static/js/person.js";
import { clock, clockWords, lostWords, notKept, railState, span } from "../../static/js/words.js";

const NOW = Date.parse("2026-11-18T10:37:00Z");
const entry = (state, minutes) => ({ state, tapped_at: new Date(NOW - minutes * 60_000).toISOString() });

test("the rail says the worst of what was told here", () => {
  assert.deepEqual(railState([], NOW), { state: "in the book", words: "in the book", isOld: false, count: 0 });
  assert.deepEqual(railState([entry("in the book", 5)], NOW).words, "in the book");
  const waiting = [entry("waiting", 12), entry("waiting", 3), entry("waiting", 1), entry("in the book", 40)];
  const words = "3 on this tablet, oldest 12 min";
  assert.deepEqual(railState(waiting, NOW), { state: "waiting", words, isOld: false, count: 3 });
  const worst = railState([...waiting, entry("not taken", 2)], NOW);
  assert.deepEqual([worst.state, worst.words], ["not taken", `1 not taken, ${words}`]);
});

test("after half an hour on the tablet it is marked", () => {
  assert.equal(railState([entry("waiting", 30)], NOW).isOld, false);
  assert.equal(railState([entry("waiting", 31)], NOW).isOld, true);
  assert.equal(railState([entry("not taken", 300)], NOW).isOld, false);
});

test("spans of time", () => {
  assert.deepEqual([0, 40_000, 60_000, 3_599_000, 3_600_000, 12_000_000, 200_000_000, -5].map(span), [
    "0 s", "40 s", "1 min", "59 min", "1 h", "3 h 20 min", "2 days", "0 s",
  ]);
});

test("the day stands with the time where it is another one", () => {
  const at = new Date(2026, 10, 18, 10, 31);
  assert.equal(clock(at, at), "10:31");
  assert.equal(clock(at, new Date(2026, 10, 19, 0, 1)), "2026-11-18 10:31");
});

test("a tile goes dark ten minutes after the last entry, and never during a pour", () => {
  assert.equal(isDark({ since: 0, now: 600_000, isPour: false }), false);
  assert.equal(isDark({ since: 0, now: 600_001, isPour: false }), true);
  assert.equal(isDark({ since: 0, now: 36_000_000, isPour: true }), false);
  assert.equal(isDark({ since: null, now: 600_001, isPour: false }), false);
});

test("what could not be kept is told in words, and which it was", () => {
  assert.match(notKept(Object.assign(new Error(), { name: "QuotaExceededError" })), /no room left/);
  assert.doesNotMatch(notKept(new Error("?")), /no room/);
  assert.match(lostWords({ from: 5, to: 7 }), /Numbers 5 to 7/);
  assert.match(lostWords({ from: 5, to: 5 }), /Number 5 /);
  assert.match(clockWords(184), /3 min ahead of/);
  assert.match(clockWords(-40), /40 s behind/);
});
