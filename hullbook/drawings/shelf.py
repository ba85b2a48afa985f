"""The shelf: every lot a bar as long as what is left of it, its right end at its use-by date on one time line."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import islice
from typing import Literal

from hullbook.drawings.axes import Axis
from hullbook.drawings.scene import Line, Polygon, Rect, Scene, Shape, Text, fitted, hatched

ShelfState = Literal["received", "held", "released", "rejected", "used up"]

WIDTH = 1000.0
BAR = 150.0  # a lot of which nothing has been taken yet
FIRST_DAY, LAST_DAY = 500.0, 720.0  # the time line; a full bar that ends at its first day still clears the names
UNDATED = 980.0  # right end of lots that have no use-by
NAMES = 318.0
TOP, ROW, FOOT = 44.0, 42.0, 10.0
THICK = 18.0
MOST_TICKS = 3


@dataclass(frozen=True)
class ShelfLot:
    """One lot: `left_share` is what is left of what came, 0 to 1; `words` says how much that is."""

    code: str
    name: str
    words: str
    left_share: float
    state: ShelfState
    use_by: date | None


def shelf(lots: Sequence[ShelfLot], *, today: date) -> Scene:
    """Lots in the order given. Held and rejected ones are hatched, those not released yet are drawn in pencil.

    A lot whose use-by lies before `today` carries a triangle and says so in its words. Raises ValueError for no lots.
    """
    if not lots:
        raise ValueError("a shelf needs at least one lot")
    dates = [lot.use_by for lot in lots if lot.use_by is not None]
    first, last = min([today, *dates]), max([today, *dates])
    axis = Axis(first.toordinal(), max(last.toordinal(), first.toordinal() + 90), FIRST_DAY, LAST_DAY)
    height = TOP + ROW * len(lots) + FOOT
    shapes: list[Shape] = [*_time_line(axis, height), *_today(axis, today, height)]
    if len(dates) < len(lots):
        shapes += [
            Text(UNDATED, 16, "no use-by", "note", 14, "end"),
            Line(UNDATED, 24, UNDATED, height - FOOT, "hairline"),
        ]
    for number, lot in enumerate(lots):
        shapes += _lot(lot, TOP + ROW * number, axis, today)
    late = [lot.code for lot in lots if _is_late(lot, today)]
    held = [lot.code for lot in lots if lot.state == "held"]
    desc = f"{len(lots)} lots. Held: {', '.join(held) or 'none'}. Out of date: {', '.join(late) or 'none'}."
    return Scene("shelf", WIDTH, height, "The shelf", desc, tuple(shapes))


def _is_late(lot: ShelfLot, today: date) -> bool:
    return lot.use_by is not None and lot.use_by < today


def _state_words(lot: ShelfLot, today: date) -> str:
    if not _is_late(lot, today):
        return lot.state
    return "out of date" if lot.state == "released" else f"{lot.state}, out of date"


def _time_line(axis: Axis, height: float) -> list[Shape]:
    shapes: list[Shape] = [Line(axis.at_low, 24, axis.at_high, 24, "line")]
    for day in _months(date.fromordinal(int(axis.low)), date.fromordinal(int(axis.high))):
        x = axis.at(day.toordinal())
        shapes += [
            Line(x, 24, x, height - FOOT, "hairline"),
            Line(x, 18, x, 24, "line"),
            Text(x, 14, f"{day:%b} {day.year}", "note", 14, "middle"),
        ]
    return shapes


def _months(first: date, last: date) -> list[date]:
    """First days of months between two days, every month or every so many."""
    months = [
        date(number // 12, number % 12 + 1, 1)
        for number in range(first.year * 12 + first.month, last.year * 12 + last.month)
    ]
    step = next(step for step in (1, 2, 3, 6, 12, 24, 60, 1200) if len(months) / step <= MOST_TICKS)
    return list(islice(months, step - 1 if len(months) > step else 0, None, step))


def _today(axis: Axis, today: date, height: float) -> list[Shape]:
    x = axis.at(today.toordinal())
    return [Line(x, 24, x, height - FOOT, "ink"), Text(x + 6, 39, "today", "label", 14)]


def _lot(lot: ShelfLot, top: float, axis: Axis, today: date) -> list[Shape]:
    right = UNDATED if lot.use_by is None else axis.at(lot.use_by.toordinal())
    length = BAR * min(max(lot.left_share, 0.0), 1.0)
    words = f"{lot.words}, {_state_words(lot, today)}"
    y = top + (ROW - THICK) / 2
    shapes: list[Shape] = [
        Text(0, top + 18, lot.code, "figure-told", 15),
        Text(72, top + 18, fitted(lot.name, 15, NAMES - 72), "label", 15),
        Text(72, top + 35, fitted(words, 14, NAMES - 72, "note"), "note", 14),
        Line(right - BAR, y + THICK, right, y + THICK, "hairline"),
    ]
    if length > 0:
        shapes += _bar(lot.state, right - length, y, length)
    shapes.append(Line(right, y - 3, right, y + THICK + 3, "ink"))
    if _is_late(lot, today):
        # Before the bar: behind it the triangle would lie across the line of today.
        x, middle = right - BAR - 26, y + THICK / 2
        shapes.append(Polygon(((x, middle + 8), (x + 9, middle - 8), (x + 18, middle + 8)), "solid"))
    elif lot.use_by is not None:
        shapes.append(Text(right + 8, y + 14, f"{lot.use_by.day} {lot.use_by:%b %Y}", "figure", 13))
    return shapes


def _bar(state: ShelfState, x: float, y: float, length: float) -> list[Shape]:
    if state == "released":
        return [Rect(x, y, length, THICK, "resin")]
    if state == "received":
        return [Rect(x, y, length, THICK, "band")]
    shapes: list[Shape] = [Rect(x, y, length, THICK, "hollow"), *hatched(x, y, length, THICK, pitch=7)]
    if state == "rejected":
        shapes.append(Line(x, y + THICK / 2, x + length, y + THICK / 2, "struck"))
    return shapes
