"""A drawing as a list of plain shapes, drawn once and put out twice: as SVG for the page, with pens for the PDF.

Coordinates in drawing units, x to the right, y down. A shape says what it is (its role); how that looks is the
business of the style sheet on the page and of the pens on paper.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import cos, pi, sin
from typing import Any, Literal
from xml.sax.saxutils import escape, quoteattr

LineRole = Literal[
    "ink",  # thick, told
    "line",  # an edge
    "hairline",  # axes, ticks, leaders
    "planned",  # pencil: dashed
    "limit",
    "hatch",  # a fill, drawn as lines
    "struck",
    "feed-line",  # a heavy bar
    "front",  # how far the resin came, told
    "guess",  # the same, guessed: thin dashes
    "series-1",
    "series-2",
    "series-3",
    "series-4",
]
FillRole = Literal[
    "ground",
    "glass",
    "core",
    "resin",
    "solid",  # filled with ink
    "hollow",  # edged with ink, not filled
    "band",  # a planned band, edged in pencil
    "limit-mark",
]
TextRole = Literal[
    "label",
    "note",
    "figure",
    "figure-told",
    "planned-figure",
    "limit-figure",
    "on-solid",  # words on a shape filled with ink
]
Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]

SERIES_ROLES: tuple[LineRole, ...] = ("series-1", "series-2", "series-3", "series-4")

# Widths of the two faces in em, measured over running English and over figures, a little generous.
WORDS_EM = 0.55
FIGURES_EM = 0.66


@dataclass(frozen=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    role: LineRole


@dataclass(frozen=True)
class Polyline:
    points: tuple[Point, ...]
    role: LineRole


@dataclass(frozen=True)
class Polygon:
    points: tuple[Point, ...]
    role: FillRole


@dataclass(frozen=True)
class Rect:
    x: float
    y: float
    width: float
    height: float
    role: FillRole


@dataclass(frozen=True)
class Text:
    """Words with their baseline at y."""

    x: float
    y: float
    words: str
    role: TextRole
    size: float = 17
    anchor: Anchor = "start"


@dataclass(frozen=True)
class Area:
    """Where the page leads on to `href` when it is pointed at; on paper it is nothing."""

    x: float
    y: float
    width: float
    height: float
    href: str
    words: str


Shape = Line | Polyline | Polygon | Rect | Text | Area


@dataclass(frozen=True)
class Scene:
    """`name` tells which drawing it is, `title` and `desc` say in words what is to be seen.

    `ground` is the geometry under the shapes as plain data, for scripts on the page; on paper it is nothing.
    """

    name: str
    width: float
    height: float
    title: str
    desc: str
    shapes: tuple[Shape, ...]
    ground: Mapping[str, Any] | None = None


def to_svg(scene: Scene) -> str:
    """The scene as one SVG element: classes only, so that it obeys the page's style sheet and content policy."""
    width, height = _number(scene.width), _number(scene.height)
    ground = "" if scene.ground is None else f" data-ground={quoteattr(json.dumps(scene.ground))}"
    # What is an image to a reader of the screen has no links in it.
    role = "group" if any(isinstance(shape, Area) for shape in scene.shapes) else "img"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="drawing drawing-{scene.name}" role="{role}"'
        f' viewBox="0 0 {width} {height}" width="{width}" height="{height}"{ground}>'
        f"<title>{escape(scene.title)}</title><desc>{escape(scene.desc)}</desc>"
        f"{''.join(_svg(shape) for shape in scene.shapes)}</svg>"
    )


def _svg(shape: Shape) -> str:
    match shape:
        case Line():
            ends = " ".join(f'{name}="{_number(getattr(shape, name))}"' for name in ("x1", "y1", "x2", "y2"))
            return f'<line class="{shape.role}" {ends}/>'
        case Polyline():
            return f'<polyline class="{shape.role}" points="{_points(shape.points)}"/>'
        case Polygon():
            return f'<polygon class="{shape.role}" points="{_points(shape.points)}"/>'
        case Rect():
            box = " ".join(f'{name}="{_number(getattr(shape, name))}"' for name in ("x", "y", "width", "height"))
            return f'<rect class="{shape.role}" {box}/>'
        case Text():
            place = f'x="{_number(shape.x)}" y="{_number(shape.y)}" font-size="{_number(shape.size)}"'
            return f'<text class="{shape.role}" {place} text-anchor="{shape.anchor}">{escape(shape.words)}</text>'
        case Area():
            box = " ".join(f'{name}="{_number(getattr(shape, name))}"' for name in ("x", "y", "width", "height"))
            link = f"href={quoteattr(shape.href)} aria-label={quoteattr(shape.words)}"
            return f'<a class="area" {link}><rect class="nothing" {box}/></a>'


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{_number(x)},{_number(y)}" for x, y in points)


def text_width(words: str, size: float, role: TextRole = "label") -> float:
    """Roughly how wide the words will be, on the wide side."""
    return len(words) * size * (WORDS_EM if role in ("label", "note", "on-solid") else FIGURES_EM)


def fitted(words: str, size: float, width: float, role: TextRole = "label") -> str:
    """The words, cut with an ellipsis where they are wider than `width`; the full words belong in a table beside."""
    if text_width(words, size, role) <= width:
        return words
    keep = max(1, int(width / text_width("x", size, role)) - 1)
    return words[:keep].rstrip() + "…"


def disc(x: float, y: float, radius: float, role: FillRole) -> Polygon:
    """A round dot, as a polygon of 24 corners so that both emitters need one shape less."""
    return Polygon(tuple(_on_circle(x, y, radius, step / 24) for step in range(24)), role)


def half_disc(x: float, y: float, radius: float, role: FillRole) -> Polygon:
    """The left half of a round dot."""
    return Polygon(tuple(_on_circle(x, y, radius, 0.25 + step / 24) for step in range(13)), role)


def _on_circle(x: float, y: float, radius: float, turn: float) -> Point:
    return x + radius * cos(2 * pi * turn), y + radius * sin(2 * pi * turn)


def hatched(x: float, y: float, width: float, height: float, *, pitch: float = 9, rising: bool = True) -> list[Line]:
    """45 degree lines across a box, cut off at its edges."""
    lines = []
    for number in range(1, int((width + height) / pitch) + 1):
        # along the lower edge, then up the far side: the line from (along, bottom) meets the top at along - height
        along = number * pitch
        low, high = max(0.0, along - width), min(along, height)
        if high <= low:
            continue
        ends = [(along - rise, rise) for rise in (low, high)]
        if not rising:
            ends = [(width - right, rise) for right, rise in ends]
        (x1, rise1), (x2, rise2) = ends
        lines.append(Line(x + x1, y + height - rise1, x + x2, y + height - rise2, "hatch"))
    return lines


def spread(wanted: Iterable[float], *, gap: float, low: float, high: float) -> list[float]:
    """Places as near as may be to those wanted, in their order, no nearer than `gap`, inside low to high.

    Where there is no room for all at that gap they stand evenly from low to high.
    """
    places = sorted(range(len(values := list(wanted))), key=values.__getitem__)
    if len(values) > 1 and gap * (len(values) - 1) > high - low:
        gap = (high - low) / (len(values) - 1)
    found = [0.0] * len(values)
    floor = low
    for index in places:
        floor = found[index] = max(values[index], floor)
        floor += gap
    ceiling = high
    for index in reversed(places):
        ceiling = found[index] = min(found[index], ceiling)
        ceiling -= gap
    return found
