// The page of the day. It shows one thing: the sheet of the pour with what this tablet was told folded into it. What is
// tapped is on the tablet's disk before the page changes, and the page has changed long before the book answers.

import { alarmsOf, criedOften, knock, knocksDue, withCried } from "./alarms.js";
import { aheadOf, keepAwake, openClock, timeOfDay } from "./clocks.js";
import { keepPhoto, ready, tell } from "./floor.js";
import { forecastOf } from "./forecast.js";
import { inDrawing, placeAt } from "./point.js";
import { drawFronts } from "./pour_front.js";
import {
  begunOn, drawAlarms, drawFilled, drawForecast, drawInlets, drawKeyedClocks, drawLeft, drawNext, drawPails, drawValues,
  isLeftOpen, keep, kilograms, nextPail, valueOf, write,
} from "./pour_page.js";
import { PANELS, READINGS } from "./pour_panels.js";
import { actOf, doseOf, feeding, gramsFor, judgedDose, mendingWords, nextAct, sums, withTold } from "./sheet.js";
import { band, made } from "./told.js";
import { clockWords, notKept } from "./words.js";

const ASK_EVERY_MS = 5000;
const GIVE_UP_MS = 4000;
const OUT_OF_SIGHT_MS = 15_000;
const GAPS_EVERY_MS = 60_000;
const GUESS_EVERY_MS = 5000;
const CLOCK_OFF_MS = 30_000;
const SAME_TAP_MS = 700;
// What a pail is made with, where the one before does not say: the first of its list.
const OFFERED = {
  resin_lot: "lots", catalyst_lot: "catalyst_lots", scale: "scales", catalyst_scale: "catalyst_scales",
  thermometer: "thermometers",
};
const MINUTE_MS = 60_000;
const DAY_MS = 24 * 60 * MINUTE_MS;
const AHEAD_KEPT = "hullbook-clock-ahead";
const NO_HTTPS_WORDS =
  "Without https this tablet keeps nothing by itself: log on the plain pages of the pour, or open the https address.";
export const TAP_MEASURE = "tap to changed page";

const $ = (selector, within = document) => within.querySelector(selector);
const ZONES = [
  "values", "clocks", "alarms", "inlets", "pails", "flange", "left", "forecast", "next", "panel", "mix", "reading", "dose",
  "lots", "photo", "photo-said",
];
const zones = Object.fromEntries(ZONES.map((name) => [name, $(`#pour-${name}`)]));
const svg = $("#pour-strips svg");
const ground = svg ? JSON.parse(svg.dataset.ground) : null;
const bar = $(".action-bar");
const rail = $(".rail");
const photoInput = $("input", zones.photo);
const crewWay = $(".strip .tile-quiet")?.href;
const filled = made("section", { className: "filled", hidden: true });
document.body.append(filled);

const entries = new Map(); // all that this tablet keeps, by id

let book = JSON.parse($("#hb-sheet").textContent);
let sheet = book;
let outbox = null;
let seenAt = null; // when the book was last heard, by the tablet's clock
let etag = "";
let gaps = [];
let sleepWords = "";
let isFilled = "";
let panel = null; // [name, options]
let earlier = null; // {minutes, paper} or {at: ms by the tablet's clock, paper}: for the next thing told only
let paper = ""; // the paper sheet that was copied from last
let tappedAt = null;
const lately = new WeakMap(); // by key: when it was tapped last
let guessedAt = 0;
let forecast = null; // worked out when something was told and with each new guess, not with each second
let audio = null;
let heard = { at: 0, codes: [] };
const criedKept = `hullbook-cried-${book.pour.entry}`;
let cried = kept(criedKept, []);

function kept(name, otherwise) {
  try {
    return JSON.parse(localStorage.getItem(name)) ?? otherwise;
  } catch {
    return otherwise;
  }
}

// ---- Drawing

const clock = openClock(tick);
clock.setAhead(Number(kept(AHEAD_KEPT, 0)) || 0);

function lit() {
  return outbox?.lit() || $(".rail-person b")?.textContent.trim() || "";
}

/** What has asked for somebody for more than a day asks nobody any more. */
function alarmsNow(now) {
  const asked = alarmsOf(sheet, now, { entries: [...entries.values()], aheadMs: clock.ahead(), forecast });
  return asked.filter((alarm) => now - alarm.since < DAY_MS);
}

