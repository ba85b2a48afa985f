"""A plan of a strip costs little more than the sums it is made of, so a tablet or a page may ask for it freely."""

from collections.abc import Callable
from math import log
from time import perf_counter

import pytest

from hullbook.calc.flow import Feed, Pull, Section, Strip, fill

SECTIONS = tuple(Section(f"{n}", 0.15, 6.0 + n % 3, 0.5, 8e-10 / (1 + n % 4), 0.05) for n in range(20))
EIGHT_LINES = Strip(SECTIONS, tuple(Feed(0.375 * n, 0.375 * n) for n in range(8)))
PULL = Pull(95_000.0, 0.2, 1080.0)


def plan() -> None:
    """Arrival at the flange, every opening, and the resin drawn a minute after each."""
    run = fill(EIGHT_LINES, PULL)
    for opening in run.openings:
        run.demand_kg_min_m(opening.minute + 1)


def closed_form() -> float:
    """The same sections fed from one line: the integral of (A + B s) / (C - D s) over each, as a textbook writes it."""
    minutes, resistance, pull = 0.0, 0.0, PULL.driving_pressure_pa
    weight = PULL.liquid_resin_density_kg_m3 * 9.80665
    for section in SECTIONS:
        thickness_m = section.thickness_mm / 1000
        per_m = 1 / (section.permeability_m2 * thickness_m)
        lost = weight * section.rise_m
        loss_per_m = lost / section.length_m
        along = (resistance + per_m * pull / loss_per_m) * log(pull / (pull - lost)) - per_m * section.length_m
        minutes += PULL.viscosity_pa_s / 60 * section.porosity * thickness_m * along / loss_per_m
        resistance += per_m * section.length_m
        pull -= lost
    return minutes


def seconds(call: Callable[[], object], times: int) -> float:
    begun = perf_counter()
    for _ in range(times):
        call()
    return (perf_counter() - begun) / times


def test_a_plan_of_eight_lines_costs_less_than_twenty_closed_forms(capsys: pytest.CaptureFixture[str]) -> None:
    assert fill(Strip(SECTIONS, (Feed(0.0, 0.0),)), PULL).fill_minutes == pytest.approx(closed_form())
    # In turn, and the quickest of each: whatever else the machine does slows both alike or is left out.
    rounds = [(seconds(plan, 20), seconds(closed_form, 200)) for _ in range(60)]
    planned, summed = (min(times) for times in zip(*rounds, strict=True))
    with capsys.disabled():
        print(f"\nplan of 20 sections and 8 lines: {planned / summed:.1f} times one evaluation of the closed form")
    assert planned < 20 * summed
