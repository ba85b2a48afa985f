// Where the front should be by now, what the part still draws, when the next pail is wanted and when the flange is reached:
// the plan that was read to the crew, put right by what was told. The sums are those of hullbook/calc/forecast.py and
// styrene.py, put to the same values by a test. Where no plan was read there is nothing here, and null says so.

import { fill } from "./flow.js";
import {
  EXTRAPOLATION_K, feeding, frontAt, frontAtOpening, gelTimeAlong, guessedFront, iso, isLost, isThrough, linesBehind,
  SIDES, spellsOf, within,
} from "./sheet.js";

const MINUTE_MS = 60_000;
const MM = 1000;
const TWO_SDS = 2;
const SHORTEST_WAY_MIN = 2; // of flow, before a pace says anything
const GELLED_ABOVE_C = 60; // as hullbook/calc/styrene.py
const STEPS = 120; // of the fill: half a minute each in an hour

// ---- The sums

/** A ratio of told to planned, drawn toward 1 by how sure either side is. */
export function shrunkRatio(told, planned, { sdBetween, sdReading }) {
  const reading = sdReading ** -2;
  const precision = reading + sdBetween ** -2;
  const weight = reading / precision;
  const ratio = told / planned;
  return { ratio, weight, drawnIn: 1 + weight * (ratio - 1), sd: precision ** -0.5 };
}

/** What the part still draws from where the plan has it at `planSoFar`, and what is to be mixed for it; all in kg. */
export function remainingToMix({ planTotal, planSoFar, used, mixed, heel, spread }) {
  const ratio = shrunkRatio(used, planSoFar, { sdBetween: spread.sd_hull, sdReading: spread.sd_reading });
  const dry = planTotal - planSoFar;
  const remaining = ratio.drawnIn * dry;
  const sd = dry * Math.hypot(ratio.sd, spread.sd_local);
  const upper = remaining + spread.k * sd;
  return { ratio, remaining, sd, upper, toMix: upper + heel - (mixed - used), forecastUsed: used + remaining };
}

/** Minutes until the next pail must be begun; 0 or less: now. */
export function minutesToNextCall({ left, heel, rate, mixingMin }) {
  return (left - heel) / rate - mixingMin;
}

/** When a front will be through, from how long it took since its line was opened against the plan. */
export function arrival({ toldMinute, toldSince, plannedSince, plannedHere, plannedLater, sdPlan, sdReading, k }) {
  const pace = shrunkRatio(toldSince, plannedSince, { sdBetween: sdPlan, sdReading });
  const still = pace.drawnIn * (plannedHere + plannedLater);
  const eitherWay = k * Math.hypot(pace.sd * plannedHere, sdPlan * plannedLater);
  const low = toldMinute + Math.max(0, still - eitherWay);
  return { minute: toldMinute + still, low, high: toldMinute + still + eitherWay };
}

export function relativeSdOfBand([low, high]) {
  return Math.log(high / low) / 4;
}

/** Vapour pressure of styrene in mbar, 10 to 145 °C; null outside. */
export function styrenePressure(temperatureC) {
  if (!(temperatureC >= 10 && temperatureC <= 145)) return null;
  return Math.exp(21.48733 - 3677.235 / (temperatureC + 273.15 - 49.03)) / 100;
}

// ---- The plan's front

const fills = new WeakMap();
const drawns = new WeakMap();
const tolds = new WeakMap();

/** The plan's fill of each strip, worked out once for each sheet. */
function fillsOf({ pour_plan: plan }) {
  if (!fills.has(plan)) {
    fills.set(plan, new Map(plan.strips.map((strip) => [`${strip.station} ${strip.side}`, fill(strip, plan.pull)])));
  }
  return fills.get(plan);
}

function planned(sheet, station, side) {
  return sheet.pour_plan ? (fillsOf(sheet).get(`${station} ${side}`) ?? null) : null;
}

/** Minutes since the first inlet was opened, without those of all stop; null before that. */
function pourMinute(sheet, at) {
  const first = sheet.pour.first_inlet_at;
  return first ? (at - Date.parse(first) - stoppedMs(sheet, Date.parse(first), at)) / MINUTE_MS : null;
}

function stoppedMs(sheet, from, until) {
  const stops = sheet.troubles.filter(({ kind }) => kind === "all stop");
  return within(stops.map(({ at, mended_at: on }) => [Date.parse(at), on ? Date.parse(on) : Infinity]), from, until);
}

