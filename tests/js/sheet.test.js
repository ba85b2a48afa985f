// The fold of what a tablet was told into the sheet of a pour, and the figures drawn from it.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import {
  actOf, doseOf, feeding, frontAt, gelTime, gelTimeAlong, gramsFor, guessedFront, isPending, isThrough, judgedDose,
  landmarksAhead, mending, mendingWords, nextAct, spellsOf, sums, toldTwice, withTold,
} from "../../static/js/sheet.js";
const beside = (name) => JSON.parse(readFileSync(new URL(name, import.meta.url)));
const sheet = beside("sheet.json");
const MINUTE = 60_000;
const at = (minute) => new Date(Date.parse("2026-06-02T10:00:00Z") + minute * MINUTE).toISOString();

let sequence = 0;

/** An entry as the outbox keeps it. */
function told(act, fields, minute, more = {}) {
  sequence += 1;
  return {
    id: `10000000-0000-4000-8000-${String(sequence).padStart(12, "0")}`, sequence, url: sheet.urls[act], act,
      person: "KJ", tapped_at: at(minute),
    state: "waiting", number: null, strikes: null, fields: Object.entries({ happened_at: "", ...fields }), ...more,
  };
}

const pail4 = () => told("mix", { pail_number: "4", resin_kg: "20.00", catalyst_g: "300", resin_temperature_c: "20.0",
  resin_lot: "19", catalyst_lot: "7", inlet: "1", mixed_by: "MO", second_person: "RT", scale: "4", catalyst_scale: "5",
  thermometer: "3" }, 25);

test("the gel clock of a pail told here is the book's own, to a millionth of a minute", () => {
  const { table, times } = beside("gel_times.json");
  assert.ok(times.length > 50);
  for (const [dose, temperature, wanted] of times) {
    const found = gelTime(table, dose, temperature);
    if (wanted === null) assert.equal(found, null, `${dose} phr at ${temperature}`);
    else {
      for (const name of ["low", "mid", "high"]) assert.ok(Math.abs(found[name] - wanted[name]) < 1e-6,
        `${dose} phr at ${temperature} ${name}`);
      assert.equal(found.extrapolated, wanted.extrapolated);
    }
  }
});

test("a pail told out of reach stands on the page with its gel clock, and the kilograms left to mix go down by it",
  () => {
  const folded = withTold(sheet, [pail4()]);
  const pail = folded.pails.at(-1);
  assert.equal(pail.number, 4);
  assert.equal(pail.percent, 1.5);
  assert.equal(pail.lot, "R-0019");
  assert.equal(pail.gel.low_at, at(25 + 60));
  assert.equal(pail.gel.high_at, at(25 + 76));
  assert.ok(Math.abs(sums(sheet).left - sums(folded).left - 20.3) < 1e-9);
  assert.equal(nextAct(folded).words, "Mix pail 5");
  assert.equal(folded.mix.next_pail, 5);
});

test("a pail outside the maker's gel table has a clock that counts up and says what the table covers", () => {
  const entry = pail4();
  entry.fields = entry.fields.map(([name, value]) => [name, name === "catalyst_g" ? "500" : value]);
  const { gel } = withTold(sheet, [entry]).pails.at(-1);
  assert.equal(gel.low_at, null);
  assert.match(gel.words, /covers 15 to 25 °C and 1 to 2 phr/);
});

test("the sheet that came from the book is not changed by the fold", () => {
  const before = JSON.stringify(sheet);
  withTold(sheet, [pail4(), told("inlet", { inlet_number: "2", move: "open" }, 26), told("trouble",
    { kind: "all stop" }, 27)]);
  assert.equal(JSON.stringify(sheet), before);
});

test("what the book has already is not folded in a second time", () => {
  const entry = { ...pail4(), state: "in the book" };
  assert.equal(withTold(sheet, [{ ...entry, number: sheet.book.number }]).pails.length, 3);
  assert.equal(withTold(sheet, [{ ...entry, number: sheet.book.number + 1 }]).pails.length, 4);
  assert.equal(isPending(sheet, { ...entry, state: "not taken" }), false);
  assert.equal(withTold(sheet, [{ ...entry, state: "not taken" }]).pails.length, 3);
});

