import pytest

from hullbook.drawings.half_girth import Arrival, FeedLine, GirthStation, arrivals_on_half_girth
from hullbook.drawings.scene import Line, Polyline
from hullbook.drawings.time_bar import PailBar, Step, time_bar
from tests.drawings.looking import as_svg, in_role, sticking_out, words_on

STEPS = [Step("line 1", 0.0), Step("line 2", 35.0)]


def test_a_pail_is_hatched_from_mixed_to_gel_and_barred_while_it_is_drawn_from() -> None:
    scene = time_bar([PailBar(1, -5, 0, 10, 80), PailBar(2, 6, 10, 60, 91)], STEPS, 60, title="Pails")
    assert in_role(scene, "hatch")
    assert len(in_role(scene, "solid")) == 2
    assert not in_role(scene, "limit")
    assert {"pail 1", "pail 2", "line 1", "line 2"} <= set(words_on(scene))
    assert not sticking_out(scene)
    as_svg(scene)


def test_a_pail_that_gels_before_it_is_used_up_is_edged_as_a_limit() -> None:
    scene = time_bar([PailBar(1, -5, 0, 10, 80), PailBar(2, 6, 10, 95, 91)], STEPS, 95, title="Pails")
    assert len(in_role(scene, "limit")) == 1
    assert "before it is used up" in scene.desc


def test_a_pail_whose_gel_is_not_known_is_not_hatched() -> None:
    scene = time_bar([PailBar(1, -5, 0, 10, None)], STEPS, 60, title="Pails")
    assert not in_role(scene, "hatch")
    assert "gel not known" in scene.desc


def test_each_line_opened_stands_a_step_higher() -> None:
    scene = time_bar([PailBar(1, -5, 0, 10, None)], STEPS, 60, title="Pails")
    (steps,) = [shape for shape in in_role(scene, "ink") if isinstance(shape, Polyline)]
    heights = [y for _, y in steps.points]
    assert heights == sorted(heights, reverse=True)
    assert len(set(heights)) == 3


def test_no_pail_is_no_bar() -> None:
    with pytest.raises(ValueError, match="pail"):
        time_bar([], STEPS, 60, title="Pails")


def test_the_planned_front_is_dashed_at_its_minutes_to_scale() -> None:
    arrivals = [Arrival("5", "port", 500, 10), Arrival("5", "port", 1000, 40)]
    scene = arrivals_on_half_girth([GirthStation("5", 1000)], arrivals, title="Front", feed_lines=[FeedLine(1, 0)])
    lines = [shape for shape in in_role(scene, "planned") if isinstance(shape, Line)]
    x0, scale = scene.ground["x0_px"], scene.ground["px_per_mm"]
    assert [line.x1 for line in lines] == pytest.approx([x0 + 500 * scale, x0 + 1000 * scale])
    assert {"10", "40"} <= set(words_on(scene))
    assert not sticking_out(scene)


def test_minutes_that_would_run_into_each_other_are_left_out() -> None:
    arrivals = [Arrival("5", "port", girth, girth / 10) for girth in (500, 505, 510)]
    scene = arrivals_on_half_girth([GirthStation("5", 1000)], arrivals, title="Front")
    assert len(in_role(scene, "planned")) == 3
    assert len([word for word in words_on(scene) if word in {"50", "51"}]) == 1
