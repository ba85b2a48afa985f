// Number keys for the floor: every input[data-quantity] gets a pad of 20 mm keys, or step keys where a reading is taken
// again, and says at once what the book would say: refused, or asked about with its answers as keys. What was answered
// goes along as the book's own question would send it (answer-<field>, instead-<field>).

import {afterKey, general, judge, placesOf, stepKeys} from "./bounds.js";

const REFUSED_MS = 400;
const QUANTITY = "input[data-quantity]:not([type=hidden])";
const OTHER_TEXT = "textarea, input:is([type=text], [type=password]):not([data-quantity])";
const EXPECTED = [["plan", "plan"], ["last", "last"], ["expected", "worked out"], ["others", "others"]];

// ---- what a field says of itself

function figure(text) {
  return text === undefined ? undefined : Number(text);
}

/** One step of the display of the instrument that is chosen, else of the finest there is. */
function resolutionOf(input) {
  const {resolution, shownBy, displaySteps} = input.dataset;
  if (!displaySteps) return figure(resolution);
  const steps = JSON.parse(displaySteps);
  return steps[input.form.elements[shownBy]?.value] ?? Math.min(...Object.values(steps));
}

/** The value a field is held against and what that is, summed from other fields where it hangs on them. */
function expectation(input) {
  const [name, against] = EXPECTED.find(([attribute]) => attribute in input.dataset) ?? [];
  if (!name) return {};
  const {expectedOf, expectedFactor} = input.dataset;
  let expected = Number(input.dataset[name]);
  if (expectedOf) {
    const others = expectedOf.split(" ").map((other) => input.form?.elements[other]).filter(Boolean);
    if (others.some((other) => inDoubt(other))) return {};
    const keyed = others.map((other) => (other.value.trim() ? decide(other).value : 0));
    if (keyed.some((value) => value === null)) return {};
    expected += Number(expectedFactor) * keyed.reduce((sum, value) => sum + value, 0);
    if (expected === 0) return {};
  }
  return {expected, against, band: input.dataset.band};
}

function decide(input) {
  const {low, high, usualLow, usualHigh, unit, label, offers, accepted, asks} = input.dataset;
  return judge({
    text: input.value, low: Number(low), high: Number(high), usualLow: figure(usualLow), usualHigh: figure(usualHigh),
    unit, label, accepted, required: input.required, asks: asks !== "no", proposes: asks !== "plainly",
    offers: offers ? JSON.parse(offers) : [],
    ...expectation(input),
  });
}

function isAnswered(input, submitter) {
  const answers = new FormData(input.form, submitter?.form === input.form ? submitter : null);
  return answers.has(`instead-${input.name}`) || answers.get(`answer-${input.name}`) === input.value;
}

function inDoubt(input) {
  const {refused, question} = decide(input);
  return Boolean(refused || (question && !isAnswered(input)));
}

function forgetAnswers(input) {
  for (const kind of ["answer", "instead"]) {
    input.form?.querySelectorAll(`input[name="${kind}-${CSS.escape(input.name)}"]`).forEach((one) => one.remove());
  }
}

function answer(input, kind, value) {
  forgetAnswers(input);
  const hidden = document.createElement("input");
  Object.assign(hidden, {type: "hidden", name: `${kind}-${input.name}`, value});
  input.form.append(hidden);
}

function write(input, text) {
  input.value = text;
  input.dispatchEvent(new Event("input", {bubbles: true}));
}

// ---- making things

function make(tag, className, words = "", more = {}) {
  const made = document.createElement(tag);
  made.className = className;
  made.textContent = words;
  for (const [name, value] of Object.entries(more)) made.setAttribute(name, value);
  return made;
}

function makeKey(className, words, press, more = {}) {
  const key = make("button", className, words, {type: "button", ...more});
  // The field keeps the focus, so that a keyboard goes on where the keys left off.
  key.addEventListener("pointerdown", (event) => event.preventDefault());
  key.addEventListener("click", () => press(key));
  return key;
}

