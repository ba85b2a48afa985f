// A pour as it stands: the sheet from the book with what this tablet was told since folded into it, and the figures
// drawn from it. Nothing here touches a page, a clock or the network: out of reach a tablet knows what the book would.

const ZERO_CELSIUS_K = 273.15;
export const EXTRAPOLATION_K = 3; // as hullbook/calc/gel.py
const MINUTE_MS = 60_000;
const LONG_PAST_MS = 60 * MINUTE_MS;
export const SIDES = ["starboard", "port"];

const LOST = ["dumped", "spoilt"];

// ---- Gel time: hullbook/calc/gel.py gel_time, put to the same values by a test

function placeIn(knots, at) {
  let before = 0;
  for (let i = 0; i < knots.length - 1; i += 1) if (knots[i] <= at) before = i;
  return [before, (at - knots[before]) / (knots[before + 1] - knots[before])];
}

/** Minutes to gel as `{low, mid, high, extrapolated}`; null where the maker's table does not reach. */
export function gelTime(table, dosePhr, temperatureC) {
  const { temperatures_c: temperatures, doses_phr: doses, low_minutes: lows, high_minutes: highs } = table;
  const [coldest, warmest] = [temperatures[0], temperatures.at(-1)];
  if (!(doses[0] <= dosePhr && dosePhr <= doses.at(-1))) return null;
  if (!(coldest - EXTRAPOLATION_K <= temperatureC && temperatureC <= warmest + EXTRAPOLATION_K)) return null;
  const inverse = (celsius) => -1 / (celsius + ZERO_CELSIUS_K);
  const [row, down] = placeIn(temperatures.map(inverse), inverse(temperatureC));
  const [column, across] = placeIn(doses.map(Math.log), Math.log(dosePhr));
  const interpolated = (cells) => {
    const [upper, lower] = [cells[row], cells[row + 1]].map(
      (times) => Math.log(times[column]) * (1 - across) + Math.log(times[column + 1]) * across,
    );
    return Math.exp(upper * (1 - down) + lower * down);
  };
  const mids = lows.map((times, i) => times.map((low, j) => (low + highs[i][j]) / 2));
  return {
    low: interpolated(lows),
    mid: interpolated(mids),
    high: interpolated(highs),
    extrapolated: temperatureC < coldest || temperatureC > warmest,
  };
}

function whatItCovers({ temperatures_c: temperatures, doses_phr: doses }) {
  return `the gel table covers ${temperatures[0]} to ${temperatures.at(-1)} °C and ${doses[0]} to ${doses.at(-1)} phr`;
}

/**
 * Minutes from mixing to gel for resin with these temperatures, each `[minute it was read, °C]` and held until the next:
 * hullbook/calc/gel.py gel_time_along. Null where the maker's table does not reach one of them.
 */
export function gelTimeAlong(table, dosePhr, temperatures) {
  const times = temperatures.map(([, temperatureC]) => gelTime(table, dosePhr, temperatureC));
  if (times.includes(null)) return null;
  const reached = (of) => {
    let used = 0;
    for (const [place, time] of times.entries()) {
      const begins = temperatures[place][0];
      const stretch = (temperatures[place + 1]?.[0] ?? Infinity) - begins;
      if (used + stretch / time[of] >= 1) return begins + (1 - used) * time[of];
      used += stretch / time[of];
    }
    return null;
  };
  const extrapolated = times.some((time) => time.extrapolated);
  return { low: reached("low"), mid: reached("mid"), high: reached("high"), extrapolated };
}

function gelOf({ gel_table: table, gel_words: without }, dosePhr, temperatures, mixedAt) {
  const nothing = { low_at: null, mid_at: null, high_at: null };
  if (!table) return { ...nothing, words: without };
  const time = gelTimeAlong(table, dosePhr, temperatures);
  if (!time) return { ...nothing, words: whatItCovers(table) };
  const after = (minutes) => iso(Date.parse(mixedAt) + minutes * MINUTE_MS);
  const words = time.extrapolated ? "a little past the temperatures of the gel table" : "";
  return { low_at: after(time.low), mid_at: after(time.mid), high_at: after(time.high), words };
}

export function iso(ms) {
  return new Date(ms).toISOString();
}

// ---- The fold

function figure(text) {
  return text === undefined || text === "" ? null : Number(String(text).replace(",", "."));
}

function numberOf(text) {
  return text ? Number(text) : null;
}

