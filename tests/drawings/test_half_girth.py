import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.drawings.half_girth import (
    LEFT,
    FeedLine,
    Front,
    GirthStation,
    GirthZone,
    Landmark,
    Mark,
    girth_ground,
    half_girth,
    zones_on_half_girth,
)
from hullbook.drawings.scene import Line, Polygon, Polyline, Rect
from tests.drawings.looking import as_svg, in_role, sticking_out, words_on

SHELL = [GirthZone("Keel", 0, 320, 14.2), GirthZone("Bottom", 320, 1250, 7.1), GirthZone("Topside", 1250, 2380, 3.55)]
STATIONS = [
    GirthStation("2", 1900, (Landmark("chine", 900),)),
    GirthStation("5", 2050, (Landmark("chine", 1150),)),
]


def blocks(scene):
    return [shape for shape in scene.shapes if isinstance(shape, Rect)]


def drawn(**layers):
    return half_girth(STATIONS, title="Pour", **layers)


# ---- The ground


def test_starboard_lies_above_port_and_both_begin_at_the_keel():
    ground = girth_ground(STATIONS)
    for strip in ground.strips:
        assert strip.starboard.bottom == strip.port.top
        assert strip.starboard.height == strip.port.height
    assert ground.at(0) == LEFT


def test_the_longest_station_reaches_the_flange_and_the_shorter_one_ends_before_to_the_same_scale():
    short, _, long, _ = blocks(drawn())
    assert short.x == long.x == LEFT
    assert short.width / long.width == pytest.approx(1900 / 2050)


def test_the_scale_is_the_same_everywhere_on_it():
    ground = girth_ground(STATIONS, width=1200)
    assert ground.at(1000) - ground.at(0) == pytest.approx(1000 * ground.units_per_mm)
    assert ground.at(2050) < 1200


def test_the_geometry_goes_with_the_drawing_as_data():
    ground = json.loads(as_svg(drawn()).attrib["data-ground"])
    assert [strip["station"] for strip in ground["strips"]] == ["2", "5"]
    assert ground["strips"][1]["place"] == "station 5"
    assert ground["strips"][1]["landmarks"] == [{"name": "chine", "mm": 1150}]
    chine = next(one for one in in_role(drawn(), "line") if isinstance(one, Line) and one.x1 == one.x2)
    assert chine.x1 == pytest.approx(ground["x0_px"] + 900 * ground["px_per_mm"])
    starboard, port = ground["strips"][0]["starboard"], ground["strips"][0]["port"]
    assert starboard["y"] + starboard["height"] == port["y"]


def test_a_girth_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one station"):
        girth_ground([])
    with pytest.raises(ValueError, match="longer than nought"):
        girth_ground([GirthStation("0", 0)])


# ---- Fronts, feed lines, marks


def test_the_skin_is_wetted_from_the_keel_to_the_furthest_front_told():
    scene = drawn(fronts=[Front("5", "port", 400), Front("5", "port", 1000)])
    (wet,) = in_role(scene, "resin")
    assert isinstance(wet, Polygon)
    ground = girth_ground(STATIONS)
    row = ground.row("5", "port")
    assert min(x for x, _ in wet.points) == LEFT
    assert max(x for x, _ in wet.points) == pytest.approx(ground.at(1000), abs=1)  # the crest of the wave
    assert {row.top, row.bottom} == {min(y for _, y in wet.points), max(y for _, y in wet.points)}


def test_a_guess_is_a_thin_dash_and_fills_nothing():
    scene = drawn(fronts=[Front("5", "starboard", 900, "guess"), Front("5", "starboard", 1200, "planned")])
    assert in_role(scene, "resin") == in_role(scene, "front") == []
    assert [line.x1 for line in in_role(scene, "guess")] == pytest.approx([girth_ground(STATIONS).at(900)])
    assert len(in_role(scene, "planned")) == 1


def test_a_front_told_is_a_solid_wave_in_ink():
    (wave,) = in_role(drawn(fronts=[Front("2", "starboard", 500)]), "front")
    assert isinstance(wave, Polyline)
    assert len({round(x, 3) for x, _ in wave.points}) > 2


def test_a_front_at_the_keel_has_wetted_nothing():
    assert in_role(drawn(fronts=[Front("2", "starboard", 0)]), "resin") == []


def test_a_feed_line_crosses_both_sides_or_the_one_it_lies_on():
    assert len(in_role(drawn(feed_lines=[FeedLine(1, 300)]), "feed-line")) == 4
    lines = in_role(drawn(feed_lines=[FeedLine(2, 300, "port")]), "feed-line")
    ground = girth_ground(STATIONS)
    assert {(line.y1, line.y2) for line in lines} == {(strip.port.top, strip.port.bottom) for strip in ground.strips}
    assert "line 2" in words_on(drawn(feed_lines=[FeedLine(2, 300, "port")]))


