from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.errors import InputRefused
from hullbook.calc.ranges import Range
from hullbook.calc.reference import STATUSES, soft_bands
from hullbook.calc.slips import Expected, SoftBand, doubt

SHARED = Path(__file__).parents[2] / "shared"
TENTH = SoftBand(10, "%", None, "invented", "common practice")
SIX_MBAR = SoftBand(6, "mbar", 60, "invented", "common practice")
PLAN = Expected("plan", 12.5, TENTH)
LAST = Expected("last", 18.0, SIX_MBAR)
TEMPERATURE = Range("degC", 0, 60, 15, 30, "common practice, no source", "common practice")


def about_a_pail(value):
    return doubt("Resin", value, "kg", expected=PLAN, usual=None)


@pytest.mark.parametrize(
    ("value", "words"),
    [(125, "ten times"), (1250, "a hundred times"), (1.25, "a tenth of"), (0.125, "a hundredth of")],
)
def test_a_slipped_point_is_named_and_the_value_with_its_point_put_right_is_offered(value, words):
    asked = about_a_pail(value)
    assert asked.sentence == f"Resin: {value:g}\u00a0kg is about {words} the plan (12.5\u00a0kg)."
    assert asked.likely == "12.5"


def test_the_likely_value_keeps_every_figure_that_was_keyed():
    assert about_a_pail(1.248).likely == "12.48"
    assert about_a_pail(124.8).likely == "12.48"


def test_a_slipped_point_is_only_named_within_five_percent():
    assert about_a_pail(125 * 1.049).likely is not None
    assert about_a_pail(125 * 1.051).likely is None
    assert "far from the plan" in about_a_pail(125 * 1.051).sentence


def test_the_edges_of_a_band_are_inside_it():
    assert about_a_pail(11.25) is None
    assert about_a_pail(13.75) is None
    assert about_a_pail(13.76).sentence == (
        "Resin: 13.76\u00a0kg is far from the plan (12.5\u00a0kg); mostly it is 11.25 to 13.75\u00a0kg."
    )
    assert doubt("Bag", 24.0, "mbar", expected=LAST, usual=None) is None
    assert "far from the last reading" in doubt("Bag", 24.1, "mbar", expected=LAST, usual=None).sentence


def test_a_tenth_of_a_small_reading_is_asked_about_though_it_lies_in_the_band():
    small = Expected("last", 5.0, SIX_MBAR)
    assert doubt("Bag", 0.5, "mbar", expected=small, usual=None).likely == "5"


def test_without_anything_expected_the_usual_bounds_are_asked_about():
    assert doubt("Resin temperature", 21, "degC", expected=None, usual=TEMPERATURE) is None
    asked = doubt("Resin temperature", 55, "degC", expected=None, usual=TEMPERATURE)
    assert asked.sentence == "Resin temperature: 55\u00a0°C is unusual; mostly it is 15 to 30\u00a0°C."
    # 55 °F is 12.8 °C, which is unusual too
    assert asked.likely is None


def test_what_is_expected_goes_before_what_is_usual():
    cold_shed = Expected("last", 12.0, SoftBand(2.5, "degC", 120, "invented", "common practice"))
    assert doubt("Air", 12.4, "degC", expected=cold_shed, usual=TEMPERATURE) is None


def test_below_nought_there_are_no_slips_of_the_point():
    frost = Expected("last", -2.0, SoftBand(2.5, "degC", 120, "invented", "common practice"))
    assert doubt("Air", -0.2, "degC", expected=frost, usual=None) is None


@given(st.floats(0.1, 1000), st.floats(0.90001, 1.09999))
def test_whatever_the_plan_a_value_within_ten_percent_is_never_asked_about(plan, share):
    assert doubt("Resin", plan * share, "kg", expected=Expected("plan", plan, TENTH), usual=None) is None


@given(st.floats(0.1, 1000), st.sampled_from([10, 100, 0.1, 0.01]), st.floats(0.951, 1.049))
def test_whatever_the_plan_its_slipped_point_is_named(plan, factor, share):
    asked = doubt("Resin", plan * factor * share, "kg", expected=Expected("plan", plan, TENTH), usual=None)
    assert float(asked.likely) == pytest.approx(plan * share, rel=1e-9)


# ---- The table of bands


def test_the_bands_are_those_the_forms_ask_by_each_with_its_source():
    bands = soft_bands(SHARED)
    widths = {name: (band.within, band.unit, band.holds_min) for name, band in bands.items()}
    assert widths == {
        "pail_mass": (10, "%", None),
        "catalyst_mass": (6, "%", None),
        "shed_temperature": (2.5, "degC", 120),
        "vacuum": (6, "mbar", 60),
        "hardness": (12, "barcol", None),
    }
    assert all(band.source and band.status in STATUSES for band in bands.values())


GOOD_BAND = '[soft.pail]\nwithin = 10\nunit = "%"\nsource = "x"\nstatus = "from memory"'


@pytest.mark.parametrize(
    ("good", "bad", "said"),
    [
        ("within = 10\n", "", "no within"),
        ("within = 10", "within = 0", "above 0"),
        ('unit = "%"\n', "", "no unit"),
        ('source = "x"', 'source = ""', "no source"),
        ('"from memory"', '"guessed"', "give a status"),
    ],
)
def test_a_band_without_width_unit_or_source_is_refused(tmp_path, good, bad, said):
    (tmp_path / "limits").mkdir()
    table = tmp_path / "limits" / "slips.toml"
    table.write_text(GOOD_BAND, encoding="utf-8")
    assert soft_bands(tmp_path)["pail"].bounds(20.0) == (18.0, 22.0)
    table.write_text(GOOD_BAND.replace(good, bad), encoding="utf-8")
    with pytest.raises(InputRefused, match=said):
        soft_bands(tmp_path)