function byTime(rows) {
  rows.sort((one, other) => Date.parse(one.at) - Date.parse(other.at));
}

function pailOf(sheet, id) {
  return sheet.pails.find((pail) => pail.id === id || String(pail.entry) === id);
}

function instrumentOf(sheet, id) {
  const all = [...sheet.instruments.gauges, ...sheet.instruments.thermometers];
  return all.find((one) => String(one.id) === id);
}

const FOLDS = {
  mix(sheet, told, by) {
    const resinKg = (figure(told.resin_kg) ?? 0) + (figure(told.second_resin_kg) ?? 0);
    const catalystG = figure(told.catalyst_g) ?? 0;
    const percent = doseOf(resinKg, catalystG);
    const temperature = figure(told.resin_temperature_c);
    const lot = sheet.mix.lots.find((one) => String(one.id) === told.resin_lot);
    sheet.pails.push({
      ...by,
      number: Number(told.pail_number),
      mixed_at: by.at,
      mixed_by: told.mixed_by,
      resin_kg: resinKg,
      catalyst_g: catalystG,
      mixed_kg: resinKg + (catalystG + (figure(told.addition_g) ?? 0)) / 1000,
      percent,
      temperature_c: temperature,
      inlet: told.inlet,
      lot: lot?.code ?? "",
      temperatures: [[0, temperature]],
      gel: gelOf(sheet.mix, percent, [[0, temperature]], by.at),
      state: "feeding",
      ended_at: null,
      left_kg: null,
      mark: "",
    });
    sheet.mix.next_pail = Math.max(sheet.mix.next_pail ?? 1, Number(told.pail_number) + 1);
    sheet.mix.before = {
      resin_lot: numberOf(told.resin_lot),
      catalyst_lot: numberOf(told.catalyst_lot),
      scale: numberOf(told.scale),
      catalyst_scale: numberOf(told.catalyst_scale),
      thermometer: numberOf(told.thermometer),
      inlet: told.inlet,
      mixed_by: told.mixed_by,
    };
  },

  inlet(sheet, told, by) {
    const inlet = sheet.inlets.find((one) => String(one.number) === told.inlet_number);
    if (inlet && !(by.entry && inlet.entry >= by.entry)) {
      Object.assign(inlet, { state: told.move, since: by.at, entry: by.entry, told: by.told });
      inlet.was_opened ||= told.move === "open";
    }
    sheet.moves.push({ at: by.at, inlet: Number(told.inlet_number), move: told.move, entry: by.entry });
    const first = sheet.pour.first_inlet_at;
    if (told.move === "open" && (!first || Date.parse(by.at) < Date.parse(first))) sheet.pour.first_inlet_at = by.at;
  },

  front(sheet, told, by) {
    const { station, side, landmark: words } = told;
    sheet.fronts.push({ ...by, station, side, girth_mm: figure(told.girth_mm), words });
    byTime(sheet.fronts);
  },

  reading(sheet, told, by) {
    const isPressure = told.what === "bag pressure";
    const shown = figure(isPressure ? told.gauge_mbar : told.temperature_c);
    const barometer = figure(told.station_pressure_mbar);
    const isRelative = told.gauge_kind === "below atmosphere";
    const reading = {
      ...by,
      what: told.what,
      value: isPressure && isRelative && barometer !== null ? barometer - Math.abs(shown) : shown,
      unit: isPressure ? "mbar" : "°C",
      place: told.place ?? "",
      instrument: instrumentOf(sheet, isPressure ? told.gauge : told.thermometer)?.code ?? "",
      instrument_id: Number(isPressure ? told.gauge : told.thermometer),
      gauge_kind: told.gauge_kind ?? "",
      gauge_mbar: isPressure ? shown : null,
      station_pressure_mbar: barometer,
    };
    sheet.readings.push(reading);
    byTime(sheet.readings);
    sheet.last[told.what] = sheet.readings.findLast((one) => one.what === told.what);
  },

  trouble(sheet, told, by) {
    const pail = told.mix ? pailOf(sheet, told.mix) : null;
    const trouble = {
      ...by,
      kind: told.kind,
      words: told.words ?? "",
      place: "",
      station: told.station || null,
      side: told.side || null,
      girth_mm: figure(told.girth_mm),
      inlet: numberOf(told.inlet_number),
      pail: pail?.number ?? null,
      gauge: instrumentOf(sheet, told.gauge)?.code ?? null,
      gauge_offset_mbar: null,
      mended_at: null,
      mended_words: "",
    };
    sheet.troubles.push(trouble);
    if (told.kind === "all stop") sheet.stopped = { at: by.at, by: by.by, id: by.id };
    if (told.kind === "pail spoilt" && pail) Object.assign(pail, { state: "spoilt", ended_at: pail.ended_at ?? by.at });
    const inlet = sheet.inlets.find((one) => one.number === trouble.inlet);
    if (told.kind === "inlet blocked" && inlet) Object.assign(inlet, { state: "blocked", since: by.at });
  },

  mended(sheet, told, by) {
    const trouble = sheet.troubles.find((one) => one.id === told.trouble || String(one.entry) === told.trouble);
    if (trouble) Object.assign(trouble, { mended_at: by.at, mended_words: told.words ?? "" });
    if (sheet.stopped && trouble?.id === sheet.stopped.id) sheet.stopped = null;
    const inlet = trouble?.kind === "inlet blocked" && sheet.inlets.find((one) => one.number === trouble.inlet);
    if (inlet) inlet.state = inlet.was_opened ? "open" : "shut";
  },

  pail_end(sheet, told, by) {
    const pail = pailOf(sheet, told.mix);
    if (pail && pail.state !== "spoilt") Object.assign(pail, { state: told.how, ended_at: pail.ended_at ?? by.at });
  },

  gel(sheet, told, by) {
    const pail = told.mix ? pailOf(sheet, told.mix) : null;
    sheet.gels.push({ ...by, place: told.place || told.at, where: told.at, pail: pail?.number ?? null });
    if (pail && told.at !== "part") {
      if (pail.state === "feeding") pail.state = "gelled";
      pail.ended_at ??= by.at;
    }
  },

  left_over(sheet, told) {
    const pail = told.mix ? pailOf(sheet, told.mix) : null;
    if (pail && told.place === "pail") pail.left_kg = (pail.left_kg ?? 0) + figure(told.mass_kg);
  },

  note(sheet, told, by) {
    sheet.notes.push({ ...by, words: told.words });
  },

  sound(sheet, told, by) {
    sheet.sound = { at: by.at, by: by.by, heard: told.heard === "yes" };
  },

  alarm(sheet, told, by) {
    sheet.alarms_taken.push({ at: by.at, by: by.by, code: told.code, rank: told.rank });
  },

  close(sheet, told, by) {
    sheet.pour.closed_at = by.at;
  },
};

