"""Hulls and their parts, laminate schedules in revisions, what was laid, hold points."""

from typing import Any, ClassVar

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q

from hullbook.hulls.enums import BuildRegime, CraftNumberForm, HullSide, InShed, LayingOutcome, PaperKind, Side
from hullbook.materials.models import Lot, Material
from hullbook.quantities.fields import MeasuredField
from hullbook.records.models import Entry, EntryRow, TypedRow, in_columns
from hullbook.yard.models import Bay

# Names stand in the address of their page, so they hold nothing that an address gives a meaning to.
painted_number = RegexValidator(r"^[0-9A-Z][0-9A-Z-]*\Z", "Give capital letters, figures and hyphens, as MB84-03.")
plain_name = RegexValidator(r"^\w[\w .-]*\Z", "Give letters, figures, blanks, points and hyphens, as Hull shell.")


class BoatModel(TypedRow):
    name = models.CharField(max_length=40, unique=True, validators=[plain_name])
    length_m = MeasuredField(decimal_places=3)
    beam_m = MeasuredField(decimal_places=3)

    def __str__(self) -> str:
        return self.name


class OffsetTable(TypedRow):
    """A boat model's lines as its lines plan gives them; the latest current table of a model is in force."""

    boat_model = models.ForeignKey(BoatModel, on_delete=models.PROTECT, related_name="offset_tables")
    lines_plan = models.CharField(max_length=120, help_text="The drawing the offsets were read from.")

    def __str__(self) -> str:
        return f"offsets of {self.boat_model.name}"


class OffsetPoint(EntryRow):
    """Where one line of the hull passes one station: x aft from the stem, heights above the base line."""

    parent_field = "table"

    table = models.ForeignKey(OffsetTable, on_delete=models.PROTECT, related_name="points")
    station = models.CharField(max_length=10)
    x_mm = MeasuredField(decimal_places=1)
    line = models.CharField(max_length=10)
    half_breadth_mm = MeasuredField(decimal_places=1)
    height_mm = MeasuredField(decimal_places=1)

    class Meta:
        ordering: ClassVar = ["table", "position"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["table", "station", "line"], name="offsetpoint_line_once_a_station"),
            models.CheckConstraint(
                condition=Q(half_breadth_mm__gte=0),
                name="offsetpoint_one_side_only",
                violation_error_message="A half-breadth is nought or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line} at station {self.station}"


class Hull(TypedRow):
    """One boat from laying down to leaving the yard. Its number is painted on the mould and never changes."""

    number = models.CharField(max_length=20, unique=True, validators=[painted_number])
    boat_model = models.ForeignKey(BoatModel, on_delete=models.PROTECT, related_name="hulls")
    mould = models.CharField(max_length=40)
    pull_number = models.PositiveIntegerField(help_text="How many hulls this mould has made, this one included.")
    bay = models.ForeignKey(Bay, on_delete=models.PROTECT, related_name="hulls")
    build_regime = models.CharField(max_length=20, choices=BuildRegime.choices)
    customer_reference = models.CharField(max_length=80, blank=True)
    laid_down_on = models.DateField()

    def __str__(self) -> str:
        return self.number


class CraftNumberGiven(TypedRow):
    """The craft identification number; a change is a correction with its reason."""

    hull = models.ForeignKey(Hull, on_delete=models.PROTECT, related_name="craft_numbers")
    number = models.CharField(max_length=15)
    form = models.CharField(max_length=4, choices=CraftNumberForm.choices)

    def __str__(self) -> str:
        return self.number


class Part(TypedRow):
    hull = models.ForeignKey(Hull, on_delete=models.PROTECT, related_name="parts")
    name = models.CharField(max_length=40, validators=[plain_name])

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.UniqueConstraint(fields=["hull", "name"], name="part_name_once_a_hull"),
        ]

    def __str__(self) -> str:
        return f"{self.hull.number} {self.name}"


