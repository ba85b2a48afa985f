"""Vacuum under the bag: absolute pressure, station pressure, and the hold test before resin is let in.

Pressures are in mbar absolute (1 mbar = 100 Pa) unless the name says otherwise. While the bag stands below half of
the air pressure a hole passes a constant flow, so a leak is a straight line of pressure against time; moisture and
trapped gas die away.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import median
from typing import Literal

from hullbook.calc.errors import (
    InputRefused,
    require_between,
    require_in_unit,
    require_not_negative,
    require_positive,
)
from hullbook.calc.series import require_series
from hullbook.calc.statistics import expanded_uncertainty, resolution_uncertainty
from hullbook.calc.verdict import Verdict, judge, no_verdict

ATMOSPHERE_MBAR = 1013.25
ATMOSPHERE_PA = 101_325.0
LOWEST_STATION_MBAR = 500.0
HIGHEST_STATION_MBAR = 1085.0
GAUGE_SUSPECTED_ABOVE_MBAR = 300.0
"""A bag said to stand above this is a gauge reading mixed up; no limit of use (common practice, no source)."""
ZERO_CELSIUS_K = 273.15
LAPSE_K_M = 0.0065
SEA_LEVEL_K = 288.15
AIR_KG_MOL = 0.0289644
AIR_HEAT_RATIO = 1.4
GAS_CONSTANT_J_MOL_K = 8.314462618
ISA_EXPONENT = 9.80665 * AIR_KG_MOL / (8.31432 * LAPSE_K_M)

LEAST_READINGS = 6
"""Fewer readings say too little about the shape (common practice, no source)."""

AICC_GAIN = 10.0
"""A difference in AICc above 10 leaves the poorer curve essentially no support (Burnham and Anderson 2004)."""


@dataclass(frozen=True)
class Rise:
    """A straight line through the readings, by least squares and by the median of all pair slopes.

    `straight` is False when the two slopes differ by more than three standard errors: a reading is wrong or the
    curve is bent. Rates in mbar/min, pressures in mbar; the Theil-Sen interval is 95 %.
    """

    rate_mbar_min: float
    rate_standard_uncertainty: float
    intercept_mbar: float
    residual_sd_mbar: float
    theil_sen_mbar_min: float
    theil_sen_low: float
    theil_sen_high: float
    theil_sen_intercept_mbar: float
    straight: bool


@dataclass(frozen=True)
class TwoPhase:
    """Pressure = start + rate t + amplitude (1 - exp(-t / time constant)): a leak under something that dies away.

    `aicc_gain` is how much better it is than a straight line, in AICc. Mbar, minutes and mbar/min.
    """

    start_mbar: float
    rate_mbar_min: float
    rate_standard_uncertainty: float
    amplitude_mbar: float
    amplitude_standard_uncertainty: float
    time_constant_min: float
    time_constant_standard_uncertainty: float
    residual_sd_mbar: float
    aicc_gain: float


@dataclass(frozen=True)
class HoldJudgement:
    """A hold test held against the yard's greatest rise over a stated time.

    `rise_over_period_mbar` is the fitted rise over that time, `rate_mbar_min` the rate it comes from; both are None
    where there is no verdict because there are too few readings to fit. `judged_on` says which part of the curve.
    """

    verdict: Verdict
    rise_over_period_mbar: float | None
    expanded_uncertainty_mbar: float | None
    rate_mbar_min: float | None
    rate_standard_uncertainty: float | None
    judged_on: Literal["whole test", "straight part", "nothing"]
    shape: str
    rise: Rise | None
    two_phase: TwoPhase | None


def absolute_from_gauge(gauge_mbar_below: float, station_mbar: float) -> float:
    """Give mbar absolute from a gauge that shows mbar below air pressure, without a sign.

    Raises `negative` below zero, `impossible` for more than the air pressure there or a station outside 500 to 1085.
    """
    require_between("station_mbar", station_mbar, LOWEST_STATION_MBAR, HIGHEST_STATION_MBAR, "mbar")
    require_not_negative("gauge_mbar_below", gauge_mbar_below, "mbar below air pressure")
    require_between("gauge_mbar_below", gauge_mbar_below, 0, station_mbar, "mbar below air pressure")
    return station_mbar - gauge_mbar_below


def gauge_from_absolute(pressure_mbar_abs: float, station_mbar: float) -> float:
    """Give mbar below air pressure from mbar absolute. Raises `impossible` as absolute_from_gauge."""
    require_between("station_mbar", station_mbar, LOWEST_STATION_MBAR, HIGHEST_STATION_MBAR, "mbar")
    require_between("pressure_mbar_abs", pressure_mbar_abs, 0, station_mbar, "mbar absolute")
    return station_mbar - pressure_mbar_abs


def require_absolute(bag_mbar_abs: float, accepted: str) -> float:
    """Give back a bag pressure that may be absolute; above 300 mbar it is usually a gauge reading: `unit_suspect`.

    `accepted` says what to give instead.
    """
    if bag_mbar_abs > GAUGE_SUSPECTED_ABOVE_MBAR:
        raise InputRefused("unit_suspect", "bag_mbar_abs", bag_mbar_abs, accepted)
    return bag_mbar_abs


def require_pull(field: str, pull_pa: float) -> float:
    """Give back what pulls resin into a bag, in Pa, else refuse it; one given in mbar or kPa is asked about.

    No more than the highest station pressure. A figure no higher than that pressure has in mbar is one in mbar: as Pa
    it would hold up ten centimetres of resin. Raises `not_positive`, `unit_suspect`, `impossible`.
    """
    others = {"mbar": 100, "kPa": 1000}
    return require_in_unit(field, pull_pa, HIGHEST_STATION_MBAR, 100 * HIGHEST_STATION_MBAR, "Pa", others)


def standard_atmosphere_mbar(altitude_m: float) -> float:
    """Give the air pressure of the standard atmosphere, -500 to 11 000 m, else `impossible`.

    Source: US Standard Atmosphere 1976 (ISO 2533), troposphere.
    """
    require_between("altitude_m", altitude_m, -500, 11_000, "m")
    return float(ATMOSPHERE_MBAR * (1 - LAPSE_K_M * altitude_m / SEA_LEVEL_K) ** ISA_EXPONENT)


def station_from_sea_level(qnh_mbar: float, altitude_m: float) -> float:
    """Give the air pressure at the shop from a weather report's sea-level pressure (QNH) and the shop's altitude.

    QNH 850 to 1085 mbar, altitude -500 to 5000 m, and a result of 500 to 1085 mbar, else `impossible`. Source: QNH
    is by definition reduced to sea level along the standard atmosphere (ISO 2533).
    """
    require_between("qnh_mbar", qnh_mbar, 850, HIGHEST_STATION_MBAR, "mbar")
    require_between("altitude_m", altitude_m, -500, 5000, "m")
    fall = ATMOSPHERE_MBAR ** (1 / ISA_EXPONENT) * LAPSE_K_M * altitude_m / SEA_LEVEL_K
    station = float((qnh_mbar ** (1 / ISA_EXPONENT) - fall) ** ISA_EXPONENT)
    return require_between("station_mbar", station, LOWEST_STATION_MBAR, HIGHEST_STATION_MBAR, "mbar")


def corrected_to_temperature(
    pressures_mbar_abs: Sequence[float], temperatures_c: Sequence[float], reference_c: float
) -> tuple[float, ...]:
    """Give the pressures the same gas would have at `reference_c`: p T_ref / T, to be used before the fit.

    One temperature for each reading, -40 to 150 C, else `inconsistent` or `impossible`. Source: ideal gas law.
    """
    if len(pressures_mbar_abs) != len(temperatures_c):
        given = f"{len(temperatures_c)} temperatures for {len(pressures_mbar_abs)} readings"
        raise InputRefused("inconsistent", "temperatures_c", given, "give one temperature for each reading")
    reference_k = require_between("reference_c", reference_c, -40, 150, "C") + ZERO_CELSIUS_K
    return tuple(
        pressure * reference_k / (require_between("temperatures_c", celsius, -40, 150, "C") + ZERO_CELSIUS_K)
        for pressure, celsius in zip(pressures_mbar_abs, temperatures_c, strict=True)
    )


def bag_volume_m3(
    *,
    area_m2: float,
    stack_mm: float,
    stack_solid_fraction: float,
    mesh_mm: float = 0.0,
    mesh_open_fraction: float = 0.0,
    hose_length_m: float = 0.0,
    hose_bore_mm: float = 0.0,
    pot_litres: float = 0.0,
    grooves_litres: float = 0.0,
) -> float:
    """Give the air space under a bag with its hoses and resin trap, in m3; good to 20 to 30 % (common practice).

    Raises `not_positive` for the area, `negative`, or `impossible` for a share outside 0 to 1. Source: geometry.
    """
    require_positive("area_m2", area_m2, "m2")
    for field, value in (
        ("stack_mm", stack_mm),
        ("mesh_mm", mesh_mm),
        ("hose_length_m", hose_length_m),
        ("hose_bore_mm", hose_bore_mm),
        ("pot_litres", pot_litres),
        ("grooves_litres", grooves_litres),
    ):
        require_not_negative(field, value)
    require_between("stack_solid_fraction", stack_solid_fraction, 0, 1)
    require_between("mesh_open_fraction", mesh_open_fraction, 0, 1)
    under_bag = area_m2 * (stack_mm * (1 - stack_solid_fraction) + mesh_mm * mesh_open_fraction) / 1000
    hose = math.pi / 4 * (hose_bore_mm / 1000) ** 2 * hose_length_m
    return under_bag + hose + (pot_litres + grooves_litres) / 1000


def leak_throughput_pa_m3_s(rate_mbar_min: float, volume_m3: float) -> float:
    """Give the leak in Pa m3/s (10 mbar L/s) from the rate of rise and the air space: V dp/dt.

    Raises `not_positive` for the volume. Source: EN 13184 (pressure change
    method; from memory).
    """
    return rate_mbar_min * 100 / 60 * require_positive("volume_m3", volume_m3, "m3")


def room_air_l_h(throughput_pa_m3_s: float) -> float:
    """Give a leak as litres of room air (at 1013.25 mbar) an hour. Source: ideal gas law."""
    return throughput_pa_m3_s / ATMOSPHERE_PA * 1000 * 3600


def pump_down_seconds(
    *, volume_m3: float, pump_m3_h: float, from_mbar_abs: float, to_mbar_abs: float, ultimate_mbar_abs: float
) -> float:
    """Give the seconds a pump takes from one pressure to another: V/S ln((p0 - pu)/(p - pu)).

    `ultimate_mbar_abs` is where pump and leaks balance. A real bag is slower: air creeps through peel ply, water boils
    off. Raises `not_positive`, `negative`, `impossible` for a pressure at or below the ultimate or a rise. Source: gas
    balance with constant pumping speed.
    """
    require_not_negative("ultimate_mbar_abs", ultimate_mbar_abs, "mbar")
    if not ultimate_mbar_abs < to_mbar_abs <= from_mbar_abs:
        accepted = f"give more than the {ultimate_mbar_abs:g} mbar the pump reaches and at most {from_mbar_abs:g} mbar"
        raise InputRefused("impossible", "to_mbar_abs", to_mbar_abs, accepted)
    time_constant = 3600 * require_positive("volume_m3", volume_m3, "m3") / require_positive("pump_m3_h", pump_m3_h)
    return time_constant * math.log((from_mbar_abs - ultimate_mbar_abs) / (to_mbar_abs - ultimate_mbar_abs))


def equivalent_hole_mm(throughput_pa_m3_s: float, station_mbar: float, temperature_c: float) -> float:
    """Give the diameter in mm of the round hole that would leak so much with the bag below half of the air pressure.

    Choked flow of dry air through an ideal orifice (discharge 1); a real leak is longer and thinner. Raises
    `not_positive`, `impossible` for a station outside 500 to 1085 mbar or a temperature outside -40 to 80 C. Source:
    isentropic nozzle, textbook.
    """
    require_positive("throughput_pa_m3_s", throughput_pa_m3_s, "Pa m3/s")
    require_between("station_mbar", station_mbar, LOWEST_STATION_MBAR, HIGHEST_STATION_MBAR, "mbar")
    kelvin = require_between("temperature_c", temperature_c, -40, 80, "C") + ZERO_CELSIUS_K
    sound_m_s = math.sqrt(AIR_HEAT_RATIO * GAS_CONSTANT_J_MOL_K * kelvin / AIR_KG_MOL)
    choked = (2 / (AIR_HEAT_RATIO + 1)) ** ((AIR_HEAT_RATIO + 1) / (2 * (AIR_HEAT_RATIO - 1)))
    area_m2 = throughput_pa_m3_s / (100 * station_mbar * sound_m_s * choked)
    return 1000 * math.sqrt(4 * area_m2 / math.pi)


def rate_uncertainty_from_resolution(minutes: Sequence[float], resolution_mbar: float) -> float:
    """Give the standard uncertainty of a least-squares rate, mbar/min, from rounding at each reading alone.

    (d / sqrt(12)) / sqrt(sum of squared time deviations); the roundings count as independent, which holds when the
    pressure passes several divisions of the gauge. Raises `insufficient_data` below two times, `not_positive` for
    the resolution. Source: JCGM 100:2008, F.2.2.1 and H.3.
    """
    require_series("minutes", minutes, minutes, 2)
    resolution = require_positive("resolution_mbar", resolution_mbar, "mbar")
    return resolution_uncertainty(resolution) / _time_spread(minutes)


def two_reading_rate_uncertainty(span_minutes: float, resolution_mbar: float) -> float:
    """Give the standard uncertainty of a rate from two readings alone, mbar/min: d / sqrt(6) / t.

    Raises `not_positive`. Source: JCGM 100:2008, 5.1.2 and F.2.2.1.
    """
    resolution = require_positive("resolution_mbar", resolution_mbar, "mbar")
    return math.sqrt(2) * resolution_uncertainty(resolution) / require_positive("span_minutes", span_minutes, "min")


def shortest_test_minutes(resolution_mbar: float, limit_mbar_min: float) -> float:
    """Give the minutes two readings must lie apart for U (k = 2) to be a third of the limit: sqrt(6) d / L.

    Raises `not_positive`. Source: JCGM 100:2008, F.2.2.1; the third is common practice, no source.
    """
    resolution = require_positive("resolution_mbar", resolution_mbar, "mbar")
    return math.sqrt(6) * resolution / require_positive("limit_mbar_min", limit_mbar_min, "mbar/min")


def fit_rise(minutes: Sequence[float], pressures_mbar_abs: Sequence[float]) -> Rise:
    """Fit a straight line to pressure (mbar absolute) against time (min): least squares beside Theil-Sen.

    Raises `insufficient_data` below three readings, `inconsistent` for times that do not increase, `negative` below
    zero, `unit_suspect` above 1085 mbar absolute. Source: NIST/SEMATECH e-Handbook 4.1.4.1; Sen, J. Am. Stat. Assoc.
    63 (1968) 1379.
    """
    from scipy.stats import linregress, theilslopes

    _require_pressures(minutes, pressures_mbar_abs, 3)
    line = linregress(minutes, pressures_mbar_abs)
    rate, intercept = float(line.slope), float(line.intercept)
    robust = theilslopes(pressures_mbar_abs, minutes, 0.95)
    residual_squares = math.fsum(
        (pressure - intercept - rate * minute) ** 2
        for minute, pressure in zip(minutes, pressures_mbar_abs, strict=True)
    )
    residual_sd = math.sqrt(residual_squares / (len(minutes) - 2))
    rate_uncertainty = residual_sd / _time_spread(minutes)
    return Rise(
        rate_mbar_min=rate,
        rate_standard_uncertainty=rate_uncertainty,
        intercept_mbar=intercept,
        residual_sd_mbar=residual_sd,
        theil_sen_mbar_min=float(robust[0]),
        theil_sen_low=float(robust[2]),
        theil_sen_high=float(robust[3]),
        theil_sen_intercept_mbar=float(robust[1]),
        straight=abs(float(robust[0]) - rate) <= 3 * rate_uncertainty + 1e-9,
    )


def fit_two_phase(minutes: Sequence[float], pressures_mbar_abs: Sequence[float]) -> TwoPhase | None:
    """Fit a steady rise under something that dies away; None where no such curve can be told from a straight line.

    Wants at least eight readings, else None. Errors as fit_rise. Source: least squares (Levenberg-Marquardt within
    bounds); AICc after Hurvich and Tsai, Biometrika 76 (1989) 297.
    """
    import numpy as np
    from scipy.optimize import OptimizeWarning, curve_fit

    straight = fit_rise(minutes, pressures_mbar_abs)
    n = len(minutes)
    if n < 8:
        return None
    since_start = np.asarray(minutes, dtype=float) - minutes[0]
    pressures = np.asarray(pressures_mbar_abs, dtype=float)
    span = float(since_start[-1])
    shortest = float(np.diff(since_start).min())

    def curve(t: np.ndarray, start: float, rate: float, amplitude: float, time_constant: float) -> np.ndarray:
        return start + rate * t - amplitude * np.expm1(-t / time_constant)

    late = fit_rise(minutes[-max(3, n // 3) :], pressures_mbar_abs[-max(3, n // 3) :])
    bend = max(0.0, late.intercept_mbar + late.rate_mbar_min * minutes[0] - pressures_mbar_abs[0])
    guess = (float(pressures[0]), late.rate_mbar_min, bend + 0.01, span / 6)
    bounds = ((-math.inf, -math.inf, 0.0, shortest / 10), (math.inf, math.inf, math.inf, 10 * span))
    with warnings.catch_warnings():
        warnings.simplefilter("error", OptimizeWarning)
        try:
            found, covariance = curve_fit(curve, since_start, pressures, p0=guess, bounds=bounds, max_nfev=5000)
        except (RuntimeError, OptimizeWarning):
            return None
    start, rate, amplitude, time_constant = (float(value) for value in found)
    _, rate_u, amplitude_u, time_constant_u = (math.sqrt(max(0.0, float(value))) for value in np.diag(covariance))
    residual_squares = float(np.sum((pressures - curve(since_start, *found)) ** 2))
    straight_squares = straight.residual_sd_mbar**2 * (n - 2)
    return TwoPhase(
        start_mbar=start,
        rate_mbar_min=rate,
        rate_standard_uncertainty=rate_u,
        amplitude_mbar=amplitude,
        amplitude_standard_uncertainty=amplitude_u,
        time_constant_min=time_constant,
        time_constant_standard_uncertainty=time_constant_u,
        residual_sd_mbar=math.sqrt(residual_squares / (n - 4)),
        aicc_gain=_aicc(straight_squares, n, 3) - _aicc(residual_squares, n, 5),
    )


def judge_hold(
    minutes: Sequence[float],
    pressures_mbar_abs: Sequence[float],
    *,
    greatest_rise_mbar: float,
    over_minutes: float,
    resolution_mbar: float,
    source: str,
    relative_span_uncertainty: float = 0.0,
) -> HoldJudgement:
    """Judge a hold test: the fitted rise over `over_minutes` against `greatest_rise_mbar`, both the yard's own.

    The uncertainty (k = 2) takes the scatter about the fit, the gauge's resolution and, where the certificate gives
    one, the relative standard uncertainty of its span. Where the whole test rises by less than two divisions of the
    gauge, only its first and last reading count towards the resolution, for the roundings then go together. Where the
    curve is bent (AICc better by more than 10) and lasts three time constants, its straight part is judged. No verdict
    below six readings or for a test shorter than `over_minutes`. Raises `inconsistent` for a pressure that falls by
    more than three divisions or times that do not increase, `negative`, `unit_suspect` above 1085 mbar absolute,
    `not_positive` for limit, time or resolution. Source: ILAC-G8:09/2019, 4.2.3; JCGM 100:2008, 5.1.2.
    """
    require_positive("greatest_rise_mbar", greatest_rise_mbar, "mbar")
    require_positive("over_minutes", over_minutes, "min")
    require_positive("resolution_mbar", resolution_mbar, "mbar")
    require_not_negative("relative_span_uncertainty", relative_span_uncertainty)
    _require_pressures(minutes, pressures_mbar_abs, 1)
    if pressures_mbar_abs[-1] < pressures_mbar_abs[0] - 3 * resolution_mbar:
        given = f"{pressures_mbar_abs[0]:g} falling to {pressures_mbar_abs[-1]:g} mbar"
        accepted = "give a test with the bag isolated from the pump; was the pump not isolated?"
        raise InputRefused("inconsistent", "pressures_mbar_abs", given, accepted)
    n, span = len(minutes), minutes[-1] - minutes[0]
    rise = fit_rise(minutes, pressures_mbar_abs) if n >= 3 else None
    if rise is None or n < LEAST_READINGS:
        because = f"{n} of at least {LEAST_READINGS} readings"
        return _without_verdict(because, rise, None, "too few readings to tell", source)
    two_phase = fit_two_phase(minutes, pressures_mbar_abs)
    bent = two_phase is not None and two_phase.aicc_gain > AICC_GAIN
    shape = _shape(minutes, pressures_mbar_abs, rise, two_phase if bent else None, resolution_mbar)
    if span < over_minutes - 1e-9:
        because = f"held for {span:g} min, the limit is stated over {over_minutes:g} min"
        return _without_verdict(because, rise, two_phase, shape, source)

    rate, fit_uncertainty = rise.rate_mbar_min, rise.rate_standard_uncertainty
    judged_on: Literal["whole test", "straight part"] = "whole test"
    because = ""
    if bent and two_phase is not None:
        if span >= 3 * two_phase.time_constant_min:
            rate, fit_uncertainty = two_phase.rate_mbar_min, two_phase.rate_standard_uncertainty
            judged_on = "straight part"
            because = "judged on the straight part that is left when the early rise has died away"
        else:
            because = "the early rise had not died away when the test ended; the whole of it is judged"
    divisions_matter = abs(rise.rate_mbar_min) * span < 2 * resolution_mbar
    resolution_part = (
        two_reading_rate_uncertainty(span, resolution_mbar)
        if divisions_matter
        else rate_uncertainty_from_resolution(minutes, resolution_mbar)
    )
    parts = (fit_uncertainty, resolution_part, relative_span_uncertainty * rate)
    expanded = expanded_uncertainty(*(part * over_minutes for part in parts))
    verdict = judge(
        "hold test",
        rate * over_minutes,
        high=greatest_rise_mbar,
        expanded_uncertainty=expanded,
        unit="mbar",
        source=source,
    )
    return HoldJudgement(
        verdict=replace(verdict, because=because),
        rise_over_period_mbar=rate * over_minutes,
        expanded_uncertainty_mbar=expanded,
        rate_mbar_min=rate,
        rate_standard_uncertainty=math.hypot(*parts),
        judged_on=judged_on,
        shape=shape,
        rise=rise,
        two_phase=two_phase,
    )


def _without_verdict(
    because: str, rise: Rise | None, two_phase: TwoPhase | None, shape: str, source: str
) -> HoldJudgement:
    return HoldJudgement(
        verdict=no_verdict("hold test", because, unit="mbar", source=source),
        rise_over_period_mbar=None,
        expanded_uncertainty_mbar=None,
        rate_mbar_min=None if rise is None else rise.rate_mbar_min,
        rate_standard_uncertainty=None if rise is None else rise.rate_standard_uncertainty,
        judged_on="nothing",
        shape=shape,
        rise=rise,
        two_phase=two_phase,
    )


def _shape(
    minutes: Sequence[float],
    pressures: Sequence[float],
    rise: Rise,
    bent: TwoPhase | None,
    resolution_mbar: float,
) -> str:
    if bent is not None:
        return (
            f"bent: an early rise of {bent.amplitude_mbar:.1f} mbar that dies away in about "
            f"{3 * bent.time_constant_min:.0f} min (moisture, trapped air), then a steady one"
        )
    off_line = [
        abs(pressure - rise.theil_sen_intercept_mbar - rise.theil_sen_mbar_min * minute)
        for minute, pressure in zip(minutes, pressures, strict=True)
    ]
    furthest = max(range(len(off_line)), key=off_line.__getitem__)
    if off_line[furthest] > max(4 * 1.4826 * median(off_line), 3 * resolution_mbar):
        return f"one reading stands apart: {pressures[furthest]:g} mbar at {minutes[furthest]:g} min"
    growth, least_growth = _growth(minutes, pressures, resolution_mbar)
    if growth > least_growth:
        return "steepening: it rises faster towards the end; look for something that opens or warms"
    if growth < -least_growth:
        return "bent: it rises more slowly towards the end; hold longer to see what is left"
    if not rise.straight:
        return "uneven: a reading is wrong or the rise is bent"
    if abs(rise.rate_mbar_min) * (minutes[-1] - minutes[0]) < 2 * resolution_mbar:
        return "hardly any rise that this gauge can show"
    return "straight: a steady rise, as a leak gives"


def _growth(minutes: Sequence[float], pressures: Sequence[float], resolution_mbar: float) -> tuple[float, float]:
    """Give the rate of the second half less that of the first, and the least difference that means anything."""
    half = len(minutes) // 2
    early = fit_rise(minutes[: half + 1], pressures[: half + 1])
    late = fit_rise(minutes[half:], pressures[half:])
    shorter = min(minutes[half] - minutes[0], minutes[-1] - minutes[half])
    scatter = math.hypot(early.rate_standard_uncertainty, late.rate_standard_uncertainty)
    return late.rate_mbar_min - early.rate_mbar_min, 3 * scatter + 2 * resolution_mbar / shorter


def _require_pressures(minutes: Sequence[float], pressures_mbar_abs: Sequence[float], least: int) -> None:
    require_series("pressures_mbar_abs", minutes, pressures_mbar_abs, least)
    for pressure in pressures_mbar_abs:
        require_not_negative("pressures_mbar_abs", pressure, "mbar absolute")
        if pressure > HIGHEST_STATION_MBAR:
            accepted = f"give mbar absolute, at most {HIGHEST_STATION_MBAR:g}: {pressure / 100:g} if it was in Pa"
            raise InputRefused("unit_suspect", "pressures_mbar_abs", pressure, accepted)


def _time_spread(minutes: Sequence[float]) -> float:
    middle = math.fsum(minutes) / len(minutes)
    return math.sqrt(math.fsum((minute - middle) ** 2 for minute in minutes))


def _aicc(residual_squares: float, n: int, parameters: int) -> float:
    """Give AICc; scatter below a nano-mbar counts as that, so that a perfect line cannot beat itself."""
    mean_square = max(residual_squares / n, 1e-18)
    return n * math.log(mean_square) + 2 * parameters + 2 * parameters * (parameters + 1) / (n - parameters - 1)
