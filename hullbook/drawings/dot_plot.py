"""Single readings as dots, place by place: how they scatter, where their mean lies, what was asked for."""

from collections.abc import Sequence
from dataclasses import dataclass

from hullbook.drawings.axes import Axis, nice_ticks, tick_words
from hullbook.drawings.scene import Line, Scene, Shape, Text, disc, fitted, hatched

WIDTH = 760.0
LEFT, RIGHT = 240.0, 660.0
TOP, FOOT = 40.0, 62.0
ROW = 62.0
PILE = 9.0  # a reading that came again stands on the one before
TALLEST_PILE = ROW - 20


@dataclass(frozen=True)
class DotRow:
    """The readings of one place, and those struck there when they were taken."""

    name: str
    readings: Sequence[float]
    struck: Sequence[float] = ()


def dot_plot(rows: Sequence[DotRow], *, x_label: str, title: str, at_least: float | None = None) -> Scene:
    """A row a place: every reading a dot, struck ones crossed, the mean a tick, `at_least` a line hatched below it.

    Raises ValueError when there is no reading at all.
    """
    values = [value for row in rows for value in (*row.readings, *row.struck)]
    if not values:
        raise ValueError("a dot plot needs at least one reading")
    if at_least is not None:
        values.append(at_least)
    ticks = nice_ticks(min(values), max(values), 7)
    x = Axis(ticks[0], ticks[-1], LEFT, RIGHT)
    bottom = TOP + ROW * len(rows) + 8
    shapes: list[Shape] = []
    if at_least is not None:
        limit = x.at(at_least)
        edge = max(LEFT, limit - 12)
        shapes += [
            *hatched(edge, TOP, limit - edge, bottom - TOP, pitch=8),
            Line(limit, TOP - 8, limit, bottom, "limit"),
            Text(limit, TOP - 16, f"at least {at_least:g}", "limit-figure", 16, "middle"),
        ]
    for number, row in enumerate(rows):
        shapes += _row(row, TOP + ROW * (number + 1) - 12, x)
    shapes.append(Line(LEFT, bottom, RIGHT, bottom, "line"))
    for tick, words in zip(ticks, tick_words(ticks), strict=True):
        at = x.at(tick)
        shapes += [Line(at, bottom, at, bottom + 7, "line"), Text(at, bottom + 25, words, "figure", 16, "middle")]
    shapes += [
        Text(RIGHT, bottom + FOOT - 10, fitted(x_label, 17, RIGHT - LEFT), "note", 17, "end"),
        Text(WIDTH - 8, TOP - 16, "mean", "note", 17, "end"),
    ]
    desc = "; ".join(_sentence(row) for row in rows)
    return Scene("dot-plot", WIDTH, bottom + FOOT, title, desc, tuple(shapes))


def _mean(row: DotRow) -> float | None:
    return sum(row.readings) / len(row.readings) if row.readings else None


def _sentence(row: DotRow) -> str:
    mean = _mean(row)
    told = "no readings" if mean is None else f"{len(row.readings)} readings, mean {mean:.1f}"
    return f"{row.name}: {told}" + (f", {len(row.struck)} struck" if row.struck else "")


def _row(row: DotRow, ground: float, x: Axis) -> list[Shape]:
    shapes: list[Shape] = [
        Text(8, ground + 4, fitted(row.name, 18, LEFT - 24), "label", 18),
        Line(LEFT, ground, RIGHT, ground, "hairline"),
    ]
    piled: dict[float, int] = {}
    told = [(value, False) for value in sorted(row.readings)] + [(value, True) for value in sorted(row.struck)]
    most = max((sum(1 for value, _ in told if value == one) for one, _ in told), default=1)
    step = min(PILE, TALLEST_PILE / most)
    for value, is_struck in told:
        at, up = x.at(value), ground - step * piled.get(value, 0)
        piled[value] = piled.get(value, 0) + 1
        if is_struck:
            shapes += [disc(at, up, 4.5, "hollow"), Line(at - 7, up + 7, at + 7, up - 7, "struck")]
        else:
            shapes.append(disc(at, up, 4.5, "solid"))
    mean = _mean(row)
    if mean is not None:
        at = x.at(mean)
        shapes += [
            Line(at, ground - 2, at, ground + 12, "ink"),
            Text(WIDTH - 8, ground + 4, f"{mean:.1f}", "figure-told", 18, "end"),
        ]
    return shapes
