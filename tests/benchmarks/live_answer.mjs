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

function seconds(work) {
  const begun = performance.now();
  for (let n = 0; n < 50; n += 1) work();
  return (performance.now() - begun) / 50_000;
}

for (let round = 0; round < 40; round += 1) {
  const folded = withTold(sheet, [told]);
  const entry = seconds(() => alarmsOf(withTold(sheet, [told]), at(22)));
  const live = seconds(() => {
    folded.pour_plan = { ...folded.pour_plan }; // as after a fold, nothing of the plan is worked out yet
    forecastOf(folded, at(22));
  });
  console.log(entry, live);
}
