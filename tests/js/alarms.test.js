// What asks for somebody: now, soon, or only to be known.

process.env.TZ = "UTC";

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { alarmsOf, criedOften, knock, knocksDue, nextMixAt, withCried } from "../../static/js/alarms.js";

const read = () => JSON.parse(readFileSync(new URL("sheet.json", import.meta.url)));
const MINUTE = 60_000;
const ms = (minute) => Date.parse("2026-06-02T10:00:00Z") + minute * MINUTE;
const at = (minute) => new Date(ms(minute)).toISOString();

/** The shed at a minute, nothing asking: a fresh reading, no pail that is due, all that was planned mixed. */
function calm(minute) {
  const sheet = read();
  sheet.plan.mean_kg = 60;
  sheet.readings.push({ ...sheet.readings.at(-1), at: at(minute - 1) });
  sheet.pails = sheet.pails.map((pail) => ({ ...pail, gel: { ...pail.gel, low_at: at(minute + 40),
    high_at: at(minute + 50) } }));
  for (const station of sheet.girth.stations) for (const side of ["starboard", "port"]) sheet.fronts.push({ entry: 1,
    station: station.name, side, girth_mm: 1000, words: "", at: at(minute - 1), by: "KJ" });
  return sheet;
}

const asks = (sheet, minute, more) => alarmsOf(sheet, ms(minute), more).map((alarm) => `${alarm.rank} ${alarm.words}`);

test("a pour that runs as planned asks nothing of anybody", () => {
  assert.deepEqual(asks(calm(24), 24), []);
});

test("vacuum worse by more than the limit within two minutes is NOW", () => {
  const sheet = calm(24);
  sheet.readings.push({ ...sheet.readings.at(-1), value: 18, at: at(23) }, { ...sheet.readings.at(-1), value: 26,
    at: at(24) });
  assert.deepEqual(asks(sheet, 24), ["now Vacuum 14.3 to 26 mbar in 1 min. Find the leak or clamp."]);
});

test("between readings further apart it is held against the one before", () => {
  const sheet = calm(24);
  sheet.readings = [{ ...sheet.readings[0], value: 14, at: at(14) }, { ...sheet.readings[0], value: 21, at: at(24) }];
  assert.deepEqual(asks(sheet, 24), ["now Vacuum 14 to 21 mbar in 10 min. Find the leak or clamp."]);
  sheet.readings[1].value = 20;
  assert.deepEqual(asks(sheet, 24), []);
});

test("without a limit of the yard's own no vacuum is judged", () => {
  const sheet = calm(24);
  sheet.plan.vacuum_limit_mbar = null;
  sheet.readings.push({ ...sheet.readings.at(-1), value: 80, at: at(24) });
  assert.deepEqual(asks(sheet, 24), []);
});

test("a pail with resin in it is SOON at eight minutes before gel and NOW at three", () => {
  const sheet = calm(24);
  const [, pail] = sheet.pails;
  pail.gel.low_at = at(32);
  assert.deepEqual(asks(sheet, 23.9), []);
  assert.deepEqual(asks(sheet, 24), ["soon Pail 2 gels in 8 min."]);
  assert.deepEqual(asks(sheet, 28.9), ["soon Pail 2 gels in 3 min."]);
  assert.deepEqual(asks(sheet, 29), ["now Pail 2 gels in 3 min. Feed or dump."]);
  assert.ok(asks(sheet, 33.5).includes("now Pail 2 was due to gel at 10:32. Feed or dump."));
});

test("a pail that is empty asks nothing, whatever its clock would say", () => {
  const sheet = calm(24);
  sheet.pails[1].gel.low_at = at(25);
  sheet.pails[1].state = "empty";
  assert.deepEqual(asks(sheet, 24), []);
});

test("a pail left standing after the pour is closed still cries: it gets hot by itself", () => {
  const sheet = calm(24);
  sheet.pour.closed_at = at(23);
  sheet.pails[1].gel.low_at = at(25);
  assert.deepEqual(asks(sheet, 24), ["now Pail 2 gels in 1 min. Feed or dump."]);
});

test("an hour past the latest it could gel, a pail that nobody told ended cries no more", () => {
  const sheet = calm(24);
  sheet.pour.closed_at = at(23);
  Object.assign(sheet.pails[1].gel, { low_at: at(25), high_at: at(30) });
  assert.deepEqual(asks(sheet, 89), ["now Pail 3 was due to gel at 11:04. Feed or dump.",
    "now Pail 2 was due to gel at 10:25. Feed or dump."].reverse());
  assert.deepEqual(asks(sheet, 91), ["now Pail 3 was due to gel at 11:04. Feed or dump."]);
});

test("a side that is behind the other for three minutes is SOON", () => {
  const sheet = calm(24);
  sheet.fronts.push({ entry: 1, station: "5", side: "starboard", girth_mm: 1476, words: "", at: at(22), by: "KJ" });
  assert.deepEqual(asks(sheet, 24), []);
  assert.deepEqual(asks(sheet, 25), ["soon Port at 5 is 476 mm behind."]);
});