/** Where the front should be by the plan at `at`, in mm from the keel; null where the plan says nothing. */
export function expectedFront(sheet, station, side, at) {
  const minute = pourMinute(sheet, at);
  const curve = planned(sheet, station, side);
  return minute === null || !curve ? null : MM * curve.frontAt(minute);
}

function standsAt(sheet, station, side, at) {
  return guessedFront(sheet, station, side, at) ?? frontAt(sheet, station, side)?.girth_mm ?? null;
}

/** How far a front is ahead of the plan in mm, behind below 0; null where none was told, or it is through. */
export function toPlan(sheet, station, side, at) {
  const expected = expectedFront(sheet, station, side, at);
  const told = frontAt(sheet, station, side)?.girth_mm ?? null;
  const length = sheet.girth.stations.find((one) => one.name === station)?.girth_mm;
  if (expected === null || told === null || told >= length) return null;
  return standsAt(sheet, station, side, at) - expected;
}

// ---- The plan's resin

function wetShare({ from_mm: from, to_mm: to }, front, length) {
  const end = Math.min(to, length);
  return end > from ? Math.min(Math.max((front - from) / (end - from), 0), 1) : null;
}

function mean(values) {
  return values.length ? values.reduce((sum, value) => sum + value, 0) / values.length : 0;
}

/** Kilograms the plan has in the part with fronts at `frontOf(station, side)` and the feed lines of which `isOpen`. */
function plannedKg(sheet, frontOf, isOpen) {
  const { zones, lines, end_kg: endKg, total_kg: total } = sheet.pour_plan.kg;
  const fronts = sheet.girth.stations.flatMap(({ name, girth_mm: length }) =>
    SIDES.map((side) => ({ station: name, side, front: frontOf(name, side) ?? 0, length })));
  const isThere = ({ front, length }) => (front >= length - 1 ? 1 : 0);
  const inZones = zones.reduce((sum, zone) => {
    const beside = fronts.filter(({ station, side }) => side === zone.side && zone.stations.includes(station));
    const wet = beside.map(({ front, length }) => wetShare(zone, front, length)).filter((share) => share !== null);
    // A zone that no station has counts as the strips come through.
    return sum + zone.kg * mean(wet.length ? wet : beside.map(isThere));
  }, 0);
  const inLines = lines.filter(({ line }) => isOpen(line)).reduce((sum, { kg }) => sum + kg, 0);
  return Math.min(inZones + inLines + endKg * mean(fronts.map(isThere)), total);
}

/** By the fronts told until then, guessed on from there; asked for the same moments again and again, reckoned once. */
function plannedKgTold(sheet, at) {
  if (!(at > Date.parse(sheet.pour.first_inlet_at))) return 0;
  if (!tolds.has(sheet)) tolds.set(sheet, new Map());
  const known = tolds.get(sheet);
  if (!known.has(at)) known.set(at, reckonedKgTold(sheet, at));
  return known.get(at);
}

function reckonedKgTold(sheet, at) {
  const until = iso(at); // told in the same form, so that letters compare as times do
  const then = { ...sheet, fronts: sheet.fronts.filter((front) => front.at <= until) };
  const open = new Set(sheet.feed_lines.map((line) => line.number)
    .filter((number) => SIDES.some((side) => spellsOf(sheet, number, side)[0]?.[0] <= at)));
  // A strip of which nobody told anything is taken as the plan has it.
  const stands = (station, side) => standsAt(then, station, side, at) ?? expectedFront(sheet, station, side, at);
  return plannedKg(sheet, stands, (line) => open.has(line));
}

/** What the plan has drawn minute by minute of its fill, as `[minute, kg]`, its lines opened as planned; once a plan. */
export function drawnByPlan(sheet) {
  if (!drawns.has(sheet.pour_plan)) drawns.set(sheet.pour_plan, drawnThrough(sheet));
  return drawns.get(sheet.pour_plan);
}

