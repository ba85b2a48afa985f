from math import inf, nan

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.errors import InputRefused
from hullbook.calc.ranges import OTHER_UNITS, Range, check_hard, is_usual, offers

PINT_NAMES = {
    "kg/m2": "kilogram / meter ** 2",
    "g/m2": "gram / meter ** 2",
    "oz/yd2": "ounce / yard ** 2",
    "fraction": "dimensionless",
    "as a fraction": "dimensionless",
    "%": "percent",
    "phr": "percent",
    "kg/m3": "kilogram / meter ** 3",
    "g/cm3": "gram / centimeter ** 3",
    "Pa.s": "pascal * second",
    "mPa.s": "millipascal * second",
    "inHg": "inch_Hg",
    "m2": "meter ** 2",
    "ft2": "foot ** 2",
}
AREAL_WEIGHT = Range("kg/m2", 0.01, 5.0, 0.10, 1.70, "common practice, no source", "common practice")
BAG_PRESSURE = Range("mbar", 0, 1085, 2, 60, "common practice, no source", "common practice")
RESIN_TEMPERATURE = Range("degC", 0, 60, 15, 30, "common practice, no source", "common practice")
GLASS_BY_WEIGHT = Range("fraction", 0.05, 0.90, 0.25, 0.77, "from memory", "from memory")


@pytest.mark.parametrize(("unit", "other"), [(unit, other) for unit, others in OTHER_UNITS.items() for other in others])
def test_every_conversion_offered_is_the_one_pint_makes(unit, other):
    units = pint.UnitRegistry()
    expected = units.Quantity(71.3, PINT_NAMES.get(other.unit, other.unit)).to(PINT_NAMES.get(unit, unit)).magnitude
    assert other.factor * 71.3 + other.offset == pytest.approx(expected, rel=1e-9)


@given(st.floats(0.01, 5.0))
def test_a_value_inside_its_hard_bounds_comes_back_as_it_was(value):
    assert check_hard("areal_weight_kg_m2", value, AREAL_WEIGHT) == value


def test_the_bounds_themselves_are_inside():
    assert check_hard("areal_weight_kg_m2", 5.0, AREAL_WEIGHT) == 5.0
    assert is_usual(0.10, AREAL_WEIGHT)
    assert not is_usual(0.099, AREAL_WEIGHT)


@pytest.mark.parametrize(
    ("field", "value", "bounds", "offered"),
    [
        ("areal_weight_kg_m2", 800, AREAL_WEIGHT, "800 g/m2 is 0.8 kg/m²"),
        ("areal_weight_kg_m2", 24, AREAL_WEIGHT, "24 oz/yd2 is 0.813738 kg/m²"),
        ("fibre_mass_fraction", 65, GLASS_BY_WEIGHT, "65 % is 0.65"),
        ("fibre_mass_fraction", 85, GLASS_BY_WEIGHT, "85 % is 0.85"),
        ("resin_temperature_c", 72, RESIN_TEMPERATURE, "72 °F is 22.2222 °C"),
        ("resin_temperature_c", 295, RESIN_TEMPERATURE, "295 K is 21.85 °C"),
        ("bag_pressure_mbar_abs", 1500, BAG_PRESSURE, "1500 Pa is 15 mbar"),
        ("bag_pressure_mbar_abs", -950, BAG_PRESSURE, "gauge reading"),
    ],
)
def test_a_number_that_fits_another_unit_is_asked_about_with_the_conversion(field, value, bounds, offered):
    with pytest.raises(InputRefused) as refused:
        check_hard(field, value, bounds)
    assert refused.value.key == "unit_suspect"
    assert refused.value.field == field
    assert offered in refused.value.accepted


def test_a_unit_in_which_the_number_is_usual_comes_before_one_in_which_it_is_merely_possible():
    assert [offer.typed_unit for offer in offers(72, RESIN_TEMPERATURE)] == ["degF"]
    assert [offer.typed_unit for offer in offers(40, AREAL_WEIGHT)] == ["oz/yd2"]


@pytest.mark.parametrize("value", [-0.8, 1e6])
def test_a_number_that_fits_no_unit_is_impossible(value):
    with pytest.raises(InputRefused, match=r"give 0\.01 to 5 kg/m²") as refused:
        check_hard("areal_weight_kg_m2", value, AREAL_WEIGHT)
    assert refused.value.key == "impossible"


@pytest.mark.parametrize("value", [nan, inf, -inf])
def test_what_is_no_number_is_refused_as_such(value):
    with pytest.raises(InputRefused) as refused:
        check_hard("areal_weight_kg_m2", value, AREAL_WEIGHT)
    assert refused.value.key == "not_a_number"