function refuseKey(key, words) {
  if (key.dataset.words !== undefined) return;
  key.dataset.words = key.textContent;
  key.textContent = words;
  key.classList.add("is-refused");
  key.setAttribute("aria-live", "assertive");
  setTimeout(() => {
    key.textContent = key.dataset.words;
    delete key.dataset.words;
    key.classList.remove("is-refused");
  }, REFUSED_MS);
}

function withUnit(number, unit) {
  return unit ? `${number}\u00a0${unit}` : number;
}

function quantitiesOf(form) {
  return [...form.querySelectorAll(QUANTITY)].filter((input) => input.checkVisibility());
}

function actOf(form) {
  return form.querySelector("button.key-first[type=submit]") ?? form.querySelector("button[type=submit]");
}

// ---- the pad: one for the page

let pad = null;

class Pad {
  constructor() {
    this.panel = make("section", "pad", "", {"aria-label": "Number keys", "hidden": ""});
    document.body.append(this.panel);
  }

  open(input) {
    this.input = input;
    this.panel.hidden = false;
    document.body.classList.add("has-pad");
    document.querySelectorAll(".is-keyed").forEach((one) => one.classList.remove("is-keyed"));
    input.closest(".field")?.classList.add("is-keyed");
    if (document.activeElement !== input) input.focus({preventScroll: true});
    input.closest(".field")?.scrollIntoView({block: "nearest"});
    this.drawKeys();
  }

  close() {
    this.panel.hidden = true;
    this.panel.replaceChildren();
    this.input?.closest(".field")?.classList.remove("is-keyed");
    this.input = null;
    document.body.classList.remove("has-pad");
  }

  head() {
    const {label, unit} = this.input.dataset;
    this.figures = make("output", "pad-figures", this.input.value);
    const value = make("p", "pad-value");
    value.append(this.figures, make("span", "unit", unit));
    const {expected, against} = expectation(this.input);
    const beside = expected === undefined ? "" : `${against} ${withUnit(general(expected, 4), unit)}`;
    const words = make("p", "pad-words");
    words.append(make("b", "", label), make("span", "pad-beside", beside));
    return [words, value];
  }

  /** Telephone order; a key that the instrument has no use for is not there. */
  drawKeys() {
    const {input} = this;
    const places = placesOf(resolutionOf(input));
    const figures = (key) => makeKey("pad-key", key, (pressed) => this.press(pressed, key, places));
    const keys = make("div", "pad-keys");
    const blank = () => make("span", "pad-blank");
    const next = this.nextInput();
    const act = actOf(input.form);
    const onward = next
      ? makeKey("pad-key pad-onward", `Next: ${next.dataset.label}`, () => this.leave(() => this.open(next)))
      : makeKey("pad-key pad-onward key-first", act.textContent, () => this.leave(() => input.form.requestSubmit(act)));
    keys.append(
      figures("1"), figures("2"), figures("3"),
      makeKey("pad-key pad-word", "one back", (pressed) => this.press(pressed, "back", places)),
      figures("4"), figures("5"), figures("6"),
      makeKey("pad-key pad-word", "close", () => this.leave(() => this.close())),
      figures("7"), figures("8"), figures("9"), onward,
      places ? figures(".") : blank(), figures("0"),
      Number(input.dataset.low) < 0 ? figures("−") : blank(),
    );
    this.panel.replaceChildren(...this.head(), keys);
  }

  press(pressed, key, places) {
    const {text, refused} = afterKey(this.input.value, key, {places});
    if (refused) refuseKey(pressed, refused);
    else write(this.input, text);
  }

  redrawFigures() {
    if (this.figures) this.figures.textContent = this.input.value;
  }

  nextInput() {
    const all = quantitiesOf(this.input.form);
    return all.slice(all.indexOf(this.input) + 1).find((one) => !one.value && one.required);
  }

  /** Go on where the number stands; else say why not, or ask. */
  leave(goOn) {
    const {input} = this;
    const {refused, question} = decide(input);
    const isEmpty = !input.value.trim();
    if (refused && !isEmpty) this.ask(refused, []);
    else if (question && !isAnswered(input)) this.askAbout(question, goOn);
    else goOn();
  }

