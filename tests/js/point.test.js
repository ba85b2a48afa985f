import assert from "node:assert/strict";
import test from "node:test";

import {nudged, placeAt, pointOf} from "../../static/js/point.js";

const GROUND = {
  x0_px: 44,
  px_per_mm: 0.25,
  flange_mm: 2050,
  strips: [
    {station: "2", flange_mm: 1900, starboard: {y: 36, height: 46}, port: {y: 82, height: 46}},
    {station: "5", flange_mm: 2050, starboard: {y: 170, height: 46}, port: {y: 216, height: 46}},
  ],
};

test("a tap above the keel line is starboard, below it port", () => {
  assert.deepEqual(placeAt(GROUND, 44 + 175, 40), {side: "starboard", station: "2", girth_mm: 700});
  assert.deepEqual(placeAt(GROUND, 44 + 175, 90), {side: "port", station: "2", girth_mm: 700});
  assert.equal(placeAt(GROUND, 44 + 175, 240).station, "5");
});

test("mm are told to the nearest ten", () => {
  assert.equal(placeAt(GROUND, 44 + 176.2, 40).girth_mm, 700);
  assert.equal(placeAt(GROUND, 44 + 177.4, 40).girth_mm, 710);
});

test("a tap just off the keel or the flange counts as on it", () => {
  assert.equal(placeAt(GROUND, 40, 40).girth_mm, 0);
  assert.equal(placeAt(GROUND, 44 + 1910 * 0.25, 40).girth_mm, 1900);
});

test("a tap between strips or beyond the flange is no place", () => {
  assert.equal(placeAt(GROUND, 200, 150), null);
  assert.equal(placeAt(GROUND, 44 + 2000 * 0.25, 40), null);
  assert.equal(placeAt(GROUND, 5, 40), null);
});

test("a place and its point are the same both ways", () => {
  const place = {side: "port", station: "5", girth_mm: 1480};
  const {x, y} = pointOf(GROUND, place);
  assert.deepEqual(placeAt(GROUND, x, y), place);
  assert.equal(pointOf(GROUND, {...place, station: "7"}), null);
  assert.equal(pointOf(GROUND, {...place, girth_mm: NaN}), null);
  assert.equal(pointOf(GROUND, {...place, side: ""}), null);
});

test("the keys move by 50 mm and never off the skin", () => {
  assert.equal(nudged("700", 50, 1900), "750");
  assert.equal(nudged("20", -50, 1900), "0");
  assert.equal(nudged("1890", 50, 1900), "1900");
  assert.equal(nudged("12,5", 50, 1900), "62.5");
});

test("what is no number is left as it is keyed", () => {
  assert.equal(nudged("", 50, 1900), "");
  assert.equal(nudged("aft", 50, 1900), "aft");
});
