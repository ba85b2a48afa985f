from math import sqrt
from pathlib import Path
from typing import Any

import psychrolib
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from uncertainties import ufloat, umath

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.climate import (
    ClimateAccuracy,
    ClimateLimits,
    dew_margin,
    dew_point_c,
    humidity_at_percent,
    judge_climate,
    saturation_pressure_hpa,
)
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values
from hullbook.calc.verdict import Verdict

SHARED = Path(__file__).parents[2] / "shared"
ROWS = check_values(SHARED, "climate")
ACCURACY = ClimateAccuracy(air_k=0.5, humidity_percent=3, surface_k=0.5)
LIMITS = ClimateLimits(
    source="laminating procedure of an invented yard",
    air_low_c=18,
    air_high_c=25,
    humidity_high_percent=80,
    least_dew_margin_k=3,
)


def verdicts(
    air_c: float, humidity_percent: float, surface_c: float | None, limits: ClimateLimits = LIMITS
) -> dict[str, Verdict]:
    return {verdict.code: verdict for verdict in judge_climate(air_c, humidity_percent, surface_c, limits, ACCURACY)}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['check']} {row['quantity']} {row['expected']}")
def test_climate_sums_agree_with_the_table(row: dict[str, Any]) -> None:
    value = found(row)
    assert agrees(row, value), value


@given(st.floats(5, 45), st.floats(20, 100))
def test_the_dew_point_is_that_of_the_heating_engineers_handbook(air_c: float, humidity_percent: float) -> None:
    # psychrolib holds the formulas of the ASHRAE Handbook Fundamentals 2017, chapter 1; below 0 C it goes over ice.
    psychrolib.SetUnitSystem(psychrolib.SI)
    wanted = psychrolib.GetTDewPointFromRelHum(air_c, humidity_percent / 100)
    assume(wanted > 0.1)
    assert dew_point_c(air_c, humidity_percent) == pytest.approx(wanted, abs=0.04)


@given(st.floats(0, 45))
def test_the_vapour_pressure_is_that_of_the_heating_engineers_handbook(temperature_c: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert saturation_pressure_hpa(temperature_c) * 100 == pytest.approx(
        psychrolib.GetSatVapPres(temperature_c), rel=3e-3
    )


@given(st.floats(-20, 50), st.floats(1.01, 100))
def test_the_dew_point_is_never_above_the_air(air_c: float, humidity_percent: float) -> None:
    assert dew_point_c(air_c, humidity_percent) <= air_c + 1e-9


@given(st.floats(0, 45), st.floats(10, 100))
def test_a_surface_at_the_dew_point_stands_at_full_humidity(air_c: float, humidity_percent: float) -> None:
    surface = dew_point_c(air_c, humidity_percent)
    assert humidity_at_percent(air_c, humidity_percent, surface) == pytest.approx(100, rel=1e-9)


@given(st.floats(5, 40), st.floats(20, 95), st.floats(5, 40), st.floats(0.05, 2), st.floats(0.5, 5), st.floats(0.05, 2))
def test_the_uncertainty_of_the_margin_is_what_an_error_library_propagates(
    air_c: float, humidity: float, surface_c: float, air_k: float, humidity_percent: float, surface_k: float
) -> None:
    # The uncertainties package differentiates the WMO formula by itself.
    air, rh = ufloat(air_c, air_k / sqrt(3)), ufloat(humidity, humidity_percent / sqrt(3))
    gamma = umath.log(rh / 100) + 17.62 * air / (243.12 + air)
    margin = ufloat(surface_c, surface_k / sqrt(3)) - 243.12 * gamma / (17.62 - gamma)
    found_margin = dew_margin(air_c, humidity, surface_c, ClimateAccuracy(air_k, humidity_percent, surface_k))
    assert found_margin.margin_k == pytest.approx(margin.nominal_value, abs=1e-9)
    assert found_margin.expanded_uncertainty_k == pytest.approx(2 * margin.std_dev, rel=1e-6)


def test_a_cold_mould_in_damp_air_fails_its_dew_margin_conditionally() -> None:
    # 20 C, 72 %, mould 17.0 C: margin 2.204 K with U = 1.095 K against 3 K.
    verdict = verdicts(20, 72, 17.0)["dew margin"]
    assert verdict.level == "conditional fail"
    assert verdict.value == pytest.approx(2.204, abs=1e-3)
    assert verdict.expanded_uncertainty == pytest.approx(1.095, abs=1e-3)


def test_a_mould_as_warm_as_the_air_passes_in_dry_air() -> None:
    found_verdicts = verdicts(20.5, 50, 20.5)
    assert {code: verdict.level for code, verdict in found_verdicts.items()} == {
        "air temperature": "pass",
        "air humidity": "pass",
        "dew margin": "pass",
    }


def test_a_wet_mould_fails() -> None:
    assert verdicts(20, 75, 12)["dew margin"].level == "fail"


def test_air_just_inside_a_limit_passes_only_conditionally() -> None:
    assert verdicts(18.2, 79, 20)["air temperature"].level == "conditional pass"
    assert verdicts(18.2, 79, 20)["air humidity"].level == "conditional pass"


def test_air_that_is_too_cold_fails_against_the_yards_own_limit() -> None:
    verdict = verdicts(15, 60, 15)["air temperature"]
    assert verdict.level == "fail"
    assert verdict.source == "laminating procedure of an invented yard"


def test_a_surface_nobody_measured_gives_no_verdict_and_says_so() -> None:
    verdict = verdicts(20, 60, None)["dew margin"]
    assert verdict.level == "no verdict"
    assert verdict.because == "the surface temperature was not measured"


def test_only_what_the_yard_has_a_limit_for_is_judged() -> None:
    assert verdicts(20, 60, 20, ClimateLimits(source="invented")) == {}
    assert list(verdicts(20, 60, 20, ClimateLimits(source="invented", humidity_low_percent=40))) == ["air humidity"]


@pytest.mark.parametrize(
    ("humidity_percent", "key"),
    [(0.65, "unit_suspect"), (1, "unit_suspect"), (0, "impossible"), (-5, "impossible"), (101, "impossible")],
)
def test_a_humidity_that_cannot_be_is_refused(humidity_percent: float, key: str) -> None:
    with pytest.raises(InputRefused) as refused:
        dew_point_c(20, humidity_percent)
    assert refused.value.key == key
    with pytest.raises(InputRefused):
        verdicts(20, humidity_percent, 20)


def test_a_share_typed_for_a_percentage_is_offered_as_one() -> None:
    with pytest.raises(InputRefused, match="65 % may be meant"):
        dew_point_c(20, 0.65)


@pytest.mark.parametrize("air_c", [-50, 80, float("nan")])
def test_air_that_cannot_be_is_refused(air_c: float) -> None:
    with pytest.raises(InputRefused) as refused:
        dew_point_c(air_c, 60)
    assert refused.value.key == "impossible"
