"""Resin plan, vacuum hold tests, and the pour: mixes, the front and all that happens while it runs, what was left."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from hullbook.hulls.enums import HullSide, Side
from hullbook.hulls.models import Part, ScheduleRevision, Zone
from hullbook.materials.enums import SourceKind
from hullbook.materials.models import Lot, Material, ResinSystem
from hullbook.pours.enums import (
    AlarmRank,
    ComponentRole,
    GaugeKind,
    GelPlace,
    InletMove,
    PailEnded,
    PlanItemKind,
    PlanOrderKind,
    ReadingOf,
    RemainderPlace,
    TroubleKind,
)
from hullbook.quantities.fields import MeasuredField
from hullbook.records.models import EntryRow, TypedRow
from hullbook.yard.models import Instrument


class ResinPlan(TypedRow):
    """How much resin a part wants, as it was worked out and set; the latest current one of a part is in force."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="resin_plans")
    revision = models.ForeignKey(ScheduleRevision, on_delete=models.PROTECT, related_name="resin_plans")
    system = models.ForeignKey(ResinSystem, on_delete=models.PROTECT, related_name="resin_plans")
    area_relative_sd = MeasuredField(help_text="Shared relative error of everything that goes with area.")
    low_kg = MeasuredField()
    likely_kg = MeasuredField()
    high_kg = MeasuredField()
    mean_kg = MeasuredField()
    sd_kg = MeasuredField()
    upper_kg = MeasuredField(help_text="What is enough at the chance that the costs ask for.")
    container_kg = MeasuredField()
    containers = models.PositiveSmallIntegerField()
    contingency_containers = models.PositiveSmallIntegerField()
    tables_digest = models.CharField(max_length=64)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(low_kg__lte=F("likely_kg"), likely_kg__lte=F("high_kg"), low_kg__gte=0),
                name="resinplan_band_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} resin plan"


class PlanInput(EntryRow):
    """A figure the plan was worked out from, and where it comes from."""

    parent_field = "plan"

    plan = models.ForeignKey(ResinPlan, on_delete=models.PROTECT, related_name="inputs")
    name = models.CharField(max_length=60)
    material = models.ForeignKey(
        Material,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Whose sheet it was read from, or which material it is laid of.",
    )
    value = MeasuredField()
    source_kind = models.CharField(max_length=20, choices=SourceKind.choices)
    source = models.CharField(max_length=300)

    class Meta:
        ordering: ClassVar = ["plan", "position"]

    def __str__(self) -> str:
        return self.name


class PlanItem(EntryRow):
    """Resin for one purpose, in one zone where it belongs to one."""

    parent_field = "plan"

    plan = models.ForeignKey(ResinPlan, on_delete=models.PROTECT, related_name="items")
    kind = models.CharField(max_length=20, choices=PlanItemKind.choices)
    zone_name = models.CharField(max_length=40, blank=True)
    low_kg = MeasuredField()
    likely_kg = MeasuredField()
    high_kg = MeasuredField()
    goes_with_area = models.BooleanField()
    source_kind = models.CharField(max_length=20, choices=SourceKind.choices)
    source = models.CharField(max_length=300)

    class Meta:
        ordering: ClassVar = ["plan", "position"]

    def __str__(self) -> str:
        return f"{self.kind} {self.zone_name}".strip()


