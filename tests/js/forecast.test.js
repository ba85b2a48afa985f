// What a running pour still wants, on the tablet: the check values of shared/check_values, and the sheet of a pour.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

import {
  arrival, expectedFront, forecastOf, minutesToNextCall, relativeSdOfBand, remainingToMix, shrunkRatio, styrenePressure,
  toPlan,
} from "../../static/js/forecast.js";
import { nextAct } from "../../static/js/sheet.js";
import { at, everywhere, front, iso, pail, planned } from "./planned.js";

const read = (name) => readFileSync(new URL(name, import.meta.url), "utf8");
const cases = JSON.parse(read("./forecasts.json"));
const near = (found, wanted, within = 1e-9) =>
  assert.ok(Math.abs(found - wanted) <= within * Math.max(1, Math.abs(wanted)), `${found} for ${wanted}`);

/** Rows of a table of check values that name one sum: inputs, which quantity, what is expected and how near. */
function checkValues(table, check) {
  const rows = read(`../../shared/check_values/${table}.csv`).trim().split("\n").slice(1);
  return rows.filter((row) => row.startsWith(`${check},`)).map((row) => {
    const [, inputs, quantity, expected, tolerance] = row.match(/^[^,]+,"((?:[^"]|"")*)",([^,]+),([^,]+),([^,]+),/);
    const given = JSON.parse(inputs.replaceAll('""', '"'));
    return { inputs: given, quantity, expected: Number(expected), tolerance: Number(tolerance) };
  });
}

test("what remains to mix agrees with the check values", () => {
  const names = {
    "ratio.ratio": (one) => one.ratio.ratio, "ratio.weight": (one) => one.ratio.weight,
    "ratio.drawn_in": (one) => one.ratio.drawnIn, "ratio.sd": (one) => one.ratio.sd, remaining_kg: (one) => one.remaining,
    sd_kg: (one) => one.sd, upper_kg: (one) => one.upper, to_mix_kg: (one) => one.toMix,
    forecast_used_kg: (one) => one.forecastUsed,
  };
  const rows = checkValues("forecast", "forecast.remaining_to_mix");
  assert.equal(rows.length, 11);
  for (const { inputs, quantity, expected, tolerance } of rows) {
    const found = remainingToMix({
      planTotal: inputs.plan_total_kg, planSoFar: inputs.plan_so_far_kg, used: inputs.used_kg, mixed: inputs.mixed_kg,
      heel: inputs.heel_kg, spread: inputs.spread,
    });
    near(names[quantity](found), expected, tolerance);
  }
});

test("the next call agrees with the check value", () => {
  const [{ inputs, expected, tolerance }] = checkValues("forecast", "forecast.minutes_to_next_call");
  const { pail_left_kg: left, heel_kg: heel, rate_kg_min: rate, mixing_min: mixingMin } = inputs;
  near(minutesToNextCall({ left, heel, rate, mixingMin }), expected, tolerance);
});

test("styrene boils as in the check values, and nothing is said outside the curve", () => {
  const rows = checkValues("styrene", "styrene.vapour_pressure_mbar");
  assert.ok(rows.length > 9);
  for (const { inputs, expected, tolerance } of rows) near(styrenePressure(inputs.temperature_c), expected, tolerance);
  assert.equal(styrenePressure(9), null);
});

test("arrivals and ratios are the book's own", () => {
  for (const { given, wanted } of cases.arrivals) {
    const found = arrival(given);
    near(found.minute, wanted.minute);
    near(found.low, wanted.low);
    near(found.high, wanted.high);
  }
  for (const { told, planned, between, reading, wanted } of cases.ratios) {
    near(shrunkRatio(told, planned, { sdBetween: between, sdReading: reading }).drawnIn, wanted);
  }
  for (const [low, high, wanted] of cases.bands) near(relativeSdOfBand([low, high]), wanted);
});

// ---- The sheet of a pour with a plan that was read

test("without a plan read to the crew there is no forecast", () => {
  const sheet = planned((one) => { one.pour_plan = null; });
  assert.equal(forecastOf(sheet, at(10)), null);
  assert.equal(expectedFront(sheet, "5", "port", at(10)), null);
  assert.equal(toPlan(sheet, "5", "port", at(10)), null);
});

test("a front told where the plan has it is neither ahead nor behind", () => {
  const sheet = planned();
  const expected = expectedFront(sheet, "5", "port", at(12));
  everywhere(expected, 12)(sheet);
  near(toPlan(sheet, "5", "port", at(12)), 0, 1e-6);
  const slow = planned(everywhere(expected - 200, 12));
  near(toPlan(slow, "5", "port", at(12)), -200, 1e-3);
});

