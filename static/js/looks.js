// How this tablet looks, kept on the tablet alone: the millimetre from a card laid on the glass, the hand, the theme.

export const KEPT_UNDER = "hullbook-looks";
export const CARD_MM = 85.6; // a bank card is ID-1 of ISO/IEC 7810: 85.60 mm wide
export const LEAST_PX = 350;
export const MOST_PX = 750;
const LEAST_STEP_PX = 24;

// px to the millimetre of three sizes of glass, to start from where no card is at hand.
export const GLASS = { "8 in": 7.43, "10.1 in": 6, "10.9 in": 5.19 };

export function read(storage) {
  try {
    return JSON.parse(storage.getItem(KEPT_UNDER)) ?? {};
  } catch {
    return {};
  }
}

export function keep(storage, change) {
  const looks = { ...read(storage), ...change };
  storage.setItem(KEPT_UNDER, JSON.stringify(looks));
  return looks;
}

// The card lies between two marks, so many px apart. A ratio no tablet has is not taken; it is asked again.
export function measured(px) {
  if (px < LEAST_PX || px > MOST_PX) {
    const way = px < LEAST_PX ? "too narrow" : "too wide";
    return {
      mm: null,
      refused: `The marks are ${px} px apart. That is ${way} for a bank card on a tablet: lay it again, one mark to each edge.`,
    };
  }
  return { mm: px / CARD_MM, refused: null };
}

// Where the marks stand after one of them is moved: on the glass, and never past each other.
export function moved(marks, which, by, width) {
  const to = marks[which] + by;
  if (which === "left") return { ...marks, left: Math.min(Math.max(0, to), marks.right - LEAST_STEP_PX) };
  return { ...marks, right: Math.max(Math.min(width, to), marks.left + LEAST_STEP_PX) };
}

// Where the marks stand first: as wide as the card would be by the ratio in force, in the middle of the glass.
export function laid(width, mm) {
  const card = Math.min(Math.round(mm * CARD_MM), width - LEAST_STEP_PX);
  const left = Math.round((width - card) / 2);
  return { left, right: left + card };
}
