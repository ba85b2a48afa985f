"""The half-girth from keel to flange, with what each zone weighs standing on it."""

from collections.abc import Sequence
from dataclasses import dataclass

from hullbook.drawings.axes import Axis, nice_ticks, tick_words
from hullbook.drawings.scene import Line, Rect, Scene, Shape, Text, fitted, hatched, text_width

WIDTH = 760.0
LEFT, RIGHT = 34.0, 726.0
TOP = 16.0
TALLEST = 96.0  # the heaviest zone
HEADROOM = 50.0  # name and figure above the blocks
FOOT = 66.0


@dataclass(frozen=True)
class GirthZone:
    """A zone: where it lies along the half-girth, in mm from the keel, and what it weighs, kg/m2 (None: not known)."""

    name: str
    girth_from_mm: float
    girth_to_mm: float
    areal_weight_kg_m2: float | None


def half_girth(zones: Sequence[GirthZone], *, title: str = "Half-girth, keel to flange") -> Scene:
    """A bar to scale along the skin, a block a zone, its height to scale with kg/m2.

    Zones that lie over each other stand on bars of their own. Raises ValueError for no zones.
    """
    if not zones:
        raise ValueError("a half-girth needs at least one zone")
    flange = max(zone.girth_to_mm for zone in zones)
    along = Axis(0, flange, LEFT, RIGHT)
    heaviest = max((zone.areal_weight_kg_m2 or 0 for zone in zones), default=0) or 1.0
    lanes = _lanes(zones)
    height = TOP + len(lanes) * (TALLEST + HEADROOM) + FOOT
    shapes: list[Shape] = []
    for number, lane in enumerate(lanes):
        ground = TOP + (number + 1) * (TALLEST + HEADROOM)
        for zone in lane:
            shapes += _block(zone, along, ground, heaviest)
        shapes += _words(lane, along, ground - TALLEST - HEADROOM)
        shapes.append(Line(LEFT - 10, ground, RIGHT + 10, ground, "ink"))
    ground = TOP + len(lanes) * (TALLEST + HEADROOM)
    ticks = [tick for tick in nice_ticks(0, flange, 6) if tick <= flange]
    for tick, words in zip(ticks, tick_words(ticks), strict=True):
        x = along.at(tick)
        shapes += [Line(x, ground, x, ground + 8, "line"), Text(x, ground + 26, words, "figure", 16, "middle")]
    shapes += [
        Text(LEFT - 10, ground + 50, "keel", "note", 17),
        Text((LEFT + RIGHT) / 2, ground + 50, "mm along the skin; block height is kg/m²", "note", 17, "middle"),
        Text(RIGHT + 10, ground + 50, f"flange {flange:.0f}", "note", 17, "end"),
    ]
    desc = "From the keel: " + "; ".join(
        f"{zone.name}, {zone.girth_from_mm:.0f} to {zone.girth_to_mm:.0f} mm, {_weight(zone)}" for zone in zones
    )
    return Scene("half-girth", WIDTH, height, title, desc, tuple(shapes))


def _weight(zone: GirthZone) -> str:
    return "weight not known" if zone.areal_weight_kg_m2 is None else f"{zone.areal_weight_kg_m2:.2f} kg/m²"


def _lanes(zones: Sequence[GirthZone]) -> list[list[GirthZone]]:
    lanes: list[list[GirthZone]] = []
    for zone in sorted(zones, key=lambda one: (one.girth_from_mm, one.girth_to_mm)):
        free = next((lane for lane in lanes if lane[-1].girth_to_mm <= zone.girth_from_mm + 1e-9), None)
        if free is None:
            lanes.append([zone])
        else:
            free.append(zone)
    return lanes


def _words(lane: Sequence[GirthZone], along: Axis, top: float) -> list[Shape]:
    """Name and figure of each zone over its block, in one row, cut only where the neighbours leave no room."""
    shapes: list[Shape] = []
    boxes = []
    for zone in lane:
        width = max(text_width(zone.name, 17), text_width(_figure(zone), 17, "figure"))
        middle = (along.at(zone.girth_from_mm) + along.at(zone.girth_to_mm)) / 2
        boxes.append((min(max(middle, width / 2 + 2), WIDTH - width / 2 - 2), width))
    for number, (zone, (middle, width)) in enumerate(zip(lane, boxes, strict=True)):
        room = width
        for other, other_width in (*boxes[max(0, number - 1) : number], *boxes[number + 1 : number + 2]):
            room = min(room, max(2 * (abs(other - middle) - 5) * width / (width + other_width), 20))
        shapes += [
            Text(middle, top + 18, fitted(zone.name, 17, room), "label", 17, "middle"),
            Text(middle, top + 38, _figure(zone), "figure-told", 17, "middle"),
        ]
    return shapes


def _figure(zone: GirthZone) -> str:
    return "?" if zone.areal_weight_kg_m2 is None else f"{zone.areal_weight_kg_m2:.2f}"


def _block(zone: GirthZone, along: Axis, ground: float, heaviest: float) -> list[Shape]:
    left, right = along.at(zone.girth_from_mm), along.at(zone.girth_to_mm)
    middle = (left + right) / 2
    known = zone.areal_weight_kg_m2 is not None
    tall = (zone.areal_weight_kg_m2 or 0) / heaviest * TALLEST if known else TALLEST / 3
    leader = Line(middle, ground - TALLEST - 4, middle, ground - tall, "hairline")
    shapes: list[Shape] = [leader, Rect(left, ground - tall, right - left, tall, "glass" if known else "hollow")]
    if not known:
        shapes += hatched(left, ground - tall, right - left, tall)
    return shapes