test("before a quarter is wet the plan alone is said", () => {
  const { resin } = forecastOf(planned((sheet) => sheet.pails.push(pail(1, -3, null))), at(1));
  assert.equal(resin.isPlan, true);
  near(resin.likely, 120 + 1 - 20);
});

test("a part that draws more than planned asks for more, but not for all of the difference", () => {
  const half = (...pails) => planned((sheet) => {
    everywhere(1150, 20)(sheet);
    sheet.pails.push(...pails);
  });
  const three = [pail(1, -3, 8), pail(2, 0, 14), pail(3, 3, 20)];
  const usual = half(...three);
  const thirsty = half(...three, pail(4, 6, 20));
  const [one, other] = [usual, thirsty].map((sheet) => forecastOf(sheet, at(21)).resin);
  assert.equal(one.isPlan, false);
  assert.ok(other.remaining > one.remaining);
  assert.ok(other.remaining < other.ratio.ratio * (120 - other.used / other.ratio.ratio));
});

test("a pail still on has given as much as the one beside it, one that waits for its inlet nothing", () => {
  const used = (...pails) => forecastOf(planned((sheet) => {
    everywhere(1150, 20)(sheet);
    sheet.pails.push(pail(1, -3, 8), pail(2, -2, 8, "2"), pail(3, 2, 20), ...pails);
  }), at(21)).resin.used;
  near(used(), 60);
  near(used(pail(4, 6, null)), 60); // pail 3 stood at that inlet until this moment
  const beside = used(pail(4, 6, null, "2"));
  assert.ok(beside > 75 && beside <= 79, `${beside}`); // on as long as pail 3, its heel still in it at least
});

test("what is wanting beyond the shop is named, by the last pail as NOW", () => {
  const sheet = planned((one) => { one.pour_plan.released_kg = 15; one.pails.push(pail(1, -3, null)); });
  const { shortage } = forecastOf(sheet, at(1));
  assert.ok(shortage.short > 80);
  assert.equal(shortage.isLastPail, true);
  assert.equal(forecastOf(planned(), at(1)).shortage.isLastPail, false);
});

test("a front slower than planned comes later, and the strip that is last is named", () => {
  const fast = planned(everywhere(900, 15));
  const slow = planned((sheet) => {
    everywhere(900, 15)(sheet);
    sheet.fronts.find((one) => one.station === "5" && one.side === "port").at = iso(22);
  });
  const [one, other] = [fast, slow].map((sheet) => forecastOf(sheet, at(23)).arrival);
  assert.ok(other.at > one.at);
  assert.deepEqual([other.station, other.side], ["5", "port"]);
  assert.ok(other.lowAt < other.at && other.at < other.highAt);
});

test("the bag is held against the boiling of the warmest resin", () => {
  const bag = (value) => forecastOf(planned((sheet) => {
    sheet.pails.push(pail(1, -3, null));
    sheet.last["bag pressure"] = { value, at: iso(1), what: "bag pressure" };
    delete sheet.last.laminate;
    delete sheet.last.resin;
  }), at(2)).boil;
  assert.equal(bag(14).level, "");
  assert.equal(bag(9).level, "soon");
  assert.equal(bag(7).level, "now");
});

test("the next pail is wanted before the resin at the inlets is drawn", () => {
  const running = planned((sheet) => {
    everywhere(500, 4)(sheet);
    sheet.pails.push(pail(1, -3, null), pail(2, -2, null));
  });
  const { next } = forecastOf(running, at(5));
  assert.equal(next.number, 3);
  assert.ok(next.at >= at(5) && next.at < at(30));
});

test("the next pail is wanted sooner where a line is about to be opened: it draws most right then", () => {
  const called = (change) => forecastOf(planned((sheet) => {
    change(sheet);
    const minute = (1.05 ** 2 * 0.2 * 0.5) / (2 * 3e-10 * 99_000) / 60; // Darcy's law to 1050 mm
    everywhere(1050, minute)(sheet);
    sheet.pails.push(pail(1, -6, minute - 2), pail(2, -3, minute - 1), pail(3, 0, minute), pail(4, 8, null));
  }), at(31)).next.at;
  const withLine2 = called(() => {});
  const withoutIt = called((sheet) => { for (const strip of sheet.pour_plan.strips) strip.feeds.pop(); });
  assert.ok(withLine2 < withoutIt - 120_000, `${(withoutIt - withLine2) / 60_000} min`);
});

