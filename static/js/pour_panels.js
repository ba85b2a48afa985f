// What opens over the right half of the page of the day: keys of 20 mm, each of which tells one thing when tapped.
// A panel gives its title and what stands in it; telling and closing are the page's.

import { stepKeys } from "./bounds.js";
import { feeding, frontAt, landmarksAhead, SIDES } from "./sheet.js";
import { made } from "./told.js";

const NUDGES_MM = [-50, -10, 10, 50];
const EARLIER_MIN = [1, 5, 15];
const LANDMARKS_SHOWN = 2;
const CUPS_SHOWN = 3;
const LETTER = { starboard: "S", port: "P" };

export const READINGS = [
  { what: "bag pressure", words: "Bag pressure", unit: "mbar", instruments: "gauges" },
  { what: "resin", words: "Resin in the pail", unit: "°C", instruments: "thermometers" },
  { what: "laminate", words: "Laminate", unit: "°C", instruments: "thermometers" },
];

const say = (text) => made("p", { text });
const inRow = (...keys) => made("div", { className: "keys" }, ...keys);
const inGrid = (...keys) => made("div", { className: "trouble-keys" }, ...keys);

function keyOf(words, small = "", className = "key") {
  const key = made("button", { type: "button", className }, made("b", { text: words }));
  if (small) key.append(made("small", { text: small }));
  return key;
}

/** A key that tells something: `act` of the pour with its fields, `name` as it is called afterwards. */
function teller({ words, small, act, fields, name = words, className = "key key-trouble" }) {
  const key = keyOf(words, small, className);
  key.tells = { act, fields, name };
  return key;
}

/** A key that opens another panel. */
function opener(words, panel, options = {}, small = "") {
  const key = keyOf(words, small);
  key.opens = [panel, options];
  return key;
}

function frontKey(place, words) {
  const { station, side, girth_mm: girth } = place;
  return teller({
    words,
    small: `${girth.toFixed(0)} mm`,
    act: "front",
    name: `Front ${LETTER[side]} ${place.words || `${girth} mm`} at ${station}`,
    className: "key",
    fields: [["station", station], ["side", side], ["girth_mm", String(girth)], ["landmark", place.words ?? ""]],
  });
}

function landmarksOf(ground, station) {
  const strip = ground?.strips.find((one) => one.station === station);
  return (strip?.landmarks ?? []).map(({ name, mm }) => ({ words: name, girth_mm: mm }));
}

/** What each side of each station comes to next; one tap writes it. */
function front({ sheet, ground }) {
  const keysOf = (station, side) => {
    const ahead = landmarksAhead(sheet, station, side, landmarksOf(ground, station)).slice(0, LANDMARKS_SHOWN);
    const keys = ahead.map((one) => frontKey({ station, side, ...one }, `${LETTER[side]} ${one.words}`));
    return inRow(...(keys.length ? keys : [say(`${LETTER[side]} through`)]));
  };
  const rows = sheet.girth.stations.flatMap(({ name, place: words }) => [
    made("h3", { text: words }),
    ...SIDES.map((side) => keysOf(name, side)),
  ]);
  const keys = made("div", { className: "front-keys" }, ...rows);
  return { title: "Front reached", body: [keys, say("Finer: tap the strip where it is.")] };
}

/** A place that was tapped on the strip, moved by keys. */
function place({ sheet }, { station, side, girth_mm: girth }) {
  const length = sheet.girth.stations.find((one) => one.name === station).girth_mm;
  const moved = (by) => ({ station, side, girth_mm: Math.min(Math.max(girth + by, 0), length) });
  const nudges = NUDGES_MM.map((by) => opener(by < 0 ? `−${-by}` : `+${by}`, "place", moved(by), "mm"));
  const other = SIDES.find((one) => one !== side);
  const reached = frontAt(sheet, station, side);
  const here = frontKey({ station, side, girth_mm: girth }, "Front here, now");
  here.classList.add("key-first");
  const last = reached ? `Last told ${reached.girth_mm.toFixed(0)} mm. ` : "";
  const figure = made("b", { className: "figures", text: girth.toFixed(0) });
  const unit = made("span", { className: "unit", text: "mm from the keel" });
  return {
    title: `Station ${station}, ${side}`,
    body: [
      made("p", { className: "panel-figure" }, figure, unit),
      inRow(...nudges),
      say(`${last}Flange ${length.toFixed(0)} mm.`),
      inRow(here, opener(`To ${other}`, "place", { station, side: other, girth_mm: girth })),
    ],
  };
}

