"""Strips of one part filled together: lines opened when every front has come, resin drawn, pails one after another.

Minutes count from the first inlet opened, girths in mm from the keel.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from hullbook.calc.errors import InputRefused, require_not_negative
from hullbook.calc.flow import Feed, Fill, Pull, Section, Strip, fill
from hullbook.calc.permeability import Layer, through_against_along
from hullbook.calc.resin_plan import round_up_to_containers

MM = 1000.0
BISECTIONS = 60
TOGETHER_M = 1e-6
"""Lines that find a front no further apart than this are opened together: no hand and no eye tells them apart."""


@dataclass(frozen=True)
class StripLaid:
    """One side of one station as it is laid: sections from the keel, and by feed line where it lies and opens."""

    station: str
    side: str
    sections: tuple[Section, ...]
    lines: tuple[tuple[int, Feed], ...]

    @property
    def length_m(self) -> float:
        """Girth of the strip."""
        return sum(section.length_m for section in self.sections)


@dataclass(frozen=True)
class StripFilled:
    """A strip with its lines as they are opened in the pour, and how the front runs through it."""

    station: str
    side: str
    line_numbers: tuple[int, ...]
    strip: Strip
    fill: Fill

    @property
    def length_mm(self) -> float:
        """Girth of the strip."""
        return MM * self.strip.length_m

    def opened_at(self, line_number: int) -> float | None:
        """The minute a line is opened; None where it does not feed this strip."""
        if line_number not in self.line_numbers:
            return None
        return self.fill.openings[self.line_numbers.index(line_number)].minute

    def front_mm_at(self, minute: float) -> float:
        """How far the front is at this minute. Raises `negative`."""
        return MM * self.fill.front_m_at(minute)


def fill_together(strips: Sequence[StripLaid], pull: Pull) -> tuple[StripFilled, ...]:
    """Fill the strips of a part: a line is opened on all of them once the last front has come to its place.

    Nor is it opened before the line ahead of it on any of its strips. Of lines opened together on a strip the furthest
    out feeds it, and on one whose front is through by then a line brings nothing; what feeds nothing is left out.
    Thickening slows all strips alike, so where their fronts are when a line opens is found without it. Raises `missing`
    without strips, `inconsistent` where the first line is off the keel, else as `flow.Strip` and `flow.fill` do, the
    strip named in front.
    """
    if not strips:
        raise InputRefused("missing", "strips", "none", "give at least one station")
    opened = {(one.station, one.side): _opened_at_the_start(one) for one in strips}
    later = sorted(
        {(feed.opens_front_m, number) for one in strips for number, feed in one.lines if feed.opens_front_m > 0}
    )
    even = replace(pull, thickening_per_min=0.0)
    filled = {key: _filled(one, opened[key], even) for one in strips for key in [(one.station, one.side)]}
    for _, number in later:
        waiting = [
            (one, feed, filled[one.station, one.side].fill)
            for one in strips
            for which, feed in one.lines
            if which == number
        ]
        minute = max(max(run.minute_at(feed.opens_front_m), run.openings[-1].minute) for _, feed, run in waiting)
        for one, feed, run in waiting:
            front_m = max(run.front_m_at(minute), feed.opens_front_m)
            if front_m < one.length_m:
                key = one.station, one.side
                _open(opened[key], number, replace(feed, opens_front_m=front_m))
                filled[key] = _filled(one, opened[key], even)
    return tuple(_filled(one, opened[one.station, one.side], pull) for one in strips)


def _opened_at_the_start(laid: StripLaid) -> list[tuple[int, Feed]]:
    at_the_start = [(number, feed) for number, feed in laid.lines if feed.opens_front_m == 0]
    if laid.lines and not at_the_start:
        number, feed = min(laid.lines, key=lambda line: line[1].opens_front_m)
        where = f"station {laid.station} {laid.side}, feed line {number}"
        accepted = "the first line lies at the keel, 0 m: from one further out resin would run both ways"
        raise InputRefused("inconsistent", where, f"{feed.girth_m:g} m from the keel", accepted)
    return at_the_start


def _open(lines: list[tuple[int, Feed]], number: int, feed: Feed) -> None:
    """Put a line behind those open already, in the place of the last where both find the front alike."""
    last_number, last = lines[-1]
    if feed.opens_front_m > last.opens_front_m + TOGETHER_M:
        lines.append((number, feed))
    elif feed.girth_m > last.girth_m:
        lines[-1] = (number, replace(feed, opens_front_m=max(last.opens_front_m, feed.opens_front_m)))


def _filled(laid: StripLaid, lines: Sequence[tuple[int, Feed]], pull: Pull) -> StripFilled:
    try:
        strip = Strip(laid.sections, tuple(feed for _, feed in lines))
        run = fill(strip, pull)
    except InputRefused as refused:
        where = f"station {laid.station} {laid.side}, {refused.field}"
        raise InputRefused(refused.key, where, refused.given, refused.accepted) from refused
    return StripFilled(laid.station, laid.side, tuple(number for number, _ in lines), strip, run)


@dataclass(frozen=True)
class UnderMedium:
    """What lies under flow medium: its permeability through the thickness, and how far the medium runs ahead of it."""

    through_permeability_m2: float
    lag_m: float


@dataclass(frozen=True)
class MediumBay:
    """The way from a feed line as far as flow medium lies over it, and the worst of what lies under.

    `through` is how much sooner the stack is wet through than along.
    """

    station: str
    side: str
    line_number: int
    way_m: float
    lag_m: float
    through: float

    def is_one(self, *, lag_share: float, least_through: float) -> bool:
        """Whether medium and laminate fill as one: the lag short against the way, and the stack soon wet through."""
        return self.lag_m < lag_share * self.way_m and self.through >= least_through


def medium_bays(filled: StripFilled, medium_to_m: float, under: Mapping[str, UnderMedium]) -> tuple[MediumBay, ...]:
    """The ways under flow medium of a strip, line by line; `under` has its sections under medium, by name."""
    strip, bays = filled.strip, []
    for number, feed, bay_end_m in zip(filled.line_numbers, strip.feeds, strip.bay_ends_m, strict=True):
        way_m = min(bay_end_m, medium_to_m) - feed.girth_m
        over = [
            (Layer(section.thickness_mm, section.porosity, section.permeability_m2), under[section.name])
            for section, end_m in zip(strip.sections, strip.section_ends_m, strict=True)
            if section.name in under and end_m > feed.girth_m and end_m - section.length_m < bay_end_m
        ]
        if over and way_m > 0:
            lag_m = max(one.lag_m for _, one in over)
            through = min(through_against_along(one.through_permeability_m2, stack, way_m) for stack, one in over)
            bays.append(MediumBay(filled.station, filled.side, number, way_m, lag_m, through))
    return tuple(bays)


def height_mm_at(kinks: Sequence[tuple[float, float]], girth_mm: float) -> float:
    """Height between lines of the hull given as (girth, height), straight from one to the next, all in mm.

    Level before the first and past the last; 0 without any.
    """
    if not kinks:
        return 0.0
    if girth_mm <= kinks[0][0]:
        return kinks[0][1]
    for (before, low), (after, high) in pairwise(kinks):
        if girth_mm <= after:
            return low + (high - low) * (girth_mm - before) / (after - before)
    return kinks[-1][1]


def pails_for(kg: float, pail_kg: float) -> int:
    """How many pails hold so much, one at the least. Raises `negative`, `not_positive`."""
    return max(1, round_up_to_containers(kg, pail_kg))


def stations_off(station: str, station_from: float, station_to: float) -> float:
    """How far a station lies outside a stretch of the hull; 0 within it, and for one whose name is no number."""
    try:
        return max(station_from - float(station), float(station) - station_to, 0.0)
    except ValueError:
        return 0.0


@dataclass(frozen=True)
class ZoneResin:
    """Resin of one side of a zone, spread evenly from girth to girth and along the stations it has."""

    name: str
    side: str
    from_mm: float
    to_mm: float
    station_from: float
    station_to: float
    kg: float

    def seen_at(self, stations: Collection[str]) -> tuple[str, ...]:
        """The stations whose front tells how wet it is: those within it, else the nearest."""
        off = {station: stations_off(station, self.station_from, self.station_to) for station in stations}
        return tuple(station for station, by in off.items() if by == min(off.values()))


@dataclass(frozen=True)
class PartResin:
    """What a part takes, where: zones, feed lines with their hoses, and what goes past the flange at the end."""

    zones: tuple[ZoneResin, ...]
    lines: Mapping[int, float]
    end_kg: float

    @property
    def total_kg(self) -> float:
        """All that is drawn from the pails."""
        return sum(zone.kg for zone in self.zones) + sum(self.lines.values()) + self.end_kg


def wetted_share(from_mm: float, to_mm: float, front_mm: float, flange_mm: float) -> float | None:
    """What share of a stretch, as far as the strip has it, lies behind the front; None where it ends before."""
    end = min(to_mm, flange_mm)
    if end <= from_mm:
        return None
    return min(max((front_mm - from_mm) / (end - from_mm), 0.0), 1.0)


def drawn_kg(strips: Sequence[StripFilled], resin: PartResin, minute: float) -> float:
    """Resin drawn from the pails by this minute, by the plan. Raises `negative`."""
    require_not_negative("minute", minute, "min")
    fronts = [(one, one.front_mm_at(minute)) for one in strips]
    drawn = 0.0
    for zone in resin.zones:
        stations = zone.seen_at({one.station for one in strips if one.side == zone.side})
        beside = [(one, front) for one, front in fronts if one.side == zone.side and one.station in stations]
        wet = [wetted_share(zone.from_mm, zone.to_mm, front, one.length_mm) for one, front in beside]
        # A zone that no station has counts as the strips come through.
        shares = [one for one in wet if one is not None] or [float(front >= one.length_mm) for one, front in beside]
        drawn += zone.kg * sum(shares) / len(shares) if shares else 0.0
    for number, kg in resin.lines.items():
        minutes = [at for one in strips if (at := one.opened_at(number)) is not None]
        drawn += kg if minutes and minute >= min(minutes) else 0.0
    through = sum(front >= one.length_mm for one, front in fronts)
    return drawn + resin.end_kg * through / len(fronts)


@dataclass(frozen=True)
class PlannedPail:
    """When a pail's mixing must begin, when it is put on, and when it is drawn empty."""

    number: int
    mix_by_min: float
    on_min: float
    empty_min: float

    def drawn_past_min(self, age_min: float) -> float:
        """How long it would still be drawn from once it is so old; below nought where it is empty before."""
        return self.empty_min - (self.mix_by_min + age_min)


