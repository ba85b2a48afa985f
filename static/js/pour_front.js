// The front on the strips: told fronts in ink over what they wetted, a guess of where it is by now in pencil, and what
// is wrong where it was told. All in the drawing's own units, from its data-ground.

import { timeOfDay } from "./clocks.js";
import { expectedFront, toPlan } from "./forecast.js";
import { frontAt, guessedFront, SIDES } from "./sheet.js";
import { mark, spaced } from "./svg.js";

const STEPS = 12;
const FIGURE = 21;
const TIME = 18.6;
const DIGIT = 0.65; // of the size: how wide a figure is
const LEGEND = { x: 4, up: 3, size: 15 }; // beside the words below the scale

function wave(x, row) {
  return Array.from({ length: STEPS + 1 }, (_, step) => {
    const along = Math.min(x, x - 3 + 3 * Math.sin((step * 2 * Math.PI) / 6));
    return `${along.toFixed(1)},${(row.y + (row.height * step) / STEPS).toFixed(1)}`;
  });
}

/**
 * How far the front is and when it was told: right before it where the dry side is free that far, else behind it on a plate.
 * Only where neither has room does it stand past what is drawn ahead, on a plate too: no line runs through a figure.
 */
function figures(front, x, row, { start, end }, others) {
  const told = spaced(front.girth_mm);
  const at = timeOfDay(Date.parse(front.at), false);
  const [wideTold, wideAt] = [told.length * FIGURE * DIGIT, at.length * TIME * DIGIT];
  const wide = wideTold + 8 + wideAt;
  const [before, behind] = [x + 12, x - 16 - wide];
  const isFree = (from) => from + wide < end && !others.some((other) => other > from - 10 && other < from + wide + 8);
  let from = before;
  if (!isFree(from) && behind > start) from = behind;
  for (const other of others.sort((one, two) => one - two)) if (from > behind && !isFree(from)) from = other + 12;
  if (from + wide >= end) from = behind;
  const baseline = row.y + row.height / 2 + 7.5;
  const lies = { x: from - 5, y: row.y + 4, width: wide + 10, height: row.height - 8 };
  const plate = from === before ? [] : [mark("rect", { class: "plate", ...lies })];
  return [
    ...plate,
    mark("text", { class: "figure-told", x: from, y: baseline, "font-size": FIGURE }, told),
    mark("text", { class: "figure", x: from + wideTold + 8, y: baseline, "font-size": TIME }, at),
  ];
}

function warning(trouble, ground, strip) {
  const row = strip[trouble.side];
  const x = ground.x0_px + Math.min(trouble.girth_mm ?? 0, strip.flange_mm) * ground.px_per_mm;
  const y = row.y + row.height / 2;
  const rays = [[0, -17], [-13, 12], [13, 12]].map(([dx, dy]) =>
    mark("line", { class: "line", x1: x + dx * 0.5, y1: y + dy * 0.5, x2: x + dx, y2: y + dy }));
  return [...rays, mark("circle", { class: "hollow", cx: x, cy: y, r: 7 })];
}

const STATION_NAME = 90;
const HALF_A_NAME = 32;
const SIGNS = { starboard: "S", port: "P" };

/** Over the strip, clear of the names there: how far each side is ahead of the plan or behind it, in mm. */
function againstPlan(sheet, strip, ground, now) {
  const said = SIDES.map((side) => [SIGNS[side], toPlan(sheet, strip.station, side, now)]).filter(([, mm]) => mm !== null);
  const words = said.map(([sign, mm]) => `${sign} ${mm < 0 ? "−" : "+"}${spaced(Math.abs(mm))}`).join("  ");
  const wide = words.length * TIME * DIGIT;
  let x = ground.x0_px + STATION_NAME;
  for (const { mm } of strip.landmarks) {
    const at = ground.x0_px + mm * ground.px_per_mm;
    if (x + wide > at - HALF_A_NAME && x < at + HALF_A_NAME) x = at + HALF_A_NAME;
  }
  return words ? [mark("text", { class: "to-plan", x, y: strip.starboard.y - 8, "font-size": TIME }, words)] : [];
}

/** Put the fronts of the folded sheet into the drawing; gives where each is guessed, for words beside it. */
export function drawFronts(svg, sheet, now) {
  const ground = JSON.parse(svg.dataset.ground);
  const under = mark("g", { class: "moving" });
  const over = mark("g", { class: "moving" });
  for (const strip of ground.strips) {
    const end = ground.x0_px + strip.flange_mm * ground.px_per_mm;
    const at = (mm) => ground.x0_px + Math.min(mm, strip.flange_mm) * ground.px_per_mm;
    for (const side of SIDES) {
      const row = strip[side];
      const front = frontAt(sheet, strip.station, side);
      const guess = guessedFront(sheet, strip.station, side, now);
      const planned = sheet.pour.closed_at ? null : expectedFront(sheet, strip.station, side, now);
      const isPlanned = planned !== null && planned < strip.flange_mm;
      if (front && front.girth_mm > 0) {
        const line = wave(at(front.girth_mm), row);
        const wetted = [`${ground.x0_px},${row.y}`, ...line, `${ground.x0_px},${row.y + row.height}`];
        under.append(mark("polygon", { class: "resin", points: wetted.join(" ") }));
        under.append(mark("polyline", { class: "front", points: line.join(" ") }));
        const lines = sheet.feed_lines.filter((one) => [side, "both"].includes(one.side));
        const others = [...lines.map((one) => one.girth_mm), ...strip.landmarks.map((one) => one.mm)];
        if (guess !== null) others.push(guess);
        if (isPlanned) others.push(planned);
        const room = { start: ground.x0_px, end };
        over.append(...figures(front, at(front.girth_mm), row, room, others.map(at)));
      }
      if (isPlanned) {
        const x = at(planned);
        under.append(mark("line", { class: "expected", x1: x, x2: x, y1: row.y - 4, y2: row.y + row.height + 4 }));
      }
      if (guess !== null) {
        const x = at(guess);
        under.append(mark("line", { class: "guess", x1: x, x2: x, y1: row.y, y2: row.y + row.height }));
      }
    }
    over.append(...againstPlan(sheet, strip, ground, now));
    for (const trouble of sheet.troubles) {
      const isHere = trouble.station === strip.station && trouble.side && !trouble.mended_at;
      if (isHere) over.append(...warning(trouble, ground, strip));
    }
  }
  if (sheet.pour_plan && !sheet.pour.closed_at) {
    const lies = { class: "legend", x: LEGEND.x, y: ground.height - LEGEND.up, "font-size": LEGEND.size };
    over.append(mark("text", lies, "blue: the plan, and mm to it"));
  }
  for (const before of svg.querySelectorAll(".moving")) before.remove();
  const first = svg.querySelector(".feed-line, .ink");
  first.before(under);
  svg.append(over);
}
