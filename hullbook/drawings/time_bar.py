"""A pour along its minutes: pails as slanted hatch from mixed to gel, feed lines as steps where they open."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from hullbook.drawings.axes import Axis, nice_ticks, tick_words
from hullbook.drawings.scene import Line, Point, Polyline, Rect, Scene, Shape, Text, hatched

WIDTH = 760.0
LEFT, RIGHT = 84.0, 740.0
TOP = 8.0
ROW, BAR = 30.0, 20.0
STEP = 26.0
FOOT = 56.0


@dataclass(frozen=True)
class PailBar:
    """A pail from its mixing to its gel, in minutes, and when it is drawn from; `gels` None: not known."""

    number: int
    mixed: float
    on: float
    empty: float
    gels: float | None

    @property
    def is_late(self) -> bool:
        """It would still be drawn from after it has gelled."""
        return self.gels is not None and self.gels < self.empty


@dataclass(frozen=True)
class Step:
    """A feed line from the minute it is opened."""

    name: str
    minute: float


def time_bar(pails: Sequence[PailBar], steps: Sequence[Step], end: float, *, title: str) -> Scene:
    """Pails under each other, then the feed lines as steps, over one axis of minutes from the first inlet.

    Raises ValueError for no pails.
    """
    if not pails:
        raise ValueError("a time bar needs at least one pail")
    last = max([end, *(pail.gels or pail.empty for pail in pails)])
    ticks = nice_ticks(min(pail.mixed for pail in pails), last, 8)
    axis = Axis(ticks[0], ticks[-1], LEFT, RIGHT)
    shapes: list[Shape] = []
    for place, pail in enumerate(pails):
        shapes += _pail(pail, axis, TOP + place * ROW)
    top = TOP + len(pails) * ROW + 12
    foot = top + STEP * (len(steps) + 1)
    shapes += _steps(steps, axis, top, end)
    shapes += [Line(axis.at(end), TOP, axis.at(end), foot, "planned")]
    for tick, figure in zip(ticks, tick_words(ticks), strict=True):
        x = axis.at(tick)
        shapes += [Line(x, foot, x, foot + 8, "line"), Text(x, foot + 25, figure, "figure", 16, "middle")]
    shapes.append(Line(LEFT, foot, RIGHT, foot, "line"))
    words = "minutes from the first inlet; hatch: mixed to gel, bar: drawn from; dashes: front through"
    shapes.append(Text(WIDTH / 2, foot + 46, words, "note", 15, "middle"))
    return Scene("time-bar", WIDTH, foot + FOOT, title, "; ".join(_sentences(pails, steps, end)), tuple(shapes))


def _pail(pail: PailBar, axis: Axis, top: float) -> Iterator[Shape]:
    left, right = axis.at(pail.mixed), axis.at(pail.gels if pail.gels is not None else pail.empty)
    yield Text(LEFT - 8, top + BAR - 4, f"pail {pail.number}", "label", 16, "end")
    if pail.gels is not None:
        yield from hatched(left, top, right - left, BAR)
    outline: tuple[Point, ...] = ((left, top), (right, top), (right, top + BAR), (left, top + BAR), (left, top))
    yield Polyline(outline, "limit" if pail.is_late else "hairline")
    on, empty = axis.at(pail.on), axis.at(pail.empty)
    yield Rect(on, top + 6, max(empty - on, 2.0), BAR - 12, "solid")


def _steps(steps: Sequence[Step], axis: Axis, top: float, end: float) -> Iterator[Shape]:
    """Open from its minute to the end; each opened later stands a step higher."""
    foot = top + STEP * (len(steps) + 1)
    points: list[Point] = [(axis.at(steps[0].minute), foot)] if steps else []
    for number, step in enumerate(steps, start=1):
        x, y = axis.at(step.minute), foot - STEP * number
        points += [(x, points[-1][1]), (x, y)]
        yield Text(x + 6, y - 5, step.name, "label", 15)
    if points:
        points.append((axis.at(end), points[-1][1]))
        yield Polyline(tuple(points), "ink")


def _sentences(pails: Sequence[PailBar], steps: Sequence[Step], end: float) -> Iterator[str]:
    for pail in pails:
        gel = "gel not known" if pail.gels is None else f"gels at minute {pail.gels:.0f}"
        late = ", before it is used up" if pail.is_late else ""
        yield f"pail {pail.number} mixed by {pail.mixed:.0f}, drawn from {pail.on:.0f} to {pail.empty:.0f}, {gel}{late}"
    for step in steps:
        yield f"{step.name} opens at minute {step.minute:.0f}"
    yield f"front through at minute {end:.0f}"
