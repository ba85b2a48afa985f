"""What is asked about a number a person keyed that is possible but unlikely, and what was likely meant.

A value is held against what is expected of it where something is (the plan's pail, the last reading, the grams worked
out), else against the usual bounds of its field. It is asked about once, never stopped. The same decisions and the same
words are made on the tablet by `static/js/bounds.js`; one table of cases is put to both.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from hullbook.calc.ranges import Range, is_usual, offers
from hullbook.calc.units import unit_words

Against = Literal["plan", "last", "worked out", "others"]

AGAINST_WORDS: Mapping[Against, str] = MappingProxyType(
    {
        "plan": "the plan",
        "last": "the last reading",
        "worked out": "what was worked out",
        "others": "the middle of the others",
    }
)

POINT_SLIPS: tuple[tuple[float, str], ...] = (
    (10.0, "ten times"),
    (100.0, "a hundred times"),
    (0.1, "a tenth of"),
    (0.01, "a hundredth of"),
)
"""What a value is of the expected one when the point slipped by one place or two."""

POINT_SLIP_WITHIN = 0.05
"""How close to ten times, a tenth and so on counts as a slipped point, as a share (common practice, no source)."""


@dataclass(frozen=True)
class SoftBand:
    """How far from the expected value is still likely: `within`, a share in % or in the field's own unit.

    `holds_min` is how long a last reading says what to expect, in minutes; None where no reading is expected.
    """

    within: float
    unit: str
    holds_min: float | None
    source: str
    status: str

    def bounds(self, expected: float) -> tuple[float, float]:
        """Lowest and highest likely value, both included."""
        half = abs(expected) * self.within / 100 if self.unit == "%" else self.within
        return expected - half, expected + half


@dataclass(frozen=True)
class Expected:
    """What a value is held against, in the unit of its field."""

    against: Against
    value: float
    band: SoftBand


@dataclass(frozen=True)
class Doubt:
    """A sentence that asks about a value, and the likely one where there is one, as it would be keyed."""

    sentence: str
    likely: str | None = None


def plain(value: float) -> str:
    """Give a number as it was keyed: no place added, none taken away (12 figures at most)."""
    return f"{value:.12g}"


def written(value: float, unit: str, figures: int = 4) -> str:
    """Give an expected value or a bound with its unit, four figures as a rule."""
    return _with_unit(f"{value:.{figures}g}", unit)


def doubt(label: str, value: float, unit: str, *, expected: Expected | None, usual: Range | None) -> Doubt | None:
    """Ask about `value` where it is unlikely; None where it is not.

    `expected` goes before `usual`, and either may be missing. A value that is ten or a hundred times the expected one,
    or a tenth or a hundredth of it, within 5 %, is named as that and the value with its point put right is likely.
    Valid for any finite value; an expected value of nought or less has no point slips.
    """
    given = f"{label}: {_with_unit(plain(value), unit)}"
    if expected is not None:
        return _beside_the_expected(given, value, unit, expected)
    if usual is None or is_usual(value, usual):
        return None
    fitting = [offer for offer in offers(value, usual) if is_usual(offer.value, usual)]
    mostly = f"mostly it is {usual.usual_low:g} to {written(usual.usual_high, unit, 6)}"
    return Doubt(f"{given} is unusual; {mostly}.", f"{fitting[0].value:g}" if fitting else None)


def _beside_the_expected(given: str, value: float, unit: str, expected: Expected) -> Doubt | None:
    of = f"{AGAINST_WORDS[expected.against]} ({written(expected.value, unit)})"
    if expected.value > 0:
        for factor, words in POINT_SLIPS:
            if abs(value / (expected.value * factor) - 1) <= POINT_SLIP_WITHIN:
                return Doubt(f"{given} is about {words} {of}.", plain(value / factor))
    low, high = expected.band.bounds(expected.value)
    if low <= value <= high:
        return None
    return Doubt(f"{given} is far from {of}; mostly it is {low:.4g} to {written(high, unit)}.")


def _with_unit(number: str, unit: str) -> str:
    words = unit_words(unit)
    return f"{number}\u00a0{words}" if words else number
