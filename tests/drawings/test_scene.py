from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.drawings import scene
from hullbook.drawings.scene import (
    Line,
    Polygon,
    Polyline,
    Rect,
    Scene,
    Text,
    disc,
    fitted,
    half_disc,
    hatched,
    spread,
    text_width,
    to_svg,
)
from tests.drawings.looking import SVG, as_svg

ONE_OF_EACH = Scene(
    "trial",
    100,
    50,
    "Keel & <flange>",
    'said "so" & <more>',
    (
        Line(0, 0, 10, 10, "ink"),
        Polyline(((0, 0), (5.125, 5)), "planned"),
        Polygon(((0, 0), (5, 5), (0, 5)), "glass"),
        Rect(1, 2, 3, 4, "core"),
        Text(1, 40, "5 < 6 & 7 > 6", "label", 17, "middle"),
    ),
)


def test_every_shape_of_a_scene_is_in_its_svg_once():
    tags = [element.tag.removeprefix(SVG) for element in as_svg(ONE_OF_EACH)]
    assert tags == ["title", "desc", "line", "polyline", "polygon", "rect", "text"]


def test_words_are_escaped_and_read_back_as_they_were():
    svg = as_svg(ONE_OF_EACH)
    assert svg.findtext(f"{SVG}title") == "Keel & <flange>"
    assert svg.findtext(f"{SVG}desc") == 'said "so" & <more>'
    assert svg.findtext(f"{SVG}text") == "5 < 6 & 7 > 6"


def test_a_drawing_is_one_image_to_a_screen_reader():
    svg = as_svg(ONE_OF_EACH)
    assert svg.get("role") == "img"
    assert svg.get("viewBox") == "0 0 100 50"


def test_a_drawing_carries_classes_and_no_style_or_script():
    text = to_svg(ONE_OF_EACH)
    assert "style" not in text
    assert "script" not in text
    assert [element.get("class") for element in as_svg(ONE_OF_EACH)][2:] == ["ink", "planned", "glass", "core", "label"]


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Cn", "Co"]), max_size=40))
def test_any_words_give_well_formed_svg(words):
    svg = as_svg(Scene("trial", 10, 10, words, words, (Text(0, 0, words, "label"),)))
    assert (svg.findtext(f"{SVG}text") or "") == words


@given(st.floats(0, 500), st.floats(0, 500), st.floats(1, 600), st.floats(1, 600), st.floats(3, 20), st.booleans())
def test_hatching_stays_inside_its_box_at_45_degrees(x, y, width, height, pitch, rising):
    for line in hatched(x, y, width, height, pitch=pitch, rising=rising):
        assert x - 1e-6 <= min(line.x1, line.x2) <= max(line.x1, line.x2) <= x + width + 1e-6
        assert y - 1e-6 <= min(line.y1, line.y2) <= max(line.y1, line.y2) <= y + height + 1e-6
        assert abs(line.x2 - line.x1) == pytest.approx(abs(line.y2 - line.y1), abs=1e-6)


def test_a_box_of_90_by_9_takes_ten_hatch_lines_at_pitch_9():
    assert len(hatched(0, 0, 90, 9, pitch=9)) == 10


@given(st.lists(st.floats(0, 300), min_size=1, max_size=8))
def test_labels_moved_apart_keep_their_order_and_their_gap(wanted):
    places = spread(wanted, gap=20, low=0, high=300)
    assert all(-1e-6 <= place <= 300 + 1e-6 for place in places)
    order = sorted(range(len(wanted)), key=wanted.__getitem__)
    for first, second in zip(order, order[1:], strict=False):
        assert places[second] - places[first] >= 20 - 1e-6


def test_labels_with_room_stay_where_they_were_wanted():
    assert spread([10, 100, 55], gap=20, low=0, high=200) == [10, 100, 55]


def test_more_labels_than_there_is_room_for_stand_evenly():
    assert spread([5, 5, 5], gap=50, low=0, high=40) == [0, 20, 40]


def test_words_too_long_are_cut_with_an_ellipsis():
    assert fitted("Keel", 17, 200) == "Keel"
    cut = fitted("Unidirectional 900 with binder", 17, 120)
    assert cut.endswith("…")
    assert text_width(cut, 17) <= 120


def test_a_half_disc_is_the_left_half_of_the_disc():
    assert all(x <= 10 + 1e-9 for x, _ in half_disc(10, 10, 4, "solid").points)
    assert max(x for x, _ in disc(10, 10, 4, "solid").points) == pytest.approx(14)


def test_every_role_has_its_look_in_the_style_sheet():
    css = (Path(__file__).parents[2] / "static/css/drawings.css").read_text()
    roles = [*get_args(scene.LineRole), *get_args(scene.FillRole), *get_args(scene.TextRole)]
    # "label" is what the style sheet says of every text
    assert [role for role in roles if f".drawing .{role}" not in css] == ["label"]