function drawnThrough(sheet) {
  const curves = fillsOf(sheet);
  const opens = (line) => Math.min(...sheet.pour_plan.strips.flatMap(({ station, side, feeds }) =>
    feeds.filter((feed) => feed.line === line).map((feed) =>
      curves.get(`${station} ${side}`)?.minuteAt(feed.opens_front_m) ?? Infinity)));
  const opened = new Map(sheet.pour_plan.kg.lines.map(({ line }) => [line, opens(line)]));
  const front = (minute) => (station, side) => MM * (planned(sheet, station, side)?.frontAt(minute) ?? 0);
  const drawn = (minute) => plannedKg(sheet, front(minute), (line) => opened.get(line) <= minute);
  const end = Math.max(...[...curves.values()].filter(Boolean).map((curve) => curve.fillMinutes));
  return Array.from({ length: STEPS + 1 }, (_, step) => [(end * step) / STEPS, drawn((end * step) / STEPS)]);
}

/** The minute of the pour by which the plan has drawn so much. */
function plannedMinute(sheet, kg) {
  const steps = drawnByPlan(sheet);
  const place = steps.findIndex(([, drawn]) => drawn >= kg);
  if (place <= 0) return place < 0 ? steps.at(-1)[0] : 0;
  const [[from, before], [to, after]] = [steps[place - 1], steps[place]];
  return from + ((to - from) * (kg - before)) / (after - before);
}

// ---- The resin drawn

function useful(sheet) {
  return sheet.pails.filter((pail) => !isLost(sheet, pail));
}

/** What a pail that ended has given; more left in it than was mixed is a question for after the clamp. */
function given(pail) {
  return Math.max(0, pail.mixed_kg - (pail.left_kg ?? 0));
}

/** When a pail began to be drawn: mixed, its inlet open, the pail before it there ended; null while that one has not. */
function onSince(sheet, pail) {
  const before = sheet.pails.filter((one) => one.inlet === pail.inlet && one.mixed_at < pail.mixed_at);
  if (before.some((one) => one.ended_at === null)) return null;
  const opens = sheet.moves.filter(({ inlet, move }) => String(inlet) === pail.inlet && move === "open");
  const opened = opens.reduce((first, { at }) => (at < first ? at : first), opens[0]?.at ?? sheet.pour.first_inlet_at);
  return Math.max(...[pail.mixed_at, opened, ...before.map((one) => one.ended_at)].map((when) => Date.parse(when)));
}

/**
 * Kilograms drawn by `at`. Pails that had ended are gone but for what was left; one still on has given as much of what the
 * part took meanwhile, by the plan, as those did while they were on, and has its heel at least.
 */
function drawnBy(sheet, at) {
  const tookFrom = (since, until) => (since !== null && since < until
    ? plannedKgTold(sheet, until) - plannedKgTold(sheet, since) : 0);
  const hasEnded = (pail) => pail.ended_at !== null && Date.parse(pail.ended_at) <= at;
  const gone = useful(sheet).filter(hasEnded);
  const kg = gone.reduce((sum, pail) => sum + given(pail), 0);
  const meanwhile = gone.reduce((sum, pail) => sum + tookFrom(onSince(sheet, pail), Date.parse(pail.ended_at)), 0);
  const share = meanwhile > 0 ? kg / meanwhile : 0;
  return useful(sheet).filter((pail) => !hasEnded(pail)).reduce((sum, pail) => {
    const most = Math.max(0, pail.mixed_kg - sheet.pour_plan.heel_kg);
    return sum + Math.min(most, share * tookFrom(onSince(sheet, pail), at));
  }, kg);
}

/** What lost pails had given to the part before they were taken off, where what was left in them is known. */
function givenByLost(sheet) {
  const lost = sheet.pails.filter((pail) => isLost(sheet, pail) && pail.left_kg !== null);
  return lost.reduce((sum, pail) => sum + given(pail), 0);
}

function lastEndOf(sheet) {
  const ends = useful(sheet).filter((pail) => pail.ended_at).map((pail) => Date.parse(pail.ended_at));
  return ends.length ? Math.max(...ends) : null;
}

// ---- What follows from it

/**
 * What remains to mix by what was drawn when the last pail ended; null without a plan. `isPlan` where too little is wet to
 * say anything: then it is the plan alone.
 */
