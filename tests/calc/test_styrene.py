from math import exp, log
from pathlib import Path
from typing import Any

import pytest
from chemicals.vapor_pressure import Psat_data_Perrys2_8, Psat_data_VDI_PPDS_3, Wagner
from fluids.atmosphere import ATMOSPHERE_1976
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values
from hullbook.calc.styrene import (
    activity_by_raoult,
    boiling_temperature_c,
    judge_boil_margin,
    least_bag_pressure_mbar,
    vapour_pressure_mbar,
)
from hullbook.calc.vacuum import standard_atmosphere_mbar

SHARED = Path(__file__).parents[2] / "shared"
STYRENE = "100-42-5"
shop_temperatures = st.floats(10, 60)
activities = st.floats(0.3, 1.0)


@pytest.mark.parametrize("row", check_values(SHARED, "styrene"), ids=lambda row: f"{row['check']} {row['expected']}")
def test_styrene_sums_agree_with_the_table(row: dict[str, Any]) -> None:
    value = found(row)
    assert agrees(row, value), value


@pytest.mark.parametrize(
    ("temperature_c", "perry_mbar", "vdi_mbar", "within"),
    [
        (10, 3.101, 3.129, 0.045), (15, 4.342, 4.366, 0.04), (20, 5.994, 6.010, 0.03), (25, 8.165, 8.168, 0.025),
        (30, 10.99, 10.97, 0.02), (35, 14.61, 14.56, 0.015), (40, 19.20, 19.12, 0.01), (50, 32.17, 31.97, 0.005),
        (60, 51.88, 51.51, 0.01), (80, 122.1, 121.3, 0.015),
    ],
)  # fmt: skip
def test_styrene_boils_as_the_handbooks_say(
    temperature_c: float, perry_mbar: float, vdi_mbar: float, within: float
) -> None:
    """Perry's Chemical Engineers' Handbook, 8th edition, and VDI Heat Atlas, as shipped with `chemicals`."""
    kelvin = temperature_c + 273.15
    perry, vdi = Psat_data_Perrys2_8.loc[STYRENE], Psat_data_VDI_PPDS_3.loc[STYRENE]
    c1, c2, c3, c4, c5 = (float(perry[name]) for name in ("C1", "C2", "C3", "C4", "C5"))
    by_perry = exp(c1 + c2 / kelvin + c3 * log(kelvin) + c4 * kelvin**c5) / 100
    by_vdi = Wagner(kelvin, *(float(vdi[name]) for name in ("Tc", "Pc", "A", "B", "C", "D"))) / 100
    assert (by_perry, by_vdi) == pytest.approx((perry_mbar, vdi_mbar), rel=1e-3)
    assert [vapour_pressure_mbar(temperature_c)] * 2 == pytest.approx([by_perry, by_vdi], rel=within)


@pytest.mark.parametrize(
    ("temperature_c", "ppm", "over_resin_mbar", "twice_mbar", "half_more_mbar"),
    [
        (10, 3198, 2.761, 5.521, 4.141), (15, 4441, 3.834, 7.668, 5.751), (20, 6085, 5.253, 10.51, 7.880),
        (25, 8233, 7.108, 14.22, 10.66), (30, 11010, 9.503, 19.01, 14.26), (35, 14550, 12.56, 25.13, 18.85),
        (40, 19040, 16.44, 32.87, 24.66),
    ],
)  # fmt: skip
def test_what_stands_over_a_resin_and_what_a_bag_is_kept_at(
    temperature_c: float, ppm: float, over_resin_mbar: float, twice_mbar: float, half_more_mbar: float
) -> None:
    """Saturated air over pure styrene, and a resin of activity 0.8521 by Raoult: recomputed independently."""
    assert vapour_pressure_mbar(temperature_c) / 1013.25 * 1e6 == pytest.approx(ppm, rel=1e-3)
    kept = [least_bag_pressure_mbar(temperature_c, activity_by_raoult(0.40, 900), factor) for factor in (1, 2, 1.5)]
    assert kept == pytest.approx([over_resin_mbar, twice_mbar, half_more_mbar], rel=1e-3)


def test_styrene_reaches_the_air_at_its_boiling_point() -> None:
    """145.3 C at 1013.25 mbar in handbooks; the curve, drawn on by ln P straight in 1/T from 145 C, has 1021 there."""
    steepness = log(vapour_pressure_mbar(145) / vapour_pressure_mbar(144)) / (1 / 417.15 - 1 / 418.15)
    at_boiling = vapour_pressure_mbar(145) * exp(steepness * (1 / 418.15 - 1 / 418.45))
    assert at_boiling == pytest.approx(1021, rel=1e-3)
    assert at_boiling == pytest.approx(1013.25, rel=0.01)


@pytest.mark.parametrize("altitude_m", [0, 100, 500, 1000, 2000])
def test_the_shop_lies_in_the_standard_atmosphere(altitude_m: float) -> None:
    assert standard_atmosphere_mbar(altitude_m) == pytest.approx(ATMOSPHERE_1976(altitude_m).P / 100, rel=1e-4)


@given(shop_temperatures, activities)
def test_resin_boils_at_the_temperature_whose_pressure_it_is(temperature_c: float, activity: float) -> None:
    pressure = activity * vapour_pressure_mbar(temperature_c)
    assert boiling_temperature_c(pressure, activity) == pytest.approx(temperature_c)


@given(shop_temperatures, shop_temperatures, activities)
def test_warmer_resin_never_stands_a_deeper_vacuum(one: float, other: float, activity: float) -> None:
    cooler, warmer = sorted((one, other))
    assert least_bag_pressure_mbar(cooler, activity, 1.5) <= least_bag_pressure_mbar(warmer, activity, 1.5)


def test_the_margin_is_judged_in_three_steps() -> None:
    def level(bag_mbar_abs: float) -> str:
        return judge_boil_margin(
            bag_mbar_abs, 25.0, activity=0.85, red=1.2, amber=1.5, source="common practice, no source"
        ).level

    boils_at = 0.85 * vapour_pressure_mbar(25.0)
    assert level(1.19 * boils_at) == "fail"
    assert level(1.21 * boils_at) == "conditional pass"
    assert level(1.51 * boils_at) == "pass"


@pytest.mark.parametrize(
    ("refused", "said"),
    [
        (lambda: vapour_pressure_mbar(5), "10 to 145"),
        (lambda: judge_boil_margin(950, 20, activity=1, red=1.2, amber=1.5, source="x"), "less what a gauge shows"),
        (lambda: judge_boil_margin(20, 70, activity=1, red=1.2, amber=1.5, source="x"), "look at the thermometer"),
        (lambda: judge_boil_margin(20, 20, activity=1, red=1.6, amber=1.5, source="x"), "from 1 to 1.5"),
        (lambda: boiling_temperature_c(0.5), "boils outside"),
        (lambda: boiling_temperature_c(10, 1.2), "up to 1"),
        (lambda: activity_by_raoult(40, 900), "40 percent"),
        (lambda: least_bag_pressure_mbar(20, 0.85, 0.5), "1 to 10"),
    ],
)
def test_what_the_curve_does_not_cover_is_refused_in_words(refused: Any, said: str) -> None:
    with pytest.raises(InputRefused, match=said):
        refused()
