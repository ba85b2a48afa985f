"""A boat model's own lines, and the half-girths of a part that follow from them."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import cast

from hullbook.calc.hull_lines import HullLines, Offset, hull_lines
from hullbook.drawings.half_girth import GirthStation, Landmark, Mark, MarkShape, Side, half_girth
from hullbook.drawings.scene import Scene
from hullbook.hulls import enums
from hullbook.hulls.models import BoatModel, OffsetPoint, OffsetTable, Part, ScheduleRevision, SkinPlace, Zone
from hullbook.hulls.selectors.schedules import revision_in_force

# Where a half-girth is drawn while the model has no lines: a forward, a middle and an after station of ten.
WITHOUT_LINES = ("2", "5", "8")
LEAST_GIRTH_MM = 100.0
MOST_TO_POINT_AT = 5
POINTING_WIDTH = 1100.0


def offsets_in_force(boat_model: BoatModel) -> OffsetTable | None:
    tables = OffsetTable.objects.current().filter(boat_model=boat_model).select_related("entry", "boat_model")
    return tables.order_by("-pk").first()


def lines_of(boat_model: BoatModel) -> HullLines | None:
    """The model's lines, or None while none are given."""
    return lines_of_models([boat_model.pk]).get(boat_model.pk)


def lines_of_models(models: Iterable[int]) -> dict[int, HullLines]:
    """The lines of each model that has them, in two queries however many there are."""
    rows = OffsetTable.objects.current().filter(boat_model__in=list(models)).order_by("pk")
    in_force = {model: table for table, model in rows.values_list("pk", "boat_model")}
    model_of = {table: model for model, table in in_force.items()}
    offsets: dict[int, list[Offset]] = defaultdict(list)
    for point in OffsetPoint.objects.filter(table__in=model_of).order_by("table", "position"):
        offsets[model_of[point.table_id]].append(
            Offset(point.station, point.x_mm, point.line, point.half_breadth_mm, point.height_mm)
        )
    return {model: hull_lines(its) for model, its in offsets.items()}


def girth_stations(part: Part, only: Collection[str] = ()) -> tuple[GirthStation, ...]:
    """The half-girths of a part: from its model's lines, else as long as its schedule's zones; none without either."""
    lines = lines_of(part.hull.boat_model)
    if lines is not None:
        return stations_of_lines(lines, only)
    revision = revision_in_force(part)
    if revision is None:
        return ()
    ends = revision.zones.values_list("girth_to_mm", flat=True)
    longest = max(ends, default=0.0)
    return tuple(GirthStation(name, longest) for name in only or WITHOUT_LINES) if longest > 0 else ()


def stations_of_lines(lines: HullLines, only: Collection[str] = ()) -> tuple[GirthStation, ...]:
    """Each section as a half-girth with its chines; a section that closes to a point, as at the stem, has none."""
    return tuple(
        GirthStation(
            section.station,
            section.girth_mm,
            tuple(Landmark(chine, section.girth_to(chine)) for chine in section.chines),
        )
        for section in lines.sections
        if section.girth_mm >= LEAST_GIRTH_MM and (not only or section.station in only)
    )


def widest_half_girth(lines: HullLines | None) -> GirthStation | None:
    """The longest half-girth of the model, where its lines are given."""
    return max(stations_of_lines(lines), key=lambda one: one.flange_mm, default=None) if lines is not None else None


def evenly(stations: Sequence[GirthStation], most: int) -> tuple[GirthStation, ...]:
    """At most so many half-girths, spread from the stem to the transom."""
    if len(stations) <= most:
        return tuple(stations)
    return tuple(stations[round(place * (len(stations) - 1) / (most - 1))] for place in range(most))


def strip_for(stations: Iterable[GirthStation], station: str) -> str:
    """The half-girth a place is drawn on: its own station's, else the nearest by number, else none."""
    names = [one.name for one in stations]
    if station in names:
        return station
    wanted = _as_number(station)
    numbered = [(name, number) for name in names if (number := _as_number(name)) is not None]
    if wanted is None or not numbered:
        return ""
    return min(numbered, key=lambda one: abs(one[1] - wanted))[0]


def _as_number(station: str) -> float | None:
    try:
        return float(station)
    except ValueError:
        return None


def skin_places(entries: Iterable[int]) -> dict[int, SkinPlace]:
    """Where on the skin each of these entries belongs, as far as it was said."""
    return {place.entry_id: place for place in SkinPlace.objects.filter(entry__in=list(entries))}


def zone_at(revision: ScheduleRevision, side: str, station: str, girth_mm: float) -> Zone | None:
    """The zone of a schedule that a place on the skin lies in; where several lie over each other, the first."""
    at = _as_number(station)
    for zone in revision.zones.order_by("position"):
        is_on_side = zone.side in (enums.Side.BOTH, side)
        is_at_station = at is None or zone.station_from <= at <= zone.station_to
        if is_on_side and is_at_station and zone.girth_from_mm <= girth_mm <= zone.girth_to_mm:
            return zone
    return None


@dataclass(frozen=True)
class Placed:
    """Something to mark on the half-girth, with the place that was told of it."""

    place: SkinPlace
    words: str
    shape: MarkShape


def marks_on_the_girth(part: Part, placed: Sequence[Placed], *, title: str) -> Scene | None:
    """The half-girths of a part where something was told, with its marks; None where nothing is to be drawn."""
    stations = girth_stations(part) if placed else ()
    marks = _marks(stations, placed)
    shown = [station for station in stations if station.name in {mark.station for mark in marks}]
    return half_girth(shown, title=title, marks=marks) if shown else None


def girth_to_point_at(part: Part, placed: Sequence[Placed] = ()) -> Scene | None:
    """Half-girths from stem to transom to point at, with what is marked on them already."""
    stations = evenly(girth_stations(part), MOST_TO_POINT_AT)
    if not stations:
        return None
    return half_girth(
        stations, title=f"{part}: point at the place", marks=_marks(stations, placed), width=POINTING_WIDTH
    )


def _marks(stations: Sequence[GirthStation], placed: Iterable[Placed]) -> list[Mark]:
    found = [(strip_for(stations, one.place.station), one) for one in placed]
    return [
        Mark(strip, cast(Side, one.place.side), one.place.girth_mm, one.words, one.shape)
        for strip, one in found
        if strip
    ]