class HoldTest(TypedRow):
    """A vacuum hold test with all its readings. Every one is kept; none replaces another."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="hold_tests")
    number = models.PositiveSmallIntegerField()
    gauge = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    gauge_kind = models.CharField(max_length=20, choices=GaugeKind.choices)
    station_pressure_start_mbar = MeasuredField(null=True, blank=True, decimal_places=3)
    station_pressure_end_mbar = MeasuredField(null=True, blank=True, decimal_places=3)
    air_temperature_start_c = MeasuredField(decimal_places=2)
    air_temperature_end_c = MeasuredField(decimal_places=2)
    rate_mbar_min = MeasuredField(null=True)
    rate_standard_uncertainty_mbar_min = MeasuredField(null=True)
    rise_mbar = MeasuredField(null=True, help_text="The fitted rise over the minutes the limit is stated for.")
    rise_expanded_uncertainty_mbar = MeasuredField(null=True)
    words = models.CharField(max_length=400, blank=True)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(gauge_kind=GaugeKind.ABSOLUTE)
                | Q(station_pressure_start_mbar__isnull=False, station_pressure_end_mbar__isnull=False),
                name="holdtest_barometer_with_relative_gauge",
                violation_error_message="A gauge that reads below atmosphere needs the barometer at start and end.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} hold test {self.number}"


class HoldReading(EntryRow):
    parent_field = "test"

    test = models.ForeignKey(HoldTest, on_delete=models.PROTECT, related_name="readings")
    minute = MeasuredField(decimal_places=3)
    shown_mbar = MeasuredField(decimal_places=3, help_text="As the gauge showed it.")
    bag_pressure_mbar_abs = MeasuredField(decimal_places=3)

    class Meta:
        ordering: ClassVar = ["test", "position"]

    def __str__(self) -> str:
        return f"{self.minute} min {self.bag_pressure_mbar_abs} mbar"


class Pour(TypedRow):
    """Resin going into one part. Begun with this entry, closed by another."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="pours")
    number = models.PositiveSmallIntegerField()
    plan = models.ForeignKey(ResinPlan, on_delete=models.PROTECT, related_name="pours")

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.UniqueConstraint(fields=["part", "number"], name="pour_number_once_a_part"),
        ]

    def __str__(self) -> str:
        return f"{self.part} pour {self.number}"


class PourClosed(TypedRow):
    """The front is through everywhere and the last inlet is shut."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="closings")
    words = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return f"{self.pour} closed"


class Mix(TypedRow):
    """One pail: what went into it, at what temperature, by whose hand. Two tablets may log the same pail; both stay."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="mixes")
    pail_number = models.PositiveSmallIntegerField()
    dose_phr = MeasuredField()
    resin_temperature_c = MeasuredField(decimal_places=2)
    scale = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    catalyst_scale = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    thermometer = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    inlet = models.CharField(max_length=20)
    mixed_by = models.CharField(max_length=4)
    second_person = models.CharField(max_length=4, blank=True)
    lead = models.CharField(max_length=4, blank=True)
    lead_reason = models.CharField(max_length=400, blank=True)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(pail_number__gt=0),
                name="mix_pail_number_above_zero",
                violation_error_message="Pails count from 1.",
            ),
            models.CheckConstraint(
                condition=~Q(second_person=F("mixed_by")),
                name="mix_second_person_is_another",
                violation_error_message="The second person is another than the one who mixed.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pour} pail {self.pail_number}"


class MixComponent(EntryRow):
    parent_field = "mix"

    mix = models.ForeignKey(Mix, on_delete=models.PROTECT, related_name="components")
    role = models.CharField(max_length=20, choices=ComponentRole.choices)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="mix_components")
    mass_kg = MeasuredField()

    class Meta:
        ordering: ClassVar = ["mix", "position"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(mass_kg__gt=0),
                name="mixcomponent_mass_above_zero",
                violation_error_message="A mass is above nought.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.role} {self.mass_kg} kg"


class Remainder(TypedRow):
    """Mixed resin found again outside the part."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="remainders")
    mix = models.ForeignKey(Mix, null=True, blank=True, on_delete=models.PROTECT, related_name="remainders")
    place = models.CharField(max_length=20, choices=RemainderPlace.choices)
    mass_kg = MeasuredField()
    standard_uncertainty_kg = MeasuredField()
    scale = models.ForeignKey(Instrument, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(mass_kg__gte=0, standard_uncertainty_kg__gte=0),
                name="remainder_mass_not_negative",
                violation_error_message="A mass and its uncertainty are nought or more.",
            ),
            models.CheckConstraint(
                condition=Q(mix__isnull=True) | Q(place=RemainderPlace.PAIL),
                name="remainder_mix_only_for_a_pail",
                violation_error_message="Only what is left in a pail belongs to a mix.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place} {self.mass_kg} kg"


class Gel(TypedRow):
    """Gel seen: in a cup, in a pail, or at a place of the part."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="gels")
    mix = models.ForeignKey(Mix, null=True, blank=True, on_delete=models.PROTECT, related_name="gels")
    at = models.CharField(max_length=10, choices=GelPlace.choices)
    place = models.CharField(max_length=80, blank=True)
    temperature_c = MeasuredField(null=True, blank=True, decimal_places=2)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(at=GelPlace.PART) | Q(mix__isnull=False),
                name="gel_cup_names_its_mix",
                violation_error_message="A cup or pail belongs to a mix: say which.",
            ),
        ]

    def __str__(self) -> str:
        return f"gel, {self.at}"


