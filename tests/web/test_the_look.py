"""The palette can be read, the pages obey their own content policy, the faces are there with their licences."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BASE_CSS = (ROOT / "static/css/base.css").read_text()


def tokens_of(selector):
    block = BASE_CSS.split(f"\n{selector} {{")[1].split("\n}")[0]
    return dict(re.findall(r"--([\w-]+): (#[0-9A-F]{6});", block))


DAY = tokens_of(":root")
NIGHT = {**DAY, **tokens_of(':root[data-theme="night"]')}
THEMES = pytest.mark.parametrize("tokens", [DAY, NIGHT], ids=["day", "night"])

WORDS_ON = [
    *((words, ground) for words in ("ink", "lead", "sheer", "gel") for ground in ("ground", "paper")),
    ("on-sheer", "sheer"),
    ("on-gel", "gel"),
    ("on-lamp", "lamp"),
    ("ink", "glass"),
    ("ink", "foam"),
]


# What a figure on the pour's page stands on: dark ink on light ground by day, the reverse by night.
FIGURES_ON = [*(("ink", ground) for ground in ("ground", "paper", "foam", "glass")), ("on-lamp", "lamp")]


def luminance(colour):
    """Relative luminance, WCAG 2.2, definition of terms."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one, other):
    """Contrast ratio, WCAG 2.2, definition of terms."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_sum_gives_the_ratios_everybody_knows():
    # 21:1 is named in the definition itself; 4.54:1 for this grey is common practice, from memory
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#767676", "#FFFFFF") == pytest.approx(4.54, abs=0.01)


@THEMES
@pytest.mark.parametrize(("words", "ground"), WORDS_ON)
def test_words_stand_out_seven_to_one_wcag_1_4_6(tokens, words, ground):
    assert contrast(tokens[words], tokens[ground]) >= 7


@THEMES
@pytest.mark.parametrize(("figure", "ground"), FIGURES_ON)
def test_figures_of_the_pour_stand_out_ten_to_one_nureg_0700(tokens, figure, ground):
    # NUREG-0700, contrast ratio: 6:1 at least, 10:1 preferred
    assert contrast(tokens[figure], tokens[ground]) >= 10


@THEMES
@pytest.mark.parametrize("edge", ["edge", "ink", "sheer", "gel"])
def test_lines_and_edges_stand_out_three_to_one_wcag_1_4_11(tokens, edge):
    assert contrast(tokens[edge], tokens["ground"]) >= 3


@THEMES
def test_the_wetted_area_is_set_off_from_the_ground_by_itself_or_by_its_edge(tokens):
    resin, edge, ground = (tokens[name] for name in ("resin", "cured", "ground"))
    by_edge = min(contrast(edge, resin), contrast(edge, ground))
    assert max(by_edge, contrast(resin, ground)) >= 3


def test_the_night_bay_is_a_theme_of_its_own_and_never_comes_by_a_media_query():
    assert NIGHT["ground"] != DAY["ground"]
    assert luminance(NIGHT["ground"]) < luminance(NIGHT["ink"])
    for sheet in (ROOT / "static/css").glob("*.css"):
        assert "prefers-color-scheme" not in sheet.read_text()


@pytest.mark.parametrize("template", sorted((ROOT / "templates").rglob("*.*")), ids=lambda template: template.name)
def test_a_page_brings_no_style_or_script_of_its_own(template):
    text = template.read_text()
    assert not re.search(r"""\sstyle=|<style|\son[a-z]+=["']|hx-on|javascript:""", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)
    assert not re.search(r'hx-trigger="[^"]*\[', text)


def test_every_face_lies_in_the_repository_with_its_licence():
    faces = re.findall(r'url\("\.\./fonts/([^"]+)"\)', BASE_CSS)
    assert len(faces) == 4
    for face in faces:
        assert (ROOT / "static/fonts" / face).stat().st_size > 10_000
        licence = ROOT / "static/fonts" / f"{face.split('-')[0]}-OFL.txt"
        assert "SIL Open Font License, Version 1.1" in licence.read_text()


def test_nothing_is_fetched_from_elsewhere():
    for sheet in (ROOT / "static/css").glob("*.css"):
        assert "http" not in sheet.read_text()
        assert "@import" not in sheet.read_text()