test("what stands in a sheet that was written while it was booked is not folded in twice", () => {
  const [, , pail] = sheet.pails;
  const late = structuredClone(sheet);
  late.pails[2].entry = sheet.book.number + 2;
  late.inlets[0] = { ...late.inlets[0], state: "shut", entry: sheet.book.number + 3 };
  const booked = (entry, number) => ({ ...entry, state: "in the book", number });
  const folded = withTold(late, [
    booked({ ...pail4(), id: pail.id }, sheet.book.number + 2),
    booked(told("inlet", { inlet_number: "1", move: "open" }, 20), sheet.book.number + 1),
  ]);
  assert.equal(folded.pails.length, 3);
  assert.equal(folded.inlets[0].state, "shut");
});

test("an entry of another pour is none of this one's", () => {
  const other = { ...pail4(), url: "/hulls/MB84-04/parts/hull%20shell/pours/1/mix/" };
  assert.equal(actOf(sheet, other), "");
  assert.equal(withTold(sheet, [other]).pails.length, 3);
});

test("a time told by a tablet whose clock is two minutes ahead is put right by those two minutes", () => {
  const folded = withTold(sheet, [told("inlet", { inlet_number: "2", move: "open" }, 32)], 2 * MINUTE);
  assert.equal(folded.inlets[1].since, at(30));
});

test("what happened earlier stands at the time it happened", () => {
  const folded = withTold(sheet, [told("front", { station: "5", side: "port", girth_mm: "1150", landmark: "line 2",
    happened_at: at(20) }, 25)]);
  assert.equal(frontAt(folded, "5", "port").at, at(20));
  assert.equal(frontAt(folded, "5", "port").words, "line 2");
});

test("an inlet opened here is open with its time, and the first one starts the pour's clock", () => {
  const none = { ...structuredClone(sheet), inlets: sheet.inlets.map((one) => ({ ...one, state: "shut", since: null,
    was_opened: false })) };
  none.pour.first_inlet_at = null;
  const folded = withTold(none, [told("inlet", { inlet_number: "1", move: "open" }, 3)]);
  assert.equal(folded.pour.first_inlet_at, at(3));
  assert.deepEqual([folded.inlets[0].state, folded.inlets[0].since, folded.inlets[0].was_opened], ["open", at(3),
    true]);
});

test("a reading below atmosphere is shown in mbar absolute", () => {
  const folded = withTold(sheet, [told("reading", { what: "bag pressure", gauge_mbar: "998", gauge: "2",
    gauge_kind: "below atmosphere", station_pressure_mbar: "1013", place: "" }, 25)]);
  assert.equal(folded.last["bag pressure"].value, 15);
  assert.equal(folded.last["bag pressure"].instrument, "G-02");
  assert.equal(folded.last["bag pressure"].gauge_mbar, 998);
});

test("a pail gone hot stops its gel clock, and a pail told only here can be ended here", () => {
  const made = pail4();
  const folded = withTold(sheet, [made, told("trouble", { kind: "pail spoilt", mix: sheet.pails[1].id }, 26),
    told("pail_end", { mix: made.id, how: "dumped" }, 27)]);
  assert.deepEqual(folded.pails.map((pail) => pail.state), ["empty", "spoilt", "feeding", "dumped"]);
  assert.deepEqual(feeding(folded).map((pail) => pail.number), [3]);
  assert.deepEqual(sums(folded).notWeighed, [2, 4]);
});

test("a blocked inlet is blocked until it is mended", () => {
  const blocked = told("trouble", { kind: "inlet blocked", inlet_number: "1" }, 25);
  assert.equal(withTold(sheet, [blocked]).inlets[0].state, "blocked");
  assert.equal(withTold(sheet, [blocked, told("mended", { trouble: blocked.id, words: "" }, 27)]).inlets[0].state,
    "open");
});

