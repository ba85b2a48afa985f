// The wiring of a tablet's pages: what is tapped goes into the outbox, what becomes of it is shown.
//
// For other scripts: `ready` gives the outbox once it is open, `tell` logs something that is no form. On the document:
// hb:told (the entry; a page that stays where it is calls preventDefault), hb:booked, hb:refused, hb:reach (true or
// false).

import { addressOf, clearWrong, fieldsOf, fill, hullIn, saidIn, showWrong } from "./forms.js";
import { BOOKED, openOutbox, REFUSED } from "./outbox.js";
import { askWho, drawStrip, personsOf } from "./person.js";
import { openPhotos } from "./photos.js";
import { indexedStorage } from "./storage.js";
import { askWhyStruck, band, drawAll, drawFresh, drawRail, FRESH_MS, markNeedsBook } from "./told.js";
import { cookie, tokenNow } from "./token.js";
import { clockWords, lostWords, notKept, OUT_WORDS, signOutWords } from "./words.js";

const OUTBOX_FORM = ".floor form[data-outbox]";
const SAME_TAP_MS = 700;
const ANSWER_WITHIN_MS = 3000; // how long a page that was told waits for the book before it goes on
const DRAW_EVERY_MS = 100;
const LIST_MS_EACH = 5; // the longer the list, the more seldom it is drawn
const ASK_EVERY_MS = 30_000;
const FORGET_WITHIN_MS = 3000;
const CLOCK_OFF_S = 30;
const TOLD_COOKIE = "hullbook-told";
const AGAIN = "hb-again";
const ANSWERED = "hb-answered-who";
const NAME = "hullbook";

const tablet = JSON.parse(document.querySelector("#hb-tablet")?.textContent ?? "{}");
const crew = tablet.crew ?? [];
const isPour = () => "pour" in document.body.dataset;
const stays = new Map(); // by entry: whether the page that told it stays where it is, as whoever heard hb:told said

const outbox = {};
const persons = {};
let photos = null;

// Without https a browser keeps nothing for a page: its forms then go straight to the book, as any form does.
const canKeep = window.isSecureContext && Boolean(tablet.crew);

export const ready = canKeep ? open() : new Promise(() => {});

async function open() {
  const storage = await indexedStorage(NAME);
  Object.assign(
    outbox,
    await openOutbox({
      name: NAME,
      storage,
      fetch: window.fetch.bind(window),
      locks: navigator.locks,
      token: tokenNow,
      channel: new BroadcastChannel(NAME),
    }),
  );
  await noteLost(await outbox.know(tablet, highestTold()));
  if (tablet.enrolled && outbox.litSince() === null && tablet.lit) await outbox.light(tablet.lit);
  Object.assign(persons, personsOf(outbox, tablet, { isPour }));
  photos = openPhotos({ storage, outbox, fetch: window.fetch.bind(window), locks: navigator.locks, token: tokenNow });
  navigator.storage?.persist?.().catch(() => {});
  return outbox;
}

/** Numbers that were told here and are gone stand on every page until somebody has seen to them. */
async function noteLost(lost) {
  if (lost) await outbox.remember({ name: "lost", ...lost });
}

/** The highest number this browser has given, by a cookie: it is still there when the engine has emptied the store. */
function highestTold() {
  const [device, number] = cookie(TOLD_COOKIE).split(":");
  return device === (tablet.device ?? "") ? Number(number) || 0 : 0;
}

function writeHighestTold(sequence) {
  const more = `Path=/; SameSite=Lax; Max-Age=31536000${location.protocol === "https:" ? "; Secure" : ""}`;
  document.cookie = `${TOLD_COOKIE}=${tablet.device ?? ""}:${sequence}; ${more}`;
}

// ---- Telling

const lately = new Map();

/** A second tap within 0.7 s is the same tap. */
function isSameTap(what) {
  const at = performance.now();
  const before = lately.get(what);
  lately.set(what, at);
  return before !== undefined && at - before < SAME_TAP_MS;
}

async function whoever() {
  const lit = persons.lit();
  if (lit || !tablet.enrolled) return lit;
  const initials = await askWho(crew);
  if (initials) await persons.light(initials);
  return initials;
}

