from itertools import pairwise

import pytest

from hullbook.drawings.hull_profile import STAGES, STEM, TRANSOM, hull_profile, lines_plan
from hullbook.drawings.scene import Polygon, Polyline
from tests.drawings.looking import as_svg, in_role, sticking_out, texts, words_on
from tests.drawings.tender import tender_lines

HOLDING = [*["done"] * 4, "under way", *["not begun"] * 6]


def from_lines():
    return hull_profile(HOLDING, hull="MB84-03", model="MB84", lines=tender_lines())


def curves(scene, role="ink"):
    return [shape for shape in in_role(scene, role) if isinstance(shape, Polyline)]


@pytest.mark.parametrize("lines", [None, tender_lines()], ids=["bar", "lines"])
def test_the_eleven_stages_stand_in_their_order_from_stem_to_transom(lines):
    scene = hull_profile(HOLDING, hull="MB84-03", lines=lines)
    named = [text for text in texts(scene) if text.words in STAGES]
    assert [text.words for text in named] == list(STAGES)
    assert all(one.x < other.x for one, other in pairwise(named))
    assert sticking_out(scene) == []


@pytest.mark.parametrize("lines", [None, tender_lines()], ids=["bar", "lines"])
def test_a_tick_is_full_half_or_hollow(lines):
    scene = hull_profile(HOLDING, hull="MB84-03", lines=lines)
    dots = [shape for shape in in_role(scene, "hollow") if isinstance(shape, Polygon)]
    filled = [shape for shape in in_role(scene, "solid") if isinstance(shape, Polygon)]
    assert len(dots) == 11
    assert [len(shape.points) for shape in filled] == [24, 24, 24, 24, 13]


def test_the_state_of_every_stage_is_said_in_words():
    assert "4 Hold under way; 5 Pour not begun" in from_lines().desc


def test_a_profile_without_lines_is_a_plain_bar_that_says_so():
    scene = hull_profile(HOLDING, hull="MB84-03", model="MB84")
    assert "no lines given for model MB84" in words_on(scene)
    assert curves(scene) == []


def test_keel_and_sheer_run_from_stem_to_transom_in_ink_and_the_chine_thinner():
    keel, sheer = curves(from_lines())
    (chine,) = curves(from_lines(), "line")
    for curve in (keel, sheer):
        assert (curve.points[0][0], curve.points[-1][0]) == pytest.approx((STEM, TRANSOM))
    assert chine.points[0][0] > STEM  # it meets the stem at station 1
    assert keel.points[0] == pytest.approx(sheer.points[0])


def test_the_profile_is_to_one_scale_and_passes_through_every_station():
    keel, sheer = curves(from_lines())
    lines = tender_lines()
    scale = (TRANSOM - STEM) / 8400
    base = max(y for _, y in keel.points)
    for name, curve in (("keel", keel), ("sheer", sheer)):
        on_the_curve = {round(x, 6): y for x, y in curve.points}
        for point in lines.points(name):
            x = round(STEM + point.x_mm * scale, 6)
            assert on_the_curve[x] == pytest.approx(base - point.height_mm * scale)


def test_no_line_of_the_profile_swings_beyond_its_stations():
    lines = tender_lines()
    scale = (TRANSOM - STEM) / 8400
    keel, sheer = curves(from_lines())
    base = max(y for _, y in keel.points)
    for before, after in pairwise(lines.points("sheer")):
        span = [y for x, y in sheer.points if before.x_mm * scale <= x - STEM <= after.x_mm * scale]
        heights = sorted((base - before.height_mm * scale, base - after.height_mm * scale))
        assert heights[0] - 1e-6 <= min(span) <= max(span) <= heights[1] + 1e-6


def test_the_dots_lie_on_the_sheer():
    _, sheer = curves(from_lines())
    heights = [y for _, y in sheer.points]
    for dot in [shape for shape in in_role(from_lines(), "hollow") if isinstance(shape, Polygon)]:
        middle = sum(y for _, y in dot.points) / len(dot.points)
        assert min(heights) <= middle <= max(heights)


def test_the_stations_are_named_under_the_keel():
    assert [str(number) for number in range(11)] == [
        text.words for text in texts(from_lines()) if text.role == "figure" and text.size == 13
    ]


def test_a_hostile_name_is_words():
    assert as_svg(hull_profile(HOLDING, hull="<A&B>", model="<M>" * 200)) is not None
    assert sticking_out(hull_profile(HOLDING, hull="x", model="M" * 300)) == []


def test_a_build_has_eleven_stages_and_no_other_number():
    with pytest.raises(ValueError, match="11 stages"):
        hull_profile(HOLDING[:10], hull="MB84-03")


def test_the_lines_plan_has_profile_and_half_breadths_over_each_other():
    scene = lines_plan(tender_lines(), model="MB84")
    assert sticking_out(scene) == []
    keel, sheer, middle_sheer = curves(scene)
    assert max(y for _, y in keel.points) < min(y for _, y in middle_sheer.points)
    # as wide as the boat at station 6: 1450 mm at the scale of the length
    widest = max(y for _, y in middle_sheer.points) - min(y for _, y in middle_sheer.points)
    assert widest == pytest.approx(1450 * (TRANSOM - STEM) / 8400, rel=0.001)
    assert sheer is not middle_sheer