class ScheduleRevision(models.Model):
    """A laminate schedule for one part of one boat model, by revision letter. Free to change until it is signed."""

    boat_model = models.ForeignKey(BoatModel, on_delete=models.PROTECT, related_name="revisions")
    part_name = models.CharField(max_length=40, validators=[plain_name])
    letter = models.CharField(max_length=2)
    drawn_by = models.CharField(max_length=4)
    drawn_at = models.DateTimeField()

    class Meta:
        ordering: ClassVar = ["boat_model", "part_name", "letter"]
        constraints: ClassVar = [
            models.UniqueConstraint(
                fields=["boat_model", "part_name", "letter"], name="schedulerevision_letter_once_a_part"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.boat_model.name} {self.part_name} rev {self.letter}"


class Zone(models.Model):
    """A place of the part with one stack: its area and where it lies along the half-girth and the hull."""

    sealed_by = "hulls.ScheduleSigned"

    revision = models.ForeignKey(ScheduleRevision, on_delete=models.CASCADE, related_name="zones")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=40)
    area_m2 = MeasuredField(help_text="Developed area, both sides together where the zone is on both.")
    girth_from_mm = MeasuredField(decimal_places=1)
    girth_to_mm = MeasuredField(decimal_places=1)
    station_from = MeasuredField(decimal_places=2)
    station_to = MeasuredField(decimal_places=2)
    side = models.CharField(max_length=10, choices=Side.choices, default=Side.BOTH)

    class Meta:
        ordering: ClassVar = ["revision", "position"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["revision", "name"], name="zone_name_once_a_revision"),
            models.CheckConstraint(
                condition=Q(area_m2__gt=0),
                name="zone_area_above_zero",
                violation_error_message="The area of a zone is above nought.",
            ),
            models.CheckConstraint(
                condition=Q(girth_to_mm__gt=F("girth_from_mm"), station_to__gt=F("station_from")),
                name="zone_runs_forward",
                violation_error_message="A zone runs from the smaller girth and station to the greater.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ScheduleLine(models.Model):
    """One ply or core of one zone, in the order it goes into the mould."""

    sealed_by = "hulls.ScheduleSigned"

    revision = models.ForeignKey(ScheduleRevision, on_delete=models.CASCADE, related_name="lines")
    number = models.PositiveSmallIntegerField()
    zone = models.ForeignKey(Zone, on_delete=models.CASCADE, related_name="lines")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    angle_deg = models.CharField(max_length=12, blank=True, help_text="0, 90, +-45 and the like; empty for core.")
    lap_mm = MeasuredField(default=0.0, decimal_places=1)
    is_structural = models.BooleanField(default=True)

    class Meta:
        ordering: ClassVar = ["revision", "number"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["revision", "number"], name="scheduleline_number_once_a_revision"),
            models.CheckConstraint(
                condition=Q(lap_mm__gte=0),
                name="scheduleline_lap_not_negative",
                violation_error_message="A lap is nought or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"line {self.number}"

    @property
    def angle_words(self) -> str:
        return self.angle_deg.replace("+-", "±")


class ScheduleSigned(TypedRow):
    """A revision signed: its zones and lines are frozen, and stand whole in the entry."""

    revision = models.OneToOneField(ScheduleRevision, on_delete=models.PROTECT, related_name="signing")
    approval = models.CharField(
        max_length=120, help_text="The designer's drawing or the plan approval letter it follows."
    )

    def __str__(self) -> str:
        return f"{self.revision} signed"

    def sealed_content(self) -> dict[str, Any]:
        nothing: frozenset[str] = frozenset()
        return {
            "revision": in_columns(self.revision, nothing),
            "zones": [in_columns(zone, nothing) for zone in self.revision.zones.order_by("position")],
            "lines": [in_columns(line, nothing) for line in self.revision.lines.order_by("number")],
        }


class RevisionInForce(TypedRow):
    """From here on a hull's part is built to this revision."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="revisions_in_force")
    revision = models.ForeignKey(ScheduleRevision, on_delete=models.PROTECT, related_name="in_force_for")

    def __str__(self) -> str:
        return f"{self.part}: {self.revision}"


class Laying(TypedRow):
    """A schedule line as it went into the mould: when, by whom, from which lot; or why not."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="layings")
    zone = models.ForeignKey(Zone, on_delete=models.PROTECT, related_name="layings")
    line = models.ForeignKey(ScheduleLine, null=True, blank=True, on_delete=models.PROTECT, related_name="layings")
    outcome = models.CharField(max_length=20, choices=LayingOutcome.choices)
    lot = models.ForeignKey(Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="layings")
    quantity = MeasuredField(default=0.0, help_text="In the material's stock unit.")
    laid_by = models.CharField(max_length=4)
    second_person = models.CharField(max_length=4, blank=True)
    deviation = models.CharField(max_length=400, blank=True)
    lead = models.CharField(max_length=4, blank=True)
    lead_reason = models.CharField(max_length=400, blank=True)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(outcome=LayingOutcome.LAID) | ~Q(deviation=""),
                name="laying_deviation_has_reason",
                violation_error_message="Say why it was not laid as the line says.",
            ),
            models.CheckConstraint(
                condition=Q(outcome=LayingOutcome.NOT_LAID, lot__isnull=True, quantity=0)
                | (~Q(outcome=LayingOutcome.NOT_LAID) & Q(lot__isnull=False, quantity__gt=0)),
                name="laying_names_its_lot",
                violation_error_message="What is laid has a lot and a quantity; what is not laid has neither.",
            ),
            models.CheckConstraint(
                condition=Q(outcome=LayingOutcome.EXTRA, line__isnull=True)
                | (~Q(outcome=LayingOutcome.EXTRA) & Q(line__isnull=False)),
                name="laying_names_its_line",
                violation_error_message="Name the line of the schedule, or say that it was laid beside the schedule.",
            ),
            models.CheckConstraint(
                condition=~Q(second_person=F("laid_by")),
                name="laying_second_person_is_another",
                violation_error_message="The second person is another than the one who laid it.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part}: {self.outcome}"


class HoldPointRelease(TypedRow):
    """A hold point released, with what was missing at that moment."""

    hull = models.ForeignKey(Hull, on_delete=models.PROTECT, related_name="hold_point_releases")
    number = models.PositiveSmallIntegerField()
    words = models.CharField(max_length=400, blank=True)
    missing = models.TextField(blank=True)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(number__lte=12),
                name="holdpointrelease_number_known",
                violation_error_message="Hold points run from 0 to 12.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.hull.number} hold point {self.number}"


class LeftYard(TypedRow):
    """The hull has left the yard."""

    hull = models.ForeignKey(Hull, on_delete=models.PROTECT, related_name="departures")
    left_on = models.DateField()
    delivered_to = models.CharField(max_length=80, blank=True)

    def __str__(self) -> str:
        return f"{self.hull.number} left {self.left_on}"


class SkinPlace(EntryRow):
    """Where on the skin an entry belongs: the side, the station, and how far from the keel along the half-girth."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="skin_places")
    side = models.CharField(max_length=10, choices=HullSide.choices)
    station = models.CharField(max_length=10)
    girth_mm = MeasuredField(decimal_places=1)

    class Meta:
        ordering: ClassVar = ["entry", "position"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(girth_mm__gte=0),
                name="skinplace_from_the_keel",
                violation_error_message="The way along the skin from the keel is nought or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_side_display()}, station {self.station}, {self.girth_mm:.0f} mm from the keel"


class ShedPlace(TypedRow):
    """Where a bay, a mould or a hull out of its mould lies in the plan of the shed; the latest current one holds.

    The middle in metres from the upper left corner of the plan, x to the right and y down; heading 0 has the bow to the
    right, 90 down.
    """

    what = models.CharField(max_length=10, choices=InShed.choices)
    name = models.CharField(max_length=40)
    x_m = MeasuredField(decimal_places=2)
    y_m = MeasuredField(decimal_places=2)
    length_m = MeasuredField(decimal_places=2)
    width_m = MeasuredField(decimal_places=2)
    heading_deg = MeasuredField(decimal_places=1)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(x_m__gte=0, y_m__gte=0, length_m__gt=0, width_m__gt=0),
                name="shedplace_lies_in_the_plan",
                violation_error_message="It lies right of and below the corner, and is longer and wider than nought.",
            ),
            models.CheckConstraint(
                condition=Q(heading_deg__gte=0, heading_deg__lt=360),
                name="shedplace_heading_on_the_compass",
                violation_error_message="A heading is from 0 to under 360.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_what_display()} {self.name}"


class Photo(TypedRow):
    """A picture of what another entry tells, made smaller and without its camera's words.

    The file is named by the hash of the bytes kept. Beside it stand the hash of the bytes that were sent, and that of
    the picture as it was taken, where the tablet made it smaller before sending.
    """

    of = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="photos")
    kept_sha256 = models.CharField(max_length=64)
    sent_sha256 = models.CharField(max_length=64)
    original_sha256 = models.CharField(max_length=64)
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    size_bytes = models.PositiveIntegerField()
    claimed_at = models.DateTimeField(null=True, blank=True, help_text="As the camera or the tablet says it was taken.")

    def __str__(self) -> str:
        return f"photo of entry {self.of_id}"

    @property
    def path(self) -> str:
        return f"photos/{self.kept_sha256[:2]}/{self.kept_sha256}.jpg"


class PaperSheet(TypedRow):
    """An empty sheet printed for a part, to be written on by hand where no tablet can be. Numbered for each hull."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="paper_sheets")
    kind = models.CharField(max_length=20, choices=PaperKind.choices)
    number = models.PositiveIntegerField()

    def __str__(self) -> str:
        return f"paper sheet {self.number} of {self.part}"