# ---- What is laid under the bag


class FeedLayout(TypedRow):
    """Where feed lines and inlets of a part lie, and where its front is told; the latest current one is in force."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="feed_layouts")
    words = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return f"{self.part} feed lines"


class FeedLine(EntryRow):
    """A feed line along the part, by its distance from the keel. It opens at the start, or when a front has come."""

    parent_field = "layout"

    layout = models.ForeignKey(FeedLayout, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=40)
    girth_mm = MeasuredField(decimal_places=1)
    side = models.CharField(max_length=10, choices=Side.choices)
    opens_after = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Whose front opens it; empty where it opens at the start."
    )
    opens_front_mm = MeasuredField(
        null=True, decimal_places=1, help_text="How far from the keel that front has come by then."
    )
    opens_words = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering: ClassVar = ["layout", "position"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(opens_after__isnull=True, opens_front_mm__isnull=True)
                | Q(opens_after__isnull=False, opens_front_mm__isnull=False),
                name="feedline_opens_at_the_start_or_at_a_front",
                violation_error_message="Say after which line it opens and how far the front has come, or neither.",
            ),
        ]

    def __str__(self) -> str:
        return f"feed line {self.number}"


class FeedInlet(EntryRow):
    parent_field = "layout"

    layout = models.ForeignKey(FeedLayout, on_delete=models.PROTECT, related_name="inlets")
    number = models.PositiveSmallIntegerField()
    line_number = models.PositiveSmallIntegerField()
    side = models.CharField(max_length=10, choices=Side.choices)

    class Meta:
        ordering: ClassVar = ["layout", "position"]

    def __str__(self) -> str:
        return f"inlet {self.number}"


class FrontStation(EntryRow):
    """A station at which the front is told: how far it is there from keel to flange, the same on both sides."""

    parent_field = "layout"

    layout = models.ForeignKey(FeedLayout, on_delete=models.PROTECT, related_name="stations")
    name = models.CharField(max_length=20)
    girth_mm = MeasuredField(decimal_places=1)

    class Meta:
        ordering: ClassVar = ["layout", "position"]

    def __str__(self) -> str:
        return f"station {self.name}"


# ---- What the yard has tried, and the plan of how the resin will run


class GelCup(TypedRow):
    """A cup of a resin system mixed and watched until it gelled, at one temperature: the yard's own gel time."""

    system = models.ForeignKey(ResinSystem, on_delete=models.PROTECT, related_name="gel_cups")
    resin_lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+")
    catalyst_lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="+")
    dose_phr = MeasuredField()
    temperature_c = MeasuredField(decimal_places=2)
    gel_min = MeasuredField(decimal_places=3)
    thermometer = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(dose_phr__gt=0, gel_min__gt=0),
                name="gelcup_dose_and_time_above_zero",
                violation_error_message="A dose and a gel time are above nought.",
            ),
        ]

    def __str__(self) -> str:
        return f"gel cup, {self.system} {self.dose_phr:g} % at {self.temperature_c:g} °C"


class TrialPanel(TypedRow):
    """A panel laid up as one zone and filled from one edge, to learn how permeable that lay-up is."""

    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="trial_panels")
    medium = models.ForeignKey(Material, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    system = models.ForeignKey(ResinSystem, on_delete=models.PROTECT, related_name="trial_panels")
    resin_temperature_c = MeasuredField(decimal_places=2)
    viscosity_pa_s = MeasuredField()
    station_pressure_mbar = MeasuredField(decimal_places=3)
    bag_pressure_mbar_abs = MeasuredField(decimal_places=3)
    thickness_mm = MeasuredField()
    porosity = MeasuredField()
    by_sheets_um2 = MeasuredField(help_text="What the sheets of its materials would make of the same lay-up.")
    permeability_um2 = MeasuredField(help_text="As fitted to the readings.")
    relative_sd = MeasuredField()
    words = models.CharField(max_length=400, blank=True)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(permeability_um2__gt=0, by_sheets_um2__gt=0, relative_sd__gte=0),
                name="trialpanel_permeability_above_zero",
                violation_error_message="A permeability is above nought.",
            ),
        ]

    def __str__(self) -> str:
        return f"trial panel, {self.zone}"

    @property
    def relative_sd_percent(self) -> float:
        return 100 * self.relative_sd