function resinOf(sheet) {
  const { kg, forecast: spread, heel_kg: heel } = sheet.pour_plan;
  const planTotal = kg.total_kg;
  const byLost = givenByLost(sheet);
  // What was left in a pail that ended goes into no part either.
  const atHand = (pail) => (pail.ended_at === null ? pail.mixed_kg : given(pail));
  const mixed = useful(sheet).reduce((sum, pail) => sum + atHand(pail), byLost);
  const at = lastEndOf(sheet);
  const planSoFar = at === null || !sheet.pour.first_inlet_at ? 0 : plannedKgTold(sheet, at);
  if (planSoFar < spread.from_share * planTotal) {
    const likely = planTotal + heel - mixed;
    const inHand = spread.k * planTotal * Math.hypot(spread.sd_hull, spread.sd_local);
    return { isPlan: true, at: null, mixed, used: 0, ratio: null, toMix: likely + inHand, likely };
  }
  const used = Math.min(drawnBy(sheet, at) + byLost, mixed);
  const found = remainingToMix({ planTotal, planSoFar, used, mixed, heel, spread });
  return { isPlan: false, at, mixed, used, ...found, likely: found.remaining + heel - (mixed - used) };
}

function nextPailOf(sheet, resin, now) {
  const { mixing_min: mixingMin, heel_kg: heel } = sheet.pour_plan;
  if (sheet.pour.closed_at || sheet.stopped || isThrough(sheet) || resin.toMix <= 0) return null;
  const number = Math.max(0, ...sheet.pails.map((pail) => pail.number)) + 1;
  if (!sheet.pour.first_inlet_at) {
    // One more is wanted first where what is mixed would be drawn before a pail could follow it.
    const isFirst = plannedMinute(sheet, Math.max(0, resin.mixed - heel)) < mixingMin;
    return isFirst ? { number, at: now, isFirst } : null;
  }
  const thirst = resin.ratio?.drawnIn ?? 1;
  // Reckoned from the last that was told: where nobody tells anything the call stands, it does not move on with the clock.
  const until = iso(now);
  const told = sheet.fronts.reduce((last, { at }) => (at > last && at <= until ? at : last), sheet.pour.first_inlet_at);
  const then = Math.max(lastEndOf(sheet) ?? 0, Date.parse(told));
  const planSoFar = plannedKgTold(sheet, then);
  const drawn = Math.min(resin.mixed, Math.max(resin.used, thirst * planSoFar));
  const left = feeding(sheet).length ? resin.mixed - drawn : 0;
  const usable = Math.max(0, left - heel);
  // By the plan from where the front is now: a line that is opened meanwhile draws at once.
  const lasts = plannedMinute(sheet, planSoFar + usable / thirst) - plannedMinute(sheet, planSoFar);
  const minutes = lasts > 0 ? minutesToNextCall({ left, heel, rate: usable / lasts, mixingMin }) : 0;
  return { number, at: then + stoppedMs(sheet, then, now) + MINUTE_MS * Math.max(0, minutes), isFirst: false };
}

/** Released resin that stands unmixed: what the book had, less what this tablet has mixed since. */
function releasedKg(sheet) {
  const since = sheet.pails.filter((pail) => !pail.entry || pail.entry > sheet.book.number);
  return Math.max(0, sheet.pour_plan.released_kg - since.reduce((sum, pail) => sum + pail.resin_kg, 0));
}

function shortageOf(sheet, resin) {
  const released = releasedKg(sheet);
  const short = resin.toMix - released;
  if (short <= 0 || sheet.pour.closed_at) return null;
  return { short, released, isLastPail: released <= sheet.pour_plan.pail_kg };
}

/** The plan's strip with its lines opened where the front stood then; those still to come where the plan has them. */
function stripAsOpened(sheet, { station, side, sections, feeds }, behind, front) {
  const asPlanned = new Map(feeds.map((feed) => [feed.line, feed]));
  const opened = behind.map((line) => {
    const plannedMm = MM * (asPlanned.get(line.line)?.opens_front_m ?? line.girth_mm / MM);
    const stoodMm = line.girth_mm > 0 ? (frontAtOpening(sheet, station, side, line, front) ?? plannedMm) : 0;
    const opensMm = Math.max(line.girth_mm, Math.min(stoodMm, front.girth_mm));
    const { hose_resistance_1_m3 } = asPlanned.get(line.line) ?? feeds[0];
    return { line: line.line, girth_m: line.girth_mm / MM, opens_front_m: opensMm / MM, hose_resistance_1_m3 };
  });
  const toCome = feeds.filter((feed) => !behind.some(({ line }) => line === feed.line))
    .map((feed) => ({ ...feed, opens_front_m: Math.max(feed.opens_front_m, front.girth_mm / MM) }));
  // Of lines that open at the same front the furthest feeds it.
  const inTurn = [...opened, ...toCome].sort((one, other) => one.girth_m - other.girth_m);
  return { sections, feeds: inTurn.filter((feed, place) => !(inTurn[place + 1]?.opens_front_m <= feed.opens_front_m)) };
}