/**
 * Log something that is no form of the page: `{url, act, fields, kind, said}`. Gives the entry once it is on the
 * tablet, null where it was the same tap twice or nobody said who it is; it is refused where the tablet cannot keep it.
 */
export async function tell({ url, act, fields, kind = "", said = [], about = hullIn(url) }) {
  if (isSameTap(`${url} ${JSON.stringify(fields)}`)) return null;
  await ready;
  const person = await whoever();
  if (!person) return null;
  const entry = await outbox.put({ url, act, about, kind, fields, said, person });
  persons.stay();
  return entry;
}

/** Keep a picture of an entry that was told; gives what went wrong, in words, or "". */
export async function keepPhoto(file, entry) {
  await ready;
  return photos.keepOne(file, entry);
}

const waitingFor = new Map(); // by entry: what to do once the book has answered

/** The entry once the book has answered; null when the time is up, or the book turns out to be out of reach. */
function settled(id) {
  return new Promise((resolve) => {
    const timer = setTimeout(() => resolve(null), ANSWER_WITHIN_MS);
    waitingFor.set(id, (entry) => {
      clearTimeout(timer);
      waitingFor.delete(id);
      resolve(entry);
    });
  });
}

function lock(form, isLocked) {
  if (isLocked) form.dataset.sending = "";
  else delete form.dataset.sending;
}

function wayBack(form) {
  const ways = document.querySelectorAll(".way a");
  return form.dataset.then || ways[ways.length - 1]?.getAttribute("href") || "/";
}

async function tellForm(form, given) {
  const again = form.dataset.again;
  let entry;
  try {
    await ready;
    clearWrong(form);
    if (again) {
      entry = await outbox.keyAgain(again, given.fields, given.said);
    } else {
      const person = await whoever();
      if (!person) return;
      entry = await outbox.put({ ...given, person });
      persons.stay();
    }
  } catch (error) {
    showWrong(form, { problems: { "": notKept(error) } });
    return;
  } finally {
    if (!entry) lock(form, false);
  }
  if (!entry) return;
  form.classList.add("form-told");
  if (!again) band("photo", await photos.keepFrom(form, entry));
  const isToStay = stays.get(entry.id) ?? false;
  const after = isToStay || outbox.outOfReachSince() ? null : await settled(entry.id);
  if (after?.state === REFUSED) {
    form.dataset.again = entry.id;
    form.classList.remove("form-told");
    showWrong(form, after);
    lock(form, false);
    lately.delete(form); // the next tap is an answer, however soon it comes
    return;
  }
  delete form.dataset.again;
  if (!isToStay) {
    location.assign(after?.then ?? wayBack(form));
    return;
  }
  form.classList.remove("form-told");
  form.reset();
  lock(form, false);
}

/** Only what is logged on the floor may wait; forms of the office go straight to the book, as what is signed does. */
function needsBook(form) {
  return form.matches("[data-needs-book], body:not(.floor) [data-outbox]");
}

function heardSubmit(event) {
  const form = event.target;
  if (event.defaultPrevented || form.method.toLowerCase() !== "post") return;
  if (needsBook(form) && outbox.outOfReachSince?.()) {
    event.preventDefault();
    return;
  }
  const own = form.querySelector("input[name=csrfmiddlewaretoken]");
  if (own && tokenNow()) own.value = tokenNow();
  if (!form.matches(OUTBOX_FORM)) return;
  event.preventDefault();
  if (isSameTap(form) || "sending" in form.dataset) return;
  // All of it is read, and the form locked, before anything is awaited: a second tap finds nothing to tell.
  const url = addressOf(form, event.submitter);
  const act = form.dataset.act || document.querySelector("h1")?.textContent.trim() || "";
  const given = {
    url,
    act,
    about: form.dataset.about ?? hullIn(url),
    kind: form.dataset.kind ?? "",
    fields: fieldsOf(form, event.submitter),
    said: saidIn(form),
  };
  lock(form, true);
  tellForm(form, given);
}

// ---- Showing

// What the page shows of the tablet's entries, as last heard of: read once, so that a tap shows at once.
const shown = new Map();
let drawnAt = 0;
let listedAt = -Infinity;
let toDraw = null;

