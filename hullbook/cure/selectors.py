"""Reading the cure: temperatures by place against the time since gel, and what the curve shows."""

from dataclasses import dataclass
from datetime import datetime

from hullbook.calc.cure import Exotherm, exotherm, minutes_above
from hullbook.calc.errors import InputRefused
from hullbook.cure.models import CureReading, Demoulded
from hullbook.drawings.scene import Scene
from hullbook.drawings.series_plot import Series, series_plot
from hullbook.hulls.models import Part
from hullbook.hulls.selectors import Placed, marks_on_the_girth, skin_places
from hullbook.pours.enums import GelPlace
from hullbook.pours.models import Gel
from hullbook.quantities import tables
from hullbook.quantities.showing import show
from hullbook.yard.enums import LimitName
from hullbook.yard.selectors import limit_in_force

MOST_CURVES = 4


@dataclass(frozen=True)
class Warmth:
    """A temperature that time is counted above, and where it comes from."""

    above_c: float
    source: str


@dataclass(frozen=True)
class PlaceCurve:
    """The readings of one place in time order, and what they show; `because` says why a feature is not there."""

    place: str
    readings: tuple[CureReading, ...]
    hours: tuple[float, ...]
    exotherm: Exotherm | None
    minutes_above: float | None
    because: str

    @property
    def temperatures_c(self) -> tuple[float, ...]:
        return tuple(reading.temperature_c for reading in self.readings)

    @property
    def last(self) -> CureReading:
        return self.readings[-1]

    @property
    def highest(self) -> CureReading:
        return max(self.readings, key=lambda reading: reading.temperature_c)

    @property
    def peak_c(self) -> float | None:
        return None if self.exotherm is None else self.exotherm.peak_c

    @property
    def peak_hours(self) -> float | None:
        """Hours from the start of the clock to the peak."""
        return None if self.exotherm is None else self.hours[0] + self.exotherm.peak_minutes / 60

    @property
    def hours_above(self) -> float | None:
        return None if self.minutes_above is None else self.minutes_above / 60


@dataclass(frozen=True)
class CureView:
    """The cure of one part. Its clock starts at gel in the part, else in a cup or pail, else at the first reading."""

    part: Part
    started_at: datetime | None
    started_by: str
    curves: tuple[PlaceCurve, ...]
    struck: tuple[CureReading, ...]
    warmth: Warmth | None
    demoulded: Demoulded | None

    @property
    def hours_to_demould(self) -> float | None:
        if self.demoulded is None or self.started_at is None:
            return None
        return (self.demoulded.entry.happened_at - self.started_at).total_seconds() / 3600


def cure_view(part: Part, above_c: float | None = None) -> CureView:
    """Every curve of a part; time is counted above `above_c`, or above the yard's lowest air temperature for work."""
    readings = CureReading.objects.filter(part=part).select_related(
        "entry", "entry__struck_out", "corrected_by", "thermometer"
    )
    in_order = list(readings.order_by("entry__happened_at", "pk"))
    current = [reading for reading in in_order if reading.is_current]
    started_at, started_by = _start_of_clock(part, current)
    warmth = _warmth(above_c)
    places = dict.fromkeys(reading.place for reading in current)
    demoulded = Demoulded.objects.current().filter(part=part).select_related("entry").order_by("-pk").first()
    return CureView(
        part=part,
        started_at=started_at,
        started_by=started_by,
        curves=tuple(
            _curve(place, [reading for reading in current if reading.place == place], started_at, warmth)
            for place in places
        ),
        struck=tuple(reading for reading in in_order if not reading.is_current),
        warmth=warmth,
        demoulded=demoulded,
    )


def _start_of_clock(part: Part, readings: list[CureReading]) -> tuple[datetime | None, str]:
    gels = Gel.objects.current().filter(pour__part=part).select_related("entry").order_by("entry__happened_at")
    in_part = [gel for gel in gels if gel.at == GelPlace.PART]
    if in_part:
        # The part is gelled when its last place is.
        return in_part[-1].entry.happened_at, "gel in the part, the last place logged"
    if gels:
        return gels[len(gels) - 1].entry.happened_at, "gel in a cup or pail, the last logged"
    if readings:
        return readings[0].entry.happened_at, "the first reading; no gel is logged"
    return None, ""


def _warmth(above_c: float | None) -> Warmth | None:
    if above_c is not None:
        return Warmth(above_c, "as asked for on this page")
    limit = limit_in_force(LimitName.AIR_TEMPERATURE)
    if limit is None or limit.low is None:
        return None
    return Warmth(limit.low, f"the yard's lowest air temperature at work, {limit.source}")


def _curve(place: str, readings: list[CureReading], started_at: datetime | None, warmth: Warmth | None) -> PlaceCurve:
    start = started_at or readings[0].entry.happened_at
    hours = tuple((reading.entry.happened_at - start).total_seconds() / 3600 for reading in readings)
    minutes = [60 * (hour - hours[0]) for hour in hours]
    temperatures = [reading.temperature_c for reading in readings]
    figures = tables.start_values("cure")
    found, above, because = None, None, []
    try:
        found = exotherm(minutes, temperatures, onset_rise_k=figures["onset_rise_k"].value)
    except InputRefused as refused:
        because.append(f"Peak: {refused.given}; {refused.accepted}.")
    if warmth is not None:
        try:
            above = minutes_above(
                minutes, temperatures, warmth.above_c, greatest_gap_minutes=figures["greatest_gap_min"].value
            )
        except InputRefused as refused:
            because.append(f"Time above {show(warmth.above_c, 'degC')}: {refused.given}; {refused.accepted}.")
    return PlaceCurve(place, tuple(readings), hours, found, above, " ".join(because))


def cure_plot(view: CureView) -> Scene:
    """Temperature against the clock, one line a place; of many places, the four hottest."""
    hottest = sorted(view.curves, key=lambda curve: -curve.highest.temperature_c)[:MOST_CURVES]
    return series_plot(
        [Series(curve.place, list(zip(curve.hours, curve.temperatures_c, strict=True))) for curve in hottest],
        x_label=f"hours since {view.started_by.split(',')[0].split(';')[0]}",
        y_label="temperature, °C",
        title="Temperature of the part",
    )


def probes_on_the_girth(view: CureView) -> Scene | None:
    """Where each place that was read lies on the skin, numbered as the table of the page has them."""
    places = skin_places(reading.pk for curve in view.curves for reading in curve.readings)
    placed = []
    for number, curve in enumerate(view.curves, start=1):
        told = [places[reading.pk] for reading in curve.readings if reading.pk in places]
        if told:
            placed.append(Placed(told[-1], str(number), "probe"))
    return marks_on_the_girth(view.part, placed, title=f"{view.part}: where temperatures are read")
