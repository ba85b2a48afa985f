"""The shed in plan: bays, moulds and hulls to scale, each hull filled from the transom as far as it has come."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import cos, hypot, pi, radians, sin

from hullbook.drawings.axes import Axis, round_step
from hullbook.drawings.scene import Area, Line, Point, Polygon, Polyline, Rect, Scene, Shape, Text, fitted, text_width

WIDTH = 1000.0
EDGE = 10.0
FOOT = 34.0
RIPPLE_M, RIPPLE_LENGTH_M = 0.07, 0.6
TARGET = 100.0  # 20 mm and more on a 10 inch tablet as wide as the drawing
STAGES = 11
PlanOutline = Sequence[tuple[float, float]]
"""Points (share of the length from the stem, half-breadth as a share of the greatest), stem first, transom last."""

# Where a model gives no lines: a plain boat, pointed before, square behind.
PLAIN_OUTLINE: PlanOutline = ((0.0, 0.0), (0.12, 0.55), (0.3, 0.9), (0.5, 1.0), (1.0, 0.95))


@dataclass(frozen=True)
class PlacedThing:
    """Where something lies: its middle in m from the upper left corner, its size, heading 0 to the right, 90 down."""

    x_m: float
    y_m: float
    length_m: float
    width_m: float
    heading_deg: float = 0.0


@dataclass(frozen=True)
class PlacedBay:
    name: str
    place: PlacedThing


@dataclass(frozen=True)
class PlacedMould:
    """A mould in pencil; where a hull stands in it the hull is drawn over it."""

    name: str
    place: PlacedThing


@dataclass(frozen=True)
class PlacedHull:
    """A hull where it stands. `done` of the eleven stages are filled; `flag` names who is waited for, or is empty."""

    number: str
    place: PlacedThing
    outline: PlanOutline
    done: float
    wanted: str
    flag: str = ""
    is_pouring: bool = False
    href: str = ""


def bay_at(thing: PlacedThing, bays: Sequence[PlacedBay]) -> str:
    """The name of the bay that its middle lies in; "" where it lies in none."""
    for bay in bays:
        turn, room = radians(bay.place.heading_deg), bay.place
        across, down = thing.x_m - room.x_m, thing.y_m - room.y_m
        ahead, aside = across * cos(turn) + down * sin(turn), down * cos(turn) - across * sin(turn)
        if abs(ahead) <= room.length_m / 2 and abs(aside) <= room.width_m / 2:
            return bay.name
    return ""


def shed_plan(bays: Sequence[PlacedBay], moulds: Sequence[PlacedMould], hulls: Sequence[PlacedHull]) -> Scene:
    """All to one scale, a scale bar under it. Raises ValueError where there is nothing to draw."""
    places = [*(bay.place for bay in bays), *(mould.place for mould in moulds), *(hull.place for hull in hulls)]
    if not places:
        raise ValueError("a plan of the shed needs at least one bay, mould or hull")
    corners = [corner for place in places for corner in _corners(place)]
    left, right = min(x for x, _ in corners), max(x for x, _ in corners)
    top, bottom = min(y for _, y in corners), max(y for _, y in corners)
    scale = (WIDTH - 2 * EDGE) / (right - left)
    along = Axis(left, right, EDGE, WIDTH - EDGE)
    down = Axis(top, top + 1, EDGE, EDGE + scale)
    view = _View(along, down, scale)
    shapes: list[Shape] = []
    for bay in bays:
        shapes += _bay(bay, view)
    for mould in moulds:
        shapes += _mould(mould, view)
    for hull in hulls:
        shapes += _hull(hull, view)
    foot = down.at(bottom)
    shapes += _scale_bar(scale, foot)
    desc = "; ".join(_sentence(hull) for hull in hulls) or "No hull in any mould."
    return Scene("shed-plan", WIDTH, foot + FOOT, "Plan of the shed", desc, tuple(shapes))


@dataclass(frozen=True)
class _View:
    along: Axis
    down: Axis
    scale: float

    def at(self, point: Point) -> Point:
        return self.along.at(point[0]), self.down.at(point[1])


def _sentence(hull: PlacedHull) -> str:
    said = f"{hull.number}: {hull.done:g} of {STAGES} stages done, next {hull.wanted}"
    return said + (f", waits for {hull.flag}" if hull.flag else "") + (", pour under way" if hull.is_pouring else "")


def _turned(place: PlacedThing, ahead: float, aside: float) -> Point:
    """So far ahead of and to starboard of its middle, in m, as the plan has it."""
    turn = radians(place.heading_deg)
    return (
        place.x_m + ahead * cos(turn) - aside * sin(turn),
        place.y_m + ahead * sin(turn) + aside * cos(turn),
    )


def _corners(place: PlacedThing) -> list[Point]:
    long, wide = place.length_m / 2, place.width_m / 2
    return [_turned(place, a * long, b * wide) for a, b in ((1, -1), (1, 1), (-1, 1), (-1, -1))]


def _bay(bay: PlacedBay, view: _View) -> Iterator[Shape]:
    corners = [view.at(corner) for corner in _corners(bay.place)]
    yield Polyline((*corners, corners[0]), "line")
    left, top = min(x for x, _ in corners), min(y for _, y in corners)
    width = max(x for x, _ in corners) - left
    yield Text(left + 8, top + 20, fitted(bay.name, 15, width - 16, "note"), "note", 15)


def _mould(mould: PlacedMould, view: _View) -> Iterator[Shape]:
    rim = [view.at(point) for point in _rim(mould.place, PLAIN_OUTLINE)]
    yield Polyline((*rim, rim[0]), "planned")
    corners = [view.at(corner) for corner in _corners(mould.place)]
    bottom, left = max(y for _, y in corners), min(x for x, _ in corners)
    width = max(x for x, _ in corners) - left
    if mould.name:
        yield Text(left + 4, bottom + 15, fitted(f"mould {mould.name}", 13, width, "note"), "note", 13)


def _hull(hull: PlacedHull, view: _View) -> Iterator[Shape]:
    place = hull.place
    rim = _rim(place, hull.outline)
    yield Polygon(tuple(view.at(point) for point in rim), "hollow")
    share = min(max(hull.done / STAGES, 0.0), 1.0)
    if share > 0:
        yield Polygon(tuple(view.at(point) for point in _rim(place, _abaft(hull.outline, 1 - share))), "resin")
    if hull.is_pouring:
        yield Polyline(tuple(view.at(point) for point in _rippled(place, hull.outline)), "front")
    x, y = view.at((place.x_m, place.y_m))
    yield from _plate(hull, x, y, view.scale)
    if hull.href:
        corners = [view.at(corner) for corner in _corners(place)]
        yield _area(hull, corners)


def _area(hull: PlacedHull, corners: Sequence[Point]) -> Area:
    left, right = min(x for x, _ in corners), max(x for x, _ in corners)
    top, bottom = min(y for _, y in corners), max(y for _, y in corners)
    width, height = max(right - left, TARGET), max(bottom - top, TARGET)
    left, top = max((left + right - width) / 2, 0), max((top + bottom - height) / 2, 0)
    return Area(left, top, width, height, hull.href, _sentence(hull))


def _plate(hull: PlacedHull, x: float, y: float, scale: float) -> Iterator[Shape]:
    """Number and next thing on a plate of their own, so that they can be read over any fill."""
    long = abs(hull.place.length_m * cos(radians(hull.place.heading_deg)))
    wide = abs(hull.place.width_m * sin(radians(hull.place.heading_deg)))
    room = max(long, wide, hull.place.width_m) * scale * 0.9
    wanted = fitted(hull.wanted, 14, room)
    half = max(text_width(hull.number, 20, "figure"), text_width(wanted, 14)) / 2 + 6
    yield Rect(x - half, y - 24, 2 * half, 46, "ground")
    yield Text(x, y - 3, hull.number, "figure-told", 20, "middle")
    yield Text(x, y + 15, wanted, "label", 14, "middle")
    if hull.flag:
        yield from _flag(hull, x, y - 24)


def _flag(hull: PlacedHull, x: float, y: float) -> Iterator[Shape]:
    said = fitted(hull.flag, 14, WIDTH / 4)
    width = text_width(said, 14) + 14
    yield Line(x, y, x, y - 32, "ink")
    yield Polygon(
        ((x, y - 32), (x + width, y - 32), (x + width - 7, y - 21), (x + width, y - 10), (x, y - 10)), "solid"
    )
    yield Text(x + 5, y - 16, said, "on-solid", 14)


def _rim(place: PlacedThing, outline: PlanOutline) -> list[Point]:
    """The outline of a boat in its place, starboard side from the stem aft, then port side forward."""
    starboard = [(place.length_m * (0.5 - share), place.width_m / 2 * half) for share, half in outline]
    sides = [*starboard, *((ahead, -aside) for ahead, aside in reversed(starboard))]
    return [_turned(place, ahead, aside) for ahead, aside in sides]


def _abaft(outline: PlanOutline, share: float) -> PlanOutline:
    """The part of an outline that lies abaft a share of the length."""
    before = [point for point in outline if point[0] <= share]
    after = [point for point in outline if point[0] > share]
    if not before or not after:
        return outline if not before else after
    (s1, h1), (s2, h2) = before[-1], after[0]
    return [(share, h1 + (h2 - h1) * (share - s1) / (s2 - s1)), *after]


def _rippled(place: PlacedThing, outline: PlanOutline) -> list[Point]:
    """The rim as a wave: what moves in it does not move on paper."""
    rim = _rim(place, outline)
    points: list[Point] = []
    along = 0.0
    for (x1, y1), (x2, y2) in pairwise([*rim, rim[0]]):
        length = hypot(x2 - x1, y2 - y1)
        steps = max(1, round(length / (RIPPLE_LENGTH_M / 6)))
        for step in range(steps if length else 0):
            t = step / steps
            out = RIPPLE_M * sin(2 * pi * (along + t * length) / RIPPLE_LENGTH_M) / length
            points.append((x1 + (x2 - x1) * t + (y2 - y1) * out, y1 + (y2 - y1) * t - (x2 - x1) * out))
        along += length
    return [*points, points[0]]


def _scale_bar(scale: float, y: float) -> Iterator[Shape]:
    metres = round_step(120 / scale, 1)
    right = EDGE + metres * scale
    yield Line(EDGE, y + 14, right, y + 14, "ink")
    for x in (EDGE, right):
        yield Line(x, y + 9, x, y + 19, "line")
    yield Text(right + 10, y + 19, f"{metres:g} m", "figure", 14)
