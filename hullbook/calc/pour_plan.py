"""Strips of one part filled together: lines opened when every front has come, resin drawn, pails one after another.

Minutes count from the first inlet opened, girths in mm from the keel.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from hullbook.calc.errors import InputRefused, require_not_negative, require_positive
from hullbook.calc.flow import Feed, Fill, Pull, Section, Strip, fill

MM = 1000.0
BISECTIONS = 60


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

    On a strip whose front is through by then the line brings nothing, and is left out. Thickening slows all strips
    alike, so where their fronts are when a line opens is found without it. Raises `missing` without strips, else as
    `flow.Strip` and `flow.fill` do, the strip named in front.
    """
    if not strips:
        raise InputRefused("missing", "strips", "none", "give at least one station")
    opened: dict[tuple[str, str], list[tuple[int, Feed]]] = {
        (one.station, one.side): [(number, feed) for number, feed in one.lines if feed.opens_front_m == 0]
        for one in strips
    }
    later = sorted(
        {(feed.opens_front_m, number) for one in strips for number, feed in one.lines if feed.opens_front_m > 0}
    )
    even = replace(pull, thickening_per_min=0.0)
    filled = {key: _filled(one, opened[key], even) for one in strips for key in [(one.station, one.side)]}
    for _, number in later:
        waiting = [(one, feed) for one in strips for which, feed in one.lines if which == number]
        minute = max(filled[one.station, one.side].fill.minute_at(feed.opens_front_m) for one, feed in waiting)
        for one, feed in waiting:
            key = one.station, one.side
            front_m = filled[key].fill.front_m_at(minute)
            if front_m < one.length_m:
                place = Feed(feed.girth_m, max(front_m, feed.opens_front_m), feed.hose_resistance_1_m3)
                opened[key].append((number, place))
                filled[key] = _filled(one, opened[key], even)
    return tuple(_filled(one, opened[one.station, one.side], pull) for one in strips)


def _filled(laid: StripLaid, lines: Sequence[tuple[int, Feed]], pull: Pull) -> StripFilled:
    try:
        strip = Strip(laid.sections, tuple(feed for _, feed in lines))
        run = fill(strip, pull)
    except InputRefused as refused:
        where = f"station {laid.station} {laid.side}, {refused.field}"
        raise InputRefused(refused.key, where, refused.given, refused.accepted) from refused
    return StripFilled(laid.station, laid.side, tuple(number for number, _ in lines), strip, run)


@dataclass(frozen=True)
class ZoneResin:
    """Resin of one side of a zone, spread evenly from girth to girth."""

    name: str
    side: str
    from_mm: float
    to_mm: float
    kg: float


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
        beside = [(one, front) for one, front in fronts if one.side == zone.side]
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
    require_positive("pail_kg", pail_kg, "kg")
    end = max(one.fill.fill_minutes for one in strips)
    count = max(1, -int(-(resin.total_kg - 1e-9) // pail_kg))
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
