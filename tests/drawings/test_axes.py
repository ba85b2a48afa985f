import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.drawings.axes import Axis, nice_ticks, round_step, tick_words

values = st.floats(-1e5, 1e5).filter(lambda value: value == 0 or abs(value) > 1e-3)


@given(values, values)
def test_ticks_rise_evenly_and_hold_the_readings_between_them(one, other):
    low, high = min(one, other), max(one, other)
    ticks = nice_ticks(low, high)
    step = ticks[1] - ticks[0]
    assert step > 0
    assert all(after - before == pytest.approx(step, rel=1e-6) for before, after in zip(ticks, ticks[1:], strict=False))
    assert ticks[0] <= low + step * 1e-6
    assert ticks[-1] >= high - step * 1e-6


@given(values, values)
def test_ticks_are_never_a_crowd(one, other):
    assert 2 <= len(nice_ticks(min(one, other), max(one, other))) <= 12


def test_steps_are_one_two_or_five():
    assert [round_step(span, 1) for span in (0.9, 1.1, 3, 7, 40)] == pytest.approx([1, 2, 5, 10, 50])


def test_a_hold_test_from_16_to_21_mbar_is_ticked_every_mbar():
    assert nice_ticks(16.2, 20.7) == [16, 17, 18, 19, 20, 21]


def test_a_lone_reading_gets_room_on_both_sides():
    ticks = nice_ticks(20, 20)
    assert ticks[0] < 20 < ticks[-1]


def test_figures_on_ticks_carry_the_decimals_of_their_step_and_a_true_minus():
    assert tick_words([-0.5, 0.0, 0.5]) == ["−0.5", "0.0", "0.5"]
    assert tick_words([0, 200, 400]) == ["0", "200", "400"]


def test_an_axis_may_run_up_the_page():
    axis = Axis(0, 10, 300, 100)
    assert [axis.at(value) for value in (0, 5, 10)] == [300, 200, 100]
