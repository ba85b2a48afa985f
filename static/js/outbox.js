// What was told on this tablet and may not be in the book yet: kept first, sent second, erased last.
//
// An entry is on the disk of the tablet before its page says anything. It is sent in the order of the taps, by one page
// of the tablet at a time, again and again until the book has answered. What the book does not take is kept with its
// reason and lets the others pass. Nothing here knows of pages; floor.js does.

import { ENTRIES, TABLET } from "./storage.js";

export const WAITING = "waiting";
export const BOOKED = "in the book";
export const REFUSED = "not taken";

export const KEPT_MS = 7 * 24 * 3600 * 1000;
const LONGEST_WAIT_MS = 60_000;
const ELSEWHERE_MS = 5_000; // how soon to ask again whether the page that was sending still is
const WOKEN_MS = 500;
const GIVE_UP_MS = 20_000;
const BATCH = 50;
const SWEPT_EVERY_MS = 3600_000;
const FIXED = new Set(["entry_id", "logged_by", "sequence", "tapped_at"]); // at the first tap, for good
const LATER = new Set([408, 409, 429]);
const NOT_THE_BOOK = new Set([401, 403]); // where they do not come in its words

/** The wait before the next try: 1, 2, 4 ... 60 s, a half to the whole of it by chance. */
export function waitBefore(tries, random) {
  return Math.min(LONGEST_WAIT_MS, 1000 * 2 ** Math.min(tries, 6)) * (0.5 + random() / 2);
}

/**
 * What an answer of the book means for the entry: booked, refused, out (not signed in), token (a stale one), ill (the
 * book stumbled over this one), early (what it belongs to is not there yet) or later.
 */
export function meaningOf(status, said) {
  if ((status === 200 || status === 201) && said?.entry) return "booked";
  if (status === 401 && said?.why) return "out";
  if (status === 425) return "early";
  if (LATER.has(status)) return "later";
  if (status === 403 && said?.why === "token") return "token";
  // Only the book speaks so: whatever else answers on a shed's network refuses nothing for it.
  if (status >= 400 && status < 500 && said?.problems) return "refused";
  if (status === 500 || (status >= 400 && status < 500 && !NOT_THE_BOOK.has(status))) return "ill";
  return "later";
}

function sentences(status, said) {
  const { problems, questions = [] } = said;
  return { status, problems, questions, why: Object.values(problems).join(" ") };
}

function namesAnother(entry, ids) {
  return entry.fields.some(([name, value]) => name !== "entry_id" && ids.has(value));
}

function named(fields, name) {
  return fields.find(([one]) => one === name)?.[1];
}

/** `fields` with some set anew; a name that has several values loses them to the new ones. */
export function withFields(fields, changed) {
  const names = new Set(changed.map(([name]) => name));
  return [...fields.filter(([name]) => !names.has(name)), ...changed];
}

async function saidBy(answer) {
  if (!answer.headers.get("content-type")?.includes("json")) return null;
  try {
    return await answer.json();
  } catch {
    return null;
  }
}

/**
 * Open the outbox of this tablet.
 *
 * `storage` as in storage.js; `fetch`, `now` (ms), `locks` (Web Locks), `random`, `timer` ({set, clear}) and `channel`
 * (to the tablet's other pages) are the browser's, or stand in for them. `token` gives the book's token of the moment.
 */
