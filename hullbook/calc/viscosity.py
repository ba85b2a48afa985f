"""How thin the resin is at its temperature, and how it thickens.

ln viscosity is straight in 1/T near room temperature (Andrade 1930; Arrhenius' form). It holds for a resin that flows
the same at any rate, before it begins to thicken. The temperature of mould and laminate counts, not that of the pail.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, log, sqrt
from statistics import fmean

from hullbook.calc.errors import InputRefused, require_between, require_in_unit, require_positive

ZERO_CELSIUS_K = 273.15
GAS_CONSTANT_J_MOL_K = 8.314462618
LOWEST_VISCOSITY_PA_S, HIGHEST_VISCOSITY_PA_S = 0.01, 20.0
EXTRAPOLATION_K = 5.0
"""How far past the outer temperatures of its points a viscosity is still given (common practice, no source)."""


@dataclass(frozen=True)
class ViscosityPoint:
    """One reading of the maker's sheet or of a cup."""

    temperature_c: float
    viscosity_pa_s: float

    def __post_init__(self) -> None:
        """Refuse `impossible` temperatures, and viscosities as `require_viscosity`."""
        require_between("temperature_c", self.temperature_c, -20, 100, "degC")
        require_viscosity("viscosity_pa_s", self.viscosity_pa_s)


@dataclass(frozen=True)
class ViscosityCurve:
    """ln viscosity = ln middle + slope (1/T - 1/middle T), between lowest and highest temperature.

    `points` went into it; `sd_ln` is their scatter about it in ln viscosity, None where two points leave none to see.
    """

    middle_pa_s: float
    middle_k: float
    slope_k: float
    lowest_c: float
    highest_c: float
    points: int
    spread_1_k2: float
    sd_ln: float | None

    @property
    def activation_energy_kj_mol(self) -> float:
        """Slope times the gas constant."""
        return self.slope_k * GAS_CONSTANT_J_MOL_K / 1000


@dataclass(frozen=True)
class ViscosityBand:
    """Between which viscosities one reading lies, 95 %."""

    low_pa_s: float
    high_pa_s: float


def require_viscosity(field: str, viscosity_pa_s: float) -> float:
    """Give back a viscosity of 0.01 to 20 Pa.s, else refuse it; one given in mPa.s, or taken for mPa.s, is asked about.

    Raises `not_positive`, `unit_suspect`, `impossible`. The bounds are common practice, no source.
    """
    others = {"mPa.s": 0.001, "Pa.s taken for mPa.s": 1000}
    return require_in_unit(field, viscosity_pa_s, LOWEST_VISCOSITY_PA_S, HIGHEST_VISCOSITY_PA_S, "Pa.s", others)


def viscosity_curve(points: Sequence[ViscosityPoint]) -> ViscosityCurve:
    """Lay the curve through two points, or by least squares of ln viscosity on 1/T through three or more.

    Raises `insufficient_data` below two temperatures, `inconsistent` where the resin is no thinner at one temperature
    than at the next below it.
    """
    by_temperature: dict[float, list[float]] = {}
    for point in sorted(points, key=lambda one: one.temperature_c):
        by_temperature.setdefault(point.temperature_c, []).append(log(point.viscosity_pa_s))
    temperatures = tuple(by_temperature)
    if len(temperatures) < 2:
        raise InputRefused("insufficient_data", "viscosity_points", len(temperatures), "give two temperatures or more")
    for (cooler_c, cooler), (warmer_c, warmer) in pairwise(by_temperature.items()):
        if fmean(warmer) >= fmean(cooler):
            given = f"no thinner at {warmer_c:g} than at {cooler_c:g} degC"
            raise InputRefused("inconsistent", "viscosity_points", given, "warmer resin is thinner")
    n = len(points)
    inverse = [1 / (point.temperature_c + ZERO_CELSIUS_K) for point in points]
    logs = [log(point.viscosity_pa_s) for point in points]
    middle, middle_log = sum(inverse) / n, sum(logs) / n
    spread = sum((one - middle) ** 2 for one in inverse)
    slope = sum((one - middle) * value for one, value in zip(inverse, logs, strict=True)) / spread
    left = sum((value - middle_log - slope * (one - middle)) ** 2 for one, value in zip(inverse, logs, strict=True))
    return ViscosityCurve(
        middle_pa_s=exp(middle_log),
        middle_k=1 / middle,
        slope_k=slope,
        lowest_c=temperatures[0],
        highest_c=temperatures[-1],
        points=n,
        spread_1_k2=spread,
        sd_ln=sqrt(left / (n - 2)) if n > 2 else None,
    )


def viscosity_pa_s_at(curve: ViscosityCurve, temperature_c: float) -> float:
    """Viscosity at this temperature in degC. Raises `extrapolated` more than 5 K outside the points."""
    return curve.middle_pa_s * exp(curve.slope_k * _from_middle(curve, temperature_c))


def viscosity_band_at(curve: ViscosityCurve, temperature_c: float) -> ViscosityBand:
    """Band in which one reading at this temperature lies, 95 %.

    Raises `insufficient_data` for a curve through two points, `extrapolated` as `viscosity_pa_s_at`.
    Source: NIST/SEMATECH e-Handbook 4.5.1.2, prediction interval of a straight line.
    """
    from scipy.stats import t

    if curve.sd_ln is None:
        raise InputRefused("insufficient_data", "viscosity_points", curve.points, "give three or more for a band")
    off = _from_middle(curve, temperature_c) ** 2 / curve.spread_1_k2
    half = float(t.ppf(0.975, curve.points - 2)) * curve.sd_ln * sqrt(1 + 1 / curve.points + off)
    likely = viscosity_pa_s_at(curve, temperature_c)
    return ViscosityBand(likely * exp(-half), likely * exp(half))


def change_percent_k(curve: ViscosityCurve, temperature_c: float) -> float:
    """How much thinner the resin gets with the next kelvin, in percent of its viscosity. Raises `extrapolated`."""
    _from_middle(curve, temperature_c)
    return 100 * curve.slope_k / (temperature_c + ZERO_CELSIUS_K) ** 2


def thickening_per_min(doubling_min: float) -> float:
    """Rate k of thickening as exp(k t) from the minutes in which the viscosity doubles. Raises `not_positive`."""
    return log(2) / require_positive("doubling_min", doubling_min, "min")


def _from_middle(curve: ViscosityCurve, temperature_c: float) -> float:
    low, high = curve.lowest_c - EXTRAPOLATION_K, curve.highest_c + EXTRAPOLATION_K
    if not low <= temperature_c <= high:
        accepted = (
            f"the resin's points reach from {curve.lowest_c:g} to {curve.highest_c:g} degC; give {low:g} to {high:g}"
        )
        raise InputRefused("extrapolated", "temperature_c", temperature_c, accepted)
    return 1 / (temperature_c + ZERO_CELSIUS_K) - 1 / curve.middle_k
