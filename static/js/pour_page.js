// What stands on the page of the day, drawn from the folded sheet. Elements stay as long as what they show does: a finger
// that is down on a key finds it when it comes up. A clock changes its figures only.

import { hoursMinutes, minutesSeconds, timeOfDay } from "./clocks.js";
import { feeding, isLongPast, nextAct, sums, toldTwice } from "./sheet.js";
import { mark, sign, spaced } from "./svg.js";
import { made } from "./told.js";

const MINUTE_MS = 60_000;
const DAY_MS = 24 * 60 * MINUTE_MS;

/** Kilograms as they are read from afar: whole ones from a hundred on, a tenth below. */
export function kilograms(value) {
  return spaced(value, value >= 100 ? 0 : 1);
}

/** Kilograms that are forecast, never below nought: to the tenth where few are left. */
function forecastKilograms(value) {
  return spaced(Math.max(0, value), value < 10 ? 1 : 0);
}

/** Keep `parent` showing `items` in their order, each in the element made for its key. */
export function keep(parent, items, { key, create, update }) {
  const there = new Map([...parent.children].map((child) => [child.dataset.key, child]));
  items.forEach((item, place) => {
    const name = String(key(item));
    let element = there.get(name);
    there.delete(name);
    if (!element) {
      element = create(item);
      element.dataset.key = name;
    }
    if (parent.children[place] !== element) parent.insertBefore(element, parent.children[place] ?? null);
    update(element, item);
  });
  for (const gone of there.values()) gone.remove();
}