function notes() {
  const words = [];
  const seen = seenAt === null ? Date.parse(book.now) : seenAt - clock.ahead();
  const isInSight = seenAt !== null && Date.now() - seenAt <= OUT_OF_SIGHT_MS;
  if (!isInSight) words.push(`Other tablets not seen since ${timeOfDay(seen, false)}.`);
  for (const entry of entries.values()) {
    const isOurs = entry.state === "not taken" && actOf(book, entry);
    if (isOurs) words.push(`Not taken: ${entry.act}. ${entry.why} See what waits on this tablet.`);
  }
  for (const gap of gaps) words.push(gap.sentence);
  if (sheet.sound && !sheet.sound.heard) words.push("The sound was not heard: watch this page.");
  if (sleepWords) words.push(`This ${sleepWords}: touch it now and then.`);
  return words;
}

function view(now = clock.now()) {
  const words = { notes: notes(), cried: criedWords(now), earlierWords: earlier ? writesWords() : "", paper };
  return { sheet, now, ground, crewWay, alarms: alarmsNow(now), forecast, ...words };
}

function criedWords(now) {
  if (!sheet.pour.first_inlet_at) return "";
  const often = criedOften(cried, Date.parse(sheet.pour.first_inlet_at), now);
  const rules = Object.entries(often.byRule).map(([rule, count]) => `${rule} ${count}`).join(", ");
  const byRule = rules ? ` By rule: ${rules}.` : "";
  const mean = often.mean.toFixed(1);
  return `NOW and SOON so far: ${often.count}, ${mean} in ten minutes, ${often.worst} in the worst ten.${byRule}`;
}

function writesAt() {
  return Date.now() - (earlier?.minutes ?? 0) * MINUTE_MS;
}

function writesWords() {
  const at = earlier?.at ?? writesAt();
  const from = earlier?.paper ? `, sheet ${earlier.paper}` : "";
  return `writes ${timeOfDay(at - clock.ahead())}${from}`;
}

/** The keys on the lower edge: what the plan wants, the front, a reading, trouble, and all stop. */
function barKeys() {
  const next = nextAct(sheet, forecast, clock.now());
  const writes = writesWords();
  const pail = forecast ? next.why : `${kilograms(sheet.plan.pail_kg)} kg by plan`;
  const small = { mix: pail, inlet: writes, mended: writes, close: writes };
  const words = next.act === "sound" ? "Start the pour" : next.words;
  const first = { key: "next", words, small: small[next.act] ?? "", className: "key key-first" };
  const isClosed = Boolean(sheet.pour.closed_at);
  const isBefore = !sheet.sound && !isClosed && !sheet.pour.first_inlet_at;
  if (isBefore) return [first, { key: "more", words: "More", small: "stops still open", className: "key" }];
  const stop = sheet.stopped
    ? { words: "Stopped", small: `since ${timeOfDay(Date.parse(sheet.stopped.at), false)}` }
    : { words: "All stop", small: writes };
  const reading = { key: "reading", words: "Reading", small: "vacuum, temperatures", className: "key" };
  const trouble = { key: "trouble", words: "Trouble", small: "leak, gel, other", className: "key" };
  // After the clamp nothing runs that could be stopped, and no front comes any further.
  if (isClosed) return [first, reading, trouble];
  const front = { key: "front", words: "Front reached", small: "line, side, now", className: "key" };
  return [first, front, reading, trouble, { key: "stop", ...stop, className: "key key-stop" }];
}

function drawBar() {
  keep(bar, barKeys(), {
    key: ({ key }) => key,
    create({ key, className }) {
      const place = made("button", { type: "button", className }, made("b", {}), made("small", {}));
      place.dataset.bar = key;
      place.dataset.floorPrimary = "";
      return place;
    },
    update(element, { words, small }) {
      write(element.firstElementChild, words);
      write(element.lastElementChild, small);
    },
  });
}

/** What lies over the page keeps clear of the head, the clocks below it and the bar, as high as they are by now. */
function measure() {
  for (const [name, one] of [["bar", bar], ["head", rail], ["clocks", zones.clocks]]) {
    document.documentElement.style.setProperty(`--${name}-high`, `${one.offsetHeight}px`);
  }
}

