import pytest
from django.core.exceptions import ValidationError
from hypothesis import given
from hypothesis import strategies as st

from hullbook.quantities.fields import MeasuredField, QuantityField


@pytest.mark.parametrize(
    ("key", "keyed", "said"),
    [
        ("areal_weight_kg_m2", "800", "800 g/m2 is 0.8 kg/m²"),
        ("fibre_volume_fraction", "65", "65 % is 0.65"),
        ("pail_mass_kg", "-3", "give"),
        ("resin_temperature_c", "abc", "give one number"),
        ("fibre_density_kg_m3", "2.56", "2560"),
    ],
)
def test_what_cannot_be_is_refused_with_the_conversion_where_one_fits(key: str, keyed: str, said: str) -> None:
    with pytest.raises(ValidationError) as refused:
        QuantityField(range_key=key, label="This").clean(keyed)
    assert said in refused.value.messages[0]


def test_an_unlikely_value_is_asked_about_and_a_likely_one_is_not() -> None:
    field = QuantityField(range_key="resin_temperature_c", label="Resin temperature")
    assert field.doubt(21.0) is None
    doubt = field.doubt(55.0)
    assert doubt is not None
    assert doubt.sentence == "Resin temperature: 55\u00a0°C is unusual; mostly it is 15 to 30\u00a0°C."


@given(value=st.floats(-1e8, 1e8))
def test_a_kept_value_writes_the_same_text_for_ever(value: float) -> None:
    field = MeasuredField()
    kept = field.as_decimal(value)
    assert field.as_decimal(float(kept)) == kept


@pytest.mark.parametrize("value", ["x", float("nan"), float("inf"), 1e12])
def test_what_a_column_cannot_hold_is_refused(value: object) -> None:
    with pytest.raises(ValidationError):
        MeasuredField().to_python(value)
