"""What is keyed about resin: the plan's figures, hold tests, pails, what happens while it runs, what was left over."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any
from uuid import UUID

from django import forms
from django.core.exceptions import ObjectDoesNotExist
from django.utils import timezone

from hullbook.calc.dose import catalyst_grams
from hullbook.calc.errors import InputRefused
from hullbook.calc.ranges import check_hard, is_usual
from hullbook.hulls.enums import HullSide, Side
from hullbook.hulls.models import Part, Zone
from hullbook.hulls.selectors import revision_in_force
from hullbook.materials.enums import MaterialKind, SourceKind, StockUnit
from hullbook.materials.models import Lot, Material, ResinSystem
from hullbook.materials.selectors import KnownValue, SheetInForce, StockLine, materials, resin_systems, stock
from hullbook.pours.enums import (
    AlarmRank,
    ComponentRole,
    GaugeKind,
    GelPlace,
    InletMove,
    PailEnded,
    ReadingOf,
    RemainderPlace,
    TroubleKind,
)
from hullbook.pours.models import Mix, Pour, PourReading, Trouble
from hullbook.pours.selectors import (
    LayoutView,
    MixView,
    PourPlanInputs,
    PourPlanView,
    PourView,
    ResinPlanInputs,
    closing_of,
    furthest_front,
    last_hold_test,
    last_reading,
    layout_in_force,
    pour_plan_in_force,
    pour_plan_view,
    second_part,
    trouble_place,
    what_speaks_against,
    what_speaks_against_pouring,
    worked_out_pour_plan,
)
from hullbook.pours.services import GivenComponent, GivenInlet, GivenLine, GivenStation
from hullbook.quantities import tables
from hullbook.quantities.fields import QuantityField
from hullbook.quantities.reading import read_quantity
from hullbook.quantities.showing import show
from hullbook.records.services import Refused
from hullbook.web.forms import PAPER_SHEET, LogForm, OneOfField, Question
from hullbook.yard.enums import InstrumentKind
from hullbook.yard.forms import InstrumentField, InstrumentForm
from hullbook.yard.selectors import crew

COVERAGE_ASKED_ABOVE = 1.3
MOST_READINGS = 2000
LONGEST_LINE = 190
READING_LINE = re.compile(
    r"\s*(-?\d{1,6}(?:[.,]\d{1,6})?)\s*(?:[;\t ]|min)\s*(-?\d{1,6}(?:[.,]\d{1,6})?)\s*(?:mbar)?\s*"
)


# ---- Resin plan


class SheetField(OneOfField):
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

    system = OneOfField(queryset=ResinSystem.objects.none(), label="Resin with its catalyst or hardener")
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
    takes_paper = True

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


class HoldReadingForm(forms.Form):
    """The one number that is keyed while a hold test runs; it stays on the tablet until the whole test is logged."""

    shown_mbar = QuantityField(range_key="bag_pressure_mbar_abs", offers_units=False, label="The gauge shows")


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


class LotField(OneOfField):
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


# ---- The pour plan, and what the yard has tried

STOPS = (
    "Clamp an inlet before its pail runs below the heel: no air into a line.",
    "When the bag loses pressure faster than the limit: clamp at the inlets, find the leak, then open again.",
    "A pail that smokes or gets hot: clamp its line, carry it outside by the yard's rule.",
)
PLACE_LINE = re.compile(r"\s*([A-Za-z]{2,4})\s*[:,]\s*(\S.*?)\s*")


class LinesField(forms.CharField):
    """Several sentences, one a line."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(widget=forms.Textarea(attrs={"rows": 4, "autocomplete": "off"}), **kwargs)

    def clean(self, value: Any) -> tuple[str, ...]:
        lines = tuple(line.strip() for line in super().clean(value).splitlines() if line.strip())
        if any(len(line) > LONGEST_LINE for line in lines):
            raise forms.ValidationError(f"Give at most {LONGEST_LINE} letters a line.")
        return lines


class PlacesField(LinesField):
    """Who stands where: initials, a colon, what they do."""

    def clean(self, value: Any) -> tuple[tuple[str, str], ...]:  # type: ignore[override]
        places = []
        for line in super().clean(value):
            match = PLACE_LINE.fullmatch(line)
            if match is None:
                raise forms.ValidationError(f'"{line[:40]}" has no initials; give them first, as MO: scale and mixing.')
            places.append((match[1].upper(), match[2]))
        return tuple(places)


