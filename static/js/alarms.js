// What asks for somebody now or soon, by rules over the folded sheet and the time; and how it sounds. Three ranks only:
// NOW within a minute, SOON within minutes, NOTE a line in the list. What asks nothing of anybody is not here.

import { toPlan } from "./forecast.js";
import { feeding, frontAt, isLongPast, SIDES, sums } from "./sheet.js";

const MINUTE_MS = 60_000;
const GEL_NOW_MS = 3 * MINUTE_MS;
const GEL_SOON_MS = 8 * MINUTE_MS;
const VACUUM_WINDOW_MS = 2 * MINUTE_MS;
const MIX_SOON_MS = 3 * MINUTE_MS;
const WAITING_NOTE_MS = 5 * MINUTE_MS;
const LAG_SHARE = 0.15; // of the way from keel to flange
const LATE_EACH = 2; // fronts named one by one
const LAG_MS = 3 * MINUTE_MS; // the other side is called a little later: only then is it behind
export const KNOCK_AGAIN_MS = 5000;
const SIDE_WORDS = { starboard: "Starboard", port: "Port" };
const ORDER = { now: 0, soon: 1, note: 2 };

const minutes = (ms) => Math.max(1, Math.round(ms / MINUTE_MS));
const two = (figure) => String(figure).padStart(2, "0");

function clockTime(at) {
  const then = new Date(at);
  return `${two(then.getHours())}:${two(then.getMinutes())}`;
}

function figure(value) {
  return value.toLocaleString("en-GB", { maximumFractionDigits: 1, useGrouping: false });
}

// ---- The rules

/** Worse by more than the limit than the best of the two minutes before; with none so near, than the reading before. */
function vacuum(sheet) {
  const limit = sheet.plan.vacuum_limit_mbar;
  const readings = sheet.readings.filter((one) => one.what === "bag pressure");
  const last = readings.at(-1);
  if (limit === null || limit === undefined || !last || readings.length < 2 || sheet.pour.closed_at) return [];
  const lastAt = Date.parse(last.at);
  const near = readings.slice(0, -1).filter((one) => lastAt - Date.parse(one.at) <= VACUUM_WINDOW_MS);
  const earlier = near.length ? near : readings.slice(-2, -1);
  const before = earlier.reduce((best, one) => (one.value < best.value ? one : best));
  if (last.value - before.value <= limit) return [];
  const within = minutes(lastAt - Date.parse(before.at));
  const [from, to] = [figure(before.value), figure(last.value)];
  const words = `Vacuum ${from} to ${to} mbar in ${within} min. Find the leak or clamp.`;
  return [{ code: `vacuum-${last.at}`, rank: "now", words, since: lastAt, about: "vacuum" }];
}

function gel(sheet, now) {
  return feeding(sheet).filter((pail) => pail.gel.low_at && !isLongPast(pail, now)).flatMap((pail) => {
    const due = Date.parse(pail.gel.low_at);
    const left = due - now;
    if (left > GEL_SOON_MS) return [];
    const about = `pail ${pail.id}`;
    if (left > GEL_NOW_MS) {
      const words = `Pail ${pail.number} gels in ${minutes(left)} min.`;
      return [{ code: `gel-soon-${pail.id}`, rank: "soon", words, since: due - GEL_SOON_MS, about }];
    }
    const when = left > 0 ? `gels in ${minutes(left)} min` : `was due to gel at ${clockTime(due)}`;
    const words = `Pail ${pail.number} ${when}. Feed or dump.`;
    return [{ code: `gel-now-${pail.id}`, rank: "now", words, since: due - GEL_NOW_MS, about }];
  });
}

function peak(sheet) {
  const limit = sheet.plan.peak_limit_c;
  if (limit === null || limit === undefined) return [];
  const last = new Map();
  for (const one of sheet.readings) if (one.what === "laminate") last.set(one.place, one);
  return [...last.values()].filter((one) => one.value > limit).map((one) => ({
    code: `peak-${one.place}-${one.at}`.slice(0, 60),
    rank: "now",
    words: `${one.place || "Laminate"} at ${figure(one.value)} °C, limit ${figure(limit)}.`,
    since: Date.parse(one.at),
    about: "laminate",
  }));
}

/** Behind the plan that was read by more than its share of the way. */
function late(sheet, now) {
  const all = lateFronts(sheet, now);
  if (all.length <= LATE_EACH) return all;
  // The whole pour is late: one cry, not one for each strip.
  const furthest = all.reduce((one, other) => (other.behind > one.behind ? other : one));
  const since = Math.min(...all.map((one) => one.since));
  return [{ ...furthest, code: "lag-all", words: `${all.length} fronts are behind. ${furthest.words}`, since }];
}

