from math import log
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.exotherm import Kinetics, adiabatic_rise_k, isothermal_minutes, pail_cooling_per_s, self_heating
from hullbook.calc.reference import check_values

SHARED = Path(__file__).parents[2] / "shared"
# Illustrative, from memory: no resin of anybody's; the energy is usual for cold-curing polyester.
RESIN = Kinetics(k1_per_s=5e-6, k2_per_s=6e-4, activation_energy_kj_mol=55, order=1.5, degree_at_gel=0.05)


def pail(kg: float) -> float:
    return pail_cooling_per_s(kg, liquid_resin_density_kg_m3=1070, heat_capacity_kj_kg_k=1.9, loss_w_m2_k=8)


@pytest.mark.parametrize(
    "row", check_values(SHARED, "exotherm"), ids=lambda row: f"{row['check']} {row['quantity']} {row['expected']}"
)
def test_the_sums_of_warming_by_cure_agree_with_the_table(row: dict[str, Any]) -> None:
    value = found(row)
    assert agrees(row, value), value


def test_cure_of_the_first_order_takes_the_time_of_its_closed_form() -> None:
    """Of order 1 the rate is that of a logistic curve, whose time to a degree is textbook mathematics."""
    k1, k2, degree = 1e-5, 5e-4, 0.6
    first = Kinetics(k1, k2, 55, order=1.0, degree_at_gel=0.05)
    seconds = log((k1 + k2 * degree) / (k1 * (1 - degree))) / (k1 + k2)
    assert isothermal_minutes(first, degree, 25) == pytest.approx(seconds / 60, rel=1e-6)


def test_a_mass_that_loses_no_heat_warms_by_all_of_it() -> None:
    heated = self_heating(RESIN, start_c=20, rise_k=200, cooling_per_s=1e-9)
    assert heated.peak_c == pytest.approx(220, abs=0.2)


def test_a_mass_that_loses_its_heat_at_once_gels_as_at_an_even_temperature() -> None:
    heated = self_heating(RESIN, start_c=20, rise_k=200, cooling_per_s=10.0)
    assert heated.gel_min == pytest.approx(isothermal_minutes(RESIN, 0.05, 20), rel=1e-4)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.1, 30), st.floats(1.1, 3), st.floats(12, 28))
def test_a_bigger_pail_gels_sooner_and_gets_hotter(kg: float, times: float, start_c: float) -> None:
    small, big = (
        self_heating(RESIN, start_c=start_c, rise_k=200, cooling_per_s=pail(mass)) for mass in (kg, times * kg)
    )
    assert big.gel_min < small.gel_min
    assert small.peak_c < big.peak_c < start_c + 200


@pytest.mark.parametrize(
    ("refused", "said"),
    [
        (lambda: Kinetics(0, 6e-4, 55, 1.5, 0.05), "k1 per s"),
        (lambda: Kinetics(5e-6, 6e-4, 55, 1.5, 5), "degree at gel"),
        (lambda: self_heating(RESIN, start_c=-30, rise_k=200, cooling_per_s=1e-3), "not cured in a week"),
        (lambda: isothermal_minutes(RESIN, 1.2, 20), "degree"),
        (lambda: pail(0), "pail kg"),
        (
            lambda: adiabatic_rise_k(
                1.0, heat_of_cure_kj_kg=900, resin_heat_capacity_kj_kg_k=1.9, fibre_heat_capacity_kj_kg_k=0.84
            ),
            "100 to 600",
        ),
    ],
)
def test_what_cannot_warm_like_that_is_refused_in_words(refused: Any, said: str) -> None:
    with pytest.raises(InputRefused, match=said):
        refused()
