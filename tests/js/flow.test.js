// The front by the plan, on the tablet: the same check values as hullbook/calc/flow.py, and strips worked out there.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

import { fill } from "../../static/js/flow.js";

const cases = JSON.parse(readFileSync(new URL("./strips.json", import.meta.url)));
const near = (found, wanted) =>
  assert.ok(Math.abs(found - wanted) <= 1e-6 * Math.max(1, Math.abs(wanted)), `${found} for ${wanted}`);

for (const { name, strip, pull, length_m: length, fill_minutes: minutes, fronts } of cases) {
  test(`${name} fills as in the book`, () => {
    const found = fill(strip, pull);
    if (minutes === null) {
      assert.equal(found, null);
      return;
    }
    near(found.lengthM, length);
    near(found.fillMinutes, minutes);
    for (const [frontM, minute] of fronts) {
      near(found.minuteAt(frontM), minute);
      near(found.frontAt(minute), frontM);
    }
    assert.equal(found.frontAt(minutes + 1), found.lengthM);
    assert.equal(found.frontAt(0), 0);
  });
}