function stoppedWords() {
  const { stopped } = sheet;
  if (!stopped) return "";
  return `ALL STOP since ${timeOfDay(Date.parse(stopped.at), false)}, ${stopped.by}. Nothing here goes on by itself.`;
}

/** Closing is by its own page: there one says when the last inlet was shut. */
function drawLeftOpen(now) {
  const words = isLeftOpen(sheet, now) ? `This pour was begun on ${begunOn(sheet)} and is still open.` : "";
  band("left-open", words, ["Close the pour", () => location.assign(book.urls.close)]);
}

function drawMoving(now) {
  const shown = view(now);
  drawValues(zones.values, shown);
  drawPails(zones.pails, shown);
  drawLeft(zones.left, shown);
  drawForecast(zones.flange, zones.forecast, shown);
  drawKeyedClocks(zones.clocks, shown);
  drawInlets(zones.inlets, shown);
  drawNext(zones.next, shown);
  drawAlarms(zones.alarms, shown.alarms, lit());
  drawBar();
  if (isFilled) drawFilled(filled, isFilled, shown);
  if (!filled.hidden && !valueOf(isFilled, shown)) empty();
  band("stopped", stoppedWords());
  drawLeftOpen(now);
  drawPanelHead(now);
  sound(shown.alarms, now);
}

/** Once a second, and the moment the page is looked at again. */
function tick(now) {
  const isDue = now - guessedAt > GUESS_EVERY_MS;
  // In a pour that was left nothing is late any more: no plan says anything of it.
  const planned = isLeftOpen(sheet, now) ? { ...sheet, pour_plan: null } : sheet;
  if (isDue) forecast = forecastOf(planned, now);
  drawMoving(now);
  if (!isDue) return;
  guessedAt = now;
  if (svg) drawFronts(svg, planned, now);
}

function redraw() {
  sheet = withTold(book, [...entries.values()], clock.ahead());
  guessedAt = 0;
  tick(clock.now());
  drawDay();
  drawDose();
  // What is being keyed into it stays; it shows nothing of the sheet.
  if (panel && panel[0] !== "earlier") openPanel(...panel);
}

/** After the clamp the day's sum stands where the left to mix did. */
function drawDay() {
  document.body.classList.toggle("is-closed", Boolean(sheet.pour.closed_at));
  document.body.toggleAttribute("data-pour", !sheet.pour.closed_at);
  let sum = $("#pour-sum");
  if (!sheet.pour.closed_at) {
    sum?.remove();
    return;
  }
  const kg = sums(sheet);
  const rows = [
    ["planned", kg.plan], ["mixed", kg.mixed], ["in part", kg.inPart], ["in pails", kg.inPails], ["dumped", kg.lost],
    ["caught", kg.caught], ["difference", kg.difference],
  ];
  const lines = rows.map(([name, mass]) => {
    const share = name === "difference" ? ` (${kg.differencePercent.toFixed(1)} %)` : "";
    return made("div", {}, made("dt", { text: name }), made("dd", { text: `${mass.toFixed(2)} kg${share}` }));
  });
  const open = kg.notWeighed.length ? [made("p", { text: `Not weighed yet: pail ${kg.notWeighed.join(", ")}.` })] : [];
  const shown = made("div", { id: "pour-sum" }, made("dl", { className: "facts" }, ...lines), ...open);
  if (sum) sum.replaceWith(shown);
  else zones.left.after(shown);
  sum = shown;
}

// ---- Sound

function canSound() {
  audio ??= new AudioContext();
  if (audio.state === "suspended") audio.resume();
}

function sound(alarms, now) {
  const before = cried.length;
  cried = withCried(cried, alarms);
  if (cried.length > before) localStorage.setItem(criedKept, JSON.stringify(cried));
  const due = knocksDue(alarms, heard, now);
  heard = due.heard;
  if (due.knocks && audio?.state === "running") knock(audio, due.knocks);
}

// ---- Telling

/** When what is told next happened, and the paper sheet it was written on first; empty where it is now. */
function toldOfTime() {
  const at = earlier ? new Date(earlier.at ?? writesAt()).toISOString() : "";
  return [["happened_at", at], ["paper_sheet", earlier?.paper ?? ""]];
}

