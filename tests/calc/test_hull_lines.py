"""Lines of a hull from its table of offsets: girths against sums by hand, curves against what a batten may do."""

from itertools import pairwise
from math import hypot, pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.errors import InputRefused
from hullbook.calc.hull_lines import Offset, faired, faired_line, hull_lines


def station(name, x, *points):
    return [Offset(name, x, line, half_breadth, height) for line, half_breadth, height in points]


def tender():
    return [
        *station("10", 8400.0, ("keel", 0, 0), ("chine", 1095, 315), ("sheer", 1380, 1200)),
        *station("0", 0.0, ("keel", 0, 1370), ("sheer", 0, 1370)),
        *station("5", 3920.0, ("sheer", 1430, 1185), ("keel", 0, 5), ("chine", 1115, 395)),
    ]


def test_sections_stand_from_stem_to_transom_and_points_from_keel_to_sheer():
    lines = hull_lines(tender())
    assert [section.station for section in lines.sections] == ["0", "5", "10"]
    assert [point.line for point in lines.sections[1].points] == ["keel", "chine", "sheer"]
    assert lines.length_mm == 8400
    assert lines.names == ("keel", "chine", "sheer")


def test_the_girth_of_a_section_is_the_sum_of_its_sides_by_pythagoras():
    amidships = hull_lines(tender()).sections[1]
    # by hand: 1115 out and 390 up, then 315 out and 790 up
    by_hand = (1115**2 + 390**2) ** 0.5 + (315**2 + 790**2) ** 0.5
    assert by_hand == pytest.approx(2031.7, abs=0.1)
    assert amidships.girth_mm == pytest.approx(by_hand)
    assert amidships.girth_to("chine") == pytest.approx((1115**2 + 390**2) ** 0.5)
    assert amidships.girth_to("keel") == 0


def test_a_three_four_five_section_has_a_girth_of_five():
    flat = [*station("1", 0.0, ("keel", 0, 0), ("sheer", 3, 4)), *station("2", 10.0, ("keel", 0, 0), ("sheer", 3, 4))]
    lines = hull_lines([*flat, *station("3", 20.0, ("keel", 1, 0), ("sheer", 4, 4))])
    assert [section.girth_mm for section in lines.sections] == pytest.approx([5, 5, 6])


def test_many_chines_round_a_quarter_circle_come_near_its_arc():
    # a quarter circle of radius 1000, its polygon of 10 sides: 20 r sin(pi / 40), the textbook length of a chord
    names = ["keel", "chine", *(f"chine {number}" for number in range(2, 10)), "sheer"]
    arc = [
        Offset("5", 10.0, name, 1000 * np.sin(turn), 1000 - 1000 * np.cos(turn))
        for name, turn in zip(names, np.linspace(0, pi / 2, len(names)), strict=True)
    ]
    ends = [*station("0", 0.0, ("keel", 0, 0), ("sheer", 0, 1)), *station("9", 20.0, ("keel", 0, 0), ("sheer", 0, 1))]
    section = hull_lines([*ends, *arc]).sections[1]
    assert section.girth_mm == pytest.approx(20 * 1000 * np.sin(pi / 40))
    assert section.girth_mm == pytest.approx(1000 * pi / 2, rel=0.002)
    assert section.chines[:2] == ("chine", "chine 2")


@pytest.mark.parametrize(
    ("change", "field", "said"),
    [
        (lambda t: [one for one in t if one != t[5]], "line", "no sheer at station 5"),
        (lambda t: [*t, t[0]], "line", "twice at station 10"),
        (lambda t: [*t, Offset("5", 3921.0, "chine 2", 1, 1)], "x_mm", "station 5 at"),
        (lambda t: [*t, Offset("5", 3920.0, "waterline", 1, 1)], "line", "waterline"),
        (lambda t: [*t, Offset("5", 3920.0, "chine 2", -1, 1)], "half_breadth_mm", "-1"),
        (lambda t: t[:5], "station", "2 stations"),
        (lambda t: [*t, *station("6", 3920.4, ("keel", 0, 0), ("sheer", 1, 1))], "x_mm", "stations 5 and 6"),
        (lambda t: [*t, *station("6", 5040.0, ("keel", 0, 9), ("sheer", 1, 1))], "height_mm", "sheer at 1 under"),
        (lambda t: [], "station", "0 stations"),
    ],
)
def test_a_table_that_cannot_be_a_hull_is_refused_in_words(change, field, said):
    with pytest.raises(InputRefused) as refused:
        hull_lines(change(tender()))
    assert refused.value.field == field
    assert said in str(refused.value)


def test_a_faired_line_passes_through_every_station():
    lines = hull_lines(tender())
    curve = dict(faired_line(lines.points("sheer"), 40))
    for point in lines.points("sheer"):
        assert curve[point.x_mm] == pytest.approx(point.height_mm)
    half = dict(faired_line(lines.points("sheer"), 40, half_breadth=True))
    assert half[3920.0] == pytest.approx(1430)


def test_two_stations_give_a_straight_line():
    assert faired([0, 10], [0, 5], [2, 4]) == pytest.approx([1, 2])


# Offsets are lifted from the drawing to a tenth of a millimetre.
tenths_mm = st.integers(-20_000, 20_000).map(lambda tenths: tenths / 10)


@given(st.lists(st.tuples(st.floats(1, 500), tenths_mm), min_size=3, max_size=15))
def test_no_faired_line_swings_beyond_the_stations_it_lies_between(steps):
    places = list(np.cumsum([step for step, _ in steps]))
    values = [value for _, value in steps]
    assert faired(places, values, places) == pytest.approx(values, abs=1e-6)
    for (x1, y1), (x2, y2) in pairwise(zip(places, values, strict=True)):
        between = faired(places, values, list(np.linspace(x1, x2, 9)))
        assert min(y1, y2) - 1e-6 <= min(between)
        assert max(between) <= max(y1, y2) + 1e-6


@given(st.floats(0, 3000), st.floats(0, 3000), st.floats(0, 3000))
def test_a_girth_is_never_shorter_than_the_straight_way(out, up, chine):
    table = [
        *station("0", 0.0, ("keel", 0, 0), ("chine", chine, up / 2), ("sheer", out, up)),
        *station("1", 10.0, ("keel", 0, 0), ("sheer", out, up)),
        *station("2", 20.0, ("keel", 0, 0), ("sheer", out, up)),
    ]
    first, second, _ = hull_lines(table).sections
    assert first.girth_mm >= hypot(out, up) - 1e-6
    assert second.girth_mm == pytest.approx(hypot(out, up))
