"""The model field and the form field of a number with a unit."""

import json
from dataclasses import dataclass, replace
from decimal import Context, Decimal
from math import isfinite
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from django.db import models

from hullbook.calc.errors import InputRefused
from hullbook.calc.ranges import OTHER_UNITS, Range, check_hard
from hullbook.calc.slips import Against, Doubt, Expected, SoftBand, doubt, written
from hullbook.calc.units import unit_words
from hullbook.quantities.reading import accepted_units, read_quantity
from hullbook.quantities.tables import ranges, soft_bands

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

    def clean(self, value: Any, model_instance: models.Model | None) -> float | None:
        """As it will be stored, so that constraints are asked about what the database will see."""
        number = super().clean(value, model_instance)
        return None if number is None else float(self.as_decimal(number))

    def from_db_value(self, value: Any, expression: Any, connection: Any) -> float | None:
        return None if value is None else float(value)

    def get_prep_value(self, value: Any) -> float | None:
        return self.to_python(super().get_prep_value(value))

    def get_db_prep_value(self, value: Any, connection: Any, prepared: bool = False) -> Any:
        number = self.to_python(value)
        if number is None:
            return None
        return connection.ops.adapt_decimalfield_value(self.as_decimal(number), self.max_digits, self.decimal_places)


# What an expected value is called on the input, for the number keys of the floor pages.
EXPECTED_ATTRIBUTES: dict[Against, str] = {
    "plan": "data-plan",
    "last": "data-last",
    "worked out": "data-expected",
    "others": "data-others",
}


@dataclass(frozen=True)
class ByOthers:
    """What is expected of a field by what stands in others: `base` and `factor` times their sum."""

    against: Against
    names: tuple[str, ...]
    base: float
    factor: float
    band: str


class BoundQuantity(forms.BoundField):
    """A quantity on a page: its input carries what the number keys of a floor page go by."""

    def build_widget_attrs(self, attrs: dict[str, Any], widget: forms.Widget | None = None) -> dict[str, Any]:
        assert isinstance(self.field, QuantityField)  # noqa: S101 - it is made by one
        return {**super().build_widget_attrs(attrs, widget), **self.field.pad_attributes()}


class QuantityField(forms.Field):
    """Takes "12.5" or "12.5 kg", gives a float in the stored unit, and refuses what cannot be.

    `range_key` names a row of shared/limits/ranges.toml: its hard bounds refuse (offering the conversion where another
    unit fits). What is possible but unlikely is asked about by the form: against what a form expects, where it says so,
    else against the usual bounds, unless `ask` is off. A measured value is never filled in beforehand; what is set, as
    a limit or a plan, may be, and says `is_measured=False`. `shown_by` names the field that says on which instrument.
    What is read off a gauge says `offers_units=False`: it is keyed as shown, so for what is only unlikely no other unit
    is offered.
    """

    widget = forms.TextInput

    def __init__(
        self,
        *,
        range_key: str,
        ask: bool = True,
        offers_units: bool = True,
        is_measured: bool = True,
        shown_by: str = "",
        **kwargs: Any,
    ) -> None:
        self.range_key = range_key
        self.shown_by = shown_by
        self.ask = ask
        self.offers_units = offers_units
        self.is_measured = is_measured
        self.expected: Expected | None = None
        # By the value of the field that says on which instrument: one step of its display, in this field's unit.
        self.display_steps: dict[str, float] = {}
        self.by_others: ByOthers | None = None
        super().__init__(**kwargs)
        self.widget.attrs.setdefault("inputmode", "decimal")
        self.widget.attrs.setdefault("autocomplete", "off")

    @property
    def range(self) -> Range:
        return ranges()[self.range_key]

    @property
    def unit(self) -> str:
        return unit_words(self.range.unit)

    def expect(self, against: Against, value: float, *, band: str) -> None:
        """Hold what is keyed against the plan, the last reading or what was worked out; `band` is of slips.toml."""
        self.expected = Expected(against, value, soft_bands()[band])

    def expect_by(self, against: Against, *names: str, base: float = 0.0, factor: float, band: str) -> None:
        """Hold it against `base` and `factor` times the sum of other fields; the form sums them once they are clean."""
        self.by_others = ByOthers(against, names, base, factor, band)
        if base:
            self.expect(against, base, band=band)

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

    def doubt(self, value: float) -> Doubt | None:
        """What is asked about the value, if anything."""
        usual = self.range if self.ask else None
        found = doubt(str(self.label), value, self.range.unit, expected=self.expected, usual=usual)
        if found is not None and self.expected is None and not self.offers_units:
            return replace(found, likely=None)
        return found

    def get_bound_field(self, form: forms.BaseForm, field_name: str) -> forms.BoundField:
        return BoundQuantity(form, self, field_name)

    def pad_attributes(self) -> dict[str, str]:
        bounds = self.range
        told = {
            "data-quantity": self.range_key,
            "data-label": str(self.label),
            "data-unit": self.unit,
            "data-low": repr(bounds.hard_low),
            "data-high": repr(bounds.hard_high),
            "data-usual-low": repr(bounds.usual_low),
            "data-usual-high": repr(bounds.usual_high),
            "data-accepted": accepted_units(bounds.unit),
        }
        if others := OTHER_UNITS.get(bounds.unit):
            told["data-offers"] = json.dumps([[unit_words(one.unit), one.factor, one.offset] for one in others])
        if not self.ask:
            told["data-asks"] = "no"
        elif not self.offers_units:
            told["data-asks"] = "plainly"
        if self.display_steps:
            told |= {"data-shown-by": self.shown_by, "data-display-steps": json.dumps(self.display_steps)}
        if self.by_others is not None:
            by = self.by_others
            told[EXPECTED_ATTRIBUTES[by.against]] = repr(by.base)
            told |= {"data-expected-of": " ".join(by.names), "data-expected-factor": repr(by.factor)}
            told["data-band"] = self._band_words(soft_bands()[by.band])
        elif self.expected is not None:
            told[EXPECTED_ATTRIBUTES[self.expected.against]] = repr(self.expected.value)
            told["data-band"] = self._band_words(self.expected.band)
            if self.expected.against == "last":
                told["data-step"] = ""
        return told

    @staticmethod
    def _band_words(band: SoftBand) -> str:
        return f"{band.within!r}%" if band.unit == "%" else repr(band.within)

    @property
    def beside(self) -> str:
        """What is expected, to stand beside the empty field; never in it."""
        if self.expected is None:
            return ""
        return f"{self.expected.against} {written(self.expected.value, self.range.unit)}"
