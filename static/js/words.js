// The words in which a tablet says where its entries are.

import { BOOKED, REFUSED, WAITING } from "./outbox.js";

export const STATE_WORDS = { [BOOKED]: "in the book", [WAITING]: "on this tablet", [REFUSED]: "not taken" };
export const OLD_MS = 30 * 60_000;

export const OUT_WORDS = {
  "not signed in": "Nobody is signed in here. What was logged is kept on this tablet until its people sign in again.",
  "not enrolled":
    "This tablet is not enrolled any more. What was logged is kept on it until the quality lead enrols it again.",
  "somebody else is signed in":
    "Somebody else is signed in. What others logged here is kept on this tablet until they sign in; " +
    "it never goes in under another name.",
  "nobody is lit": "The book asks who logged it. Tap your tile; what was logged is kept on this tablet.",
};

export const FULL_WORDS =
  "This tablet has no room left: nothing of this was kept. " +
  "Write it on the paper sheet, then free some room or take another tablet.";
export const NOT_KEPT_WORDS =
  "This tablet could not keep it: nothing was logged. Try again, or write it on the paper sheet.";

/** Why a tap could not be kept, in words. */
export function notKept(error) {
  const isFull = error?.name === "QuotaExceededError" || error?.inner?.name === "QuotaExceededError";
  return isFull ? FULL_WORDS : NOT_KEPT_WORDS;
}

/** A span of time as people say it: 40 s, 12 min, 3 h 20 min, 2 days. */
export function span(ms) {
  const seconds = Math.max(0, Math.round(ms / 1000));
  if (seconds < 60) return `${seconds} s`;
  const minutes = Math.floor(seconds / 60);
  if (minutes < 60) return `${minutes} min`;
  const hours = Math.floor(minutes / 60);
  if (hours < 48) return minutes % 60 ? `${hours} h ${minutes % 60} min` : `${hours} h`;
  return `${Math.floor(hours / 24)} days`;
}

/** The time of day, and the day too where it is another one. */
export function clock(at, now) {
  const two = (figure) => String(figure).padStart(2, "0");
  const then = new Date(at);
  const time = `${two(then.getHours())}:${two(then.getMinutes())}`;
  const isToday = then.toDateString() === new Date(now).toDateString();
  return isToday ? time : `${then.getFullYear()}-${two(then.getMonth() + 1)}-${two(then.getDate())} ${time}`;
}

/** What the rail says: the worst state, its words, and whether something has waited too long. */
export function railState(entries, now) {
  const waiting = entries.filter((entry) => entry.state === WAITING);
  const refused = entries.filter((entry) => entry.state === REFUSED);
  const oldest = Math.min(...waiting.map((entry) => Date.parse(entry.tapped_at)));
  const words = [];
  if (refused.length) words.push(`${refused.length} not taken`);
  if (waiting.length) words.push(`${waiting.length} on this tablet, oldest ${span(now - oldest)}`);
  return {
    state: refused.length ? REFUSED : waiting.length ? WAITING : BOOKED,
    words: words.join(", ") || STATE_WORDS[BOOKED],
    isOld: waiting.length > 0 && now - oldest > OLD_MS,
    count: waiting.length + refused.length,
  };
}

export function lostWords({ from, to }) {
  const which = from === to ? `Number ${from}` : `Numbers ${from} to ${to}`;
  return (
    `The store of this tablet was emptied. ${which} of what was logged on it never reached the book, ` +
    "as far as it knows. Look at the paper sheet, and log again what is missing."
  );
}

export function clockWords(aheadSeconds) {
  const way = aheadSeconds > 0 ? "ahead of" : "behind";
  const off = span(Math.abs(aheadSeconds) * 1000);
  return `The clock of this tablet is ${off} ${way} the book's. Times are put right; set the clock.`;
}

export function signOutWords(left) {
  const stay = left === 1 ? "it stays here until the same person signs" : "they stay here until the same people sign";
  return `${left} on this tablet, not in the book yet; ${stay} in again. Sign out once more to go.`;
}
