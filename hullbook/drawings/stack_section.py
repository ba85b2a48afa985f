"""The section through a laminate: mould below, then every layer in the order it is laid."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Literal

from hullbook.drawings.axes import round_step
from hullbook.drawings.scene import (
    Line,
    Polygon,
    Polyline,
    Rect,
    Scene,
    Shape,
    Text,
    fitted,
    hatched,
    spread,
    text_width,
)

LayerKind = Literal["ply", "core", "gelcoat"]

WIDTH = 760.0
LEFT, RIGHT = 116.0, 352.0  # the section itself
LABELS = 384.0
ANGLES, THICKNESSES = 664.0, WIDTH - 8  # right edges of two columns
TOP, FOOT = 62.0, 96.0
ROW = 30.0  # from one label to the next
SKINS = 230.0  # height the plies together are drawn to
LEAST = 3.0  # a ply is never thinner on the page
CORE = 96.0  # a core thicker than this on the page is broken


@dataclass(frozen=True)
class Layer:
    """One layer as laid: its number in the schedule, material, cured thickness in mm and, for a ply, its lay angles."""

    number: int
    material: str
    thickness_mm: float
    kind: LayerKind = "ply"
    angle: str = ""


def stack_section(layers: Sequence[Layer], *, title: str = "Section through the laminate") -> Scene:
    """Drawn from the mould side outwards, the lowest layer laid first.

    All thin layers are drawn to one scale, shown by a bar; a core too thick for it is broken by a break line. Raises
    ValueError for no layers, or one without a thickness.
    """
    if not layers:
        raise ValueError("a section needs at least one layer")
    if any(layer.thickness_mm <= 0 for layer in layers):
        raise ValueError("every layer of a section has a thickness above nought")
    scale = _scale(layers)
    heights = [_height(layer, scale) for layer in layers]
    height = TOP + max(sum(heights), ROW * len(layers)) + FOOT
    bottom = height - FOOT
    shapes: list[Shape] = [
        *hatched(LEFT - 14, bottom, RIGHT - LEFT + 28, 15, pitch=8),
        Line(LEFT - 14, bottom, RIGHT + 14, bottom, "ink"),
    ]
    middles = []
    broken = False
    at = bottom
    slants = count()
    for layer, thick in zip(layers, heights, strict=True):
        at -= thick
        middles.append(at + thick / 2)
        shapes += _layer(layer, at, thick, slants)
        if layer.thickness_mm * scale > thick + 0.01:
            broken = True
            shapes += _break(at + thick / 2)
    top = at
    rows = spread(middles, gap=ROW, low=TOP + ROW / 2, high=bottom - ROW / 2)
    for layer, middle, row in zip(layers, middles, rows, strict=True):
        shapes += _label(layer, middle, row)
    shapes += [
        Text(LABELS, 28, "layer", "note", 17),
        Text(ANGLES, 28, "angle, °", "note", 17, "end"),
        Text(THICKNESSES, 28, "mm thick", "note", 17, "end"),
        Line(LABELS, 36, THICKNESSES, 36, "line"),
        Text((LEFT + RIGHT) / 2, min(top - 12, bottom - 20), "bag side", "note", 17, "middle"),
        Text(RIGHT, bottom + 33, "mould side", "note", 17, "end"),
        *_total(layers, top, bottom),
        *_scale_bar(scale, bottom, broken=broken),
    ]
    total = sum(layer.thickness_mm for layer in layers)
    desc = f"{len(layers)} layers from the mould outwards, {total:.2f} mm in all: " + "; ".join(
        " ".join(filter(None, (str(layer.number), layer.material, layer.angle, f"{layer.thickness_mm:.2f} mm")))
        for layer in layers
    )
    return Scene("stack-section", WIDTH, height, title, desc, tuple(shapes))


def _scale(layers: Sequence[Layer]) -> float:
    """Drawing units to a millimetre, a round number: the thin layers fill the height set for them."""
    thin = [layer.thickness_mm for layer in layers if layer.kind != "core"] or [layers[0].thickness_mm]
    return round_step(SKINS / sum(thin), 1) / 2


def _height(layer: Layer, scale: float) -> float:
    drawn = max(LEAST, layer.thickness_mm * scale)
    return min(drawn, CORE) if layer.kind == "core" else drawn


def _layer(layer: Layer, y: float, thick: float, slants: Iterator[int]) -> list[Shape]:
    width = RIGHT - LEFT
    if layer.kind == "core":
        dots: list[Shape] = [
            Rect(LEFT + 7 + 16 * column + (8 if row % 2 else 0), y + 6 + 11 * row, 2, 2, "solid")
            for row in range(int((thick - 6) / 11) + 1)
            for column in range(int((width - 16) / 16))
        ]
        return [Rect(LEFT, y, width, thick, "core"), *dots]
    if layer.kind == "gelcoat":
        return [Rect(LEFT, y, width, thick, "resin")]
    return [Rect(LEFT, y, width, thick, "glass"), *_fibres(layer.angle, y, thick, slants)]


def _fibres(angle: str, y: float, thick: float, slants: Iterator[int]) -> list[Shape]:
    """What the cut shows: along the cut a line, across it dots, between them slants that turn from ply to ply."""
    degrees = {int(number) % 180 for number in re.findall(r"\d+", angle)}
    width = RIGHT - LEFT
    shapes: list[Shape] = []
    if degrees - {0, 90}:
        shapes += hatched(LEFT, y, width, thick, pitch=12, rising=next(slants) % 2 == 0)
    if 0 in degrees:
        shapes.append(Line(LEFT, y + thick / 2, RIGHT, y + thick / 2, "hatch"))
    if 90 in degrees:
        shapes += [Rect(LEFT + x, y + thick / 2 - 1.5, 3, 3, "solid") for x in range(6, int(width) - 3, 12)]
    if not degrees:
        # chopped strands lie every way
        tilts = (-2.0, 2.0, 0.0)
        shapes += [
            Line(LEFT + x, y + thick / 2 + tilts[n % 3], LEFT + x + 9, y + thick / 2 - tilts[n % 3], "hatch")
            for n, x in enumerate(range(6, int(width) - 12, 17))
        ]
    return shapes


def _break(y: float) -> list[Shape]:
    """The break line through a core not drawn to scale."""

    def zigzag(offset: float) -> list[tuple[float, float]]:
        middle = (LEFT + RIGHT) / 2
        along = ((LEFT - 10, 0.0), (middle - 14, 0.0), (middle - 5, -14.0), (middle + 5, 14.0), (middle + 14, 0.0))
        return [(x, y + offset + rise) for x, rise in (*along, (RIGHT + 10, 0.0))]

    upper, lower = zigzag(-4), zigzag(4)
    return [
        Polygon((*upper, *reversed(lower)), "ground"),
        Polyline(tuple(upper), "line"),
        Polyline(tuple(lower), "line"),
    ]


def _label(layer: Layer, middle: float, row: float) -> list[Shape]:
    baseline = row + 6
    angle = layer.angle.replace("+-", "±")
    room = ANGLES - text_width(angle, 16, "figure") - 12 - (LABELS + 26)
    return [
        Polyline(((RIGHT, middle), (RIGHT + 12, middle), (LABELS - 12, row), (LABELS - 4, row)), "hairline"),
        Text(LABELS + 18, baseline, str(layer.number), "figure", 16, "end"),
        Text(LABELS + 26, baseline, fitted(layer.material, 17, room), "label", 17),
        Text(ANGLES, baseline, angle, "figure", 16, "end"),
        Text(THICKNESSES, baseline, f"{layer.thickness_mm:.2f}", "figure-told", 17, "end"),
    ]


def _total(layers: Sequence[Layer], top: float, bottom: float) -> list[Shape]:
    total = sum(layer.thickness_mm for layer in layers)
    x = LEFT - 30
    return [
        Line(x, top, x, bottom, "hairline"),
        *(Line(x - 6, y + 6, x + 6, y - 6, "line") for y in (top, bottom)),
        Line(x - 8, top, LEFT - 4, top, "hairline"),
        Text(x - 10, (top + bottom) / 2, f"{total:.2f}", "figure-told", 18, "end"),
        Text(x - 10, (top + bottom) / 2 + 18, "mm", "note", 17, "end"),
    ]


def _scale_bar(scale: float, bottom: float, *, broken: bool) -> list[Shape]:
    length_mm = round_step(60 / scale, 1)
    y = bottom + 62
    words = f"{length_mm:g} mm through the laminate"
    if broken:
        words += "; the core is broken, not to scale"
    return [
        Line(LEFT, y, LEFT + length_mm * scale, y, "ink"),
        Line(LEFT, y - 6, LEFT, y + 6, "line"),
        Line(LEFT + length_mm * scale, y - 6, LEFT + length_mm * scale, y + 6, "line"),
        Text(LEFT, y + 24, words, "note", 17),
    ]
