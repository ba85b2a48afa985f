"""What is keyed when a part is tried, weighed and looked at."""

import re
from statistics import median
from typing import Any

from django import forms
from django.utils import timezone

from hullbook.hulls.forms import SKIN_PLACE_FIELDS, SkinPlaceForm
from hullbook.hulls.models import Part, ScheduleRevision
from hullbook.hulls.selectors import revision_in_force, zone_at
from hullbook.inspection.enums import Decision, FindingKind, Surface, Weighed
from hullbook.inspection.models import Finding, FindingDecision, HardnessSet, Weighing
from hullbook.inspection.selectors import required_hardness
from hullbook.quantities.fields import QuantityField
from hullbook.quantities.tables import soft_bands
from hullbook.records.models import TypedRow
from hullbook.web.forms import LogForm, Question
from hullbook.yard.enums import InstrumentKind
from hullbook.yard.forms import InstrumentField, InstrumentForm

MOST_READINGS = 200
READING_LINE = re.compile(r"(\d{1,3}(?:[.,]\d)?)(?:\s+because\s+(.+))?")


class ReadingsField(forms.CharField):
    """One reading a line; what is left out says why on the same line: `31 because edge`."""

    widget = forms.Textarea(attrs={"rows": 12, "inputmode": "text", "autocomplete": "off"})

    def to_python(self, value: Any) -> list[tuple[float, str]]:
        lines = [(number, line.strip()) for number, line in enumerate(str(value or "").splitlines(), start=1)]
        filled = [(number, line) for number, line in lines if line]
        if len(filled) > MOST_READINGS:
            raise forms.ValidationError(f"{len(filled)} readings were given; one set holds at most {MOST_READINGS}.")
        return [self._reading(number, line) for number, line in filled]

    @staticmethod
    def _reading(number: int, line: str) -> tuple[float, str]:
        match = READING_LINE.fullmatch(line)
        value = float(match.group(1).replace(",", ".")) if match else -1.0
        if match is None or not 0 <= value <= 100:
            shown = line if len(line) <= 40 else f"{line[:40]}…"
            raise forms.ValidationError(
                f'Line {number}: "{shown}" is not accepted; give 0 to 100, as 42, or 31 because edge.',
                code="not_a_number",
            )
        because = (match.group(2) or "").strip()
        if len(because) > 120:
            raise forms.ValidationError(f"Line {number}: the reason has {len(because)} letters; at most 120 are kept.")
        return value, because

    def validate(self, value: Any) -> None:
        if not value:
            raise forms.ValidationError("Give the readings, one a line.", code="missing")


def readings_text(hardness_set: HardnessSet) -> str:
    """Readings as they would be keyed."""
    return "\n".join(
        f"{reading.value:g} because {reading.left_out_because}" if reading.left_out_because else f"{reading.value:g}"
        for reading in hardness_set.readings.all()
    )


class CorrectingForm(LogForm):
    """A form that may correct an earlier entry: it starts from what that says, and asks why it was wrong."""

    def __init__(self, *args: Any, corrects: TypedRow | None = None, **kwargs: Any) -> None:
        initial = kwargs.pop("initial", {})
        if corrects is not None:
            as_told = {name: getattr(corrects, name) for name in self.base_fields if hasattr(corrects, name)}
            happened_at = timezone.localtime(corrects.entry.happened_at)
            initial = {**as_told, "happened_at": f"{happened_at:%Y-%m-%d %H:%M}", **initial}
        super().__init__(*args, initial=initial, **kwargs)
        self.corrects = corrects
        if corrects is not None:
            self.fields["reason"] = forms.CharField(
                max_length=400, label=f"Why entry {corrects.pk} was wrong", widget=forms.Textarea(attrs={"rows": 2})
            )
            self.order_fields([*[name for name in self.fields if name != "happened_at"], "happened_at"])

    def given(self) -> dict[str, Any]:
        return {"corrects": self.corrects, "reason": "", **super().given()}


def zone_field(revision: ScheduleRevision | None, *, by_place: bool = False) -> forms.Field:
    """One of the zones of the schedule in force, or, `by_place`, that of the place; free words while there is none."""
    if revision is None:
        return forms.CharField(max_length=40, label="Zone", help_text="No schedule is in force; name the place.")
    names = [(zone.name, zone.name) for zone in revision.zones.order_by("position")]
    if by_place:
        return forms.ChoiceField(choices=[("", "as tapped"), *names], required=False, label="Zone")
    return forms.ChoiceField(choices=names, label="Zone")