/** Whether what was told is not in the sheet yet: it waits, or the book took it after the sheet was written. */
export function isPending(sheet, entry) {
  return entry.state === "waiting" || (entry.state === "in the book" && entry.number > sheet.book.number);
}

/** Numbers of entries that stand in the sheet, though they may lie past the book's number it was written at. */
function numbersIn(sheet) {
  const rows = [...sheet.pails, ...sheet.moves, ...sheet.fronts, ...sheet.readings, ...sheet.troubles, ...sheet.notes];
  return new Set(rows.map((row) => row.entry));
}

/** Which of the pour's acts an entry is, by its address; "" where it is none of this pour. */
export function actOf(sheet, entry) {
  const path = entry.url.split("?")[0];
  return Object.keys(FOLDS).find((act) => sheet.urls[act] === path) ?? "";
}

/** The pail a temperature was read in: the one its place names, else the only one that stood then. */
function pailRead(sheet, reading) {
  const named = /pail (\d+)/i.exec(reading.place);
  if (named) return Number(named[1]);
  const at = Date.parse(reading.at);
  const hasEnded = (pail) => pail.ended_at && Date.parse(pail.ended_at) <= at;
  const stood = sheet.pails.filter((pail) => Date.parse(pail.mixed_at) <= at && !hasEnded(pail));
  const numbers = new Set(stood.map((pail) => pail.number));
  return numbers.size === 1 ? [...numbers][0] : null;
}

/** A gel clock follows the resin's temperature as it is read in the pail. */
function followTemperatures(sheet) {
  const read = sheet.readings.filter((one) => one.what === "resin");
  for (const pail of read.length ? sheet.pails : []) {
    const mixedAt = Date.parse(pail.mixed_at);
    const later = read
      .filter((one) => Date.parse(one.at) > mixedAt && pailRead(sheet, one) === pail.number)
      .map((one) => [(Date.parse(one.at) - mixedAt) / MINUTE_MS, one.value]);
    if (!later.length) continue;
    pail.temperatures = [[0, pail.temperature_c], ...later];
    pail.gel = gelOf(sheet.mix, pail.percent, pail.temperatures, pail.mixed_at);
  }
}

