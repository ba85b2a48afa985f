"""What is keyed after gel."""

from typing import Any

from django import forms

from hullbook.hulls.forms import SkinPlaceForm
from hullbook.quantities.fields import QuantityField
from hullbook.web.forms import LogForm
from hullbook.yard.enums import InstrumentKind
from hullbook.yard.forms import InstrumentField, InstrumentForm


class CureReadingForm(SkinPlaceForm, InstrumentForm):
    act = "Log the reading"

    temperature_c = QuantityField(
        range_key="cure_temperature_c", shown_by="thermometer", label="Temperature of the part"
    )
    place = forms.CharField(max_length=40, label="Place", help_text="The same words each time, as keel, station 4.")
    thermometer = InstrumentField(InstrumentKind.THERMOMETER, InstrumentKind.LOGGER, label="Thermometer")

    def __init__(self, *args: Any, places: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if places:
            self.fields["place"].help_text = f"The same words each time. So far: {', '.join(places)}."


class DemouldForm(LogForm):
    act = "Demoulded, now"

    words = forms.CharField(
        max_length=400,
        required=False,
        label="How it came off",
        help_text="Hours, hardness or temperature that showed it was cured enough; sticking, marks, damage.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )


class AboveForm(forms.Form):
    """Above which temperature time is counted; asked in the page's address, nothing is logged."""

    above = QuantityField(range_key="cure_temperature_c", ask=False, required=False, label="Count the time above")
