from math import isclose, log, pi
from pathlib import Path

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.flow import head_mbar
from hullbook.calc.laminate import (
    fibre_mass_fraction,
    fibre_volume_fraction,
    fibre_volume_fraction_at_pressure,
    fit_compaction_exponent,
    gutowski_fraction,
    gutowski_pressure_mbar,
    overfill,
    overlap_factor,
    ply,
    stack,
)
from hullbook.calc.reference import check_values

SHARED = Path(__file__).parents[2] / "shared"
GLASS, VINYL_ESTER = 2560.0, 1140.0

areal_weights = st.floats(0.02, 4.0)
fibre_densities = st.floats(950, 2950)
resin_densities = st.floats(950, 1450)
volume_fractions = st.floats(0.05, 0.78)


def glass_ply(areal_weight_kg_m2: float = 0.8, **share: float):
    return ply(
        areal_weight_kg_m2=areal_weight_kg_m2,
        fibre_density_kg_m3=GLASS,
        cured_resin_density_kg_m3=VINYL_ESTER,
        **share,
    )


@pytest.mark.parametrize("row", check_values(SHARED, "laminate"), ids=lambda row: f"{row['check']}-{row['quantity']}")
def test_a_laminate_sum_agrees_with_its_check_value(row):
    assert agrees(row, found(row))


@given(areal_weights, st.floats(0.2, 0.85))
def test_the_iso_12215_5_thickness_is_the_general_one_for_2560_and_1200(areal_weight, mass_fraction):
    """ISO 12215-5: t = w/3.072 (2.56/psi - 1.36) as commonly quoted; 3.072 = 2.56 x 1.20 and 1.36 = 2.56 - 1.20."""
    as_quoted = areal_weight / 3.072 * (2.56 / mass_fraction - 1.36)
    general = ply(
        areal_weight_kg_m2=areal_weight,
        fibre_density_kg_m3=2560,
        cured_resin_density_kg_m3=1200,
        fibre_mass_fraction=mass_fraction,
    )
    assert isclose(general.thickness_mm, as_quoted, rel_tol=1e-12)


def test_the_thickness_follows_from_units_alone():
    units = pint.UnitRegistry()
    areal_weight = 23.6 * units.ounce / units.yard**2
    density = 2.56 * units.gram / units.centimeter**3
    by_pint = (areal_weight / density / 0.52).to(units.millimeter).magnitude
    by_hand = glass_ply(areal_weight.to(units.kilogram / units.meter**2).magnitude, fibre_volume_fraction=0.52)
    assert by_hand.thickness_mm == pytest.approx(by_pint, rel=1e-12)


@given(areal_weights, fibre_densities, resin_densities, volume_fractions)
def test_mass_is_fibre_plus_resin_and_volume_is_both_with_the_voids(weight, fibre, resin, phi):
    one = ply(
        areal_weight_kg_m2=weight,
        fibre_density_kg_m3=fibre,
        cured_resin_density_kg_m3=resin,
        fibre_volume_fraction=phi,
        void_fraction=0.03,
    )
    assert one.mass_kg_m2 == pytest.approx(weight + one.resin_kg_m2, rel=1e-12)
    assert one.mass_kg_m2 == pytest.approx(weight / one.fibre_mass_fraction, rel=1e-9)
    assert one.thickness_mm == pytest.approx(1000 * weight / (fibre * phi * 0.97), rel=1e-9)
    assert one.density_kg_m3 == pytest.approx(phi * fibre + (1 - phi) * resin, rel=1e-9)


@given(fibre_densities, resin_densities, volume_fractions)
def test_shares_by_mass_and_by_volume_are_each_others_inverse(fibre, resin, phi):
    psi = fibre_mass_fraction(phi, fibre, resin)
    assert fibre_volume_fraction(psi, fibre, resin) == pytest.approx(phi, rel=1e-9)


@given(areal_weights, volume_fractions, volume_fractions)
def test_more_fibre_in_the_same_ply_never_makes_it_thicker(weight, one, other):
    low, high = sorted((one, other))
    assert (
        glass_ply(weight, fibre_volume_fraction=high).thickness_mm
        <= glass_ply(weight, fibre_volume_fraction=low).thickness_mm
    )


@given(st.lists(st.tuples(areal_weights, volume_fractions), min_size=1, max_size=8), areal_weights, volume_fractions)
def test_adding_a_ply_never_lightens_or_thins_the_stack(plies, weight, phi):
    before = stack([glass_ply(w, fibre_volume_fraction=share) for w, share in plies])
    after = stack([*before.plies, glass_ply(weight, fibre_volume_fraction=phi)])
    assert after.mass_kg_m2 > before.mass_kg_m2
    assert after.resin_kg_m2 > before.resin_kg_m2
    assert after.thickness_mm > before.thickness_mm


