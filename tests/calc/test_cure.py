from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.cure import exotherm, minutes_above
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values

SHARED = Path(__file__).parents[2] / "shared"
ROWS = check_values(SHARED, "cure")
MINUTES = tuple(range(0, 125, 5))
CURVE = (
    20.0, 20.0, 20.1, 20.2, 20.4, 20.7, 21.0, 21.5, 22.1, 23.0, 24.6, 27.5, 34.0, 52.0, 88.0, 112.0, 117.0,
    113.0, 105.0, 96.5, 88.0, 80.0, 73.0, 66.5, 61.0,
)  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['check']} {row['quantity']} {row['expected']}")
def test_cure_plots_agree_with_the_table(row: dict[str, Any]) -> None:
    value = found(row)
    assert agrees(row, value), value


@given(st.floats(30, 90), st.floats(60, 180), st.floats(0.01, 0.05), st.integers(0, 2**32 - 1))
def test_the_top_of_a_parabola_is_found_from_uneven_hand_readings(
    top_minutes: float, top_c: float, curvature: float, seed: int
) -> None:
    # A curve that is a parabola near its top, read at uneven times.
    dice = np.random.default_rng(seed)
    minutes = np.cumsum(dice.uniform(1, 6, 40))
    curve = top_c - curvature * (minutes - top_minutes) ** 2
    flat = np.maximum(curve, 20.0)
    features = exotherm(minutes.tolist(), flat.tolist(), onset_rise_k=5)
    assert features.peak_minutes == pytest.approx(top_minutes, abs=1e-3)
    assert features.peak_c == pytest.approx(top_c, abs=1e-3)
    assert features.peak_passed


@given(st.lists(st.floats(0, 60), min_size=6, max_size=30), st.floats(-10, 10))
def test_a_probe_that_reads_a_little_high_everywhere_changes_neither_area_nor_times(
    rises: list[float], offset: float
) -> None:
    temperatures = [20.0] * 4 + [20 + rise for rise in rises]
    minutes = [5.0 * step for step in range(len(temperatures))]
    true = exotherm(minutes, temperatures, onset_rise_k=5)
    shifted = exotherm(minutes, [celsius + offset for celsius in temperatures], onset_rise_k=5)
    assert shifted.area_k_h == pytest.approx(true.area_k_h, abs=1e-9)
    assert shifted.greatest_rate_k_min == pytest.approx(true.greatest_rate_k_min, abs=1e-9)


@given(st.floats(25, 110))
def test_time_above_a_temperature_is_what_a_finely_drawn_curve_shows(threshold_c: float) -> None:
    fine = np.linspace(0, 120, 120_001)
    wanted = float((np.interp(fine, MINUTES, CURVE) >= threshold_c).mean()) * 120
    assert minutes_above(MINUTES, CURVE, threshold_c, greatest_gap_minutes=5) == pytest.approx(wanted, abs=0.01)


def test_a_laminate_that_never_warms_has_no_onset() -> None:
    features = exotherm(MINUTES[:8], (20.0,) * 8, onset_rise_k=5)
    assert features.onset_minutes is None
    assert features.area_k_h == 0
    assert features.greatest_rate_k_min == 0


def test_a_curve_still_rising_has_not_passed_its_peak() -> None:
    features = exotherm(MINUTES[:16], CURVE[:16], onset_rise_k=5)
    assert not features.peak_passed
    assert (features.peak_c, features.peak_minutes) == (112.0, 75.0)


def test_a_flat_top_is_its_first_reading() -> None:
    features = exotherm(MINUTES[:8], (20.0, 20.0, 20.0, 20.0, 60.0, 60.0, 60.0, 50.0), onset_rise_k=5)
    assert features.highest_reading_minutes == 20
    assert features.peak_minutes == pytest.approx(22.5)


def test_a_gap_in_the_log_earns_no_time() -> None:
    minutes, temperatures = (0.0, 5.0, 65.0, 70.0), (60.0, 60.0, 60.0, 60.0)
    assert minutes_above(minutes, temperatures, 50, greatest_gap_minutes=60) == 70
    assert minutes_above(minutes, temperatures, 50, greatest_gap_minutes=10) == 10


@pytest.mark.parametrize(
    ("minutes", "temperatures", "key"),
    [
        ((0, 5, 10), (20, 20, 20), "insufficient_data"),
        ((0, 5, 10, 10, 15, 20), (20,) * 6, "inconsistent"),
        ((0, 5, 10, 15, 20, 25), (20, 20, 20, 20, 20, 900), "impossible"),
        ((0, 5, 10, 15, 20, 25), (80, 20, 20, 20, 20, 30), "inconsistent"),
        ((0, 5, 10, 15, 20, 25), (20, 20, 20, 20, 20, float("inf")), "not_a_number"),
    ],
)
def test_a_curve_that_cannot_be_is_refused(
    minutes: tuple[float, ...], temperatures: tuple[float, ...], key: str
) -> None:
    with pytest.raises(InputRefused) as refused:
        exotherm(minutes, temperatures, onset_rise_k=5)
    assert refused.value.key == key


def test_an_onset_of_nothing_is_refused() -> None:
    with pytest.raises(InputRefused) as refused:
        exotherm(MINUTES, CURVE, onset_rise_k=0)
    assert refused.value.key == "not_positive"
