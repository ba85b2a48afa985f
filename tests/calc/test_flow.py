"""The front against quadrature, an ODE solver and finite elements (scipy, scikit-fem), and what must always hold."""

import math
from bisect import bisect_right
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.optimize import minimize, minimize_scalar
from skfem import Basis, BilinearForm, ElementLineP1, FacetBasis, LinearForm, MeshLine, condense, solve

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.flow import (
    Feed,
    Fill,
    Piece,
    Pull,
    Section,
    Strip,
    best_bays,
    best_feeds,
    driving_pressure_pa,
    equal_feeds,
    fill,
    fill_1d_minutes,
    fill_constant_min_m2,
    fill_inclined_minutes,
    fill_radial_minutes,
    fill_series_minutes,
    greatest_lift_m,
    head_mbar,
    hose_resistance_1_m3,
    hose_shares,
    lines_enough,
    share_of_minutes,
    staged_front_m,
    staged_minutes,
    thickened_minutes,
)
from hullbook.calc.reference import check_values
from hullbook.calc.vacuum import standard_atmosphere_mbar

SHARED = Path(__file__).parents[2] / "shared"
GRAVITY = 9.80665

SANDWICH = Section("sandwich", 2.70, 6.0, 0.5133, 7.917e-10)
KEEL = Section("keel", 0.30, 8.0, 0.47, 2.0e-10)
SIDE = Section("sandwich", 1.60, 6.0, 0.5133, 7.917e-10)
FLANGE = Section("flange and brake", 0.15, 4.0, 0.50, 3.0e-11)
PULL = Pull(95_000.0, 0.2, 1080.0)
RISING = (Section("bottom", 1.2, 6.0, 0.5133, 7.917e-10, 0.18), Section("side", 1.5, 6.0, 0.5133, 7.917e-10, 1.425))


def fed(sections: tuple[Section, ...], *places: float, late_m: float = 0.0, hose: float = 0.0) -> Strip:
    return Strip(sections, tuple(Feed(place, place + (late_m if place else 0.0), hose) for place in (0.0, *places)))


sections_at_random = st.builds(
    Section,
    st.just("section"),
    st.floats(0.1, 1.5),
    st.floats(2.0, 15.0),
    st.floats(0.35, 0.8),
    st.floats(-10.7, -8.5).map(lambda power: 10**power),
    st.floats(-0.1, 0.1),
)
pulls = st.builds(Pull, st.floats(6e4, 1e5), st.floats(0.08, 0.5), st.floats(1020.0, 1150.0))


@st.composite
def strips(draw: st.DrawFn) -> Strip:
    sections = tuple(draw(st.lists(sections_at_random, min_size=1, max_size=5)))
    length = sum(section.length_m for section in sections)
    places = sorted(draw(st.lists(st.floats(0.05, 0.85), max_size=5, unique_by=lambda share: round(share, 2))))
    late = draw(st.sampled_from((0.0, 0.001, 0.005))) * length
    hose = draw(st.sampled_from((0.0, 1e8, 2e10)))
    return fed(sections, *(share * length for share in places), late_m=late, hose=hose)


class Plain:
    """The strip's coefficients place by place, straight from the definitions, for solvers to integrate."""

    def __init__(self, strip: Strip, pull: Pull) -> None:
        self.strip, self.pull = strip, pull
        self.ends = np.cumsum([section.length_m for section in strip.sections])
        self.opens = [feed.opens_front_m for feed in strip.feeds]

    def section(self, x: float) -> Section:
        return self.strip.sections[min(bisect_right(self.ends.tolist(), x), len(self.ends) - 1)]

    def along(self, x: float, amount) -> float:
        """Sum over the sections from the keel to x of what `amount` gives for a length of each."""
        starts = (0.0, *self.ends[:-1])
        return sum(
            amount(section) * min(max(x - start, 0.0), section.length_m) / section.length_m
            for section, start in zip(self.strip.sections, starts, strict=True)
        )

    def slowness(self, x: float) -> float:
        """Minutes per metre of the front at x, constant viscosity."""
        feed = self.strip.feeds[bisect_right(self.opens, x) - 1]
        against = [
            self.along(at, lambda one: one.length_m / (one.permeability_m2 * one.thickness_mm / 1000))
            for at in (x, feed.girth_m)
        ]
        pressure = self.pull.driving_pressure_pa - self.pull.liquid_resin_density_kg_m3 * GRAVITY * self.along(
            x, lambda one: one.rise_m
        )
        held = self.section(x).porosity * self.section(x).thickness_mm / 1000
        resistance = feed.hose_resistance_1_m3 + against[0] - against[1]
        return self.pull.viscosity_pa_s * held * resistance / pressure / 60

    def breaks(self) -> list[float]:
        return sorted({0.0, *self.ends.tolist(), *(at for feed in self.strip.feeds for at in (feed.opens_front_m,))})