class HardnessForm(SkinPlaceForm, CorrectingForm, InstrumentForm):
    act = "Log the readings"

    zone_name = forms.CharField(label="Zone")
    place = forms.CharField(max_length=80, required=False, label="Place", help_text="As port, station 5, 600 mm up.")
    surface = forms.TypedChoiceField(choices=Surface.choices, coerce=Surface, label="Surface")
    tester = InstrumentField(InstrumentKind.HARDNESS_TESTER, label="Impressor")
    disc_low = QuantityField(range_key="hardness_barcol", ask=False, label="Check disc is marked from")
    disc_high = QuantityField(range_key="hardness_barcol", ask=False, label="to")
    disc_reading = QuantityField(range_key="hardness_barcol", ask=False, shown_by="tester", label="Check disc reads")
    readings = ReadingsField(
        label="Readings",
        help_text="One a line, as 42. A reading that does not count says why, seen when it was taken: 31 because edge.",
    )
    part_temperature_c = QuantityField(range_key="surface_temperature_c", label="Temperature of the part")
    required_mean = QuantityField(range_key="hardness_barcol", is_measured=False, label="Least mean wanted")
    required_source = forms.CharField(max_length=300, label="Which says", help_text="The resin sheet, or the rule.")

    def __init__(self, *args: Any, part: Part, corrects: HardnessSet | None = None, **kwargs: Any) -> None:
        initial: dict[str, Any] = {"surface": Surface.LAMINATE} if corrects is None else {}
        if corrects is not None:
            initial["readings"] = readings_text(corrects)
        elif (required := required_hardness(part)) is not None:
            initial |= {"required_mean": f"{required.mean:g}", "required_source": required.source[:300]}
        super().__init__(*args, corrects=corrects, initial=initial, **kwargs)
        self.fields["zone_name"] = zone_field(revision_in_force(part))

    def ask_about(self) -> list[Question]:
        asked = super().ask_about()
        kept = [value for value, because in self.cleaned_data["readings"] if not because]
        if len(kept) >= 3:
            middle = median(kept)
            low, high = soft_bands()["hardness"].bounds(middle)
            far = [f"{value:g}" for value in kept if not low <= value <= high]
            if far:
                sentence = f"{', '.join(far)} lies far from the others, whose middle is {middle:g}."
                asked.append(Question("readings", ", ".join(far), sentence))
        return asked


class WeighingForm(CorrectingForm, InstrumentForm):
    act = "Log the weight"

    what = forms.TypedChoiceField(choices=Weighed.choices, coerce=Weighed, label="What")
    mass_kg = QuantityField(range_key="mass_kg", shown_by="scale", label="Mass")
    standard_uncertainty_kg = QuantityField(
        range_key="mass_kg", ask=False, label="Standard uncertainty", help_text="One, not two: k = 1."
    )
    scale = InstrumentField(InstrumentKind.SCALE, required=False, label="Scale", empty_label="none, worked out")
    source = forms.CharField(
        max_length=200, required=False, label="Worked out from", help_text="As core cut list, 80 kg/m³. Empty: weighed."
    )

    def __init__(self, *args: Any, corrects: Weighing | None = None, **kwargs: Any) -> None:
        super().__init__(*args, corrects=corrects, **kwargs)


class FindingForm(SkinPlaceForm, CorrectingForm):
    act = "Log the finding"
    takes_photos = True

    zone_name = forms.CharField(label="Zone")
    kind = forms.TypedChoiceField(
        choices=FindingKind.choices, coerce=FindingKind, widget=forms.RadioSelect, label="What was found"
    )
    place = forms.CharField(max_length=80, required=False, label="Place", help_text="As inside, port, station 5.")
    length_mm = QuantityField(range_key="finding_size_mm", required=False, label="Length")
    width_mm = QuantityField(range_key="finding_size_mm", required=False, label="Width")
    words = forms.CharField(max_length=400, required=False, label="In words", widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, part: Part, corrects: Finding | None = None, **kwargs: Any) -> None:
        super().__init__(*args, corrects=corrects, **kwargs)
        self.revision = revision_in_force(part)
        self.fields["zone_name"] = zone_field(self.revision, by_place=True)
        self.order_fields([*SKIN_PLACE_FIELDS, "kind", "zone_name"])

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not cleaned.get("zone_name"):
            zone = (
                zone_at(self.revision, self.at.side, self.at.station, self.at.girth_mm)
                if self.revision and self.at
                else None
            )
            if zone is None:
                self.add_error("zone_name", "Tap the drawing inside a zone, or choose the zone.")
            else:
                cleaned["zone_name"] = zone.name
        return cleaned


class DecisionForm(CorrectingForm):
    act = "Decide"

    decision = forms.TypedChoiceField(
        choices=Decision.choices, coerce=Decision, widget=forms.RadioSelect, label="What is done about it"
    )
    words = forms.CharField(max_length=400, label="Why", widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, corrects: FindingDecision | None = None, **kwargs: Any) -> None:
        super().__init__(*args, corrects=corrects, **kwargs)
