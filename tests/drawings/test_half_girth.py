import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.drawings.half_girth import LEFT, RIGHT, GirthZone, half_girth
from hullbook.drawings.scene import Rect
from tests.drawings.looking import in_role, sticking_out, words_on

SHELL = [GirthZone("Keel", 0, 320, 14.2), GirthZone("Bottom", 320, 1250, 7.1), GirthZone("Topside", 1250, 2380, 3.55)]


def blocks(scene):
    return [shape for shape in scene.shapes if isinstance(shape, Rect)]


def test_zones_stand_side_by_side_to_scale_from_keel_to_flange():
    keel, bottom, topside = blocks(half_girth(SHELL))
    assert keel.x == LEFT
    assert keel.x + keel.width == pytest.approx(bottom.x)
    assert topside.x + topside.width == pytest.approx(RIGHT)
    assert bottom.width / keel.width == pytest.approx(930 / 320)


def test_a_zone_half_as_heavy_is_half_as_high():
    keel, bottom, topside = blocks(half_girth(SHELL))
    assert (bottom.height / keel.height, topside.height / keel.height) == pytest.approx((0.5, 0.25))


def test_every_zone_is_named_with_its_weight():
    assert {"Keel", "14.20", "Bottom", "7.10", "Topside", "3.55", "keel", "flange 2380"} <= set(
        words_on(half_girth(SHELL))
    )


def test_zones_over_each_other_stand_on_bars_of_their_own():
    scene = half_girth([*SHELL, GirthZone("Chine strip", 1200, 1300, 1.0)])
    assert len(in_role(scene, "ink")) == 2


def test_a_zone_of_unknown_weight_is_hatched_and_asked():
    scene = half_girth([*SHELL[:2], GirthZone("Topside", 1250, 2380, None)])
    assert in_role(scene, "hatch")
    assert "?" in words_on(scene)
    assert "weight not known" in scene.desc


@given(
    st.lists(st.tuples(st.floats(0, 3000), st.floats(20, 2000), st.none() | st.floats(0.1, 40)), min_size=1, max_size=9)
)
def test_nothing_of_any_girth_sticks_out(zones):
    scene = half_girth([GirthZone(f"Zone <{n}>", start, start + width, w) for n, (start, width, w) in enumerate(zones)])
    assert sticking_out(scene) == []


def test_a_girth_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one zone"):
        half_girth([])
