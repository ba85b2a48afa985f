"""The sheer line, the rule under the head of every page of a boat: its own, fair, with its stations ticked."""

from hullbook.calc.hull_lines import SHEER, HullLines, faired_line
from hullbook.drawings.axes import Axis
from hullbook.drawings.scene import Line, Polyline, Scene, Shape

WIDTH, HEIGHT = 1200.0, 40.0
HIGHEST, LOWEST = 3.0, 30.0
TICK = 9.0
STEPS = 80


def sheer_line(lines: HullLines) -> Scene:
    """Stem at the left. Its heights are drawn larger than its length, as far as the rule has room."""
    points = lines.points(SHEER)
    heights = [point.height_mm for point in points]
    along = Axis(points[0].x_mm, points[-1].x_mm, 0, WIDTH)
    up = Axis(min(heights), max(max(heights), min(heights) + 1), LOWEST, HIGHEST)
    curve = tuple((along.at(x), up.at(height)) for x, height in faired_line(points, STEPS))
    shapes: list[Shape] = [Polyline(curve, "ink")]
    for point in points[1:-1]:
        x, y = along.at(point.x_mm), up.at(point.height_mm)
        shapes.append(Line(x, y, x, y + TICK, "line"))
    return Scene("sheer", WIDTH, HEIGHT, "Sheer line", f"stem at the left, {len(points)} stations", tuple(shapes))
