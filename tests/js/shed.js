// What stands in for a browser and the book in the tests: locks, timers, and a book that speaks the tablet's protocol.

import { openOutbox } from "../../static/js/outbox.js";
import { memoryStorage } from "./memory_storage.js";

/** Web Locks for several pages of one browser. */
export function makeLocks() {
  const held = new Set();
  return {
    held,
    async request(name, options, work) {
      if (held.has(name)) return work(null);
      held.add(name);
      try {
        return await work({ name });
      } finally {
        held.delete(name);
      }
    },
  };
}

/** A timer that runs when it is told to; `due` holds the waits. */
export function makeTimer() {
  let next = 1;
  const due = new Map();
  return {
    due,
    set(work, ms) {
      due.set(next, { work, ms });
      return next++;
    },
    clear(id) {
      due.delete(id);
    },
    async run() {
      const works = [...due.values()];
      due.clear();
      for (const { work } of works) await work();
    },
  };
}

export function answered(status, said, headers = {}) {
  const all = { "content-type": "application/json", ...headers };
  return new Response(said === undefined ? "" : JSON.stringify(said), { status, headers: all });
}

/**
 * A book: entries by id, each once. `before(fields)` may answer in its stead; `losesAnswers` takes the entry and loses
 * the answer; `isDown` does neither.
 */
export function makeBook() {
  const book = { entries: [], byId: new Map(), posts: [], clocks: [], isDown: false, losesAnswers: 0 };
  book.before = () => null;
  book.fetch = async (url, options) => {
    const fields = [...options.body];
    book.posts.push({ url, fields, headers: options.headers });
    book.clocks.push(options.headers["HB-Clock"]);
    if (book.isDown) throw new TypeError("Failed to fetch");
    const early = await book.before(Object.fromEntries(fields), url);
    if (early) return early;
    const { entry_id: id, ...rest } = Object.fromEntries(fields);
    const print = JSON.stringify(fields.toSorted());
    const known = book.byId.get(id);
    if (known && known.print !== print) return answered(422, { problems: { "": "Other values." }, questions: [] });
    const entry = known ?? { number: book.entries.length + 1, id, url, print, ...rest };
    if (!known) {
      book.entries.push(entry);
      book.byId.set(id, entry);
    }
    if (book.losesAnswers > 0) {
      book.losesAnswers -= 1;
      throw new TypeError("Failed to fetch");
    }
    const hash = String(entry.number).padStart(64, "0");
    const head = { number: entry.number, hash };
    return answered(known ? 200 : 201, { entry: entry.number, id, hash, kind: "pours.mix", head, clock_ahead_s: 0 });
  };
  return book;
}

export async function openShed(more = {}) {
  const shed = {
    storage: more.storage ?? memoryStorage(),
    book: more.book ?? makeBook(),
    locks: more.locks ?? makeLocks(),
    timer: makeTimer(),
    clock: { ms: Date.parse("2026-11-18T10:37:02.000Z") },
  };
  shed.outbox = await openOutbox({
    storage: shed.storage,
    fetch: (...asked) => shed.book.fetch(...asked),
    now: () => shed.clock.ms,
    locks: shed.locks,
    random: () => 1,
    timer: shed.timer,
    token: () => "fresh",
    ...more.options,
  });
  await shed.outbox.light("KB");
  return shed;
}

export function pail(number = 1) {
  const url = "/hulls/MB84-03/parts/hull%20shell/pours/1/mix/";
  return { url, act: "A pail", about: "MB84-03", fields: [["pail", String(number)]] };
}

/** Until all that is under way is done, and what is due at once. */
export async function rest(shed) {
  await shed.outbox.flush().catch(() => {});
  for (;;) {
    while (shed.locks.held.size) await new Promise((resolve) => setImmediate(resolve));
    await new Promise((resolve) => setTimeout(resolve, 2));
    if (![...shed.timer.due.values()].some(({ ms }) => ms === 0)) return;
    await shed.timer.run();
  }
}
