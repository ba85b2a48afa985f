import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.quantities.showing import rounded, set_off_thousands, show, show_elapsed


@pytest.mark.parametrize(
    ("value", "places", "text"),
    # ISO 80000-1 Annex B, rule A: halves to even; from memory, standard not opened.
    [(12.35, 1, "12.4"), (12.25, 1, "12.2"), (1.005, 2, "1.00"), (2.5, 0, "2"), (3.5, 0, "4"), (-0.004, 2, "0.00")],
)
def test_a_figure_is_rounded_once_halves_to_even(value: float, places: int, text: str) -> None:
    assert rounded(value, places) == text


def test_a_figure_carries_its_unit_with_a_space_that_does_not_break() -> None:
    assert show(0.8, "kg/m2") == "0.800\u00a0kg/m²"
    assert show(None, "kg") == "–"
    assert show(0.52, "fraction") == "0.520"


@pytest.mark.parametrize(
    ("text", "shown"),
    # ISO 80000-1, 7.3.1: groups of three by a small space, never a point or a comma; from memory, standard not opened.
    [
        ("2069\u00a0mm", "2\u202f069\u00a0mm"),
        ("1234567.5", "1\u202f234\u202f567.5"),
        ("-1450", "-1\u202f450"),
        ("999.12345", "999.12345"),
        ("0.00012", "0.00012"),
        ("12.3456", "12.3456"),
        ("–", "–"),
    ],
)
def test_on_a_page_thousands_are_set_off_by_a_narrow_space(text: str, shown: str) -> None:
    assert set_off_thousands(text) == shown


@given(value=st.floats(-1e8, 1e8), places=st.integers(0, 6))
def test_rounding_moves_a_figure_by_half_a_step_at_most(value: float, places: int) -> None:
    assert abs(float(rounded(value, places)) - value) <= 0.5 * 10**-places * (1 + 1e-9) + abs(value) * 1e-15


@pytest.mark.parametrize(
    ("minutes", "text"),
    [
        (0.4, "0\u00a0min"),
        (119.9, "119\u00a0min"),
        (120, "2\u00a0h 0\u00a0min"),
        (2879, "47\u00a0h 59\u00a0min"),
        (2880, "2\u00a0days"),
    ],
)
def test_time_gone_by_is_said_in_minutes_then_hours_then_days(minutes: float, text: str) -> None:
    assert show_elapsed(minutes) == text