/** How far the stack the front is in goes on, in m: of what is laid beyond nothing was seen yet. */
function alikeTo({ sections }, frontM) {
  const isLike = (one, other) => ["thickness_mm", "porosity", "permeability_m2"].every((of) => one[of] === other[of]);
  let [end, here] = [0, null];
  for (const section of sections) {
    if (here && !isLike(section, here)) return end;
    end += section.length_m;
    if (!here && frontM < end) here = section;
  }
  return end;
}

function arrivalOf(sheet, station, side, now) {
  const strip = sheet.pour_plan.strips.find((one) => one.station === station && one.side === side);
  const front = frontAt(sheet, station, side);
  if (!strip || !front || front.girth_mm >= MM * (planned(sheet, station, side)?.lengthM ?? 0) - 1) return null;
  const behind = linesBehind(sheet, side, front);
  const asOpened = stripAsOpened(sheet, strip, behind, front);
  const curve = fill(asOpened, sheet.pour_plan.pull);
  const place = asOpened.feeds.findLastIndex(({ line }) => behind.some((one) => one.line === line));
  if (!curve || place < 0) return null;
  const fed = behind.find(({ line }) => line === asOpened.feeds[place].line);
  const nextFeed = asOpened.feeds[place + 1];
  const hereTo = Math.min(alikeTo(strip, front.girth_mm / MM), nextFeed ? nextFeed.opens_front_m : curve.lengthM);
  const bayEnds = curve.minuteAt(hereTo);
  const toldAt = Date.parse(front.at);
  const plannedAt = curve.minuteAt(front.girth_mm / MM);
  const plannedSince = plannedAt - curve.minuteAt(asOpened.feeds[place].opens_front_m);
  const toldSince = within(fed.spells, fed.since, toldAt) / MINUTE_MS;
  const isEarly = Math.min(plannedSince, toldSince) < SHORTEST_WAY_MIN;
  const found = arrival({
    toldMinute: 0,
    toldSince: isEarly ? 1 : toldSince,
    plannedSince: isEarly ? 1 : plannedSince,
    plannedHere: Math.max(0, bayEnds - plannedAt),
    plannedLater: curve.fillMinutes - Math.max(bayEnds, plannedAt),
    sdPlan: relativeSdOfBand(sheet.pour_plan.time_band),
    sdReading: isEarly ? 1 : sheet.pour_plan.forecast.sd_pace,
    k: TWO_SDS,
  });
  // Resin need not have flowed all the time since: what it still has to flow comes after what has gone by.
  const lines = sheet.feed_lines.filter((line) => line.girth_mm >= fed.girth_mm).map((line) => line.number);
  const flowed = Math.max(...lines.map((number) => within(spellsOf(sheet, number, side), toldAt, now)));
  const due = (minutes) => now + minutes * MINUTE_MS - flowed;
  const clock = (minutes) => Math.max(now, due(minutes)); // it was not told by now
  const arrives = { at: clock(found.minute), lowAt: clock(found.low), highAt: clock(found.high) };
  return { station, side, ...arrives, overdueSince: due(found.minute) < now ? due(found.minute) : null };
}

/** The strip that will be through last, `{station, side, at, lowAt, highAt}`; null while no front was told. */
function lastArrival(sheet, now) {
  const all = sheet.girth.stations.flatMap(({ name }) => SIDES.map((side) => arrivalOf(sheet, name, side, now)));
  return all.filter(Boolean).reduce((latest, one) => (latest && latest.at >= one.at ? latest : one), null);
}

/** Strips of which nothing was told though resin has run for a while: forecasts take them as planned. */
function untoldStrips(sheet, now) {
  if (pourMinute(sheet, now) < SHORTEST_WAY_MIN || !sheet.fronts.length) return [];
  return sheet.girth.stations.flatMap(({ name }) =>
    SIDES.filter((side) => !frontAt(sheet, name, side)).map((side) => `${side} at ${name}`));
}