def planned_pails(
    strips: Sequence[StripFilled], resin: PartResin, *, pail_kg: float, mixing_min: float, handling_min: float
) -> tuple[PlannedPail, ...]:
    """Pails in turn, each put on when the one before is drawn empty: the latest moments, with nothing in hand.

    One is mixed at a time, so that two wanted close together begin early enough; the first stands `handling_min` before
    the inlet is opened. `pail_kg` is what a pail gives. Raises `not_positive`.
    """
    end = max(one.fill.fill_minutes for one in strips)
    count = pails_for(resin.total_kg, pail_kg)
    empty = [0.0]
    for number in range(1, count):
        empty.append(_minute_drawn(strips, resin, number * pail_kg, empty[-1], end))
    empty.append(end)
    pails: list[PlannedPail] = []
    next_begins = float("inf")
    for number in range(count, 0, -1):
        wanted_min = max(handling_min, mixing_min) if number == 1 else mixing_min
        next_begins = min(empty[number - 1], next_begins) - wanted_min
        pails.insert(0, PlannedPail(number, next_begins, empty[number - 1], empty[number]))
    return tuple(pails)


def _minute_drawn(strips: Sequence[StripFilled], resin: PartResin, kg: float, low: float, high: float) -> float:
    """The first minute at which so much is drawn; resin drawn never falls, so halving finds it."""
    for _ in range(BISECTIONS):
        middle = (low + high) / 2
        if drawn_kg(strips, resin, middle) >= kg:
            high = middle
        else:
            low = middle
    return high
