"""The model field and the form field of a number with a unit."""

from decimal import Context, Decimal
from math import isfinite
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import models

from hullbook.calc.errors import InputRefused
from hullbook.calc.ranges import Range, check_hard, is_usual, offers
from hullbook.calc.units import unit_words
from hullbook.quantities.reading import read_quantity
from hullbook.quantities.showing import show
from hullbook.quantities.tables import ranges

if TYPE_CHECKING:
    _FloatField = models.Field[Any, Any]
else:
    _FloatField = models.Field


class MeasuredField(_FloatField):
    """A measured or planned number: a decimal column, a float in Python, in the unit its name ends with.

    Fifteen digits are what a float holds exactly, so the text of a stored value is the same for ever.
    """

    description = "A number with a unit"

    def __init__(self, *args: Any, decimal_places: int = 6, max_digits: int = 15, **kwargs: Any) -> None:
        self.decimal_places = decimal_places
        self.max_digits = max_digits
        # Django's SQLite backend reads a decimal column through its field's context.
        self.context = Context(prec=max_digits)
        super().__init__(*args, **{"blank": kwargs.get("null", False), **kwargs})

    def deconstruct(self) -> Any:
        name, path, args, kwargs = super().deconstruct()
        return name, path, args, {**kwargs, "decimal_places": self.decimal_places, "max_digits": self.max_digits}

    def get_internal_type(self) -> str:
        return "DecimalField"

    def as_decimal(self, value: float) -> Decimal:
        return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-self.decimal_places))

    def to_python(self, value: Any) -> float | None:
        if value is None:
            return None
        try:
            number = float(value)
        except (TypeError, ValueError):
            raise ValidationError(f"{value!r} is not a number") from None
        if not isfinite(number) or abs(number) >= 10 ** (self.max_digits - self.decimal_places):
            raise ValidationError(f"{value!r} is beyond what can be kept")
        return number

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> float | None:
        return None if value is None else float(value)

    def get_prep_value(self, value: Any) -> float | None:
        return self.to_python(super().get_prep_value(value))

    def get_db_prep_value(self, value: Any, connection: Any, prepared: bool = False) -> Any:
        number = self.to_python(value)
        if number is None:
            return None
        return connection.ops.adapt_decimalfield_value(self.as_decimal(number), self.max_digits, self.decimal_places)


class QuantityField(forms.Field):
    """Takes "12.5" or "12.5 kg", gives a float in the stored unit, and refuses what cannot be.

    `range_key` names a row of shared/limits/ranges.toml: its hard bounds refuse (offering the conversion where another
    unit fits), its usual bounds are asked about by the form.
    """

    widget = forms.TextInput

    def __init__(self, *, range_key: str, ask: bool = True, **kwargs: Any) -> None:
        self.range_key = range_key
        self.ask = ask
        super().__init__(**kwargs)
        self.widget.attrs.setdefault("inputmode", "decimal")
        self.widget.attrs.setdefault("autocomplete", "off")

    @property
    def range(self) -> Range:
        return ranges()[self.range_key]

    @property
    def unit(self) -> str:
        return unit_words(self.range.unit)

    def clean(self, value: Any) -> float | None:
        text = str(value or "")
        if not text.strip() and not self.required:
            return None
        name = str(self.label or self.range_key)
        try:
            reading = read_quantity(text, field=name, stored_unit=self.range.unit)
            check_hard(name, reading.value, self.range)
        except InputRefused as refused:
            said = f"This is missing; {refused.accepted}." if refused.key == "missing" else str(refused)
            raise ValidationError(said, code=refused.key) from refused
        return reading.value

    def unusual(self, value: float) -> tuple[str, str | None] | None:
        """Where the value lies outside the usual range: a sentence that asks, and the likely value if one is."""
        if not self.ask or is_usual(value, self.range):
            return None
        unit = self.range.unit
        low, high = show(self.range.usual_low, unit), show(self.range.usual_high, unit)
        sentence = f"{self.label}: {show(value, unit)} is unusual; mostly it is {low} to {high}."
        fitting = [offer for offer in offers(value, self.range) if is_usual(offer.value, self.range)]
        return sentence, f"{fitting[0].value:g}" if fitting else None