export function write(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

/** NOW is an octagon, SOON a triangle, each with its word beside it. */
export function rankMark(rank) {
  const shape = rank === "now" ? "15,3 33,3 45,15 45,33 33,45 15,45 3,33 3,15" : "24,4 46,44 2,44";
  const cry = rank === "now" ? "M24 12 V27 M24 33 V37" : "M24 18 V31 M24 35 V39";
  return sign(`rank rank-${rank}`, 48, mark("polygon", { points: shape }), mark("path", { d: cry }));
}

const pailSide = () => mark("path", { class: "pail-side", d: "M3 4 L11 51 H43 L51 4" });

function pailMark(number) {
  const level = mark("polygon", { class: "pail-level", points: "6,14 48,14 42,50 12,50" });
  const text = mark("text", { x: 27, y: 37, "text-anchor": "middle" }, String(number));
  return sign("pail", 54, level, pailSide(), text);
}

/** A valve as its lever stands: along the pipe open, across it shut, crossed out blocked. */
function valveMark(state) {
  const bar = { open: "M2 24 H46", shut: "M24 2 V46", blocked: "M8 8 L40 40 M40 8 L8 40" }[state];
  return sign(`valve valve-${state}`, 48, mark("circle", { cx: 24, cy: 24, r: 14 }), mark("path", { d: bar }));
}

// ---- Values: each is small on the page and fills it when it is tapped

function told(reading) {
  return `told ${timeOfDay(Date.parse(reading.at), false)}${reading.instrument ? `, ${reading.instrument}` : ""}`;
}

/** A pour that stands open for more than a day was left, not poured on: no clock of it says anything. */
export function isLeftOpen({ pour }, now) {
  return !pour.closed_at && now - Date.parse(pour.begun_at) > DAY_MS;
}

export function begunOn({ pour }) {
  return new Date(pour.begun_at).toLocaleDateString("en-GB", { day: "numeric", month: "long", year: "numeric" });
}

function pourClock(sheet, now) {
  const { pour } = sheet;
  if (isLeftOpen(sheet, now)) return { figure: "–", words: `begun on ${begunOn(sheet)}, still open` };
  if (!pour.first_inlet_at) return { figure: "–", words: "no inlet opened yet" };
  const first = Date.parse(pour.first_inlet_at);
  const until = pour.closed_at ? Date.parse(pour.closed_at) : now;
  const [figure, small] = hoursMinutes(until - first);
  const since = `since inlet 1, ${timeOfDay(first, false)}`;
  return { figure, small, words: pour.closed_at ? `closed ${timeOfDay(until, false)}` : since };
}

function places(value) {
  return Number.isInteger(value) ? 0 : 1;
}

function readingValue(sheet, what) {
  const last = sheet.last[what];
  const unit = what === "bag pressure" ? "mbar abs" : "°C";
  if (!last) return { figure: "–", unit, words: "not told" };
  const humid = last.humidity_percent ? `${last.humidity_percent.toFixed(0)} % RH, ` : "";
  return { figure: spaced(last.value, places(last.value)), unit, words: humid + told(last) };
}

export function pailValue(pail, now, level) {
  const kg = `${spaced(pail.mixed_kg, 2)} kg`;
  if (!pail.gel.low_at) {
    const [figure, small] = hoursMinutes(now - Date.parse(pail.mixed_at));
    return { figure, small, unit: "since mixed", words: `${kg}, ${pail.gel.words}`, level };
  }
  if (isLongPast(pail, now)) {
    return { figure: "–", unit: "long past gel", words: `${kg}, not told how it ended`, level };
  }
  const left = Date.parse(pail.gel.low_at) - now;
  const longest = Date.parse(pail.gel.high_at) - Date.parse(pail.gel.low_at);
  const later = longest > MINUTE_MS ? `, ${Math.round(longest / MINUTE_MS)} min later at most` : "";
  return { figure: minutesSeconds(left), unit: left >= 0 ? "to gel" : "past", words: `${kg}${later}`, level };
}

/** By the forecast where a plan was read to the crew; else what the plan has more than was mixed. */
function leftValue(sheet, forecast) {
  if (forecast) {
    const { isPlan, likely, toMix, ratio } = forecast.resin;
    const [takenAs, soFar] = isPlan ? [] : [ratio.drawnIn, ratio.ratio].map((share) => spaced(share, 2));
    const by = isPlan ? "by the plan" : `goes by ${takenAs} of plan, ${soFar} so far`;
    const words = toMix > 0 ? `at most ${forecastKilograms(toMix)}; ${by}` : `nothing more; ${by}`;
    return { figure: forecastKilograms(likely), unit: "kg left to mix", words };
  }
  const kg = sums(sheet);
  const lost = kg.lost ? ` + ${kilograms(kg.lost)} dumped` : "";
  const [plan, part, pails, left] = [kg.plan, kg.inPart, kg.inPails, kg.left].map(kilograms);
  const words = `${plan} plan = ${part} part + ${pails} pails${lost} + ${left}`;
  const over = `${kilograms(kg.mixed)} mixed of ${kilograms(kg.plan)} planned`;
  return { figure: kilograms(kg.left), unit: "kg left to mix", words: kg.mixed - kg.lost > kg.plan ? over : words };
}

/** The value of a name at `now`: "clock", "vacuum", "shed", "left" or "pail <id>". */
export function valueOf(name, { sheet, now, alarms, forecast }) {
  const level = alarms.find((alarm) => alarm.about === name)?.rank ?? "";
  if (name === "clock") return pourClock(sheet, now);
  if (name === "vacuum") return { ...readingValue(sheet, "bag pressure"), level };
  if (name === "shed") return readingValue(sheet, "shed");
  if (name === "left") return leftValue(sheet, forecast);
  const pail = sheet.pails.find((one) => `pail ${one.id}` === name);
  return pail ? pailValue(pail, now, level) : null;
}

const valueParts = () => [made("b", { className: "figures" }), made("span", { className: "unit" }), made("small", {})];

function valueKey(name, className, label) {
  const key = made("button", { type: "button", className: `value ${className}` }, ...valueParts());
  key.dataset.fill = name;
  key.setAttribute("aria-label", label);
  return key;
}

function showValue(element, value) {
  const [figures, unit, words] = [".figures", ".unit", "small"].map((part) => element.querySelector(part));
  const seconds = value.small ?? "";
  if (figures.dataset.shown !== `${value.figure}${seconds}`) {
    figures.replaceChildren(value.figure, ...(seconds ? [made("i", { text: `:${seconds}` })] : []));
    figures.dataset.shown = `${value.figure}${seconds}`;
  }
  write(unit, value.unit ?? "");
  write(words, value.words ?? "");
  element.dataset.level = value.level ?? "";
}

export function drawValues(parent, view) {
  const names = [
    ["clock", "value-clock", "Pour clock"],
    ["vacuum", "value-vacuum", "Bag pressure"],
    ["shed", "value-shed", "Shed"],
  ];
  keep(parent, names, {
    key: ([name]) => name,
    create: (one) => valueKey(...one),
    update: (element, [name]) => showValue(element, valueOf(name, view)),
  });
}

// ---- Pails, resin, inlets

export function drawPails(parent, view) {
  const { sheet } = view;
  const twice = toldTwice(sheet);
  // The key on the lower edge says it where it is what comes next.
  const isWaiting = Boolean(sheet.pour.closed_at || sheet.stopped) || !sheet.sound;
  const isElsewhere = isWaiting || nextAct(sheet, view.forecast).act === "mix";
  const items = [...feeding(sheet), ...(isElsewhere ? [] : [{ id: "next" }])];
  keep(parent, items, {
    key: (pail) => pail.id,
    create(pail) {
      if (pail.id === "next") {
        const key = made("button", { type: "button", className: "pail-next", floorPrimary: "" });
        key.dataset.act = "mix";
        key.append(sign("pail pail-planned", 54, pailSide()), made("span", {}));
        return made("li", {}, key);
      }
      const key = valueKey(`pail ${pail.id}`, "value-pail", `Pail ${pail.number}, gel clock`);
      key.prepend(pailMark(pail.number));
      return made("li", {}, key, made("p", { className: "pail-mark" }));
    },
    update(element, pail) {
      if (pail.id === "next") {
        write(element.querySelector("span"), `Mix pail ${nextPail(sheet)}`);
        return;
      }
      const value = valueOf(`pail ${pail.id}`, view);
      showValue(element.firstElementChild, value);
      const rank = { now: "NOW feed or dump", soon: "SOON feed or dump" }[value.level] ?? "";
      const both = twice.includes(pail.number) ? "told twice, asked after the clamp" : "";
      const note = element.querySelector(".pail-mark");
      const shown = [rank, both].filter(Boolean).join("; ");
      if (note.dataset.shown === shown) return;
      note.dataset.shown = shown;
      note.replaceChildren(...(rank ? [rankMark(value.level)] : []), made("span", { text: shown }));
    },
  });
}

/** While a number is keyed the pad lies over the clocks: all of them stand beside it, to be read only. */
export function drawKeyedClocks(parent, view) {
  keep(parent, feeding(view.sheet), {
    key: (pail) => pail.id,
    create: (pail) => {
      const clock = made("p", { className: "keyed-clock" }, pailMark(pail.number), ...valueParts());
      clock.setAttribute("aria-label", `Pail ${pail.number}, gel clock`);
      return clock;
    },
    update: (element, pail) => showValue(element, valueOf(`pail ${pail.id}`, view)),
  });
}

export function nextPail(sheet) {
  return Math.max(0, ...sheet.pails.map((pail) => pail.number)) + 1;
}

/** A drum lying: in the part, in pails, dumped, left to mix, each to its kilograms. */
export function drawLeft(parent, view) {
  const { sheet } = view;
  const kg = sums(sheet);
  if (!parent.firstElementChild) {
    const lies = { viewBox: "0 0 300 26", preserveAspectRatio: "none", "aria-hidden": "true" };
    const drum = mark("svg", { class: "drum", ...lies });
    parent.append(valueKey("left", "value-left", "Left to mix"), drum);
  }
  showValue(parent.querySelector(".value"), valueOf("left", view));
  const left = view.forecast ? Math.max(0, view.forecast.resin.likely) : kg.left;
  const all = Math.max(kg.mixed + left, view.forecast ? 0 : kg.plan) || 1;
  let from = 0;
  const masses = { part: kg.inPart + kg.caught, pails: kg.inPails, lost: kg.lost, rest: left };
  const levels = Object.entries(masses).map(([name, mass]) => {
    const wide = (300 * Math.max(0, mass)) / all;
    const level = mark("rect", { class: `drum-${name}`, x: from.toFixed(1), y: 1, width: wide.toFixed(1), height: 24 });
    from += wide;
    return level;
  });
  const edge = mark("rect", { class: "drum-edge", x: 0, y: 1, width: 300, height: 24 });
  parent.querySelector(".drum").replaceChildren(...levels, edge);
}

const hours = (at) => timeOfDay(at, false);

/** When the last front is to be through, and when resin gels; a sentence each for strips of which nobody told. */
function flangeWords({ arrival, gel, untold }) {
  const words = untold.length ? [`No front told: ${untold.join(", ")}; taken as planned.`] : [];
  if (!arrival) return words;
  const band = arrival.overdueSince === null ? `${hours(arrival.lowAt)} to ${hours(arrival.highAt)}` : "overdue";
  const sooner = gel?.isPast ? " or sooner, the laminate past the gel table" : "";
  const first = gel ? `; pail ${gel.pail} gels from ${hours(gel.at)}${sooner}` : "";
  return [
    `Flange ${hours(arrival.overdueSince ?? arrival.at)}, ${band}, ${arrival.side} at ${arrival.station} last${first}.`,
    ...words,
  ];
}

/** Bag against styrene, and while resin runs what no forecast has in it. */
function boilWords({ sheet, forecast }) {
  if (!forecast) return [];
  const leftOut = sheet.pour.closed_at ? [] : ["Left out: race-tracking, swelling at inlets."];
  const { boil } = forecast;
  if (!boil) return leftOut;
  const margin = `${spaced(boil.bag / boil.boilsAt, 1)} times that in the bag`;
  const boils = `Styrene boils at ${spaced(boil.boilsAt, 1)} mbar in resin of ${spaced(boil.warmest, 1)} °C; ${margin}.`;
  return [boils, ...leftOut];
}

/** Why a pour that runs has no forecast; nothing where it has one, or is over. */
function noForecastWords({ sheet, forecast }) {
  if (forecast || sheet.pour.closed_at) return [];
  if (!sheet.girth.stations.length) return ["No forecast: no feed lines and stations are logged."];
  return sheet.pour_plan ? [] : ["No forecast: no pour plan was read to the crew."];
}

function drawWords(parent, sentences) {
  parent.hidden = !sentences.length;
  keep(parent, sentences, {
    key: (words) => words,
    create: (words) => made("p", { text: words }),
    update() {},
  });
}

/** The flange stands right below the gel clocks, the rest of the forecast last. */
export function drawForecast(flange, rest, view) {
  drawWords(flange, view.forecast ? flangeWords(view.forecast) : noForecastWords(view));
  drawWords(rest, boilWords(view));
}

export function drawInlets(parent, { sheet, earlierWords }) {
  const others = [{ opens: "earlier", words: earlierWords || "Earlier" }, { opens: "more", words: "More" }];
  keep(parent, [...sheet.inlets, ...(sheet.sound ? others : [])], {
    key: (one) => one.opens ?? one.number,
    create: (one) => made("li", {}, one.opens ? otherKey(one) : inletKey(one)),
    update(element, one) {
      const key = element.firstElementChild;
      if (!one.opens) showInlet(key, one);
      else {
        write(key, one.words);
        if (one.opens === "earlier") key.setAttribute("aria-pressed", String(Boolean(earlierWords)));
      }
    },
  });
}

function otherKey({ opens }) {
  const key = made("button", { type: "button", className: "inlet-more" });
  key.opens = [opens, {}];
  return key;
}

function inletKey({ number }) {
  const key = made("button", { type: "button", className: "inlet" }, made("b", { text: `Inlet ${number}` }));
  key.append(made("i", {}), made("span", {}), made("small", {}));
  key.dataset.inlet = number;
  return key;
}

function showInlet(key, inlet) {
  if (key.dataset.state !== inlet.state) {
    key.dataset.state = inlet.state;
    key.querySelector("i").replaceChildren(valveMark(inlet.state));
    write(key.querySelector("span"), inlet.state);
  }
  const side = { both: "", port: "P ", starboard: "S " }[inlet.side];
  const since = inlet.since ? timeOfDay(Date.parse(inlet.since), false) : `line ${inlet.line}`;
  write(key.querySelector("small"), side + since);
}

// ---- What asks for somebody

export function drawAlarms(parent, alarms, person) {
  const now = alarms.filter((alarm) => alarm.rank === "now" && !alarm.taken);
  keep(parent, now.slice(0, 1), {
    key: (alarm) => alarm.code,
    create(alarm) {
      const key = made("button", { type: "button", className: "key" });
      key.dataset.take = alarm.code;
      return made("p", { className: "now" }, rankMark("now"), made("span", {}), key);
    },
    update(element, alarm) {
      const more = now.length > 1 ? ` (and ${now.length - 1} more)` : "";
      write(element.querySelector("span"), `NOW ${alarm.words}${more}`);
      write(element.querySelector("button"), `${person ? `${person} has it` : "I have it"}`);
    },
  });
}

/** The next act in words, then what is soon, taken or only to be known. */
export function drawNext(parent, view) {
  const { sheet, alarms, notes } = view;
  const next = nextAct(sheet, view.forecast, view.now);
  const isOnItsPail = (alarm) => alarm.rank === "soon" && alarm.about.startsWith("pail ");
  const shown = alarms.filter((alarm) => (alarm.rank !== "now" || alarm.taken) && !isOnItsPail(alarm));
  // By a forecast the key on the lower edge says it all: how much, and by when.
  const isOnItsKey = next.act === "mix" && view.forecast;
  const items = [
    ...(isOnItsKey ? [] : [{ code: "next", words: `${next.words}: ${next.why}.`, rank: "next" }]),
    ...shown,
    ...notes.map((words) => ({ code: words, words, rank: "note" })),
  ];
  keep(parent, items, {
    key: (item) => `${item.code}${item.taken ? " taken" : ""}`,
    create(item) {
      const line = made("p", { className: `line-${item.taken ? "taken" : item.rank}` });
      if (item.rank === "soon" || item.rank === "now") line.append(rankMark(item.rank));
      line.append(made("span", {}));
      if (item.rank === "soon" && !item.taken) {
        const key = made("button", { type: "button", className: "key", text: "Taken" });
        key.dataset.take = item.code;
        line.append(key);
      }
      return line;
    },
    update(element, item) {
      const rank = { now: "NOW ", soon: "SOON " }[item.rank] ?? "";
      const who = item.taken ? ` ${item.taken.by} has it since ${timeOfDay(Date.parse(item.taken.at), false)}.` : "";
      write(element.querySelector("span"), rank + item.words + who);
    },
  });
}

// ---- One value over the whole page

export function drawFilled(parent, name, view) {
  const value = valueOf(name, view);
  parent.hidden = !value;
  if (!value) return;
  if (parent.dataset.name !== name) {
    parent.dataset.name = name;
    const title = made("span", { className: "filled-name" });
    const tap = made("button", { type: "button", className: "filled-tap" }, title, ...valueParts());
    tap.dataset.fill = name;
    parent.replaceChildren(tap, ...pailEnds(name));
  }
  const pail = view.sheet.pails.find((one) => `pail ${one.id}` === name);
  const titles = { clock: "Pour clock", vacuum: "Bag pressure", shed: "Shed", left: "Left to mix" };
  write(parent.querySelector(".filled-name"), pail ? `Pail ${pail.number}` : titles[name]);
  showValue(parent, value);
}

/** A pail over the whole page has the keys that end it. */
function pailEnds(name) {
  if (!name.startsWith("pail ")) return [];
  const ends = { empty: "Empty", dumped: "Dumped", spoilt: "Gone hot", gelled: "Gelled in it" };
  const keys = Object.entries(ends).map(([how, text]) => {
    const key = made("button", { type: "button", className: "key", text });
    Object.assign(key.dataset, { ends: how, pail: name.slice("pail ".length), floorPrimary: "" });
    return key;
  });
  return [made("div", { className: "keys" }, ...keys)];
}