function lateFronts(sheet, now) {
  return sheet.girth.stations.flatMap(({ name, girth_mm: length }) => SIDES.flatMap((side) => {
    const behind = -(toPlan(sheet, name, side, now) ?? 0);
    if (behind <= sheet.pour_plan.late_share * length) return [];
    const words = `${SIDE_WORDS[side]} at ${name} is ${behind.toFixed(0)} mm behind.`;
    const since = Date.parse(frontAt(sheet, name, side).at);
    const about = `front ${name} ${side}`;
    return [{ code: `lag-${name}-${SIDE_WORDS[side]}`, rank: "soon", words, since, about, behind }];
  }));
}

/** Without a plan: behind the other side. */
function lag(sheet, now) {
  return sheet.girth.stations.flatMap(({ name, girth_mm: length }) => {
    const [starboard, port] = ["starboard", "port"].map((side) => frontAt(sheet, name, side));
    if (!starboard && !port) return [];
    const behind = (starboard?.girth_mm ?? 0) - (port?.girth_mm ?? 0);
    if (Math.abs(behind) <= LAG_SHARE * length) return [];
    const side = behind > 0 ? "Port" : "Starboard";
    const since = Date.parse((behind > 0 ? starboard : port).at) + LAG_MS;
    if (now < since) return [];
    const words = `${side} at ${name} is ${Math.abs(behind).toFixed(0)} mm behind.`;
    return [{ code: `lag-${name}-${side}`, rank: "soon", words, since, about: `front ${name} ${side.toLowerCase()}` }];
  });
}

/** By the pace of the pails before: the next is wanted as long after the last as they came after each other. */
export function nextMixAt(sheet) {
  const mixed = sheet.pails.map((pail) => Date.parse(pail.mixed_at)).sort((one, other) => one - other);
  if (mixed.length < 2 || sheet.pour.closed_at || sheet.stopped || sums(sheet).left <= 0) return null;
  return mixed.at(-1) + (mixed.at(-1) - mixed[0]) / (mixed.length - 1);
}

function mix(sheet, now, forecast) {
  const at = forecast ? (forecast.next?.at ?? null) : nextMixAt(sheet);
  if (at === null || now < at - MIX_SOON_MS) return [];
  const number = Math.max(...sheet.pails.map((pail) => pail.number)) + 1;
  const words = `Mix pail ${number} by ${clockTime(at)}.`;
  return [{ code: `mix-${number}`, rank: "soon", words, since: at - MIX_SOON_MS, about: "mix" }];
}

/** More to mix than stands released: NOW once the last pail of it is what comes next. */
function short({ shortage, resin }, now) {
  if (!shortage) return [];
  const [missing, released] = [shortage.short, shortage.released].map((kg) => kg.toFixed(0));
  const words = `${missing} kg short: ${resin.toMix.toFixed(0)} kg to mix, ${released} kg released in the shop.`;
  const rank = shortage.isLastPail ? "now" : "soon";
  return [{ code: `short-${rank}`, rank, words, since: resin.at ?? now, about: "left" }];
}

/** The flange may be reached after the oldest resin gels. */
function tooLate({ arrival, gel }) {
  if (!arrival || !gel || arrival.highAt <= gel.at) return [];
  const strip = `${SIDE_WORDS[arrival.side]} at ${arrival.station}`;
  const [latest, gels] = [clockTime(arrival.highAt), clockTime(gel.at)];
  const words = `${strip} may be through as late as ${latest}; pail ${gel.pail} gels from ${gels}.`;
  return [{ code: `arrival-${gel.pail}`, rank: "soon", words, since: gel.at - GEL_SOON_MS, about: "clock" }];
}

function boil({ boil: found }, sheet) {
  if (!found?.level) return [];
  const at = sheet.last["bag pressure"].at;
  const boils = `styrene boils at ${figure(found.boilsAt)} in resin of ${figure(found.warmest)} °C`;
  const words = `Bag at ${figure(found.bag)} mbar: ${boils}. Let the bag up to ${Math.ceil(found.wanted)} mbar.`;
  return [{ code: `boil-${found.level}-${at}`, rank: found.level, words, since: Date.parse(at), about: "vacuum" }];
}

function overdue(sheet, now) {
  const every = sheet.plan.reading_every_min * MINUTE_MS;
  const from = sheet.readings.filter((one) => one.what === "bag pressure").at(-1)?.at ?? sheet.pour.first_inlet_at;
  if (!from || now - Date.parse(from) < 1.5 * every) return [];
  const words = `Vacuum not told since ${clockTime(from)}.`;
  return [{ code: `reading-${from}`, rank: "note", words, since: Date.parse(from) + 1.5 * every, about: "vacuum" }];
}