async function readAll() {
  const isList = document.querySelector("#hb-told-list") !== null;
  const entries = isList ? await outbox.all() : await outbox.recent(FRESH_MS);
  shown.clear();
  for (const entry of entries) shown.set(entry.id, entry);
}

/** Draw what is known, at most ten times a second. */
function draw() {
  toDraw ??= setTimeout(drawNow, Math.max(0, drawnAt + DRAW_EVERY_MS - performance.now()));
}

function drawNow() {
  toDraw = null;
  drawnAt = performance.now();
  const now = Date.now();
  const entries = [...shown.values()].sort((one, other) => one.sequence - other.sequence);
  const since = outbox.outOfReachSince();
  drawRail(entries, { now, outOfReachSince: since });
  drawFresh(entries, now, strike);
  if (performance.now() - listedAt > entries.length * LIST_MS_EACH) {
    drawAll(entries, now, acts);
    listedAt = performance.now();
  }
  markNeedsBook(since, now);
  drawStrip(tablet.enrolled ? persons.lit() : tablet.lit, crew);
  const lost = outbox.fact("lost");
  band("lost", lost?.to ? lostWords(lost) : "", ["It is seen to", () => noteLost({ from: null, to: null }).then(draw)]);
}

async function strike(entry) {
  const reason = await askWhyStruck(entry);
  if (!reason) return;
  const person = await whoever();
  if (person) await outbox.strikeOut(entry.id, reason, person);
}

const acts = {
  strike,
  answer: (entry, fields) => outbox.answer(entry.id, fields),
  takeAway: (entry) => outbox.takeAway(entry.id),
  keyAgain: (entry) => sessionStorage.setItem(AGAIN, entry.id),
};

function dispatch(name, detail) {
  return document.dispatchEvent(new CustomEvent(name, { detail, cancelable: true }));
}

async function fillAgain() {
  const form = document.querySelector(OUTBOX_FORM);
  const id = sessionStorage.getItem(AGAIN);
  if (!form || !id) return;
  sessionStorage.removeItem(AGAIN);
  const entry = (await outbox.waiting()).find((one) => one.id === id && one.state === REFUSED);
  if (!entry || entry.url !== addressOf(form)) return;
  fill(form, entry.fields);
  form.dataset.again = id;
  showWrong(form, entry);
}

/** A page that is not kept leads here while the book is out of reach. */
function sayWhatIsAway() {
  const shownHere = document.querySelector("#hb-away");
  const path = new URLSearchParams(location.search).get("away");
  if (!shownHere || !path) return;
  shownHere.hidden = false;
  shownHere.textContent = `The page ${path} is not kept on this tablet, and the book is out of reach.`;
}

// ---- The book, and whether it is there

/** What the book says of this tablet this moment; null where it is out of reach. */
async function saidByBook() {
  const headers = { Accept: "application/json" };
  try {
    const answer = await fetch("/tablet/state/", { cache: "no-store", redirect: "error", headers });
    return answer.headers.get("content-type")?.includes("json") ? { isIn: answer.ok, ...(await answer.json()) } : null;
  } catch {
    return null;
  }
}

async function askBook() {
  if (document.visibilityState === "hidden") return;
  const state = await saidByBook();
  await outbox.reached(state !== null && navigator.onLine);
  if (!state) return;
  if (state.why) band("out", OUT_WORDS[state.why] ?? "");
  if (!state.isIn) return;
  await noteLost(await outbox.know(state, highestTold(), true));
  persons.tellBook(state.lit);
  await forgetOthersPages(state);
}

function wake() {
  outbox.flush().catch(() => {});
  photos.flush().catch(() => {});
  askBook().catch(() => {});
}

async function keepPages() {
  const registration = await navigator.serviceWorker?.ready;
  registration?.active?.postMessage({ keep: hullIn(location.pathname), page: location.pathname + location.search });
}

// ---- Wiring

async function tapTile(event) {
  const tile = event.target.closest("[data-tile]");
  const form = tile?.form;
  if (!tile || !tablet.enrolled) return;
  event.preventDefault();
  await ready;
  await persons.light(tile.value);
  // On the strip the page stays as it is; the page that asks who it is goes on to where one wanted to go.
  if (!form.matches(".strip")) form.requestSubmit(tile);
}

