"""Readings over time: what was read, the line through it, and the limits it is held against."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from hullbook.drawings.axes import Axis, nice_ticks, tick_words
from hullbook.drawings.scene import (
    SERIES_ROLES,
    FillRole,
    Line,
    LineRole,
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
    spread,
    text_width,
)

WIDTH, HEIGHT = 760.0, 400.0
LEFT, RIGHT, TOP, BOTTOM = 70.0, 520.0, 44.0, 346.0
HATCH = 12.0
SAMPLES, END_LABELS = RIGHT + 20, RIGHT + 58  # a piece of the line, then its name
LINE_OF_WORDS = 19.0
COLUMNS = 400  # more points than two a column of the page show nothing more


@dataclass(frozen=True)
class Series:
    """One run of (x, y); y None where nothing was read, which leaves the line open.

    Readings are told: points, or points joined. A planned or fitted line is pencil: dashed, without points.
    """

    name: str
    points: Sequence[tuple[float, float | None]]
    drawn: Literal["points", "joined", "planned"] = "joined"


@dataclass(frozen=True)
class Limit:
    """A limit at `value`, hatched on the side where nothing should be."""

    value: float
    words: str
    forbidden: Literal["above", "below"] = "above"


@dataclass(frozen=True)
class Band:
    """A stretch of values that is wanted or expected."""

    low: float
    high: float
    words: str


@dataclass(frozen=True)
class _End:
    """Where a line ends on the page, and what is to be read there; `number` counts the told series."""

    x: float
    y: float
    words: str
    drawn: Literal["points", "joined", "planned", "limit", "band"]
    number: int = 0


def series_plot(
    series: Sequence[Series],
    *,
    x_label: str,
    y_label: str,
    title: str,
    limits: Sequence[Limit] = (),
    bands: Sequence[Band] = (),
) -> Scene:
    """Every series in one frame, told apart by dash and mark and named at its end; no colour is needed to read it.

    Raises ValueError when no series holds a reading.
    """
    xs = [x for one in series for x, y in one.points if y is not None]
    ys = [y for one in series for _, y in one.points if y is not None]
    if not ys:
        raise ValueError("a plot needs at least one reading")
    ys += [limit.value for limit in limits] + [edge for band in bands for edge in (band.low, band.high)]
    x_ticks, y_ticks = nice_ticks(min(xs), max(xs), 7), nice_ticks(min(ys), max(ys), 6)
    if limits and y_ticks[-1] <= max(limit.value for limit in limits):
        y_ticks.append(y_ticks[-1] + y_ticks[1] - y_ticks[0])
    x = Axis(x_ticks[0], x_ticks[-1], LEFT, RIGHT)
    y = Axis(y_ticks[0], y_ticks[-1], BOTTOM, TOP)
    shapes: list[Shape] = [
        *_bands(bands, y),
        *_frame(x, x_ticks, x_label, y, y_ticks, y_label),
        *_limits(limits, y),
    ]
    told = 0
    ends: list[_End] = []
    for one in series:
        runs = [[(x.at(a), y.at(b)) for a, b in run] for run in _runs(one.points)]
        if not runs:
            continue
        if one.drawn == "planned":
            shapes += [Polyline(tuple(_thinned(run)), "planned") for run in runs]
        else:
            shapes += _told(runs, told, points_only=one.drawn == "points")
            told += 1
        ends.append(_End(*runs[-1][-1], one.name, one.drawn, told - 1))
    ends += [_End(RIGHT, y.at(limit.value), limit.words, "limit") for limit in limits]
    ends += [_End(RIGHT, y.at((band.low + band.high) / 2), band.words, "band") for band in bands]
    shapes += _end_labels(ends)
    desc = f"{y_label} over {x_label}. " + " ".join(
        [_sentence(one) for one in series if any(value is not None for _, value in one.points)]
        + [f"Limit {limit.words}." for limit in limits]
        + [f"{band.words}: {band.low:g} to {band.high:g}." for band in bands]
    )
    return Scene("series-plot", WIDTH, HEIGHT, title, desc, tuple(shapes))


def _sentence(one: Series) -> str:
    values = [y for _, y in one.points if y is not None]
    return f"{one.name}: {len(values)} values, {min(values):g} to {max(values):g}."


def _runs(points: Iterable[tuple[float, float | None]]) -> list[list[Point]]:
    """The stretches between gaps."""
    runs: list[list[Point]] = [[]]
    for x, y in points:
        if y is not None:
            runs[-1].append((x, y))
        elif runs[-1]:
            runs.append([])
    return [run for run in runs if run]


def _thinned(run: Sequence[Point]) -> list[Point]:
    """First, lowest, highest and last of every column: no spike of a long run is lost."""
    if len(run) <= 2 * COLUMNS:
        return list(run)
    columns: dict[int, list[Point]] = {}
    for point in run:
        columns.setdefault(int((point[0] - LEFT) / (RIGHT - LEFT) * COLUMNS), []).append(point)
    kept: list[Point] = []
    for column in columns.values():
        by_height = sorted(column, key=lambda point: point[1])
        kept += sorted({column[0], by_height[0], by_height[-1], column[-1]}, key=column.index)
    return kept


def _told(runs: Sequence[Sequence[Point]], number: int, *, points_only: bool) -> list[Shape]:
    shapes: list[Shape] = []
    role: LineRole = SERIES_ROLES[number % len(SERIES_ROLES)]
    if not points_only:
        shapes += [Polyline(tuple(_thinned(run)), role) for run in runs if len(run) > 1]
    points = [point for run in runs for point in run]
    if points_only or len(points) <= 60:
        shapes += [_mark(point, number) for point in points]
    return shapes


def _mark(point: Point, number: int) -> Shape:
    x, y = point
    fill: FillRole = "solid" if number < 2 else "hollow"
    if number % 2 == 0:
        return disc(x, y, 4, fill)
    return Polygon(((x - 4, y - 4), (x + 4, y - 4), (x + 4, y + 4), (x - 4, y + 4)), fill)


def _bands(bands: Sequence[Band], y: Axis) -> list[Shape]:
    return [Rect(LEFT, y.at(band.high), RIGHT - LEFT, y.at(band.low) - y.at(band.high), "band") for band in bands]


def _limits(limits: Sequence[Limit], y: Axis) -> list[Shape]:
    shapes: list[Shape] = []
    for limit in limits:
        at = y.at(limit.value)
        shapes += hatched(LEFT, at - HATCH if limit.forbidden == "above" else at, RIGHT - LEFT, HATCH, pitch=7)
        shapes.append(Line(LEFT, at, RIGHT, at, "limit"))
    return shapes


def _frame(x: Axis, x_ticks: list[float], x_label: str, y: Axis, y_ticks: list[float], y_label: str) -> list[Shape]:
    shapes: list[Shape] = [
        Line(LEFT, TOP, LEFT, BOTTOM, "line"),
        Line(LEFT, BOTTOM, RIGHT, BOTTOM, "line"),
        Text(4, 20, fitted(y_label, 17, RIGHT), "note", 17),
        Text(RIGHT, HEIGHT - 8, fitted(x_label, 17, RIGHT - LEFT), "note", 17, "end"),
    ]
    for tick, words in zip(x_ticks, tick_words(x_ticks), strict=True):
        at = x.at(tick)
        shapes += [Line(at, BOTTOM, at, BOTTOM + 7, "line"), Text(at, BOTTOM + 25, words, "figure", 16, "middle")]
    for tick, words in zip(y_ticks, tick_words(y_ticks), strict=True):
        at = y.at(tick)
        shapes += [Line(LEFT - 7, at, LEFT, at, "line"), Text(LEFT - 12, at + 5, words, "figure", 16, "end")]
        if tick != y_ticks[0]:
            shapes.append(Line(LEFT, at, RIGHT, at, "hairline"))
    return shapes


def _end_labels(ends: Sequence[_End]) -> list[Shape]:
    """Each name beside the end of its line with a piece of it, moved apart where they would lie on each other."""
    shapes: list[Shape] = []
    lined = [_in_lines(end.words, WIDTH - END_LABELS - 4) for end in ends]
    gap = max(LINE_OF_WORDS * len(lines) + 3 for lines in lined)
    rows = spread((end.y for end in ends), gap=gap, low=TOP, high=BOTTOM)
    for end, lines, row in zip(ends, lined, rows, strict=True):
        shapes += [Line(max(end.x + 6, LEFT), end.y, SAMPLES - 4, row, "hairline"), *_sample(end, row)]
        first = row + 6 - LINE_OF_WORDS / 2 * (len(lines) - 1)
        shapes += [Text(END_LABELS, first + LINE_OF_WORDS * n, line, "label", 17) for n, line in enumerate(lines)]
    return shapes


def _sample(end: _End, row: float) -> list[Shape]:
    left, right = SAMPLES, END_LABELS - 8
    middle = ((left + right) / 2, row)
    match end.drawn:
        case "points":
            return [_mark(middle, end.number)]
        case "joined":
            return [Line(left, row, right, row, SERIES_ROLES[end.number % len(SERIES_ROLES)])]
        case "band":
            return [Rect(left, row - 7, right - left, 14, "band")]
        case "planned" | "limit":
            return [Line(left, row, right, row, end.drawn)]


def _in_lines(words: str, room: float) -> list[str]:
    """One line where it fits, else two, the second cut if it must be."""
    if text_width(words, 17) <= room or " " not in words:
        return [fitted(words, 17, room)]
    first, *rest = words.split(" ")
    while rest and text_width(f"{first} {rest[0]}", 17) <= room:
        first = f"{first} {rest.pop(0)}"
    return [fitted(first, 17, room), *([fitted(" ".join(rest), 17, room)] if rest else [])]
