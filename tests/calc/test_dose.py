from math import sqrt
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.dose import (
    catalyst_grams,
    dose_from_masses,
    dose_from_percent_of_mix,
    dose_from_volume_ratio,
    dose_uncertainty,
    epoxy_index,
    grams,
    hardener_phr,
    judge_dose,
    mend_dose,
    millilitres,
    percent_of_mix,
    volume_ratio,
)
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values

SHARED = Path(__file__).parents[2] / "shared"
ROWS = check_values(SHARED, "dose")

doses = st.floats(0.05, 10)
masses = st.floats(0.05, 250)
densities = st.floats(0.7, 1.4)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['check']} {row['quantity']} {row['expected']}")
def test_dose_sums_agree_with_the_table(row: dict[str, Any]) -> None:
    value = found(row)
    assert agrees(row, value), value


@given(masses, st.floats(0.06, 9.9))
def test_what_is_weighed_out_for_a_dose_gives_that_dose(resin_kg: float, dose_phr: float) -> None:
    assert dose_from_masses(resin_kg, catalyst_grams(resin_kg, dose_phr)) == pytest.approx(dose_phr)


@given(doses)
def test_phr_and_share_of_the_mix_go_there_and_back(dose_phr: float) -> None:
    assert dose_from_percent_of_mix(percent_of_mix(dose_phr)) == pytest.approx(dose_phr)
    assert percent_of_mix(dose_phr) < dose_phr


@given(doses, densities, densities)
def test_weight_and_volume_ratio_go_there_and_back(dose_phr: float, resin: float, catalyst: float) -> None:
    assert dose_from_volume_ratio(volume_ratio(dose_phr, resin, catalyst), resin, catalyst) == pytest.approx(dose_phr)


@given(st.floats(0.1, 5000), densities)
def test_grams_and_millilitres_go_there_and_back(weight_g: float, density: float) -> None:
    assert grams(millilitres(weight_g, density), density) == pytest.approx(weight_g)


@given(masses, st.floats(100, 300), st.floats(20, 110))
def test_hardener_weighed_by_its_equivalents_just_meets_the_resin(resin_kg: float, eew: float, ahew: float) -> None:
    assert epoxy_index(resin_kg, resin_kg * hardener_phr(eew, ahew) / 100, eew, ahew) == pytest.approx(1)


@given(st.floats(1, 50), st.floats(10, 1000), st.floats(0.1, 50), st.floats(0.01, 20))
def test_the_uncertainty_of_a_dose_is_what_an_error_library_propagates(
    resin_kg: float, catalyst_g: float, resin_scale_g: float, catalyst_scale_g: float
) -> None:
    # Full and tare readings of each scale, each rounded: the uncertainties package does the rest.
    resin = ufloat(1000 * resin_kg + 500, resin_scale_g / sqrt(12)) - ufloat(500, resin_scale_g / sqrt(12))
    catalyst = ufloat(catalyst_g + 20, catalyst_scale_g / sqrt(12)) - ufloat(20, catalyst_scale_g / sqrt(12))
    dose = 100 * catalyst / resin
    expanded = dose_uncertainty(
        resin_kg,
        catalyst_g,
        resin_scale_resolution_g=resin_scale_g,
        catalyst_scale_resolution_g=catalyst_scale_g,
    )
    assert expanded == pytest.approx(2 * dose.std_dev, rel=1e-6)


@pytest.mark.parametrize(
    ("dose_phr", "uncertainty", "level"),
    [
        (1.5, 0.02, "pass"),
        (1.01, 0.02, "conditional pass"),
        (0.99, 0.02, "conditional fail"),
        (0.9, 0.02, "fail"),
        (2.6, 0.02, "fail"),
        (2.5, 0.0, "pass"),
    ],
)
def test_a_dose_is_judged_against_the_makers_limits(dose_phr: float, uncertainty: float, level: str) -> None:
    verdict = judge_dose(dose_phr, uncertainty, 1.0, 2.5, "invented resin sheet, revision 3")
    assert verdict.level == level
    assert (verdict.low, verdict.high, verdict.source) == (1.0, 2.5, "invented resin sheet, revision 3")


@given(masses, st.floats(0.0, 20), st.floats(0.5, 1.5), st.floats(1.6, 3))
def test_what_mends_a_dose_brings_it_just_inside_the_limits(kg: float, phr: float, low: float, high: float) -> None:
    catalyst_g = 10 * kg * phr
    wants = mend_dose(kg, catalyst_g, low, high)
    mended_phr = (catalyst_g + wants.catalyst_to_lowest_g) / (10 * (kg + wants.resin_to_highest_kg))
    assert mended_phr == pytest.approx(min(max(phr, low), high))
    if phr < low:
        assert (catalyst_g + wants.catalyst_to_middle_g) / (10 * kg) == pytest.approx((low + high) / 2)


def test_limits_the_wrong_way_round_mend_nothing() -> None:
    with pytest.raises(InputRefused, match="at least the lowest, 2 phr"):
        mend_dose(20, 300, 2.0, 1.0)


def test_a_dose_without_any_limit_of_the_maker_is_refused() -> None:
    with pytest.raises(InputRefused) as refused:
        judge_dose(1.5, 0.02, None, None, "")
    assert refused.value.key == "missing"


@pytest.mark.parametrize(
    ("resin_kg", "catalyst_g", "key"),
    [(20, 0.3, "unit_suspect"), (20, 3000, "unit_suspect"), (0, 300, "not_positive"), (20, -3, "not_positive")],
)
def test_a_dose_no_catalyst_has_is_refused(resin_kg: float, catalyst_g: float, key: str) -> None:
    with pytest.raises(InputRefused) as refused:
        dose_from_masses(resin_kg, catalyst_g)
    assert refused.value.key == key


def test_a_hardener_may_have_what_a_catalyst_may_not() -> None:
    assert dose_from_masses(10, 3000, "hardener") == pytest.approx(30)
    with pytest.raises(InputRefused):
        dose_from_masses(10, 3000, "catalyst")


def test_an_epoxy_mix_far_from_meeting_is_not_poured() -> None:
    """10 kg of EEW 185 with 3.150 kg of AHEW 52: index 1.121, outside the 0.9 to 1.1 of common practice."""
    with pytest.raises(InputRefused, match="1.121 of what just meets the resin") as refused:
        epoxy_index(10, 3.150, 185, 52)
    assert refused.value.key == "inconsistent"
    with pytest.raises(InputRefused, match="do not pour it"):
        epoxy_index(10, 2.5, 185, 52)


def test_a_density_in_kilograms_to_the_cubic_metre_is_noticed() -> None:
    with pytest.raises(InputRefused, match="1.15 may be meant") as refused:
        millilitres(900, 1150)
    assert refused.value.key == "unit_suspect"
