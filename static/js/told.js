// What was told on this tablet, shown: on the rail, fresh entries with their way back, and the list of all that waits.

import { answersTo } from "./forms.js";
import { BOOKED, REFUSED, WAITING } from "./outbox.js";
import { clock, railState, STATE_WORDS } from "./words.js";

export const FRESH_MS = 60_000;
const MOST_FRESH = 4;
const STRIKE_REASONS = ["tapped twice", "wrong value", "wrong place", "not done after all"];
const title = document.title;

export function made(tag, { className = "", text = "", ...more } = {}, ...inside) {
  const element = document.createElement(tag);
  if (className) element.className = className;
  if (text) element.textContent = text;
  Object.assign(element, more);
  element.append(...inside);
  return element;
}

/** The mark of a state with its words. */
export function stateMark(state, words = STATE_WORDS[state]) {
  const className = `told told-${state.replaceAll(" ", "-")}`;
  return made("span", { className }, made("i"), made("span", { text: words }));
}

export function drawRail(entries, { now, outOfReachSince }) {
  const shown = document.querySelector("#hb-state");
  if (!shown) return;
  const { state, words, isOld, count } = railState(entries, now);
  const parts = [stateMark(state, words)];
  if (outOfReachSince) parts.push(made("small", { text: `book out of reach since ${clock(outOfReachSince, now)}` }));
  shown.replaceChildren(...parts);
  shown.classList.toggle("told-old", isOld);
  shown.hidden = false;
  document.title = count ? `(${count}) ${title}` : title;
}

/** What needs the book says so while it is out of reach. */
export function markNeedsBook(since, now) {
  for (const needs of document.querySelectorAll("[data-needs-book], body:not(.floor) form[data-outbox]")) {
    const isForm = needs.tagName === "FORM";
    const keys = isForm ? needs.querySelectorAll("button[type=submit]:not(.unseen)") : [needs];
    for (const key of keys) {
      if (since) key.setAttribute("aria-disabled", "true");
      else key.removeAttribute("aria-disabled");
    }
    const own = isForm ? needs.querySelector(":scope > .needs-book") : needs.nextElementSibling;
    const shown = own?.classList.contains("needs-book") ? own : null;
    if (!since) {
      shown?.remove();
      continue;
    }
    const text = `needs the book, out of reach since ${clock(since, now)}`;
    if (shown) shown.textContent = text;
    else if (isForm) needs.append(made("p", { className: "needs-book", text, role: "status" }));
    else needs.after(made("span", { className: "needs-book", text }));
  }
}

/** A band across the head of the page, one for each name; no words take it away. `key` is `[words, act]`. */
export function band(name, words, key = null) {
  const id = `hb-band-${name}`;
  const shown = document.getElementById(id);
  if (!words) {
    shown?.remove();
  } else if (shown) {
    shown.firstElementChild.textContent = words;
  } else {
    const parts = [made("span", { text: words })];
    if (key) parts.push(made("button", { className: "key", type: "button", text: key[0], onclick: key[1] }));
    document.querySelector("#page").prepend(made("div", { id, className: "notice notice-soon" }, ...parts));
    document.getElementById(id).setAttribute("role", "alert");
  }
}

// ---- Striking out

/** Ask why an entry is struck out: four words to tap, or one's own. Gives "" when nobody says. */
export function askWhyStruck(entry) {
  const own = made("input", { type: "text", maxLength: 400, autocomplete: "off" });
  own.setAttribute("aria-label", "Another reason");
  const keys = STRIKE_REASONS.map((text) => made("button", { className: "key", type: "button", value: text, text }));
  const mine = made("button", { className: "key", type: "button", text: "Strike it out" });
  const away = made("button", { className: "key key-quiet", type: "button", text: "Back, leave it" });
  const dialog = made(
    "dialog",
    { className: "who", id: "hb-strike" },
    made("h2", { text: `Why strike out: ${entry.act}?` }),
    made("div", { className: "keys" }, ...keys),
    made("p", { className: "field-entry" }, own, mine),
    away,
  );
  document.body.append(dialog);
  return new Promise((resolve) => {
    for (const key of keys) key.addEventListener("click", () => dialog.close(key.value));
    mine.addEventListener("click", () => own.value.trim() && dialog.close(own.value.trim()));
    away.addEventListener("click", () => dialog.close(""));
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(dialog.returnValue);
    });
    dialog.showModal();
  });
}

function titleOf(entry) {
  return entry.about ? `${entry.act}, ${entry.about}` : entry.act;
}

export function canBeStruck(entry) {
  return Boolean(entry.about) && entry.state !== REFUSED && entry.kind !== "records.struckout";
}

