"""The heat a laminate makes as it cures, read from a logger or by hand: when it began, how hot it got, how long."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from hullbook.calc.errors import InputRefused, require_between, require_positive
from hullbook.calc.series import require_series

BASELINE_READINGS = 4
"""The first readings, before anything warms up, give the start level (common practice, no source)."""


@dataclass(frozen=True)
class Exotherm:
    """What a cure curve shows; minutes count from the same start as the readings.

    `onset_minutes` is None where the onset rise was never reached. `peak_passed` is False while the last reading is
    the highest, and the peak is then only the highest so far. `area_k_h` is what lies above the baseline.
    """

    baseline_c: float
    onset_minutes: float | None
    highest_reading_c: float
    highest_reading_minutes: float
    peak_c: float
    peak_minutes: float
    peak_passed: bool
    greatest_rate_k_min: float
    area_k_h: float


def exotherm(minutes: Sequence[float], temperatures_c: Sequence[float], *, onset_rise_k: float) -> Exotherm:
    """Read the features of a cure curve in C against minutes, evenly spaced or not.

    The baseline is the median of the first four readings, the onset the first crossing of baseline + `onset_rise_k`
    on straight lines between readings, the peak the top of the parabola through the highest reading and its
    neighbours, the area a sum of trapezoids. Raises `insufficient_data` below six readings, `inconsistent` for times
    that do not increase, `impossible` outside -40 to 400 C, `not_positive` for the onset rise. Source: common
    practice, no source; the parabola is Lagrange's interpolation.
    """
    _require_temperatures(minutes, temperatures_c, 6)
    require_positive("onset_rise_k", onset_rise_k, "K")
    baseline = median(temperatures_c[:BASELINE_READINGS])
    top = max(range(len(minutes)), key=temperatures_c.__getitem__)
    peak_minutes, peak = float(minutes[top]), float(temperatures_c[top])
    if 0 < top < len(minutes) - 1:
        peak_minutes, peak = _vertex(minutes[top - 1 : top + 2], temperatures_c[top - 1 : top + 2])
    steps = list(zip(minutes, minutes[1:], temperatures_c, temperatures_c[1:], strict=False))
    return Exotherm(
        baseline_c=baseline,
        onset_minutes=_first_crossing(minutes, temperatures_c, baseline + onset_rise_k),
        highest_reading_c=float(temperatures_c[top]),
        highest_reading_minutes=float(minutes[top]),
        peak_c=peak,
        peak_minutes=peak_minutes,
        peak_passed=top < len(minutes) - 1,
        greatest_rate_k_min=max((after - before) / (end - start) for start, end, before, after in steps),
        area_k_h=math.fsum(
            (max(0.0, before - baseline) + max(0.0, after - baseline)) / 2 * (end - start)
            for start, end, before, after in steps
        )
        / 60,
    )


def minutes_above(
    minutes: Sequence[float], temperatures_c: Sequence[float], threshold_c: float, *, greatest_gap_minutes: float
) -> float:
    """Give the minutes at or above `threshold_c`, on straight lines between readings.

    Two readings further apart than `greatest_gap_minutes` earn nothing for the time between. Raises as exotherm,
    with two readings enough; `not_positive` for the gap. Source: linear interpolation.
    """
    _require_temperatures(minutes, temperatures_c, 2)
    require_positive("greatest_gap_minutes", greatest_gap_minutes, "min")
    total = 0.0
    for start, end, before, after in zip(minutes, minutes[1:], temperatures_c, temperatures_c[1:], strict=False):
        if end - start > greatest_gap_minutes:
            continue
        coldest, warmest = min(before, after), max(before, after)
        if coldest >= threshold_c:
            total += end - start
        elif warmest > threshold_c:
            total += (end - start) * (warmest - threshold_c) / (warmest - coldest)
    return total


def _require_temperatures(minutes: Sequence[float], temperatures_c: Sequence[float], least: int) -> None:
    require_series("temperatures_c", minutes, temperatures_c, least)
    for celsius in temperatures_c:
        require_between("temperatures_c", celsius, -40, 400, "C")


def _first_crossing(minutes: Sequence[float], temperatures_c: Sequence[float], level_c: float) -> float | None:
    if temperatures_c[0] >= level_c:
        accepted = f"give readings from before it warms: the first already stands at or above {level_c:g} C"
        raise InputRefused("inconsistent", "temperatures_c", temperatures_c[0], accepted)
    for start, end, before, after in zip(minutes, minutes[1:], temperatures_c, temperatures_c[1:], strict=False):
        if before < level_c <= after:
            return start + (end - start) * (level_c - before) / (after - before)
    return None


def _vertex(minutes: Sequence[float], temperatures_c: Sequence[float]) -> tuple[float, float]:
    (t0, t1, t2), (y0, y1, y2) = minutes, temperatures_c
    left, right = (y1 - y0) / (t1 - t0), (y2 - y1) / (t2 - t1)
    curvature = (right - left) / (t2 - t0)
    if curvature == 0:
        return float(t1), float(y1)
    slope = left + curvature * (t1 - t0)
    offset = -slope / (2 * curvature)
    return t1 + offset, y1 + slope * offset + curvature * offset**2