function shownIn(last, what) {
  if (!last) return null;
  return what === "bag pressure" ? Math.abs(last.gauge_mbar ?? last.value) : last.value;
}

function readingFields(what, text, last) {
  const instrument = String(last.instrument_id);
  const shared = [["what", what], ["place", last.place ?? ""]];
  if (what !== "bag pressure") return [...shared, ["temperature_c", text], ["thermometer", instrument]];
  const gauge = [["gauge_mbar", text], ["gauge", instrument], ["gauge_kind", last.gauge_kind]];
  return [...shared, ...gauge, ["station_pressure_mbar", String(last.station_pressure_mbar ?? "")]];
}

/** Step keys about the last reading: the bag's pressure at once, the others one tap further. */
function reading({ sheet }, { what = "bag pressure" }) {
  const kinds = READINGS.map((one) => {
    const key = opener(one.words, "reading", { what: one.what });
    key.setAttribute("aria-pressed", String(one.what === what));
    return key;
  });
  const { unit, words, instruments } = READINGS.find((one) => one.what === what);
  const last = sheet.last[what];
  const instrument = sheet.instruments[instruments].find((one) => one.id === last?.instrument_id);
  const steps = instrument ? stepKeys(shownIn(last, what), instrument.resolution) : [];
  const keys = steps.map(({ text, words: step }) => teller({
    words: text,
    small: step,
    act: "reading",
    name: `${words} ${text} ${unit}`,
    className: "key key-step",
    fields: readingFields(what, text, last),
  }));
  const said = last
    ? `Last told ${shownIn(last, what)} ${unit}, ${last.instrument || "by hand"}.`
    : "Not told yet: the keypad asks for the instrument too.";
  const row = made("div", { className: "step-row" }, ...keys, opener("Keypad", "keypad", { what }));
  const choice = made("div", { className: "keys kinds" }, ...kinds);
  return { title: "Reading", body: [choice, say(`What it shows, ${unit}. ${said}`), row] };
}

const TROUBLES = [
  ["leak", "Leak", "hiss, bubbles"],
  ["vacuum lost", "Vacuum lost", "pump, hose"],
  ["dry corner", "Dry corner", "front stalls"],
  ["power cut", "Power cut", ""],
  ["other", "Something else", ""],
];
const AT_THE_FRONT = ["leak", "dry corner"];

/** One tap after Trouble, pinned where the front was told last. What was done about it is asked after the clamp. */
function trouble({ sheet }) {
  const last = sheet.fronts.at(-1);
  const pinned = last ? [["station", last.station], ["side", last.side], ["girth_mm", String(last.girth_mm)]] : [];
  const kind = (value, words, small, fields = []) =>
    teller({ words, small, act: "trouble", fields: [["kind", value], ...fields] });
  const keys = TROUBLES.map(([value, words, small]) =>
    kind(value, words, small, AT_THE_FRONT.includes(value) ? pinned : []));
  const pails = feeding(sheet).map(({ number, id }) =>
    kind("pail spoilt", `Pail ${number} gone hot`, "carry it out", [["mix", id]]));
  const inlets = sheet.inlets.filter((one) => one.state === "open").map(({ number }) =>
    kind("inlet blocked", `Inlet ${number} blocked`, "gelled in the line", [["inlet_number", String(number)]]));
  const read = sheet.last["bag pressure"]?.instrument_id;
  const gauges = sheet.instruments.gauges.filter((one) => one.id !== read).map(({ code, id }) =>
    kind("gauge changed", `Gauge ${code}`, "read from now on", [["gauge", String(id)]]));
  const open = sheet.troubles.filter((one) => !one.mended_at).map((one) => teller({
    words: `Mended: ${one.kind}`,
    small: one.station ? `station ${one.station} ${one.side}` : "",
    act: "mended",
    fields: [["trouble", one.id], ["words", ""]],
  }));
  return { title: "Trouble", body: [inGrid(...keys, ...pails, ...inlets, ...gauges, ...open)] };
}

/** The start is the sound test: who hears three knocks where the noise is? */
function start() {
  const heard = (words, answer) =>
    teller({ words, act: "sound", name: `Sound test: ${words.toLowerCase()}`, fields: [["heard", answer]] });
  const again = keyOf("Knock again", "", "key key-trouble");
  again.knocks = 3;
  return {
    title: "Start the pour",
    body: [
      say(
        "You should hear three knocks, all over the shed and with the pumps running. Try it where the noise is, not " +
          "beside the tablet.",
      ),
      inGrid(heard("Heard it", "yes"), heard("Not heard", "no"), again),
      say("Not heard: NOW stands across the page, and somebody watches it. Never rely on sound alone."),
    ],
  };
}

