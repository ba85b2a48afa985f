import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.drawings.planned_used import LEFT, PlannedUsed, planned_used
from hullbook.drawings.scene import Line, Polygon, Rect
from tests.drawings.looking import in_role, sticking_out, words_on

SHELL = PlannedUsed("Main shell", 138, 151, 166, 158.2)


def bands(scene):
    """All but the piece that explains the marks."""
    return [shape for shape in in_role(scene, "band") if isinstance(shape, Rect)][1:]


def used_marks(scene):
    return [shape for shape in scene.shapes if isinstance(shape, Polygon)][1:]


def test_the_used_mark_stands_inside_the_band_it_kept_to():
    scene = planned_used([SHELL], unit="kg")
    (band,), (mark,) = bands(scene), used_marks(scene)
    assert band.x < mark.points[2][0] < band.x + band.width


def test_the_used_mark_stands_beyond_the_band_it_left():
    scene = planned_used([PlannedUsed("Liner", 30, 33, 37, 41.5)], unit="kg")
    (band,), (mark,) = bands(scene), used_marks(scene)
    assert mark.points[2][0] > band.x + band.width


def test_the_expected_value_is_a_pencil_tick_in_the_band():
    scene = planned_used([SHELL], unit="kg")
    (band,) = bands(scene)
    (tick,) = [shape for shape in in_role(scene, "planned") if isinstance(shape, Line)]
    assert (tick.x1 - band.x) / band.width == pytest.approx((151 - 138) / (166 - 138))


def test_a_part_not_yet_poured_shows_its_plan_and_no_mark():
    scene = planned_used([SHELL, PlannedUsed("Deck", 60, 66, 74)], unit="kg")
    assert len(bands(scene)) == 2
    assert len(used_marks(scene)) == 1
    assert "–" in words_on(scene)
    assert "Deck: planned 60.0 to 74.0, expected 66.0, used not known kg" in scene.desc


def test_figures_stand_beside_the_drawing():
    assert {"151.0", "158.2", "planned, kg", "used, kg"} <= set(words_on(planned_used([SHELL], unit="kg")))


amounts = st.lists(st.floats(0.1, 500), min_size=3, max_size=3).map(sorted)


@given(st.lists(st.tuples(amounts, st.none() | st.floats(0, 900)), min_size=1, max_size=8))
def test_nothing_of_any_plan_sticks_out(plans):
    rows = [PlannedUsed(f"Part <{n}>", *plan, used) for n, (plan, used) in enumerate(plans)]
    scene = planned_used(rows, unit="kg")
    assert sticking_out(scene) == []
    assert all(band.x >= LEFT - 1e-6 for band in bands(scene))


def test_a_plan_out_of_order_is_refused():
    with pytest.raises(ValueError, match="Deck: low, expected and high out of order"):
        planned_used([PlannedUsed("Deck", 70, 66, 74)], unit="kg")


def test_nothing_planned_is_refused():
    with pytest.raises(ValueError, match="nothing planned"):
        planned_used([], unit="kg")
