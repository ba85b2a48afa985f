"""Where every hull stands; getting at a hull, its parts, its numbers and its hold points."""

import calendar
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from difflib import get_close_matches

from django.db.models import Max, OuterRef, QuerySet, Subquery
from django.http import Http404
from django.utils import timezone

from hullbook.calc.craft_number import read_craft_number
from hullbook.hulls.enums import HOLD_POINTS, HoldPoint, InShed
from hullbook.hulls.models import CraftNumberGiven, HoldPointRelease, Hull, LeftYard, Part, ShedPlace
from hullbook.materials.enums import LotState
from hullbook.materials.selectors import StockLine, stock
from hullbook.quantities import tables
from hullbook.yard.models import Bay, Person
from hullbook.yard.perms import Act, require
from hullbook.yard.selectors import bays


def hull_for(person: Person, act: Act, number: str) -> Hull:
    """The hull, for somebody who may do this to it; PermissionDenied or 404 otherwise."""
    require(person, act)
    hull = Hull.objects.select_related("entry", "boat_model", "bay").filter(number=number).first()
    if hull is None:
        near = get_close_matches(number, Hull.objects.values_list("number", flat=True), n=3, cutoff=0.4)
        nearest = f" Nearest: {', '.join(near)}." if near else ""
        raise Http404(f"No hull {number} here.{nearest}")
    return hull


def part_for(person: Person, act: Act, number: str, part_name: str) -> Part:
    hull = hull_for(person, act, number)
    part = Part.objects.filter(hull=hull, name=part_name).first()
    if part is None:
        raise Http404(f"Hull {number} has no part {part_name}.")
    part.hull = hull
    return part


def parts_of(hull: Hull) -> QuerySet[Part]:
    return Part.objects.current().filter(hull=hull).select_related("hull").order_by("pk")


@dataclass(frozen=True)
class BayCard:
    bay: Bay
    hulls: tuple[Hull, ...]


@dataclass(frozen=True)
class Shed:
    """Where every hull stands; and those that have left, the latest first."""

    bays: tuple[BayCard, ...]
    gone: tuple[LeftYard, ...]

    @property
    def is_empty(self) -> bool:
        return not any(card.hulls for card in self.bays) and not self.gone


def standing_hulls() -> QuerySet[Hull]:
    """Hulls that have not left the yard, by number."""
    hulls = Hull.objects.current().exclude(departures__in=LeftYard.objects.current())
    return hulls.select_related("bay", "boat_model").order_by("number")


RUNNING_OUT = timedelta(days=14)
NO_LONGER_USED = (LotState.REJECTED, LotState.USED_UP)


def lots_running_out(today: date) -> list[StockLine]:
    """Lots that still hold something and whose use-by lies within fourteen days or behind, the first to go leading."""
    return [
        line
        for line in stock(today)
        if line.left > 0
        and line.state not in NO_LONGER_USED
        and line.lot.use_by is not None
        and line.lot.use_by <= today + RUNNING_OUT
    ]


def shed_places() -> dict[tuple[InShed, str], ShedPlace]:
    """Where everything lies by the last that was said of it."""
    return {(InShed(place.what), place.name): place for place in ShedPlace.objects.current().order_by("pk")}


@dataclass(frozen=True)
class PlaceInPlan:
    """A bay, mould or standing hull with its place, or none while none was said."""

    what: InShed
    name: str
    words: str
    place: ShedPlace | None


def places_in_plan() -> list[PlaceInPlan]:
    """Every bay, every mould that is known, every hull in the yard: what the plan of the shed can hold."""
    said = shed_places()
    standing = list(standing_hulls())
    moulds = sorted({hull.mould for hull in standing} | {name for what, name in said if what == InShed.MOULD})
    wanted = [
        *((InShed.BAY, bay.code, bay.name) for bay in bays()),
        *((InShed.MOULD, mould, f"mould {mould}") for mould in moulds),
        *((InShed.HULL, hull.number, f"{hull.number}, once it is out of its mould") for hull in standing),
    ]
    return [PlaceInPlan(what, name, words, said.get((what, name))) for what, name, words in wanted]


