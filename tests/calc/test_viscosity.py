"""Viscosity against temperature, held against numpy's and scipy's least squares."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import linregress, t

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values
from hullbook.calc.viscosity import (
    ViscosityPoint,
    change_percent_k,
    thickening_per_min,
    viscosity_band_at,
    viscosity_curve,
    viscosity_pa_s_at,
)

SHARED = Path(__file__).parents[2] / "shared"
TWO = viscosity_curve((ViscosityPoint(15, 0.28), ViscosityPoint(25, 0.15)))
SIX_C, SIX_PA_S = (10, 15, 20, 25, 30, 35), (0.430, 0.305, 0.228, 0.172, 0.135, 0.108)
SIX = viscosity_curve([ViscosityPoint(*pair) for pair in zip(SIX_C, SIX_PA_S, strict=True)])


@pytest.mark.parametrize("row", check_values(SHARED, "viscosity"), ids=lambda row: f"{row['check']} {row['quantity']}")
def test_a_viscosity_sum_agrees_with_its_check_value(row):
    assert agrees(row, found(row))


def test_two_points_are_met_exactly():
    assert viscosity_pa_s_at(TWO, 15) == pytest.approx(0.28, rel=1e-12)
    assert viscosity_pa_s_at(TWO, 25) == pytest.approx(0.15, rel=1e-12)


@pytest.mark.parametrize("temperature", [8, 18, 25, 38])
def test_a_fit_and_its_band_are_those_of_a_straight_line(temperature):
    """scipy's linregress of ln viscosity on 1/T, and its prediction interval from the textbook formula."""
    inverse = 1 / (np.array(SIX_C) + 273.15)
    line = linregress(inverse, np.log(SIX_PA_S))
    at = 1 / (temperature + 273.15)
    likely = line.intercept + line.slope * at
    assert viscosity_pa_s_at(SIX, temperature) == pytest.approx(math.exp(likely), rel=1e-9)
    residues = np.log(SIX_PA_S) - line.intercept - line.slope * inverse
    sd = math.sqrt((residues**2).sum() / 4)
    off = (at - inverse.mean()) ** 2 / ((inverse - inverse.mean()) ** 2).sum()
    half = t.ppf(0.975, 4) * sd * math.sqrt(1 + 1 / 6 + off)
    band = viscosity_band_at(SIX, temperature)
    assert (band.low_pa_s, band.high_pa_s) == pytest.approx((math.exp(likely - half), math.exp(likely + half)))
    half_slope = t.ppf(0.975, 4) * line.stderr
    assert (line.slope - half_slope, line.slope + half_slope) == pytest.approx((4468, 5155), rel=1e-3)


@given(st.floats(0.05, 2.0), st.floats(1000.0, 9000.0), st.floats(10.0, 30.0), st.floats(5.0, 35.0))
def test_the_curve_gives_back_the_law_its_points_came_from(middle, slope, first, at):
    def law(temperature):
        return middle * math.exp(slope * (1 / (temperature + 273.15) - 1 / 293.15))

    points = [ViscosityPoint(first + step, law(first + step)) for step in (-5.0, 0.0, 5.0)]
    curve = viscosity_curve(points)
    assert curve.slope_k == pytest.approx(slope, rel=1e-6)
    if abs(at - first) <= 10:
        assert viscosity_pa_s_at(curve, at) == pytest.approx(law(at), rel=1e-6)


@given(st.floats(10.0, 29.0), st.floats(0.1, 1.0))
def test_warmer_is_thinner(temperature, more):
    assert viscosity_pa_s_at(TWO, temperature + more) < viscosity_pa_s_at(TWO, temperature)
    slope = viscosity_pa_s_at(TWO, temperature + 0.001) / viscosity_pa_s_at(TWO, temperature) - 1
    assert -slope * 1e5 == pytest.approx(change_percent_k(TWO, temperature), rel=1e-3)


@pytest.mark.parametrize("temperature", [9.9, 30.1, float("nan")])
def test_further_than_five_kelvin_outside_the_points_nothing_is_said(temperature):
    for asked in (viscosity_pa_s_at, change_percent_k):
        with pytest.raises(InputRefused, match="points reach from 15 to 25 degC; give 10 to 30") as refused:
            asked(TWO, temperature)
        assert refused.value.key == "extrapolated"
    assert viscosity_pa_s_at(TWO, 10) > 0.28


def test_readings_at_one_temperature_may_differ():
    twice = [ViscosityPoint(*one) for one in ((15, 0.28), (15, 0.30), (25, 0.15), (25, 0.16))]
    assert viscosity_pa_s_at(viscosity_curve(twice), 15) == pytest.approx(math.sqrt(0.28 * 0.30))


def test_viscosity_doubles_in_its_minutes_of_doubling():
    assert math.exp(30 * thickening_per_min(30)) == pytest.approx(2)


@pytest.mark.parametrize(
    ("call", "key"),
    [
        (lambda: viscosity_curve([ViscosityPoint(20, 0.2)]), "insufficient_data"),
        (lambda: viscosity_curve([ViscosityPoint(20, 0.2), ViscosityPoint(20, 0.21)]), "insufficient_data"),
        (lambda: viscosity_curve([ViscosityPoint(15, 0.2), ViscosityPoint(25, 0.21)]), "inconsistent"),
        (lambda: viscosity_curve([ViscosityPoint(*one) for one in ((25, 0.1), (15, 0.3), (20, 0.31))]), "inconsistent"),
        (lambda: viscosity_curve([ViscosityPoint(*one) for one in ((15, 0.3), (20, 0.1), (25, 0.12))]), "inconsistent"),
        (lambda: viscosity_band_at(TWO, 20), "insufficient_data"),
        (lambda: viscosity_band_at(SIX, 41), "extrapolated"),
        (lambda: ViscosityPoint(20, 180), "unit_suspect"),
        (lambda: ViscosityPoint(20, 0.00018), "unit_suspect"),
        (lambda: ViscosityPoint(20, 1e-6), "impossible"),
        (lambda: ViscosityPoint(20, 0), "not_positive"),
        (lambda: ViscosityPoint(293, 0.2), "impossible"),
        (lambda: thickening_per_min(0), "not_positive"),
    ],
)
def test_what_cannot_be_is_refused(call, key):
    with pytest.raises(InputRefused) as refused:
        call()
    assert refused.value.key == key