class TrialReading(EntryRow):
    """How far the front of a trial panel had come."""

    parent_field = "panel"

    panel = models.ForeignKey(TrialPanel, on_delete=models.PROTECT, related_name="readings")
    minute = MeasuredField(decimal_places=3)
    front_mm = MeasuredField(decimal_places=1)

    class Meta:
        ordering: ClassVar = ["panel", "position"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["panel", "minute"],
                name="trialreading_minute_once_a_panel",
                violation_error_message="Two readings of the panel are at one minute; give each minute once.",
            ),
            models.CheckConstraint(
                condition=Q(minute__gte=0, front_mm__gte=0),
                name="trialreading_not_negative",
                violation_error_message="Minutes and the way of the front are nought or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.minute} min {self.front_mm} mm"


class PourPlan(TypedRow):
    """How the resin of a part will run, as it was read to the crew; the latest current one of a part is in force."""

    outlives = frozenset({"trial"})

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="pour_plans")
    number = models.PositiveSmallIntegerField()
    resin_plan = models.ForeignKey(ResinPlan, on_delete=models.PROTECT, related_name="pour_plans")
    layout = models.ForeignKey(FeedLayout, on_delete=models.PROTECT, related_name="pour_plans")
    trial = models.ForeignKey(TrialPanel, null=True, blank=True, on_delete=models.PROTECT, related_name="pour_plans")
    dose_phr = MeasuredField()
    coldest_c = MeasuredField(decimal_places=2)
    hottest_c = MeasuredField(decimal_places=2)
    station_pressure_mbar = MeasuredField(decimal_places=3)
    bag_pressure_mbar_abs = MeasuredField(decimal_places=3)
    pail_below_keel_mm = MeasuredField(decimal_places=1)
    medium_to_mm = MeasuredField(decimal_places=1)
    hose_length_m = MeasuredField()
    fed_length_m = MeasuredField(help_text="Along the hull, fed by one inlet.")
    handling_min = MeasuredField(decimal_places=3)
    mixing_min = MeasuredField(decimal_places=3)
    driving_pressure_pa = MeasuredField(decimal_places=1)
    viscosity_pa_s = MeasuredField()
    liquid_resin_density_kg_m3 = MeasuredField()
    thickening_per_min = MeasuredField()
    band_low = MeasuredField(help_text="Shortest fill, as a factor of the likely one.")
    band_high = MeasuredField()
    fill_min = MeasuredField(decimal_places=3)
    lag_m = MeasuredField(null=True, help_text="How far the medium runs ahead; empty: a sheet does not give it.")
    gel_low_min = MeasuredField(null=True, decimal_places=3, help_text="At the hottest; empty: the table does not say.")
    gel_mid_min = MeasuredField(null=True, decimal_places=3)
    gel_high_min = MeasuredField(null=True, decimal_places=3)
    gel_words = models.CharField(max_length=400, blank=True)
    pail_kg = MeasuredField()
    heel_kg = MeasuredField()
    end_kg = MeasuredField()
    total_kg = MeasuredField()
    tables_digest = models.CharField(max_length=64)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.UniqueConstraint(fields=["part", "number"], name="pourplan_number_once_a_part"),
            models.CheckConstraint(
                condition=Q(coldest_c__lte=F("hottest_c")),
                name="pourplan_coldest_not_above_hottest",
                violation_error_message="The coldest is not above the hottest.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} pour plan {self.number}"


class PlanSection(EntryRow):
    """A stretch of a strip as it was reckoned with."""

    parent_field = "plan"

    plan = models.ForeignKey(PourPlan, on_delete=models.PROTECT, related_name="sections")
    station = models.CharField(max_length=20)
    side = models.CharField(max_length=10, choices=HullSide.choices)
    name = models.CharField(max_length=60)
    length_m = MeasuredField()
    thickness_mm = MeasuredField()
    porosity = MeasuredField()
    permeability_um2 = MeasuredField()
    rise_m = MeasuredField()

    class Meta:
        ordering: ClassVar = ["plan", "position"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(
                    length_m__gt=0, thickness_mm__gt=0, permeability_um2__gt=0, porosity__gt=0, porosity__lte=1
                ),
                name="plansection_figures_above_zero",
                violation_error_message="Length, thickness, permeability and porosity of a stretch are above nought.",
            ),
        ]

    def __str__(self) -> str:
        return f"station {self.station} {self.side} {self.name}"


