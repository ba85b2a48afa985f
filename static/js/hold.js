// A hold test while it runs: the bag isolated at an instant, what the gauge showed and when, the line through it. All
// stays on the tablet, through a reload and out of reach, and is told once, at its end, by the form of the whole test.

import { stepKeys } from "./bounds.js";
import { keepAwake, minutesSeconds, openClock, timeOfDay } from "./clocks.js";
import { mark } from "./svg.js";

const MINUTE_MS = 60_000;
const LEAVE_OUT_MIN = 3; // gas settling and cooling: left out of the line drawn while it runs
const LEAST_TO_FIT = 3;
const NONE = { isolated_at: null, readings: [], fields: {} };

// ---- Sums: hullbook/calc/vacuum.py fit_rise, put to the same values by a test

/** Least squares of pressure (mbar) on time (min): rate with its standard uncertainty, and where the line starts. */
export function fitRise(minutes, pressures) {
  const count = minutes.length;
  if (count < LEAST_TO_FIT) return null;
  const mean = (values) => values.reduce((sum, value) => sum + value, 0) / count;
  const [middle, level] = [mean(minutes), mean(pressures)];
  const spread = minutes.reduce((sum, minute) => sum + (minute - middle) ** 2, 0);
  if (spread === 0) return null;
  const rate = minutes.reduce((sum, minute, i) => sum + (minute - middle) * (pressures[i] - level), 0) / spread;
  const intercept = level - rate * middle;
  const squares = minutes.reduce((sum, minute, i) => sum + (pressures[i] - intercept - rate * minute) ** 2, 0);
  return { rate, intercept, uncertainty: Math.sqrt(squares / (count - 2) / spread) };
}

/** The readings of a draft as minutes since the bag was isolated and what the gauge showed. */
export function points({ isolated_at: start, readings }) {
  const since = readings.filter(({ at }) => at >= start);
  return since.map(({ at, shown }) => ({ minute: (at - start) / MINUTE_MS, shown: Number(shown) }));
}

/** The line while the test runs, without its first three minutes; null before there is one. */
export function fitNow(draft) {
  const late = points(draft).filter(({ minute }) => minute >= LEAVE_OUT_MIN);
  return fitRise(late.map(({ minute }) => minute), late.map(({ shown }) => shown));
}

/** The draft as the form of the whole test takes it: a minute and what was shown, line by line. */
export function asReadings({ isolated_at: start, readings }) {
  const since = readings.filter(({ at }) => at >= start);
  const lines = new Map(since.map(({ at, shown }) => [((at - start) / MINUTE_MS).toFixed(2), shown]));
  return [...lines].map(([minute, shown]) => `${minute} ${shown}`).join("\n");
}

/** What is left of the time that the limit is stated over, ms; null without a limit. */
export function toGo(draft, overMinutes, now) {
  return overMinutes ? draft.isolated_at + overMinutes * MINUTE_MS - now : null;
}

// ---- The draft, kept on the tablet

export function keptDraft(storage, name) {
  return {
    read() {
      try {
        return { ...NONE, ...JSON.parse(storage.getItem(name)) };
      } catch {
        return NONE;
      }
    },
    write: (draft) => storage.setItem(name, JSON.stringify(draft)),
    forget: () => storage.removeItem(name),
  };
}

// ---- The page

const PLOT = { width: 760, height: 400, left: 66, right: 20, top: 16, bottom: 56 };
const FOOT = PLOT.height - PLOT.bottom;
const END = PLOT.width - PLOT.right;
const WORDS = { "font-size": 21 };

function line(className, x1, y1, x2, y2) {
  return mark("line", { class: className, x1, y1, x2, y2 });
}

function words(className, x, y, anchor, text) {
  return mark("text", { class: className, x, y, "text-anchor": anchor, ...WORDS }, text);
}

function steps(low, high, wanted) {
  const raw = (high - low) / wanted;
  const unit = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((one) => one * unit).find((one) => one >= raw);
  const found = [];
  for (let value = Math.ceil(low / step) * step; value <= high + 1e-9; value += step) found.push(value);
  return found.map((value) => Number(value.toPrecision(12)));
}

/** Minutes and mbar of the frame, and where they lie on the drawing. */
function frameOf(draft, { rise_mbar: rise, over_min: over }, now) {
  const shown = points(draft).map((one) => one.shown);
  const start = shown[0] ?? 0;
  const limit = rise === null || !shown.length ? null : start + rise;
  const longest = Math.max(over ?? 20, (now - draft.isolated_at) / MINUTE_MS, 5) * 1.04;
  const [low, high] = [Math.min(start, ...shown) - 1, Math.max(limit ?? start + 4, ...shown) + 1];
  return {
    limit, longest, low, high,
    x: (minute) => PLOT.left + (minute / longest) * (END - PLOT.left),
    y: (mbar) => FOOT - ((mbar - low) / (high - low)) * (FOOT - PLOT.top),
  };
}