@pytest.mark.parametrize("row", check_values(SHARED, "flow"), ids=lambda row: f"{row['check']} {row['quantity']}")
def test_a_flow_sum_agrees_with_its_check_value(row):
    assert agrees(row, found(row))


# ---- Against general-purpose libraries


@settings(max_examples=25, deadline=None)
@given(strips(), pulls)
def test_the_front_takes_the_time_that_quadrature_gives(strip, pull):
    plain, minutes = Plain(strip, pull), 0.0
    run = fill(strip, pull)
    for start, end in pairwise(plain.breaks()):
        minutes += quad(plain.slowness, start, math.nextafter(end, 0), epsabs=0, epsrel=1e-10)[0]
        assert run.minute_at(end) == pytest.approx(minutes, rel=1e-7)
    assert run.fill_minutes == pytest.approx(minutes, rel=1e-7)


@settings(max_examples=15, deadline=None)
@given(strips(), pulls, st.floats(0.2, 0.9))
def test_resin_that_thickens_arrives_when_an_ode_solver_says(strip, pull, share):
    """dt/dx = slowness(x) exp(k t), with k such that the resin would stop at 1/share of what fills the strip."""
    k = share / fill(strip, pull).fill_minutes
    run = fill(strip, Pull(pull.driving_pressure_pa, pull.viscosity_pa_s, pull.liquid_resin_density_kg_m3, k))
    plain, minutes = Plain(strip, pull), [0.0]
    for start, end in pairwise(plain.breaks()):
        inside = math.nextafter(end, 0)
        solved = solve_ivp(
            lambda x, t, inside=inside: [plain.slowness(min(x, inside)) * math.exp(k * t[0])],
            (start, end),
            minutes,
            rtol=1e-9,
            atol=1e-9,
        )
        minutes = [solved.y[0, -1]]
        assert run.minute_at(end) == pytest.approx(minutes[0], rel=1e-5)


@pytest.mark.parametrize(
    "strip",
    [
        fed((KEEL, SIDE, FLANGE)),
        fed((KEEL, SIDE, FLANGE), hose=hose_resistance_1_m3(3, 12, 5)),
        fed(RISING, 0.9, 1.8, late_m=0.03),
        fed((KEEL, *RISING), 0.5, 1.4, hose=2e10),
    ],
)
@pytest.mark.parametrize("share", [0.1, 0.35, 0.6, 0.85, 1.0])
def test_the_resin_drawn_is_the_flux_that_finite_elements_give(strip, share):
    """(K H / mu)(p' + rho g z') is the same all along from the open line to the front (scikit-fem, 1-D).

    p is nought at the front; at the line a hose lets in (pull - p) / (mu R), without one p is the pull less its head.
    """
    run, plain = fill(strip, PULL), Plain(strip, PULL)
    front = share * strip.length_m
    minute = run.minute_at(front) * (1 - 1e-12)
    feed = strip.feeds[bisect_right(plain.opens, math.nextafter(front, 0)) - 1]
    inner = [end for end in plain.ends.tolist() if feed.girth_m < end < front]
    mesh = MeshLine(np.unique(np.concatenate([np.linspace(feed.girth_m, front, 41), inner])))
    basis = Basis(mesh, ElementLineP1())

    def at_points(x, value):
        return np.vectorize(lambda place: value(plain.section(place)))(x)

    def conductance(section: Section) -> float:
        return section.permeability_m2 * section.thickness_mm / 1000 / PULL.viscosity_pa_s

    weight = PULL.liquid_resin_density_kg_m3 * GRAVITY

    @BilinearForm
    def laplace(u, v, w):
        return at_points(w.x[0], conductance) * u.grad[0] * v.grad[0]

    @LinearForm
    def head(v, w):
        return -at_points(w.x[0], lambda one: conductance(one) * weight * one.rise_m / one.length_m) * v.grad[0]

    matrix, load = laplace.assemble(basis), head.assemble(basis)
    foot = basis.get_dofs(lambda x: x[0] <= feed.girth_m).all()
    end = basis.get_dofs(lambda x: x[0] >= front).all()
    at_line = PULL.driving_pressure_pa - weight * plain.along(feed.girth_m, lambda one: one.rise_m)
    pressure = np.zeros(basis.N)
    if feed.hose_resistance_1_m3:
        let_in = 1 / (PULL.viscosity_pa_s * feed.hose_resistance_1_m3)
        edge = FacetBasis(mesh, ElementLineP1(), facets=mesh.facets_satisfying(lambda x: x[0] <= feed.girth_m))
        matrix = matrix + BilinearForm(lambda u, v, w: let_in * u * v).assemble(edge)
        load = load + LinearForm(lambda v, w: let_in * at_line * v).assemble(edge)
        solution = solve(*condense(matrix, load, x=pressure, D=end))
        flux = let_in * (at_line - solution[foot[0]])
    else:
        pressure[foot] = at_line
        solution = solve(*condense(matrix, load, x=pressure, D=np.concatenate([foot, end])))
        flux = (matrix @ solution - load)[foot[0]]
    drawn_kg_min = flux * PULL.liquid_resin_density_kg_m3 * 60
    assert run.demand_kg_min_m(minute) == pytest.approx(drawn_kg_min, rel=1e-6)


