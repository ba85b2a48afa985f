from math import sqrt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, triang

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values
from hullbook.calc.resin_plan import (
    Allowance,
    fabric_to_cut_m2,
    order_quantity,
    round_up_to_containers,
    total_band,
)

SHARED = Path(__file__).parents[2] / "shared"


def allowance_of(low: float, rise: float, fall: float, area_linked: bool) -> Allowance:
    return Allowance("part", low, low + rise, low + rise + fall, area_linked)


masses = st.floats(0, 200)
allowances = st.builds(allowance_of, masses, st.floats(0.01, 50), st.floats(0.01, 50), st.booleans())
plans = st.lists(allowances, min_size=1, max_size=10)


@pytest.mark.parametrize(
    "row", check_values(SHARED, "resin_plan"), ids=lambda row: f"{row['check']}-{row['quantity']}-{row['expected']}"
)
def test_a_resin_plan_sum_agrees_with_its_check_value(row):
    assert agrees(row, found(row))


@given(allowances)
def test_an_allowance_has_the_moments_of_a_triangular_distribution(allowance):
    """scipy.stats.triang with the mode at (likely - low) / (high - low)."""
    width = allowance.high_kg - allowance.low_kg
    shape = triang((allowance.likely_kg - allowance.low_kg) / width, loc=allowance.low_kg, scale=width)
    assert allowance.mean_kg == pytest.approx(shape.mean(), rel=1e-9)
    assert allowance.sd_kg == pytest.approx(shape.std(), rel=1e-6)


@given(plans)
def test_without_area_error_the_scatter_adds_as_squares(plan):
    band = total_band(plan, 0)
    variance = sum(
        triang.var((one.likely_kg - one.low_kg) / (one.high_kg - one.low_kg), scale=one.high_kg - one.low_kg)
        for one in plan
    )
    assert band.sd_kg == pytest.approx(sqrt(variance), rel=1e-6)
    assert band.sd_kg == band.independent_sd_kg


@given(plans, st.floats(0.001, 0.1))
def test_a_wrong_area_moves_every_part_that_scales_with_it_together(plan, area_relative_sd):
    band = total_band(plan, area_relative_sd)
    linked = sum(one.mean_kg for one in plan if one.area_linked)
    assert band.sd_kg**2 == pytest.approx(band.independent_sd_kg**2 + (area_relative_sd * linked) ** 2, rel=1e-9)
    assert band.low_kg <= band.likely_kg <= band.high_kg
    assert band.low_kg <= band.mean_kg <= band.high_kg


@given(plans, st.floats(1, 1e6), st.floats(0.001, 1), st.floats(0.5, 250), st.integers(0, 3))
def test_what_is_ordered_covers_the_upper_figure_and_not_a_container_more(plan, cost, share, container, contingency):
    band = total_band(plan, 0.02)
    order = order_quantity(
        band,
        cost_of_running_out=cost,
        cost_of_surplus=cost * share,
        container_kg=container,
        contingency_containers=contingency,
    )
    assert order.upper_kg >= band.mean_kg
    assert order.kg >= order.upper_kg - 1e-6 * container
    assert order.kg - container < order.upper_kg
    assert order.kg_with_contingency == pytest.approx(order.kg + contingency * container)


@given(st.floats(1, 1000))
def test_k_is_the_normal_quantile_of_the_critical_ratio(cost):
    band = total_band([Allowance("laminate", 90, 95, 103, area_linked=True)], 0.02)
    order = order_quantity(band, cost_of_running_out=cost, cost_of_surplus=1, container_kg=25, contingency_containers=1)
    assert order.k == pytest.approx(norm.ppf(cost / (cost + 1)), abs=1e-9)


def test_a_fixed_figure_has_no_scatter():
    fixed = Allowance("hoses", 3.7, 3.7, 3.7, area_linked=False)
    assert fixed.mean_kg == pytest.approx(3.7)
    assert fixed.sd_kg == 0


def test_a_mass_that_fills_its_pails_exactly_needs_no_pail_more():
    assert round_up_to_containers(0.1 * 3, 0.1) == 3
    assert round_up_to_containers(250.01, 25) == 11
    assert round_up_to_containers(0, 25) == 0


def test_cloth_to_cut_counts_layers_laps_and_waste():
    assert fabric_to_cut_m2(12, 2, 1.04, 0.1) == pytest.approx(12 * 2 * 1.04 * 1.1)


def refusal(key: str, field: str):
    return pytest.raises(InputRefused, check=lambda refused: (refused.key, refused.field) == (key, field))


def test_low_likely_high_out_of_order_is_refused():
    with refusal("inconsistent", "likely_kg"):
        Allowance("core", 60, 50, 80, area_linked=True)
    with refusal("negative", "low_kg"):
        Allowance("core", -1, 50, 80, area_linked=True)


def test_an_area_error_in_percent_is_asked_about():
    with refusal("unit_suspect", "area_relative_sd"):
        total_band([Allowance("laminate", 90, 95, 103, area_linked=True)], 2)


def test_a_plan_of_nothing_is_refused():
    with refusal("missing", "allowances"):
        total_band([], 0.02)


@pytest.mark.parametrize(
    ("change", "key", "field"),
    [
        ({"container_kg": 0}, "not_positive", "container_kg"),
        ({"cost_of_running_out": 0}, "not_positive", "cost_of_running_out"),
        ({"cost_of_surplus": -200}, "not_positive", "cost_of_surplus"),
        ({"cost_of_running_out": 100}, "inconsistent", "cost_of_running_out"),
        ({"contingency_containers": -1}, "negative", "contingency_containers"),
    ],
)
def test_an_order_that_makes_no_sense_is_refused(change, key, field):
    band = total_band([Allowance("laminate", 90, 95, 103, area_linked=True)], 0.02)
    order = {
        "cost_of_running_out": 20_000,
        "cost_of_surplus": 200,
        "container_kg": 25,
        "contingency_containers": 1,
        **change,
    }
    with refusal(key, field):
        order_quantity(band, **order)


def test_cloth_with_an_overlap_below_one_or_waste_in_percent_is_refused():
    with refusal("impossible", "overlap_factor"):
        fabric_to_cut_m2(12, 2, 0.96, 0.1)
    with refusal("unit_suspect", "waste_fraction"):
        fabric_to_cut_m2(12, 2, 1.04, 10)
    with refusal("not_positive", "layers"):
        fabric_to_cut_m2(12, 0, 1.04, 0.1)
