// Clocks that count from stored instants, never from ticks: a page that slept is right the moment it wakes.

const BROWSERS_TIMER = { set: (work, ms) => setTimeout(work, ms), clear: (id) => clearTimeout(id) };

const two = (figure) => String(figure).padStart(2, "0");

/** Milliseconds as a clock shows them, [hours and minutes, seconds]: ["00:37", "12"]. */
export function hoursMinutes(ms) {
  const seconds = Math.max(0, Math.floor(ms / 1000));
  return [`${two(Math.floor(seconds / 3600))}:${two(Math.floor(seconds / 60) % 60)}`, two(seconds % 60)];
}

/** Time left as minutes and seconds, "03:10"; past its end with a plus sign, "+01:05". */
export function minutesSeconds(ms) {
  const seconds = ms >= 0 ? Math.ceil(ms / 1000) : Math.floor(-ms / 1000);
  const past = ms < 0 && seconds > 0 ? "+" : "";
  return `${past}${two(Math.floor(seconds / 60))}:${two(seconds % 60)}`;
}

/** The time of day with its seconds, as a key says before the tap what it writes. */
export function timeOfDay(ms, withSeconds = true) {
  const at = new Date(ms);
  const time = `${two(at.getHours())}:${two(at.getMinutes())}`;
  return withSeconds ? `${time}:${two(at.getSeconds())}` : time;
}

/**
 * How far the tablet's clock is ahead of the book's, ms: the book wrote `said` (ISO) somewhere between the tablet's
 * `asked` and `answered` (ms); half way is off by half the way there and back at most. Null where that took longer than
 * `longestMs`: the tablet slept meanwhile, and half way may be minutes off.
 */
export function aheadOf(said, asked, answered, longestMs) {
  if (answered - asked > longestMs) return null;
  return (asked + answered) / 2 - Date.parse(said);
}

/**
 * A clock for a page: `draw(now)` at each whole second and at once when the page is looked at again. `now` is the
 * book's time, by the tablet's clock less what it is ahead.
 */
export function openClock(draw, { now = Date.now, page = document, timer = BROWSERS_TIMER } = {}) {
  let ahead = 0;
  let timed = null;

  function booksNow() {
    return now() - ahead;
  }

  function tick() {
    timer.clear(timed);
    const at = booksNow();
    draw(at);
    timed = timer.set(tick, 1000 - (((at % 1000) + 1000) % 1000));
  }

  for (const event of ["visibilitychange", "resume"]) {
    page.addEventListener(event, () => page.visibilityState !== "hidden" && tick());
  }
  page.defaultView?.addEventListener("pageshow", tick);
  page.defaultView?.addEventListener("focus", tick);

  return {
    now: booksNow,
    tick,
    ahead: () => ahead,
    setAhead(ms) {
      ahead = ms;
    },
  };
}

/**
 * Keep the screen awake while `isWanted()`: asked for now and each time the page is looked at again. `say(words)` is
 * told "" while it is held, "screen may sleep" while it is not.
 */
export function keepAwake({ navigator, page, isWanted, say }) {
  let lock = null;

  async function ask() {
    if (!isWanted() || page.visibilityState === "hidden" || (lock && !lock.released)) return;
    try {
      lock = await navigator.wakeLock.request("screen");
      lock.addEventListener("release", () => say("screen may sleep"));
      say("");
    } catch {
      lock = null;
      say("screen may sleep");
    }
  }

  page.addEventListener("visibilitychange", ask);
  return { ask, letGo: () => lock?.release().catch(() => {}) };
}