@pytest.mark.parametrize("rise", [0.0, 1e-12, 1e-7, 1e-4, 0.009, 0.0091, 0.1, 0.5, 0.999, -1e-6, -0.4])
def test_the_closed_form_keeps_its_digits_however_small_the_head(rise):
    strip = fed((Section("slope", 1.0, 6.0, 0.5, 8e-10, rise),), 0.3)
    slowness = Plain(strip, PULL).slowness
    wanted = sum(quad(slowness, *ends, epsabs=0, epsrel=1e-13)[0] for ends in ((0, math.nextafter(0.3, 0)), (0.3, 1.0)))
    assert fill(strip, PULL).fill_minutes == pytest.approx(wanted, rel=3e-12)


@given(st.floats(0.005, 0.1), st.floats(0.15, 2.0))
def test_a_round_front_takes_what_quadrature_gives_both_ways(small, large):
    """mu eps r ln(r/r0) / (K pull) minutes per metre, outwards; inwards with R / r."""
    c = fill_constant_min_m2(0.2, 0.5, 2e-10, 95_000)
    out = quad(lambda r: 2 * c * r * math.log(r / small), small, large, epsrel=1e-11)[0]
    into = quad(lambda r: 2 * c * r * math.log(large / r), small, large, epsrel=1e-11)[0]
    assert fill_radial_minutes(c, small, large) == pytest.approx(out, rel=1e-8)
    assert fill_radial_minutes(c, large, small) == pytest.approx(into, rel=1e-8)


@pytest.mark.parametrize("angle", [5, 30, 60, 90])
def test_the_run_uphill_is_that_of_its_closed_form(angle):
    section = Section("slope", 1.8, 6.0, 0.5133, 7.917e-10, 1.8 * math.sin(math.radians(angle)))
    c = fill_constant_min_m2(0.2, 0.5133, 7.917e-10, 95_000)
    on_paper = fill_inclined_minutes(c, 1.8, greatest_lift_m(95_000, 1080), angle)
    assert fill(fed((section,)), PULL).fill_minutes == pytest.approx(on_paper, rel=1e-9)


# ---- Worked figures that are not one number of one function; recomputed independently


def test_resin_taken_is_straight_in_each_section():
    run = fill(fed((KEEL, SIDE, FLANGE)), PULL)
    taken = [run.resin_kg_m(front) for front in (0.30, 1.00, 1.90, 2.05)]
    assert taken == pytest.approx([1.218, 3.547, 6.540, 6.864], rel=1e-3)


def test_three_lines_are_reached_and_fed_as_worked_out():
    run = fill(fed((SANDWICH,), 0.9, 1.8), PULL)
    seconds = (60, 300, 552.8, 600, 900, 1200, 1500)
    fronts = [run.front_m_at(second / 60) for second in seconds]
    assert fronts == pytest.approx([0.2965, 0.6630, 0.9000, 1.163, 1.613, 2.172, 2.560], rel=1e-3)
    kg = [run.resin_kg_m(front) for front in fronts]
    assert kg == pytest.approx([0.9862, 2.205, 2.994, 3.868, 5.366, 7.224, 8.516], rel=1e-3)
    assert [(one.feed, one.front_m) for one in run.openings] == [(0, 0.0), (1, 0.9), (2, 1.8)]
    demands = [run.demand_kg_min_m(run.openings[1].minute + after / 60) for after in (10, 60, 300)]
    assert demands == pytest.approx([1.208, 0.4931, 0.2205], rel=1e-3)
    assert 2.9935 / run.openings[1].minute == pytest.approx(0.3249, rel=1e-3)  # a bay's kg over its minutes


def test_the_hose_bounds_the_first_rush():
    bay = Section("sandwich", 0.9, 6.0, 0.5133, 7.917e-10)
    run = fill(fed((bay,), hose=hose_resistance_1_m3(3, 12, 5)), PULL)
    assert 5 * run.demand_kg_min_m(0) == pytest.approx(5.222, rel=1e-3)