class PlanFeed(EntryRow):
    """A feed line as a strip is fed from it, and when it is opened by the plan."""

    parent_field = "plan"

    plan = models.ForeignKey(PourPlan, on_delete=models.PROTECT, related_name="feeds")
    station = models.CharField(max_length=20)
    side = models.CharField(max_length=10, choices=HullSide.choices)
    line_number = models.PositiveSmallIntegerField()
    girth_m = MeasuredField()
    opens_front_m = MeasuredField()
    hose_resistance_1_m3 = MeasuredField(decimal_places=0)
    minute = MeasuredField(decimal_places=3)

    class Meta:
        ordering: ClassVar = ["plan", "position"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["plan", "station", "side", "line_number"],
                name="planfeed_line_once_a_strip",
                violation_error_message="A feed line feeds a strip once.",
            ),
            models.CheckConstraint(
                condition=Q(
                    girth_m__gte=0, opens_front_m__gte=F("girth_m"), hose_resistance_1_m3__gte=0, minute__gte=0
                ),
                name="planfeed_opens_behind_the_front",
                violation_error_message="A feed line opens once the front is past it; nothing of it is below nought.",
            ),
        ]

    def __str__(self) -> str:
        return f"station {self.station} {self.side} feed line {self.line_number}"


class PlanArrival(EntryRow):
    """When the front comes to a place on a strip, in minutes from the first inlet opened."""

    parent_field = "plan"

    plan = models.ForeignKey(PourPlan, on_delete=models.PROTECT, related_name="arrivals")
    station = models.CharField(max_length=20)
    side = models.CharField(max_length=10, choices=HullSide.choices)
    girth_mm = MeasuredField(decimal_places=1)
    at = models.CharField(max_length=60)
    minute = MeasuredField(decimal_places=3)

    class Meta:
        ordering: ClassVar = ["plan", "position"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["plan", "station", "side", "at"],
                name="planarrival_place_once_a_strip",
                violation_error_message="The front comes to a place of a strip once.",
            ),
            models.CheckConstraint(
                condition=Q(girth_mm__gt=0, minute__gte=0),
                name="planarrival_not_negative",
                violation_error_message="The front comes to a place past the keel, at the first minute or later.",
            ),
        ]

    def __str__(self) -> str:
        return f"station {self.station} {self.side} {self.at}"


class PlanPail(EntryRow):
    """A pail of the plan: put on and drawn empty, in minutes from the first inlet opened."""

    parent_field = "plan"

    plan = models.ForeignKey(PourPlan, on_delete=models.PROTECT, related_name="pails")
    number = models.PositiveSmallIntegerField()
    mix_by_min = MeasuredField(decimal_places=3, help_text="The latest at which its mixing is begun.")
    on_min = MeasuredField(decimal_places=3)
    empty_min = MeasuredField(decimal_places=3)

    class Meta:
        ordering: ClassVar = ["plan", "position"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["plan", "number"],
                name="planpail_number_once_a_plan",
                violation_error_message="A pail stands in the plan once.",
            ),
            models.CheckConstraint(
                condition=Q(number__gt=0, on_min__gte=0, mix_by_min__lte=F("on_min"), empty_min__gte=F("on_min")),
                name="planpail_times_in_order",
                violation_error_message="Pails count from 1; each is mixed, put on and empty in this order.",
            ),
        ]

    def __str__(self) -> str:
        return f"pail {self.number}"


