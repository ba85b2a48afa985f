"""What is keyed about resin: the plan's figures, hold tests, pails, what was left over, gel."""

import re
from collections.abc import Iterable
from typing import Any

from django import forms
from django.utils import timezone

from hullbook.calc.dose import catalyst_grams
from hullbook.hulls.models import Part
from hullbook.hulls.selectors import revision_in_force
from hullbook.materials.enums import MaterialKind, SourceKind, StockUnit
from hullbook.materials.models import Lot, Material, ResinSystem
from hullbook.materials.selectors import KnownValue, SheetInForce, StockLine, materials, resin_systems, stock
from hullbook.pours.enums import ComponentRole, GaugeKind, GelPlace, RemainderPlace
from hullbook.pours.models import Mix, Pour
from hullbook.pours.selectors import (
    MixView,
    PourView,
    ResinPlanInputs,
    closing_of,
    second_part,
    what_speaks_against_pouring,
)
from hullbook.pours.services import GivenComponent
from hullbook.quantities import tables
from hullbook.quantities.fields import QuantityField
from hullbook.quantities.showing import show
from hullbook.web.forms import LogForm, Question
from hullbook.yard.enums import InstrumentKind
from hullbook.yard.forms import InstrumentField, InstrumentForm
from hullbook.yard.selectors import crew

SLIPS = {10.0: "ten times", 100.0: "a hundred times", 0.1: "a tenth of", 0.01: "a hundredth of"}
SLIP_WITHIN = 0.2
COVERAGE_ASKED_ABOVE = 1.3
MOST_READINGS = 2000
READING_LINE = re.compile(
    r"\s*(-?\d{1,6}(?:[.,]\d{1,6})?)\s*(?:[;\t ]|min)\s*(-?\d{1,6}(?:[.,]\d{1,6})?)\s*(?:mbar)?\s*"
)


def slip_question(field: str, given: str, value: float, expected: float, unit: str) -> Question | None:
    """Asks where a value looks like a tenth or ten times of what is expected, and offers it with the point moved."""
    for factor, words in SLIPS.items():
        if abs(value / (expected * factor) - 1) <= SLIP_WITHIN:
            sentence = f"{show(value, unit)} is about {words} the {show(expected, unit)} that would be expected."
            return Question(field, given, sentence, f"{value / factor:.4g}")
    return None


# ---- Resin plan


class SheetField(forms.ModelChoiceField):
    """One of the store's consumables whose sheet gives what is wanted of it."""

    def __init__(self, *wanted: str, **kwargs: Any) -> None:
        self.wanted = wanted
        self.sheets: dict[int, SheetInForce] = {}
        super().__init__(queryset=Material.objects.none(), required=False, empty_label="none", **kwargs)

    def offer(self, sheets: list[SheetInForce]) -> None:
        self.sheets = {one.material.pk: one for one in sheets if all(name in one.values for name in self.wanted)}
        self.queryset = Material.objects.filter(pk__in=self.sheets).order_by("code")

    def label_from_instance(self, material: Material) -> str:
        return f"{material.code} {self.sheets[material.pk].name}"


