// How long it takes a tablet to fold an entry into a pour of 150, and how long to say what follows from it: seconds, one
// pair a line.

import { alarmsOf } from "../../static/js/alarms.js";
import { forecastOf } from "../../static/js/forecast.js";
import { withTold } from "../../static/js/sheet.js";
import { at, front, iso, pail, planned } from "../js/planned.js";

const sheet = planned((one) => {
  one.book.number = 1000;
  one.pails = [pail(1, -3, 8), pail(2, 0, 14), pail(3, 3, 20), pail(4, 12, null)];
  for (let n = 0; n < 150; n += 1) {
    one.fronts.push(front(n % 2 ? "2" : "5", n % 4 < 2 ? "port" : "starboard", 5 * n, 1 + n / 8));
  }
});
const told = {
  id: "a", url: sheet.urls.front, sequence: 1, state: "waiting", person: "KJ", tapped_at: iso(21), number: null,
  fields: [["station", "5"], ["side", "port"], ["girth_mm", "900"], ["landmark", ""]],
};

const TIMES = 50;

function seconds(work) {
  const begun = performance.now();
  for (let n = 0; n < TIMES; n += 1) work(n);
  return (performance.now() - begun) / (1000 * TIMES);
}

for (let round = 0; round < 40; round += 1) {
  // Each answer is to a sheet folded anew; only the plan's own fill, which nothing told changes, is there from before.
  const folded = Array.from({ length: TIMES }, () => withTold(sheet, [told]));
  const entry = seconds(() => alarmsOf(withTold(sheet, [told]), at(22)));
  const live = seconds((n) => forecastOf(folded[n], at(22)));
  console.log(entry, live);
}