class PlanZoneResin(EntryRow):
    """Resin that a side of a zone takes, or a feed line with its hoses."""

    parent_field = "plan"

    plan = models.ForeignKey(PourPlan, on_delete=models.PROTECT, related_name="resin")
    name = models.CharField(max_length=40)
    side = models.CharField(max_length=10, choices=HullSide.choices, blank=True)
    line_number = models.PositiveSmallIntegerField(null=True, blank=True)
    from_mm = MeasuredField(null=True, decimal_places=1)
    to_mm = MeasuredField(null=True, decimal_places=1)
    kg = MeasuredField()

    class Meta:
        ordering: ClassVar = ["plan", "position"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["plan", "line_number"],
                name="planzoneresin_line_once_a_plan",
                violation_error_message="A feed line stands in the plan once.",
            ),
            models.CheckConstraint(
                condition=(
                    # A comparison with nothing is neither true nor false, and would pass.
                    Q(line_number__isnull=True, from_mm__isnull=False, to_mm__isnull=False, to_mm__gt=F("from_mm"))
                    & ~Q(side="")
                )
                | Q(line_number__isnull=False, from_mm__isnull=True, to_mm__isnull=True, side=""),
                name="planzoneresin_is_of_a_zone_or_a_line",
                violation_error_message="Resin is of one side of a zone, from girth to girth, or of a feed line.",
            ),
            models.CheckConstraint(
                condition=Q(kg__gte=0),
                name="planzoneresin_mass_not_negative",
                violation_error_message="A mass is nought or more.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class PlanCoefficient(EntryRow):
    """A figure the pour plan was worked out from, and where it comes from."""

    parent_field = "plan"

    plan = models.ForeignKey(PourPlan, on_delete=models.PROTECT, related_name="coefficients")
    words = models.CharField(max_length=120)
    material = models.ForeignKey(Material, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    value = MeasuredField()
    unit = models.CharField(max_length=10)
    source_kind = models.CharField(max_length=20, choices=SourceKind.choices)
    source = models.CharField(max_length=300)

    class Meta:
        ordering: ClassVar = ["plan", "position"]

    def __str__(self) -> str:
        return self.words


class PlanOrder(EntryRow):
    """What was read out beside the figures: somebody's place, or when to stop."""

    parent_field = "plan"

    plan = models.ForeignKey(PourPlan, on_delete=models.PROTECT, related_name="orders")
    kind = models.CharField(max_length=10, choices=PlanOrderKind.choices)
    who = models.CharField(max_length=4, blank=True)
    words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering: ClassVar = ["plan", "position"]

    def __str__(self) -> str:
        return f"{self.kind} {self.who}".strip()


# ---- While resin runs: each one tap, or one number


class InletMoved(TypedRow):
    """An inlet opened or shut."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="inlet_moves")
    inlet_number = models.PositiveSmallIntegerField()
    move = models.CharField(max_length=10, choices=InletMove.choices)

    def __str__(self) -> str:
        return f"inlet {self.inlet_number} {self.move}"


class FrontReached(TypedRow):
    """How far the front has come on one side of one station."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="fronts")
    station = models.CharField(max_length=20)
    side = models.CharField(max_length=10, choices=HullSide.choices)
    girth_mm = MeasuredField(decimal_places=1)
    landmark = models.CharField(max_length=80, blank=True)

    def __str__(self) -> str:
        return f"front, station {self.station} {self.side}"


class PourReading(TypedRow):
    """One reading while resin runs: the bag's pressure with its gauge, or a temperature."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="readings")
    what = models.CharField(max_length=20, choices=ReadingOf.choices)
    place = models.CharField(max_length=80, blank=True)
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    gauge_kind = models.CharField(max_length=20, choices=GaugeKind.choices, blank=True)
    gauge_mbar = MeasuredField(null=True, decimal_places=3, help_text="As the gauge showed it.")
    station_pressure_mbar = MeasuredField(null=True, decimal_places=3)
    bag_pressure_mbar_abs = MeasuredField(null=True, decimal_places=3)
    temperature_c = MeasuredField(null=True, decimal_places=2)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(
                    what=ReadingOf.BAG_PRESSURE, bag_pressure_mbar_abs__isnull=False, temperature_c__isnull=True
                )
                | (
                    ~Q(what=ReadingOf.BAG_PRESSURE) & Q(bag_pressure_mbar_abs__isnull=True, temperature_c__isnull=False)
                ),
                name="pourreading_is_a_pressure_or_a_temperature",
                violation_error_message="Give the pressure of the bag, or a temperature.",
            ),
            models.CheckConstraint(
                condition=~Q(gauge_kind=GaugeKind.BELOW_ATMOSPHERE) | Q(station_pressure_mbar__isnull=False),
                name="pourreading_barometer_with_relative_gauge",
                violation_error_message="A gauge that reads below atmosphere needs the barometer.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.what} reading"


class Trouble(TypedRow):
    """Something that went wrong while resin ran, at its place as far as it was told."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="troubles")
    kind = models.CharField(max_length=20, choices=TroubleKind.choices)
    words = models.CharField(max_length=400, blank=True)
    station = models.CharField(max_length=20, blank=True)
    side = models.CharField(max_length=10, choices=HullSide.choices, blank=True)
    girth_mm = MeasuredField(null=True, decimal_places=1)
    inlet_number = models.PositiveSmallIntegerField(null=True, blank=True)
    mix = models.ForeignKey(Mix, null=True, blank=True, on_delete=models.PROTECT, related_name="troubles")
    gauge = models.ForeignKey(
        Instrument,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The one read from now.",
    )
    old_gauge_mbar_abs = MeasuredField(null=True, decimal_places=3)
    new_gauge_mbar_abs = MeasuredField(null=True, decimal_places=3)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(kind=TroubleKind.GAUGE_CHANGED, gauge__isnull=False)
                | (~Q(kind=TroubleKind.GAUGE_CHANGED) & Q(gauge__isnull=True, old_gauge_mbar_abs__isnull=True)),
                name="trouble_gauge_changed_names_the_other",
                violation_error_message="Say which gauge is read from now on; only a change of gauge names one.",
            ),
            models.CheckConstraint(
                condition=Q(old_gauge_mbar_abs__isnull=True, new_gauge_mbar_abs__isnull=True)
                | Q(old_gauge_mbar_abs__isnull=False, new_gauge_mbar_abs__isnull=False),
                name="trouble_gauges_read_together",
                violation_error_message="Give what both gauges showed at the same moment, or neither.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.pour} {self.kind}"


class TroubleMended(TypedRow):
    """What was done about it; after all stop, that the pour goes on."""

    trouble = models.ForeignKey(Trouble, on_delete=models.PROTECT, related_name="mendings")
    words = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return f"{self.trouble} mended"


class PailEnd(TypedRow):
    """A pail is empty, or what is left of it was dumped. How much that was is weighed later."""

    mix = models.ForeignKey(Mix, on_delete=models.PROTECT, related_name="ends")
    how = models.CharField(max_length=10, choices=PailEnded.choices)

    def __str__(self) -> str:
        return f"{self.mix} {self.how}"


class PourNote(TypedRow):
    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="notes")
    words = models.CharField(max_length=400)

    def __str__(self) -> str:
        return f"{self.pour} note"


class SoundTest(TypedRow):
    """Whether the three knocks of an alarm are heard, tried at the start."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="sound_tests")
    heard = models.BooleanField()

    def __str__(self) -> str:
        return f"{self.pour} sound test"


class AlarmTaken(TypedRow):
    """Somebody has an alarm in hand: it is silent, and not closed by that."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="alarms_taken")
    code = models.CharField(max_length=60)
    rank = models.CharField(max_length=10, choices=AlarmRank.choices)

    def __str__(self) -> str:
        return f"{self.pour} alarm {self.code}"


class PourAnswer(TypedRow):
    """What was answered in words to a question that the pour had left open."""

    pour = models.ForeignKey(Pour, on_delete=models.PROTECT, related_name="answers")
    question = models.CharField(max_length=80)
    words = models.CharField(max_length=400)

    def __str__(self) -> str:
        return f"{self.pour} {self.question}"