test("the next pail is wanted by the pace of those before", () => {
  const more = (minute) => {
    const sheet = calm(minute);
    sheet.plan.mean_kg = 130;
    return sheet;
  };
  assert.equal(nextMixAt(more(24)), ms(27));
  assert.equal(nextMixAt(calm(24)), null);
  assert.deepEqual(asks(more(23.9), 23.9), []);
  assert.deepEqual(asks(more(24), 24), ["soon Mix pail 4 by 10:27."]);
});

test("a laminate past its peak is NOW where the schedule gives one", () => {
  const sheet = calm(24);
  sheet.readings.push({ ...sheet.readings.at(-1), what: "laminate", value: 92, place: "Probe 3" });
  assert.deepEqual(asks(sheet, 24), []);
  sheet.plan.peak_limit_c = 90;
  assert.deepEqual(asks(sheet, 24), ["now Probe 3 at 92 °C, limit 90."]);
});

test("a reading overdue by half its interval is a NOTE", () => {
  const sheet = calm(24);
  sheet.pails = [];
  assert.deepEqual(asks(sheet, 37.9), []);
  assert.deepEqual(asks(sheet, 38), ["note Vacuum not told since 10:23."]);
});

test("what has waited on this tablet for five minutes is a NOTE", () => {
  const entries = [{ state: "waiting", tapped_at: at(18) }, { state: "waiting", tapped_at: at(19) },
    { state: "in the book", tapped_at: at(1) }];
  assert.deepEqual(asks(calm(24), 24, { entries }), ["note 2 on this tablet since 10:18."]);
  assert.deepEqual(asks(calm(22), 22, { entries }), []);
});

test("the most urgent stands first, and an alarm in somebody's hand stays until its cause is gone", () => {
  const sheet = calm(26);
  sheet.pails[1].gel.low_at = at(28);
  const [first, ...others] = alarmsOf(sheet, ms(26));
  assert.equal(first.rank, "now");
  assert.ok(others.every((alarm) => alarm.rank !== "now"));
  sheet.alarms_taken.push({ code: first.code, by: "KJ", at: at(26) });
  assert.equal(alarmsOf(sheet, ms(26))[0].taken.by, "KJ");
});

test("a code fits the book's field, so that every tablet knows which alarm was taken", () => {
  const sheet = calm(26);
  sheet.pails[1].gel.low_at = at(28);
  sheet.readings.push({ ...sheet.readings.at(-1), value: 40, at: at(26) });
  for (const { code } of alarmsOf(sheet, ms(26))) assert.ok(code.length <= 60, code);
});

const alarm = (rank, code, taken = null) => ({ rank, code, taken, since: 0 });

test("NOW knocks three times every five seconds until somebody has it", () => {
  let heard = { at: 0, codes: [] };
  const knocks = [];
  for (let second = 0; second < 12; second += 1) {
    const due = knocksDue([alarm("now", "a")], heard, 100_000 + second * 1000);
    heard = due.heard;
    knocks.push(due.knocks);
  }
  assert.deepEqual(knocks, [3, 0, 0, 0, 0, 3, 0, 0, 0, 0, 3, 0]);
  assert.equal(knocksDue([alarm("now", "a", { by: "KJ" })], heard, 200_000).knocks, 0);
});

test("SOON knocks twice, once; a NOTE is never heard", () => {
  const first = knocksDue([alarm("soon", "b"), alarm("note", "c")], { at: 0, codes: [] }, 100_000);
  assert.equal(first.knocks, 2);
  assert.equal(knocksDue([alarm("soon", "b")], first.heard, 110_000).knocks, 0);
  assert.equal(knocksDue([alarm("note", "c")], { at: 0, codes: [] }, 100_000).knocks, 0);
});

test("a knock lies between 500 and 2 500 Hz, and three of them are told apart by their rhythm", () => {
  const tones = [];
  const parameter = { setValueAtTime() {}, exponentialRampToValueAtTime() {} };
  const context = {
    currentTime: 10,
    destination: {},
    createGain: () => ({ gain: parameter, connect() {} }),
    createOscillator() {
      const tone = { frequency: {}, connect() {}, start: (when) => (tone.from = when), stop: (when) =>
        (tone.to = when) };
      tones.push(tone);
      return tone;
    },
  };
  knock(context, 3);
  assert.ok(tones.every((tone) => tone.frequency.value >= 500 && tone.frequency.value <= 2500));
  const starts = [...new Set(tones.map((tone) => tone.from))];
  assert.equal(starts.length, 3);
  assert.ok(tones.every((tone) => tone.to - tone.from < starts[1] - starts[0]));
});

test("alarms are counted once each, and the pour says when they were too many", () => {
  let cried = withCried([], [{ code: "gel-now-x", rank: "now", since: ms(5) }, { code: "waiting", rank: "note",
    since: ms(5) }]);
  cried = withCried(cried, [{ code: "gel-now-x", rank: "now", since: ms(5) }]);
  assert.equal(cried.length, 1);
  const few = criedOften(cried, ms(0), ms(30));
  assert.deepEqual([few.count, few.worst, few.isTooOften], [1, 1, false]);
  const many = withCried(cried, Array.from({ length: 6 }, (_, i) => ({ code: `lag-${i}`, rank: "soon",
    since: ms(6 + i * 0.5) })));
  const often = criedOften(many, ms(0), ms(120));
  assert.deepEqual([often.worst, often.isTooOften, often.byRule], [7, true, { gel: 1, lag: 6 }]);
});
