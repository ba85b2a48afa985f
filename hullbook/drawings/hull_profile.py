"""The profile of a hull with the eleven stages of its build marked along it, as a lines plan marks stations."""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Literal

from hullbook.calc.hull_lines import KEEL, SHEER, HullLines, faired_line
from hullbook.drawings.axes import Axis
from hullbook.drawings.scene import Line, Point, Polyline, Rect, Scene, Shape, Text, disc, fitted, half_disc

StageState = Literal["done", "under way", "not begun"]

STAGES = ("Mould", "Skin", "Core", "Bag", "Hold", "Pour", "Gel", "Cure", "Hardness", "Demould", "Survey")

WIDTH = 800.0
STEM, TRANSOM = 18.0, 782.0
FIRST, PITCH = 64.0, 67.2
TOP = 76.0  # room for the names of the stages over the highest point of the sheer
FOOT = 46.0
BAR_HEIGHT = 34.0
PLAN_TOP, GAP = 12.0, 12.0
STEPS = 160


def hull_profile(states: Sequence[StageState], *, hull: str, model: str = "", lines: HullLines | None = None) -> Scene:
    """Stem to the left. A tick is full where the stage is done, half where under way, hollow where not begun.

    Drawn to scale from the model's lines; without them a plain bar that says so. Raises ValueError unless there is one
    state for each of the eleven stages.
    """
    if len(states) != len(STAGES):
        raise ValueError(f"a build has {len(STAGES)} stages, given were {len(states)}")
    shapes, height, sheer_at = _from_lines(lines) if lines is not None else _plain_bar(model)
    for number, (name, state) in enumerate(zip(STAGES, states, strict=True)):
        shapes += _tick(number, name, state, sheer_at)
    desc = "Stages of the build: " + "; ".join(
        f"{number} {name} {state}" for number, (name, state) in enumerate(zip(STAGES, states, strict=True))
    )
    return Scene("hull-profile", WIDTH, height, f"Hull {hull}: where the build stands", desc, tuple(shapes))


def lines_plan(lines: HullLines, *, model: str) -> Scene:
    """The profile without stages, under it the half-breadths, as a lines plan has them over each other."""
    shapes, foot, _ = _from_lines(lines, top=PLAN_TOP)
    first, last = lines.sections[0], lines.sections[-1]
    along = Axis(first.x_mm, last.x_mm, STEM, TRANSOM)
    scale = (TRANSOM - STEM) / lines.length_mm
    widest = max(point.half_breadth_mm for section in lines.sections for point in section.points)
    middle = foot + GAP + widest * scale
    for section in lines.sections:
        x, out = along.at(section.x_mm), section.points[-1].half_breadth_mm
        shapes.append(Line(x, middle, x, middle - out * scale, "hairline"))
    for name in lines.names:
        curve = faired_line(lines.points(name), STEPS, half_breadth=True)
        role: Literal["ink", "line"] = "ink" if name == SHEER else "line"
        shapes.append(Polyline(tuple((along.at(x), middle - out * scale) for x, out in curve), role))
    shapes += [
        Line(STEM, middle, TRANSOM, middle, "ink"),
        Line(TRANSOM, middle, TRANSOM, middle - last.points[-1].half_breadth_mm * scale, "ink"),
        Text(STEM, middle + 22, "middle plane, half-breadths above", "note", 15),
    ]
    desc = f"{len(lines.sections)} stations, {lines.length_mm:.0f} mm long; lines: {', '.join(lines.names)}"
    return Scene("lines-plan", WIDTH, middle + 30, f"Lines of {model}", desc, tuple(shapes))


Sheer = Callable[[float], float]


def _plain_bar(model: str) -> tuple[list[Shape], float, Sheer]:
    said = fitted(f"no lines given for model {model}".rstrip(), 17, TRANSOM - STEM, "note")
    shapes: list[Shape] = [
        Rect(STEM, TOP, TRANSOM - STEM, BAR_HEIGHT, "hollow"),
        Text(TRANSOM, TOP + BAR_HEIGHT + 24, said, "note", 17, "end"),
        Text(STEM, TOP + BAR_HEIGHT + 24, "stem", "note", 15),
    ]
    return shapes, TOP + BAR_HEIGHT + FOOT, lambda x: TOP


def _from_lines(lines: HullLines, top: float = TOP) -> tuple[list[Shape], float, Sheer]:
    """The lines fair through their stations, the stations in hairline with their names, all to one scale."""
    heights = [point.height_mm for section in lines.sections for point in section.points]
    first, last = lines.sections[0], lines.sections[-1]
    along = Axis(first.x_mm, last.x_mm, STEM, TRANSOM)
    scale = (TRANSOM - STEM) / lines.length_mm
    bottom = top + (max(heights) - min(heights)) * scale

    def at(x_mm: float, height_mm: float) -> Point:
        return along.at(x_mm), bottom - (height_mm - min(heights)) * scale

    curves = {name: [at(*point) for point in faired_line(lines.points(name), STEPS)] for name in lines.names}
    shapes: list[Shape] = []
    for section in lines.sections:
        (x, low), (_, high) = (at(section.x_mm, section.points[end].height_mm) for end in (0, -1))
        shapes += [Line(x, high, x, low, "hairline"), Text(x, bottom + 18, section.station, "figure", 13, "middle")]
    shapes += [Polyline(tuple(curve), "ink" if name in (KEEL, SHEER) else "line") for name, curve in curves.items()]
    for section in (first, last):
        ends = [at(section.x_mm, section.points[end].height_mm) for end in (0, -1)]
        shapes.append(Line(*ends[0], *ends[1], "ink"))
    shapes += [Text(STEM, bottom + 38, "stem", "note", 15), Text(TRANSOM, bottom + 38, "transom", "note", 15, "end")]
    return shapes, bottom + FOOT, lambda x: _height_on(curves[SHEER], x)


def _height_on(curve: Sequence[Point], x: float) -> float:
    for (x1, y1), (x2, y2) in pairwise(curve):
        if x <= x2:
            return y1 + (y2 - y1) * (x - x1) / (x2 - x1)
    return curve[-1][1]


def _tick(number: int, name: str, state: StageState, sheer_at: Sheer) -> list[Shape]:
    x = FIRST + PITCH * number
    y = sheer_at(x)
    raised = 22 if number % 2 else 0
    shapes: list[Shape] = [
        Line(x, y - 22 - raised, x, y + 12, "line" if state != "not begun" else "hairline"),
        disc(x, y, 8, "hollow"),
    ]
    if state == "done":
        shapes.append(disc(x, y, 8, "solid"))
    elif state == "under way":
        shapes.append(half_disc(x, y, 8, "solid"))
    shapes += [
        Text(x, y + 26, str(number), "figure-told" if state != "not begun" else "figure", 14, "middle"),
        Text(x, y - 28 - raised, name, "label" if state != "not begun" else "note", 17, "middle"),
    ]
    return shapes