function axes({ x, y, longest, low, high }) {
  const along = steps(0, longest, 6).flatMap((minute) => [
    line("line", x(minute), FOOT, x(minute), FOOT + 8),
    words("figure", x(minute), FOOT + 30, "middle", String(minute)),
  ]);
  const up = steps(low, high, 5).flatMap((mbar) => [
    line("hairline", PLOT.left, y(mbar), END, y(mbar)),
    words("figure", PLOT.left - 8, y(mbar) + 7, "end", String(mbar)),
  ]);
  const name = words("note", END, FOOT + 52, "end", "minutes since the bag was isolated; mbar as the gauge shows");
  const edges = [line("ink", PLOT.left, FOOT, END, FOOT), line("line", PLOT.left, PLOT.top, PLOT.left, FOOT)];
  return [...up, ...edges, ...along, name];
}

/** The limit as a bar over the time it is stated for. */
function limitBar({ x, y, limit }, { rise_mbar: rise, over_min: over }) {
  if (limit === null) return [];
  const end = x(over);
  return [
    line("limit", x(0), y(limit), end, y(limit)),
    line("limit", end, y(limit), end, y(limit) + 12),
    words("limit-figure", x(0) + 8, y(limit) - 8, "start", `limit +${rise} mbar in ${over} min`),
  ];
}

function fitLine(draft, { x, y }, over) {
  const fit = fitNow(draft);
  if (!fit) return [];
  const at = (minute) => y(fit.intercept + fit.rate * minute);
  const until = Math.max(over ?? 0, points(draft).at(-1).minute);
  return [line("planned", x(LEAVE_OUT_MIN), at(LEAVE_OUT_MIN), x(until), at(until))];
}

function plot(draft, told, now) {
  const frame = frameOf(draft, told, now);
  const dots = points(draft).map(({ minute, shown }) =>
    mark("circle", { class: "hollow", cx: frame.x(minute), cy: frame.y(shown), r: 6 }));
  const lies = { viewBox: `0 0 ${PLOT.width} ${PLOT.height}`, role: "img", "aria-label": `${dots.length} readings` };
  const fit = fitLine(draft, frame, told.over_min);
  const ground = [...axes(frame), ...limitBar(frame, told)];
  return mark("svg", { class: "drawing drawing-hold", ...lies }, ...ground, ...fit, ...dots);
}

function fact(name, figure, unit, words) {
  const holder = document.createElement("div");
  const parts = [["span", "fact-name", name], ["b", "figures", figure], ["span", "unit", unit], ["small", "", words]];
  for (const [tag, className, text] of parts) {
    const part = document.createElement(tag);
    if (className) part.className = className;
    part.textContent = text;
    holder.append(part);
  }
  return holder;
}

