// What is said about a number as it is keyed: refused, asked about, or nothing. The same decisions and the same words
// as the book's own (hullbook/calc/ranges.py, slips.py); one table of cases is put to both. Nothing here touches a page.

const POINT_SLIPS = [[10, "ten times"], [100, "a hundred times"], [0.1, "a tenth of"], [0.01, "a hundredth of"]];
const POINT_SLIP_WITHIN = 0.05;
const AGAINST = {
  "plan": "the plan",
  "last": "the last reading",
  "worked out": "what was worked out",
  "others": "the middle of the others",
};
const NUMBER = /^\s*([+-]?\d{1,12}(?:[.,]\d{1,12})?)\s*([^\d.,\s].*?)?\s*$/;
const LONGEST_TEXT = 40;

/** A number in so many figures, without noughts at its end, halves to even: Python's own way to write it. */
export function general(value, figures = 12) {
  if (value === 0) return Object.is(value, -0) ? "-0" : "0";
  const [digits, exponent] = Math.abs(value).toExponential(100).split("e");
  const all = digits.replace(".", "");
  const rest = all.slice(figures);
  const isTie = /^50*$/.test(rest);
  let kept = BigInt(all.slice(0, figures));
  if (isTie ? kept % 2n === 1n : rest[0] >= "5") kept += 1n;
  const carried = String(kept).length > figures;
  const figuresKept = String(kept).slice(0, figures).replace(/0+$/, "") || "0";
  const power = Number(exponent) + (carried ? 1 : 0);
  return (value < 0 ? "-" : "") + placed(figuresKept, power, figures);
}

function placed(digits, power, figures) {
  if (power < -4 || power >= figures) {
    const mantissa = digits.length > 1 ? `${digits[0]}.${digits.slice(1)}` : digits;
    return `${mantissa}e${power < 0 ? "-" : "+"}${String(Math.abs(power)).padStart(2, "0")}`;
  }
  if (power < 0) return `0.${"0".repeat(-power - 1)}${digits}`;
  const whole = digits.slice(0, power + 1).padEnd(power + 1, "0");
  return digits.length > power + 1 ? `${whole}.${digits.slice(power + 1)}` : whole;
}

function spoken(label) {
  return label.replaceAll("_", " ");
}

function withUnit(number, unit) {
  return unit ? `${number}\u00a0${unit}` : number;
}

/**
 * What is said about `text`, keyed into a field.
 *
 * `low` and `high` are what can be; `usualLow` and `usualHigh` what is likely, asked about unless `asks` is off or
 * something is expected; `expected` with `against` ("plan", "last", "worked out", "others") and `band` ("10%" or 2.5)
 * what it is held against; `offers` other units as [words, factor, offset], of which one is proposed for what is only
 * unlikely where it `proposes`; `accepted` the units in words. A number with a unit behind it is left to the book.
 */
export function judge({
  text, low, high, usualLow, usualHigh, expected, against = "plan", band, unit = "", label, offers = [],
  accepted = "a plain number", required = false, asks = true, proposes = true,
}) {
  const nothing = {value: null, refused: null, question: null};
  if (!text.trim()) return required ? {...nothing, refused: `This is missing; give a number in ${accepted}.`} : nothing;
  const match = text.length <= LONGEST_TEXT ? NUMBER.exec(text) : null;
  if (!match) {
    const given = `${spoken(label)}: "${text.slice(0, LONGEST_TEXT)}" is not accepted`;
    return {...nothing, refused: `${given}; give one number, as 12.5, in ${accepted}`};
  }
  if (match[2]) return nothing;
  const value = Number(match[1].replace(",", "."));
  const refused = refusal(value, {low, high, usualLow, usualHigh, unit, label, offers});
  if (refused) return {...nothing, refused};
  const given = `${label}: ${withUnit(general(value), unit)}`;
  const question = expected !== undefined && expected !== null
    ? besideTheExpected(given, value, {expected, against, band, unit})
    : asks ? besideTheUsual(given, value, {usualLow, usualHigh, unit, offers: proposes ? offers : []}) : null;
  return {value, refused: null, question};
}

