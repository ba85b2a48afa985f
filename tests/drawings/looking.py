"""Looking at a drawing the way a person would: what words stand on it, does anything stick out."""

from collections.abc import Iterator
from xml.etree import ElementTree

from hullbook.drawings.scene import Area, Line, Point, Polygon, Polyline, Rect, Scene, Text, text_width, to_svg

SVG = "{http://www.w3.org/2000/svg}"


def as_svg(scene: Scene) -> ElementTree.Element:
    """Parsed anew, so that a drawing that is not well-formed XML fails."""
    return ElementTree.fromstring(to_svg(scene))  # noqa: S314, our own drawing


def words_on(scene: Scene) -> list[str]:
    return [text.text or "" for text in as_svg(scene).iter(f"{SVG}text")]


def texts(scene: Scene) -> list[Text]:
    return [shape for shape in scene.shapes if isinstance(shape, Text)]


def in_role(scene: Scene, role: str) -> list[object]:
    return [shape for shape in scene.shapes if not isinstance(shape, Area) and shape.role == role]


def corners(scene: Scene) -> Iterator[Point]:
    for shape in scene.shapes:
        match shape:
            case Line():
                yield from ((shape.x1, shape.y1), (shape.x2, shape.y2))
            case Polyline() | Polygon():
                yield from shape.points
            case Rect() | Area():
                assert shape.width >= 0
                assert shape.height >= 0
                yield from ((shape.x, shape.y), (shape.x + shape.width, shape.y + shape.height))
            case Text():
                width = text_width(shape.words, shape.size, shape.role)
                left = shape.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[shape.anchor] * width
                yield from ((left, shape.y - 0.75 * shape.size), (left + width, shape.y))


def sticking_out(scene: Scene) -> list[Point]:
    return [
        (x, y)
        for x, y in corners(scene)
        if not (-0.01 <= x <= scene.width + 0.01 and -0.01 <= y <= scene.height + 0.01)
    ]