/** Tell one thing of the pour; the page has changed when this is done. */
async function log(act, name, fields) {
  if (!window.isSecureContext) {
    location.assign(book.urls[act]);
    return;
  }
  const when = toldOfTime().filter(([, value]) => value);
  const chosen = panel ? [...photoInput.files] : [];
  earlier = null;
  close();
  try {
    const entry = await tell({ url: book.urls[act], act: name, fields: [...fields, ...when] });
    const wrong = entry ? await Promise.all(chosen.map((file) => keepPhoto(file, entry))) : [];
    band("photo", wrong.find(Boolean) ?? "");
  } catch (error) {
    band("kept", notKept(error));
  }
}

/** How many pictures go with the trouble that is tapped next. */
function sayPhotos() {
  const count = photoInput.files.length;
  const chosen = count === 1 ? "1 photo goes" : `${count} photos go`;
  write(zones["photo-said"], count ? `${chosen} with what you tap` : "then what is wrong");
}

function heardTold(event) {
  const entry = event.detail;
  entries.set(entry.id, entry);
  if (actOf(book, entry) || entry.strikes) event.preventDefault();
  redraw();
  if (tappedAt !== null) performance.measure(TAP_MEASURE, { start: tappedAt, end: performance.now() });
  tappedAt = null;
  band("kept", "");
  if (entry.url === book.urls.mix || entry.url === book.urls.reading) closeForms();
}

function heardAnswer(event) {
  entries.set(event.detail.id, event.detail);
  redraw();
  ask();
}

// ---- The book

let asking = null;

function ask() {
  asking ??= askBook().finally(() => {
    asking = null;
  });
  return asking;
}

async function askBook() {
  const asked = Date.now();
  let answer;
  try {
    const headers = { Accept: "application/json", ...(etag ? { "If-None-Match": etag } : {}) };
    const signal = AbortSignal.timeout(GIVE_UP_MS);
    answer = await fetch(book.urls.sheet, { headers, cache: "no-cache", redirect: "error", signal });
  } catch {
    return;
  }
  const answered = Date.now();
  if (answer.status === 304) {
    seenAt = answered;
    return;
  }
  if (!answer.ok || !answer.headers.get("content-type")?.includes("json")) return;
  const said = await answer.json();
  // What the tablet kept of the book counts where it is newer than the page, and says nothing of the time.
  const isKept = answer.headers.has("hb-kept-at");
  if (isKept && Date.parse(said.now) <= Date.parse(book.now)) return;
  book = said;
  if (!isKept) {
    seenAt = answered;
    const ahead = aheadOf(said.now, asked, answered, GIVE_UP_MS);
    // A book that has not changed says no time: where this one told none, the next is asked for whole again.
    etag = ahead === null ? "" : (answer.headers.get("etag") ?? "");
    clock.setAhead(ahead ?? clock.ahead());
    localStorage.setItem(AHEAD_KEPT, String(clock.ahead()));
    band("clock", Math.abs(clock.ahead()) > CLOCK_OFF_MS ? clockWords(clock.ahead() / 1000) : "");
  }
  redraw();
}

async function askGaps() {
  try {
    const [headers, signal] = [{ Accept: "application/json" }, AbortSignal.timeout(GIVE_UP_MS)];
    const answer = await fetch(book.urls.gaps, { headers, cache: "no-store", redirect: "error", signal });
    if (answer.ok) gaps = (await answer.json()).gaps;
  } catch {
    // Asked again in a minute.
  }
}

// ---- Panels and forms

function drawPanelHead(now) {
  const nearest = $(".panel-gel", zones.panel);
  const [pail] = feeding(sheet);
  if (!nearest) return;
  const value = pail ? valueOf(`pail ${pail.id}`, { sheet, now, alarms: [] }) : null;
  write(nearest, value ? `Pail ${pail.number} ${value.figure}` : "");
  const when = $(".panel-when b", zones.panel);
  if (when) write(when, writesWords());
}

function whenKey() {
  const key = made("button", { type: "button", className: "key panel-when" }, made("b", {}));
  key.append(made("small", { text: "earlier" }));
  key.opens = ["earlier", {}];
  return key;
}

