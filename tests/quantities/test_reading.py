"""Reading what was keyed. Units are checked against pint's own definitions, through another door than the reader's."""

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.errors import InputRefused
from hullbook.quantities.reading import SPELLINGS, convert, own_spelling, read_quantity


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("0.8", "kg/m2", 0.8),
        ("800 g/m2", "kg/m2", 0.8),
        ("800 gsm", "kg/m2", 0.8),
        ("0,8 kg/m²", "kg/m2", 0.8),
        ("1,5 kg", "kg", 1.5),
        ("375g", "kg", 0.375),
        ("20 C", "degC", 20.0),
        ("68 °F", "degC", 20.0),
        ("28.5 inHg", "mbar", 965.12),  # 3386.389 Pa to the inch, conventional
        ("60 mmHg", "mbar", 79.993),  # 133.322 Pa to the millimetre, conventional
        ("52 %", "fraction", 0.52),
        ("1.5 %", "phr", 1.5),
        ("0.5 h", "min", 30.0),
    ],
)
def test_a_number_and_its_unit_are_read_into_the_unit_that_is_kept(text: str, unit: str, value: float) -> None:
    assert read_quantity(text, field="this", stored_unit=unit).value == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "mbar"),
    [
        ("1 inHg", 33.86388640341),  # 25.4 mm of 133.322387415 Pa, conventional at 0 C
        ("1 torr", 101325 / 760 / 100),  # by definition
    ],
)
def test_inches_and_millimetres_of_mercury_are_read_exactly(text: str, mbar: float) -> None:
    assert read_quantity(text, field="this", stored_unit="mbar").value == pytest.approx(mbar, rel=1e-8)


@pytest.mark.parametrize(
    ("text", "mbar_min"),
    [
        ("1 inHg", 6.773),  # drop test of a materials distributor's page: less than that in 5 min
        ("0.09 inHg", 0.6096),  # the same page's example of a good bag
        ("50 mmHg", 13.33),  # a boatbuilding handbook's infusion note: less than that in 5 min
    ],
)
def test_a_published_limit_over_five_minutes_is_read_as_its_rate(text: str, mbar_min: float) -> None:
    assert read_quantity(text, field="this", stored_unit="mbar").value / 5 == pytest.approx(mbar_min, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "unit", "key"),
    [
        ("", "kg", "missing"),
        ("   ", "kg", "missing"),
        ("about ten", "kg", "not_a_number"),
        ("nan kg", "kg", "not_a_number"),
        ("inf", "kg", "not_a_number"),
        ("1e400 kg", "kg", "unit_suspect"),
        ("2 kg + 3 kg", "kg", "unit_suspect"),
        ("9**9**9 kg", "kg", "unit_suspect"),
        ("1.5.2", "kg", "not_a_number"),
        ("12 litres", "kg", "unit_suspect"),
        ("1" * 50, "kg", "not_a_number"),
        ("=1+1", "kg", "not_a_number"),
    ],
)
def test_what_is_not_one_number_is_refused(text: str, unit: str, key: str) -> None:
    with pytest.raises(InputRefused) as refused:
        read_quantity(text, field="mass", stored_unit=unit)
    assert refused.value.key == key


@pytest.mark.parametrize("stored_unit", SPELLINGS)
def test_every_spelling_converts_as_pint_defines_it(stored_unit: str) -> None:
    registry = pint.UnitRegistry()
    registry.define("parts_per_hundred = 0.01")
    names = SPELLINGS[stored_unit]
    own = own_spelling(stored_unit)
    for spelling, name in names.items():
        wanted = registry.Quantity(7.0, name).to(names[own]).magnitude
        assert convert(7.0, spelling, own, stored_unit) == pytest.approx(wanted, rel=1e-12)


@given(value=st.floats(-1e9, 1e9).map(lambda number: round(number, 6)))
def test_what_is_shown_is_read_back(value: float) -> None:
    assert read_quantity(f"{value:.6f} kg", field="mass", stored_unit="kg").value == pytest.approx(value, abs=1e-6)


@given(text=st.text(max_size=60))
def test_no_text_makes_the_reader_stumble(text: str) -> None:
    for unit in ("kg", "degC", "fraction"):
        try:
            read_quantity(text, field="this", stored_unit=unit)
        except InputRefused as refused:
            said = str(refused)
            assert "is not accepted" in said  # noqa: PT017 - any text may be read or refused; both are right
