"""The profile of a hull with the eleven stages of its build marked along it, as a lines plan marks stations."""

from collections.abc import Sequence
from typing import Literal

from hullbook.drawings.scene import Line, LineRole, Point, Polyline, Scene, Shape, Text, disc, half_disc

StageState = Literal["done", "under way", "not begun"]

STAGES = ("Mould", "Skin", "Core", "Bag", "Hold", "Pour", "Gel", "Cure", "Hardness", "Demould", "Survey")

WIDTH, HEIGHT = 800.0, 236.0
FIRST, PITCH = 96.0, 61.0
Curve = tuple[Point, Point, Point, Point]
SHEER: Curve = ((18.0, 30.0), (220.0, 74.0), (520.0, 84.0), (782.0, 58.0))
STEM: Curve = ((18.0, 30.0), (36.0, 90.0), (62.0, 140.0), (128.0, 178.0))
KEEL: Curve = ((128.0, 178.0), (320.0, 206.0), (560.0, 200.0), (772.0, 184.0))
CHINE: Curve = ((66.0, 128.0), (200.0, 178.0), (520.0, 190.0), (773.0, 172.0))


def hull_profile(states: Sequence[StageState], *, hull: str) -> Scene:
    """Stem to the left. A tick is full where the stage is done, half where under way, hollow where not begun.

    Drawn from no boat's lines, and says so. Raises ValueError unless there is one state for each of the eleven stages.
    """
    if len(states) != len(STAGES):
        raise ValueError(f"a build has {len(STAGES)} stages, given were {len(states)}")
    shapes: list[Shape] = [
        _drawn(SHEER, "ink"),
        _drawn(STEM, "ink"),
        _drawn(KEEL, "ink"),
        Line(782, 58, 772, 184, "ink"),
        _drawn(CHINE, "hairline"),
        Text(6, 20, "stem", "note", 15),
        Text(WIDTH - 6, 46, "transom", "note", 15, "end"),
        Text(WIDTH - 6, HEIGHT - 8, "a plain profile, not this model's lines", "note", 15, "end"),
    ]
    for number, (name, state) in enumerate(zip(STAGES, states, strict=True)):
        shapes += _tick(number, name, state)
    desc = "Stages of the build: " + "; ".join(
        f"{number} {name} {state}" for number, (name, state) in enumerate(zip(STAGES, states, strict=True))
    )
    return Scene("hull-profile", WIDTH, HEIGHT, f"Hull {hull}: where the build stands", desc, tuple(shapes))


def _tick(number: int, name: str, state: StageState) -> list[Shape]:
    x = FIRST + PITCH * number
    y = _height_at(SHEER, x)
    lower = 20 if number % 2 else 0
    shapes: list[Shape] = [
        Line(x, y - 9, x, y + 26 + lower, "line" if state != "not begun" else "hairline"),
        disc(x, y, 8, "hollow"),
    ]
    if state == "done":
        shapes.append(disc(x, y, 8, "solid"))
    elif state == "under way":
        shapes.append(half_disc(x, y, 8, "solid"))
    shapes += [
        Text(x, y - 16, str(number), "figure-told" if state != "not begun" else "figure", 14, "middle"),
        Text(x, y + 43 + lower, name, "label" if state != "not begun" else "note", 17, "middle"),
    ]
    return shapes


def _drawn(curve: Curve, role: LineRole) -> Polyline:
    return Polyline(tuple(_on(curve, step / 40) for step in range(41)), role)


def _on(curve: Curve, t: float) -> Point:
    weights = ((1 - t) ** 3, 3 * (1 - t) ** 2 * t, 3 * (1 - t) * t**2, t**3)
    return (
        sum(weight * x for weight, (x, _) in zip(weights, curve, strict=True)),
        sum(weight * y for weight, (_, y) in zip(weights, curve, strict=True)),
    )


def _height_at(curve: Curve, x: float) -> float:
    low, high = 0.0, 1.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if _on(curve, middle)[0] < x else (low, middle)
    return _on(curve, low)[1]