/** The last entries of the last minute, each with its state and the way to strike it out. */
export function drawFresh(entries, now, strike) {
  const isFresh = (entry) => now - Date.parse(entry.tapped_at) < FRESH_MS && entry.state !== REFUSED && !entry.photo;
  const fresh = entries.filter(isFresh).slice(-MOST_FRESH);
  let list = document.querySelector("#hb-fresh");
  if (!list && fresh.length) {
    list = made("ul", { id: "hb-fresh", className: "fresh no-print" });
    document.querySelector("#page").prepend(list);
  }
  if (!list) return;
  const lines = fresh.map((entry) => {
    const struck = entries.some((other) => other.strikes === entry.id);
    const name = made("b", { text: titleOf(entry) });
    const line = made("li", { className: struck ? "struck" : "" }, stateMark(entry.state), name);
    if (entry.beside) line.append(made("span", { text: entry.beside }));
    if (canBeStruck(entry) && !struck) {
      const key = made("button", { className: "key key-strike", type: "button", text: "Strike out" });
      key.addEventListener("click", () => strike(entry));
      line.append(key);
    }
    return line;
  });
  list.hidden = !lines.length;
  list.replaceChildren(...lines);
}

// ---- The page of all that waits

const ORDER = [REFUSED, WAITING, BOOKED];

function waysOut(entry, acts) {
  const ways = [];
  for (const question of entry.questions) {
    ways.push(made("p", { className: "told-question", text: question.sentence }));
    for (const answer of answersTo(question)) {
      answer.type = "button";
      answer.addEventListener("click", () => acts.answer(entry, [[answer.name, answer.value]]));
      ways.push(answer);
    }
  }
  const again = made("a", { className: "key", href: entry.url, text: "Key it again" });
  again.addEventListener("click", () => acts.keyAgain(entry));
  const send = made("button", { className: "key", type: "button", text: "Send it again" });
  send.addEventListener("click", () => acts.answer(entry, []));
  const away = made("button", { className: "key key-quiet", type: "button", text: "Take it away" });
  away.addEventListener("click", () => {
    if (away.dataset.asked) acts.takeAway(entry);
    else {
      away.dataset.asked = "yes";
      away.textContent = `Yes, take it away; the book will show that number ${entry.sequence} is not there`;
    }
  });
  if (!entry.strikes) ways.push(again);
  return [...ways, send, away];
}

function shownEntry(entry, isStruck, now, acts) {
  const struck = isStruck.has(entry.id);
  const said = (entry.said ?? []).map(([label, text]) => `${label}: ${text}`).join("; ");
  const where = entry.number ? `entry ${entry.number}` : `number ${entry.sequence} of this tablet`;
  const line = made(
    "li",
    { className: `told-line${struck ? " struck" : ""}` },
    stateMark(entry.state),
    made("b", { text: titleOf(entry) }),
    made("span", { className: "when", text: `${clock(entry.tapped_at, now)} ${entry.person}, ${where}` }),
  );
  line.dataset.id = entry.id;
  if (said) line.append(made("p", { className: "told-said", text: said }));
  if (entry.beside) line.append(made("p", { text: entry.beside }));
  if (entry.state === REFUSED) {
    const ways = made("div", { className: "keys" }, ...waysOut(entry, acts));
    line.append(made("p", { className: "told-why", text: entry.why }), ways);
  } else if (canBeStruck(entry) && !struck) {
    const key = made("button", { className: "key key-quiet", type: "button", text: "Strike out" });
    key.addEventListener("click", () => acts.strike(entry));
    line.append(key);
  }
  return line;
}

export function drawAll(entries, now, acts) {
  const holder = document.querySelector("#hb-told-list");
  if (!holder) return;
  const asked = new Set([...holder.querySelectorAll("[data-asked]")].map((key) => key.closest("li").dataset.id));
  const isStruck = new Set(entries.map((entry) => entry.strikes));
  const sections = ORDER.map((state) => {
    const lines = entries.filter((entry) => entry.state === state).reverse();
    if (!lines.length) return null;
    const head = made("h2", { text: `${STATE_WORDS[state]}: ${lines.length}` });
    const list = made("ul", { className: "lines" }, ...lines.map((entry) => shownEntry(entry, isStruck, now, acts)));
    return made("section", { className: "part" }, head, list);
  }).filter(Boolean);
  if (asked.size && sections.some((section) => section.querySelector("[data-id]"))) {
    // Somebody is about to take one away: let the list stand until they have.
    const stillThere = entries.some((entry) => asked.has(entry.id) && entry.state === REFUSED);
    if (stillThere) return;
  }
  const words = "Nothing was logged on this tablet in the last seven days.";
  const nothing = made("div", { className: "empty" }, made("p", { text: words }));
  holder.replaceChildren(...(sections.length ? sections : [nothing]));
}