def hose_and_bay_seconds(sides: int) -> float:
    """An ODE of the whole: `sides` strips of the same bay, 5 m wide each, draw through one hose of 3 m, 12 mm bore."""
    bay, width_m = Section("sandwich", 0.9, 6.0, 0.5133, 7.917e-10), 5.0
    hose = 128 * PULL.viscosity_pa_s * 3 / (math.pi * 0.012**4)  # Pa s/m3, Hagen-Poiseuille
    section_m2 = width_m * bay.thickness_mm / 1000

    def speed(_, way):
        laminate = PULL.viscosity_pa_s * way / (bay.permeability_m2 * section_m2)
        flow_of_a_side = PULL.driving_pressure_pa / (sides * hose + laminate)
        return flow_of_a_side / (bay.porosity * section_m2)

    def there(_, way):
        return way[0] - bay.length_m

    there.terminal = True
    return solve_ivp(speed, (0, 1e4), [0.0], events=there, rtol=1e-9, atol=1e-12).t_events[0][0]


@pytest.mark.parametrize(("sides", "seconds"), [(1, 724.8), (2, 896.8)])
def test_a_hose_whose_inlet_feeds_both_sides_counts_double(sides, seconds):
    bay = Section("sandwich", 0.9, 6.0, 0.5133, 7.917e-10)
    run = fill(fed((bay,), hose=hose_resistance_1_m3(3, 12, 5 * sides)), PULL)
    assert run.fill_minutes * 60 == pytest.approx(hose_and_bay_seconds(sides), rel=1e-6)
    assert run.fill_minutes * 60 == pytest.approx(seconds, rel=1e-3)


@pytest.mark.parametrize(("bore_mm", "longer"), [(12, 1.311), (16, 1.098)])
def test_a_hose_lengthens_an_even_bay_by_twice_its_share(bore_mm, longer):
    """607.2 and 724.8 s against 552.8 s without hose (recomputed independently); the second bay is twice as long."""
    bays = Section("sandwich", 2.7, 6.0, 0.5133, 7.917e-10)
    hose = hose_resistance_1_m3(3, bore_mm, 5)
    first, second = hose_shares(Strip((bays,), (Feed(0.0, 0.0, hose), Feed(0.9, 0.9, hose))))
    assert 1 + first == pytest.approx(longer, rel=1e-3)
    assert second == pytest.approx(first / 2)


def test_each_section_answers_for_a_share_of_the_minutes():
    """The brake slows itself alone, mu eps L^2 / (2 K dp) = 394.7 of 4641 s; all shares and the hose make the whole."""
    strip = fed((KEEL, SIDE, FLANGE))
    assert share_of_minutes(strip, PULL, {"flange and brake"}) == pytest.approx(394.7 / 4641, rel=1e-3)
    names = ("keel", "sandwich", "flange and brake")
    assert sum(share_of_minutes(strip, PULL, {name}) for name in names) == pytest.approx(1.0)
    assert share_of_minutes(strip, PULL, names) == pytest.approx(1.0)
    assert share_of_minutes(strip, PULL, ()) == 0.0
    bay = fed((Section("sandwich", 0.9, 6.0, 0.5133, 7.917e-10),), hose=hose_resistance_1_m3(3, 12, 5))
    assert share_of_minutes(bay, PULL, {"sandwich"}) == pytest.approx(552.8 / 724.8, rel=1e-3)


def test_lines_moved_keep_each_its_own_hose():
    strip = Strip((SANDWICH,), (Feed(0.0, 0.0, 4e10), Feed(1.5, 1.5, 2e10)))
    assert [feed.hose_resistance_1_m3 for feed in equal_feeds(strip, 3).feeds] == [4e10, 2e10, 2e10]
    best = best_feeds(strip, PULL, 2)
    assert [feed.hose_resistance_1_m3 for feed in best.feeds] == [4e10, 2e10]

    def minutes_at(place):
        return minutes_of(replace(strip, feeds=(strip.feeds[0], Feed(place, place, 2e10))))

    found = minimize_scalar(minutes_at, bounds=(0.1, 2.6), method="bounded")
    assert best.feeds[1].girth_m == pytest.approx(found.x, abs=0.006)
    assert minutes_of(best) == pytest.approx(found.fun, rel=1e-4)