  askAbout({sentence, likely}, goOn) {
    const {input} = this;
    const {unit} = input.dataset;
    const answers = [];
    if (likely !== null) {
      answers.push(makeKey("key", withUnit(likely, unit), () => {
        write(input, likely);
        answer(input, "instead", likely);
        goOn();
      }, {name: `instead-${input.name}`, value: likely}));
    }
    answers.push(makeKey("key", `${withUnit(input.value, unit)} is right`, () => {
      answer(input, "answer", input.value);
      goOn();
    }, {name: `answer-${input.name}`, value: input.value}));
    this.ask(sentence, answers);
  }

  /** The question stands where the keys were: nothing covers it, and it is answered before anything else is keyed. */
  ask(sentence, answers) {
    const asked = make("div", answers.length ? "question pad-asked" : "notice-now pad-asked", "", {role: "alert"});
    const keys = make("div", "keys");
    const again = makeKey("key", "Key again", () => {
      write(this.input, "");
      this.drawKeys();
    });
    keys.append(...answers, again);
    asked.append(make("p", "question-sentence", sentence), keys);
    this.panel.replaceChildren(...this.head(), asked);
  }
}

// ---- steps, for a reading that is taken again

function addSteps(input) {
  const resolution = resolutionOf(input);
  if (!("step" in input.dataset) || !("last" in input.dataset) || !resolution) return;
  input.closest(".field").querySelector(".steps")?.remove();
  const row = make("div", "steps", "", {role: "group", "aria-label": `${input.dataset.label}, from the last reading`});
  for (const {text, words} of stepKeys(Number(input.dataset.last), resolution)) {
    const key = makeKey("pad-key step", "", () => write(input, text), {"data-text": text});
    key.append(make("b", "", text), make("small", "", words));
    row.append(key);
  }
  row.append(makeKey("pad-key pad-word step", "KEYPAD", () => pad.open(input)));
  input.closest(".field-entry").after(row);
  markStep(input);
}

function markStep(input) {
  for (const key of input.closest(".field")?.querySelectorAll(".step[data-text]") ?? []) {
    key.setAttribute("aria-pressed", String(key.dataset.text === input.value));
  }
}

/** Give the quantities inside `root` their keys; a second time changes nothing. */
export function enhance(root) {
  pad ??= new Pad();
  for (const input of root.querySelectorAll(QUANTITY)) {
    if (input.dataset.hasKeys !== undefined || !input.form) continue;
    input.dataset.hasKeys = "";
    // Our own keys instead of the tablet's; a real keyboard writes as ever.
    input.inputMode = "none";
    input.addEventListener("click", () => pad.open(input));
    input.addEventListener("input", () => {
      forgetAnswers(input);
      if (pad.input === input) pad.redrawFigures();
      markStep(input);
    });
    addSteps(input);
    input.form.elements[input.dataset.shownBy]?.addEventListener("change", () => addSteps(input));
  }
}

/** Before a form goes to the book: what is refused or in doubt is said here, and the form stays. */
function beforeItGoes(event) {
  const form = event.target;
  for (const input of quantitiesOf(form)) {
    if (input.dataset.hasKeys === undefined) continue;
    const {refused, question} = decide(input);
    if (!refused && !(question && !isAnswered(input, event.submitter))) continue;
    event.preventDefault();
    event.stopImmediatePropagation();
    pad.open(input);
    if (refused) pad.ask(refused, []);
    else pad.askAbout(question, () => form.requestSubmit(event.submitter));
    return;
  }
  pad?.close();
}

if (typeof document !== "undefined") {
  const begin = () => {
    enhance(document);
    document.addEventListener("submit", beforeItGoes, {capture: true});
    document.addEventListener("htmx:afterSwap", (event) => enhance(event.target));
    document.addEventListener("focusin", (event) => event.target.matches(OTHER_TEXT) && pad.close());
  };
  if (document.readyState === "loading") document.addEventListener("DOMContentLoaded", begin);
  else begin();
}
