"""Turning a number and its unit into text: one way for page, label, CSV heading and PDF."""

import re
from decimal import ROUND_HALF_EVEN, Decimal

from hullbook.calc.units import unit_words

PLACES = {
    "kg": 2,
    "g": 0,
    "kg/m2": 3,
    "kg/m3": 0,
    "m": 2,
    "mm": 2,
    "m2": 2,
    "mbar": 1,
    "mbar/min": 3,
    "degC": 1,
    "K": 1,
    "%": 1,
    "fraction": 3,
    "phr": 2,
    "min": 1,
    "h": 1,
    "d": 0,
    "piece": 0,
    "deg": 0,
    "Pa.s": 3,
    "um2": 2,
    "barcol": 0,
    "barcol mean": 1,
    "ratio": 3,
}
WHOLE_PART = re.compile(r"(?<![\d.])[1-9]\d{3,}")
NOT_KNOWN = "–"


def rounded(value: float, places: int) -> str:
    """Round once, at the end, halves to even (ISO 80000-1, rule A), and never print a minus nought."""
    text = f"{Decimal(repr(value)).quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN):f}"
    return text.lstrip("-") if not text.strip("-0.") else text


def show_number(value: float | None, unit: str, places: int | None = None) -> str:
    if value is None:
        return NOT_KNOWN
    if unit == "1" and places is None:
        return f"{value:g}"
    return rounded(float(value), PLACES.get(unit, 3) if places is None else places)


def set_off_thousands(text: str) -> str:
    """For a page: "2069 mm" -> "2 069 mm", threes parted by a narrow space that does not break (ISO 80000-1)."""
    return WHOLE_PART.sub(lambda whole: f"{int(whole[0]):,}".replace(",", "\u202f"), text, count=1)


def show_elapsed(minutes: float) -> str:
    """Time gone by as a clock on the wall would say it: minutes at first, then hours, then days."""
    whole = int(minutes)
    if whole < 120:
        return f"{whole}\u00a0min"
    if whole < 48 * 60:
        return f"{whole // 60}\u00a0h {whole % 60}\u00a0min"
    return f"{whole // (24 * 60)}\u00a0days"


def show(value: float | None, unit: str, places: int | None = None) -> str:
    """`show(0.8, "kg/m2")` -> "0.800 kg/m²", with a space that does not break."""
    number, words = show_number(value, unit, places), unit_words(unit)
    return f"{number}\u00a0{words}" if words and value is not None else number


FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0")


def neutral_cell(text: str) -> str:
    """A text cell of a CSV file that no spreadsheet works out: an apostrophe stands before what looks like a formula.

    `reading.plain_cell` takes it away again, and gives back the text to the letter.
    """
    return f"'{text}" if text.lstrip("'").startswith(FORMULA_STARTS) else text