export async function openOutbox({
  name = "hullbook",
  storage,
  fetch,
  now = Date.now,
  locks,
  token = () => "",
  random = Math.random,
  timer = { set: (work, ms) => setTimeout(work, ms), clear: (id) => clearTimeout(id) },
  channel = null,
}) {
  const listeners = new Map();
  const mind = new Map(); // the tablet's own few facts, as last read
  let tries = 0;
  let timed = null;
  let sending = null;
  let isWoken = false;

  function on(event, heard) {
    listeners.set(event, [...(listeners.get(event) ?? []), heard]);
  }

  function emit(event, detail) {
    for (const heard of listeners.get(event) ?? []) heard(detail);
  }

  function changed(event, entry) {
    emit(event, entry);
    channel?.postMessage({ event, id: entry.id });
  }

  async function remember(fact) {
    mind.set(fact.name, fact);
    // Without room it is remembered for as long as the page lives.
    await storage.note([TABLET], (kept) => kept.put(TABLET, fact)).catch(() => {});
  }

  async function recall() {
    for (const fact of await storage.read([TABLET], (kept) => kept.all(TABLET))) mind.set(fact.name, fact);
  }

  // ---- Told

  /**
   * Keep one entry, `{url, act, fields}` and what else is known of it; once this promise is kept it is on the tablet,
   * and it is refused where it is not. An entry goes only when the one it comes `after` is in the book (its number is
   * then put for "{number}" in the address), and when nothing `holds` it: a photo with pieces still on the tablet.
   */
  async function put(told) {
    const at = new Date(now()).toISOString();
    const person = told.person ?? lit();
    let isEmptied = false;
    const entry = await storage.write([ENTRIES, TABLET], async (kept) => {
      // A store that was emptied under the page goes on from what the page knows: no number is given twice.
      const there = await kept.get(TABLET, "sequence");
      const counted = there ?? mind.get("sequence");
      isEmptied = counted !== there;
      const sequence = (counted?.value ?? 0) + 1;
      await kept.put(TABLET, { ...counted, name: "sequence", value: sequence });
      const id = told.id ?? crypto.randomUUID();
      const fields = withFields(told.fields, [
        ["entry_id", id],
        ["happened_at", named(told.fields, "happened_at") ?? ""],
        ["logged_by", person],
        ["sequence", String(sequence)],
        ["tapped_at", at],
      ]);
      const made = {
        about: "", act: "", kind: "", said: [], after: null, strikes: null, photo: null, holds: null, ...told,
        id, sequence, fields, person, tapped_at: at, state: WAITING, number: null, tries: 0, why: "", problems: {},
        questions: [],
      };
      await kept.put(ENTRIES, made);
      return made;
    });
    mind.set("sequence", { ...mind.get("sequence"), name: "sequence", value: entry.sequence });
    if (isEmptied) emit("emptied", entry);
    changed("told", entry);
    wake();
    return entry;
  }

  /** Put a line through an entry told here: at once where the book has it, else as soon as it has. */
  async function strikeOut(id, reason, person = lit()) {
    const struck = await storage.read([ENTRIES], (kept) => kept.get(ENTRIES, id));
    return put({
      person,
      act: `Strike out: ${struck.act}`,
      about: struck.about,
      kind: "records.struckout",
      url: `/hulls/${encodeURIComponent(struck.about)}/entries/{number}/strike-out/`,
      after: id,
      strikes: id,
      fields: [["reason", reason]],
    });
  }

  async function all() {
    const found = await storage.read([ENTRIES], (kept) => kept.all(ENTRIES));
    return found.sort((one, other) => one.sequence - other.sequence);
  }

  function inState(state) {
    return storage.read([ENTRIES], (kept) => kept.all(ENTRIES, state));
  }

  /** What is not in the book, and what was tapped in the last `ms`. */
  async function recent(ms) {
    const at = new Date(now() - ms).toISOString();
    const found = await storage.read([ENTRIES], async (kept) => [
      ...(await kept.all(ENTRIES, WAITING)),
      ...(await kept.all(ENTRIES, REFUSED)),
      ...(await kept.since(ENTRIES, at)),
    ]);
    const once = [...new Map(found.map((entry) => [entry.id, entry])).values()];
    return once.sort((one, other) => one.sequence - other.sequence);
  }

  async function waiting() {
    return (await recent(0)).filter((entry) => entry.state !== BOOKED);
  }

  /** How many are not in the book. */
  function left() {
    return storage.read([ENTRIES], async (kept) => {
      return (await kept.count(ENTRIES, WAITING)) + (await kept.count(ENTRIES, REFUSED));
    });
  }

  /** Take away what the book did not take, with what comes after it. Its number stays empty, and the book says so. */
  async function takeAway(id) {
    const gone = await storage.write([ENTRIES], async (kept) => {
      const entry = await kept.get(ENTRIES, id);
      if (entry?.state !== REFUSED) return null;
      const along = (await kept.all(ENTRIES, WAITING)).filter((other) => other.after === id);
      for (const one of [entry, ...along]) await kept.remove(ENTRIES, one.id);
      return [entry, ...along];
    });
    for (const entry of gone ?? []) changed("gone", entry);
  }

  /** Send what was not taken once more, some of its fields set anew: the answer to a question. */
  function answer(id, fields = []) {
    return sendAgain(id, (found) => ({ fields: withFields(found.fields, fields) }));
  }

  /** Send what was not taken once more as it was keyed again; its id, number and time stay those of the first tap. */
  function keyAgain(id, fields, said) {
    return sendAgain(id, (found) => {
      const fixed = found.fields.filter(([one]) => FIXED.has(one));
      return { fields: withFields(fields, fixed), said };
    });
  }

  async function sendAgain(id, change) {
    const entry = await storage.write([ENTRIES], async (kept) => {
      const found = await kept.get(ENTRIES, id);
      if (found?.state !== REFUSED) return null;
      const again = { ...found, ...change(found), state: WAITING, why: "", problems: {}, questions: [], tries: 0 };
      await kept.put(ENTRIES, again);
      return again;
    });
    if (!entry) return null;
    changed("change", entry);
    wake();
    return entry;
  }

  // ---- The tablet itself

  function lit() {
    return mind.get("lit")?.initials ?? "";
  }

  async function light(initials) {
    await remember({ name: "lit", initials, at: now() });
    emit("lit", initials);
    channel?.postMessage({ event: "lit", initials });
  }

  function litSince() {
    return mind.get("lit")?.at ?? null;
  }

  function nextSequence() {
    return (mind.get("sequence")?.value ?? 0) + 1;
  }

  /**
   * What the book says of this tablet: `{device, enrolled, last_sequence}`, and the highest number `told` elsewhere on
   * it (a cookie outlives a store that the engine empties). Gives what is lost, `{from, to}`, if the store was emptied.
   *
   * Only what the book says this moment (`isFresh`) can make it another device: a page kept earlier knows the old one.
   */
  async function know({ device = null, enrolled = false, last_sequence: last = 0 }, told = 0, isFresh = false) {
    const outcome = await storage.write([TABLET, ENTRIES], async (kept) => {
      const counted = await kept.get(TABLET, "sequence");
      if (counted?.device && device && counted.device !== device) {
        if (!isFresh) return { value: counted.value, lost: null };
        // It counts anew, but never below what still waits from before.
        const open = [...(await kept.all(ENTRIES, WAITING)), ...(await kept.all(ENTRIES, REFUSED))];
        const left = open.map((entry) => entry.sequence);
        const value = Math.max(last, ...left);
        await kept.put(TABLET, { name: "sequence", device, value });
        return { value, lost: null };
      }
      if (counted) {
        const value = Math.max(counted.value, last);
        await kept.put(TABLET, { ...counted, device: device ?? counted.device ?? null, value });
        return { value, lost: null };
      }
      const highest = Math.max(told, mind.get("sequence")?.value ?? 0);
      const lost = highest > last ? { from: last + 1, to: highest } : null;
      // Emptied, and nobody knows what it held: one number stays free, so that the book shows the hole.
      const unknown = !lost && enrolled && last > 0 ? { from: last + 1, to: last + 1 } : null;
      const value = lost?.to ?? unknown?.to ?? last;
      await kept.put(TABLET, { name: "sequence", device, value });
      return { value, lost: lost ?? unknown };
    });
    mind.set("sequence", { ...mind.get("sequence"), name: "sequence", value: outcome.value });
    return outcome.lost;
  }

  function outOfReachSince() {
    return mind.get("reach")?.since ?? null;
  }

  async function reached(isReached) {
    const since = outOfReachSince();
    if (isReached === (since === null) && mind.has("reach")) return;
    await remember({ name: "reach", since: isReached ? null : now() });
    emit("reach", isReached);
  }

  // ---- Sending

  async function post(entry, before) {
    const body = new URLSearchParams();
    for (const [field, value] of entry.fields) body.append(field, value);
    return fetch(entry.url.replace("{number}", String(before?.number)), {
      method: "POST",
      body,
      redirect: "error",
      credentials: "same-origin",
      cache: "no-store",
      signal: AbortSignal.timeout(GIVE_UP_MS),
      headers: { Accept: "application/json", "HB-Clock": new Date(now()).toISOString(), "X-CSRFToken": token() },
    });
  }

  /** Post one entry and keep what the book answers; gives the meaning of the answer, or "away". */
  async function sendOne(entry, before, again = true) {
    let answer;
    try {
      answer = await post(entry, before);
    } catch {
      await reached(false);
      return { meaning: "away" };
    }
    const said = await saidBy(answer);
    const meaning = meaningOf(answer.status, said);
    await reached(said !== null || answer.status === 500);
    if (meaning === "token" && again) return sendOne(entry, before, false);
    if (meaning === "booked" || meaning === "refused") await settle(entry, meaning, answer.status, said);
    if (meaning === "early" && said?.why === "pieces") await hold(entry.id, entry.photo);
    const wait = Number(answer.headers.get("retry-after")) || 0;
    return { meaning, said, wait };
  }

  async function settle(entry, meaning, status, said) {
    const settled = await storage.note([ENTRIES, TABLET], async (kept) => {
      const found = (await kept.get(ENTRIES, entry.id)) ?? entry;
      const result =
        meaning === "booked"
          ? {
              ...found, state: BOOKED, number: said.entry, hash: said.hash, kind: said.kind || found.kind,
              beside: said.beside ?? null, then: said.then ?? null, booked_at: now(), why: "", questions: [],
            }
          : { ...found, state: REFUSED, ...sentences(status, said) };
      await kept.put(ENTRIES, result);
      if (said?.head) await kept.put(TABLET, { name: "head", ...said.head });
      return result;
    });
    if (typeof said?.clock_ahead_s === "number") emit("clock", said.clock_ahead_s);
    changed(meaning === "booked" ? "booked" : "refused", settled);
  }

  /** Hold an entry back for a photo's pieces, or (`null`) let it go. */
  async function hold(id, photo) {
    const held = await storage.note([ENTRIES], async (kept) => {
      const found = await kept.get(ENTRIES, id);
      if (found?.state !== WAITING) return null;
      const changedEntry = { ...found, holds: photo };
      await kept.put(ENTRIES, changedEntry);
      return changedEntry;
    });
    if (held) changed("change", held);
    if (!photo) wake();
  }

  /** Park an entry that never reached the form it is for, with the sentence why. */
  async function refuse(id, sentence) {
    const entry = await storage.read([ENTRIES], (kept) => kept.get(ENTRIES, id));
    if (entry?.state === WAITING) await settle(entry, "refused", 422, { problems: { "": sentence } });
  }

  async function counted(entry) {
    await storage.note([ENTRIES], async (kept) => {
      const found = await kept.get(ENTRIES, entry.id);
      if (found) await kept.put(ENTRIES, { ...found, tries: found.tries + 1 });
    });
  }

  /**
   * Send all that can go, once through in the order of the taps; "done", "later" with the wait asked for, or "out" with
   * why. Not sent: what names an entry that the book did not take or that was passed by, what comes after one that is
   * not in the book, what is held.
   */
  async function sendAll() {
    const stopped = new Set((await inState(REFUSED)).map((entry) => entry.id));
    const absent = new Set(); // persons whose entries wait for them
    let [sent, ill, last] = [0, 0, -Infinity];
    let isLater = false;
    let why = "";
    for (;;) {
      const batch = await storage.read([ENTRIES], (kept) => kept.next(ENTRIES, WAITING, last, BATCH));
      if (!batch.length) return { end: isLater ? "later" : why ? "out" : "done", why, sent };
      for (const entry of batch) {
        last = entry.sequence;
        if (entry.holds || absent.has(entry.person) || namesAnother(entry, stopped)) continue;
        const before = entry.after ? await storage.read([ENTRIES], (kept) => kept.get(ENTRIES, entry.after)) : null;
        if (entry.after && before?.state !== BOOKED) continue;
        const { meaning, said, wait } = await sendOne(entry, before);
        if (meaning === "booked") {
          tries = 0;
          ill = 0;
          sent += 1;
          continue;
        }
        stopped.add(entry.id);
        if (meaning === "refused") continue;
        await counted(entry);
        if (meaning === "out") {
          why = said.why;
          if (why !== "somebody else is signed in") return { end: "out", why, sent };
          absent.add(entry.person);
        } else if (meaning === "early" || (meaning === "ill" && ill === 0)) {
          // One that the book stumbles over lets the next pass; a second in a row means that the book itself is ill.
          ill += meaning === "ill" ? 1 : 0;
          isLater = true;
        } else {
          return { end: "later", wait, sent };
        }
      }
    }
  }

  /** Erase what has been in the book for seven days; looked for once an hour. */
  async function sweep() {
    if (now() - (mind.get("swept")?.at ?? 0) < SWEPT_EVERY_MS) return;
    await remember({ name: "swept", at: now() });
    await storage.note([ENTRIES], async (kept) => {
      const wanted = new Set((await kept.all(ENTRIES, WAITING)).map((entry) => entry.after));
      for (const entry of await kept.all(ENTRIES, BOOKED)) {
        if (now() - entry.booked_at > KEPT_MS && !wanted.has(entry.id)) await kept.remove(ENTRIES, entry.id);
      }
    });
  }

  function later(ms) {
    timer.clear(timed);
    timed = timer.set(wake, ms);
  }

  /** Send what waits, unless another page of this tablet is at it. */
  function flush() {
    if (sending) {
      isWoken = true;
      return sending;
    }
    isWoken = false;
    sending = locks
      .request(`${name}-send`, { ifAvailable: true }, (lock) => (lock ? sendAll() : { end: "elsewhere" }))
      .then(async (outcome) => {
        const left = await storage.read([ENTRIES], (kept) => kept.count(ENTRIES, WAITING));
        timer.clear(timed);
        if (outcome.end === "out" || outcome.sent) emit("out", outcome.why ?? "");
        if (outcome.end === "out" || outcome.end === "done") emit("idle", left);
        if (left) {
          const wait = (outcome.wait ?? 0) * 1000;
          if (outcome.end === "elsewhere") later(ELSEWHERE_MS);
          // Something happened meanwhile, a tap or the network's return: what was decided before it is out of date.
          else if (isWoken) later(outcome.end === "done" ? 0 : Math.max(WOKEN_MS, wait));
          else later(Math.max(waitBefore(tries++, random), wait));
        }
        return outcome;
      })
      .catch((error) => {
        later(waitBefore(tries++, random));
        throw error;
      })
      .finally(() => {
        sending = null;
      });
    return sending;
  }

  /** Something new waits: send it now, or as soon as what is under way is done. */
  function wake() {
    flush().catch(() => {});
  }

  if (channel) {
    channel.onmessage = async ({ data }) => {
      if (data.event === "lit") {
        await recall();
        emit("lit", data.initials);
        return;
      }
      const entry = await storage.read([ENTRIES], (kept) => kept.get(ENTRIES, data.id));
      await recall();
      emit(entry ? data.event : "gone", entry ?? { id: data.id });
    };
  }

  await recall();
  await sweep();

  return {
    put, strikeOut, waiting, recent, left, all, flush, on, takeAway, answer, keyAgain, hold, refuse,
    lit, light, litSince, nextSequence, know, outOfReachSince, reached, remember, fact: (one) => mind.get(one),
  };
}
