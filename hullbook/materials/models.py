"""What the yard builds with: materials with their sheets, resin systems, lots, certificates and the stock ledger."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from hullbook.materials.enums import CoreFinish, LotState, MaterialKind, MovementAct, SourceKind, StockUnit
from hullbook.quantities.fields import MeasuredField
from hullbook.records.models import Entry, EntryRow, LogRow, TypedRow


class StoredFile(LogRow):
    """A file kept as it was received, named by the SHA-256 of its bytes."""

    sha256 = models.CharField(max_length=64, primary_key=True)
    media_type = models.CharField(max_length=40)
    size_bytes = models.PositiveBigIntegerField()
    sent_name = models.CharField(max_length=200)

    def __str__(self) -> str:
        return self.sent_name

    @property
    def path(self) -> str:
        return f"{self.sha256[:2]}/{self.sha256}"


class Material(TypedRow):
    """A product the yard buys. What is known of it stands in its sheets; the latest is in force."""

    code = models.CharField(max_length=30, unique=True)
    kind = models.CharField(max_length=20, choices=MaterialKind.choices)
    stock_unit = models.CharField(max_length=10, choices=StockUnit.choices)

    def __str__(self) -> str:
        return self.code


class MaterialSheet(TypedRow):
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="sheets")
    name = models.CharField(max_length=120)
    maker = models.CharField(max_length=80, blank=True)
    fibre = models.CharField(max_length=20, blank=True, help_text="Reinforcement only: glass, carbon, aramid, basalt.")
    finish = models.CharField(max_length=30, choices=CoreFinish.choices, blank=True)

    def __str__(self) -> str:
        return self.name


class MaterialProperty(EntryRow):
    """One value of a sheet, in the unit its name ends with, and where it comes from."""

    parent_field = "sheet"

    sheet = models.ForeignKey(MaterialSheet, on_delete=models.PROTECT, related_name="properties")
    name = models.CharField(max_length=60)
    value = MeasuredField()
    source_kind = models.CharField(max_length=20, choices=SourceKind.choices)
    source = models.CharField(max_length=300)

    class Meta:
        ordering: ClassVar = ["sheet", "position"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["sheet", "name"], name="materialproperty_once_a_sheet"),
        ]

    def __str__(self) -> str:
        return self.name


class ResinSystem(TypedRow):
    """A resin with its catalyst (or hardener), dose limits and gel table. Another catalyst is another system."""

    code = models.CharField(max_length=30, unique=True)
    resin = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    catalyst = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    dose_low_phr = MeasuredField()
    dose_high_phr = MeasuredField()
    source_kind = models.CharField(max_length=20, choices=SourceKind.choices)
    source = models.CharField(max_length=300)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(dose_low_phr__gt=0, dose_high_phr__gte=F("dose_low_phr")),
                name="resinsystem_dose_limits_in_order",
                violation_error_message="The lowest dose is above nought and not above the highest.",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class GelTime(EntryRow):
    """One cell of the maker's gel table."""

    parent_field = "system"

    system = models.ForeignKey(ResinSystem, on_delete=models.PROTECT, related_name="gel_times")
    dose_phr = MeasuredField()
    temperature_c = MeasuredField()
    shortest_min = MeasuredField()
    longest_min = MeasuredField()

    class Meta:
        ordering: ClassVar = ["system", "position"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(shortest_min__gt=0, longest_min__gte=F("shortest_min")), name="geltime_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.dose_phr} % at {self.temperature_c} °C"


class Lot(TypedRow):
    """What came in one delivery of one maker's batch."""

    code = models.CharField(max_length=20, unique=True)
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="lots")
    makers_batch = models.CharField(max_length=60)
    supplier_note = models.CharField(max_length=80, blank=True)
    received_quantity = MeasuredField()
    received_on = models.DateField()
    made_on = models.DateField(null=True, blank=True)
    use_by = models.DateField(null=True, blank=True)
    no_use_by = models.BooleanField(default=False, help_text="The maker gives none.")
    storage_place = models.CharField(max_length=80, blank=True)

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(received_quantity__gt=0),
                name="lot_quantity_above_zero",
                violation_error_message="The quantity received is above nought.",
            ),
            models.CheckConstraint(
                condition=Q(use_by__isnull=False, no_use_by=False) | Q(use_by__isnull=True, no_use_by=True),
                name="lot_use_by_or_none_by_maker",
                violation_error_message="Give the use-by date, or say that the maker gives none; not both.",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class LotDecision(TypedRow):
    """A lot released, held, rejected or used up; the latest current one is its state."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="decisions")
    state = models.CharField(max_length=20, choices=[c for c in LotState.choices if c[0] != LotState.RECEIVED])
    words = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return f"{self.lot.code} {self.state}"


class Certificate(TypedRow):
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="certificates")
    kind = models.CharField(max_length=80)
    number = models.CharField(max_length=80)
    dated_on = models.DateField()
    file = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.kind} {self.number}"


class StockMovement(EntryRow):
    """One line of the stock ledger: what an entry brought in (above nought) or took out (below)."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="stock_movements")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="movements")
    act = models.CharField(max_length=20, choices=MovementAct.choices)
    quantity = MeasuredField()
    undoes = models.ForeignKey(Entry, null=True, blank=True, on_delete=models.PROTECT, related_name="undoing_movements")

    class Meta:
        ordering: ClassVar = ["entry", "position"]
        indexes: ClassVar = [models.Index(fields=["lot", "entry"], name="movement_by_lot")]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(act=MovementAct.RECEIVED, quantity__gt=0)
                | Q(act__in=[MovementAct.USED, MovementAct.DISCARDED], quantity__lt=0)
                | Q(act=MovementAct.UNDONE),
                name="stockmovement_sign_fits_its_act",
            ),
            models.CheckConstraint(
                condition=Q(act=MovementAct.UNDONE, undoes__isnull=False)
                | Q(~Q(act=MovementAct.UNDONE), undoes__isnull=True),
                name="stockmovement_undone_names_its_entry",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot.code} {self.quantity:+}"
