"""What is keyed about the yard itself."""

from datetime import date, datetime, timedelta
from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.utils import timezone

from hullbook.quantities.fields import QuantityField
from hullbook.quantities.reading import SPELLINGS, convert, own_spelling
from hullbook.quantities.tables import soft_bands
from hullbook.web.forms import LogForm, OneOfField, Question
from hullbook.yard.enums import InstrumentKind, LimitName, Role
from hullbook.yard.models import Bay, ClimateReading, Instrument, Person
from hullbook.yard.selectors import bays, calibration_on, climate_in


class DayField(forms.DateField):
    """A day as 2026-11-18."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", "As 2026-11-18.")
        kwargs.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off"}))
        super().__init__(input_formats=["%Y-%m-%d"], **kwargs)
        self.error_messages["invalid"] = "Give a day as 2026-11-18."


def not_ahead(day: date | None) -> date | None:
    if day is not None and day > timezone.localdate():
        raise forms.ValidationError(f"{day:%Y-%m-%d} lies ahead; give today or earlier.", code="impossible")
    return day


class InstrumentField(OneOfField):
    """One of the yard's instruments of given kinds."""

    def __init__(self, *kinds: InstrumentKind, **kwargs: Any) -> None:
        super().__init__(queryset=Instrument.objects.current().filter(kind__in=kinds).order_by("code"), **kwargs)

    def label_from_instance(self, instrument: Instrument) -> str:
        return f"{instrument.code} {instrument.name}"

    def display_steps(self, stored_unit: str) -> dict[str, float]:
        """One step of each instrument's display in a field's unit; left out are those that show something else."""
        spellings, own = SPELLINGS[stored_unit], own_spelling(stored_unit)
        # A difference, as a step is: in degrees Fahrenheit its nought is not that of degrees Celsius.
        return {
            str(one.pk): convert(one.resolution, one.unit, own, stored_unit) - convert(0.0, one.unit, own, stored_unit)
            for one in self.queryset
            if one.unit in spellings
        }


class InstrumentForm(LogForm):
    """A form that names instruments: one out of date is asked about, and the answer kept."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, QuantityField) and field.shown_by:
                instruments = self.fields[field.shown_by]
                assert isinstance(instruments, InstrumentField)  # noqa: S101 - the form names its own fields
                field.display_steps = instruments.display_steps(field.range.unit)

    def ask_about(self) -> list[Question]:
        day = (self.cleaned_data["happened_at"] or timezone.now()).date()
        asked = []
        for name, field in self.fields.items():
            instrument = self.cleaned_data.get(name)
            if not isinstance(field, InstrumentField) or instrument is None:
                continue
            card = calibration_on(instrument, day)
            if not card.in_date:
                sentence = f"{card.words}. Use it all the same? The dossier will say so."
                asked.append(Question(name, str(instrument.pk), sentence))
        return asked


class ClimateForm(InstrumentForm):
    act = "Log the climate"

    bay = OneOfField(queryset=Bay.objects.none(), label="Bay")
    place = forms.CharField(max_length=80, required=False, label="Place", help_text="Where the surface was measured.")
    air_temperature_c = QuantityField(range_key="air_temperature_c", shown_by="thermometer", label="Air temperature")
    humidity_percent = QuantityField(range_key="humidity_percent", shown_by="hygrometer", label="Relative humidity")
    surface_temperature_c = QuantityField(
        range_key="surface_temperature_c", shown_by="thermometer", label="Surface temperature", required=False
    )
    thermometer = InstrumentField(InstrumentKind.THERMOMETER, InstrumentKind.LOGGER, label="Thermometer")
    hygrometer = InstrumentField(InstrumentKind.HYGROMETER, InstrumentKind.LOGGER, label="Hygrometer")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["bay"].queryset = bays()  # type: ignore[attr-defined]
        if not self.is_bound and (bay := self.initial.get("bay")):
            last = self._expect_as_last(bay, timezone.now())
            if last is not None:
                self.initial |= {"thermometer": last.thermometer_id, "hygrometer": last.hygrometer_id}

    def clean(self) -> dict[str, Any]:
        if not self.errors:
            self._expect_as_last(self.cleaned_data["bay"], self.cleaned_data["happened_at"] or timezone.now())
        return super().clean()

    def _expect_as_last(self, bay: Bay, at: datetime) -> ClimateReading | None:
        """The air is held against the last reading of the bay, where that is not long ago."""
        held_for = timedelta(minutes=soft_bands()["shed_temperature"].holds_min or 0)
        last = climate_in(bay, since=at - held_for, until=at).last()
        if last is not None:
            self.quantity("air_temperature_c").expect("last", last.air_temperature_c, band="shed_temperature")
        return last


class YardForm(LogForm):
    act = "Name the yard"

    name = forms.CharField(max_length=80, label="Name of the yard")
    place = forms.CharField(max_length=120, label="Place")
    altitude_m = QuantityField(range_key="station_altitude_m", label="Height above the sea")
    builder_codes = forms.RegexField(
        r"^([A-Z0-9]{3}( [A-Z0-9]{3})*)?\Z",
        max_length=80,
        required=False,
        label="Builder's codes",
        help_text="Three characters each, as assigned, with blanks between.",
    )


class PersonForm(LogForm):
    act = "Name this person"

    initials = forms.RegexField(
        r"^[A-Z]{2,4}\Z",
        label="Initials",
        help_text="Two to four capital letters; they stand in every entry.",
        error_messages={"invalid": "Initials are two to four capital letters, as KJ."},
    )
    full_name = forms.CharField(max_length=80, label="Full name")
    sign_in_name = forms.CharField(max_length=60, label="Signs in as")
    password = forms.CharField(
        widget=forms.PasswordInput,
        required=False,
        strip=False,
        label="Password",
        help_text="12 characters or more. Empty: stands in entries, does not sign in.",
    )
    roles = forms.MultipleChoiceField(choices=Role.choices, widget=forms.CheckboxSelectMultiple, label="Roles")

    def clean_password(self) -> str | None:
        password = self.cleaned_data["password"]
        if not password:
            return None
        validate_password(password)
        return str(password)

    def clean_roles(self) -> list[Role]:
        return [Role(role) for role in self.cleaned_data["roles"]]


class RoleForm(LogForm):
    act = "Change the role"

    person = OneOfField(queryset=Person.objects.all(), label="Person")
    role = forms.TypedChoiceField(choices=Role.choices, coerce=Role, label="Role")
    holds = forms.TypedChoiceField(
        choices=[("yes", "holds it from now on"), ("no", "no longer holds it")],
        coerce=lambda answer: answer == "yes",
        label="From now on",
    )


class AtOnceForm(LogForm):
    """About what happens when it is asked for, and at no other time."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["happened_at"].widget = forms.HiddenInput()


