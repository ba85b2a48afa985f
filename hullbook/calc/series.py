"""Readings against time, as written down at the bag or read from a logger: what must hold before any sum is done."""

from __future__ import annotations

import math
from collections.abc import Sequence

from hullbook.calc.errors import InputRefused


def require_series(field: str, minutes: Sequence[float], values: Sequence[float], least: int) -> None:
    """Refuse readings that cannot be worked with.

    Times are in minutes from any start. Raises `inconsistent` when there are not as many times as readings or the
    times do not increase, `insufficient_data` when there are fewer than `least`, `not_a_number` for NaN or infinity.
    """
    if len(minutes) != len(values):
        given = f"{len(minutes)} times and {len(values)} readings"
        raise InputRefused("inconsistent", field, given, "give one time for each reading")
    if len(values) < least:
        raise InputRefused("insufficient_data", field, f"{len(values)} readings", f"give at least {least}")
    for number in (*minutes, *values):
        if not math.isfinite(number):
            raise InputRefused("not_a_number", field, number, "give a number for each time and each reading")
    for earlier, later in zip(minutes, minutes[1:], strict=False):
        if later <= earlier:
            given = f"{later:g} min after {earlier:g} min"
            raise InputRefused("inconsistent", field, given, "give the times in rising order, each once")