class PourPlanForm(LogForm):
    """What a pour plan needs beyond what is in force. Measured things of the day start empty."""

    act = "Read it to the crew"
    worked_out: PourPlanView

    dose_phr = QuantityField(range_key="dose_phr", is_measured=False, label="Dose for this pour")
    coldest_c = QuantityField(range_key="resin_temperature_c", label="Laminate and resin, coldest expected")
    hottest_c = QuantityField(range_key="resin_temperature_c", label="Laminate and resin, hottest expected")
    gauge_mbar = QuantityField(
        range_key="bag_pressure_mbar_abs",
        offers_units=False,
        label="The gauge on the bag shows",
        help_text="Without a sign.",
    )
    gauge_kind = forms.TypedChoiceField(choices=GaugeKind.choices, coerce=GaugeKind, label="It reads")
    station_pressure_mbar = QuantityField(
        range_key="station_pressure_mbar", label="Barometer", help_text="At the shop, not reduced to sea level."
    )
    pail_below_keel_mm = QuantityField(
        range_key="pail_below_keel_mm", is_measured=False, label="Resin in the pail below the keel"
    )
    medium_to_mm = QuantityField(
        range_key="half_girth_mm", is_measured=False, label="Flow medium ends, along the skin from the keel"
    )
    hose_length_m = QuantityField(range_key="length_m", is_measured=False, label="Supply hose of one inlet")
    fed_length_m = QuantityField(range_key="length_m", is_measured=False, label="Along the hull, fed by one inlet")
    handling_min = QuantityField(
        range_key="handling_time_min", is_measured=False, label="From the dose weighed to the inlet opened"
    )
    mixing_min = QuantityField(range_key="mixing_time_min", is_measured=False, label="To mix and carry one pail")
    doubling_min = QuantityField(
        range_key="doubling_time_min",
        required=False,
        is_measured=False,
        label="Mixed resin's viscosity doubles in",
        help_text="By the maker or the yard's own cup. Empty: taken as even until gel.",
    )
    source = forms.CharField(
        max_length=200, label="Where these come from", help_text="Bag drawing, weather, the walk of the morning."
    )
    places = PlacesField(label="Crew places", help_text="One line each, as MO: scale and mixing.")
    stops = LinesField(label="Stop conditions", help_text="One a line; the clamp rule is read out with them.")
    read_to = forms.MultipleChoiceField(
        required=False, label="Read to", help_text="Who was there.", widget=forms.CheckboxSelectMultiple
    )

    groups = (
        ("The day", ("dose_phr", "coldest_c", "hottest_c", "gauge_mbar", "gauge_kind", "station_pressure_mbar")),
        (
            "What is laid",
            ("pail_below_keel_mm", "medium_to_mm", "hose_length_m", "fed_length_m", "source"),
        ),
        ("Handling", ("handling_min", "mixing_min", "doubling_min")),
        ("The crew", ("places", "stops", "read_to", "happened_at")),
    )
    of_the_day = frozenset({"coldest_c", "hottest_c", "station_pressure_mbar", "gauge_mbar", "doubling_min"})

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.part = part
        self.fields["read_to"].choices = [(person.initials, str(person)) for person in crew()]  # type: ignore[attr-defined]
        self.initial.setdefault("stops", "\n".join(STOPS))
        if (before := pour_plan_in_force(part)) is not None:
            view = pour_plan_view(before)
            figures = [
                name
                for name, field in self.fields.items()
                if isinstance(field, QuantityField) and name not in self.of_the_day
            ]
            self.initial |= {name: f"{getattr(before, name):.10g}" for name in figures}
            self.initial |= {
                "places": "\n".join(f"{one.who}: {one.words}" for one in view.places),
                "stops": "\n".join(one.words for one in view.stops),
            }
        test = last_hold_test(part)
        if test is not None:
            ended = test.readings.order_by("-position")[0].bag_pressure_mbar_abs
            self.fields["gauge_mbar"].help_text += f" Hold test {test.number} ended at {show(ended, 'mbar')} absolute."
            self.initial["gauge_kind"] = test.gauge_kind

    def grouped(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [(title, [self[name] for name in names]) for title, names in self.groups]

    def clean(self) -> dict[str, Any]:
        coldest, hottest = self.cleaned_data.get("coldest_c"), self.cleaned_data.get("hottest_c")
        if coldest is not None and hottest is not None and coldest > hottest:
            self.add_error("hottest_c", f"The coldest is {show(coldest, 'degC')}; give no less.")
        look_at_the_gauge(self)
        if not self.errors:
            # Before anything is asked: what no plan can be worked out of is refused, not asked about first.
            on = timezone.localdate(self.cleaned_data["happened_at"] or timezone.now())
            try:
                self.worked_out = worked_out_pour_plan(self.part, self.inputs(), on)
            except Refused as refused:
                self.refuse(refused.problems)
        return super().clean()

    def ask_about(self) -> list[Question]:
        """A plan that speaks against itself is not read to anybody without a yes, which stays with it."""
        against = [] if "show" in self.data else what_speaks_against(self.worked_out)
        if not against:
            return []
        sentence = f"{'; '.join(against)}. Read it to the crew all the same? It stands in the book as asked."
        return [Question("plan", "against", f"{sentence[:1].upper()}{sentence[1:]}")]

    def inputs(self) -> PourPlanInputs:
        given = self.given()
        return PourPlanInputs(**{**given, "read_to": tuple(dict.fromkeys(given["read_to"]))})


def look_at_the_gauge(form: LogForm) -> None:
    """Refuse an absolute reading that only makes sense below the air pressure; one below it is asked nothing."""
    gauge, keyed = form.quantity("gauge_mbar"), form.cleaned_data
    gauge.ask = keyed.get("gauge_kind") == GaugeKind.ABSOLUTE
    shown_mbar, station_mbar = keyed.get("gauge_mbar"), keyed.get("station_pressure_mbar")
    if (
        not gauge.ask
        or shown_mbar is None
        or station_mbar is None
        or not is_usual(station_mbar - shown_mbar, gauge.range)
    ):
        return
    shown, below = show(shown_mbar, "mbar"), show(station_mbar - shown_mbar, "mbar")
    form.add_error(
        "gauge_mbar",
        f"{shown} absolute is next to no pull. "
        f"If the gauge reads below the air pressure, choose that: it is then {below} absolute.",
    )


class GelCupForm(InstrumentForm):
    """A cup of the part's resin system, watched until it gelled."""

    act = "Log the gel cup"
    takes_paper = True

    dose_phr = QuantityField(range_key="dose_phr", label="Dose")
    temperature_c = QuantityField(range_key="resin_temperature_c", shown_by="thermometer", label="It stood at")
    gel_min = QuantityField(range_key="gel_time_min", label="From the dose stirred in to gel")
    resin_lot = LotField(label="Resin lot")
    catalyst_lot = LotField(label="Catalyst lot")
    thermometer = InstrumentField(InstrumentKind.THERMOMETER, InstrumentKind.LOGGER, label="Thermometer")

    def __init__(self, *args: Any, system: ResinSystem, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        lines = stock(timezone.localdate())
        for name, material in (("resin_lot", system.resin_id), ("catalyst_lot", system.catalyst_id)):
            field = self.fields[name]
            assert isinstance(field, LotField)  # noqa: S101 - by the names above
            field.offer(line for line in lines if line.lot.material_id == material)


class FrontsField(ReadingsField):
    """A trial panel's readings, one line each: the minute, a blank, how far the front had come in mm."""

    def __init__(self) -> None:
        super().__init__()
        self.label = "Readings: minute, then mm"
        self.help_text = (
            "One line a reading: minutes since the first resin in the panel, a blank, mm from the inlet. "
            "For example: 2 290 on the first line, 4 420 on the next. At least five."
        )


class TrialPanelForm(LogForm):
    """A panel laid up as one of the part's zones and filled from one edge."""

    act = "Log the trial panel"
    takes_paper = True

    zone = OneOfField(queryset=Zone.objects.none(), label="Laid up as zone")
    medium = SheetField(
        "thickness_mm", "areal_weight_kg_m2", "polymer_density_kg_m3", "permeability_um2", label="Flow medium over it"
    )
    resin_temperature_c = QuantityField(range_key="resin_temperature_c", label="Panel and resin at")
    gauge_mbar = QuantityField(
        range_key="bag_pressure_mbar_abs",
        offers_units=False,
        label="The gauge on the bag shows",
        help_text="Without a sign.",
    )
    gauge_kind = forms.TypedChoiceField(choices=GaugeKind.choices, coerce=GaugeKind, label="It reads")
    station_pressure_mbar = QuantityField(
        range_key="station_pressure_mbar", label="Barometer", help_text="At the shop, not reduced to sea level."
    )
    readings = FrontsField()
    words = forms.CharField(max_length=400, required=False, label="Words", widget=forms.Textarea(attrs={"rows": 2}))

    def __init__(self, *args: Any, part: Part, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        revision = revision_in_force(part)
        zone = self.fields["zone"]
        zone.queryset = Zone.objects.filter(revision=revision).order_by("position")  # type: ignore[attr-defined]
        zone.label_from_instance = lambda one: one.name  # type: ignore[attr-defined]
        medium = self.fields["medium"]
        assert isinstance(medium, SheetField)  # noqa: S101 - by its name
        medium.offer(materials([MaterialKind.CONSUMABLE]))

    def clean(self) -> dict[str, Any]:
        look_at_the_gauge(self)
        return super().clean()


# ---- Pails


class MixForm(InstrumentForm):
    """A pail. Masses are never filled in beforehand; lots and instruments are those of the pail before."""

    act = "Mixed, now"
    takes_paper = True

    pail_number = forms.IntegerField(min_value=1, max_value=999, label="Pail")
    resin_kg = QuantityField(range_key="pail_mass_kg", ask=False, shown_by="scale", label="Resin")
    catalyst_g = QuantityField(range_key="catalyst_mass_g", ask=False, shown_by="catalyst_scale", label="Catalyst")
    resin_temperature_c = QuantityField(
        range_key="resin_temperature_c", shown_by="thermometer", label="Resin temperature"
    )
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
        range_key="pail_mass_kg", ask=False, shown_by="scale", required=False, label="Resin of the second lot"
    )
    addition_lot = LotField(required=False, label="Other addition, its lot")
    addition_g = QuantityField(range_key="catalyst_mass_g", ask=False, required=False, label="Other addition")
    lead_reason = forms.CharField(
        max_length=200,
        required=False,
        label="The quality lead's reason",
        help_text="Only where a lot or a dose is stopped and the quality lead uses it all the same.",
    )

    corrected_mix: int | None = None
    seldom = (
        "second_resin_lot",
        "second_resin_kg",
        "addition_lot",
        "addition_g",
        "lead_reason",
        "happened_at",
        PAPER_SHEET,
    )

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
        self._say_what_is_expected()
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

    def _say_what_is_expected(self) -> None:
        """All resin of a pail is held against the plan's pail, the grams against those worked out for that resin."""
        resin, catalyst = self.quantity("resin_kg"), self.quantity("catalyst_g")
        resin.expect_by("plan", "second_resin_kg", base=self.view.pail_kg, factor=-1.0, band="pail_mass")
        catalyst.expect_by(
            "worked out", "resin_kg", "second_resin_kg", factor=self._grams_per_kg(), band="catalyst_mass"
        )

    def _grams_per_kg(self) -> float:
        """At the middle of what the maker allows; at the dose of the pail before where that was mixed otherwise."""
        dose_phr = (self.system.dose_low_phr + self.system.dose_high_phr) / 2
        low, high = tables.soft_bands()["catalyst_mass"].bounds(dose_phr)
        before = [view.mix.dose_phr for view in self.view.current_mixes if view.mix.pk != self.corrected_mix]
        if before and not low <= before[-1] <= high:
            dose_phr = before[-1]
        return catalyst_grams(1.0, dose_phr, second_part(self.system))

    def _of_the_pail_before(self) -> dict[str, Any]:
        before = self.view.current_mixes[-1] if self.view.current_mixes else None
        first = {"pail_number": self.view.next_pail_number}
        return first if before is None else first | before_measuring(before)

    def often(self) -> list[forms.BoundField]:
        return [field for field in self.visible_fields() if field.name not in self.seldom]

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
        return [*super().ask_about(), *self._late()]

    def _late(self) -> list[Question]:
        closing = closing_of(self.view.pour)
        happened_at = self.cleaned_data["happened_at"] or timezone.now()
        if closing is None or happened_at <= closing.entry.happened_at:
            return []
        closed_at = timezone.localtime(closing.entry.happened_at)
        sentence = f"This pour was closed at {closed_at:%H:%M}. Was the pail mixed after that?"
        return [Question("closed", "mixed after the pour was closed", sentence)]

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
    """What the next pail most likely shares with this one: where it comes from and who weighs it on what.

    Not the second person: who read the scale is said by the person each time.
    """
    return {
        "resin_lot": view.resins[-1].lot_id,
        "catalyst_lot": view.catalysts[-1].lot_id,
        "inlet": view.mix.inlet,
        "mixed_by": view.mix.mixed_by,
        "scale": view.mix.scale_id,
        "catalyst_scale": view.mix.catalyst_scale_id,
        "thermometer": view.mix.thermometer_id,
    }


class MixCorrectForm(MixForm):
    """A pail as it was logged, to be put right; the earlier one stays with one line through it."""

    act = "Put the pail right"

    reason = forms.CharField(max_length=400, label="Why the earlier one was wrong")

    def __init__(self, *args: Any, corrects: MixView, **kwargs: Any) -> None:
        self.corrected_mix = corrects.mix.pk
        super().__init__(*args, initial=_as_logged(corrects), **kwargs)


def _as_logged(view: MixView) -> dict[str, Any]:
    mix = view.mix
    logged = before_measuring(view) | {
        "pail_number": mix.pail_number,
        "second_person": mix.second_person,
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


class ByEntryField(OneOfField):
    """A row of the book by the number of its entry, or by the entry's own id: a tablet knows no more at first.

    Those that stand are offered. One that was put right or struck out meanwhile is taken too: what happened, happened.
    """

    def offer_those_of(self, rows: Any) -> None:
        self.queryset = rows.select_related("entry").order_by("pk")
        offered = [(row.pk, self.label_from_instance(row)) for row in self.queryset.current()]
        self.choices = [("", self.empty_label or "choose"), *offered]

    def to_python(self, value: Any) -> Any:
        if value in self.empty_values:
            return None
        try:
            return self.queryset.get(entry__entry_id=UUID(str(value)))
        except (ValueError, ObjectDoesNotExist):
            return super().to_python(value)


class MixField(ByEntryField):
    """One of the pails of a pour."""

    def __init__(self, *, required: bool = False, **kwargs: Any) -> None:
        super().__init__(queryset=Mix.objects.none(), required=required, empty_label="none of them", **kwargs)

    def offer(self, pour: Pour) -> None:
        self.offer_those_of(Mix.objects.filter(pour=pour))

    def label_from_instance(self, mix: Mix) -> str:
        return f"pail {mix.pail_number}, mixed {timezone.localtime(mix.entry.happened_at):%H:%M}"


class TroubleField(ByEntryField):
    """Something that went wrong in a pour."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(queryset=Trouble.objects.none(), empty_label="choose", **kwargs)

    def offer(self, pour: Pour) -> None:
        self.offer_those_of(Trouble.objects.filter(pour=pour).select_related("mix", "gauge"))

    def label_from_instance(self, trouble: Trouble) -> str:
        place = trouble_place(trouble)
        at = timezone.localtime(trouble.entry.happened_at)
        return f"{trouble.get_kind_display()}, {at:%H:%M}{f', {place}' if place else ''}"


def offer_of(form: forms.Form, pour: Pour) -> None:
    for field in form.fields.values():
        if isinstance(field, MixField | TroubleField):
            field.offer(pour)


class PourForm(InstrumentForm):
    """A form about something in a pour; it offers the pour's pails."""

    def __init__(self, *args: Any, pour: Pour, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        offer_of(self, pour)


class RemainderForm(PourForm):
    act = "Log what was left"
    takes_paper = True

    place = forms.TypedChoiceField(choices=RemainderPlace.choices, coerce=RemainderPlace, label="Where it was found")
    mix = MixField(label="Which pail", help_text="Where it was left in a pail and you know which.")
    mass_kg = QuantityField(
        range_key="mass_kg", ask=False, shown_by="scale", label="Resin there", help_text="Gross less dry or tare."
    )
    scale = InstrumentField(InstrumentKind.SCALE, required=False, label="Weighed on")
    standard_uncertainty_kg = QuantityField(
        range_key="mass_uncertainty_kg",
        required=False,
        label="Standard uncertainty",
        help_text="Empty: what the scale can tell apart. Give it where the mass is estimated.",
    )


class GelForm(PourForm):
    act = "Gel, now"
    takes_paper = True

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


# ---- What is laid under the bag


@dataclass(frozen=True)
class Cell:
    """One column of a list keyed line by line: how it is called, how it is read, whether it may be empty."""

    words: str
    read: Callable[[str], Any]
    may_be_empty: bool = False


def _whole(text: str) -> int:
    if not text.isdecimal() or len(text) > 3:
        raise ValueError("a whole number")
    return int(text)


def _millimetres(text: str) -> float:
    reading = read_quantity(text, field="mm", stored_unit="mm")
    return check_hard("mm", reading.value, tables.ranges()["half_girth_mm"])


def _side(text: str) -> Side:
    return Side(text.lower())


class ListField(forms.CharField):
    """A list keyed line by line, its cells parted by semicolons."""

    def __init__(self, *cells: Cell, made: type[Any], **kwargs: Any) -> None:
        self.cells = cells
        self.made = made
        super().__init__(
            widget=forms.Textarea(attrs={"rows": 6, "autocomplete": "off", "spellcheck": "false"}),
            max_length=4000,
            **kwargs,
        )

    def clean(self, value: Any) -> list[Any]:
        text = super().clean(value)
        lines = [(number, line) for number, line in enumerate(text.splitlines(), start=1) if line.strip()]
        problems, rows = [], []
        for number, line in lines:
            try:
                rows.append(self._row(line))
            except (ValueError, InputRefused) as refused:
                problems.append(f"Line {number}: {refused}.")
        if problems:
            raise forms.ValidationError(problems[:5], code="not_a_number")
        return rows

    def _row(self, line: str) -> Any:
        texts = [cell.strip() for cell in line.split(";")]
        if len(texts) > len(self.cells):
            raise ValueError(f"there are {len(texts)} cells, at most {len(self.cells)} are taken")
        texts += [""] * (len(self.cells) - len(texts))
        return self.made(*(self._cell(cell, text) for cell, text in zip(self.cells, texts, strict=True)))

    @staticmethod
    def _cell(cell: Cell, text: str) -> Any:
        if not text:
            if cell.may_be_empty:
                return "" if cell.read is str else None
            raise ValueError(f"{cell.words} is missing")
        try:
            return cell.read(text)
        except ValueError as refused:
            raise ValueError(f"{cell.words} cannot be {text[:40]!r}") from refused


class LayoutForm(LogForm):
    act = "Log what is laid"

    lines = ListField(
        Cell("the number", _whole),
        Cell("the name", str),
        Cell("the distance from the keel", _millimetres),
        Cell("the side", _side),
        Cell("the line it opens after", _whole, may_be_empty=True),
        Cell("how far the front has come by then", _millimetres, may_be_empty=True),
        Cell("when it opens, in words", str, may_be_empty=True),
        made=GivenLine,
        label="Feed lines",
        help_text="One line each: number; name; mm from the keel; both, port or starboard; and where it does not open "
        "at the start: the feed line whose front opens it; how far that front has come, in mm; the same in words.",
    )
    inlets = ListField(
        Cell("the number", _whole),
        Cell("the feed line", _whole),
        Cell("the side", _side),
        made=GivenInlet,
        label="Inlets",
        help_text="One line each: number; the feed line it feeds; both, port or starboard.",
    )
    stations = ListField(
        Cell("the name", str),
        Cell("the distance from keel to flange", _millimetres),
        made=GivenStation,
        label="Stations where the front is logged",
        help_text="One line each: name; mm along the skin from keel to flange.",
    )
    words = forms.CharField(max_length=400, required=False, label="Drawing, or what is to be said about it")


def as_keyed(layout: LayoutView) -> dict[str, str]:
    """A layout as it would be keyed, to start the next one from."""
    lines = [
        [
            line.number,
            line.name,
            f"{line.girth_mm:g}",
            line.side,
            line.opens_after or "",
            "" if line.opens_front_mm is None else f"{line.opens_front_mm:g}",
            line.opens_words,
        ]
        for line in layout.lines
    ]
    inlets = [[inlet.number, inlet.line_number, inlet.side] for inlet in layout.inlets]
    stations = [[station.name, f"{station.girth_mm:g}"] for station in layout.stations]
    listed: dict[str, list[list[Any]]] = {"lines": lines, "inlets": inlets, "stations": stations}
    return {
        name: "\n".join("; ".join(str(cell) for cell in row).rstrip("; ") for row in rows)
        for name, rows in listed.items()
    } | {"words": layout.layout.words}


# ---- While resin runs: one tap, or one number. An instrument out of date is not asked about here; the dossier says so.

InletNumber = partial(forms.IntegerField, min_value=1, max_value=99, label="Inlet")
Station = partial(forms.CharField, max_length=20, label="Station")
OneSide = partial(forms.TypedChoiceField, choices=[("", "choose"), *HullSide.choices], coerce=HullSide, label="Side")


class DayForm(LogForm):
    """Something that happened while resin ran, in the pour it belongs to."""

    takes_paper = True

    def __init__(self, *args: Any, pour: Pour, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pour = pour
        offer_of(self, pour)


class InletForm(DayForm):
    act = "Log the inlet"

    inlet_number = InletNumber()
    move = forms.TypedChoiceField(choices=InletMove.choices, coerce=InletMove, label="It is now")


class FrontForm(DayForm):
    act = "Front reached, now"

    station = Station()
    side = OneSide()
    girth_mm = QuantityField(range_key="half_girth_mm", label="From the keel")
    landmark = forms.CharField(max_length=80, required=False, label="What it reached", help_text="Such as line 2.")

    def ask_about(self) -> list[Question]:
        layout = layout_in_force(self.pour.part)
        stations = layout.stations if layout else ()
        keyed = self.cleaned_data
        for station in stations:
            if station.name == keyed["station"].strip() and keyed["girth_mm"] > station.girth_mm:
                flange, front = show(station.girth_mm, "mm", 0), show(keyed["girth_mm"], "mm", 0)
                sentence = f"{front} is past the flange: at {station} it lies {flange} from the keel."
                return [Question("girth_mm", str(self.data.get("girth_mm", "")), sentence, f"{station.girth_mm:g}")]
        return self._ask_about_a_front_going_back()

    def _ask_about_a_front_going_back(self) -> list[Question]:
        keyed = self.cleaned_data
        station, side, girth_mm = keyed["station"].strip(), keyed["side"], keyed["girth_mm"]
        at = keyed.get("happened_at") or keyed.get("tapped_at") or timezone.now()
        further = furthest_front(self.pour, station, side, at)
        if further is None or further.girth_mm <= girth_mm:
            return []
        told, front = show(further.girth_mm, "mm", 0), show(girth_mm, "mm", 0)
        sentence = (
            f"{front} is behind the {told} told there at {timezone.localtime(further.entry.happened_at):%H:%M:%S}, "
            "and a front does not go back. Where that one was wrong, strike it out."
        )
        return [Question("girth_mm", str(self.data.get("girth_mm", "")), sentence)]


class PourReadingForm(DayForm, InstrumentForm):
    """A reading is held against the last of its kind at the same place, as long as that says what to expect."""

    act = "Reading, now"

    what = forms.TypedChoiceField(choices=ReadingOf.choices, coerce=ReadingOf, label="What is read")
    gauge_mbar = QuantityField(
        range_key="bag_pressure_mbar_abs",
        offers_units=False,
        shown_by="gauge",
        required=False,
        label="The gauge shows",
        help_text="Without a sign.",
    )
    gauge = InstrumentField(InstrumentKind.GAUGE, required=False, label="Gauge")
    gauge_kind = forms.TypedChoiceField(choices=GaugeKind.choices, coerce=GaugeKind, required=False, label="It reads")
    station_pressure_mbar = QuantityField(
        range_key="station_pressure_mbar",
        required=False,
        label="Barometer",
        help_text="For a gauge that reads below the air pressure. At the shop, not reduced to sea level.",
    )
    temperature_c = QuantityField(
        range_key="cure_temperature_c", shown_by="thermometer", required=False, label="Temperature"
    )
    thermometer = InstrumentField(
        InstrumentKind.THERMOMETER, InstrumentKind.LOGGER, required=False, label="Thermometer"
    )
    place = forms.CharField(
        max_length=80, required=False, label="Place", help_text="In a pail: as pail 4. Its gel clock follows."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.is_bound:
            what, last = self.initial.setdefault("what", ReadingOf.BAG_PRESSURE.value), None
            if what in ReadingOf.values:
                last = last_reading(self.pour, what, "", timezone.now())
            if last is not None:
                pressure = last.what == ReadingOf.BAG_PRESSURE
                self.initial["gauge" if pressure else "thermometer"] = last.instrument_id
                self.initial["gauge_kind"] = last.gauge_kind
                self._expect(last, timezone.now(), last.gauge_kind)

    def _expect(self, last: PourReading, now: datetime, gauge_kind: str) -> None:
        """What is keyed is held against the last reading while that still says what to expect."""
        pressure = last.what == ReadingOf.BAG_PRESSURE
        band = "vacuum" if pressure else "shed_temperature"
        holds_min = tables.soft_bands()[band].holds_min
        if holds_min is not None and now - last.entry.happened_at > timedelta(minutes=holds_min):
            return
        if pressure and last.gauge_kind == gauge_kind and last.gauge_mbar is not None:
            self.quantity("gauge_mbar").expect("last", abs(last.gauge_mbar), band=band)
        elif last.temperature_c is not None:
            self.quantity("temperature_c").expect("last", last.temperature_c, band=band)

    def clean(self) -> dict[str, Any]:
        keyed = self.cleaned_data
        if "what" in keyed:
            pressure = keyed["what"] == ReadingOf.BAG_PRESSURE
            for name in ("gauge_mbar", "gauge") if pressure else ("temperature_c", "thermometer"):
                if name not in self.errors and keyed.get(name) is None:
                    self.add_error(name, "This is missing; give it.")
            keyed["gauge_kind"] = keyed.get("gauge_kind") or GaugeKind.ABSOLUTE
            self.quantity("gauge_mbar").ask = keyed["gauge_kind"] == GaugeKind.ABSOLUTE
            at = keyed.get("happened_at") or keyed.get("tapped_at") or timezone.now()
            last = last_reading(self.pour, keyed["what"], keyed.get("place", ""), at)
            if last is not None:
                self._expect(last, at, keyed["gauge_kind"])
        return super().clean()


class TroubleForm(DayForm):
    act = "Log the trouble"
    takes_photos = True

    kind = forms.TypedChoiceField(choices=TroubleKind.choices, coerce=TroubleKind, label="What is wrong")
    station = Station(required=False)
    side = OneSide(required=False, empty_value=None)
    girth_mm = QuantityField(range_key="half_girth_mm", required=False, label="From the keel")
    inlet_number = InletNumber(required=False)
    mix = MixField(label="Pail")
    words = forms.CharField(max_length=400, required=False, label="In words")
    gauge = InstrumentField(InstrumentKind.GAUGE, required=False, label="The gauge that is read from now on")
    old_gauge_mbar_abs = QuantityField(
        range_key="bag_pressure_mbar_abs",
        ask=False,
        required=False,
        label="The old gauge, absolute",
        help_text="Where both could be read at the same moment: one curve is kept, with a mark.",
    )
    new_gauge_mbar_abs = QuantityField(
        range_key="bag_pressure_mbar_abs", ask=False, required=False, label="The new gauge, absolute"
    )

    def clean(self) -> dict[str, Any]:
        keyed = self.cleaned_data
        if keyed.get("kind") == TroubleKind.GAUGE_CHANGED and not keyed.get("gauge") and "gauge" not in self.errors:
            self.add_error("gauge", "Say which gauge is read from now on.")
        return super().clean()


class MendedForm(DayForm):
    act = "Log what was done"

    trouble = TroubleField(label="About what")
    words = forms.CharField(max_length=400, required=False, label="What was done")


class PailEndForm(DayForm):
    act = "Log the pail"

    mix = MixField(required=True, label="Pail")
    how = forms.TypedChoiceField(choices=PailEnded.choices, coerce=PailEnded, label="It is")


class NoteForm(DayForm):
    act = "Add the note"
    takes_photos = True

    words = forms.CharField(max_length=400, label="Note", widget=forms.Textarea(attrs={"rows": 3}))


class SoundForm(DayForm):
    act = "Log the sound test"
    takes_paper = False

    heard = forms.TypedChoiceField(
        choices=[("yes", "heard it"), ("no", "not heard")],
        coerce=lambda answer: answer == "yes",
        label="Three knocks",
        help_text="Try it where the noise is, not beside the tablet. Never rely on sound alone.",
    )


class AlarmForm(DayForm):
    act = "I have it"
    takes_paper = False

    code = forms.CharField(max_length=60, label="Alarm")
    rank = forms.TypedChoiceField(choices=AlarmRank.choices, coerce=AlarmRank, label="Rank")


class AnswerForm(DayForm):
    act = "Log the answer"
    takes_paper = False

    question = forms.CharField(max_length=80, label="Question")
    words = forms.CharField(max_length=400, label="Answer")