/** The warmest laminate as `[ms, °C]`, from each reading to the next, the last one of every place counting. */
function warmestLaminate(sheet) {
  const last = new Map();
  return sheet.readings.filter(({ what }) => what === "laminate").map(({ at, place, value }) => {
    last.set(place, value);
    return [Date.parse(at), Math.max(...last.values())];
  });
}

/**
 * Earliest gel in the part of what came from a pail: at the pail's temperature until it is drawn, from then on at that of
 * the warmest laminate, as far as the gel table reaches. `isPast` where it does not: warmer laminate gels sooner.
 */
function gelInPart(sheet, laminate, pail) {
  const own = { pail: pail.number, at: Date.parse(pail.gel.low_at), isPast: false };
  const drawnFrom = onSince(sheet, pail);
  if (drawnFrom === null || !laminate.length || !sheet.mix.gel_table) return own;
  const mixedAt = Date.parse(pail.mixed_at);
  const { temperatures_c: tabled } = sheet.mix.gel_table;
  const [coldest, warmest] = [tabled[0] - EXTRAPOLATION_K, tabled.at(-1) + EXTRAPOLATION_K];
  const began = laminate.findLast(([at]) => at <= drawnFrom);
  const inPart = [...(began ? [[drawnFrom, began[1]]] : []), ...laminate.filter(([at]) => at > drawnFrom)]
    .map(([at, celsius]) => [(at - mixedAt) / MINUTE_MS, Math.min(Math.max(celsius, coldest), warmest)]);
  const inPail = pail.temperatures.filter(([minute]) => minute < inPart[0][0]);
  const time = gelTimeAlong(sheet.mix.gel_table, pail.percent, [...inPail, ...inPart]);
  const isPast = laminate.some(([at, celsius]) => at < own.at && celsius > warmest);
  return time ? { ...own, at: mixedAt + time.low * MINUTE_MS, isPast } : own;
}

function firstGel(sheet) {
  const isInPart = (pail) => !isLost(sheet, pail) || (pail.left_kg !== null && pail.left_kg < pail.mixed_kg);
  const timed = sheet.pails.filter((pail) => isInPart(pail) && pail.gel.low_at);
  const laminate = warmestLaminate(sheet);
  const clocks = timed.map((pail) => gelInPart(sheet, laminate, pail));
  return clocks.reduce((first, one) => (first && first.at <= one.at ? first : one), null);
}

/** Bag pressure against that at which styrene boils in the warmest resin told, before gel; null where one is not known. */
function boilOf(sheet) {
  const { styrene } = sheet.pour_plan;
  const bag = sheet.last["bag pressure"]?.value ?? null;
  const lastAt = new Map(sheet.readings.filter(({ what }) => ["resin", "laminate"].includes(what))
    .map((reading) => [`${reading.what} ${reading.place}`, reading]));
  const read = [...lastAt.values(), sheet.last.resin, sheet.last.laminate].filter(Boolean).map(({ value }) => value);
  const all = [...feeding(sheet).map((pail) => pail.temperature_c), ...read];
  const warmest = Math.max(...all.filter((temperature) => temperature <= GELLED_ABOVE_C));
  const pressure = styrene && bag !== null ? styrenePressure(warmest) : null;
  if (pressure === null) return null;
  const boilsAt = styrene.activity * pressure;
  const level = bag < styrene.red * boilsAt ? "now" : bag < styrene.amber * boilsAt ? "soon" : "";
  return { bag, warmest, boilsAt, level, wanted: styrene.amber * boilsAt };
}

/** All of it at `now`; null where no plan was read to the crew. */
export function forecastOf(sheet, now) {
  if (!sheet.pour_plan || !sheet.girth.stations.length) return null;
  const resin = resinOf(sheet);
  const isRunning = Boolean(sheet.pour.first_inlet_at) && !sheet.pour.closed_at;
  return {
    resin,
    next: nextPailOf(sheet, resin, now),
    shortage: shortageOf(sheet, resin),
    arrival: isRunning ? lastArrival(sheet, now) : null,
    gel: isRunning ? firstGel(sheet) : null,
    untold: isRunning ? untoldStrips(sheet, now) : [],
    boil: sheet.pour.closed_at && sheet.gels.some((gel) => gel.where === "part") ? null : boilOf(sheet),
  };
}
