import assert from "node:assert/strict";
import { test } from "node:test";
import { PLACES_AT_MOST, places } from "../../static/js/action_bar.js";
import { CARD_MM, GLASS, keep, laid, LEAST_PX, measured, MOST_PX, moved, read } from "../../static/js/looks.js";

function drawer(kept = {}) {
  const held = new Map(Object.entries(kept));
  return { getItem: (name) => held.get(name) ?? null, setItem: (name, value) => held.set(name, value) };
}

test("a bank card is 85.60 mm wide, by ISO/IEC 7810 ID-1 (from memory)", () => {
  assert.equal(CARD_MM, 85.6);
});

test("the px between the marks over the card's width are the px of a millimetre", () => {
  // 25.4 mm to the inch: at 160 px to the inch a card is 85.6 / 25.4 * 160 = 539.2 px wide.
  assert.ok(Math.abs(measured(539.2).mm - 160 / 25.4) < 1e-3);
});

test("a width no tablet has is not taken and is asked for again in words", () => {
  for (const px of [LEAST_PX - 1, MOST_PX + 1, 0]) {
    const found = measured(px);
    assert.equal(found.mm, null);
    assert.match(found.refused, /lay it again/);
  }
  for (const px of [LEAST_PX, MOST_PX]) assert.equal(measured(px).refused, null);
});

test("every size of glass offered is one that a card could tell", () => {
  for (const mm of Object.values(GLASS)) assert.equal(measured(mm * CARD_MM).refused, null);
});

test("a mark moves by its steps, stays on the glass and never passes the other", () => {
  assert.deepEqual(moved({ left: 100, right: 600 }, "right", 10, 1200), { left: 100, right: 610 });
  assert.deepEqual(moved({ left: 4, right: 600 }, "left", -10, 1200), { left: 0, right: 600 });
  assert.deepEqual(moved({ left: 100, right: 1195 }, "right", 10, 1200), { left: 100, right: 1200 });
  const { left, right } = moved({ left: 100, right: 130 }, "left", 10, 1200);
  assert.ok(left < right);
});

test("the marks stand first where the card would lie by the ratio in force", () => {
  const marks = laid(1244, 6);
  assert.equal(marks.right - marks.left, Math.round(6 * CARD_MM));
  assert.ok(Math.abs(marks.left - (1244 - marks.right)) <= 1);
});

test("what is chosen is kept beside what was chosen before", () => {
  const storage = drawer();
  keep(storage, { mm: 6.2 });
  keep(storage, { hand: "left" });
  assert.deepEqual(read(storage), { mm: 6.2, hand: "left" });
});

test("what cannot be read counts as nothing chosen", () => {
  assert.deepEqual(read(drawer({ "hullbook-looks": "{half" })), {});
});

test("five places on a 10.1 inch tablet lying, four and a key for more on an 8 inch one, fewer standing", () => {
  assert.equal(places(1280, 6), PLACES_AT_MOST);
  assert.equal(places(1280, 7.43), 4);
  assert.equal(places(1180, 5.19), PLACES_AT_MOST);
  assert.equal(places(800, 6), 3);
  assert.equal(places(800, 7.43), 2);
  assert.equal(places(200, 7.43), 2);
});