/** Asked by the book who it is, though the tablet knows: the book is told, and the page goes on. */
function answerWho() {
  const lit = tablet.enrolled ? persons.lit() : "";
  const tile = lit && document.querySelector(`form.tiles [data-tile][value=${CSS.escape(lit)}]`);
  if (!tile || sessionStorage.getItem(ANSWERED) === location.href) return;
  sessionStorage.setItem(ANSWERED, location.href);
  tile.form.requestSubmit(tile);
}

async function signOut(event) {
  const form = event.target;
  if (!form.action.endsWith("/sign-out/")) return;
  event.preventDefault();
  await ready;
  const left = await outbox.left();
  if (left && !form.dataset.asked) {
    form.dataset.asked = "yes";
    band("sign-out", signOutWords(left));
    return;
  }
  await forgetPages();
  form.submit();
}

/** Pages hold names: they go with who signs out. What was told stays. */
async function forgetPages() {
  const registration = await navigator.serviceWorker.ready;
  const { port1, port2 } = new MessageChannel();
  await new Promise((resolve) => {
    port1.onmessage = resolve;
    setTimeout(resolve, FORGET_WITHIN_MS);
    registration.active.postMessage({ forget: true }, [port2]);
  });
}

/** Pages kept for somebody else, or from before this browser was a tablet, go as soon as the book says so. */
async function forgetOthersPages({ enrolled, name, lit }) {
  const whose = enrolled ? `tablet ${name}` : `person ${lit}`;
  const before = outbox.fact("whose")?.whose;
  if (before === whose) return;
  await outbox.remember({ name: "whose", whose });
  if (before) {
    await forgetPages();
    keepPages();
  }
}

async function wire() {
  await ready;
  for (const [event, name] of [
    ["told", "hb:told"],
    ["booked", "hb:booked"],
    ["refused", "hb:refused"],
    ["change", ""],
  ]) {
    outbox.on(event, (entry) => {
      shown.set(entry.id, entry);
      if (event === "told") writeHighestTold(entry.sequence);
      if (event === "booked" || event === "refused") waitingFor.get(entry.id)?.(entry);
      const isFree = name ? dispatch(name, entry) : true;
      if (event === "told") stays.set(entry.id, !isFree);
      draw();
    });
  }
  outbox.on("emptied", ({ sequence }) => {
    const gone = [...shown.values()].filter((entry) => entry.state !== BOOKED && entry.sequence < sequence);
    for (const entry of gone) shown.delete(entry.id);
    const numbers = gone.map((entry) => entry.sequence);
    if (numbers.length) noteLost({ from: Math.min(...numbers), to: Math.max(...numbers) }).then(draw);
  });
  outbox.on("gone", (entry) => {
    shown.delete(entry.id);
    draw();
  });
  outbox.on("lit", (initials) => {
    if (initials) keepPages();
    draw();
  });
  outbox.on("reach", (isReached) => {
    dispatch("hb:reach", isReached);
    if (!isReached) for (const goOn of [...waitingFor.values()]) goOn(null);
    draw();
  });
  outbox.on("out", (why) => band("out", why ? (OUT_WORDS[why] ?? why) : ""));
  outbox.on("clock", (ahead) => band("clock", Math.abs(ahead) > CLOCK_OFF_S ? clockWords(ahead) : ""));
  for (const [target, event] of [
    [window, "online"],
    [window, "pageshow"],
    [window, "focus"],
    [document, "visibilitychange"],
  ]) {
    target.addEventListener(event, wake);
  }
  window.addEventListener("offline", () => outbox.reached(false));
  setInterval(() => askBook().catch(() => {}), ASK_EVERY_MS);
  setInterval(draw, 5000);
  window.addEventListener("pageshow", (event) => event.persisted && readAll().then(draw));
  await readAll();
  drawNow();
  answerWho();
  sayWhatIsAway();
  for (const field of document.querySelectorAll(".floor .photo-field")) field.hidden = false;
  await fillAgain();
  if (!navigator.onLine) await outbox.reached(false);
  wake();
  keepPages();
}

if (canKeep) {
  document.addEventListener("submit", signOut, true);
  document.addEventListener("submit", heardSubmit);
  document.addEventListener("click", tapTile);
  navigator.serviceWorker.register("/sw.js").catch(() => {});
  wire();
}
