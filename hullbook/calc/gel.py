"""When resin gels by the maker's table and the yard's own cups, what dose the day allows, how a pail's clock runs.

The law is ln t = a + b (1/T - 1/T0) - c ln d: t minutes to gel, T in kelvin, T0 = 298.15 K, d parts on a hundred of
resin. It holds for one resin product with one catalyst product, for cups of one size. The maker's own table is read
between its cells alone. Source of the form: Arrhenius; a power of the initiator's share (redox-started polymerisation,
textbook).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from hullbook.calc.errors import InputRefused, require_between, require_fraction, require_not_negative, require_positive

ZERO_CELSIUS_K = 273.15
REFERENCE_K = 298.15
GAS_CONSTANT_J_MOL_K = 8.314462618
LEAST_CUPS = 6
LEAST_TEMPERATURES, LEAST_SPAN_K = 3, 6.0
LEAST_DOSE_RATIO = 1.3
CHECKED_BY_OTHERS = 1e-9
SMALLEST_SCATTER = 1e-6
FAR_FROM_THE_OTHERS = 4.0

EXTRAPOLATION_K = 3.0
"""How far past the outer temperatures of a table or of cups a time is still given (common practice, no source)."""


# ---- The maker's table


@dataclass(frozen=True)
class GelTime:
    """Minutes to gel: the sheet's low and high, the middle between, and whether it lies past the sheet's table."""

    low_minutes: float
    mid_minutes: float
    high_minutes: float
    extrapolated: bool


@dataclass(frozen=True)
class GelTable:
    """A maker's gel times: one row for each temperature (C, rising), one column for each dose (phr, rising).

    Where the sheet gives a single time, low and high are the same. It holds for one resin product with one catalyst
    product. Raises on making `insufficient_data` below two temperatures or doses, `inconsistent` for an order or
    shape that does not fit or a low above its high, `implausible` for a time of 1 min or less or above 24 h.
    """

    temperatures_c: tuple[float, ...]
    doses_phr: tuple[float, ...]
    low_minutes: tuple[tuple[float, ...], ...]
    high_minutes: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        for field, knots in (("temperatures_c", self.temperatures_c), ("doses_phr", self.doses_phr)):
            if len(knots) < 2:
                raise InputRefused("insufficient_data", field, len(knots), "give at least two")
            if list(knots) != sorted(set(knots)):
                raise InputRefused("inconsistent", field, list(knots), "give them rising, each once")
        require_between("temperatures_c", self.temperatures_c[0], -40, self.temperatures_c[-1], "C")
        require_positive("doses_phr", self.doses_phr[0], "phr")
        for field, rows in (("low_minutes", self.low_minutes), ("high_minutes", self.high_minutes)):
            if [len(row) for row in rows] != [len(self.doses_phr)] * len(self.temperatures_c):
                accepted = "give one row for each temperature with one time for each dose"
                raise InputRefused("inconsistent", field, rows, accepted)
            for time in (time for row in rows for time in row):
                if not 1 < time <= 24 * 60:
                    raise InputRefused("implausible", field, time, "give minutes, more than 1 and up to 1440")
        for low_row, high_row in zip(self.low_minutes, self.high_minutes, strict=True):
            for low, high in zip(low_row, high_row, strict=True):
                if low > high:
                    raise InputRefused("inconsistent", "low_minutes", low, f"give at most {high:g}, its high")


def gel_time(table: GelTable, dose_phr: float, temperature_c: float) -> GelTime:
    """Give the gel time at a dose and a temperature inside the table.

    Straight between neighbours in 1/T and ln(dose) on ln(time), for low, high and their mean apart. Up to 3 K
    past the outer temperatures the result is marked; further, or outside the doses, `extrapolated` is raised.
    Source: Arrhenius form, time proportional to exp(E/RT) dose^-c between four cells of a sheet.
    """
    lowest, highest = table.doses_phr[0], table.doses_phr[-1]
    if not lowest <= dose_phr <= highest:
        raise InputRefused("extrapolated", "dose_phr", dose_phr, f"the sheet covers {lowest:g} to {highest:g} phr")
    coldest, warmest = table.temperatures_c[0], table.temperatures_c[-1]
    if not coldest - EXTRAPOLATION_K <= temperature_c <= warmest + EXTRAPOLATION_K:
        accepted = f"the sheet covers {coldest:g} to {warmest:g} C, with {EXTRAPOLATION_K:g} K past it at most"
        raise InputRefused("extrapolated", "temperature_c", temperature_c, accepted)
    row, down = _place([-1 / (t + ZERO_CELSIUS_K) for t in table.temperatures_c], -1 / (temperature_c + ZERO_CELSIUS_K))
    column, across = _place([math.log(d) for d in table.doses_phr], math.log(dose_phr))

    def interpolated(cell: Sequence[Sequence[float]]) -> float:
        upper, lower = (
            math.log(times[column]) * (1 - across) + math.log(times[column + 1]) * across
            for times in (cell[row], cell[row + 1])
        )
        return math.exp(upper * (1 - down) + lower * down)

    mid = [
        [(low + high) / 2 for low, high in zip(low_row, high_row, strict=True)]
        for low_row, high_row in zip(table.low_minutes, table.high_minutes, strict=True)
    ]
    return GelTime(
        interpolated(table.low_minutes),
        interpolated(mid),
        interpolated(table.high_minutes),
        extrapolated=not coldest <= temperature_c <= warmest,
    )


# ---- The yard's own cups


@dataclass(frozen=True)
class Cup:
    """One gel cup: dose in phr, temperature in the cup in C, minutes from the catalyst stirred in to gel."""

    dose_phr: float
    temperature_c: float
    minutes: float

    def __post_init__(self) -> None:
        """Refuse a dose or temperature that cannot be, and minutes of 1 or less or above a day (`implausible`)."""
        require_positive("dose_phr", self.dose_phr, "phr")
        require_between("temperature_c", self.temperature_c, 0, 60, "C")
        if not 1 < self.minutes <= 24 * 60:
            raise InputRefused("implausible", "minutes", self.minutes, "give minutes, more than 1 and up to 1440")


class GelBand(NamedTuple):
    """Minutes to gel: no sooner than `low` and no later than `high`, each at one-sided 95 % or as the maker says."""

    low: float
    mid: float
    high: float


GelLaw = Callable[[float, float], GelBand]
"""Band of the gel time for a dose in phr at a temperature in C; raises `extrapolated` outside what it rests on."""


@dataclass(frozen=True)
class GelFit:
    """The law fitted: a = ln of minutes at 25 C and 1 phr, b in K, c; their covariance; scatter of one cup in ln t.

    `freedom` is None where the scatter was given and not found from the cups. Coldest and warmest are of the cups.
    """

    a: float
    b_k: float
    c: float
    covariance: tuple[tuple[float, ...], ...]
    scatter: float
    freedom: int | None
    coldest_c: float
    warmest_c: float

    @property
    def minutes_at_reference(self) -> float:
        """Minutes to gel at 25 C and 1 phr."""
        return math.exp(self.a)

    @property
    def activation_energy_kj_mol(self) -> float:
        """E of the Arrhenius form."""
        return GAS_CONSTANT_J_MOL_K * self.b_k / 1000

    def minutes(self, dose_phr: float, temperature_c: float) -> float:
        """Minutes to gel, the middle. Raises `extrapolated` more than 3 K past the cups."""
        return math.exp(self._ln_minutes(dose_phr, temperature_c))

    def band(self, dose_phr: float, temperature_c: float) -> GelBand:
        """Band for the next pail: each end at one-sided 95 %. Raises `extrapolated` more than 3 K past the cups."""
        return self._band(dose_phr, temperature_c, 0.95, self.scatter)

    def two_sided(self, dose_phr: float, temperature_c: float) -> GelBand:
        """Band that 95 % of pails fall into."""
        return self._band(dose_phr, temperature_c, 0.975, self.scatter)

    def mean_band(self, dose_phr: float, temperature_c: float) -> GelBand:
        """95 % band of the mean of many cups."""
        return self._band(dose_phr, temperature_c, 0.975, 0.0)

    def _band(self, dose_phr: float, temperature_c: float, level: float, scatter: float) -> GelBand:
        import numpy as np
        from scipy.stats import norm, t

        middle = self._ln_minutes(dose_phr, temperature_c)
        row = np.array(_row(dose_phr, temperature_c))
        sd = math.sqrt(scatter**2 + float(row @ np.array(self.covariance) @ row))
        quantile = float(norm.ppf(level) if self.freedom is None else t.ppf(level, self.freedom))
        return GelBand(math.exp(middle - quantile * sd), math.exp(middle), math.exp(middle + quantile * sd))

    def _ln_minutes(self, dose_phr: float, temperature_c: float) -> float:
        if not self.coldest_c - EXTRAPOLATION_K <= temperature_c <= self.warmest_c + EXTRAPOLATION_K:
            accepted = f"the cups cover {self.coldest_c:g} to {self.warmest_c:g} C, with {EXTRAPOLATION_K:g} K past it"
            raise InputRefused("extrapolated", "temperature_c", temperature_c, accepted)
        ones, inverse, logarithm = _row(dose_phr, temperature_c)
        return self.a * ones + self.b_k * inverse + self.c * logarithm


def fit_law(cups: Sequence[Cup]) -> GelFit:
    """Fit the law by least squares on ln t. Raises `insufficient_data` below four cups or where they do not span it.

    Source: ordinary least squares, NIST/SEMATECH e-Handbook 4.4.3.
    """
    import numpy as np

    if len(cups) < 4:
        raise InputRefused("insufficient_data", "cups", len(cups), "give at least 4")
    rows, y = _rows(cups)
    if np.linalg.matrix_rank(rows) < 3:
        accepted = "give cups of more than one temperature and more than one dose"
        raise InputRefused("insufficient_data", "cups", "all alike", accepted)
    found, *_ = np.linalg.lstsq(rows, y, rcond=None)
    freedom = len(cups) - 3
    scatter = math.sqrt(float(np.sum((y - rows @ found) ** 2)) / freedom)
    covariance = scatter**2 * np.linalg.inv(rows.T @ rows)
    return _fit(found, covariance, scatter, freedom, [cup.temperature_c for cup in cups])


def fit_cups(cups: Sequence[Cup]) -> GelFit:
    """Fit the yard's own cups where there are enough to stand by themselves.

    Raises `insufficient_data` below 6 cups, 3 temperatures over 6 K, or 2 doses 1.3 times apart; `inconsistent` where
    the fit says that more catalyst or more warmth gels later. The bounds are common practice, no source.
    """
    temperatures = {cup.temperature_c for cup in cups} or {0.0}
    doses = {cup.dose_phr for cup in cups} or {1.0}
    for given, least, accepted in (
        (len(cups), LEAST_CUPS, f"give at least {LEAST_CUPS} cups"),
        (len(temperatures), LEAST_TEMPERATURES, f"give at least {LEAST_TEMPERATURES} temperatures"),
        (
            max(temperatures) - min(temperatures),
            LEAST_SPAN_K,
            f"give temperatures over {LEAST_SPAN_K:g} K",
        ),
        (
            max(doses) / min(doses),
            LEAST_DOSE_RATIO,
            f"give doses {LEAST_DOSE_RATIO:g} times apart",
        ),
    ):
        if given < least:
            raise InputRefused("insufficient_data", "cups", f"{given:g}", accepted)
    found = fit_law(cups)
    if found.b_k <= 0 or found.c <= 0:
        accepted = "more catalyst and more warmth gel sooner: look at the cups again"
        raise InputRefused("inconsistent", "cups", f"b {found.b_k:.0f} K, c {found.c:.2f}", accepted)
    return found


def with_prior(
    cups: Sequence[Cup], *, prior: tuple[float, float, float], prior_sd: tuple[float, float, float], scatter: float
) -> GelFit:
    """Draw the maker's law toward the yard's cups: `prior` and its sds of a, b and c, `scatter` of one cup in ln t.

    Raises `insufficient_data` without a cup, `not_positive` sds. Source: linear model with a normal prior,
    C = (diag(1/sd^2) + X'X/s^2)^-1.
    """
    import numpy as np

    if not cups:
        raise InputRefused("insufficient_data", "cups", 0, "give at least one")
    require_positive("scatter", scatter)
    rows, y = _rows(cups)
    precision = np.diag([1 / require_positive("prior_sd", sd) ** 2 for sd in prior_sd])
    covariance = np.linalg.inv(precision + rows.T @ rows / scatter**2)
    found = covariance @ (precision @ np.array(prior) + rows.T @ y / scatter**2)
    return _fit(found, covariance, scatter, None, [cup.temperature_c for cup in cups])


def law_of_table(table: GelTable) -> GelFit:
    """The law through the middles of a maker's table, the start for the yard's own cups. Raises as `fit_law`."""
    cells = [
        Cup(dose, temperature, (low + high) / 2)
        for temperature, lows, highs in zip(table.temperatures_c, table.low_minutes, table.high_minutes, strict=True)
        for dose, low, high in zip(table.doses_phr, lows, highs, strict=True)
    ]
    return fit_law(cells)


def band_of_table(table: GelTable) -> GelLaw:
    """The maker's table as a law, its own low and high for the band."""

    def band(dose_phr: float, temperature_c: float) -> GelBand:
        time = gel_time(table, dose_phr, temperature_c)
        return GelBand(time.low_minutes, time.mid_minutes, time.high_minutes)

    return band


def studentised_residuals(cups: Sequence[Cup]) -> tuple[float, ...]:
    """How far each cup lies from the fit of the others, in standard deviations (externally studentised).

    0 for a cup that no other can check, as it alone carries one of the three numbers. Raises `insufficient_data` below
    five cups. Source: NIST/SEMATECH e-Handbook 4.4.4; Belsley, Kuh, Welsch (1980).
    """
    import numpy as np

    if len(cups) < 5:
        raise InputRefused("insufficient_data", "cups", len(cups), "give at least 5")
    rows, y = _rows(cups)
    hat = rows @ np.linalg.pinv(rows)
    residuals = y - hat @ y
    checked = 1 - np.diag(hat)
    squares = np.divide(residuals**2, checked, out=np.zeros(len(cups)), where=checked > CHECKED_BY_OTHERS)
    others = np.maximum(float(residuals @ residuals) - squares, SMALLEST_SCATTER**2) / (len(cups) - 4)
    return tuple(float(one) for one in np.sign(residuals) * np.sqrt(squares / others))


def outlying_cups(cups: Sequence[Cup]) -> tuple[int, ...]:
    """Places of cups that are to be made again: more than four deviations from the fit of the others.

    Of six good cups chance puts one that far off in every third set, of nine in every twelfth: a cup made again for
    nothing costs little, and a bound that spares it (10.9 of six) misses most cups typed half as long again. None is
    left out of a fit on this alone. Raises as `studentised_residuals`. The four is common practice, no source.
    """
    residuals = studentised_residuals(cups)
    return tuple(place for place, one in enumerate(residuals) if abs(one) > FAR_FROM_THE_OTHERS)


def day_factor(cup_minutes: float, expected_minutes: float, *, ask_beyond_ln: float) -> float:
    """What the day's cup says of the day's batch: times are multiplied by it.

    Raises `implausible` where |ln| of it is beyond the bound: stop and find out why.
    """
    factor = require_positive("cup_minutes", cup_minutes, "min") / require_positive(
        "expected_minutes", expected_minutes
    )
    if abs(math.log(factor)) > ask_beyond_ln:
        accepted = f"{expected_minutes:.0f} min was to be expected: find out why before mixing"
        raise InputRefused("implausible", "cup_minutes", f"{cup_minutes:g} min", accepted)
    return factor


# ---- The dose for today


@dataclass(frozen=True)
class DoseWindow:
    """Doses that gel late enough at the hottest and early enough at the coldest, inside the maker's limits, in phr.

    `most_phr` and `least_phr` are what hottest and coldest ask for, None where the law does not reach it. Empty where
    `low_phr` is above `high_phr`; `longest_fill_min` is what the maker's least dose would leave for the fill.
    """

    required_min: float
    low_phr: float
    high_phr: float
    most_phr: float | None
    least_phr: float | None
    longest_fill_min: float

    @property
    def is_empty(self) -> bool:
        """Whether no dose does."""
        return self.low_phr > self.high_phr

    @property
    def proposed_phr(self) -> float | None:
        """The geometric middle; None for an empty window."""
        return None if self.is_empty else math.sqrt(self.low_phr * self.high_phr)


def required_gel_min(*, handling_min: float, fill_min: float, share: float) -> float:
    """Gel time wanted: handling, then a fill that uses no more than `share` of the rest.

    Raises `negative`, `impossible`.
    """
    require_not_negative("handling_min", handling_min, "min")
    return handling_min + require_not_negative("fill_min", fill_min, "min") / require_fraction("share", share)


def dose_window(
    law: GelLaw,
    *,
    handling_min: float,
    fill_min: float,
    share: float,
    hottest_c: float,
    coldest_c: float,
    latest_min: float | None,
    maker_low_phr: float,
    maker_high_phr: float,
    law_low_phr: float,
    law_high_phr: float,
) -> DoseWindow:
    """Find the doses that leave the margin over fill and handling; gel is waited for until `latest_min` at most.

    The law is asked only between its own doses. Raises `inconsistent` for a hottest below the coldest or limits out of
    order, and what the law raises outside its temperatures.
    """
    if hottest_c < coldest_c:
        raise InputRefused("inconsistent", "hottest_c", hottest_c, f"give at least the coldest, {coldest_c:g} C")
    low, high = max(maker_low_phr, law_low_phr), min(maker_high_phr, law_high_phr)
    if not 0 < low <= high:
        accepted = f"the gel times known are for {law_low_phr:g} to {law_high_phr:g} phr"
        raise InputRefused("outside_sheet", "dose", f"{maker_low_phr:g} to {maker_high_phr:g} phr", accepted)
    required = required_gel_min(handling_min=handling_min, fill_min=fill_min, share=share)
    most = _dose_where(lambda dose: law(dose, hottest_c).low, required, law_low_phr, law_high_phr)
    least = (
        None
        if latest_min is None
        else _dose_where(lambda dose: law(dose, coldest_c).high, latest_min, law_low_phr, law_high_phr)
    )
    too_fast = law(law_low_phr, hottest_c).low < required
    too_slow = latest_min is not None and law(law_high_phr, coldest_c).high > latest_min
    upper = law_low_phr * (1 - 1e-9) if too_fast else law_high_phr if most is None else most
    lower = law_high_phr * (1 + 1e-9) if too_slow else law_low_phr if least is None else least
    longest = max(0.0, share * (law(low, hottest_c).low - handling_min))
    return DoseWindow(required, max(low, lower), min(high, upper), most, least, longest)


def _dose_where(minutes: Callable[[float], float], wanted: float, low: float, high: float) -> float | None:
    """The dose at which the minutes fall to what is wanted; None where they never cross it in between."""
    from scipy.optimize import brentq

    if (minutes(low) - wanted) * (minutes(high) - wanted) > 0:
        return None
    return float(brentq(lambda dose: minutes(dose) - wanted, low, high, xtol=1e-9))


# ---- A pail's clock


def used_share(minutes: Sequence[float], gel_minutes: Sequence[float]) -> float:
    """Share of the way to gel used up by stretches of time, each at its own gel time; gel at 1.

    Raises `inconsistent` for lists that do not match, `negative`, `not_positive`. Source: additivity of one mechanism.
    """
    if len(minutes) != len(gel_minutes):
        raise InputRefused("inconsistent", "gel_minutes", len(gel_minutes), f"give one for each of {len(minutes)}")
    return sum(
        require_not_negative("minutes", spent, "min") / require_positive("gel_minutes", gel, "min")
        for spent, gel in zip(minutes, gel_minutes, strict=True)
    )


def minutes_left(used: float, gel_minutes: float) -> float:
    """Minutes to gel at the gel time from now on; 0 once it has. Raises `negative`, `not_positive`."""
    return max(0.0, 1 - require_not_negative("used", used)) * require_positive("gel_minutes", gel_minutes, "min")


def gel_time_along(
    table: GelTable, dose_phr: float, minutes: Sequence[float], temperatures_c: Sequence[float]
) -> GelTime:
    """Minutes from mixing to gel for resin that is read at these minutes to have these temperatures, the first at 0.

    Each temperature holds until the next is read. Raises as `gel_time`, `inconsistent` for times that do not begin at 0
    and rise. Source: additivity of one mechanism, as `used_share`.
    """
    if not minutes or minutes[0] != 0 or list(minutes) != sorted(minutes) or len(minutes) != len(temperatures_c):
        raise InputRefused("inconsistent", "minutes", list(minutes), "begin at 0, then later, one for each temperature")
    times = [gel_time(table, dose_phr, temperature_c) for temperature_c in temperatures_c]

    lasting = [ends - begins for begins, ends in zip(minutes, (*minutes[1:], math.inf), strict=True)]

    def reached(gels: Sequence[float]) -> float:
        left = [minutes_left(used_share(lasting[:place], gels[:place]), gel) for place, gel in enumerate(gels)]
        return next(begins + more for begins, more, lasts in zip(minutes, left, lasting, strict=True) if more <= lasts)

    return GelTime(
        reached([one.low_minutes for one in times]),
        reached([one.mid_minutes for one in times]),
        reached([one.high_minutes for one in times]),
        extrapolated=any(one.extrapolated for one in times),
    )


def pot_life_min(
    gel_min: float, *, share: float, pail_kg: float, cup_kg: float = 0.1, mass_exponent: float = 0.0
) -> float:
    """Minutes in which a pail is to be drawn: a share of its gel time, shortened by its mass where the yard tried it.

    `mass_exponent` is the yard's own (0 to 0.3): (pail / cup)^-exponent. Raises `not_positive`, `impossible`.
    Common practice, no source.
    """
    require_fraction("share", share)
    require_between("mass_exponent", mass_exponent, 0, 0.3)
    heavier = require_positive("pail_kg", pail_kg, "kg") / require_positive("cup_kg", cup_kg, "kg")
    return share * require_positive("gel_min", gel_min, "min") * heavier**-mass_exponent


def _fit(found: Any, covariance: Any, scatter: float, freedom: int | None, at: list[float]) -> GelFit:
    a, b, c = (float(one) for one in found)
    rows = tuple(tuple(float(one) for one in row) for row in covariance)
    return GelFit(a, b, c, rows, scatter, freedom, min(at), max(at))


def _row(dose_phr: float, temperature_c: float) -> tuple[float, float, float]:
    dose = require_positive("dose_phr", dose_phr, "phr")
    return 1.0, 1 / (temperature_c + ZERO_CELSIUS_K) - 1 / REFERENCE_K, -math.log(dose)


def _rows(cups: Sequence[Cup]) -> tuple[Any, Any]:
    import numpy as np

    return (
        np.array([_row(cup.dose_phr, cup.temperature_c) for cup in cups]),
        np.log([cup.minutes for cup in cups]),
    )


def _place(knots: Sequence[float], at: float) -> tuple[int, float]:
    """Give the index of the knot before `at` and how far on to the next it lies (below 0 or above 1 outside)."""
    before = max((i for i, knot in enumerate(knots[:-1]) if knot <= at), default=0)
    return before, (at - knots[before]) / (knots[before + 1] - knots[before])