function openPanel(name, options = {}) {
  if (name === "keypad") {
    openReading(options.what);
    return;
  }
  panel = [name, options];
  const { title, body } = PANELS[name](view(), options);
  const back = made("button", { type: "button", className: "key", text: "Back" });
  back.dataset.close = "";
  const head = made("header", {}, made("h2", { text: title }), made("p", { className: "panel-gel" }));
  if (!["more", "earlier"].includes(name)) head.append(whenKey());
  head.append(back);
  zones.photo.hidden = name !== "trouble";
  sayPhotos();
  zones.panel.replaceChildren(head, ...body, ...(zones.photo.hidden ? [] : [zones.photo]));
  zones.panel.dataset.panel = name;
  zones.panel.hidden = false;
  drawPanelHead(clock.now());
}

function close() {
  panel = null;
  photoInput.value = "";
  zones.panel.hidden = true;
  zones.panel.replaceChildren();
}

function empty() {
  isFilled = "";
  filled.hidden = true;
  delete filled.dataset.name;
}

function closeForms() {
  for (const form of [zones.mix, zones.reading]) {
    if (!form.hidden) form.reset();
    form.hidden = true;
  }
  document.body.classList.remove("is-keying", "has-pad");
  const pad = $(".pad");
  if (pad) pad.hidden = true;
}

function openForm(form, first) {
  close();
  closeForms();
  form.hidden = false;
  document.body.classList.add("is-keying");
  for (const [name, value] of toldOfTime()) form.elements[name].value = value;
  earlier = null;
  first.click();
}

function field(form, name) {
  return $(`#field-${name}`, form);
}

function openReading(what) {
  const form = zones.reading;
  const isPressure = what === "bag pressure";
  const last = sheet.last[what];
  const { words } = READINGS.find((one) => one.what === what);
  write($("#pour-reading-what"), words);
  form.dataset.act = words;
  const ofPressure = ["gauge_mbar", "gauge", "gauge_kind", "station_pressure_mbar"];
  for (const name of ofPressure) field(form, name).hidden = !isPressure;
  for (const name of ["temperature_c", "thermometer"]) field(form, name).hidden = isPressure;
  const input = form.elements[isPressure ? "gauge_mbar" : "temperature_c"];
  openForm(form, input);
  form.elements.what.value = what;
  if (!last) return;
  form.elements[isPressure ? "gauge" : "thermometer"].value = last.instrument_id;
  form.elements.place.value = last.place ?? "";
  if (isPressure) {
    form.elements.gauge_kind.value = last.gauge_kind;
    form.elements.station_pressure_mbar.value = last.station_pressure_mbar ?? "";
  }
}

function openMix() {
  const form = zones.mix;
  const { before } = sheet.mix;
  const number = String(nextPail(sheet));
  openForm(form, form.elements.resin_kg);
  form.elements.pail_number.value = number;
  write($("#pour-mix-number"), number);
  form.dataset.act = `Pail ${number}`;
  form.elements.catalyst_g.dataset.expectedFactor = String(gramsFor(sheet, 1));
  const open = sheet.inlets.filter((inlet) => inlet.state === "open").at(-1) ?? sheet.inlets[0];
  form.elements.inlet.value = before?.inlet || String(open?.number ?? "");
  for (const [name, value] of Object.entries(before ?? {})) {
    if (form.elements[name] && value) form.elements[name].value = String(value);
  }
  // Said anew for each pail: a name that stands there by itself has read no scale.
  form.elements.second_person.value = "";
  for (const [name, list] of Object.entries(OFFERED)) {
    if (!form.elements[name].value && sheet.mix[list].length) form.elements[name].value = String(sheet.mix[list][0].id);
  }
  if (!form.elements.mixed_by.value) form.elements.mixed_by.value = lit();
  drawLots();
  drawDose();
}

/** Tiles that set what the pail before had otherwise: the open drums, and who read the scale. */
function drawLots() {
  const form = zones.mix;
  const tile = (name, value, words, small) => {
    const key = made("button", { type: "button", className: "tile", value }, made("b", { text: words }));
    key.append(made("span", { text: small }));
    key.dataset.sets = name;
    key.setAttribute("aria-pressed", String(form.elements[name].value === String(value)));
    return key;
  };
  const offered = (name, all) => all.filter((lot) => lot.is_fit || form.elements[name].value === String(lot.id));
  const lots = (name, all, words) =>
    offered(name, all).map((lot) => tile(name, lot.id, lot.code, lot.is_fit ? words(lot) : lot.state));
  const resins = lots("resin_lot", sheet.mix.lots, (lot) => `${kilograms(lot.kg_left)} kg`);
  const seconds = lots("catalyst_lot", sheet.mix.catalyst_lots, () => sheet.plan.second_part);
  const others = sheet.crew.filter((person) => person.initials !== form.elements.mixed_by.value);
  const people = others.map((person) => tile("second_person", person.initials, person.initials, "read it"));
  const rows = [resins, seconds, people].map((tiles) => made("div", { className: "tiles" }, ...tiles));
  zones.lots.replaceChildren(...rows);
}

