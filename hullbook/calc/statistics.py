"""Means, spread, outliers and uncertainties of a handful of readings."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, stdev

from hullbook.calc.errors import InputRefused, require_between, require_not_negative

COVERAGE_FACTOR = 2.0
"""k of an expanded uncertainty: about 95 % for nearly normal errors (JCGM 100:2008, 6.3.3)."""


@dataclass(frozen=True)
class MeanInterval:
    """A mean and the 95 % interval for it: mean - half_width to mean + half_width, in the unit of the readings."""

    mean: float
    half_width: float

    @property
    def low(self) -> float:
        """The lower end."""
        return self.mean - self.half_width

    @property
    def high(self) -> float:
        """The upper end."""
        return self.mean + self.half_width


@dataclass(frozen=True)
class Grubbs:
    """The reading furthest from the mean, its distance in standard deviations, and how far is still usual.

    `advice_only` is True below seven readings: too few to strike one out on. No reading is ever struck out on this
    alone; a stated physical reason is wanted as well.
    """

    index: int
    value: float
    statistic: float
    critical_value: float
    is_outlier: bool
    advice_only: bool


def mean(values: Sequence[float]) -> float:
    """Give the arithmetic mean. Raises `insufficient_data` without values, `not_a_number` for NaN or infinity."""
    _require_values(values, 1)
    return fmean(values)


def sample_sd(values: Sequence[float]) -> float:
    """Give the sample standard deviation (n - 1), in the unit of the values.

    Raises `insufficient_data` below two values, `not_a_number` for NaN or infinity. Source: JCGM 100:2008, 4.2.2.
    """
    _require_values(values, 2)
    return stdev(values)


def mean_interval(values: Sequence[float]) -> MeanInterval:
    """Give the mean with its two-sided 95 % interval, t(0.975, n - 1) s / sqrt(n).

    Raises `insufficient_data` below three values. Source: NIST/SEMATECH e-Handbook 1.3.5.2.
    """
    from scipy.stats import t

    _require_values(values, 3)
    n = len(values)
    return MeanInterval(fmean(values), float(t.ppf(0.975, n - 1)) * stdev(values) / math.sqrt(n))


def grubbs_critical_value(n: int, significance: float = 0.05) -> float:
    """Give the two-sided critical value of Grubbs' test for one outlier among `n` readings.

    (n - 1)/sqrt(n) sqrt(t^2/(n - 2 + t^2)) with t = t(1 - significance/(2n), n - 2). Raises `insufficient_data` below
    three readings, `impossible` for a significance outside 0.0001 to 0.5. Source: NIST/SEMATECH e-Handbook 1.3.5.17.
    """
    from scipy.stats import t

    if n < 3:
        raise InputRefused("insufficient_data", "readings", n, "give at least 3")
    require_between("significance", significance, 0.0001, 0.5)
    t_squared = float(t.ppf(1 - significance / (2 * n), n - 2)) ** 2
    return (n - 1) / math.sqrt(n) * math.sqrt(t_squared / (n - 2 + t_squared))


def grubbs(values: Sequence[float], significance: float = 0.05) -> Grubbs:
    """Test the reading furthest from the mean, two-sided.

    Raises `insufficient_data` below three readings and when all are alike. Source: NIST/SEMATECH e-Handbook 1.3.5.17.
    """
    _require_values(values, 3)
    middle, spread = fmean(values), stdev(values)
    if spread == 0:
        raise InputRefused("insufficient_data", "readings", "all alike", "give readings that differ")
    index = max(range(len(values)), key=lambda place: abs(values[place] - middle))
    statistic = abs(values[index] - middle) / spread
    critical = grubbs_critical_value(len(values), significance)
    return Grubbs(index, values[index], statistic, critical, statistic > critical, len(values) < 7)


def resolution_uncertainty(resolution: float) -> float:
    """Give the standard uncertainty of one reading rounded to `resolution`: d/sqrt(12), same unit.

    Raises `negative` below zero. Source: JCGM 100:2008, F.2.2.1.
    """
    return require_not_negative("resolution", resolution) / math.sqrt(12)


def accuracy_uncertainty(half_width: float) -> float:
    """Give the standard uncertainty of an instrument said to be right within +- `half_width`: a/sqrt(3), same unit.

    Raises `negative` below zero. Source: JCGM 100:2008, 4.3.7 (rectangular distribution).
    """
    return require_not_negative("accuracy", half_width) / math.sqrt(3)


def expanded_uncertainty(*standard_uncertainties: float) -> float:
    """Combine independent standard uncertainties of one result and expand them with k = 2.

    Each is already in the unit of the result (sensitivity times input uncertainty) and its sign does not count.
    Raises `not_a_number` for NaN or infinity. Source: JCGM 100:2008, 5.1.2 and 6.2.1.
    """
    combined = math.hypot(*standard_uncertainties)
    if not math.isfinite(combined):
        raise InputRefused("not_a_number", "uncertainty", combined, "give a number")
    return COVERAGE_FACTOR * combined


def _require_values(values: Sequence[float], least: int) -> None:
    if len(values) < least:
        raise InputRefused("insufficient_data", "readings", len(values), f"give at least {least}")
    for value in values:
        if not math.isfinite(value):
            raise InputRefused("not_a_number", "readings", value, "give a number for each reading")
