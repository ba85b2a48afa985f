"""The air of the shop and the surface in it: dew point, dew margin, humidity where it counts.

Magnus formula over water with the constants 6.112 hPa, 17.62 and 243.12 C (WMO-No. 8, Guide to Instruments and
Methods of Observation, Annex 4.B), within 0.04 K of the ASHRAE formulas for dew points from 0 to 45 C. Below 0 C it
is the dew point over water that does not freeze, not the frost point.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hullbook.calc.errors import InputRefused, require_between
from hullbook.calc.statistics import accuracy_uncertainty, expanded_uncertainty
from hullbook.calc.verdict import Verdict, judge, no_verdict

MAGNUS_HPA = 6.112
MAGNUS_A = 17.62
MAGNUS_B_C = 243.12


@dataclass(frozen=True)
class ClimateAccuracy:
    """How right the instruments are: each within +- this much (taken as rectangular)."""

    air_k: float
    humidity_percent: float
    surface_k: float


@dataclass(frozen=True)
class ClimateLimits:
    """The yard's own limits for a piece of work; None where it has none. `source` is the paper they stand in."""

    source: str
    air_low_c: float | None = None
    air_high_c: float | None = None
    humidity_low_percent: float | None = None
    humidity_high_percent: float | None = None
    least_dew_margin_k: float | None = None


@dataclass(frozen=True)
class DewMargin:
    """How far a surface stands above the dew point, in kelvin, with its expanded uncertainty (k = 2)."""

    dew_point_c: float
    margin_k: float
    expanded_uncertainty_k: float
    surface_humidity_percent: float


def saturation_pressure_hpa(temperature_c: float) -> float:
    """Give the water vapour pressure over water at saturation, in hPa (= mbar).

    -45 to 60 C, else `impossible`. Source: WMO-No. 8, Annex 4.B.
    """
    require_between("temperature_c", temperature_c, -45, 60, "C")
    return MAGNUS_HPA * math.exp(MAGNUS_A * temperature_c / (MAGNUS_B_C + temperature_c))


def dew_point_c(air_c: float, humidity_percent: float) -> float:
    """Give the dew point of air in C.

    Air -45 to 60 C and humidity above 1 to 100 % RH. Raises `impossible` outside, `unit_suspect` for a humidity up
    to 1 (a share typed for a percentage). Source: WMO-No. 8, Annex 4.B.
    """
    gamma = _gamma(air_c, humidity_percent)
    return MAGNUS_B_C * gamma / (MAGNUS_A - gamma)


def humidity_at_percent(air_c: float, humidity_percent: float, surface_c: float) -> float:
    """Give the relative humidity of the same air brought to `surface_c`, in %; above 100 means water settles.

    Serves for air at a colder mould and for outside air warmed in the shop. Ranges and errors as dew_point_c and
    saturation_pressure_hpa. Source: WMO-No. 8, Annex 4.B.
    """
    require_humidity(humidity_percent)
    return humidity_percent * saturation_pressure_hpa(air_c) / saturation_pressure_hpa(surface_c)


def dew_margin(air_c: float, humidity_percent: float, surface_c: float, accuracy: ClimateAccuracy) -> DewMargin:
    """Give surface temperature minus dew point in K with its expanded uncertainty.

    First-order propagation of the three independent instrument errors. Ranges and errors as dew_point_c and
    saturation_pressure_hpa; `negative` for an accuracy below zero. Source: JCGM 100:2008, 5.1.2.
    """
    gamma = _gamma(air_c, humidity_percent)
    dew_point = MAGNUS_B_C * gamma / (MAGNUS_A - gamma)
    per_gamma = MAGNUS_A * MAGNUS_B_C / (MAGNUS_A - gamma) ** 2
    per_percent = per_gamma / humidity_percent
    per_kelvin = per_gamma * MAGNUS_A * MAGNUS_B_C / (MAGNUS_B_C + air_c) ** 2
    uncertainty = expanded_uncertainty(
        per_kelvin * accuracy_uncertainty(accuracy.air_k),
        per_percent * accuracy_uncertainty(accuracy.humidity_percent),
        accuracy_uncertainty(accuracy.surface_k),
    )
    at_surface = humidity_at_percent(air_c, humidity_percent, surface_c)
    return DewMargin(dew_point, surface_c - dew_point, uncertainty, at_surface)


def judge_climate(
    air_c: float,
    humidity_percent: float,
    surface_c: float | None,
    limits: ClimateLimits,
    accuracy: ClimateAccuracy,
) -> list[Verdict]:
    """Judge one reading of the shop against the yard's limits: air temperature, air humidity, dew margin.

    Gives one verdict for each of the three that has a limit; "no verdict" for a dew margin whose surface was not
    measured. Ranges and errors as dew_point_c.
    """
    require_between("air_c", air_c, -45, 60, "C")
    require_humidity(humidity_percent)
    verdicts = []
    if limits.air_low_c is not None or limits.air_high_c is not None:
        verdicts.append(
            judge(
                "air temperature",
                air_c,
                low=limits.air_low_c,
                high=limits.air_high_c,
                expanded_uncertainty=expanded_uncertainty(accuracy_uncertainty(accuracy.air_k)),
                unit="C",
                source=limits.source,
            )
        )
    if limits.humidity_low_percent is not None or limits.humidity_high_percent is not None:
        verdicts.append(
            judge(
                "air humidity",
                humidity_percent,
                low=limits.humidity_low_percent,
                high=limits.humidity_high_percent,
                expanded_uncertainty=expanded_uncertainty(accuracy_uncertainty(accuracy.humidity_percent)),
                unit="% RH",
                source=limits.source,
            )
        )
    if limits.least_dew_margin_k is not None:
        if surface_c is None:
            because = "the surface temperature was not measured"
            verdicts.append(no_verdict("dew margin", because, unit="K", source=limits.source))
        else:
            margin = dew_margin(air_c, humidity_percent, surface_c, accuracy)
            verdicts.append(
                judge(
                    "dew margin",
                    margin.margin_k,
                    low=limits.least_dew_margin_k,
                    expanded_uncertainty=margin.expanded_uncertainty_k,
                    unit="K",
                    source=limits.source,
                )
            )
    return verdicts


def require_humidity(humidity_percent: float) -> float:
    """Give back a relative humidity above 1 to 100 %, else refuse it (`unit_suspect` up to 1, else `impossible`)."""
    if 0 < humidity_percent <= 1:
        accepted = f"give per cent of relative humidity: {humidity_percent * 100:g} % may be meant"
        raise InputRefused("unit_suspect", "humidity_percent", humidity_percent, accepted)
    if humidity_percent == 0:
        raise InputRefused("impossible", "humidity_percent", humidity_percent, "give more than 0, up to 100 % RH")
    return require_between("humidity_percent", humidity_percent, 0, 100, "% RH")


def _gamma(air_c: float, humidity_percent: float) -> float:
    require_between("air_c", air_c, -45, 60, "C")
    require_humidity(humidity_percent)
    return math.log(humidity_percent / 100) + MAGNUS_A * air_c / (MAGNUS_B_C + air_c)