function refusal(value, {low, high, usualLow, usualHigh, unit, label, offers}) {
  if (low <= value && value <= high) return null;
  const words = unit ? ` ${unit}` : "";
  const given = `${spoken(label)}: ${general(value)} is not accepted`;
  const range = `${general(low, 6)} to ${general(high, 6)}${words}`;
  if (value < 0 && unit === "mbar") {
    return `${given}; a reading below zero is a gauge reading; give station pressure less the pull, ${range}`;
  }
  const fitting = otherUnits(value, {low, high, usualLow, usualHigh, offers});
  const meant = fitting.map(([name, other]) => `${general(value, 6)} ${name} is ${general(other, 6)}${words}`);
  return `${given}; ${meant.length ? `${meant.join(" or ")}; ` : ""}give ${range}`;
}

function otherUnits(value, {low, high, usualLow, usualHigh, offers}) {
  const converted = offers.map(([name, factor, offset]) => [name, factor * value + offset]);
  const usual = converted.filter(([, other]) => usualLow <= other && other <= usualHigh);
  return usual.length ? usual : converted.filter(([, other]) => low <= other && other <= high);
}

function besideTheExpected(given, value, {expected, against, band, unit}) {
  const of = `${AGAINST[against]} (${withUnit(general(expected, 4), unit)})`;
  for (const [factor, words] of expected > 0 ? POINT_SLIPS : []) {
    if (Math.abs(value / (expected * factor) - 1) <= POINT_SLIP_WITHIN) {
      return {sentence: `${given} is about ${words} ${of}.`, likely: general(value / factor)};
    }
  }
  const share = String(band).endsWith("%");
  const half = share ? Math.abs(expected) * Number(String(band).slice(0, -1)) / 100 : Number(band);
  const [low, high] = [expected - half, expected + half];
  if (low <= value && value <= high) return null;
  const mostly = `${general(low, 4)} to ${withUnit(general(high, 4), unit)}`;
  return {sentence: `${given} is far from ${of}; mostly it is ${mostly}.`, likely: null};
}

function besideTheUsual(given, value, {usualLow, usualHigh, unit, offers}) {
  if (usualLow <= value && value <= usualHigh) return null;
  const mostly = `${general(usualLow, 6)} to ${withUnit(general(usualHigh, 6), unit)}`;
  const meant = offers.map(([, factor, offset]) => factor * value + offset)
    .filter((other) => usualLow <= other && other <= usualHigh);
  const likely = meant.length ? general(meant[0], 6) : null;
  return {sentence: `${given} is unusual; mostly it is ${mostly}.`, likely};
}

/** How many places an instrument shows behind its point; as many as wanted where no instrument says. */
export function placesOf(resolution) {
  if (!resolution) return 12;
  const [, behind = ""] = general(resolution, 6).split(".");
  return behind.length;
}

/** The text after one more key, or why that key is refused. Nothing is rounded, cut or made to fit. */
export function afterKey(text, key, {places}) {
  if (key === "back") return {text: text.slice(0, -1)};
  if (key === "−") return {text: text.startsWith("-") ? text.slice(1) : `-${text}`};
  if (key === ".") {
    if (text.includes(".")) return {text, refused: "one point only"};
    return /\d$/.test(text) ? {text: `${text}.`} : {text, refused: "a figure first"};
  }
  const [before, behind] = text.replace("-", "").split(".");
  if (behind?.length >= places) return {text, refused: places === 1 ? "1 place only" : `${places} places only`};
  if (behind === undefined && before.length >= 12) return {text, refused: "no more figures"};
  return {text: text + key};
}

/** The five step keys beside the last reading, in steps of the instrument: what each writes, and its words. */
export function stepKeys(last, resolution) {
  return [[-1, "−1"], [0, "same"], [1, "+1"], [2, "+2"], [3, "+3"]].map(([step, words]) => (
    {text: (last + step * resolution).toFixed(placesOf(resolution)), words}
  ));
}
