"""Hardness, weights, findings and what was decided."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from hullbook.hulls.models import Part
from hullbook.inspection.enums import Decision, FindingKind, Surface, Weighed
from hullbook.quantities.fields import MeasuredField
from hullbook.records.models import Entry, EntryRow, TypedRow
from hullbook.yard.models import Instrument


class HardnessSet(TypedRow):
    """Impressor readings of one place, with the tester's own check beside them."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="hardness_sets")
    zone_name = models.CharField(max_length=40)
    place = models.CharField(max_length=80, blank=True)
    surface = models.CharField(max_length=10, choices=Surface.choices)
    tester = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")
    disc_low = MeasuredField(decimal_places=1, help_text="The range marked on the check disc.")
    disc_high = MeasuredField(decimal_places=1)
    disc_reading = MeasuredField(decimal_places=1)
    part_temperature_c = MeasuredField(decimal_places=2)
    required_mean = MeasuredField(decimal_places=2)
    required_source = models.CharField(max_length=300)

    def __str__(self) -> str:
        return f"{self.part} hardness, {self.zone_name}"


class HardnessReading(EntryRow):
    parent_field = "hardness_set"

    hardness_set = models.ForeignKey(HardnessSet, on_delete=models.PROTECT, related_name="readings")
    value = MeasuredField(decimal_places=1)
    left_out_because = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering: ClassVar = ["hardness_set", "position"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(value__gte=0, value__lte=100),
                name="hardnessreading_on_the_dial",
                violation_error_message="The impressor's dial runs from 0 to 100.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.value}"


class Weighing(TypedRow):
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="weighings")
    what = models.CharField(max_length=30, choices=Weighed.choices)
    mass_kg = MeasuredField()
    standard_uncertainty_kg = MeasuredField()
    scale = models.ForeignKey(Instrument, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=200, help_text="Weighed, or worked out from what.")

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=Q(mass_kg__gte=0, standard_uncertainty_kg__gte=0),
                name="weighing_mass_not_negative",
                violation_error_message="A mass and its uncertainty are nought or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} {self.what} {self.mass_kg} kg"


class Finding(TypedRow):
    """Something seen on the part, or the word that somebody looked and saw nothing."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="findings")
    kind = models.CharField(max_length=30, choices=FindingKind.choices)
    zone_name = models.CharField(max_length=40)
    place = models.CharField(max_length=80, blank=True)
    length_mm = MeasuredField(null=True, blank=True, decimal_places=1)
    width_mm = MeasuredField(null=True, blank=True, decimal_places=1)
    words = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return f"{self.part}: {self.kind}, {self.zone_name}"


class FindingDecision(TypedRow):
    """What was decided about a finding, or about an entry that was judged to be outside a limit."""

    about_entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="finding_decisions")
    decision = models.CharField(max_length=20, choices=Decision.choices)
    words = models.CharField(max_length=400)

    def __str__(self) -> str:
        return f"entry {self.about_entry_id}: {self.decision}"