test("after all stop the next act is to go on again, and nothing else is asked", () => {
  const stop = told("trouble", { kind: "all stop" }, 25);
  const folded = withTold(sheet, [stop]);
  assert.equal(folded.stopped.id, stop.id);
  assert.equal(nextAct(folded).act, "mended");
  assert.equal(withTold(sheet, [stop, told("mended", { trouble: stop.id, words: "" }, 30)]).stopped, null);
});

test("what is struck out here is gone at once, waiting or in the book", () => {
  const made = pail4();
  const strikes = (id) => told("mix", {}, 26, { url: "/hulls/MB84-03/entries/{number}/strike-out/", strikes: id });
  assert.equal(withTold(sheet, [made, strikes(made.id)]).pails.length, 3);
  const booked = { ...told("front", { station: "5", side: "starboard", girth_mm: "900", landmark: "" }, 18),
    number: 123, state: "in the book" };
  assert.equal(frontAt(withTold(sheet, [booked, strikes(booked.id)]), "5", "starboard"), null);
});

test("a strike-out that the book did not take leaves what it was about", () => {
  const made = pail4();
  const strike = told("mix", {}, 26, { strikes: made.id, state: "not taken" });
  assert.equal(withTold(sheet, [made, strike]).pails.length, 4);
});

test("a pail told on two tablets counts twice and says so", () => {
  const twin = told("mix", { ...Object.fromEntries(pail4().fields), pail_number: "3" }, 19);
  const folded = withTold(sheet, [twin]);
  assert.deepEqual(toldTwice(folded), [3]);
  assert.ok(Math.abs(sums(folded).mixed - 4 * 20.3) < 1e-9);
});

test("planned is in the part, in pails and left, to the gram", () => {
  const kg = sums(sheet);
  assert.ok(Math.abs(kg.plan - (kg.inPart + kg.inPails + kg.lost + kg.caught + kg.left)) < 1e-9);
  assert.ok(Math.abs(kg.inPails - 40.6) < 1e-9);
  assert.ok(Math.abs(kg.caught - 0.2) < 1e-9);
});

test("what was weighed back of a dumped pail is mixed anew", () => {
  const dumped = [told("pail_end", { mix: sheet.pails[1].id, how: "dumped" }, 25), told("left_over", { place: "pail",
    mix: sheet.pails[1].id, mass_kg: "12.3" }, 26)];
  const kg = sums(withTold(sheet, dumped));
  assert.ok(Math.abs(kg.lost - 12.3) < 1e-9);
  assert.ok(Math.abs(kg.left - (sums(sheet).left + 12.3)) < 1e-9);
});

test("the grams worked out follow the pail before, and the dose is judged against the maker's window", () => {
  assert.equal(gramsFor(sheet, 20), 300);
  assert.equal(gramsFor({ ...sheet, pails: [] }, 20), 300);
  assert.equal(doseOf(20, 300), 1.5);
  assert.deepEqual([0.9, 1, 2, 2.1].map((percent) => judgedDose(sheet, percent)), ["below", "inside", "inside",
    "above"]);
  assert.equal(mendingWords(sheet, 20, 150), "50 g more catalyst makes the least of the maker's window.");
  assert.equal(mendingWords(sheet, 20, 450), "2.50 kg more resin makes the most of it.");
  assert.equal(mendingWords(sheet, 20, 300), "");
});

test("what mends a dose is the book's own, to a millionth", () => {
  for (const one of beside("mendings.json")) {
    const found = Object.values(mending(one.resin_kg, one.catalyst_g, one.low_phr, one.high_phr));
    [one.lowest_g, one.middle_g, one.resin_kg_more].forEach((wanted, place) => {
      assert.ok(Math.abs(found[place] - wanted) < 1e-6, JSON.stringify(one));
    });
  }
});