def test_bays_of_unlike_resistance_fill_soonest_when_their_products_are_alike():
    bays = best_bays(2.70, (11.375, 11.375, 17.5))
    assert bays.lengths_m == pytest.approx([1.019, 1.019, 0.6623], rel=1e-3)
    slower = Section("upper", 0.9, 6.0, 0.5133, 7.917e-10 * 11.375 / 17.5)
    strip = (Section("lower", 1.8, 6.0, 0.5133, 7.917e-10), slower)
    equal = fill(fed(strip, 0.9, 1.8), PULL)
    assert (bays.minutes * 60, equal.fill_minutes * 60) == pytest.approx((1878, 1956), rel=1e-3)


def test_a_shop_up_in_the_hills_fills_slower():
    """Bag at 20 mbar, 1000 m up against the sea: 1.130 times as long (standard atmosphere, recomputed)."""

    def minutes(altitude_m):
        pull = Pull(driving_pressure_pa(standard_atmosphere_mbar(altitude_m), 20), 0.2, 1080.0)
        return fill(fed((SANDWICH,)), pull).fill_minutes

    assert minutes(1000) / minutes(0) == pytest.approx(1.130, rel=1e-3)


def test_the_front_runs_ever_slower():
    """17.81 mm/min half a metre from the line: K pull / (viscosity porosity x), recomputed."""
    run = fill(fed((Section("laminate", 1.0, 6.0, 0.48, 1.5e-10),)), PULL)
    assert 2 / (run.minute_at(0.501) - run.minute_at(0.499)) == pytest.approx(17.81, rel=1e-3)


def test_height_and_a_point_inlet_cost_time_against_a_level_front_from_a_line():
    """Recomputed with an ODE solver: uphill to 1.0, 1.8 and 2.7 m; outwards from 10 mm to 0.10, 0.25 and 0.50 m."""
    upright, flat = fill_constant_min_m2(0.2, 0.5133, 7.917e-10, 95_000), fill_constant_min_m2(0.2, 0.5, 2e-10, 95_000)
    lift = greatest_lift_m(95_000, 1080)
    uphill = [fill_inclined_minutes(upright, way, lift, 90) / fill_1d_minutes(upright, way) for way in (1.0, 1.8, 2.7)]
    assert uphill == pytest.approx([1.081, 1.158, 1.261], rel=1e-3)
    outwards = [fill_radial_minutes(flat, 0.01, r) / fill_1d_minutes(flat, r) for r in (0.10, 0.25, 0.50)]
    assert outwards == pytest.approx([1.808, 2.720, 3.412], rel=1e-3)


def test_a_column_of_resin_takes_its_head_off_the_pull_and_a_front_closes_on_a_vent_within_a_limit():
    """By hand and quadrature: 95 kPa less 1.8 m of resin is 75.94; from 0.5 m inwards it takes 328.9 s at most."""
    assert 95 - head_mbar(1.8, 1080) / 10 == pytest.approx(75.94, rel=1e-3)
    c = fill_constant_min_m2(0.2, 0.5, 2e-10, 95_000)
    assert 60 * fill_radial_minutes(c, 0.5, 0.01) == pytest.approx(327.8, rel=1e-3)
    assert 60 * fill_radial_minutes(c, 0.5, 1e-5) == pytest.approx(328.9, rel=1e-3)


def test_resistances_of_sections_add_up_along_the_way():
    """Sum of length / (permeability x thickness) at each joint and at the end: 1.875e11, 5.243e11, 1.774e12 1/m2."""
    pieces = fill(fed((KEEL, SIDE, FLANGE)), PULL).pieces
    passed = [piece.resistance + piece.resistance_per_m * piece.length_m for piece in pieces]
    assert passed == pytest.approx([1.875e11, 5.243e11, 1.774e12], rel=1e-3)


@given(st.integers(1, 8), st.floats(0.5, 6.0), st.floats(0.0, 0.9))
def test_staged_lines_take_what_their_closed_form_says(lines, length, late_share):
    section = Section("even", length, 6.0, 0.5133, 7.917e-10)
    late = late_share * length / lines
    strip = fed((section,), *(length * n / lines for n in range(1, lines)), late_m=late)
    c = fill_constant_min_m2(0.2, 0.5133, 7.917e-10, 95_000)
    assert fill(strip, PULL).fill_minutes == pytest.approx(staged_minutes(c, length, lines, late), rel=1e-9)


@given(st.lists(sections_at_random, min_size=1, max_size=6), st.floats(0.0, 1e11))
def test_level_sections_in_series_take_what_their_closed_form_says(sections, hose):
    level = tuple(
        Section("level", *(one.length_m, one.thickness_mm, one.porosity, one.permeability_m2)) for one in sections
    )
    assert fill(fed(level, hose=hose), PULL).fill_minutes == pytest.approx(fill_series_minutes(level, PULL, hose))


# ---- What must always hold