class FigureField(QuantityField):
    """A figure of the plan. Where a start value is kept it stands beside the empty field with its source, not in it."""

    def __init__(self, *, start: str = "", **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.start = tables.start_values("allowances").get(start)
        if self.start is not None:
            self.help_text = (
                f"Start value {self.start.value:g}: {self.start.source} ({self.start.status}). "
                "Key it to take it, or key your own."
            )

    def known(self, value: float, source: str) -> KnownValue:
        if self.start is not None and value == self.start.value:
            return KnownValue(value, SourceKind.DEFAULT, f"{self.start.source} ({self.start.status})")
        return KnownValue(value, SourceKind.YARD, source)


class CostField(forms.FloatField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0.01, widget=forms.TextInput(attrs={"inputmode": "decimal"}), **kwargs)


class PlanForm(LogForm):
    act = "Set the plan"

    system = forms.ModelChoiceField(queryset=ResinSystem.objects.none(), label="Resin with its catalyst or hardener")
    figures_source = forms.CharField(
        max_length=200,
        label="Where lengths and areas come from",
        help_text="The bag drawing, the cut plan or the tape, with its number or day.",
    )
    medium = SheetField("thickness_mm", "areal_weight_kg_m2", "polymer_density_kg_m3", label="Flow medium")
    medium_coverage_m2 = FigureField(range_key="area_m2", required=False, label="Area under flow medium")
    peel_ply = SheetField("pick_up_kg_m2", label="Peel ply")
    peel_ply_coverage_m2 = FigureField(range_key="area_m2", required=False, label="Area under peel ply")
    channel = SheetField("bore_mm", label="Feed channel")
    channel_length_m = FigureField(range_key="length_m", required=False, label="Length of feed channels")
    hose = SheetField("bore_mm", label="Feed hose")
    hose_length_m = FigureField(range_key="length_m", required=False, label="Length of hoses")
    flange_length_m = FigureField(range_key="length_m", label="Length of the flange")
    overrun_m = FigureField(range_key="overrun_m", start="overrun_m", label="Laminate past the trim line")
    brake_width_m = FigureField(range_key="brake_width_m", start="brake_width_m", label="Width of the resin brake")
    trap_share_percent = FigureField(
        range_key="trap_share_percent", start="trap_share_percent", label="Into the resin trap"
    )
    pail_kg = FigureField(range_key="pail_mass_kg", label="Mixed at once, one pail")
    pail_diameter_mm = FigureField(range_key="pail_diameter_mm", label="Diameter of the pail")
    pail_height_mm = FigureField(range_key="pail_height_mm", label="Height of the pail wetted")
    pail_film_mm = FigureField(range_key="pail_film_mm", start="pail_film_mm", label="Film left in a pail")
    heel_mm = FigureField(range_key="heel_mm", start="heel_mm", label="Heel in the last pail")
    cups_per_pail_kg = FigureField(
        range_key="cups_per_pail_kg", start="cups_per_pail_kg", label="Cups, stirrers and drips, each pail"
    )
    waste_fraction = FigureField(range_key="waste_fraction", start="waste_fraction", label="Waste in cutting, of 1")
    area_relative_sd = FigureField(
        range_key="area_error_fraction", start="area_error_fraction", label="Error of the areas, of 1"
    )
    cost_of_running_out = CostField(label="Cost of running out", help_text="A ruined shell. Same money for both.")
    cost_of_surplus = CostField(label="Cost of a surplus", help_text="Resin ordered and not needed.")
    container_kg = FigureField(range_key="container_kg", label="Bought in containers of")
    contingency_containers = forms.IntegerField(
        min_value=0, max_value=50, label="Containers unmixed beside, for contingency"
    )

    groups = (
        ("Resin", ("system", "figures_source")),
        ("Flow medium and peel ply", ("medium", "medium_coverage_m2", "peel_ply", "peel_ply_coverage_m2")),
        ("Lines", ("channel", "channel_length_m", "hose", "hose_length_m")),
        ("Flange, brake and trap", ("flange_length_m", "overrun_m", "brake_width_m", "trap_share_percent")),
        (
            "Pails",
            ("pail_kg", "pail_diameter_mm", "pail_height_mm", "pail_film_mm", "heel_mm", "cups_per_pail_kg"),
        ),
        ("How sure", ("area_relative_sd", "waste_fraction")),
        (
            "What to order",
            ("cost_of_running_out", "cost_of_surplus", "container_kg", "contingency_containers", "happened_at"),
        ),
    )

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.part = part
        systems = [system.pk for system in resin_systems()]
        self.fields["system"].queryset = ResinSystem.objects.filter(pk__in=systems).select_related("resin", "catalyst")  # type: ignore[attr-defined]
        consumables = materials([MaterialKind.CONSUMABLE])
        for field in self.fields.values():
            if isinstance(field, SheetField):
                field.offer(consumables)
        start = tables.start_values("allowances")["contingency_containers_count"]
        self.fields[
            "contingency_containers"
        ].help_text = (
            f"Start value {start.value:g}: {start.source} ({start.status}). Key it to take it, or key your own."
        )

    def grouped(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [(title, [self[name] for name in names]) for title, names in self.groups]

    def clean(self) -> dict[str, Any]:
        for laid, amount in (
            ("medium", "medium_coverage_m2"),
            ("peel_ply", "peel_ply_coverage_m2"),
            ("channel", "channel_length_m"),
            ("hose", "hose_length_m"),
        ):
            if amount not in self.errors and bool(self.cleaned_data.get(laid)) != bool(self.cleaned_data.get(amount)):
                words = f"Give {self.fields[laid].label} and {self.fields[amount].label.lower()} both, or neither."  # type: ignore[union-attr]
                self.add_error(amount, words)
        return super().clean()

    def ask_about(self) -> list[Question]:
        revision = revision_in_force(self.part)
        area_m2 = sum(zone.area_m2 for zone in revision.zones.all()) if revision else 0.0
        return [
            Question(
                name,
                str(self.data.get(name, "")),
                f"{self.fields[name].label}: {show(covered, 'm2')} over a part of {show(area_m2, 'm2')} is much.",
            )
            for name in ("medium_coverage_m2", "peel_ply_coverage_m2")
            if area_m2 and (covered := self.cleaned_data.get(name) or 0.0) > COVERAGE_ASKED_ABOVE * area_m2
        ]

    def inputs(self) -> ResinPlanInputs:
        """The figures with their sources; what a sheet gives is taken from the sheet."""
        cleaned, source = self.cleaned_data, self.cleaned_data["figures_source"]
        known = {
            name: field.known(cleaned.get(name) or 0.0, source)
            for name, field in self.fields.items()
            if isinstance(field, FigureField)
        }
        laid = {name: cleaned.get(name) for name in ("medium", "peel_ply", "channel", "hose")}
        keyed = {
            name: KnownValue(float(cleaned[name]), SourceKind.YARD, source)
            for name in ("cost_of_running_out", "cost_of_surplus", "contingency_containers")
        }
        bores = {f"{name}_bore_mm": self._bore(name) for name in ("channel", "hose")}
        return ResinPlanInputs(**laid, **known, **keyed, **bores)

    def _bore(self, name: str) -> KnownValue:
        field, material = self.fields[name], self.cleaned_data.get(name)
        assert isinstance(field, SheetField)  # noqa: S101 - by the names above
        if material is None:
            return KnownValue(1.0, SourceKind.YARD, "none is laid")
        return field.sheets[material.pk].values["bore_mm"]


# ---- Hold test


class ReadingsField(forms.CharField):
    """A hold test's readings, one line each: the minute, a blank, what the gauge showed."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            widget=forms.Textarea(attrs={"rows": 12, "autocomplete": "off", "spellcheck": "false"}),
            label="Readings: minute, then mbar",
            help_text="One line a reading: the minute since the bag was isolated, a blank, what the gauge shows. "
            "For example: 0 18.2 on the first line, 1 18.6 on the next. At least six, the longer the better.",
            **kwargs,
        )

    def clean(self, value: Any) -> list[tuple[float, float]]:
        text = super().clean(value)
        readings: list[tuple[float, float]] = []
        problems = []
        for number, line in enumerate(text.splitlines(), start=1):
            if not line.strip():
                continue
            match = READING_LINE.fullmatch(line)
            if match is None:
                problems.append(
                    f'Line {number}: "{line.strip()[:40]}" is not a minute and a reading; give two numbers, as 5 20.3.'
                )
                continue
            minute, shown = (float(one.replace(",", ".")) for one in match.groups())
            if readings and minute <= readings[-1][0]:
                problems.append(
                    f"Line {number}: {minute:g} min comes after {readings[-1][0]:g} min; minutes only rise."
                )
            readings.append((minute, shown))
        if len(readings) > MOST_READINGS:
            problems.append(f"{len(readings)} readings are given; give at most {MOST_READINGS}.")
        if problems:
            raise forms.ValidationError(problems[:5], code="not_a_number")
        return readings


class HoldTestForm(InstrumentForm):
    act = "Log the hold test"

    gauge = InstrumentField(InstrumentKind.GAUGE, label="Gauge")
    gauge_kind = forms.TypedChoiceField(choices=GaugeKind.choices, coerce=GaugeKind, label="The gauge reads")
    readings = ReadingsField()
    air_temperature_start_c = QuantityField(range_key="air_temperature_c", label="Air at the start")
    air_temperature_end_c = QuantityField(range_key="air_temperature_c", label="Air at the end")
    station_pressure_start_mbar = QuantityField(
        range_key="station_pressure_mbar",
        required=False,
        label="Barometer at the start",
        help_text="For a gauge that reads below the air pressure. At the shop, not reduced to sea level.",
    )
    station_pressure_end_mbar = QuantityField(
        range_key="station_pressure_mbar", required=False, label="Barometer at the end"
    )
    words = forms.CharField(
        max_length=400, required=False, label="Leaks found, what was done", widget=forms.Textarea(attrs={"rows": 2})
    )


# ---- The pour


class BeginForm(LogForm):
    act = "Begin the pour"

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.part = part

    def ask_about(self) -> list[Question]:
        against = what_speaks_against_pouring(self.part)
        if not against:
            return []
        words = "; ".join(against)
        sentence = f"{words[:1].upper()}{words[1:]}. Begin all the same? It stands in the book as begun before release."
        return [Question("release", "begun before release", sentence)]


class LotField(forms.ModelChoiceField):
    """A lot of the store: those fit for use first, the others marked with what is wrong."""

    def __init__(self, **kwargs: Any) -> None:
        self.words: dict[int, str] = {}
        super().__init__(queryset=Lot.objects.none(), **kwargs)

    def offer(self, lines: Iterable[StockLine]) -> None:
        lines = sorted(lines, key=lambda line: not line.is_usable)
        self.words = {line.lot.pk: line.words for line in lines}
        self.queryset = Lot.objects.filter(pk__in=self.words).select_related("material")
        self.choices = [("", "choose"), *self.words.items()]

    def label_from_instance(self, lot: Lot) -> str:
        return self.words[lot.pk]


class MixForm(InstrumentForm):
    """A pail. Masses are never filled in beforehand; lots and instruments are those of the pail before."""

    act = "Mixed, now"

    pail_number = forms.IntegerField(min_value=1, max_value=999, label="Pail")
    resin_kg = QuantityField(range_key="pail_mass_kg", ask=False, label="Resin")
    catalyst_g = QuantityField(range_key="catalyst_mass_g", ask=False, label="Catalyst")
    resin_temperature_c = QuantityField(range_key="resin_temperature_c", label="Temperature of the resin")
    resin_lot = LotField(label="Resin lot")
    catalyst_lot = LotField(label="Catalyst lot")
    inlet = forms.CharField(max_length=20, label="Inlet it feeds")
    mixed_by = forms.ChoiceField(label="Mixed by")
    second_person = forms.ChoiceField(required=False, label="Second person who read the scale")
    scale = InstrumentField(InstrumentKind.SCALE, label="Scale for the resin")
    catalyst_scale = InstrumentField(InstrumentKind.SCALE, label="Scale for the catalyst")
    thermometer = InstrumentField(InstrumentKind.THERMOMETER, InstrumentKind.LOGGER, label="Thermometer")
    second_resin_lot = LotField(required=False, label="Second resin lot in this pail")
    second_resin_kg = QuantityField(
        range_key="pail_mass_kg", ask=False, required=False, label="Resin of the second lot"
    )
    addition_lot = LotField(required=False, label="Other addition, its lot")
    addition_g = QuantityField(range_key="catalyst_mass_g", ask=False, required=False, label="Other addition")
    lead_reason = forms.CharField(
        max_length=200,
        required=False,
        label="The quality lead's reason",
        help_text="Only where a lot or a dose is stopped and the quality lead uses it all the same.",
    )

    seldom = ("second_resin_lot", "second_resin_kg", "addition_lot", "addition_g", "lead_reason", "happened_at")

    def __init__(self, *args: Any, view: PourView, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.view = view
        self.system = view.pour.plan.system
        word = second_part(self.system).capitalize()
        for name, label in (
            ("catalyst_g", word),
            ("catalyst_lot", f"{word} lot"),
            ("catalyst_scale", f"Scale for the {word.lower()}"),
        ):
            self.fields[name].label = label
        self._offer_lots()
        people = [(person.initials, str(person)) for person in crew()]
        self.fields["mixed_by"].choices = [("", "choose"), *people]  # type: ignore[attr-defined]
        self.fields["second_person"].choices = [("", "nobody"), *people]  # type: ignore[attr-defined]
        if not self.is_bound:
            self.initial |= self._of_the_pail_before() | kwargs.get("initial", {})

    def _offer_lots(self) -> None:
        lines = [line for line in stock(timezone.localdate()) if line.lot.material.stock_unit == StockUnit.KILOGRAM]
        wanted = {"resin_lot": self.system.resin_id, "second_resin_lot": self.system.resin_id}
        wanted["catalyst_lot"] = self.system.catalyst_id
        for name, field in self.fields.items():
            if isinstance(field, LotField):
                field.offer(line for line in lines if wanted.get(name) in (None, line.lot.material_id))

    def _of_the_pail_before(self) -> dict[str, Any]:
        before = self.view.current_mixes[-1] if self.view.current_mixes else None
        first = {"pail_number": self.view.next_pail_number}
        return first if before is None else first | before_measuring(before)

    def often(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name not in (*self.seldom, "entry_id")]

    def rarely(self) -> list[forms.BoundField]:
        return [self[name] for name in self.fields if name in self.seldom]

    @property
    def is_rare(self) -> bool:
        """One of the seldom used fields is filled in, or has something wrong."""
        return any(self[name].value() or name in self.errors for name in self.seldom)

    def clean(self) -> dict[str, Any]:
        for lot, amount in (("second_resin_lot", "second_resin_kg"), ("addition_lot", "addition_g")):
            if amount not in self.errors and bool(self.cleaned_data.get(lot)) != bool(self.cleaned_data.get(amount)):
                self.add_error(amount, "Give the lot and how much of it, or neither.")
        return super().clean()

    def ask_about(self) -> list[Question]:
        return [*super().ask_about(), *self._slips(), *self._late()]

    def _slips(self) -> list[Question]:
        """The resin first: grams are only odd beside a resin that is right."""
        resin_kg, catalyst_g = self.cleaned_data["resin_kg"], self.cleaned_data["catalyst_g"]
        about_resin = slip_question("resin_kg", self._keyed("resin_kg"), resin_kg, self.view.pail_kg, "kg")
        if about_resin is not None and not self._is_answered(about_resin):
            return [about_resin]
        total_kg = resin_kg + (self.cleaned_data["second_resin_kg"] or 0.0)
        middle = (self.system.dose_low_phr + self.system.dose_high_phr) / 2
        grams = catalyst_grams(total_kg, middle, second_part(self.system))
        about_catalyst = slip_question("catalyst_g", self._keyed("catalyst_g"), catalyst_g, grams, "g")
        return [question for question in (about_resin, about_catalyst) if question is not None]

    def _late(self) -> list[Question]:
        closing = closing_of(self.view.pour)
        happened_at = self.cleaned_data["happened_at"] or timezone.now()
        if closing is None or happened_at <= closing.entry.happened_at:
            return []
        closed_at = timezone.localtime(closing.entry.happened_at)
        sentence = f"This pour was closed at {closed_at:%H:%M}. Was the pail mixed after that?"
        return [Question("closed", "mixed after the pour was closed", sentence)]

    def _keyed(self, name: str) -> str:
        return str(self.data.get(name, ""))

    def given(self) -> dict[str, Any]:
        cleaned = super().given()
        parts = (
            (ComponentRole.RESIN, cleaned.pop("resin_lot"), cleaned.pop("resin_kg")),
            (ComponentRole.RESIN, cleaned.pop("second_resin_lot"), cleaned.pop("second_resin_kg")),
            (ComponentRole.CATALYST, cleaned.pop("catalyst_lot"), _kg(cleaned.pop("catalyst_g"))),
            (ComponentRole.ADDITION, cleaned.pop("addition_lot"), _kg(cleaned.pop("addition_g"))),
        )
        return cleaned | {
            "components": [
                GivenComponent(role, lot, kg) for role, lot, kg in parts if lot is not None and kg is not None
            ]
        }


def _kg(grams: float | None) -> float | None:
    return None if grams is None else grams / 1000


def before_measuring(view: MixView) -> dict[str, Any]:
    """What the next pail most likely shares with this one: where it comes from and who weighs it on what."""
    return {
        "resin_lot": view.resins[-1].lot_id,
        "catalyst_lot": view.catalysts[-1].lot_id,
        "inlet": view.mix.inlet,
        "mixed_by": view.mix.mixed_by,
        "second_person": view.mix.second_person,
        "scale": view.mix.scale_id,
        "catalyst_scale": view.mix.catalyst_scale_id,
        "thermometer": view.mix.thermometer_id,
    }


class MixCorrectForm(MixForm):
    """A pail as it was logged, to be put right; the earlier one stays with one line through it."""

    act = "Put the pail right"

    reason = forms.CharField(max_length=400, label="Why the earlier one was wrong")

    def __init__(self, *args: Any, corrects: MixView, **kwargs: Any) -> None:
        super().__init__(*args, initial=_as_logged(corrects), **kwargs)


def _as_logged(view: MixView) -> dict[str, Any]:
    mix = view.mix
    logged = before_measuring(view) | {
        "pail_number": mix.pail_number,
        "resin_lot": view.resins[0].lot_id,
        "resin_kg": f"{view.resins[0].mass_kg:g}",
        "catalyst_g": f"{view.catalyst_g:g}",
        "resin_temperature_c": f"{mix.resin_temperature_c:g}",
        "happened_at": timezone.localtime(mix.entry.happened_at).strftime("%Y-%m-%d %H:%M:%S"),
    }
    if len(view.resins) > 1:
        logged |= {"second_resin_lot": view.resins[1].lot_id, "second_resin_kg": f"{view.resins[1].mass_kg:g}"}
    if view.additions:
        addition = view.additions[0]
        logged |= {"addition_lot": addition.lot_id, "addition_g": f"{1000 * addition.mass_kg:g}"}
    return logged


class MixField(forms.ModelChoiceField):
    """One of the pails of a pour."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(queryset=Mix.objects.none(), required=False, empty_label="none of them", **kwargs)

    def offer(self, pour: Pour) -> None:
        mixes = Mix.objects.current().filter(pour=pour).select_related("entry")
        self.queryset = mixes.order_by("pail_number", "pk")

    def label_from_instance(self, mix: Mix) -> str:
        return f"pail {mix.pail_number}, mixed {timezone.localtime(mix.entry.happened_at):%H:%M}"


class PourForm(InstrumentForm):
    """A form about something in a pour; it offers the pour's pails."""

    def __init__(self, *args: Any, pour: Pour, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            if isinstance(field, MixField):
                field.offer(pour)


class RemainderForm(PourForm):
    act = "Log what was left"

    place = forms.TypedChoiceField(choices=RemainderPlace.choices, coerce=RemainderPlace, label="Where it was found")
    mix = MixField(label="Which pail", help_text="Where it was left in a pail and you know which.")
    mass_kg = QuantityField(range_key="mass_kg", ask=False, label="Resin there", help_text="Gross less dry or tare.")
    scale = InstrumentField(InstrumentKind.SCALE, required=False, label="Weighed on")
    standard_uncertainty_kg = QuantityField(
        range_key="mass_uncertainty_kg",
        required=False,
        label="Standard uncertainty",
        help_text="Empty: what the scale can tell apart. Give it where the mass is estimated.",
    )


class GelForm(PourForm):
    act = "Gel, now"

    at = forms.TypedChoiceField(choices=GelPlace.choices, coerce=GelPlace, label="Gel seen")
    mix = MixField(label="Of which pail", help_text="A cup and a pail belong to a mix.")
    place = forms.CharField(max_length=80, required=False, label="Place in the part, or which cup")
    temperature_c = QuantityField(range_key="cure_temperature_c", required=False, label="Temperature there")


class CloseForm(LogForm):
    act = "Close the pour"

    words = forms.CharField(
        max_length=400,
        required=False,
        label="What is to be said about it",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