test("what the front comes to next: lines, places people know, the flange; nothing once it is through", () => {
  const words = (one) => one.map(({ words: said, girth_mm: mm }) => `${said} ${mm}`);
  assert.deepEqual(words(landmarksAhead(sheet, "5", "port", [{ words: "chine", girth_mm: 1181 }])), ["line 2 1150",
    "chine 1181", "flange 2050"]);
  const through = withTold(sheet, [told("front", { station: "5", side: "port", girth_mm: "2050", landmark: "flange" },
    25)]);
  assert.deepEqual(landmarksAhead(through, "5", "port"), []);
});

test("between told fronts the guess goes on as the square root of time from the line that feeds it", () => {
  // Darcy's law in one dimension under a steady pull: the square of the way grows evenly with time (textbook).
  // Inlet 1 on the keel opened at 2, front at 900 mm at 18: at 18 + 9 = 27 it is at 900 * sqrt(25 / 16) = 1125.
  assert.ok(Math.abs(guessedFront(sheet, "5", "starboard", Date.parse(at(27))) - 1125) < 1e-6);
  assert.equal(guessedFront(sheet, "5", "starboard", Date.parse(at(17))), null);
  assert.equal(guessedFront({ ...sheet, moves: [] }, "5", "starboard", Date.parse(at(27))), null);
});

test("the guess stands while no resin flows: at all stop, while the inlet is blocked, while it is shut", () => {
  const guess = (minute, ...entries) => guessedFront(withTold(sheet, entries), "5", "starboard", Date.parse(at(minute)));
  const stop = told("trouble", { kind: "all stop" }, 19);
  const blocked = told("trouble", { kind: "inlet blocked", inlet_number: "1" }, 19);
  const [onAgain, clear] = [stop, blocked].map(({ id }) => told("mended", { trouble: id, words: "" }, 24));
  const [shut, open] = [["shut", 19], ["open", 24]].map(([move, at]) => told("inlet", { inlet_number: "1", move }, at));
  for (const pause of [[stop, onAgain], [blocked, clear], [shut, open]]) {
    const stands = guess(19, ...pause);
    assert.ok(Math.abs(guess(24, ...pause) - stands) < 1e-9);
    assert.ok(Math.abs(guess(32, ...pause) - 1125) < 1e-6); // 9 minutes of flow after 18, as without the pause
  }
  assert.equal(guess(40, stop), guess(19, stop));
});

test("a move of an inlet that is struck out has let nothing flow", () => {
  const open = told("inlet", { inlet_number: "2", move: "open" }, 20, { state: "in the book", number: 150 });
  const withMove = { ...structuredClone(sheet), moves: [...sheet.moves, { at: at(20), inlet: 2, move: "open", entry: 150 }] };
  assert.equal(spellsOf(withMove, 2, "starboard").length, 1);
  const struck = told("strike_out", {}, 21, { strikes: open.id });
  assert.deepEqual(spellsOf(withTold(withMove, [open, struck]), 2, "starboard"), []);
});

test("a guess never runs past the flange nor on for ever", () => {
  const late = guessedFront(sheet, "5", "starboard", Date.parse(at(600)));
  assert.ok(Math.abs(late - 900 * Math.SQRT2) < 1e-6);
  assert.equal(guessedFront(sheet, "2", "starboard", Date.parse(at(600))), 800 * Math.SQRT2);
});

test("an inlet is the next act once the front has come to its line at every station", () => {
  const fronts = sheet.girth.stations.map((station) => told("front", { station: station.name, side: "starboard",
    girth_mm: "1150", landmark: "" }, 26));
  const ports = sheet.girth.stations.map((station) => told("front", { station: station.name, side: "port",
    girth_mm: "1150", landmark: "" }, 27));
  assert.equal(nextAct(withTold(sheet, fronts)).act, "mix");
  const next = nextAct(withTold(sheet, [...fronts, ...ports]));
  assert.deepEqual([next.act, next.inlet, next.words], ["inlet", 2, "Open inlet 2"]);
});