@settings(deadline=None)
@given(strips(), pulls, st.floats(0.0, 1.0))
def test_when_and_where_are_each_others_inverse(strip, pull, share):
    plain = fill(strip, pull)
    thick = fill(strip, Pull(*(pull.driving_pressure_pa, pull.viscosity_pa_s, 1080.0), 0.5 / plain.fill_minutes))
    for run in (plain, thick):
        front = share * run.length_m
        assert run.front_m_at(run.minute_at(front)) == pytest.approx(front, abs=1e-7)
        minute = share * run.fill_minutes
        assert run.minute_at(run.front_m_at(minute)) == pytest.approx(minute, rel=1e-7, abs=1e-9)
        assert run.front_m_at(run.fill_minutes) == run.length_m == run.front_m_at(run.fill_minutes + 60)


@given(st.sampled_from((1e-15, 1e-9, 1e-3, 1.0)), st.floats(0.0, 2.0), st.sampled_from((-5e3, 5e3)))
def test_a_piece_is_never_left_however_short_it_is(length, share, loss):
    """Minutes summed over a strip are rounded, so a short piece may be asked about more than it takes."""
    piece = Piece(0.0, length, 0.0, 0.0, 1.0, 1e-8, 1e10, 1e11, 9e4, loss)
    distance = piece.distance_in(share * piece.minutes_over(length))
    assert distance == pytest.approx(length if share >= 1 else distance)
    assert piece.minutes_over(distance) == pytest.approx(min(share, 1.0) * piece.minutes_over(length), rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(strips(), pulls, st.floats(0.1, 0.9))
def test_what_is_drawn_is_what_the_strip_holds(strip, pull, share):
    """The demand, summed over time by quadrature (minutes as a square after each opening), is the resin taken."""
    k = 0.4 / fill(strip, pull).fill_minutes
    run = fill(strip, Pull(pull.driving_pressure_pa, pull.viscosity_pa_s, pull.liquid_resin_density_kg_m3, k))
    until = share * run.fill_minutes
    cuts = [piece.start_m for piece in run.pieces]
    minutes = [minute for minute in map(run.minute_at, cuts) if minute < until] + [until]
    drawn = sum(
        quad(lambda root, start=start: run.demand_kg_min_m(start + root**2) * 2 * root, 1e-9, (end - start) ** 0.5)[0]
        for start, end in pairwise(minutes)
        if end - start > 1e-12  # a joint and a line in one place, but for rounding
    )
    assert drawn == pytest.approx(run.resin_kg_m(run.front_m_at(until)), rel=1e-4)


@settings(deadline=None)
@given(strips(), pulls, st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_further_means_later_and_more_resin(strip, pull, one, other):
    run = fill(strip, pull)
    near, far = sorted((one * run.length_m, other * run.length_m))
    assert run.minute_at(near) <= run.minute_at(far)
    assert run.resin_kg_m(near) <= run.resin_kg_m(far)
    held = sum(1.08 * section.length_m * section.thickness_mm * section.porosity for section in strip.sections)
    assert run.resin_kg_m(run.length_m) == pytest.approx(held * pull.liquid_resin_density_kg_m3 / 1080)


@settings(deadline=None)
@given(strips(), pulls, st.floats(1.001, 2.0))
def test_thicker_resin_is_slower_and_more_pull_is_quicker(strip, pull, factor):
    density, k = pull.liquid_resin_density_kg_m3, pull.thickening_per_min
    run = fill(strip, pull)
    thicker = fill(strip, Pull(pull.driving_pressure_pa, factor * pull.viscosity_pa_s, density, k))
    weaker = fill(strip, Pull(pull.driving_pressure_pa / factor, pull.viscosity_pa_s, density, k))
    assert thicker.fill_minutes == pytest.approx(factor * run.fill_minutes)
    assert weaker.fill_minutes > run.fill_minutes
    for share in (0.25, 0.5, 0.75):
        assert thicker.minute_at(share * run.length_m) > run.minute_at(share * run.length_m)
        assert weaker.minute_at(share * run.length_m) > run.minute_at(share * run.length_m)


@settings(deadline=None)
@given(sections_at_random, pulls, st.integers(1, 12))
def test_one_more_line_at_equal_bays_is_never_slower(section, pull, lines):
    even = fed((Section("even", section.length_m, section.thickness_mm, section.porosity, section.permeability_m2),))
    fewer, more = (fill(equal_feeds(even, n), pull).fill_minutes for n in (lines, lines + 1))
    assert more <= fewer * (1 + 1e-12)
    assert more * (lines + 1) == pytest.approx(fewer * lines)


@settings(deadline=None)
@given(strips(), pulls, st.floats(0.01, 0.99))
def test_a_line_added_where_the_front_passes_it_is_never_slower(strip, pull, share):
    place = share * strip.length_m
    assume(all(abs(place - at) > 1e-6 for feed in strip.feeds for at in (feed.girth_m, feed.opens_front_m)))
    assume(not any(feed.girth_m < place < feed.opens_front_m for feed in strip.feeds))
    added = Feed(place, place, strip.feeds[0].hose_resistance_1_m3)
    more = Strip(strip.sections, tuple(sorted((*strip.feeds, added), key=lambda feed: feed.girth_m)))
    assert fill(more, pull).fill_minutes <= fill(strip, pull).fill_minutes * (1 + 1e-12)


def test_slow_material_beside_the_inlet_is_dear():
    keel_first, sandwich_first = (fill(fed(order), PULL).fill_minutes for order in ((KEEL, SIDE), (SIDE, KEEL)))
    assert (keel_first * 60, sandwich_first * 60) == pytest.approx((3915, 2770), rel=1e-3)


# ---- Where lines go


def minutes_of(strip: Strip) -> float:
    return fill(strip, PULL).fill_minutes


@pytest.mark.parametrize("sections", [(SANDWICH,), RISING, (KEEL, SIDE, FLANGE), (SIDE, KEEL, SIDE)])
@pytest.mark.parametrize("lines", [2, 3, 5])
def test_no_minimiser_finds_much_better_places_than_the_best(sections, lines):
    """Powell's method (scipy) started at the places found, at equal bays and at random ones."""
    strip = fed(sections)
    best = best_feeds(strip, PULL, lines)
    length = strip.length_m

    def at(weights):
        ends = np.cumsum([*weights, 1.0])
        return fed(sections, *(length * ends[:-1] / ends[-1]).tolist())

    girths = [*(feed.girth_m for feed in best.feeds), length]
    bays = np.diff(girths) / (length - girths[-2])
    starts = (bays[:-1], np.ones(lines - 1), np.random.default_rng(7).uniform(0.3, 3.0, lines - 1))
    for start in starts:
        tried = minimize(lambda w: minutes_of(at(w)), start, method="Powell", bounds=[(0.02, 50.0)] * (lines - 1))
        assert minutes_of(best) <= tried.fun * 1.002
    assert minutes_of(best) <= minutes_of(equal_feeds(strip, lines))


def test_on_an_even_level_strip_equal_bays_are_best():
    best = best_feeds(fed((SANDWICH,)), PULL, 3)
    assert [feed.girth_m for feed in best.feeds] == pytest.approx([0.0, 0.9, 1.8])


def test_height_moves_the_lines_up_a_little_and_gains_next_to_nothing():
    best = best_feeds(fed(RISING), PULL, 3)
    assert [feed.girth_m for feed in best.feeds] == pytest.approx([0.0, 0.933, 1.840], abs=0.006)
    assert minutes_of(best) / minutes_of(equal_feeds(fed(RISING), 3)) == pytest.approx(0.99886, abs=2e-4)


def test_lines_are_enough_when_the_fill_comes_within_the_limit():
    strip = fed((SANDWICH,))
    assert [lines_enough(strip, PULL, limit, 6) for limit in (90, 82.9, 28, 27.6, 13)] == [1, 2, 3, 4, None]
    thickening = Pull(95_000, 0.2, 1080, math.log(2) / 30)
    assert lines_enough(strip, thickening, 45, 6) == 3
    assert lines_enough(strip, thickening, 44, 6) == 4


# ---- What is refused


def refused(key: str, said: str, call, *arguments) -> None:
    with pytest.raises(InputRefused, match=said) as refusal:
        call(*arguments)
    assert refusal.value.key == key


def test_a_height_out_of_reach_is_refused_with_how_far_the_pull_lifts():
    wall = fed((Section("wall", 12.0, 6.0, 0.5, 8e-10, 11.0),))
    refused("impossible", "lifts it 8.97 m at most", fill, wall, PULL)
    refused("impossible", "lifts it 8.97 m at most", lines_enough, wall, PULL, 60, 4)
    just = fed((Section("wall", 8.969, 6.0, 0.5, 8e-10, 8.969),))
    assert math.isfinite(fill(just, PULL).fill_minutes)


def test_resin_that_thickens_too_soon_is_refused_with_where_it_stops():
    """At c = 11.375 min/m2 and a viscosity doubled every 30 min the front stops at 1.951 m."""
    refused("impossible", "stops at 1.95 m", fill, fed((SANDWICH,)), Pull(95_000, 0.2, 1080, math.log(2) / 30))
    refused("impossible", "43.28 min", thickened_minutes, 44, math.log(2) / 30)


@pytest.mark.parametrize(
    ("key", "call"),
    [
        ("not_positive", lambda: Section("none", 0.0, 6.0, 0.5, 1e-10)),
        ("not_positive", lambda: Section("none", 1.0, 6.0, 0.5, 0.0)),
        ("unit_suspect", lambda: Section("darcy", 1.0, 6.0, 0.5, 150.0)),
        ("unit_suspect", lambda: Section("open", 1.0, 6.0, 0.5, 1e-5)),
        ("impossible", lambda: Section("tight", 1.0, 6.0, 0.5, 1e-20)),
        ("unit_suspect", lambda: Section("percent", 1.0, 6.0, 51.33, 1e-10)),
        ("impossible", lambda: Section("steep", 1.0, 6.0, 0.5, 1e-10, 1.2)),
        ("impossible", lambda: Feed(0.9, 0.8)),
        ("negative", lambda: Feed(0.9, 0.9, -1.0)),
        ("not_positive", lambda: Pull(0.0, 0.2, 1080.0)),
        ("not_positive", lambda: Pull(95_000.0, 0.0, 1080.0)),
        ("unit_suspect", lambda: Pull(950.0, 0.2, 1080.0)),
        ("unit_suspect", lambda: Pull(95.0, 0.2, 1080.0)),
        ("impossible", lambda: Pull(2e6, 0.2, 1080.0)),
        ("unit_suspect", lambda: Pull(95_000.0, 200.0, 1080.0)),
        ("unit_suspect", lambda: Pull(95_000.0, 0.0002, 1080.0)),
        ("unit_suspect", lambda: Pull(95_000.0, 0.2, 1.08)),
        ("impossible", lambda: Pull(95_000.0, 0.2, 108.0)),
        ("negative", lambda: Pull(95_000.0, 0.2, 1080.0, -0.1)),
        ("missing", lambda: Strip((), (Feed(0, 0),))),
        ("missing", lambda: Strip((SANDWICH,), ())),
        ("inconsistent", lambda: Strip((SANDWICH,), (Feed(0, 0.1),))),
        ("inconsistent", lambda: fed((SANDWICH,), 1.8, 0.9)),
        ("inconsistent", lambda: fed((SANDWICH,), 2.7)),
        ("not_positive", lambda: equal_feeds(fed((SANDWICH,)), 0)),
        ("impossible", lambda: equal_feeds(fed((SANDWICH,)), 2.5)),
        ("impossible", lambda: best_feeds(fed((SANDWICH,)), PULL, 2.5)),
        ("impossible", lambda: lines_enough(fed((SANDWICH,)), PULL, 13, 2.5)),
        ("not_positive", lambda: lines_enough(fed((SANDWICH,)), PULL, 13, 0)),
        ("impossible", lambda: best_feeds(fed((KEEL,)), PULL, 31)),
        ("not_positive", lambda: staged_minutes(11.375, 2.7, 0)),
        ("not_positive", lambda: staged_front_m(11.375, 2.7, 0, 5.0)),
        ("impossible", lambda: staged_front_m(11.375, 2.7, 1.5, 5.0)),
        ("impossible", lambda: staged_minutes(11.375, 2.7, 3, 1.0)),
        ("negative", lambda: staged_front_m(11.375, 2.7, 3, -1.0)),
        ("impossible", lambda: fill_inclined_minutes(11.375, 9.0, 8.97, 90)),
        ("not_positive", lambda: fill_inclined_minutes(11.375, 1.0, 8.97, 0)),
    ],
)
def test_what_cannot_be_is_refused(key, call):
    refused(key, "is not accepted", call)


@pytest.mark.parametrize(
    ("station", "bag", "key"),
    [(450, 20, "impossible"), (1013, 1013, "impossible"), (1013, -5, "negative"), (1013, 965, "unit_suspect")],
)
def test_a_bag_that_does_not_pull_is_refused(station, bag, key):
    refused(key, "bag|station", driving_pressure_pa, station, bag)


def outside(run: Fill):
    return [
        ("impossible", run.minute_at, -0.01),
        ("impossible", run.minute_at, run.length_m + 0.01),
        ("impossible", run.resin_kg_m, run.length_m + 0.01),
        ("negative", run.front_m_at, -1.0),
        ("negative", run.demand_kg_min_m, -1.0),
        ("impossible", run.demand_kg_min_m, 0.0),
    ]


def test_a_run_is_asked_only_about_its_own_strip_and_time():
    run = fill(fed((SANDWICH,)), PULL)
    for key, call, at in outside(run):
        refused(key, "is not accepted", call, at)
    assert run.demand_kg_min_m(run.fill_minutes) == 0.0