class OwnPinForm(AtOnceForm):
    """The PIN somebody signs with on a tablet of the shed, keyed twice."""

    act = "Set the PIN"

    pin = forms.CharField(
        max_length=40,
        label="PIN",
        help_text="Six digits or more; you sign with it on the tablets of the shed.",
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    again = forms.CharField(
        label="The same again",
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )

    def clean_again(self) -> str:
        if self.cleaned_data["again"] != self.cleaned_data.get("pin"):
            raise forms.ValidationError("The two are not the same; key both once more.")
        return str(self.cleaned_data["again"])

    def given(self) -> dict[str, Any]:
        return {name: value for name, value in super().given().items() if name != "again"}


class GivePinForm(OwnPinForm):
    """A PIN from the quality lead, for somebody who has none or has been stopped by ten misses."""

    act = "Give the PIN"

    person = OneOfField(queryset=Person.objects.filter(is_active=True), label="Person")

    field_order = ("person", "pin", "again")


class EnrolForm(AtOnceForm):
    act = "Enrol this browser"

    name = forms.CharField(max_length=40, label="Name of the tablet", help_text="Such as tablet bay 1.")


class LiftForm(AtOnceForm):
    """Nothing to key: from the very next request it is no tablet of the shed."""

    act = "Lift it"


class BayForm(LogForm):
    act = "Add the bay"

    code = forms.CharField(max_length=20, label="Bay")
    name = forms.CharField(max_length=80, label="Name")


class CalibrationForm(LogForm):
    act = "Log the calibration"

    calibrated_on = DayField(label="Calibrated on")
    due_on = DayField(label="Due on")
    certificate_number = forms.CharField(max_length=60, label="Certificate number")
    standard_uncertainty_percent = QuantityField(
        range_key="instrument_uncertainty_percent", label="Standard uncertainty, of the reading"
    )

    def clean_calibrated_on(self) -> date | None:
        return not_ahead(self.cleaned_data["calibrated_on"])


class InstrumentAddForm(CalibrationForm):
    act = "Add the instrument"

    code = forms.CharField(max_length=20, label="Code", help_text="As painted on it, such as G-03.")
    kind = forms.TypedChoiceField(choices=InstrumentKind.choices, coerce=InstrumentKind, label="Kind")
    name = forms.CharField(max_length=80, label="Name")
    serial_number = forms.CharField(max_length=60, label="Serial number")
    resolution = QuantityField(range_key="instrument_resolution_shown", label="One step of its display")
    unit = forms.ChoiceField(
        choices=[(unit, unit or "none") for unit in ("mbar", "kg", "°C", "%", "")],
        required=False,
        label="Unit it shows",
    )

    field_order = ("code", "kind", "name", "serial_number", "resolution", "unit")


LIMIT_RANGES = {
    LimitName.HOLD_RISE: "pressure_rise_mbar",
    LimitName.POUR_RISE: "pressure_rise_mbar",
    LimitName.LAMINATE_PEAK: "cure_temperature_c",
    LimitName.AIR_TEMPERATURE: "air_temperature_c",
    LimitName.HUMIDITY: "humidity_percent",
    LimitName.DEW_MARGIN: "dew_margin_k",
    LimitName.CLOSURE: "closure_percent",
    LimitName.HARDNESS_SHARE: "hardness_share_percent",
}


ONLY_A_HIGHEST = (LimitName.HOLD_RISE, LimitName.POUR_RISE, LimitName.LAMINATE_PEAK)


class LimitForm(LogForm):
    """A limit of the yard's own procedure. hullbook brings none of its own."""

    act = "Set the limit"

    source = forms.CharField(max_length=300, label="Source", help_text="The procedure and its edition, or the rule.")

    def __init__(self, *args: Any, name: LimitName, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.name = name
        if name not in ONLY_A_HIGHEST:
            self.fields["low"] = QuantityField(
                range_key=LIMIT_RANGES[name], ask=False, required=False, label="Lowest value"
            )
        self.fields["high"] = QuantityField(
            range_key=LIMIT_RANGES[name], ask=False, required=name in ONLY_A_HIGHEST, label="Highest value"
        )
        if name == LimitName.HOLD_RISE:
            self.fields["over_minutes"] = QuantityField(range_key="hold_time_min", label="Over how long")
        self.order_fields(["low", "high", "over_minutes", "source", "happened_at"])

    def given(self) -> dict[str, Any]:
        return {"low": None, "high": None, "over_minutes": None, **super().given()}
