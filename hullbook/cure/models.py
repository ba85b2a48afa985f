"""Temperatures after gel, and the demould."""

from django.db import models

from hullbook.hulls.models import Part
from hullbook.quantities.fields import MeasuredField
from hullbook.records.models import TypedRow
from hullbook.yard.models import Instrument


class CureReading(TypedRow):
    """A temperature of the part, read by hand at a named place."""

    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="cure_readings")
    place = models.CharField(max_length=40)
    temperature_c = MeasuredField(decimal_places=2)
    thermometer = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.place} {self.temperature_c} °C"


class Demoulded(TypedRow):
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="demouldings")
    words = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return f"{self.part} demoulded"