test("with the front through everywhere the open inlets are shut, then the pour is closed, then its pails are ended",
  () => {
  const fronts = sheet.girth.stations.flatMap((station) => ["starboard", "port"].map((side) =>
    told("front", { station: station.name, side, girth_mm: String(station.girth_mm), landmark: "flange" }, 40)));
  const through = withTold(sheet, fronts);
  assert.ok(isThrough(through));
  assert.equal(nextAct(through).words, "Shut inlet 1");
  const shut = told("inlet", { inlet_number: "1", move: "shut" }, 41);
  assert.equal(nextAct(withTold(sheet, [...fronts, shut])).act, "close");
  const closed = withTold(sheet, [...fronts, shut, told("close", { words: "" }, 42)]);
  assert.equal(nextAct(closed).act, "pail_end");
  const ended = closed.pails.slice(1).map((pail) => told("pail_end", { mix: pail.id, how: "empty" }, 43));
  const all = [...fronts, shut, told("close", { words: "" }, 42), ...ended];
  assert.equal(nextAct(withTold(sheet, all)).act, "gel");
  const gelled = withTold(sheet, [...all, told("gel", { at: "part", mix: "", place: "resin trap" }, 90)]);
  assert.equal(nextAct(gelled).words, "Nothing left open");
  assert.ok(Math.abs(sums(gelled).difference - (60.9 - 0.2 - 130)) < 1e-9);
});

test("before the sound was tried that comes first, and a pail before any inlet", () => {
  assert.equal(nextAct({ ...sheet, sound: null }).act, "sound");
  assert.equal(nextAct({ ...sheet, pails: [] }).words, "Mix pail 1");
});

test("a gel clock follows the temperature read in the pail, by the book's own values", () => {
  const { table, along } = JSON.parse(readFileSync(new URL("./gel_times.json", import.meta.url)));
  for (const [dose, temperatures, wanted] of along) {
    const found = gelTimeAlong(table, dose, temperatures);
    if (wanted === null) assert.equal(found, null);
    else for (const of of ["low", "mid", "high"]) assert.ok(Math.abs(found[of] - wanted[of]) < 1e-9, `${of} ${found[of]}`);
  }
});

test("a pail found warmer gels sooner, and only that pail", () => {
  const told = (place) => ({
    id: `t-${place}`, url: sheet.urls.reading, sequence: 9, state: "waiting", person: "KJ", number: null,
    tapped_at: sheet.now,
    fields: [["what", "resin"], ["temperature_c", "24"], ["thermometer", "1"], ["place", place]],
  });
  const before = sheet.pails.filter((pail) => pail.state === "feeding");
  assert.ok(before.length > 1);
  const [first, second] = before;
  const after = withTold(sheet, [told(`pail ${first.number}`)]);
  const gel = (pails, id) => Date.parse(pails.find((one) => one.id === id).gel.mid_at);
  assert.ok(gel(after.pails, first.id) < gel(sheet.pails, first.id));
  assert.equal(gel(after.pails, second.id), gel(sheet.pails, second.id));
  const unnamed = withTold(sheet, [told("")]);
  assert.equal(gel(unnamed.pails, first.id), gel(sheet.pails, first.id));
});

test("with a forecast the next pail is asked for by when it is wanted, and only what is wanted of it", () => {
  const running = withTold(sheet, [pail4()]);
  const wanted = (toMix, next, likely = 1) => nextAct(running, { resin: { toMix, likely }, next }, Date.parse(at(30)));
  const by = (minute) => ({ at: Date.parse(at(minute)) });
  assert.match(wanted(40, by(36)).why, /^20\.0 kg by \d\d:36$/);
  assert.equal(wanted(40, by(30)).why, "20.0 kg now");
  assert.equal(wanted(40, null).why, "20.0 kg by plan");
  assert.equal(wanted(0.8, by(29)).why, "1 kg is enough, now");
  assert.equal(wanted(0.8, by(29), -4).why, "1 kg more to be sure, now");
  assert.equal(wanted(0, null).act, "front");
});
