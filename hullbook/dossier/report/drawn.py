"""A scene put on paper: its roles as pens and fills, in black, one grey and hatching."""

from dataclasses import dataclass

from reportlab.lib.colors import Color, black, white
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject
from reportlab.platypus import Flowable

from hullbook.dossier.report.lettering import BOLD, REGULAR, plain, width
from hullbook.dossier.report.paper import GREY, PALE, ROOM
from hullbook.drawings.scene import (
    Anchor,
    Area,
    FillRole,
    Line,
    LineRole,
    Polygon,
    Polyline,
    Rect,
    Scene,
    Text,
    TextRole,
)

HATCH_PITCH = 7.0
INDENT = 4 * mm


@dataclass(frozen=True)
class Pen:
    """Width in points, colour and dashes of a line."""

    width: float
    colour: Color = black
    dashes: tuple[float, ...] = ()


PENS: dict[LineRole, Pen] = {
    "ink": Pen(1.3),
    "line": Pen(0.7),
    "hairline": Pen(0.35, GREY),
    "planned": Pen(0.8, black, (3, 2)),
    "limit": Pen(0.9, black, (6, 2, 1, 2)),
    "hatch": Pen(0.35),
    "struck": Pen(0.9),
    "feed-line": Pen(2.4),
    "front": Pen(1.6),
    "guess": Pen(0.5, black, (1.5, 1.5)),
    "series-1": Pen(1.1),
    "series-2": Pen(1.1, black, (4, 2)),
    "series-3": Pen(1.1, GREY),
    "series-4": Pen(1.1, black, (1, 1.6)),
}


@dataclass(frozen=True)
class Fill:
    """What a shape is filled with, and the pen of its edge; hatched where paper has no colour for it."""

    colour: Color | None
    edge: Pen | None
    hatched: bool = False


FILLS: dict[FillRole, Fill] = {
    "ground": Fill(white, None),
    "glass": Fill(PALE, Pen(0.5)),
    "core": Fill(white, Pen(0.5)),
    "resin": Fill(white, Pen(0.5), hatched=True),
    "solid": Fill(black, None),
    "hollow": Fill(white, Pen(0.8)),
    "band": Fill(PALE, Pen(0.5, GREY, (2, 2))),
    "limit-mark": Fill(black, None),
}
BOLD_TEXT: tuple[TextRole, ...] = ("figure-told", "limit-figure")


class Drawn(Flowable):
    """A scene at a width of the page; text keeps the proportion the scene gives it."""

    def __init__(self, scene: Scene, room: float = ROOM * 0.84) -> None:
        super().__init__()
        self.scene, self.room = scene, room
        self.scale = (room - INDENT) / scene.width
        self.hAlign = "LEFT"
        self.spaceBefore, self.spaceAfter = 4, 8

    def wrap(self, room: float, height: float) -> tuple[float, float]:
        return self.room, self.scene.height * self.scale

    def draw(self) -> None:
        canvas: Canvas = self.canv
        for shape in self.scene.shapes:
            match shape:
                case Line():
                    _take(canvas, PENS[shape.role])
                    canvas.line(*self._at(shape.x1, shape.y1), *self._at(shape.x2, shape.y2))
                case Polyline():
                    _take(canvas, PENS[shape.role])
                    canvas.drawPath(self._path(canvas, shape.points), stroke=1, fill=0)
                case Polygon():
                    self._fill(canvas, shape.points, FILLS[shape.role])
                case Rect():
                    right, bottom = shape.x + shape.width, shape.y + shape.height
                    corners = ((shape.x, shape.y), (right, shape.y), (right, bottom), (shape.x, bottom))
                    self._fill(canvas, corners, FILLS[shape.role])
                case Text():
                    self._write(canvas, shape)
                case Area():
                    pass

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return INDENT + x * self.scale, (self.scene.height - y) * self.scale

    def _path(self, canvas: Canvas, points: tuple[tuple[float, float], ...], *, closed: bool = False) -> PDFPathObject:
        path = canvas.beginPath()
        path.moveTo(*self._at(*points[0]))
        for point in points[1:]:
            path.lineTo(*self._at(*point))
        if closed:
            path.close()
        return path

    def _fill(self, canvas: Canvas, points: tuple[tuple[float, float], ...], fill: Fill) -> None:
        canvas.saveState()
        path = self._path(canvas, points, closed=True)
        if fill.colour is not None:
            canvas.setFillColor(fill.colour)
            canvas.drawPath(path, stroke=0, fill=1)
        if fill.hatched:
            self._hatch(canvas, points)
        if fill.edge is not None:
            _take(canvas, fill.edge)
            canvas.drawPath(self._path(canvas, points, closed=True), stroke=1, fill=0)
        canvas.restoreState()

    def _hatch(self, canvas: Canvas, points: tuple[tuple[float, float], ...]) -> None:
        canvas.saveState()
        canvas.clipPath(self._path(canvas, points, closed=True), stroke=0, fill=0)
        _take(canvas, PENS["hatch"])
        left, right = min(x for x, _ in points), max(x for x, _ in points)
        top, bottom = min(y for _, y in points), max(y for _, y in points)
        along = left - (bottom - top)
        while along < right:
            canvas.line(*self._at(along, bottom), *self._at(along + bottom - top, top))
            along += HATCH_PITCH
        canvas.restoreState()

    def _write(self, canvas: Canvas, text: Text) -> None:
        face, size = BOLD if text.role in BOLD_TEXT else REGULAR, text.size * self.scale
        words = plain(text.words, face)
        x, y = self._at(text.x, text.y)
        canvas.setFillColor(white if text.role == "on-solid" else black)
        canvas.setFont(face, size)
        canvas.drawString(x - _before(text.anchor) * width(words, size, face), y, words)


def _take(canvas: Canvas, pen: Pen) -> None:
    canvas.setStrokeColor(pen.colour)
    canvas.setLineWidth(pen.width)
    canvas.setDash(list(pen.dashes))


def _before(anchor: Anchor) -> float:
    return {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