/**
 * The sheet with what this tablet was told folded into it, `entries` being all the tablet keeps. `aheadMs` is how far
 * the tablet's clock is ahead of the book's: told times are put right by it, as the book will do.
 */
export function withTold(sheet, entries, aheadMs = 0) {
  const struck = new Set(entries.filter((one) => one.strikes && one.state !== "not taken").map((one) => one.strikes));
  // The plan is as it was read: nothing told changes it, and what was worked out from it stays.
  const { pour_plan: plan, ...rest } = sheet;
  const folded = { ...structuredClone(rest), pour_plan: plan };
  for (const entry of entries) {
    if (struck.has(entry.id) && entry.number && entry.number <= sheet.book.number) takeOut(folded, entry.number);
  }
  const there = numbersIn(sheet);
  const pending = entries
    .filter((entry) => isPending(sheet, entry) && !there.has(entry.number) && !struck.has(entry.id))
    .sort((one, other) => one.sequence - other.sequence);
  for (const entry of pending) {
    const act = actOf(sheet, entry);
    if (!act) continue;
    const told = Object.fromEntries(entry.fields);
    const at = iso(Date.parse(told.happened_at || entry.tapped_at) - aheadMs);
    FOLDS[act](folded, told, { at, by: entry.person, id: entry.id, entry: entry.number, told: entry.state });
  }
  followTemperatures(folded);
  return folded;
}

function takeOut(sheet, number) {
  for (const rows of ["pails", "moves", "fronts", "readings", "troubles", "notes"]) {
    sheet[rows] = sheet[rows].filter((one) => one.entry !== number);
  }
  for (const inlet of sheet.inlets.filter((one) => one.entry === number)) {
    Object.assign(inlet, { state: inlet.state === "open" ? "shut" : "open", since: null, entry: null });
  }
  if (sheet.stopped && !sheet.troubles.some((one) => one.id === sheet.stopped.id)) sheet.stopped = null;
  for (const what of Object.keys(sheet.last)) {
    if (sheet.last[what]?.entry !== number) continue;
    const before = sheet.readings.findLast((one) => one.what === what);
    if (before) sheet.last[what] = before;
    else delete sheet.last[what];
  }
}

// ---- Figures

/** Parts of the second material on a hundred of resin, from kilograms and grams. */
export function doseOf(resinKg, grams) {
  return resinKg > 0 ? grams / (resinKg * 10) : 0;
}

/** The grams for so much resin at the dose of the pail before; for the first at the middle of the maker's window. */
export function gramsFor(sheet, resinKg) {
  const before = sheet.pails.at(-1);
  return resinKg * (before ? before.percent * 10 : sheet.mix.grams_per_kg.mid);
}

/** A dose against the maker's window: "inside", "below" or "above". */
export function judgedDose(sheet, percent) {
  if (percent < sheet.plan.dose_low_phr) return "below";
  return percent > sheet.plan.dose_high_phr ? "above" : "inside";
}

/** What brings a pail inside limits while it is not mixed; what it does not want is 0. The sum of `calc.dose.mend_dose`. */
export function mending(resinKg, grams, low, high) {
  const toLowest = Math.max(0, resinKg * low * 10 - grams);
  return {
    catalystToLowestG: toLowest,
    catalystToMiddleG: toLowest > 0 ? resinKg * (low + high) * 5 - grams : 0,
    resinToHighestKg: Math.max(0, grams / (high * 10) - resinKg),
  };
}

/** What is wrong with a dose and what mends it, while the pail is not mixed; "" inside the window. */
export function mendingWords(sheet, resinKg, grams) {
  const { dose_low_phr: low, dose_high_phr: high, second_part: second } = sheet.plan;
  const judged = judgedDose(sheet, doseOf(resinKg, grams));
  const wants = mending(resinKg, grams, low, high);
  if (judged === "below") {
    return `${wants.catalystToLowestG.toFixed(0)} g more ${second} makes the least of the maker's window.`;
  }
  return judged === "above" ? `${wants.resinToHighestKg.toFixed(2)} kg more resin makes the most of it.` : "";
}