def shed(most_gone: int = 12) -> Shed:
    left = LeftYard.objects.current()
    standing = standing_hulls()
    by_bay: dict[Bay, list[Hull]] = {bay: [] for bay in bays()}
    for hull in standing:
        by_bay.setdefault(hull.bay, []).append(hull)
    return Shed(
        bays=tuple(BayCard(bay, tuple(hulls)) for bay, hulls in by_bay.items()),
        gone=tuple(left.select_related("hull__boat_model").order_by("-left_on", "-pk")[:most_gone]),
    )


def all_hulls() -> QuerySet[Hull]:
    """Every hull there ever was, the newest first, with its days in and out."""
    left = LeftYard.objects.current().filter(hull=OuterRef("pk")).values("left_on")[:1]
    number = CraftNumberGiven.objects.current().filter(hull=OuterRef("pk")).order_by("-pk").values("number")[:1]
    hulls = Hull.objects.current().select_related("boat_model", "bay")
    return hulls.annotate(left_on=Subquery(left), craft_number=Subquery(number)).order_by("-pk")


def departure_of(hull: Hull) -> LeftYard | None:
    return LeftYard.objects.current().filter(hull=hull).first()


def craft_number_of(hull: Hull) -> CraftNumberGiven | None:
    return CraftNumberGiven.objects.current().filter(hull=hull).order_by("-pk").first()


@dataclass(frozen=True)
class CraftNumberCard:
    """A number with what it says, read as on the day it was given."""

    given: CraftNumberGiven
    in_words: str

    @property
    def struck_because(self) -> str:
        if hasattr(self.given, "corrected_by"):
            return str(self.given.corrected_by.reason)
        return str(self.given.entry.struck_out.reason) if hasattr(self.given.entry, "struck_out") else ""


def craft_numbers_of(hull: Hull) -> list[CraftNumberCard]:
    """Every number the hull was given, the newest first; all but one were corrected or struck out."""
    given = CraftNumberGiven.objects.filter(hull=hull).select_related("entry__struck_out", "corrected_by")
    return [CraftNumberCard(one, _in_words(one)) for one in given.order_by("-pk")]


def _in_words(given: CraftNumberGiven) -> str:
    on = timezone.localdate(given.entry.tapped_at)
    read = read_craft_number(given.number, today=on, country_codes=tables.countries())
    country = tables.countries()[read.country]
    month = f"{calendar.month_name[read.month]} {read.year}"
    return f"{country}, builder {read.builder_code}, serial {read.serial}, built {month}, model year {read.model_year}"


def hull_with_craft_number(number: str) -> Hull | None:
    given = CraftNumberGiven.objects.current().filter(number=number).select_related("hull").first()
    return given.hull if given else None


def hull_with_serial(builder_and_serial: str, besides: Hull) -> Hull | None:
    """A hull that has this builder's code and serial in its number already, with whatever dates."""
    given = CraftNumberGiven.objects.current().filter(number__contains=builder_and_serial).exclude(hull=besides)
    first = given.select_related("hull").first()
    return first.hull if first else None


def highest_pull(mould: str) -> int | None:
    """The greatest pull number that a mould has by the book."""
    highest: int | None = Hull.objects.current().filter(mould=mould).aggregate(highest=Max("pull_number"))["highest"]
    return highest


@dataclass(frozen=True)
class HoldPointCard:
    point: HoldPoint
    release: HoldPointRelease | None
    struck: tuple[HoldPointRelease, ...]


def hold_points(hull: Hull) -> tuple[HoldPointCard, ...]:
    """The thirteen hold points with their releases, in order."""
    releases: dict[int, list[HoldPointRelease]] = defaultdict(list)
    for release in (
        HoldPointRelease.objects.filter(hull=hull)
        .select_related("entry__struck_out__entry", "corrected_by")
        .order_by("pk")
    ):
        releases[release.number].append(release)
    return tuple(
        HoldPointCard(
            point,
            next((release for release in releases[point.number] if release.is_current), None),
            tuple(release for release in releases[point.number] if not release.is_current),
        )
        for point in HOLD_POINTS
    )
