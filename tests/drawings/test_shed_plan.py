import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.drawings.scene import Area, Polygon, Polyline
from hullbook.drawings.shed_plan import (
    PLAIN_OUTLINE,
    TARGET,
    PlacedBay,
    PlacedHull,
    PlacedMould,
    PlacedThing,
    bay_at,
    shed_plan,
)
from tests.drawings.looking import as_svg, in_role, sticking_out, words_on

BAY = PlacedBay("Bay 1", PlacedThing(10, 6, 20, 12))


def hull(done=5.5, heading=0.0, **changes):
    place = changes.pop("place", PlacedThing(10, 6, 8.4, 2.9, heading))
    return PlacedHull("MB84-05", place, PLAIN_OUTLINE, done, "pour", **changes)


def polygon(scene, role):
    (found,) = [shape for shape in in_role(scene, role) if isinstance(shape, Polygon)]
    return found.points


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [(10, 6, "Bay 1"), (0.1, 0.1, "Bay 1"), (30, 6, "Bay 2"), (27.1, 14.9, "Bay 2"), (24, 6, ""), (33.1, 6, "")],
)
def test_a_thing_is_in_the_bay_that_its_middle_lies_in(x, y, said):
    """By hand: bay 1 is 20 by 12 m about (10, 6); bay 2, turned a quarter, 6 m wide and 18 m long about (30, 6)."""
    bays = [BAY, PlacedBay("Bay 2", PlacedThing(30, 6, 18, 6, 90))]
    assert bay_at(PlacedThing(x, y, 8.4, 2.9, 45), bays) == said


def test_length_and_breadth_are_to_one_scale():
    rim = polygon(shed_plan([BAY], [], [hull()]), "hollow")
    long = max(x for x, _ in rim) - min(x for x, _ in rim)
    wide = max(y for _, y in rim) - min(y for _, y in rim)
    assert long / wide == pytest.approx(8.4 / 2.9)
    (bay,) = in_role(shed_plan([BAY], [], [hull()]), "line")[:1]
    assert isinstance(bay, Polyline)
    assert (max(x for x, _ in bay.points) - min(x for x, _ in bay.points)) / long == pytest.approx(20 / 8.4)


@pytest.mark.parametrize(("done", "share"), [(5.5, 0.5), (11, 1.0), (1, 1 / 11)])
def test_a_hull_is_filled_from_the_transom_forward_by_the_stages_done(done, share):
    scene = shed_plan([BAY], [], [hull(done)])
    rim, filled = polygon(scene, "hollow"), polygon(scene, "resin")
    # heading 0: the bow to the right, so the transom is the smallest x
    assert min(x for x, _ in filled) == pytest.approx(min(x for x, _ in rim))
    length = max(x for x, _ in rim) - min(x for x, _ in rim)
    assert max(x for x, _ in filled) - min(x for x, _ in filled) == pytest.approx(share * length)


def test_nothing_done_fills_nothing():
    assert in_role(shed_plan([BAY], [], [hull(0)]), "resin") == []


def test_heading_90_has_the_bow_down():
    rim = polygon(shed_plan([BAY], [], [hull(heading=90.0)]), "hollow")
    bow = max(rim, key=lambda point: point[1])
    assert bow[0] == pytest.approx(sum(x for x, _ in rim) / len(rim), abs=0.5)
    assert max(y for _, y in rim) - min(y for _, y in rim) > max(x for x, _ in rim) - min(x for x, _ in rim)


def test_who_is_waited_for_flies_as_a_flag_with_the_name():
    scene = shed_plan([BAY], [], [hull(flag="Kester Jory (invented)")])
    assert "Kester Jory (invented)" in words_on(scene)
    assert "waits for Kester Jory" in scene.desc
    assert in_role(scene, "on-solid")
    assert in_role(shed_plan([BAY], [], [hull()]), "on-solid") == []


def test_a_pour_under_way_has_a_wavy_edge_and_stands_still():
    (edge,) = in_role(shed_plan([BAY], [], [hull(is_pouring=True)]), "front")
    assert edge.points[0] == edge.points[-1]
    assert len(edge.points) > 100
    assert in_role(shed_plan([BAY], [], [hull()]), "front") == []


def test_a_hull_is_a_way_on_at_least_20_mm_each_way():
    small = PlacedThing(10, 6, 4, 1)
    (area,) = [
        shape
        for shape in shed_plan([BAY], [], [hull(place=small, href="/hulls/MB84-05/")]).shapes
        if isinstance(shape, Area)
    ]
    # the drawing is 1000 wide; on a tablet of 1280 px and 6 px to the mm, 20 mm are 120 px
    assert area.width >= TARGET
    assert area.height >= TARGET
    assert TARGET * 1.2 >= 120
    svg = as_svg(shed_plan([BAY], [], [hull(href='/hulls/x/?a=1&b="<')]))
    (link,) = svg.iter("{http://www.w3.org/2000/svg}a")
    assert link.attrib["href"] == '/hulls/x/?a=1&b="<'
    assert svg.attrib["role"] == "group"


def test_a_mould_stands_in_pencil_with_its_name():
    scene = shed_plan([BAY], [PlacedMould("M-84", PlacedThing(10, 6, 9.2, 3.6))], [])
    assert in_role(scene, "planned")
    assert "mould M-84" in words_on(scene)
    assert scene.desc == "No hull in any mould."


def test_a_plan_of_nothing_is_refused():
    with pytest.raises(ValueError, match="at least one bay"):
        shed_plan([], [], [])


@given(
    st.lists(
        st.tuples(
            st.floats(0, 60), st.floats(0, 40), st.floats(2, 24), st.floats(1, 8), st.floats(0, 359), st.floats(0, 11)
        ),
        min_size=1,
        max_size=6,
    ),
    st.booleans(),
)
def test_no_hull_leaves_the_plan(places, is_pouring):
    hulls = [
        PlacedHull(f"<{n}>", PlacedThing(x, y, long, wide, heading), PLAIN_OUTLINE, done, "pour", "", is_pouring)
        for n, (x, y, long, wide, heading, done) in enumerate(places)
    ]
    scene = shed_plan([PlacedBay("Bay", PlacedThing(30, 20, 100, 80))], [], hulls)
    assert sticking_out(scene) == []