/** What is left in such a pail goes into no part: it is mixed anew. */
export function isLost(sheet, pail) {
  const gelled = pail.state === "gelled" && sheet.gels.some((gel) => gel.where === "pail" && gel.pail === pail.number);
  return gelled || LOST.includes(pail.state);
}

/** Kilograms by the plan and by what was told; a pail told twice counts twice until somebody has said which it is. */
export function sums(sheet) {
  const total = (pails, of) => pails.reduce((sum, pail) => sum + of(pail), 0);
  const mixed = total(sheet.pails, (pail) => pail.mixed_kg);
  const inPails = total(sheet.pails.filter((pail) => pail.state === "feeding"), (pail) => pail.mixed_kg);
  const lost = total(sheet.pails.filter((pail) => isLost(sheet, pail)), (pail) => pail.left_kg ?? 0);
  const caught = total(sheet.pails.filter((pail) => !isLost(sheet, pail)), (pail) => pail.left_kg ?? 0);
  const plan = sheet.plan.mean_kg;
  const inPart = mixed - inPails - lost - caught;
  return {
    plan, mixed, inPails, lost, caught, inPart,
    left: Math.max(0, plan - mixed + lost),
    difference: inPart - plan,
    differencePercent: plan > 0 ? (100 * (inPart - plan)) / plan : 0,
    notWeighed: sheet.pails.filter((pail) => isLost(sheet, pail) && pail.left_kg === null).map((pail) => pail.number),
  };
}

/** Pail numbers that stand more than once. It is asked after the clamp whether they are one pail or two. */
export function toldTwice(sheet) {
  const counts = new Map();
  for (const { number } of sheet.pails) counts.set(number, (counts.get(number) ?? 0) + 1);
  return [...counts].filter(([, count]) => count > 1).map(([number]) => number);
}

/** An hour past the latest it could gel, a pail has; how it ended is only not told. */
export function isLongPast({ gel }, now) {
  return gel.high_at !== null && now - Date.parse(gel.high_at) > LONG_PAST_MS;
}

export function feeding(sheet) {
  const due = (pail) => Date.parse(pail.gel.low_at ?? pail.mixed_at);
  return sheet.pails.filter((pail) => pail.state === "feeding").sort((one, other) => due(one) - due(other));
}

// ---- The front

/** The furthest front at a station and side, the latest where two are as far; null where none was told. */
export function frontAt(sheet, station, side) {
  const told = sheet.fronts.filter((front) => front.station === station && front.side === side);
  return told.reduce((furthest, front) => (furthest && furthest.girth_mm > front.girth_mm ? furthest : front), null);
}

function lineOf(sheet, inlet) {
  return sheet.feed_lines.find((line) => line.number === inlet.line);
}

const spellsKnown = new WeakMap();

/**
 * When a feed line gave resin to a side, as `[from, until]` in ms, in order; the last until Infinity while it does. An inlet
 * gives none while it is shut or blocked, and none does at all stop.
 */
export function spellsOf(sheet, number, side) {
  if (!spellsKnown.has(sheet.moves)) spellsKnown.set(sheet.moves, new Map());
  const known = spellsKnown.get(sheet.moves);
  const key = `${number} ${side}`;
  if (!known.has(key)) {
    const inlets = sheet.inlets.filter((inlet) => inlet.line === number && [side, "both"].includes(inlet.side));
    known.set(key, together(inlets.flatMap((inlet) => openSpells(sheet, inlet.number))));
  }
  return known.get(key);
}

function openSpells(sheet, number) {
  const moves = sheet.moves.filter(({ inlet }) => inlet === number);
  const spells = [];
  byTime(moves);
  for (const { at, move } of moves) {
    const last = spells.at(-1);
    if (move === "open" && (!last || last[1] < Infinity)) spells.push([Date.parse(at), Infinity]);
    else if (move !== "open" && last) last[1] = Math.min(last[1], Date.parse(at));
  }
  const isPause = ({ kind, inlet }) => kind === "all stop" || (kind === "inlet blocked" && inlet === number);
  const pauses = sheet.troubles.filter(isPause);
  return pauses.reduce((left, pause) => left.flatMap((spell) => without(spell, pause)), spells);
}

function without([from, until], { at, mended_at: mended }) {
  const [stop, on] = [Date.parse(at), mended ? Date.parse(mended) : Infinity];
  return [[from, Math.min(until, stop)], [Math.max(from, on), until]].filter(([begins, ends]) => begins < ends);
}

