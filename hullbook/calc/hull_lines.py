"""A hull's lines as its table of offsets gives them: sections along the hull, each a row of points from keel to sheer.

Lengths in mm. x runs aft from the foremost point of the sheer (0) to the transom; half-breadths run outwards from the
middle plane, heights upwards from the base line of the lines plan, which may lie anywhere. Between the points of a
section the skin is taken as straight, so a round bilge needs as many points as its girth is to be true to.

Source: table of offsets as naval architecture text books lay it out; the girth is the length of the drawn polygon.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot

from hullbook.calc.errors import InputRefused

KEEL, SHEER = "keel", "sheer"
LEAST_SECTIONS = 3
LINE_NAME = re.compile(r"keel|chine(?: [2-9])?|sheer")
LINES_IN_WORDS = "keel, chine, chine 2 to chine 9, or sheer"


@dataclass(frozen=True)
class Offset:
    """One cell pair of the table: where a line of the hull passes a station."""

    station: str
    x_mm: float
    line: str
    half_breadth_mm: float
    height_mm: float


@dataclass(frozen=True)
class Section:
    """One cross-section, its points in order from the keel to the sheer."""

    station: str
    x_mm: float
    points: tuple[Offset, ...]

    @property
    def girth_mm(self) -> float:
        """Along the skin from the middle of the keel to the sheer."""
        return self.girth_to(SHEER)

    def girth_to(self, line: str) -> float:
        """Along the skin from the middle of the keel to one of its lines, mm."""
        girth = self.points[0].half_breadth_mm
        for before, after in pairwise(self.points[: self._place(line) + 1]):
            girth += hypot(after.half_breadth_mm - before.half_breadth_mm, after.height_mm - before.height_mm)
        return girth

    @property
    def chines(self) -> tuple[str, ...]:
        """The lines between keel and sheer, from below."""
        return tuple(point.line for point in self.points[1:-1])

    def at(self, line: str) -> Offset | None:
        """The point where a line passes this station, if it does."""
        return next((point for point in self.points if point.line == line), None)

    def _place(self, line: str) -> int:
        return [point.line for point in self.points].index(line)


@dataclass(frozen=True)
class HullLines:
    """All sections from stem to transom."""

    sections: tuple[Section, ...]

    @property
    def length_mm(self) -> float:
        """From the first station to the last."""
        return self.sections[-1].x_mm - self.sections[0].x_mm

    @property
    def names(self) -> tuple[str, ...]:
        """Every line that passes at least two stations, from the keel up."""
        found = {line for section in self.sections for line in (point.line for point in section.points)}
        return tuple(line for line in sorted(found, key=_order) if len(self.points(line)) > 1)

    def points(self, line: str) -> tuple[Offset, ...]:
        """Where a line passes the stations, from the stem aft."""
        return tuple(point for section in self.sections if (point := section.at(line)) is not None)


def _order(line: str) -> tuple[int, int]:
    if line == KEEL:
        return (0, 0)
    if line == SHEER:
        return (2, 0)
    return (1, int(line.removeprefix("chine") or 1))


def hull_lines(offsets: Iterable[Offset]) -> HullLines:
    """Put a table of offsets in order, from stem to transom and from keel to sheer.

    Raises InputRefused, its field naming the column: a line nobody knows, a line twice at a station, a station without
    keel or sheer, two stations at one place or one at two, a half-breadth below nought, a sheer below its keel, fewer
    than three stations.
    """
    by_station: dict[str, list[Offset]] = {}
    for offset in offsets:
        if not LINE_NAME.fullmatch(offset.line):
            raise InputRefused("impossible", "line", f'"{offset.line[:20]}"', f"give {LINES_IN_WORDS}")
        if offset.half_breadth_mm < 0:
            raise InputRefused(
                "negative", "half_breadth_mm", f"{offset.half_breadth_mm:g}", "give 0 mm or more, one side only"
            )
        by_station.setdefault(offset.station, []).append(offset)
    sections = [_section(station, its) for station, its in by_station.items()]
    if len(sections) < LEAST_SECTIONS:
        raise InputRefused(
            "insufficient_data", "station", f"{len(sections)} stations", f"give at least {LEAST_SECTIONS}"
        )
    sections.sort(key=lambda section: section.x_mm)
    for before, after in pairwise(sections):
        if after.x_mm - before.x_mm < 1:
            raise InputRefused(
                "inconsistent",
                "x_mm",
                f"{after.x_mm:g}",
                f"stations {before.station} and {after.station} lie there both; give each a place of its own",
            )
    return HullLines(tuple(sections))


def _section(station: str, offsets: Sequence[Offset]) -> Section:
    points = sorted(offsets, key=lambda point: _order(point.line))
    for before, after in pairwise(points):
        if before.line == after.line:
            raise InputRefused(
                "inconsistent", "line", f"{after.line} twice at station {station}", "give each line once a station"
            )
    if len({point.x_mm for point in points}) > 1:
        raise InputRefused(
            "inconsistent",
            "x_mm",
            f"station {station} at {points[0].x_mm:g} and {max(point.x_mm for point in points):g}",
            "give one place for a station",
        )
    for wanted in (KEEL, SHEER):
        if wanted not in [point.line for point in points]:
            raise InputRefused(
                "missing", "line", f"no {wanted} at station {station}", "every station has keel and sheer"
            )
    if points[-1].height_mm < points[0].height_mm:
        raise InputRefused(
            "inconsistent",
            "height_mm",
            f"sheer at {points[-1].height_mm:g} under the keel at {points[0].height_mm:g}, station {station}",
            "give heights above one base line",
        )
    return Section(station, points[0].x_mm, tuple(points))


def faired(places: Sequence[float], values: Sequence[float], at: Sequence[float]) -> list[float]:
    """A smooth curve through all points, read at other places between the first and the last.

    Fritsch and Carlson's monotone cubic (SIAM J. Numer. Anal. 17, 1980) as scipy has it: it passes through every point
    and never swings beyond its two neighbours, as a batten pinned there would not. `places` rise strictly. Two points
    give a straight line.
    """
    from scipy.interpolate import PchipInterpolator

    curve = PchipInterpolator(places, values)
    return [float(value) for value in curve(at)]


def faired_line(points: Sequence[Offset], steps: int, *, half_breadth: bool = False) -> tuple[tuple[float, float], ...]:
    """A line of the hull drawn fair: (x, height) or (x, half-breadth) at so many even steps and at every station."""
    places = [point.x_mm for point in points]
    values = [point.half_breadth_mm if half_breadth else point.height_mm for point in points]
    even = [places[0] + (places[-1] - places[0]) * step / steps for step in range(steps + 1)]
    at = sorted({*even[:-1], *places})
    return tuple(zip(at, faired(places, values, at), strict=True))