@given(st.lists(st.tuples(areal_weights, volume_fractions), min_size=2, max_size=6))
def test_the_order_of_plies_changes_no_sum(plies):
    laid = [glass_ply(w, fibre_volume_fraction=share) for w, share in plies]
    up, down = stack(laid), stack(laid[::-1])
    assert up.mass_kg_m2 == pytest.approx(down.mass_kg_m2, rel=1e-12)
    assert up.fibre_volume_fraction == pytest.approx(down.fibre_volume_fraction, rel=1e-12)


def test_voids_thicken_a_ply_and_weigh_nothing():
    dense, voided = (glass_ply(fibre_mass_fraction=0.7, void_fraction=v) for v in (0.0, 0.02))
    assert voided.mass_kg_m2 == dense.mass_kg_m2
    assert voided.thickness_mm == pytest.approx(dense.thickness_mm / 0.98)


def test_a_poor_vacuum_costs_resin_and_thickness():
    """800 against 950 mbar on stitched biaxial: +1.793 % resin, +0.863 % thickness (recomputed independently)."""
    poor, good = (
        glass_ply(
            fibre_volume_fraction=fibre_volume_fraction_at_pressure(
                fibre_volume_fraction_at_1000_mbar=0.52, compaction_exponent=0.05, compaction_pressure_mbar=pressure
            )
        )
        for pressure in (800, 950)
    )
    assert poor.resin_kg_m2 / good.resin_kg_m2 - 1 == pytest.approx(0.01793, rel=1e-3)
    assert poor.thickness_mm / good.thickness_mm - 1 == pytest.approx(0.008630, rel=1e-3)


def test_resin_grows_with_the_slope_the_power_law_gives():
    """d ln m / d ln p = -B / (1 - phi): -0.1042 for B 0.05 at 0.52."""

    def resin(pressure: float) -> float:
        phi = fibre_volume_fraction_at_pressure(
            fibre_volume_fraction_at_1000_mbar=0.52, compaction_exponent=0.05, compaction_pressure_mbar=pressure
        )
        return glass_ply(fibre_volume_fraction=phi).resin_kg_m2

    slope = (resin(1000.1) - resin(999.9)) / resin(1000) / (0.2 / 1000)
    assert slope == pytest.approx(-0.05 / 0.48, rel=1e-3)


@given(st.floats(0.005, 0.2), st.floats(150, 500), st.floats(550, 1000))
def test_the_exponent_fitted_to_two_thicknesses_is_the_one_they_came_from(exponent, first, second):
    thickness = [
        1000
        * 4.2
        / GLASS
        / fibre_volume_fraction_at_pressure(
            fibre_volume_fraction_at_1000_mbar=0.5, compaction_exponent=exponent, compaction_pressure_mbar=pressure
        )
        for pressure in (first, second)
    ]
    fitted = fit_compaction_exponent(
        first_thickness_mm=thickness[0],
        first_pressure_mbar=first,
        second_thickness_mm=thickness[1],
        second_pressure_mbar=second,
    )
    assert fitted == pytest.approx(exponent, rel=1e-6)


def refusal(key: str, field: str):
    return pytest.raises(InputRefused, check=lambda refused: (refused.key, refused.field) == (key, field))


def test_a_percentage_typed_for_a_share_is_asked_about():
    with pytest.raises(InputRefused, match=r"65 percent is 0\.65") as refused:
        glass_ply(fibre_mass_fraction=65)
    assert refused.value.key == "unit_suspect"


def test_more_fibre_than_square_packing_holds_is_refused():
    with refusal("impossible", "fibre_volume_fraction"):
        glass_ply(fibre_volume_fraction=0.79)
    with refusal("impossible", "fibre_volume_fraction"):
        glass_ply(fibre_mass_fraction=0.92)
    assert glass_ply(fibre_volume_fraction=0.785).fibre_volume_fraction < pi / 4


@pytest.mark.parametrize("share", [0, 1, -0.2, float("nan"), float("inf"), 200])
def test_a_share_outside_nought_to_one_is_refused(share):
    with refusal("impossible", "fibre_mass_fraction"):
        glass_ply(fibre_mass_fraction=share)


def test_a_ply_without_any_share_is_refused_as_missing():
    with refusal("missing", "fibre_mass_fraction"):
        glass_ply()


def test_two_shares_that_disagree_are_refused():
    assert glass_ply(fibre_mass_fraction=0.72, fibre_volume_fraction=0.54).fibre_mass_fraction == 0.72
    with refusal("inconsistent", "fibre_mass_fraction"):
        glass_ply(fibre_mass_fraction=0.70, fibre_volume_fraction=0.54)


@pytest.mark.parametrize("weight", [0, -0.8, float("nan"), float("inf")])
def test_a_fabric_that_weighs_nothing_is_refused(weight):
    with refusal("not_positive", "areal_weight_kg_m2"):
        glass_ply(weight, fibre_mass_fraction=0.7)


def test_a_stack_of_no_plies_is_refused():
    with refusal("missing", "plies"):
        stack([])


def test_a_lap_as_wide_as_the_roll_is_refused():
    assert overlap_factor(1.27, 0) == 1
    with refusal("impossible", "lap_m"):
        overlap_factor(1.27, 1.27)