test("before the first inlet is opened a pail more is asked for where one would be drawn before the next could follow", () => {
  const before = (mixingMin, ...pails) => planned((sheet) => {
    sheet.pour.first_inlet_at = null;
    for (const inlet of sheet.inlets) Object.assign(inlet, { state: "shut", since: null, was_opened: false });
    sheet.pour_plan.mixing_min = mixingMin;
    sheet.pails.push(...pails);
  });
  const acts = (sheet) => nextAct(sheet, forecastOf(sheet, at(-1)), at(-1));
  assert.equal(acts(before(4, pail(1, -6, null))).why, "20.0 kg before an inlet is opened");
  assert.equal(acts(before(4, pail(1, -6, null), pail(2, -2, null))).words, "Open inlet 1");
  assert.equal(acts(before(0.5, pail(1, -6, null))).words, "Open inlet 1");
});

test("strips nobody told of are taken as the plan has them, and named", () => {
  const one = planned((sheet) => {
    sheet.fronts.push(...["2", "5"].map((name) => front(name, "port", 1150, 37)));
    sheet.pails.push(pail(1, -6, 12), pail(2, -3, 24), pail(3, 0, 37));
  });
  const { resin, untold } = forecastOf(one, at(38));
  assert.ok(resin.ratio.ratio > 0.8 && resin.ratio.ratio < 1.1, `${resin.ratio.ratio}`);
  assert.deepEqual(untold, ["starboard at 2", "starboard at 5"]);
});

test("where nothing more is told the call for the next pail stands, and does not move on with the clock", () => {
  const quiet = planned((sheet) => sheet.pails.push(pail(1, -6, null), pail(2, -3, null)));
  assert.equal(forecastOf(quiet, at(5)).next.at, forecastOf(structuredClone(quiet), at(45)).next.at);
});

test("a pail gone hot has given what is not left in it", () => {
  const drawn = (left) => planned((sheet) => {
    everywhere(1150, 37)(sheet);
    sheet.pails.push({ ...pail(1, -6, 12), state: "spoilt", left_kg: left }, pail(2, -3, 24), pail(3, 0, 37), pail(4, 3, 37, "2"));
  });
  const [whole, none] = [0, 20].map((left) => forecastOf(drawn(left), at(38)).resin);
  near(whole.used - none.used, 20, 1e-9);
  assert.equal(forecastOf(drawn(0), at(38)).gel.pail, 1);
  assert.equal(forecastOf(drawn(20), at(38)).gel.pail, 2);
});

// ---- Flow that was held up, and a line opened late: Darcy's law in one dimension, worked out here by hand

const MIN_PER_M2 = (0.2 * 0.5) / (2 * 3e-10 * 99_000) / 60; // of the strip of `planned`: minutes = this x way squared
const arrives = (change, minute) => {
  const { arrival: found } = forecastOf(planned(change), at(minute));
  return (found.at - at(0)) / 60_000;
};
const trouble = (kind, from, until, inlet = null) =>
  ({ kind, inlet, at: iso(from), mended_at: until === null ? null : iso(until), id: kind, entry: 200 });
const inOneBay = (sheet) => {
  for (const strip of sheet.pour_plan.strips) strip.feeds = strip.feeds.slice(0, 1);
};

test("a stop, a blocked inlet and an inlet shut for a while put the arrival off by as long as nothing flowed", () => {
  const minute = MIN_PER_M2 * 0.9 ** 2;
  const through = MIN_PER_M2 * 2.05 ** 2;
  const pauses = [
    (sheet, from, until) => sheet.troubles.push(trouble("all stop", from, until)),
    (sheet, from, until) => sheet.troubles.push(trouble("inlet blocked", from, until, 1)),
    (sheet, from, until) => sheet.moves.push({ at: iso(from), inlet: 1, move: "shut" }, { at: iso(until), inlet: 1, move: "open" }),
  ];
  near(arrives((sheet) => { inOneBay(sheet); everywhere(900, minute)(sheet); }, minute + 1), through, 1e-6);
  for (const pause of pauses) {
    const before = (sheet) => { inOneBay(sheet); pause(sheet, 5, 15); everywhere(900, minute + 10)(sheet); };
    near(arrives(before, minute + 11), through + 10, 1e-6);
    const after = (sheet) => { inOneBay(sheet); everywhere(900, minute)(sheet); pause(sheet, minute + 2, minute + 12); };
    near(arrives(after, minute + 20), through + 10, 1e-6);
    const during = (sheet) => { inOneBay(sheet); everywhere(900, minute)(sheet); pause(sheet, minute + 2, minute + 60); };
    near(arrives(during, minute + 30), through + 28, 1e-6); // as if it went on now
  }
});

