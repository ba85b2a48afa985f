"""Judging a value against a limit, in the four words of a conformity statement.

Decision rule: guard band w = U (expanded uncertainty, k = 2), the four-word form of ILAC-G8:09/2019 section
4.2.3. A value inside the limit by more than U is a pass, inside it by less than U a conditional pass; outside
by less than U a conditional fail, outside by more a fail. With U = 0 this is simple acceptance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from hullbook.calc.errors import InputRefused, require_not_negative

Level = Literal["pass", "conditional pass", "conditional fail", "fail", "no verdict"]


@dataclass(frozen=True)
class Verdict:
    """A value held against a limit: the level, what was judged (`code`), and why."""

    level: Level
    code: str
    value: float | None
    expanded_uncertainty: float
    low: float | None
    high: float | None
    unit: str
    source: str
    because: str = ""

    @property
    def is_open(self) -> bool:
        """True where somebody must still say what is done about it."""
        return self.level in ("conditional fail", "fail")


def judge(
    code: str,
    value: float,
    *,
    low: float | None = None,
    high: float | None = None,
    expanded_uncertainty: float = 0.0,
    unit: str = "",
    source: str,
) -> Verdict:
    """Judge `value` against a lower limit, an upper limit or both, all in `unit`.

    The worse side decides. Raises `missing` when no limit is given, `inconsistent` when low > high, `negative` for
    an uncertainty below zero. Source: ILAC-G8:09/2019 section 4.2.3.
    """
    require_not_negative("expanded_uncertainty", expanded_uncertainty, unit)
    if low is None and high is None:
        raise InputRefused("missing", "limit", "neither low nor high", "give at least one limit")
    if low is not None and high is not None and low > high:
        raise InputRefused("inconsistent", "limit", f"{low:g} to {high:g}", "give low not above high")
    rooms = [
        room
        for room in (None if low is None else value - low, None if high is None else high - value)
        if room is not None
    ]
    room = min(rooms)
    level: Level
    if room >= 0:
        level = "pass" if room >= expanded_uncertainty else "conditional pass"
    else:
        level = "conditional fail" if -room <= expanded_uncertainty else "fail"
    return Verdict(level, code, value, expanded_uncertainty, low, high, unit, source)


def no_verdict(code: str, because: str, *, unit: str = "", source: str = "") -> Verdict:
    """Say that nothing can be judged, and why."""
    return Verdict("no verdict", code, None, 0.0, None, None, unit, source, because)