function waiting(entries, now, aheadMs) {
  const left = entries
    .filter((entry) => entry.state === "waiting")
    .map((entry) => Date.parse(entry.tapped_at) - aheadMs);
  const oldest = Math.min(...left);
  if (!left.length || now - oldest < WAITING_NOTE_MS) return [];
  const words = `${left.length} on this tablet since ${clockTime(oldest)}.`;
  return [{ code: "waiting", rank: "note", words, since: oldest + WAITING_NOTE_MS, about: "tablet" }];
}

/**
 * What asks for somebody at `now`, the most urgent first: `{code, rank, words, since, about, taken}`, `taken` being who
 * has it in hand; `forecast` is null where no plan was read. Resin runs from the first inlet until the pour is closed; pails
 * are watched until they are told ended.
 */
export function alarmsOf(sheet, now, { entries = [], aheadMs = 0, forecast = null } = {}) {
  const runs = sheet.pour.first_inlet_at && !sheet.pour.closed_at;
  const behind = sheet.pour_plan ? late : lag;
  const found = [
    ...gel(sheet, now),
    ...peak(sheet),
    ...(runs ? [...vacuum(sheet), ...behind(sheet, now), ...mix(sheet, now, forecast), ...overdue(sheet, now)] : []),
    ...(runs && forecast ? [...short(forecast, now), ...tooLate(forecast), ...boil(forecast, sheet)] : []),
    ...waiting(entries, now, aheadMs),
  ];
  for (const alarm of found) alarm.taken = sheet.alarms_taken.findLast((one) => one.code === alarm.code) ?? null;
  return found.sort((one, other) => ORDER[one.rank] - ORDER[other.rank] || one.since - other.since);
}

// ---- Sound: told apart by rhythm, never by pitch

/**
 * How many knocks are due: three every five seconds while a NOW is in nobody's hand, two once for each new SOON.
 * `heard` is what has sounded, `{at, codes}`; gives `{knocks, heard}` for the next time.
 */
export function knocksDue(alarms, heard, now) {
  const codes = new Set(heard.codes);
  const isNow = alarms.some((alarm) => alarm.rank === "now" && !alarm.taken);
  if (isNow) {
    if (now - heard.at < KNOCK_AGAIN_MS) return { knocks: 0, heard };
    for (const alarm of alarms) codes.add(alarm.code);
    return { knocks: 3, heard: { at: now, codes: [...codes] } };
  }
  const fresh = alarms.filter((alarm) => alarm.rank === "soon" && !alarm.taken && !codes.has(alarm.code));
  if (!fresh.length) return { knocks: 0, heard };
  for (const alarm of fresh) codes.add(alarm.code);
  return { knocks: 2, heard: { at: now, codes: [...codes] } };
}

const KNOCK_HZ = [880, 1320, 2200]; // wood on wood, all between 500 and 2 500 Hz
const KNOCK_S = 0.09;
const APART_S = 0.28;

/** Play so many knocks on an audio context (WebAudio). */
export function knock(context, count) {
  for (let number = 0; number < count; number += 1) {
    const at = context.currentTime + 0.02 + number * APART_S;
    const gain = context.createGain();
    gain.gain.setValueAtTime(0.9 / KNOCK_HZ.length, at);
    gain.gain.exponentialRampToValueAtTime(0.001, at + KNOCK_S);
    gain.connect(context.destination);
    for (const hertz of KNOCK_HZ) {
      const tone = context.createOscillator();
      tone.type = "triangle";
      tone.frequency.value = hertz;
      tone.connect(gain);
      tone.start(at);
      tone.stop(at + KNOCK_S);
    }
  }
}

// ---- Which rule cried too often

const BUDGET_MS = 10 * MINUTE_MS;
export const BUDGET_MEAN = 1; // NOW and SOON in ten minutes, on average
export const BUDGET_WORST = 6; // in the worst ten minutes

/** `cried` with the NOW and SOON of this moment that are new in it, each by its code and when it began. */
export function withCried(cried, alarms) {
  const known = new Set(cried.map((one) => one.code));
  const fresh = alarms.filter((alarm) => alarm.rank !== "note" && !known.has(alarm.code));
  return fresh.length ? [...cried, ...fresh.map(({ code, rank, since }) => ({ code, rank, at: since }))] : cried;
}

/** How many cried, on average and in the worst ten minutes from `from` to `now`, and by which rule. */
export function criedOften(cried, from, now) {
  const times = cried.map((one) => one.at).filter((at) => at >= from && at <= now).sort((one, other) => one - other);
  const inTheNext = (start) => times.filter((at) => at >= start && at < start + BUDGET_MS).length;
  const worst = Math.max(0, ...times.map(inTheNext));
  const byRule = {};
  for (const { code } of cried) {
    const rule = code.split("-")[0];
    byRule[rule] = (byRule[rule] ?? 0) + 1;
  }
  const mean = times.length / Math.max(1, (now - from) / BUDGET_MS);
  return { count: times.length, mean, worst, byRule, isTooOften: mean > BUDGET_MEAN || worst > BUDGET_WORST };
}