/** Where gel was seen: in the part, in the cup of a pail, in the pail itself. */
function gel({ sheet }) {
  const seen = (words, small, at, mix = "", where = "") => {
    const fields = [["at", at], ["mix", mix], ["place", where]];
    return teller({ words, small, act: "gel", name: `Gel: ${words.toLowerCase()}`, fields });
  };
  const places = ["Resin trap", "Far flange", "Keel"].map((words) =>
    seen(words, "in the part", "part", "", words.toLowerCase()));
  const last = sheet.pails.filter((pail) => ["feeding", "empty"].includes(pail.state)).slice(-CUPS_SHOWN);
  const cups = last.map(({ number, id }) => seen(`Cup of pail ${number}`, "", "cup", id));
  const pails = feeding(sheet).map(({ number, id }) => seen(`In pail ${number}`, "", "pail", id));
  return { title: "Gel, now", body: [inGrid(...places, ...cups, ...pails)] };
}

function ends({ sheet }) {
  const keys = feeding(sheet).flatMap(({ number, id }) => ["empty", "dumped"].map((how) =>
    teller({ words: `Pail ${number} ${how}`, act: "pail_end", fields: [["mix", id], ["how", how]] })));
  return { title: "Pails", body: [inGrid(...keys)] };
}

/** What is seldom wanted while resin runs, and the ways to other pages. */
function more({ sheet, cried, crewWay }) {
  const { urls, questions } = sheet;
  const way = (words, href, small = "") =>
    made("a", { className: "key key-trouble", href }, made("b", { text: words }), made("small", { text: small }));
  const gelKey = opener("Gel, now", "gel");
  gelKey.classList.add("key-trouble");
  const closing = teller({
    words: "Close the pour", small: "front through, inlets shut", act: "close", fields: [["words", ""]],
  });
  const keys = [
    gelKey,
    way("Left over", urls.left_over, "pails, trap"),
    way("Note", urls.note),
    way("Shed", urls.climate, "air, humidity"),
    way("Open questions", urls.questions, questions.length ? `${questions.length} open` : "none"),
    way("Pails and sums", urls.pour),
    way("What is laid", urls.layout, "lines, inlets"),
    ...(crewWay ? [way("Crew", crewWay, "of this tablet")] : []),
    ...(sheet.pour.closed_at ? [] : [closing]),
  ];
  return { title: "More", body: [inGrid(...keys), say(cried)] };
}

const WHY_LATE = [
  "inlet opened late", "resin cold or thick", "vacuum poor here", "laminate tight here", "air leaks in here",
];

/** Whoever takes a side that is late in hand may say why, while it is known; as a note, and it may stay unsaid. */
function why({ sheet }, { words }) {
  const keys = WHY_LATE.map((reason) => teller({
    words: reason, act: "note", name: `Why late: ${reason}`, fields: [["words", `${words} Why: ${reason}.`]],
  }));
  const own = made("a", { className: "key key-trouble", href: sheet.urls.note }, made("b", { text: "In words" }));
  return { title: "Why late?", body: [say(words), inGrid(...keys, own)] };
}

/** When it happened, for the next thing told only; with the paper sheet it was written on, where it was. */
function earlier({ paper }) {
  const set = (words, minutes) => {
    const key = keyOf(words, "", "key key-trouble");
    key.earlier = minutes;
    return key;
  };
  const at = made("input", { type: "time", id: "pour-at", step: 1 });
  const sheet = made("input", { id: "pour-paper", inputMode: "numeric", autocomplete: "off", size: 4, value: paper });
  const keyed = keyOf("At that time");
  Object.assign(keyed, { earlierAt: at, paper: sheet });
  const label = (text, { id }) => made("label", { text, htmlFor: id });
  return {
    title: "It happened earlier",
    body: [
      say("For the next thing you tap. Both times are kept: when it happened, and when it was told."),
      inGrid(set("Now", 0), ...EARLIER_MIN.map((minutes) => set(`−${minutes} min`, minutes))),
      made("p", { className: "at-time" }, label("At", at), at),
      made("p", { className: "at-time" }, label("copied from paper sheet", sheet), sheet, keyed),
    ],
  };
}

export const PANELS = { front, place, reading, trouble, start, gel, ends, more, why, earlier };
