from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.consumables import (
    bore_section_mm2,
    flange_overrun_kg,
    line_resin_kg,
    line_volume_l,
    medium_uptake,
    pail_film_kg,
    pail_heel_kg,
    resin_brake_kg,
)
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values

SHARED = Path(__file__).parents[2] / "shared"


@pytest.mark.parametrize(
    "row", check_values(SHARED, "consumables"), ids=lambda row: f"{row['check']}-{row['expected']}"
)
def test_a_consumable_sum_agrees_with_its_check_value(row):
    assert agrees(row, found(row))


def test_a_hose_holds_what_its_units_say():
    units = pint.UnitRegistry()
    bore, length = 0.5 * units.inch, 30 * units.foot
    by_pint = (3.141592653589793 / 4 * bore**2 * length).to(units.liter).magnitude
    by_hand = line_volume_l(
        section_mm2=bore_section_mm2(bore.to(units.millimeter).magnitude),
        length_m=length.to(units.meter).magnitude,
    )
    assert by_hand == pytest.approx(by_pint, rel=1e-12)


def test_a_pail_film_weighs_what_its_units_say():
    units = pint.UnitRegistry()
    across, high, film = 29 * units.centimeter, 36 * units.centimeter, 0.2 * units.millimeter
    wetted = 3.141592653589793 * across * high + 3.141592653589793 / 4 * across**2
    by_pint = (wetted * film * 1.08 * units.kilogram / units.liter).to(units.kilogram).magnitude
    by_hand = pail_film_kg(pails=1, pail_diameter_mm=290, wetted_height_mm=360, liquid_resin_density_kg_m3=1080)
    assert by_hand == pytest.approx(by_pint, rel=1e-12)


@given(st.floats(0.3, 2), st.floats(0.02, 0.25), st.floats(900, 1450))
def test_mesh_and_the_resin_in_it_fill_its_thickness(thickness, weight, polymer):
    mesh = medium_uptake(
        thickness_under_vacuum_mm=thickness,
        dry_areal_weight_kg_m2=weight,
        polymer_density_kg_m3=polymer,
        liquid_resin_density_kg_m3=1080,
    )
    assert 0 < mesh.porosity < 1
    assert mesh.l_m2 + 1000 * weight / polymer == pytest.approx(thickness, rel=1e-12)


@given(st.floats(2, 30), st.floats(0, 50), st.floats(0, 50))
def test_two_lengths_of_hose_hold_as_much_as_one_long_one(bore, first, second):
    def held(length: float) -> float:
        return line_resin_kg(section_mm2=bore_section_mm2(bore), length_m=length, liquid_resin_density_kg_m3=1080)

    assert held(first) + held(second) == pytest.approx(held(first + second))


def test_the_gap_beside_a_spiral_adds_its_share():
    assert bore_section_mm2(14, gap_factor=1.2) == pytest.approx(1.2 * bore_section_mm2(14))


def test_nothing_runs_into_a_flange_that_is_not_there():
    assert flange_overrun_kg(flange_length_m=0, overrun_m=0.06, laminate_resin_kg_m2=1.28) == 0
    assert resin_brake_kg(flange_length_m=28, brake_width_m=0, peel_ply_pick_up_kg_m2=0.05) == 0


def refusal(key: str, field: str):
    return pytest.raises(InputRefused, check=lambda refused: (refused.key, refused.field) == (key, field))


def test_mesh_heavier_than_its_thickness_can_hold_is_refused():
    with refusal("inconsistent", "mesh_thickness_mm"):
        medium_uptake(
            thickness_under_vacuum_mm=0.19,
            dry_areal_weight_kg_m2=0.18,
            polymer_density_kg_m3=905,
            liquid_resin_density_kg_m3=1080,
        )


def test_a_hose_without_bore_and_a_gap_below_one_are_refused():
    with refusal("not_positive", "hose_bore_mm"):
        bore_section_mm2(0)
    with refusal("impossible", "gap_factor"):
        bore_section_mm2(12, gap_factor=0.9)


def test_lengths_and_heels_below_nothing_are_refused():
    with refusal("negative", "length_m"):
        line_volume_l(section_mm2=100, length_m=-1)
    with refusal("negative", "heel_mm"):
        pail_heel_kg(pail_diameter_mm=290, heel_mm=-5, liquid_resin_density_kg_m3=1080)