function keyed(name) {
  const text = zones.mix.elements[name]?.value.trim().replace(",", ".");
  return text ? Number(text) : NaN;
}

/** The grams worked out, then the percentage of what was weighed, against the maker's window. */
function drawDose() {
  if (zones.mix.hidden) return;
  const [kg, grams] = [keyed("resin_kg"), keyed("catalyst_g")];
  const { dose_low_phr: low, dose_high_phr: high, second_part: second } = sheet.plan;
  const shown = (figure, unit, words, level = "") => {
    zones.dose.dataset.level = level;
    const parts = [made("b", { className: "figures", text: figure }), made("span", { className: "unit", text: unit })];
    zones.dose.replaceChildren(...parts, made("small", { text: words }));
  };
  if (!(kg > 0)) shown("–", "%", `the maker's ${low} to ${high} on resin by weight`);
  else if (!(grams > 0)) shown(gramsFor(sheet, kg).toFixed(0), `g ${second}`, "worked out for that resin");
  else {
    const percent = doseOf(kg, grams);
    const judged = judgedDose(sheet, percent);
    const window = `${judged} the maker's ${low} to ${high} %`;
    const mending = mendingWords(sheet, kg, grams);
    const words = judged === "inside" ? `on resin by weight, ${window}` : `${window}. ${mending}`;
    shown(percent.toFixed(2), "%", words, judged);
  }
  zones.mix.dataset.act = `Pail ${zones.mix.elements.pail_number.value}${kg > 0 ? `, ${kg} kg` : ""}`;
}

// ---- Taps

function tapBar(key) {
  empty();
  closeForms();
  if (key === "stop") {
    if (!sheet.stopped) log("trouble", "All stop", [["kind", "all stop"]]);
    return;
  }
  if (key !== "next") {
    openPanel(key);
    return;
  }
  const next = nextAct(sheet, forecast, clock.now());
  const acts = {
    mix: openMix,
    inlet: () => moveInlet(next.inlet),
    front: () => openPanel("front"),
    sound: startPour,
    mended: () => log("mended", "Going on again", [["trouble", sheet.stopped.id], ["words", "going on again"]]),
    close: () => log("close", "Close the pour", [["words", ""]]),
    pail_end: () => openPanel("ends"),
    gel: () => openPanel("gel"),
    questions: () => location.assign(book.urls.questions),
  };
  acts[next.act]();
}

function startPour() {
  canSound();
  knock(audio, 3);
  awake.ask();
  openPanel("start");
}

function moveInlet(number) {
  const inlet = sheet.inlets.find((one) => one.number === number);
  const isBlock = (one) => one.kind === "inlet blocked" && one.inlet === number && !one.mended_at;
  const blocked = sheet.troubles.findLast(isBlock);
  if (inlet.state === "blocked" && blocked) {
    log("mended", `Inlet ${number} runs again`, [["trouble", blocked.id], ["words", "runs again"]]);
    return;
  }
  const move = inlet.state === "open" ? "shut" : "open";
  log("inlet", `Inlet ${number} ${move}`, [["inlet_number", String(number)], ["move", move]]);
}

function take(code) {
  const alarm = alarmsNow(clock.now()).find((one) => one.code === code);
  if (!alarm) return;
  log("alarm", `${alarm.rank.toUpperCase()} taken: ${alarm.words}`, [["code", code], ["rank", alarm.rank]]);
  if (alarm.about.startsWith("front ")) openPanel("why", { words: alarm.words });
}