function startPage(page) {
  const told = JSON.parse(page.querySelector("#hb-hold").textContent);
  const [running, keys, whole] = ["#hold-running", "#hold-keys", "#hold-form"].map((id) => page.querySelector(id));
  const form = whole.querySelector("form");
  const input = keys.elements.shown_mbar;
  const bar = page.querySelector(".action-bar");
  const kept = keptDraft(localStorage, `hullbook-hold-${location.pathname}`);
  let draft = kept.read();
  let isEnding = false;
  let isAsked = false;

  function keep(change) {
    draft = { ...draft, ...change };
    kept.write(draft);
    draw();
  }

  function key(name, small, work, className = "key") {
    const made = document.createElement("button");
    made.type = "button";
    made.className = className;
    made.append(name);
    if (small) {
      const under = document.createElement("small");
      under.textContent = small;
      made.append(under);
    }
    made.dataset.floorPrimary = "";
    made.addEventListener("click", work);
    return made;
  }

  function read(text) {
    if (!Number.isFinite(Number(text.replace(",", "."))) || !text.trim()) return;
    keep({ readings: [...draft.readings, { at: Date.now(), shown: text.trim().replace(",", ".") }] });
    input.value = "";
  }

  function fields() {
    const isKeyed = ({ name, type }) => name && name !== "readings" && !["hidden", "submit", "button"].includes(type);
    return [...form.elements].filter(isKeyed);
  }

  function end() {
    isEnding = true;
    form.elements.readings.value = asReadings(draft);
    form.elements.happened_at.value = new Date(draft.isolated_at).toISOString();
    draw();
    whole.scrollIntoView();
  }

  function anew() {
    if (!isAsked) {
      isAsked = true;
      draw();
      return;
    }
    isAsked = false;
    isEnding = false;
    kept.forget();
    draft = NONE;
    draw();
  }

  function lastFact(last) {
    const first = points(draft)[0];
    if (!last || !first) return fact("Last reading", last?.shown ?? "–", "mbar", "say what the gauge shows");
    const rise = Number(last.shown) - first.shown;
    const allowed = told.rise_mbar === null ? "" : ` of +${told.rise_mbar} allowed`;
    const moved = `${rise >= 0 ? "+" : "−"}${Math.abs(rise).toFixed(1)}${allowed}`;
    return fact("Last reading", last.shown, "mbar", `${timeOfDay(last.at)}, ${moved}`);
  }

  function drawFacts(now) {
    const fit = fitNow(draft);
    const since = minutesSeconds(Math.max(0, Math.floor((now - draft.isolated_at) / 1000) * 1000));
    const rate = told.before?.rate_mbar_min?.toFixed(2) ?? "–";
    const before = told.before ? `Test ${told.before.number} was ${rate}. ` : "";
    const guide = `${before}From 3 min on, a guide: the book judges the whole test.`;
    const facts = [
      fact("Bag isolated", since, "min", `since ${timeOfDay(draft.isolated_at)}`),
      lastFact(draft.readings.at(-1)),
      fact("Rate, from the line", fit ? fit.rate.toFixed(2) : "–", "mbar/min", guide),
    ];
    const left = toGo(draft, told.over_min, now);
    if (left !== null) {
      const ends = `ends ${timeOfDay(draft.isolated_at + told.over_min * MINUTE_MS)}`;
      const words = left > 0 ? ends : "long enough for the limit";
      facts.splice(2, 0, fact("To go", minutesSeconds(Math.max(0, left)), "min", words));
    }
    page.querySelector("#hold-facts").replaceChildren(...facts);
  }

  function drawSteps() {
    const last = draft.readings.at(-1);
    const resolution = told.resolutions[form.elements.gauge.value] ?? Math.min(...Object.values(told.resolutions));
    input.dataset.resolution = String(resolution);
    const found = last && Number.isFinite(resolution) ? stepKeys(Number(last.shown), resolution) : [];
    const stepsShown = found.map(({ text, words: step }) => key(text, step, () => read(text), "pad-key step"));
    page.querySelector("#hold-steps").replaceChildren(...stepsShown);
  }

  function isLongEnough() {
    return !(toGo(draft, told.over_min, Date.now()) > 0);
  }

  function drawBar() {
    if (draft.isolated_at === null) {
      const isolate = () => keep({ isolated_at: Date.now(), readings: [] });
      bar.replaceChildren(key("Bag isolated, now", "the test runs from here", isolate, "key key-first"));
      return;
    }
    bar.replaceChildren(
      key("End the test", "then the form, once", end, isLongEnough() ? "key key-first" : "key"),
      key(isAsked ? "Yes, begin anew" : "Begin anew", isAsked ? "these readings are gone" : "pump back on", anew),
    );
  }

  function tick() {
    if (draft.isolated_at === null) return;
    drawFacts(Date.now());
    if (isLongEnough() !== Boolean(bar.querySelector(".key-first"))) drawBar();
  }

  function draw() {
    const runs = draft.isolated_at !== null;
    running.hidden = !runs;
    whole.hidden = runs && !isEnding;
    drawBar();
    if (!runs) return;
    page.querySelector("#hold-plot").replaceChildren(plot(draft, told, Date.now()));
    drawSteps();
    tick();
  }

  keys.addEventListener("submit", (event) => {
    event.preventDefault();
    read(input.value);
  });
  form.addEventListener("input", () => {
    if (draft.isolated_at === null) return;
    draft = { ...draft, fields: Object.fromEntries(fields().map((one) => [one.name, one.value])) };
    kept.write(draft);
  });
  form.addEventListener("change", () => draft.isolated_at !== null && drawSteps());
  page.addEventListener("hb:told", (event) => {
    if (event.detail.url === location.pathname) kept.forget();
  });
  for (const one of fields()) if (draft.fields[one.name]) one.value = draft.fields[one.name];
  if (form.elements.readings.value) return; // the book sent it back: the form is what is to be put right
  const awake = keepAwake({ navigator, page, isWanted: () => draft.isolated_at !== null, say() {} });
  openClock(tick, { page }).tick();
  draw();
  awake.ask();
  page.addEventListener("click", () => awake.ask());
}

if (typeof document !== "undefined" && document.querySelector("#hb-hold")) startPage(document);
