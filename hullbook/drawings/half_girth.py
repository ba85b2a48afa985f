"""The half-girth, the one drawing that everything along the skin is shown on.

Every strip is one cross-section unrolled: keel at the left, flange at the right, to scale along the skin; starboard
above, port below, both from the same keel end, so that a side that lags shows at once. What is told lies on it in ink,
what is planned or guessed in pencil.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import sin
from typing import Any, Literal

from hullbook.drawings.axes import Axis, nice_ticks, tick_words
from hullbook.drawings.scene import (
    Line,
    Point,
    Polygon,
    Polyline,
    Rect,
    Scene,
    Shape,
    Text,
    disc,
    fitted,
    hatched,
    text_width,
)

Side = Literal["starboard", "port"]
Sides = Literal["both", "starboard", "port"]
MarkShape = Literal["square", "triangle", "ring", "diamond", "probe"]

SIDES: tuple[Side, Side] = ("starboard", "port")
WIDTH = 760.0
LEFT, RIGHT = 44.0, 716.0
TOP = 8.0
HEAD = 28.0  # over each strip, for its name
GAP = 14.0
ROW = 46.0
FOOT = 66.0
TALLEST = 64.0  # the heaviest zone
WORDS = 48.0  # name and figure of a zone over its block
PAGE_EDGE = 4.0


@dataclass(frozen=True)
class Landmark:
    """A place along the skin that people know, as the chine or the waterline."""

    name: str
    girth_mm: float


@dataclass(frozen=True)
class GirthStation:
    """A cross-section of the hull by its station, and the way along its skin from keel to flange."""

    name: str
    flange_mm: float
    landmarks: tuple[Landmark, ...] = ()

    @property
    def place(self) -> str:
        return f"station {self.name}" if self.name else ""


@dataclass(frozen=True)
class GirthZone:
    """A zone: where it lies along the half-girth, in mm from the keel, and what it weighs, kg/m2 (None: not known)."""

    name: str
    girth_from_mm: float
    girth_to_mm: float
    areal_weight_kg_m2: float | None
    side: Sides = "both"


@dataclass(frozen=True)
class FeedLine:
    number: int
    girth_mm: float
    side: Sides = "both"


@dataclass(frozen=True)
class Front:
    """How far the resin had come: told, or (a guess, or as planned) drawn in pencil and nothing filled behind it."""

    station: str
    side: Side
    girth_mm: float
    drawn: Literal["told", "guess", "planned"] = "told"


@dataclass(frozen=True)
class Arrival:
    """When the front is to be at a place, by the plan: a contour of the same minute on every strip."""

    station: str
    side: Side
    girth_mm: float
    minute: float


@dataclass(frozen=True)
class Mark:
    """One thing at one place: a point tried, a probe, a finding; `words` is what stands beside or in it."""

    station: str
    side: Side
    girth_mm: float
    words: str
    shape: MarkShape = "ring"


@dataclass(frozen=True)
class Row:
    """Where one side of a strip lies on the drawing."""

    top: float
    height: float

    @property
    def bottom(self) -> float:
        return self.top + self.height

    @property
    def middle(self) -> float:
        return self.top + self.height / 2


@dataclass(frozen=True)
class Strip:
    station: GirthStation
    starboard: Row
    port: Row

    def row(self, side: Side) -> Row:
        return self.starboard if side == "starboard" else self.port


@dataclass(frozen=True)
class GirthGround:
    """The geometry under the drawing, in drawing units; on every strip x = `x0` + mm from the keel * `units_per_mm`."""

    x0: float
    units_per_mm: float
    strips: tuple[Strip, ...]
    width: float
    height: float

    @property
    def flange_mm(self) -> float:
        return max(strip.station.flange_mm for strip in self.strips)

    @property
    def foot(self) -> float:
        return self.strips[-1].port.bottom

    def at(self, girth_mm: float) -> float:
        return self.x0 + girth_mm * self.units_per_mm

    def strip(self, station: str) -> Strip | None:
        return next((strip for strip in self.strips if strip.station.name == station), None)

    def row(self, station: str, side: Side) -> Row | None:
        strip = self.strip(station)
        return None if strip is None else strip.row(side)

    def as_data(self) -> dict[str, Any]:
        """The same as plain data, for scripts that draw over it or tell where it was tapped."""
        return {
            "width": self.width,
            "height": self.height,
            "x0_px": self.x0,
            "px_per_mm": self.units_per_mm,
            "flange_mm": self.flange_mm,
            "strips": [
                {
                    "station": strip.station.name,
                    "place": strip.station.place,
                    "flange_mm": strip.station.flange_mm,
                    "landmarks": [{"name": one.name, "mm": one.girth_mm} for one in strip.station.landmarks],
                    **{side: {"y": strip.row(side).top, "height": strip.row(side).height} for side in SIDES},
                }
                for strip in self.strips
            ],
        }


def girth_ground(
    stations: Sequence[GirthStation],
    *,
    width: float = WIDTH,
    row: float = ROW,
    starboard_row: float | None = None,
    foot: float = FOOT,
) -> GirthGround:
    """Strips under each other, all to one scale. Raises ValueError for no stations, or one without a length."""
    if not stations:
        raise ValueError("a half-girth needs at least one station")
    if any(station.flange_mm <= 0 for station in stations):
        raise ValueError("every half-girth is longer than nought")
    units_per_mm = (width - LEFT - (WIDTH - RIGHT)) / max(station.flange_mm for station in stations)
    strips = []
    top = TOP
    for station in stations:
        top += HEAD if station.name else 0
        starboard = Row(top, starboard_row or row)
        strips.append(Strip(station, starboard, Row(starboard.bottom, row)))
        top += starboard.height + row + GAP
    return GirthGround(LEFT, units_per_mm, tuple(strips), width, top - GAP + foot)


def half_girth(
    stations: Sequence[GirthStation],
    *,
    title: str,
    feed_lines: Sequence[FeedLine] = (),
    fronts: Sequence[Front] = (),
    marks: Sequence[Mark] = (),
    width: float = WIDTH,
    row: float = ROW,
) -> Scene:
    """A strip a station, dry where no front was told, with feed lines, fronts and marks where they lie.

    What names a station that is not there is left out; the table beside the drawing has it. Raises ValueError as
    girth_ground does.
    """
    ground = girth_ground(stations, width=width, row=row)
    shapes: list[Shape] = []
    for strip in ground.strips:
        shapes += _strip(ground, strip)
    for strip in ground.strips:
        for side in SIDES:
            told = [front for front in fronts if (front.station, front.side) == (strip.station.name, side)]
            shapes += _fronts(ground, strip, side, told)
            shapes += _feed_lines(ground, strip.row(side), [one for one in feed_lines if one.side in ("both", side)])
    for strip in ground.strips:
        shapes += _edges(ground, strip)
        for mark in marks:
            if mark.station == strip.station.name:
                place = ground.at(_within(mark.girth_mm, strip)), strip.row(mark.side).middle
                shapes += _mark(*place, mark, ground.width)
    shapes += _foot(ground, "mm along the skin", [(f"line {one.number}", one.girth_mm) for one in feed_lines])
    desc = "; ".join(_sentences(ground, feed_lines, fronts, marks))
    return Scene("half-girth", ground.width, ground.height, title, desc, tuple(shapes), ground.as_data())


def arrivals_on_half_girth(
    stations: Sequence[GirthStation],
    arrivals: Sequence[Arrival],
    *,
    title: str,
    feed_lines: Sequence[FeedLine] = (),
    width: float = WIDTH,
    row: float = ROW,
) -> Scene:
    """Dry strips with the planned front in pencil where it is to be at each minute given, the minute beside it.

    A minute that would run into the one before is left out; the table beside the drawing has it. Raises ValueError as
    girth_ground does.
    """
    ground = girth_ground(stations, width=width, row=row)
    shapes: list[Shape] = []
    for strip in ground.strips:
        shapes += _strip(ground, strip)
        for side in SIDES:
            its = [one for one in arrivals if (one.station, one.side) == (strip.station.name, side)]
            shapes += _contours(ground, strip, side, its)
            shapes += _feed_lines(ground, strip.row(side), [one for one in feed_lines if one.side in ("both", side)])
        shapes += _edges(ground, strip)
    shapes += _foot(ground, "mm along the skin; dashes: the front by the plan, minutes from the first inlet", [])
    desc = "; ".join(
        f"station {one.station} {one.side}, minute {one.minute:.0f} at {one.girth_mm:.0f} mm" for one in arrivals
    )
    return Scene("half-girth", ground.width, ground.height, title, desc, tuple(shapes), ground.as_data())


def _contours(ground: GirthGround, strip: Strip, side: Side, arrivals: Sequence[Arrival]) -> Iterator[Shape]:
    row = strip.row(side)
    free_from = ground.x0
    for arrival in sorted(arrivals, key=lambda one: one.girth_mm):
        x = ground.at(_within(arrival.girth_mm, strip))
        yield Line(x, row.top, x, row.bottom, "planned")
        words = f"{arrival.minute:.0f}"
        wide = text_width(words, 15, "planned-figure")
        if x - wide - 4 >= free_from:
            yield Text(x - 4, row.middle + 5, words, "planned-figure", 15, "end")
            free_from = x


def zones_on_half_girth(
    zones: Sequence[GirthZone],
    *,
    title: str = "Half-girth, keel to flange",
    landmarks: Sequence[Landmark] = (),
    flange_mm: float | None = None,
) -> Scene:
    """The same ground with a block a zone, its height to scale with kg/m2, upwards on starboard and down on port.

    Zones that lie over each other stand on strips of their own. Raises ValueError for no zones.
    """
    if not zones:
        raise ValueError("a half-girth needs at least one zone")
    lanes = _lanes(zones)
    length = max(flange_mm or 0, *(zone.girth_to_mm for zone in zones))
    station = GirthStation("", length, tuple(landmarks))
    port_row = TALLEST + (WORDS if any(zone.side == "port" for zone in zones) else 0)
    ground = girth_ground([station] * len(lanes), row=port_row, starboard_row=TALLEST + WORDS)
    heaviest = max((zone.areal_weight_kg_m2 or 0 for zone in zones), default=0) or 1.0
    shapes: list[Shape] = []
    for lane, strip in zip(lanes, ground.strips, strict=True):
        shapes += _landmarks(ground, strip, "hairline")
        for zone in lane:
            for side in SIDES:
                if zone.side in ("both", side):
                    shapes += _block(zone, ground, strip, side, heaviest)
        shapes += _zone_words([zone for zone in lane if zone.side != "port"], ground, strip.starboard.top)
        shapes += _zone_words([zone for zone in lane if zone.side == "port"], ground, strip.port.bottom - WORDS)
        end = ground.at(length)
        shapes += [
            Line(ground.x0, strip.port.top, end, strip.port.top, "ink"),
            Line(ground.x0, strip.starboard.top, ground.x0, strip.port.bottom, "line"),
            *_side_letters(strip),
        ]
    shapes += _foot(ground, "mm along the skin; block height is kg/m²", [(one.name, one.girth_mm) for one in landmarks])
    desc = "From the keel: " + "; ".join(
        f"{zone.name}{'' if zone.side == 'both' else f' ({zone.side})'}, "
        f"{zone.girth_from_mm:.0f} to {zone.girth_to_mm:.0f} mm, {_weight(zone)}"
        for zone in zones
    )
    return Scene("half-girth", ground.width, ground.height, title, desc, tuple(shapes), ground.as_data())


# ---- The ground


def _strip(ground: GirthGround, strip: Strip) -> Iterator[Shape]:
    end = ground.at(strip.station.flange_mm)
    for side in SIDES:
        row = strip.row(side)
        yield Rect(ground.x0, row.top, end - ground.x0, row.height, "core")
    yield from _landmarks(ground, strip, "line")


def _landmarks(ground: GirthGround, strip: Strip, role: Literal["line", "hairline"]) -> Iterator[Shape]:
    for landmark in strip.station.landmarks:
        x = ground.at(_within(landmark.girth_mm, strip))
        yield Line(x, strip.starboard.top, x, strip.port.bottom, role)


def _edges(ground: GirthGround, strip: Strip) -> Iterator[Shape]:
    """What stays in sight over resin: the edges, the keel that both sides share, the vent at the flange, the names."""
    end = ground.at(strip.station.flange_mm)
    middle = strip.port.top
    yield Line(ground.x0, strip.starboard.top, ground.x0, strip.port.bottom, "ink")
    yield Line(ground.x0, middle, end, middle, "line")
    yield _vent(end, strip.starboard.top, strip.port.bottom)
    yield from _side_letters(strip)
    if strip.station.name:
        baseline = strip.starboard.top - 9
        length = f"{strip.station.flange_mm:.0f} mm"
        yield Text(ground.x0, baseline, strip.station.place, "label", 17)
        yield Text(ground.width - PAGE_EDGE, baseline, length, "figure", 16, "end")
        free = ground.x0 + text_width(strip.station.place, 17)
        full = ground.width - PAGE_EDGE - text_width(length, 16, "figure")
        yield from _names([(one.name, one.girth_mm) for one in strip.station.landmarks], ground, baseline, free, full)


def _vent(x: float, top: float, bottom: float) -> Polyline:
    teeth = 8
    step = (bottom - top) / teeth
    return Polyline(tuple((x + (5 if number % 2 else 0), top + step * number) for number in range(teeth + 1)), "line")


def _side_letters(strip: Strip) -> Iterator[Shape]:
    for letter, row in (("S", strip.starboard), ("P", strip.port)):
        yield Text(LEFT - 22, row.middle + 6, letter, "label", 18, "middle")


def _foot(ground: GirthGround, words: str, named: Iterable[tuple[str, float]]) -> list[Shape]:
    """The scale under the last strip, the keel, the flange, and the names of what lies between."""
    y = ground.foot
    along = Axis(0, ground.flange_mm, ground.x0, ground.at(ground.flange_mm))
    shapes: list[Shape] = []
    ticks = [tick for tick in nice_ticks(0, ground.flange_mm, 6) if tick <= ground.flange_mm]
    for tick, figure in zip(ticks, tick_words(ticks), strict=True):
        x = along.at(tick)
        shapes += [Line(x, y, x, y + 8, "line"), Text(x, y + 25, figure, "figure", 16, "middle")]
    right = ground.width - PAGE_EDGE
    flange = f"flange {ground.flange_mm:.0f}"
    free_from, free_to = PAGE_EDGE + text_width("keel", 17), right - text_width(flange, 17)
    shapes += [Text(PAGE_EDGE, y + 46, "keel", "note", 17), Text(right, y + 46, flange, "note", 17, "end")]
    shapes += _names(named, ground, y + 46, free_from, free_to)
    room = ground.width - 2 * PAGE_EDGE
    shapes.append(Text(ground.width / 2, y + 63, fitted(words, 15, room), "note", 15, "middle"))
    return shapes


def _names(
    named: Iterable[tuple[str, float]], ground: GirthGround, baseline: float, free_from: float, free_to: float
) -> Iterator[Text]:
    """Names under or over their places, leaving out those that would run into the one before."""
    for name, girth_mm in sorted(named, key=lambda one: one[1]):
        half = text_width(name, 17) / 2
        x = ground.at(min(girth_mm, ground.flange_mm))
        if free_from + 4 < x - half and x + half < free_to - 4:
            yield Text(x, baseline, name, "label", 17, "middle")
            free_from = x + half


def _within(girth_mm: float, strip: Strip) -> float:
    return min(max(girth_mm, 0.0), strip.station.flange_mm)


# ---- What lies on it


def _feed_lines(ground: GirthGround, row: Row, lines: Iterable[FeedLine]) -> Iterator[Shape]:
    for line in lines:
        if 0 <= line.girth_mm <= ground.flange_mm:
            x = ground.at(line.girth_mm)
            yield Line(x, row.top, x, row.bottom, "feed-line")


def _fronts(ground: GirthGround, strip: Strip, side: Side, fronts: Sequence[Front]) -> Iterator[Shape]:
    """Wetted up to the furthest front told; guesses and plans are dashes only."""
    row = strip.row(side)
    told = [_within(front.girth_mm, strip) for front in fronts if front.drawn == "told"]
    if told and (furthest := max(told)) > 0:
        wave = _wave(ground.at(furthest), row)
        yield Polygon(((ground.x0, row.top), *wave, (ground.x0, row.bottom)), "resin")
        yield Polyline(wave, "front")
    for front in fronts:
        if front.drawn != "told":
            x = ground.at(_within(front.girth_mm, strip))
            yield Line(x, row.top, x, row.bottom, front.drawn)


def _wave(x: float, row: Row) -> tuple[Point, ...]:
    steps = 12
    return tuple(
        (min(x, x - 3 + 3 * sin(number * 6.283 / 6)), row.top + row.height * number / steps)
        for number in range(steps + 1)
    )


def _mark(x: float, y: float, mark: Mark, width: float) -> Iterator[Shape]:
    half = max(13.0, text_width(mark.words, 15, "figure") / 2 + 3)
    figure = Text(x, y + 5, mark.words, "figure-told", 15, "middle")
    match mark.shape:
        case "square":
            yield Rect(x - half, y - 12, 2 * half, 24, "hollow")
        case "triangle":
            # The words stand in its lower half, where it is at least as wide as they are.
            yield Polygon(((x - 2 * half, y + 14), (x, y - 20), (x + 2 * half, y + 14)), "hollow")
            figure = Text(x, y + 11, mark.words, "figure-told", 15, "middle")
        case "ring":
            yield disc(x, y, half, "hollow")
        case "diamond":
            yield Polygon(((x - 1.6 * half, y), (x, y - 20), (x + 1.6 * half, y), (x, y + 20)), "hollow")
        case "probe":
            # Its tail points to the keel where there is no room for its words towards the flange.
            is_ahead = x + 18 + text_width(mark.words, 15, "figure") <= width
            tail = 1 if is_ahead else -1
            yield disc(x, y, 5, "solid")
            yield Polyline(((x, y), (x + 8 * tail, y - 8), (x + 16 * tail, y - 8)), "line")
            figure = Text(x + 18 * tail, y - 4, mark.words, "figure-told", 15, "start" if is_ahead else "end")
    yield figure


def _sentences(
    ground: GirthGround, feed_lines: Sequence[FeedLine], fronts: Sequence[Front], marks: Sequence[Mark]
) -> Iterator[str]:
    for strip in ground.strips:
        yield f"{strip.station.place or 'half-girth'}, keel to flange {strip.station.flange_mm:.0f} mm"
    for line in feed_lines:
        yield f"feed line {line.number} at {line.girth_mm:.0f} mm, {line.side}"
    for front in fronts:
        said = {"told": "front at", "guess": "front guessed at", "planned": "front planned at"}[front.drawn]
        yield f"station {front.station} {front.side}, {said} {front.girth_mm:.0f} mm"
    for mark in marks:
        yield f"{mark.words} at station {mark.station} {mark.side}, {mark.girth_mm:.0f} mm from the keel"


# ---- Zones


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


def _zone_words(lane: Sequence[GirthZone], ground: GirthGround, top: float) -> list[Shape]:
    """Name and figure of each zone over its block, in one row, cut only where the neighbours leave no room."""
    shapes: list[Shape] = []
    boxes = []
    for zone in lane:
        width = max(text_width(zone.name, 17), text_width(_figure(zone), 17, "figure"))
        middle = (ground.at(zone.girth_from_mm) + ground.at(zone.girth_to_mm)) / 2
        boxes.append((min(max(middle, width / 2 + 2), ground.width - width / 2 - 2), width))
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


def _block(zone: GirthZone, ground: GirthGround, strip: Strip, side: Side, heaviest: float) -> list[Shape]:
    left, right = ground.at(zone.girth_from_mm), ground.at(zone.girth_to_mm)
    known = zone.areal_weight_kg_m2 is not None
    tall = (zone.areal_weight_kg_m2 or 0) / heaviest * TALLEST if known else TALLEST / 3
    top = strip.port.top - tall if side == "starboard" else strip.port.top
    shapes: list[Shape] = [Rect(left, top, right - left, tall, "glass" if known else "hollow")]
    if not known:
        shapes += hatched(left, top, right - left, tall)
    return shapes
