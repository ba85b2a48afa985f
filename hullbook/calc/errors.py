"""What is wrong with a number, in words a person at the bench can act on.

One class and one list of keys serve the whole program: the sums raise it, the forms show it, the CSV import
prints it with its row.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

ErrorKey = Literal[
    "missing",
    "not_a_number",
    "not_positive",
    "negative",
    "impossible",
    "implausible",
    "unit_suspect",
    "inconsistent",
    "insufficient_data",
    "outside_sheet",
    "extrapolated",
    "expired",
    "gap",
    "undecided",
]


class InputRefused(ValueError):
    """A value that cannot be worked with: which field, what was given, what is accepted."""

    def __init__(self, key: ErrorKey, field: str, given: object, accepted: str) -> None:
        self.key: ErrorKey = key
        self.field = field
        self.given = given
        self.accepted = accepted
        super().__init__(f"{field.replace('_', ' ')}: {given} is not accepted; {accepted}")


def require_between(field: str, value: float, low: float, high: float, unit: str = "") -> float:
    """Give back `value` when low <= value <= high, else refuse it as impossible (NaN and infinities too)."""
    if not low <= value <= high:
        raise InputRefused("impossible", field, value, f"give {low:g} to {high:g} {unit}".rstrip())
    return value


def require_in_unit(field: str, value: float, low: float, high: float, unit: str, others: Mapping[str, float]) -> float:
    """Give back `value` when low <= value <= high, else refuse it: `not_positive`, `impossible`, or `unit_suspect`.

    `others` are units it may have been given in, each with its factor to `unit`: where one fits, that is what is asked.
    """
    require_positive(field, value, unit)
    if low <= value <= high:
        return value
    meant = [
        f"{value:g} {other} is {factor * value:.4g} {unit}; "
        for other, factor in others.items()
        if low <= factor * value <= high
    ]
    accepted = f"{''.join(meant)}give {low:g} to {high:g} {unit}"
    raise InputRefused("unit_suspect" if meant else "impossible", field, value, accepted)


def require_positive(field: str, value: float, unit: str = "") -> float:
    """Give back `value` when it is above zero and finite, else refuse it."""
    if not 0 < value < float("inf"):
        raise InputRefused("not_positive", field, value, f"give a number above 0 {unit}".rstrip())
    return value


def require_not_negative(field: str, value: float, unit: str = "") -> float:
    """Give back `value` when it is zero or above and finite, else refuse it."""
    if not 0 <= value < float("inf"):
        raise InputRefused("negative", field, value, f"give 0 or more {unit}".rstrip())
    return value


def require_fraction(field: str, value: float, *, zero_allowed: bool = False) -> float:
    """Give back `value` when 0 < value < 1 (0 too where allowed), else refuse it; 65 is asked about as a percentage."""
    if 1 < value < 100:
        accepted = f"{value:g} percent is {value / 100:g}; give a fraction below 1"
        raise InputRefused("unit_suspect", field, value, accepted)
    if not 0 <= value < 1 or (value == 0 and not zero_allowed):
        raise InputRefused(
            "impossible", field, value, f"give a fraction {'from' if zero_allowed else 'above'} 0 below 1"
        )
    return value