@pytest.mark.parametrize(
    ("pressure_mbar", "key"), [(0, "impossible"), (-950, "impossible"), (95_000, "unit_suspect"), (60, "extrapolated")]
)
def test_a_compaction_pressure_the_law_does_not_cover_is_refused(pressure_mbar, key):
    with refusal(key, "compaction_pressure_mbar"):
        fibre_volume_fraction_at_pressure(
            fibre_volume_fraction_at_1000_mbar=0.52, compaction_exponent=0.05, compaction_pressure_mbar=pressure_mbar
        )


def test_resin_answers_to_fibre_share_and_pull_as_the_derivatives_say():
    """d ln m / d ln phi = -1/(1 - phi), d ln m / d ln p = -B/(1 - phi): -2.083 and -0.1042 at 0.52 and 0.05."""

    def grown(resin_kg_m2, at):
        return log(resin_kg_m2(at * 1.0001) / resin_kg_m2(at / 1.0001)) / (2 * log(1.0001))

    def pressed(mbar):
        law = {"fibre_volume_fraction_at_1000_mbar": 0.52, "compaction_exponent": 0.05}
        share = fibre_volume_fraction_at_pressure(compaction_pressure_mbar=mbar, **law)
        return glass_ply(fibre_volume_fraction=share).resin_kg_m2

    by_share = grown(lambda share: glass_ply(fibre_volume_fraction=share).resin_kg_m2, 0.52)
    assert by_share == pytest.approx(-2.083, rel=1e-3)
    assert grown(pressed, 1000) == pytest.approx(-0.1042, rel=1e-3)


def test_the_foot_of_a_tall_skin_is_pressed_less_by_its_resin():
    """1.8 m of 1080 kg/m3 leave 759.4 of 950 mbar, and 0.9889 of the fibre share at B = 0.05 (recomputed)."""
    left_mbar = 950 - head_mbar(1.8, 1080)
    assert left_mbar == pytest.approx(759.4, rel=1e-3)
    foot, top = (
        fibre_volume_fraction_at_pressure(
            fibre_volume_fraction_at_1000_mbar=0.52, compaction_exponent=0.05, compaction_pressure_mbar=mbar
        )
        for mbar in (left_mbar, 950)
    )
    assert foot / top == pytest.approx(0.9889, rel=1e-4)


def test_a_stack_that_thickens_under_pressure_is_refused():
    with refusal("inconsistent", "second_thickness_mm"):
        fit_compaction_exponent(
            first_thickness_mm=3.2, first_pressure_mbar=400, second_thickness_mm=3.3, second_pressure_mbar=950
        )


def test_one_pressure_gives_no_exponent():
    with refusal("insufficient_data", "second_pressure_mbar"):
        fit_compaction_exponent(
            first_thickness_mm=3.3, first_pressure_mbar=400, second_thickness_mm=3.2, second_pressure_mbar=400
        )


BED = {"loose_fraction": 0.30, "densest_fraction": 0.70, "spring_pa": 280.0}


@given(st.floats(100, 1085))
def test_a_fibre_bed_holds_the_pressure_it_was_pressed_with(pressure):
    assert gutowski_pressure_mbar(gutowski_fraction(pressure, **BED), **BED) == pytest.approx(pressure, rel=1e-6)


@pytest.mark.parametrize(
    ("phi", "changed", "key"),
    [
        (0.70, {}, "impossible"),
        (0.29, {}, "impossible"),
        (0.5, {"densest_fraction": 0.25}, "inconsistent"),
        (0.5, {"densest_fraction": 0.85}, "impossible"),
        (0.5, {"spring_pa": 0.0}, "not_positive"),
    ],
)
def test_a_fibre_bed_that_cannot_be_is_refused(phi, changed, key):
    with pytest.raises(InputRefused) as refused:
        gutowski_pressure_mbar(phi, **(BED | changed))
    assert refused.value.key == key


def test_a_fibre_bed_is_pressed_only_by_what_a_bag_can_give():
    for pressure, key in ((50, "extrapolated"), (95_000, "unit_suspect"), (0, "impossible")):
        with pytest.raises(InputRefused) as refused:
            gutowski_fraction(pressure, **BED)
        assert refused.value.key == key


@given(st.floats(0.2, 0.6), st.floats(0.0, 0.2))
def test_overfill_is_the_mean_over_a_straight_fall_of_pressure(phi, exponent):
    """scipy's quadrature over the way from the front (share 1 of the pull) to the inlet (none)."""
    swollen = overfill(phi, exponent)
    mean = quad(lambda x: phi * x**exponent, 0, 1)[0]
    resin = quad(lambda x: 1 / (phi * x**exponent) - 1, 0, 1)[0] / (1 / phi - 1)
    assert swollen.fibre_volume_fraction == pytest.approx(mean, rel=1e-6)
    assert swollen.resin_more_percent == pytest.approx(100 * (resin - 1), rel=1e-6, abs=1e-5)
