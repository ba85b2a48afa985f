"""Hardness of a cured laminate with the hand-held impressor: how many readings, and what the set says.

One set belongs to one zone and one surface; a soft zone is never averaged into a hull.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from hullbook.calc.errors import InputRefused, require_between, require_not_negative
from hullbook.calc.statistics import expanded_uncertainty, mean, mean_interval, sample_sd
from hullbook.calc.verdict import Verdict, judge, no_verdict


@dataclass(frozen=True)
class HardnessRow:
    """One line of the table of readings: at this hardness, this variance of single readings and this many of them."""

    hardness: float
    reinforced: bool
    variance: float
    readings: int


@dataclass(frozen=True)
class Discarded:
    """A reading struck through when it was taken, and the physical reason seen there (edge, void, wax, fibre)."""

    reading: float
    reason: str


@dataclass(frozen=True)
class HardnessResult:
    """A set of readings of one zone; `sd` is None for a single reading. Struck readings are counted, never used."""

    n: int
    mean: float
    sd: float | None
    lowest: float
    highest: float
    discarded: int
    readings_wanted: int
    enough: bool
    verdict: Verdict


def readings_wanted(mean_hardness: float, table: Sequence[HardnessRow], *, reinforced: bool = True) -> int:
    """Give how many readings a mean of this hardness wants, so that every mean is known equally well.

    The variance is interpolated between the rows of the table and divided by the greatest variance of a mean that the
    table itself allows; past its ends the end row counts. Raises `impossible` outside 0 to 100, `insufficient_data`
    when the table has no rows of that kind, `not_positive` for a row without readings. Source: the rule of the table
    handed in (ASTM D2583).
    """
    require_between("mean_hardness", mean_hardness, 0, 100)
    rows = sorted((row for row in table if row.reinforced is reinforced), key=lambda row: row.hardness)
    if not rows:
        raise InputRefused("insufficient_data", "table", "no rows of this kind", "give at least one row")
    for row in rows:
        if row.readings < 1:
            raise InputRefused("not_positive", "table", row.readings, "give at least 1 reading in each row")
    greatest_variance_of_mean = max(row.variance / row.readings for row in rows)
    return math.ceil(_variance(mean_hardness, rows) / greatest_variance_of_mean - 1e-9)


def judge_set(
    readings: Sequence[float],
    *,
    required_mean: float,
    table: Sequence[HardnessRow],
    source: str,
    reinforced: bool = True,
    discarded: Sequence[Discarded] = (),
    instrument_expanded_uncertainty: float = 0.0,
) -> HardnessResult:
    """Judge the mean of a set against the least mean that is wanted, in hardness units.

    U is the 95 % half-width of the mean together with the instrument's own. With fewer readings than wanted the mean
    is still given but nothing is judged. Raises `missing` without a reading or for a struck one without a reason,
    `impossible` outside 0 to 100, `negative` for the uncertainty. Source: ILAC-G8:09/2019, 4.2.3.
    """
    if not readings:
        raise InputRefused("missing", "readings", "none", "give at least one reading")
    for reading in (*readings, *(struck.reading for struck in discarded)):
        require_between("readings", reading, 0, 100)
    for struck in discarded:
        if not struck.reason.strip():
            raise InputRefused("missing", "discarded", struck.reading, "say what was seen where it was taken")
    require_between("required_mean", required_mean, 0, 100)
    require_not_negative("instrument_expanded_uncertainty", instrument_expanded_uncertainty)
    n, middle = len(readings), mean(readings)
    wanted = readings_wanted(middle, table, reinforced=reinforced)
    if n < wanted:
        because = f"{n} of {wanted} readings: take {wanted - n} more"
        verdict = no_verdict("hardness", because, source=source)
    else:
        half_width = mean_interval(readings).half_width if n > 2 else 0.0
        expanded = expanded_uncertainty(half_width / 2, instrument_expanded_uncertainty / 2)
        verdict = judge(
            "hardness",
            middle,
            low=required_mean,
            expanded_uncertainty=expanded,
            unit="barcol mean",
            source=source,
        )
        if n <= 2:
            verdict = replace(verdict, because="too few readings to show their spread")
    return HardnessResult(
        n=n,
        mean=middle,
        sd=sample_sd(readings) if n > 1 else None,
        lowest=min(readings),
        highest=max(readings),
        discarded=len(discarded),
        readings_wanted=wanted,
        enough=n >= wanted,
        verdict=verdict,
    )


def _variance(hardness: float, rows: Sequence[HardnessRow]) -> float:
    if hardness <= rows[0].hardness:
        return rows[0].variance
    for below, above in zip(rows, rows[1:], strict=False):
        if hardness <= above.hardness:
            share = (hardness - below.hardness) / (above.hardness - below.hardness)
            return below.variance + share * (above.variance - below.variance)
    return rows[-1].variance
