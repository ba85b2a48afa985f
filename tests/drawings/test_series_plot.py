import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.drawings.scene import Line, Polyline, Rect
from hullbook.drawings.series_plot import BOTTOM, LEFT, RIGHT, TOP, Band, Limit, Series, series_plot
from tests.drawings.looking import in_role, sticking_out, words_on

READ = [(minute, 16 + 0.1 * minute) for minute in range(0, 31, 5)]


def hold_test(**more):
    return series_plot(
        [Series("read", READ, "points"), Series("line of best fit", [(0, 16.0), (30, 19.0)], "planned")],
        x_label="minutes since the bag was isolated",
        y_label="bag pressure, mbar absolute",
        title="Hold test 2",
        **more,
    )


def lines_of(scene, role="series-1"):
    return [shape for shape in scene.shapes if isinstance(shape, Polyline) and shape.role == role]


def cure(points, name="Keel"):
    return series_plot([Series(name, points)], x_label="hours", y_label="°C", title="Cure")


def test_every_reading_of_a_hold_test_is_a_dot_and_the_fit_a_dashed_line():
    scene = hold_test()
    # one more dot stands beside the name
    assert len(in_role(scene, "solid")) == len(READ) + 1
    assert len(lines_of(scene, "planned")) == 1


def test_a_limit_is_a_line_across_the_frame_hatched_where_nothing_should_be():
    scene = hold_test(limits=[Limit(21, "limit 21 mbar")])
    across = next(line for line in in_role(scene, "limit") if line.x2 - line.x1 == RIGHT - LEFT)
    assert all(max(line.y1, line.y2) <= across.y1 + 1e-6 for line in in_role(scene, "hatch"))
    assert "limit 21 mbar" in " ".join(words_on(scene))


def test_a_lower_limit_is_hatched_below_its_line():
    scene = hold_test(limits=[Limit(16.5, "at least", "below")])
    across = next(line for line in in_role(scene, "limit") if line.x2 - line.x1 == RIGHT - LEFT)
    assert all(min(line.y1, line.y2) >= across.y1 - 1e-6 for line in in_role(scene, "hatch"))


def test_a_limit_no_reading_comes_near_is_still_in_the_frame():
    scene = hold_test(limits=[Limit(40, "limit 40 mbar")])
    assert all(TOP <= line.y1 <= BOTTOM for line in in_role(scene, "limit"))


def test_a_wanted_band_is_as_high_as_its_values():
    scene = hold_test(bands=[Band(16, 18, "as wanted")])
    band = next(shape for shape in in_role(scene, "band") if isinstance(shape, Rect) and shape.width == RIGHT - LEFT)
    step = (BOTTOM - TOP) / (19 - 16)
    assert band.height == pytest.approx(2 * step)


def test_a_gap_leaves_the_line_open():
    lines = lines_of(cure([(0, 20.0), (1, 25.0), (2, None), (3, 40.0), (4, 38.0)]))
    assert [len(line.points) for line in lines] == [2, 2]
    assert lines[0].points[-1][0] < lines[1].points[0][0]


def test_a_reading_alone_between_gaps_still_shows_as_a_mark():
    scene = cure([(0, 20.0), (1, None), (2, 30.0), (3, None), (4, 25.0)])
    assert lines_of(scene) == []
    assert len(in_role(scene, "solid")) == 3


def test_four_series_are_told_apart_without_colour():
    points = [(hour, 20.0 + hour) for hour in range(5)]
    scene = series_plot(
        [Series(name, points) for name in ("Keel", "Bottom", "Chine", "Topside")],
        x_label="hours",
        y_label="°C",
        title="Cure",
    )
    assert all(len(lines_of(scene, f"series-{number}")) == 1 for number in (1, 2, 3, 4))
    assert {"Keel", "Bottom", "Chine", "Topside"} <= set(words_on(scene))


def test_names_that_would_lie_on_each_other_are_moved_apart():
    points = [(hour, 20.0) for hour in range(3)]
    scene = series_plot(
        [Series(name, points) for name in ("Keel", "Bottom", "Topside")], x_label="hours", y_label="°C", title="Cure"
    )
    heights = sorted(shape.y for shape in scene.shapes if getattr(shape, "role", "") == "label")
    assert all(below - above >= 17 for above, below in zip(heights, heights[1:], strict=False))


def test_a_long_run_keeps_its_peak():
    points = [(minute / 10, 20.0) for minute in range(20_000)]
    points[7_123] = (712.3, 95.0)
    (line,) = lines_of(cure(points))
    assert len(line.points) < 2_000
    assert min(y for _, y in line.points) == pytest.approx(TOP + 5 / 80 * (BOTTOM - TOP))


def test_ticks_rise_along_both_axes():
    scene = hold_test()
    along = [line.x1 for line in scene.shapes if isinstance(line, Line) and line.y1 == BOTTOM and line.x1 == line.x2]
    up = [line.y1 for line in scene.shapes if isinstance(line, Line) and line.x2 == LEFT and line.y1 == line.y2]
    assert along == sorted(along)
    assert up == sorted(up, reverse=True)


def test_what_is_drawn_is_said_in_words():
    desc = hold_test(limits=[Limit(21, "21 mbar")]).desc
    assert "read: 7 values, 16 to 19" in desc
    assert "Limit 21 mbar" in desc


reading = st.tuples(st.floats(0, 48), st.none() | st.floats(-20, 200))


@given(st.lists(st.lists(reading, min_size=1, max_size=30), min_size=1, max_size=6), st.floats(-20, 200))
def test_nothing_of_any_plot_sticks_out(runs, limit):
    series = [Series(f"Laminate probe, channel {n}", sorted(run, key=lambda one: one[0])) for n, run in enumerate(runs)]
    if not any(y is not None for run in runs for _, y in run):
        series.append(Series("one", [(1.0, 20.0)]))
    scene = series_plot(
        series,
        x_label="hours since the last pail",
        y_label="°C",
        title="Cure",
        limits=[Limit(limit, "the maker's limit for this resin")],
        bands=[Band(18, 25, "shed")],
    )
    assert sticking_out(scene) == []


def test_a_plot_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one reading"):
        cure([(0, None)])
