import assert from "node:assert/strict";
import {test} from "node:test";
import {afterKey, general, judge, placesOf, stepKeys} from "../../static/js/bounds.js";

const PAIL = {
  low: 0.05, high: 250, usualLow: 1, usualHigh: 30, unit: "kg", label: "Resin", accepted: "kg, g, t, lb, oz",
  offers: [["g", 0.001, 0], ["lb", 0.45359237, 0]], expected: 12.5, against: "plan", band: "10%",
};

function keyed(keys, places) {
  return [...keys].reduce((text, key) => afterKey(text, key, {places}).text, "");
}

test("the pad shows exactly what was keyed, noughts and all", () => {
  assert.equal(keyed("12.50", 2), "12.50");
  assert.equal(keyed("007", 0), "007");
});

test("a second point and a figure too many are refused, and what stands is left as it is", () => {
  assert.deepEqual(afterKey("12.4", ".", {places: 2}), {text: "12.4", refused: "one point only"});
  assert.deepEqual(afterKey("12.48", "5", {places: 2}), {text: "12.48", refused: "2 places only"});
  assert.deepEqual(afterKey("20.5", "1", {places: 1}), {text: "20.5", refused: "1 place only"});
  assert.deepEqual(afterKey("", ".", {places: 2}), {text: "", refused: "a figure first"});
  assert.deepEqual(afterKey("123456789012", "3", {places: 2}), {text: "123456789012", refused: "no more figures"});
});

test("one figure is taken back, and a sign is put on and taken off", () => {
  assert.equal(afterKey("12.", "back", {places: 2}).text, "12");
  assert.equal(afterKey("5", "−", {places: 1}).text, "-5");
  assert.equal(afterKey("-5", "−", {places: 1}).text, "5");
});

test("an instrument without a point has no places", () => {
  assert.deepEqual([0.02, 0.1, 0.5, 1, 5].map(placesOf), [2, 1, 1, 0, 0]);
});

test("steps lie round the last reading, in steps of the instrument", () => {
  assert.deepEqual(stepKeys(14.2, 0.1).map((key) => key.text), ["14.1", "14.2", "14.3", "14.4", "14.5"]);
  assert.deepEqual(stepKeys(18, 1).map((key) => key.words), ["−1", "same", "+1", "+2", "+3"]);
});

test("numbers are written as the book writes them, halves to even", () => {
  const written = [[12.5, 4, "12.5"], [0.5, 6, "0.5"], [1234.5, 4, "1234"], [1235.5, 4, "1236"], [99999.6, 5, "1e+05"],
    [0.00001, 6, "1e-05"], [1e6, 6, "1e+06"], [250, 6, "250"], [1 / 3, 4, "0.3333"], [-30, 6, "-30"], [0, 6, "0"]];
  for (const [value, figures, text] of written) assert.equal(general(value, figures), text);
});

test("a tenth of the plan is named, with the point put right as its own answer", () => {
  const {value, question} = judge({...PAIL, text: "1.25"});
  assert.equal(value, 1.25);
  assert.equal(question.likely, "12.5");
  assert.match(question.sentence, /^Resin: 1\.25\u00a0kg is about a tenth of the plan \(12\.5\u00a0kg\)\.$/);
});

test("outside the band it is asked about, inside it is not, and what cannot be is refused", () => {
  assert.equal(judge({...PAIL, text: "13.75"}).question, null);
  assert.match(judge({...PAIL, text: "13.76"}).question.sentence, /far from the plan/);
  assert.match(judge({...PAIL, text: "1250"}).refused, /^Resin: 1250 is not accepted; 1250 g is 1\.25 kg; give 0\.05/);
  assert.match(judge({...PAIL, text: "12."}).refused, /"12\." is not accepted; give one number/);
});

test("nothing keyed is only missing where it has to be there, and a number with a unit is left to the book", () => {
  assert.deepEqual(judge({...PAIL, text: " "}), {value: null, refused: null, question: null});
  assert.match(judge({...PAIL, text: "", required: true}).refused, /^This is missing; give a number in kg/);
  assert.deepEqual(judge({...PAIL, text: "12500 g"}), {value: null, refused: null, question: null});
});

test("what is only unlikely of a gauge is asked about without another unit", () => {
  const gauge = {
    low: 0, high: 1085, usualLow: 2, usualHigh: 60, unit: "mbar", label: "The gauge shows", text: "996",
    offers: [["kPa", 10, 0], ["Pa", 0.01, 0]],
  };
  assert.equal(judge(gauge).question.likely, "9.96");
  assert.equal(judge({...gauge, proposes: false}).question.likely, null);
  assert.match(judge({...gauge, text: "1600", proposes: false}).refused, /1600 Pa is 16 mbar/);
});