/** Spells that touch or overlap as one. */
function together(spells) {
  const merged = [];
  for (const [from, until] of spells.sort(([one], [other]) => one - other)) {
    const last = merged.at(-1);
    if (last && from <= last[1]) last[1] = Math.max(last[1], until);
    else merged.push([from, until]);
  }
  return merged;
}

/** Milliseconds of spells that lie between two moments. */
export function within(spells, from, until) {
  return spells.reduce((sum, [begins, ends]) => sum + Math.max(0, Math.min(ends, until) - Math.max(begins, from)), 0);
}

/** Feed lines that gave resin behind a front before it was told there, from the keel on, each with its spells. */
export function linesBehind(sheet, side, front) {
  const toldAt = Date.parse(front.at);
  return sheet.feed_lines
    .map((line) => ({ line: line.number, girth_mm: line.girth_mm, spells: spellsOf(sheet, line.number, side) }))
    .filter(({ girth_mm: girth, spells }) => girth < front.girth_mm && spells.length && spells[0][0] < toldAt)
    .map((one) => ({ ...one, since: one.spells[0][0] }))
    .sort((one, other) => one.girth_mm - other.girth_mm);
}

/** Where a front stood when a line was opened: as told before, guessed on while that is short of what was told later. */
export function frontAtOpening(sheet, station, side, { since }, last) {
  const until = iso(since); // told in the same form, so that letters compare as times do
  const then = { ...sheet, fronts: sheet.fronts.filter(({ at }) => at <= until) };
  const told = frontAt(then, station, side);
  const guessed = guessedFront(then, station, side, since);
  return guessed !== null && guessed < last.girth_mm ? guessed : (told?.girth_mm ?? null);
}

/**
 * Where the front may be now, in mm from the keel; null where nothing says so. From the feed line that feeds it, the square
 * of the way grows with the time resin flows, as it does under a steady pull (Darcy, one dimension), scaled by the last told
 * front. Only a guess, drawn in pencil: it never goes past the flange, nor on for longer than the told stretch took.
 */
export function guessedFront(sheet, station, side, now) {
  const last = frontAt(sheet, station, side);
  const length = sheet.girth.stations.find((one) => one.name === station)?.girth_mm;
  if (!last || !length || last.girth_mm >= length) return null;
  const toldAt = Date.parse(last.at);
  const fed = linesBehind(sheet, side, last).at(-1);
  if (!fed) return null;
  const [took, since] = [within(fed.spells, fed.since, toldAt), within(fed.spells, toldAt, now)];
  if (since <= 0) return null;
  const opened = fed.girth_mm > 0 ? (frontAtOpening(sheet, station, side, fed, last) ?? fed.girth_mm) : 0;
  const [from, to] = [Math.max(0, opened - fed.girth_mm), last.girth_mm - fed.girth_mm];
  const way = Math.sqrt(to ** 2 + ((to ** 2 - from ** 2) * Math.min(since, took)) / took);
  return Math.min(length, fed.girth_mm + way);
}

/** What the front comes to next at a station and side: feed lines, places people know, the flange. */
export function landmarksAhead(sheet, station, side, known = []) {
  const length = sheet.girth.stations.find((one) => one.name === station)?.girth_mm ?? sheet.girth.flange_mm;
  const reached = frontAt(sheet, station, side)?.girth_mm ?? 0;
  const lines = sheet.feed_lines
    .filter((line) => [side, "both"].includes(line.side))
    .map((line) => ({ words: `line ${line.number}`, girth_mm: line.girth_mm }));
  const places = [...lines, ...known].filter((one) => one.girth_mm > reached && one.girth_mm < length);
  const flange = reached < length ? [{ words: "flange", girth_mm: length }] : [];
  return [...places.sort((one, other) => one.girth_mm - other.girth_mm), ...flange];
}

function hasCome(sheet, girthMm, side) {
  const sides = side === "both" ? SIDES : [side];
  const { stations } = sheet.girth;
  return stations.length > 0 && stations.every((station) =>
    sides.every((one) => (frontAt(sheet, station.name, one)?.girth_mm ?? 0) >= Math.min(girthMm, station.girth_mm)));
}

export function isThrough(sheet) {
  return hasCome(sheet, sheet.girth.flange_mm, "both");
}

// ---- What comes next by the plan: as hullbook/pours/selectors/sheet.py next_act

