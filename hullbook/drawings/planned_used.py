"""What was planned, with its spread, and the mark of what was used."""

from collections.abc import Sequence
from dataclasses import dataclass

from hullbook.drawings.axes import Axis, nice_ticks, tick_words
from hullbook.drawings.scene import Line, Polygon, Rect, Scene, Shape, Text, fitted

WIDTH = 760.0
LEFT, RIGHT = 256.0, 540.0
TOP, FOOT = 44.0, 62.0
ROW = 56.0
PLANNED, USED = 644.0, 752.0  # right edges of the two columns of figures


@dataclass(frozen=True)
class PlannedUsed:
    """One thing planned: low, expected and high, and what was used (None: not yet known), all in one unit."""

    name: str
    low: float
    expected: float
    high: float
    used: float | None = None


def planned_used(rows: Sequence[PlannedUsed], *, unit: str, title: str = "Planned and used") -> Scene:
    """A row a part: the planned band in pencil with its expected value as a tick, the used mark in ink.

    Raises ValueError for no rows, or where low <= expected <= high does not hold.
    """
    if not rows:
        raise ValueError("nothing planned to draw")
    for row in rows:
        if not row.low <= row.expected <= row.high:
            raise ValueError(f"{row.name}: low, expected and high out of order")
    values = [value for row in rows for value in (row.low, row.high, row.used) if value is not None]
    ticks = nice_ticks(min(values), max(values), 5)
    x = Axis(ticks[0], ticks[-1], LEFT, RIGHT)
    bottom = TOP + ROW * len(rows)
    shapes: list[Shape] = [
        Rect(LEFT, 11, 40, 16, "band"),
        Text(LEFT + 48, 25, "low to high", "note", 17),
        _used_mark(LEFT + 172, 26),
        Text(LEFT + 188, 25, "used", "note", 17),
        Text(PLANNED, 24, f"planned, {unit}", "note", 17, "end"),
        Text(USED, 24, f"used, {unit}", "note", 17, "end"),
    ]
    for number, row in enumerate(rows):
        shapes += _row(row, TOP + ROW * (number + 0.5), x)
    shapes.append(Line(LEFT, bottom, RIGHT, bottom, "line"))
    for tick, words in zip(ticks, tick_words(ticks), strict=True):
        at = x.at(tick)
        shapes += [Line(at, bottom, at, bottom + 7, "line"), Text(at, bottom + 25, words, "figure", 16, "middle")]
    shapes.append(Text(RIGHT, bottom + FOOT - 10, unit, "note", 17, "end"))
    desc = "; ".join(
        f"{row.name}: planned {row.low:.1f} to {row.high:.1f}, expected {row.expected:.1f}, {_used(row)} {unit}"
        for row in rows
    )
    return Scene("planned-used", WIDTH, bottom + FOOT, title, desc, tuple(shapes))


def _used(row: PlannedUsed) -> str:
    return "used not known" if row.used is None else f"used {row.used:.1f}"


def _row(row: PlannedUsed, middle: float, x: Axis) -> list[Shape]:
    low, expected, high = x.at(row.low), x.at(row.expected), x.at(row.high)
    shapes: list[Shape] = [
        Text(8, middle + 5, fitted(row.name, 18, LEFT - 24), "label", 18),
        Line(LEFT, middle, RIGHT, middle, "hairline"),
        Rect(low, middle - 12, max(high - low, 2), 24, "band"),
        Line(expected, middle - 12, expected, middle + 12, "planned"),
        Text(PLANNED, middle + 5, f"{row.expected:.1f}", "planned-figure", 18, "end"),
        Text(USED, middle + 5, "–" if row.used is None else f"{row.used:.1f}", "figure-told", 18, "end"),
    ]
    if row.used is not None:
        at = x.at(row.used)
        shapes += [
            Line(at, middle - 18, at, middle + 18, "ink"),
            _used_mark(at, middle - 14),
        ]
    return shapes


def _used_mark(x: float, y: float) -> Polygon:
    return Polygon(((x - 8, y - 12), (x + 8, y - 12), (x, y)), "solid")