test("a line opened late feeds from where the front stood then, not from where the plan had it", () => {
  const opened = MIN_PER_M2 * 1.45 ** 2;
  const told = opened + MIN_PER_M2 * ((1.6 - 1.15) ** 2 - (1.45 - 1.15) ** 2);
  const through = told + MIN_PER_M2 * ((2.05 - 1.15) ** 2 - (1.6 - 1.15) ** 2);
  const late = (sheet) => {
    everywhere(1430, opened)(sheet);
    for (const side of ["port", "starboard"]) sheet.fronts.push(front("5", side, 1450, opened), front("5", side, 1600, told));
    const moves = sheet.inlets.filter(({ line }) => line === 2).map(({ number }) => ({ at: iso(opened), inlet: number, move: "open" }));
    sheet.moves.push(...moves);
  };
  near(arrives(late, told + 0.5), through, 1e-3);
});

test("a strip that the plan has full before a line is opened still has its arrival", () => {
  const slow = (sheet) => {
    inOneBay(sheet);
    everywhere(1200, 70)(sheet);
    for (const { number, line } of sheet.inlets) if (line === 2) sheet.moves.push({ at: iso(66), inlet: number, move: "open" });
  };
  assert.ok(arrives(slow, 71) > 71);
});

test("what was weighed back from pails that ended is no resin to go on with", () => {
  const half = (left) => forecastOf(planned((sheet) => {
    everywhere(1150, 37)(sheet);
    sheet.pails.push(...[1, 2, 3].map((number) => ({ ...pail(number, -6, 12 * number), left_kg: left })));
  }), at(38)).resin;
  const [clean, heels] = [half(0), half(1.4)];
  near(clean.mixed - heels.mixed, 4.2, 1e-9);
  near(heels.toMix, heels.upper + 1, 1e-9);
});

test("the plan's front waits at all stop, and resin past any before gel is not held against the bag", () => {
  const stopped = planned((sheet) => sheet.troubles.push(trouble("all stop", 5, 15)));
  near(expectedFront(stopped, "5", "port", at(22)), expectedFront(planned(), "5", "port", at(12)), 1e-9);
  const hot = planned((sheet) => {
    sheet.pails.push(pail(1, -3, null));
    sheet.last = { "bag pressure": { value: 20, at: iso(1), what: "bag pressure" } };
    sheet.readings = [{ what: "laminate", place: "keel", value: 64, at: iso(1) }];
  });
  assert.equal(forecastOf(hot, at(2)).boil.warmest, 21);
});

test("resin gels in the part at the temperature of the warmest laminate, in its pail at its own", () => {
  const gels = (...readings) => forecastOf(planned((sheet) => {
    sheet.pails.push({ ...pail(1, -10, 4), percent: 1.5, temperature_c: 20, temperatures: [[0, 20]] });
    sheet.pails[0].gel.low_at = iso(-10 + 60); // by the table of the sheet: 60 min at 20 °C, 42 at 25 °C
    sheet.readings = readings.map(([minute, place, value]) => ({ what: "laminate", place, value, at: iso(minute) }));
  }), at(5)).gel;
  near((gels().at - at(0)) / 60_000, 50);
  // A sixth of the way to gel in the pail, the rest at 42 min for the whole of it.
  near((gels([-5, "keel", 25]).at - at(0)) / 60_000, 42 * (1 - 10 / 60), 1e-6);
  near((gels([-5, "keel", 25], [-4, "chine", 20]).at - at(0)) / 60_000, 42 * (1 - 10 / 60), 1e-6);
  near((gels([5, "keel", 25]).at - at(0)) / 60_000, 5 + 42 * (1 - 15 / 60), 1e-6);
  const past = gels([-5, "keel", 34]);
  assert.equal(past.isPast, true);
  near(past.at, gels([-5, "keel", 28]).at, 1e-9); // as far as the table reaches
});

test("of a stack that is still dry nothing was seen: the arrival is less sure of it than of the stack the front is in", () => {
  const band = (change) => {
    const { arrival: found } = forecastOf(planned((sheet) => {
      inOneBay(sheet);
      for (const strip of sheet.pour_plan.strips) {
        const [whole] = strip.sections;
        strip.sections = [{ ...whole, length_m: 1 }, { ...whole, length_m: whole.length_m - 1, ...change }];
      }
      everywhere(900, MIN_PER_M2 * 0.81)(sheet);
    }), at(20));
    return (found.highAt - found.lowAt) / (found.at - at(MIN_PER_M2 * 0.81));
  };
  assert.ok(band({ porosity: 0.5001 }) > 1.2 * band({}));
});
