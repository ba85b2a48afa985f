// Clocks count from stored instants.

import assert from "node:assert/strict";
import { test } from "node:test";

import { aheadOf, hoursMinutes, keepAwake, minutesSeconds, openClock, timeOfDay } from "../../static/js/clocks.js";

/** A page, a clock and timers that stand still until they are moved. */
function shed() {
  const heard = {};
  const page = {
    visibilityState: "visible",
    defaultView: { addEventListener: (name, work) => (heard[name] = [...(heard[name] ?? []), work]) },
    addEventListener: (name, work) => (heard[name] = [...(heard[name] ?? []), work]),
  };
  const set = [];
  const timer = { set: (work, ms) => set.push({ work, ms }), clear: () => set.splice(0) };
  const say = (name) => (heard[name] ?? []).forEach((work) => work());
  return { page, timer, set, say, at: Date.parse("2026-06-02T10:00:00.250Z") };
}

test("a pour clock shows hours and minutes, its seconds apart", () => {
  assert.deepEqual(hoursMinutes(0), ["00:00", "00"]);
  assert.deepEqual(hoursMinutes((37 * 60 + 12) * 1000 + 999), ["00:37", "12"]);
  assert.deepEqual(hoursMinutes(3600_000 * 11), ["11:00", "00"]);
  assert.deepEqual(hoursMinutes(-5000), ["00:00", "00"]);
});

test("a gel clock counts down to nought and then up with a plus sign", () => {
  assert.equal(minutesSeconds(190_000), "03:10");
  assert.equal(minutesSeconds(189_001), "03:10");
  assert.equal(minutesSeconds(0), "00:00");
  assert.equal(minutesSeconds(-900), "00:00");
  assert.equal(minutesSeconds(-65_000), "+01:05");
  assert.equal(minutesSeconds(75 * 60_000), "75:00");
});

test("a key says the time of day to the second", () => {
  const at = new Date(2026, 5, 2, 10, 37, 2).getTime();
  assert.equal(timeOfDay(at), "10:37:02");
  assert.equal(timeOfDay(at, false), "10:37");
});

test("how far a tablet is ahead is measured half way between asking and the answer", () => {
  assert.equal(aheadOf("2026-06-02T10:00:00.000Z", Date.parse("2026-06-02T10:01:59.900Z"),
    Date.parse("2026-06-02T10:02:00.100Z"), 4000), 120_000);
});

test("an answer over which the tablet slept says nothing of how far it is ahead", () => {
  assert.equal(aheadOf("2026-06-02T10:00:00.000Z", Date.parse("2026-06-02T10:00:00.000Z"),
    Date.parse("2026-06-02T10:10:00.000Z"), 4000), null);
});

test("a clock draws at each whole second of the book's time", () => {
  const one = shed();
  const drawn = [];
  const clock = openClock((now) => drawn.push(now), { now: () => one.at, page: one.page, timer: one.timer });
  clock.setAhead(100);
  clock.tick();
  assert.deepEqual(drawn, [one.at - 100]);
  assert.equal(one.set[0].ms, 850);
});

test("after ten minutes hidden a clock is right the moment the page is looked at, though no tick came meanwhile",
  () => {
  const one = shed();
  const drawn = [];
  const clock = openClock((now) => drawn.push(now), { now: () => one.at, page: one.page, timer: one.timer });
  clock.tick();
  one.page.visibilityState = "hidden";
  one.say("visibilitychange");
  assert.equal(drawn.length, 1);
  one.at += 600_000;
  one.page.visibilityState = "visible";
  one.say("visibilitychange");
  assert.equal(drawn.at(-1), one.at);
  assert.equal(one.set.length, 1);
});

test("the screen is asked to stay awake at the start and again on return, and a refusal is said", async () => {
  const one = shed();
  const said = [];
  let refuses = false;
  let asked = 0;
  let released = null;
  const navigator = { wakeLock: { async request() {
    asked += 1;
    if (refuses) throw new Error("battery");
    const lock = { released: false, addEventListener: (_, work) =>
      (released = () => { lock.released = true; work(); }) };
    return lock;
  } } };
  const awake = keepAwake({ navigator, page: one.page, isWanted: () => true, say: (words) => said.push(words) });
  await awake.ask();
  await awake.ask();
  assert.deepEqual([asked, said.at(-1)], [1, ""]);
  released();
  assert.equal(said.at(-1), "screen may sleep");
  one.say("visibilitychange");
  await new Promise(setImmediate);
  assert.deepEqual([asked, said.at(-1)], [2, ""]);
  released();
  refuses = true;
  await awake.ask();
  assert.equal(said.at(-1), "screen may sleep");
});

test("without the browser's wake lock the page says that the screen may sleep", async () => {
  const said = [];
  await keepAwake({ navigator: {}, page: shed().page, isWanted: () => true, say: (words) => said.push(words) }).ask();
  assert.deepEqual(said, ["screen may sleep"]);
});

test("once nothing runs any more the screen is not kept awake", async () => {
  let asked = 0;
  const navigator = { wakeLock: { request: async () => (asked += 1) } };
  await keepAwake({ navigator, page: shed().page, isWanted: () => false, say() {} }).ask();
  assert.equal(asked, 0);
});
