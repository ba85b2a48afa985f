// How the front runs through a strip by the plan: hullbook/calc/flow.py, put to the same values by a test. Girths in metres
// from the keel, minutes from the opening of the first line.

const GRAVITY_M_S2 = 9.80665;
const SERIES_BELOW = 0.02;

/** Minutes for the first metres of a piece: slowness x integral of (A + B s) / (C - D s). */
function minutesOver(piece, distance) {
  const lost = (piece.loss * distance) / piece.pull;
  let [first, second] = [0, 0];
  if (Math.abs(lost) < SERIES_BELOW) {
    for (let n = 1, power = 1; n < 9; n += 1, power *= lost) {
      first += power / n;
      second += power / (n + 1);
    }
  } else {
    first = -Math.log1p(-lost) / lost;
    second = (first - 1) / lost;
  }
  const along = piece.resistance * first + piece.resistancePerM * distance * second;
  return ((piece.slowness * distance) / piece.pull) * along;
}

/** Metres of a piece wetted in these minutes, between bounds that close in: the curve only ever rises. */
function distanceIn(piece, minutes) {
  let [low, high] = [0, piece.length];
  for (let i = 0; i < 60 && high - low > 1e-9; i += 1) {
    const middle = (low + high) / 2;
    if (minutesOver(piece, middle) < minutes) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

function thickened(minutes, perMin) {
  return perMin ? -Math.log1p(-perMin * minutes) / perMin : minutes;
}

/** The strip cut at its joints and lines; null where the resin does not get to its end. */
function piecesOf({ sections, feeds }, pull) {
  const opened = new Map(feeds.map((feed) => [feed.opens_front_m, feed]));
  const cuts = [...new Set(feeds.flatMap((feed) => [feed.girth_m, feed.opens_front_m]))].sort((one, other) => one - other);
  const passed = new Map();
  const pieces = [];
  let [start, minutes, resistance, fedFrom, pullPa, sectionEnd] = [0, 0, 0, 0, pull.driving_pressure_pa, 0];
  for (const section of sections) {
    sectionEnd += section.length_m;
    const volume = (section.porosity * section.thickness_mm) / 1000;
    const resistancePerM = 1000 / (section.permeability_m2 * section.thickness_mm);
    const loss = (pull.liquid_resin_density_kg_m3 * GRAVITY_M_S2 * section.rise_m) / section.length_m;
    const [from, to] = [start, sectionEnd];
    for (const end of [...cuts.filter((cut) => cut > from && cut < to), to]) {
      passed.set(start, resistance);
      const feed = opened.get(start);
      if (feed) fedFrom = passed.get(feed.girth_m) - feed.hose_resistance_1_m3;
      const piece = {
        start, minutes, resistancePerM, loss, length: end - start, slowness: (pull.viscosity_pa_s / 60) * volume,
        resistance: resistance - fedFrom, pull: pullPa,
      };
      pullPa -= loss * piece.length;
      if (pullPa <= 0) return null;
      pieces.push(piece);
      minutes += minutesOver(piece, piece.length);
      resistance += resistancePerM * piece.length;
      start = end;
    }
  }
  return pull.thickening_per_min * minutes < 1 ? pieces : null;
}

/** `{lengthM, fillMinutes, minuteAt(frontM), frontAt(minute)}` of a strip of the plan; null where it never fills. */
export function fill(strip, pull) {
  const pieces = piecesOf(strip, pull);
  if (!pieces) return null;
  const perMin = pull.thickening_per_min;
  const last = pieces.at(-1);
  const lengthM = last.start + last.length;
  const plainAt = (frontM) => {
    const piece = pieces.findLast((one) => one.start <= frontM) ?? pieces[0];
    return piece.minutes + minutesOver(piece, frontM - piece.start);
  };
  const fillMinutes = thickened(plainAt(lengthM), perMin);
  return {
    lengthM,
    fillMinutes,
    minuteAt: (frontM) => thickened(plainAt(Math.min(Math.max(frontM, 0), lengthM)), perMin),
    frontAt(minute) {
      if (minute <= 0) return 0;
      if (minute >= fillMinutes) return lengthM;
      const plain = perMin ? -Math.expm1(-perMin * minute) / perMin : minute;
      const piece = pieces.findLast((one) => one.minutes <= plain) ?? pieces[0];
      return piece.start + distanceIn(piece, plain - piece.minutes);
    },
  };
}
