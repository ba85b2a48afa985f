from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import lognorm, norm

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.forecast import (
    ResinSpread,
    arrival,
    minutes_to_next_call,
    relative_sd_of_band,
    remaining_to_mix,
    shrunk_ratio,
)
from hullbook.calc.reference import check_values

SHARED = Path(__file__).parents[2] / "shared"
SPREAD = ResinSpread(sd_hull=0.06, sd_reading=0.04, sd_local=0.03, k=2.326)
sds = st.floats(0.01, 0.5)
told = st.floats(0.1, 500)


def remaining(**changed: float) -> Any:
    pour = {"plan_total_kg": 214.0, "plan_so_far_kg": 126.0, "used_kg": 137.0, "mixed_kg": 200.0, "heel_kg": 1.427}
    return remaining_to_mix(**{**pour, **changed}, spread=SPREAD)


@pytest.mark.parametrize("row", check_values(SHARED, "forecast"), ids=lambda row: f"{row['check']} {row['quantity']}")
def test_forecasts_agree_with_the_table(row: dict[str, Any]) -> None:
    value = found(row)
    assert agrees(row, value), value


def test_the_rest_of_that_pour_takes_two_pails_of_25_kg() -> None:
    assert remaining().pails(25.0) == 2
    assert remaining(mixed_kg=250.0).pails(25.0) == 0
    assert remaining(mixed_kg=250.0).is_enough


def test_a_shortage_shows_what_is_wanting_beyond_the_shop() -> None:
    assert remaining().short_kg(30.0) == pytest.approx(10.92, abs=0.01)
    assert remaining().short_kg(50.0) == 0


@given(told, told, sds, sds)
def test_a_ratio_is_drawn_toward_one_and_never_past_it(
    used: float, planned: float, between: float, read: float
) -> None:
    shrunk = shrunk_ratio(used, planned, sd_between=between, sd_reading=read)
    low, high = sorted((1.0, shrunk.ratio))
    assert low - 1e-9 <= shrunk.drawn_in <= high + 1e-9
    assert shrunk.sd <= min(between, read)


@given(told, told, sds, sds)
def test_the_drawing_in_is_the_mean_of_two_weighted_estimates(
    used: float, planned: float, between: float, read: float
) -> None:
    """numpy's weighted average of 1 and the ratio, by their precisions."""
    shrunk = shrunk_ratio(used, planned, sd_between=between, sd_reading=read)
    mean, weight = np.average([1.0, shrunk.ratio], weights=[between**-2, read**-2], returned=True)
    assert shrunk.drawn_in == pytest.approx(mean)
    assert shrunk.sd == pytest.approx(weight**-0.5)


@given(st.floats(30, 200), st.floats(30, 200))
def test_what_remains_falls_as_the_plan_is_wetted(one: float, other: float) -> None:
    less, more = sorted((one, other))
    at = {wet: remaining(plan_so_far_kg=wet, used_kg=wet, mixed_kg=214.0) for wet in (less, more)}
    assert at[more].remaining_kg <= at[less].remaining_kg
    assert at[more].upper_kg <= at[less].upper_kg


@settings(deadline=None, max_examples=25)
@given(st.floats(30, 214), st.floats(0.7, 1.3))
def test_the_forecast_is_what_bayes_makes_of_a_prior_about_one_and_a_reading(wet: float, ratio: float) -> None:
    """Mean and spread of the ratio by quadrature (scipy) of the normal densities; the dry rest drawn at that ratio."""

    def moment(power: int) -> float:
        def weighed(at: float) -> float:
            return at**power * float(norm.pdf(at, 1.0, 0.06) * norm.pdf(ratio, at, 0.04))

        return quad(weighed, 0.5, 1.6, points=[1.0, ratio], epsabs=0, epsrel=1e-10)[0]

    mean = moment(1) / moment(0)
    variance = moment(2) / moment(0) - mean**2
    found = remaining(plan_so_far_kg=wet, used_kg=wet * ratio, mixed_kg=300.0)
    dry_kg = 214.0 - wet
    assert found.forecast_used_kg == pytest.approx(wet * ratio + mean * dry_kg, rel=1e-6)
    assert found.upper_kg == pytest.approx((mean + 2.326 * (variance + 0.03**2) ** 0.5) * dry_kg, rel=1e-5)


def test_a_pail_that_runs_out_before_the_next_is_mixed_is_called_at_once() -> None:
    assert minutes_to_next_call(pail_left_kg=10.0, heel_kg=1.4, rate_kg_min=4.2, mixing_min=4.0) < 0


def test_a_front_as_fast_as_planned_comes_when_planned() -> None:
    found = arrival(
        told_minute=30.0, told_since_opening_min=30.0, planned_since_opening_min=30.0, planned_here_min=5.0,
        planned_later_min=30.0, sd_plan=0.25, sd_reading=0.1, k=2.0,
    )  # fmt: skip
    assert found.minute == pytest.approx(65.0)
    assert found.low_minute < 65.0 < found.high_minute


@given(st.floats(1, 100), st.floats(1, 100), st.floats(0, 100))
def test_a_slower_front_comes_no_sooner(told_min: float, planned_min: float, still: float) -> None:
    def minute(since: float) -> float:
        return arrival(
            told_minute=40.0, told_since_opening_min=since, planned_since_opening_min=planned_min,
            planned_here_min=still, planned_later_min=0.0, sd_plan=0.25, sd_reading=0.1, k=2.0,
        ).minute  # fmt: skip

    assert minute(told_min) <= minute(told_min * 1.2)


def test_of_a_line_not_yet_open_nothing_was_seen() -> None:
    def width(here: float, later: float) -> float:
        found = arrival(
            told_minute=30.0, told_since_opening_min=30.0, planned_since_opening_min=30.0, planned_here_min=here,
            planned_later_min=later, sd_plan=0.25, sd_reading=0.1, k=2.0,
        )  # fmt: skip
        return found.high_minute - found.low_minute

    assert width(0.0, 35.0) == pytest.approx(2 * 2 * 0.25 * 35.0)
    assert width(35.0, 0.0) < width(20.0, 15.0) < width(0.0, 35.0)


def test_a_band_of_factors_stands_for_two_deviations_either_way() -> None:
    """scipy's log-normal distribution: 95.45 % of it lies within a band as wide."""
    low, high = lognorm(relative_sd_of_band(0.6, 1.7)).interval(0.954499736)
    assert high / low == pytest.approx(1.7 / 0.6)


@pytest.mark.parametrize(
    ("refused", "said"),
    [
        (lambda: remaining(used_kg=210.0), "no more than the 200 kg mixed"),
        (lambda: remaining(plan_so_far_kg=220.0), "214 kg in all"),
        (lambda: remaining(heel_kg=-1.0), "0 or more"),
        (lambda: shrunk_ratio(1, 0, sd_between=0.1, sd_reading=0.1), "above 0"),
        (lambda: ResinSpread(0.0, 0.04, 0.03, 2.3), "above 0"),
        (lambda: relative_sd_of_band(1.0, 1.0), "a band about 1"),
    ],
)
def test_what_cannot_be_forecast_is_refused_in_words(refused: Any, said: str) -> None:
    with pytest.raises(InputRefused, match=said):
        refused()
