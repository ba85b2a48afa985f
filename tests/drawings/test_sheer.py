import pytest

from hullbook.drawings.scene import Line, Polyline
from hullbook.drawings.sheer import HEIGHT, WIDTH, sheer_line
from tests.drawings.looking import in_role, sticking_out
from tests.drawings.tender import tender_lines


def test_the_sheer_runs_the_whole_width_and_ends_lower_than_the_stem():
    (curve,) = [shape for shape in in_role(sheer_line(tender_lines()), "ink") if isinstance(shape, Polyline)]
    (left, stem), (right, transom) = curve.points[0], curve.points[-1]
    assert (left, right) == pytest.approx((0, WIDTH))
    assert stem < transom < max(y for _, y in curve.points)  # lowest a good way aft, as the offsets say


def test_every_station_between_the_ends_is_ticked():
    ticks = [shape for shape in in_role(sheer_line(tender_lines()), "line") if isinstance(shape, Line)]
    assert [tick.x1 / WIDTH * 8400 for tick in ticks] == pytest.approx(
        [420, 1120, 1960, 2800, 3920, 5040, 6160, 7000, 7700]
    )
    assert all(tick.y2 > tick.y1 for tick in ticks)


def test_it_stays_a_thin_rule():
    scene = sheer_line(tender_lines())
    assert sticking_out(scene) == []
    assert HEIGHT < WIDTH / 20