def test_a_mark_stands_at_its_girth_on_its_side_with_its_number():
    scene = drawn(marks=[Mark("5", "port", 700, "614", "square")])
    (square,) = [shape for shape in in_role(scene, "hollow") if isinstance(shape, Rect)]
    ground = girth_ground(STATIONS)
    assert square.x + square.width / 2 == pytest.approx(ground.at(700))
    assert square.y + square.height / 2 == pytest.approx(ground.row("5", "port").middle)
    assert "614" in words_on(scene)
    assert "614 at station 5 port, 700 mm from the keel" in scene.desc


def test_an_open_finding_is_a_triangle_and_an_accepted_one_a_diamond():
    corners = {}
    for shape in ("triangle", "diamond", "ring"):
        (mark,) = [
            one
            for one in in_role(drawn(marks=[Mark("5", "port", 700, "6", shape)]), "hollow")
            if isinstance(one, Polygon)
        ]
        corners[shape] = len(mark.points)
    assert corners == {"triangle": 3, "diamond": 4, "ring": 24}


def test_what_names_no_station_of_the_drawing_is_left_to_the_table():
    assert "9" not in words_on(drawn(marks=[Mark("7", "port", 700, "9")]))


@given(
    st.lists(st.floats(100, 6000), min_size=1, max_size=8),
    st.lists(
        st.tuples(st.integers(0, 7), st.sampled_from(["starboard", "port"]), st.floats(-50, 7000), st.booleans()),
        max_size=8,
    ),
)
def test_no_front_and_no_mark_leaves_the_drawing(flanges, told):
    stations = [
        GirthStation(str(number), flange, (Landmark("chine", flange / 2),)) for number, flange in enumerate(flanges)
    ]
    scene = half_girth(
        stations,
        title="<Pour & co>",
        feed_lines=[FeedLine(1, 250), FeedLine(2, 900, "port")],
        fronts=[Front(str(n), side, mm, "told" if is_told else "guess") for n, side, mm, is_told in told],
        marks=[
            Mark(str(n), side, mm, str(10**place), ("square", "triangle", "ring", "diamond", "probe")[place % 5])
            for place, (n, side, mm, _) in enumerate(told[:4])
        ],
    )
    assert sticking_out(scene) == []
    assert as_svg(scene) is not None


# ---- Zones


def test_zones_stand_side_by_side_to_scale_on_both_sides_of_the_keel_line():
    keel, keel_port, bottom, _, topside, _ = blocks(zones_on_half_girth(SHELL))
    assert keel.x == LEFT
    assert keel.x + keel.width == pytest.approx(bottom.x)
    assert bottom.width / keel.width == pytest.approx(930 / 320)
    assert keel.y + keel.height == pytest.approx(keel_port.y)
    assert (keel.width, keel.height) == (keel_port.width, keel_port.height)
    assert topside.x + topside.width == pytest.approx(girth_ground([GirthStation("", 2380)]).at(2380))


def test_a_zone_half_as_heavy_is_half_as_high():
    keel, _, bottom, _, topside, _ = blocks(zones_on_half_girth(SHELL))
    assert (bottom.height / keel.height, topside.height / keel.height) == pytest.approx((0.5, 0.25))


def test_a_zone_of_one_side_stands_on_that_side_alone():
    patch = GirthZone("Patch", 0, 320, 14.2, "port")
    (block,) = blocks(zones_on_half_girth([patch]))
    (middle,) = in_role(zones_on_half_girth([patch]), "ink")
    assert block.y == middle.y1


def test_every_zone_is_named_with_its_weight():
    assert {"Keel", "14.20", "Bottom", "7.10", "Topside", "3.55", "keel", "flange 2380"} <= set(
        words_on(zones_on_half_girth(SHELL))
    )


def test_the_model_s_own_chine_is_ticked_among_the_zones():
    scene = zones_on_half_girth(SHELL, landmarks=[Landmark("chine", 1181)], flange_mm=2500)
    assert {"chine", "flange 2500"} <= set(words_on(scene))


def test_zones_over_each_other_stand_on_strips_of_their_own():
    scene = zones_on_half_girth([*SHELL, GirthZone("Chine strip", 1200, 1300, 1.0)])
    assert len(in_role(scene, "ink")) == 2


def test_a_zone_of_unknown_weight_is_hatched_and_asked():
    scene = zones_on_half_girth([*SHELL[:2], GirthZone("Topside", 1250, 2380, None)])
    assert in_role(scene, "hatch")
    assert "?" in words_on(scene)
    assert "weight not known" in scene.desc


@given(
    st.lists(
        st.tuples(
            st.floats(0, 3000),
            st.floats(20, 2000),
            st.none() | st.floats(0.1, 40),
            st.sampled_from(["both", "port", "starboard"]),
        ),
        min_size=1,
        max_size=9,
    )
)
def test_nothing_of_any_zone_sticks_out(zones):
    given_zones = [
        GirthZone(f"Zone <{n}>", start, start + width, w, side) for n, (start, width, w, side) in enumerate(zones)
    ]
    assert sticking_out(zones_on_half_girth(given_zones)) == []


def test_zones_of_nothing_are_refused():
    with pytest.raises(ValueError, match="at least one zone"):
        zones_on_half_girth([])