function endPail(id, how) {
  const pail = sheet.pails.find((one) => one.id === id);
  empty();
  if (how === "spoilt") log("trouble", `Pail ${pail.number} gone hot`, [["kind", "pail spoilt"], ["mix", id]]);
  else if (how === "gelled") log("gel", `Gel: in pail ${pail.number}`, [["at", "pail"], ["mix", id], ["place", ""]]);
  else log("pail_end", `Pail ${pail.number} ${how}`, [["mix", id], ["how", how]]);
}

function setEarlier(key) {
  if (key.earlierAt) {
    if (!key.earlierAt.value) return;
    const [hours, minutes, seconds = 0] = key.earlierAt.value.split(":").map(Number);
    const at = new Date();
    at.setHours(hours, minutes, seconds, 0);
    if (at > clock.now()) at.setDate(at.getDate() - 1);
    paper = key.paper.value.trim();
    // A time that a person keys is the wall's, not that of a tablet whose clock is off.
    earlier = { at: at.getTime() + clock.ahead(), paper };
  } else earlier = key.earlier ? { minutes: key.earlier } : null;
  close();
  drawMoving(clock.now());
}

/** A second tap within 0.7 s on a key that stays is the same tap: an inlet must not open and shut by it. */
function isSameTap(key, at) {
  const stays = "inlet" in key.dataset || "bar" in key.dataset;
  const before = lately.get(key);
  if (stays) lately.set(key, at);
  return stays && before !== undefined && at - before < SAME_TAP_MS;
}

function tapped(event) {
  const key = event.target.closest("button, a");
  if (!key || isSameTap(key, event.timeStamp)) return;
  tappedAt = event.timeStamp;
  const { fill, inlet, act, take: code, ends: how, pail, sets } = key.dataset;
  if (fill) {
    if (isFilled === fill) empty();
    else {
      isFilled = fill;
      drawFilled(filled, fill, view());
    }
  } else if (key.dataset.bar) tapBar(key.dataset.bar);
  else if (inlet) moveInlet(Number(inlet));
  else if (act === "mix") openMix();
  else if (code) take(code);
  else if (how) endPail(pail, how);
  else if (key.tells) log(key.tells.act, key.tells.name, key.tells.fields);
  else if (key.opens) openPanel(...key.opens);
  else if (key.knocks) knock(audio, key.knocks);
  else if ("earlier" in key || "earlierAt" in key) setEarlier(key);
  else if (sets) {
    const field = zones.mix.elements[sets];
    // The second person may be taken back; a pail is never without its lots.
    field.value = sets === "second_person" && field.value === key.value ? "" : key.value;
    drawLots();
  } else if ("close" in key.dataset) {
    close();
    closeForms();
  }
}

function tappedStrip(event) {
  const { x, y } = inDrawing(svg, event);
  const at = placeAt(ground, x, y);
  if (at && sheet.sound && !sheet.pour.closed_at) openPanel("place", at);
}

// ---- Wiring

const awake = keepAwake({
  navigator,
  page: document,
  isWanted: () => !sheet.pour.closed_at || !sheet.gels.some((gel) => gel.where === "part"),
  say(words) {
    sleepWords = words;
  },
});

async function begin() {
  document.addEventListener("click", tapped);
  // A browser sounds nothing for a page that nobody has touched yet.
  document.addEventListener("pointerdown", canSound, true);
  svg?.addEventListener("click", tappedStrip);
  zones.mix.addEventListener("input", drawDose);
  photoInput.addEventListener("change", sayPhotos);
  document.addEventListener("hb:told", heardTold);
  document.addEventListener("hb:booked", heardAnswer);
  document.addEventListener("hb:refused", heardAnswer);
  document.addEventListener("hb:reach", (event) => event.detail && ask());
  const sizes = new ResizeObserver(measure);
  for (const one of [bar, rail, zones.clocks]) sizes.observe(one);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && ask());
  redraw();
  setInterval(ask, ASK_EVERY_MS);
  setInterval(askGaps, GAPS_EVERY_MS);
  ask();
  askGaps();
  awake.ask();
  if (!window.isSecureContext) band("https", NO_HTTPS_WORDS);
  outbox = await ready;
  for (const entry of await outbox.all()) entries.set(entry.id, entry);
  outbox.on("gone", (entry) => {
    entries.delete(entry.id);
    redraw();
  });
  outbox.on("change", (entry) => {
    entries.set(entry.id, entry);
    redraw();
  });
  redraw();
}

begin();