function localTime(at) {
  const then = new Date(at);
  return `${String(then.getHours()).padStart(2, "0")}:${String(then.getMinutes()).padStart(2, "0")}`;
}

function whyOpened(line) {
  if (line.opens_front_mm === null) return `feed line ${line.number}, ${line.name}, opens at the start`;
  const which = line.side === "both" ? "both fronts are" : "the front is";
  return line.opens_words || `${which} past ${line.opens_front_mm.toFixed(0)} mm at every station`;
}

function inletToOpen(sheet) {
  return sheet.inlets.find((inlet) => {
    const line = lineOf(sheet, inlet);
    const isWaiting = inlet.state === "shut" && !inlet.was_opened;
    return isWaiting && (line.opens_front_mm === null || hasCome(sheet, line.opens_front_mm, line.side));
  });
}

function afterTheClamp(sheet) {
  const [unended] = sheet.pails.filter((pail) => pail.state === "feeding");
  if (unended) {
    const why = "a pail left standing gets hot by itself";
    return { act: "pail_end", words: `Pail ${unended.number}: empty or dumped`, why };
  }
  const left = sheet.questions.length;
  if (left) return { act: "questions", words: "Open questions", why: `${left} left open, the oldest first` };
  if (!sheet.gels.some((gel) => gel.where === "part")) {
    return { act: "gel", words: "Gel, now", why: "the resin trap and the far flange first" };
  }
  return { act: "questions", words: "Nothing left open", why: "closed, gelled, and no question is open" };
}

/** How much is wanted in the next pail, and by when once resin runs. */
function whyMixed(sheet, { resin, next }, now) {
  const isEnough = resin.toMix < sheet.plan.pail_kg;
  const enough = resin.likely > 0 ? "is enough" : "more to be sure";
  const wanted = isEnough ? `${Math.ceil(resin.toMix)} kg ${enough}` : `${sheet.plan.pail_kg.toFixed(1)} kg`;
  if (!next) return isEnough ? wanted : `${wanted} by plan`;
  if (next.isFirst) return `${wanted} before an inlet is opened`;
  return `${wanted}${isEnough ? "," : ""} ${next.at > now ? `by ${localTime(next.at)}` : "now"}`;
}

/**
 * What comes next at `now`, `{act, words, why, inlet}`: by the plan, and by the forecast where there is one. It stops nobody
 * from doing something else.
 */
export function nextAct(sheet, forecast = null, now = 0) {
  const left = forecast ? forecast.resin.toMix : sums(sheet).left;
  if (sheet.pour.closed_at) return afterTheClamp(sheet);
  const { stopped } = sheet;
  if (stopped) {
    const why = `all stop since ${localTime(stopped.at)}, ${stopped.by}`;
    return { act: "mended", words: "Going on again", why };
  }
  if (!sheet.sound) {
    return { act: "sound", words: "Try the sound", why: "three knocks, heard all over the shed before resin runs" };
  }
  if (isThrough(sheet)) {
    const open = sheet.inlets.find((inlet) => inlet.state === "open");
    if (open) {
      const why = "the front is through everywhere";
      return { act: "inlet", words: `Shut inlet ${open.number}`, why, inlet: open.number };
    }
    return { act: "close", words: "Close the pour", why: "front through everywhere, all inlets shut" };
  }
  const pailNumber = Math.max(0, ...sheet.pails.map((pail) => pail.number)) + 1;
  if (!sheet.pails.length && left > 0) {
    return { act: "mix", words: "Mix pail 1", why: "an inlet opened before there is resin at it draws air" };
  }
  const inlet = forecast?.next?.isFirst ? null : inletToOpen(sheet);
  if (inlet) {
    const why = whyOpened(lineOf(sheet, inlet));
    return { act: "inlet", words: `Open inlet ${inlet.number}`, why, inlet: inlet.number };
  }
  if (left > 0) {
    const why = forecast ? whyMixed(sheet, forecast, now) : `${left.toFixed(1)} kg left to mix by the plan`;
    return { act: "mix", words: `Mix pail ${pailNumber}`, why };
  }
  if (!sheet.girth.stations.length) {
    return { act: "close", words: "Close the pour", why: "all that was planned is mixed; front through, inlets shut?" };
  }
  const why = "all that was planned is mixed; the front is not through everywhere";
  return { act: "front", words: "Front reached", why };
}
