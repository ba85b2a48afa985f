from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.stats
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values
from hullbook.calc.statistics import (
    accuracy_uncertainty,
    expanded_uncertainty,
    grubbs,
    mean,
    mean_interval,
    resolution_uncertainty,
    sample_sd,
)

SHARED = Path(__file__).parents[2] / "shared"
ROWS = check_values(SHARED, "statistics")
SET = (38, 42, 44, 41, 36, 45, 43, 39, 46, 40, 42, 31)

readings = st.lists(st.floats(-1000, 1000), min_size=3, max_size=30)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['check']} {row['quantity']} {row['expected']}")
def test_statistics_agree_with_the_table(row: dict[str, Any]) -> None:
    value = found(row)
    assert agrees(row, value), value


@given(readings)
def test_mean_and_spread_are_those_of_numpy(values: list[float]) -> None:
    assert mean(values) == pytest.approx(float(np.mean(values)), abs=1e-9)
    assert sample_sd(values) == pytest.approx(float(np.std(values, ddof=1)), abs=1e-9)


def test_the_interval_of_the_mean_is_that_of_scipy() -> None:
    low, high = scipy.stats.t.interval(0.95, len(SET) - 1, loc=np.mean(SET), scale=scipy.stats.sem(SET))
    interval = mean_interval(SET)
    assert (interval.low, interval.high) == pytest.approx((float(low), float(high)))


def test_a_low_reading_that_is_still_usual_stays() -> None:
    result = grubbs(SET)
    assert (result.index, result.value) == (11, 31)
    assert not result.is_outlier
    assert not result.advice_only


def test_a_reading_far_below_the_rest_is_flagged() -> None:
    result = grubbs((*SET[:-1], 24))
    assert result.is_outlier
    assert result.value == 24


def test_below_seven_readings_the_flag_is_advice_only() -> None:
    result = grubbs((40, 41, 40, 41, 40, 10))
    assert result.is_outlier
    assert result.advice_only


def test_grubbs_flags_about_one_clean_set_in_twenty() -> None:
    # Trial with 2000 sets of ten normal readings: 5 % of them, give or take 1.5 %.
    sets = np.random.default_rng(3).normal(40, 3, size=(2000, 10))
    flagged = sum(grubbs(list(one)).is_outlier for one in sets)
    assert 70 <= flagged <= 130


def test_standard_uncertainties_add_as_an_error_library_adds_them() -> None:
    total = ufloat(1, 0.3) - 2 * ufloat(5, 0.2) + ufloat(0, 0.1)
    assert expanded_uncertainty(0.3, -2 * 0.2, 0.1) == pytest.approx(2 * total.std_dev)


def test_rounding_scatters_readings_by_a_third_less_than_the_resolution() -> None:
    # A million evenly spread values rounded to whole numbers.
    exact = np.random.default_rng(5).uniform(0, 1000, 1_000_000)
    assert resolution_uncertainty(1) == pytest.approx(float((np.round(exact) - exact).std()), rel=2e-3)
    assert accuracy_uncertainty(0.5) == pytest.approx(resolution_uncertainty(1))


@pytest.mark.parametrize(
    ("refused_sum", "key"),
    [
        (lambda: mean(()), "insufficient_data"),
        (lambda: mean((1, float("nan"))), "not_a_number"),
        (lambda: sample_sd((1,)), "insufficient_data"),
        (lambda: mean_interval((1, 2)), "insufficient_data"),
        (lambda: grubbs((40, 40, 40)), "insufficient_data"),
        (lambda: grubbs((40, 41)), "insufficient_data"),
        (lambda: grubbs(SET, 0.9), "impossible"),
        (lambda: resolution_uncertainty(-1), "negative"),
        (lambda: accuracy_uncertainty(-1), "negative"),
        (lambda: expanded_uncertainty(float("nan")), "not_a_number"),
    ],
)
def test_too_little_or_no_number_is_refused(refused_sum: Any, key: str) -> None:
    with pytest.raises(InputRefused) as refused:
        refused_sum()
    assert refused.value.key == key
