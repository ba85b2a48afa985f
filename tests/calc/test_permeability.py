"""Stacks, grooves and trial panels, against finite elements (scikit-fem), an ODE solver and least squares (scipy)."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.optimize import curve_fit
from skfem import Basis, BilinearForm, ElementQuad1, ElementQuad2, Functional, LinearForm, MeshQuad, condense, solve

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.permeability import (
    Crossed,
    Layer,
    Trial,
    effective_medium,
    fit_trial,
    groove_conductance_m4,
    groove_layer,
    kozeny_carman_ratio,
    lag_length_m,
    m2_from_darcy,
    medium_layer,
    require_permeability,
    through_against_along,
    through_permeability_m2,
    time_band,
)
from hullbook.calc.reference import bands, check_values, start_values

SHARED = Path(__file__).parents[2] / "shared"
MESH = Layer(1.0, 0.78, 4e-9)
LAMINATE = Layer(5.0, 0.46, 1.5e-10)
MINUTES = (1.0, 2.0, 4.0, 7.0, 11.0, 16.0)
FRONTS = (0.29, 0.42, 0.60, 0.78, 0.985, 1.18)

layers = st.builds(
    Layer, st.floats(0.2, 10.0), st.floats(0.2, 0.95), st.floats(-11.0, -8.0).map(lambda power: 10**power)
)


def fitted(minutes=MINUTES, fronts=FRONTS, **changed) -> Trial:
    given_ = {"viscosity_pa_s": 0.2, "porosity": 0.5133, "driving_pressure_pa": 95_000, "hull_against_panel_sd": 0.12}
    return fit_trial(minutes, fronts, **(given_ | changed))


@pytest.mark.parametrize(
    "row", check_values(SHARED, "permeability"), ids=lambda row: f"{row['check']} {row['quantity']}"
)
def test_a_permeability_sum_agrees_with_its_check_value(row):
    assert agrees(row, found(row))


# ---- Stacks


def test_layers_side_by_side_conduct_as_finite_elements_say():
    """A lengthwise cut of mesh over laminate, pressure held at both ends (scikit-fem): flux = sum of h K x pull / L."""
    length, top = 0.6, 0.006
    mesh = MeshQuad.init_tensor(np.linspace(0, length, 25), np.linspace(0, top, 13))
    basis = Basis(mesh, ElementQuad1())

    @BilinearForm
    def flow(u, v, w):
        through = np.where(w.x[1] > 0.005, MESH.permeability_m2, LAMINATE.permeability_m2)
        return through * 1e10 * (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1])

    matrix = flow.assemble(basis)
    inlet = basis.get_dofs(lambda x: x[0] <= 0).all()
    outlet = basis.get_dofs(lambda x: x[0] >= length).all()
    pressure = np.zeros(basis.N)
    pressure[inlet] = 1.0
    flux = (matrix @ solve(*condense(matrix, x=pressure, D=np.concatenate([inlet, outlet]))))[inlet].sum() / 1e10
    one = effective_medium((MESH, LAMINATE))
    assert flux == pytest.approx(one.permeability_m2 * one.thickness_mm / 1000 / length, rel=1e-9)


@given(st.lists(layers, min_size=1, max_size=6))
def test_a_stack_conducts_no_better_than_its_best_layer_and_no_worse_than_its_worst(stack):
    permeabilities = [layer.permeability_m2 for layer in stack]
    crossed = [Crossed(layer.thickness_mm, layer.permeability_m2) for layer in stack]
    along, through = effective_medium(stack).permeability_m2, through_permeability_m2(crossed)
    assert min(permeabilities) * (1 - 1e-9) <= through <= along * (1 + 1e-9)
    assert along <= max(permeabilities) * (1 + 1e-9)
    held = sum(layer.porosity * layer.thickness_mm for layer in stack)
    assert effective_medium(stack).porosity * effective_medium(stack).thickness_mm == pytest.approx(held)


@pytest.mark.parametrize("through", [1e-12, 3e-12, 1e-11])
def test_the_lag_is_that_of_two_coupled_fronts_solved_step_by_step(through):
    """Behind a steady mesh front h1 K1 p' = h1 e1 + e2 y and e2 y y' = Kz p until y is h2, whatever the speed."""
    h1, h2 = MESH.thickness_mm / 1000, LAMINATE.thickness_mm / 1000
    start = 1e-6
    rise = math.sqrt(through * MESH.porosity / (LAMINATE.porosity * MESH.permeability_m2))

    def slopes(_, values):
        pressure, depth = values
        return [
            (h1 * MESH.porosity + LAMINATE.porosity * depth) / (h1 * MESH.permeability_m2),
            through * pressure / (LAMINATE.porosity * depth),
        ]

    def full(_, values):
        return values[1] - h2

    full.terminal = True
    first = [MESH.porosity / MESH.permeability_m2 * start, rise * start]
    run = solve_ivp(slopes, (start, 2.0), first, events=full, rtol=1e-9, atol=1e-14, method="LSODA")
    lag = lag_length_m(MESH, LAMINATE.porosity, [Crossed(LAMINATE.thickness_mm, through)])
    assert lag == pytest.approx(run.t_events[0][0], rel=1e-4)


@given(layers, layers, st.floats(-13.0, -10.5).map(lambda power: 10**power))
def test_the_lag_stays_below_its_upper_limit(medium, laminate, through):
    limit = math.sqrt(6e-6 * medium.thickness_mm * laminate.thickness_mm * medium.permeability_m2 / through)
    lag = lag_length_m(medium, laminate.porosity, [Crossed(laminate.thickness_mm, through)])
    assert 0 < lag <= limit * (1 + 1e-9)


def test_flow_medium_holds_its_thickness_less_its_own_solid():
    """0.16 kg/m2 at 950 kg/m3 is 0.1684 mm of solid in a millimetre (recomputed by hand)."""
    medium = medium_layer(1.0, 0.16, 950.0, 4e-9)
    assert (medium.porosity, medium.permeability_m2) == pytest.approx((0.8316, 4e-9), rel=1e-4)


# ---- Fibre share and grooves


@given(st.floats(0.2, 0.6), st.floats(0.2, 0.6))
def test_a_denser_stack_lets_less_through_and_there_and_back_is_nothing(first, second):
    ratio = kozeny_carman_ratio(first, second)
    assert (ratio > 1) == (second < first) or first == second
    assert ratio * kozeny_carman_ratio(second, first) == pytest.approx(1)


@pytest.mark.parametrize(("width", "depth"), [(2.0, 2.0), (3.0, 2.0), (2.0, 5.0), (8.0, 1.0)])
def test_a_groove_conducts_what_finite_elements_give(width, depth):
    """-laplace u = 1 over the section, u = 0 on the walls; the conductance is the sum of u (scikit-fem)."""
    mesh = MeshQuad.init_tensor(np.linspace(0, width, 25), np.linspace(0, depth, 25))
    basis = Basis(mesh, ElementQuad2())
    matrix = BilinearForm(lambda u, v, w: u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1]).assemble(basis)
    load = LinearForm(lambda v, w: v).assemble(basis)
    speed = solve(*condense(matrix, load, D=basis.get_dofs()))
    sum_mm4 = Functional(lambda w: w["u"]).assemble(basis, u=basis.interpolate(speed))
    assert groove_conductance_m4(width, depth) == pytest.approx(sum_mm4 * 1e-12, rel=2e-5)


@given(st.floats(0.5, 5.0), st.floats(0.5, 5.0))
def test_a_groove_is_the_same_turned_on_its_side(width, depth):
    assert groove_conductance_m4(width, depth) == pytest.approx(groove_conductance_m4(depth, width), rel=1e-5)


def test_grooves_as_a_layer_hold_and_conduct_what_they_do():
    """2 x 2 mm every 20 mm: 2.812e-11 m3 against 4e-12 of a mesh, and 0.2 l/m2 (recomputed independently)."""
    layer = groove_layer(2, 2, 20)
    assert layer.permeability_m2 * layer.thickness_mm / 1000 == pytest.approx(2.812e-11, rel=1e-3)
    assert layer.thickness_mm * layer.porosity == pytest.approx(0.2)
    both = effective_medium((layer, LAMINATE))
    assert both.permeability_m2 * both.thickness_mm / 1000 == pytest.approx(2.812e-11 + 7.5e-13, rel=1e-3)


# ---- The trial panel


def test_a_trial_is_the_least_squares_fit_of_the_squared_way():
    """scipy's curve_fit of x^2 = m t gives the same slope and error; left free, its intercept is no sign of a race."""
    trial = fitted()
    slope, variance = curve_fit(lambda t, m: m * t, MINUTES, np.square(FRONTS), p0=[0.1])
    assert trial.slope_m2_min == pytest.approx(slope[0])
    assert trial.slope_error_m2_min == pytest.approx(math.sqrt(variance[0][0]), rel=1e-5)
    free, free_variance = curve_fit(lambda t, m, b: m * t + b, MINUTES, np.square(FRONTS), p0=[0.1, 0.0])
    assert trial.intercept_m2 == pytest.approx(free[1], rel=1e-4)
    assert trial.intercept_m2 / math.sqrt(free_variance[1][1]) < 1
    assert trial.intercept_p > start_values(SHARED, "flow")["intercept_significance"].value


def test_a_front_that_starts_ahead_is_noticed():
    ahead = fitted(fronts=[math.sqrt(front**2 + 0.03) for front in FRONTS])
    assert ahead.intercept_m2 == pytest.approx(fitted().intercept_m2 + 0.03)
    assert ahead.intercept_p < start_values(SHARED, "flow")["intercept_significance"].value


@given(st.floats(-10.5, -8.5).map(lambda power: 10**power), st.floats(0.05, 0.6), st.floats(0.3, 0.8))
def test_the_fit_gives_back_the_permeability_the_readings_were_made_with(permeability, viscosity, porosity):
    slope = 2 * permeability * 95_000 / (viscosity * porosity) * 60
    trial = fitted(fronts=[math.sqrt(slope * t) for t in MINUTES], viscosity_pa_s=viscosity, porosity=porosity)
    assert trial.permeability_m2 == pytest.approx(permeability)
    assert trial.relative_sd == pytest.approx(0.12)


@pytest.mark.parametrize(
    ("changed", "key"),
    [
        ({"minutes": MINUTES[:4], "fronts": FRONTS[:4]}, "insufficient_data"),
        ({"minutes": (1, 2, 2, 3, 4, 5)}, "inconsistent"),
        ({"fronts": (0.3, 0.4, 0.39, 0.5, 0.6, 0.7)}, "inconsistent"),
        ({"fronts": (0.0, 0.4, 0.5, 0.6, 0.7, 0.8)}, "inconsistent"),
        ({"minutes": (0, 1, 2, 3, 4, 5)}, "not_positive"),
        ({"viscosity_pa_s": 0}, "not_positive"),
        ({"viscosity_pa_s": 200}, "unit_suspect"),
        ({"driving_pressure_pa": 950}, "unit_suspect"),
        ({"porosity": 51.33}, "unit_suspect"),
        ({"hull_against_panel_sd": -0.1}, "negative"),
    ],
)
def test_a_trial_that_cannot_be_read_is_refused(changed, key):
    with pytest.raises(InputRefused) as refused:
        fitted(**changed)
    assert refused.value.key == key


# ---- The band


def test_the_band_is_wide_until_there_is_a_trial():
    band = bands(SHARED, "flow")["fill_time_without_trial"]
    assert time_band(None, (band.low, band.high)) == (0.6, 1.7)
    low, high = time_band(fitted().relative_sd, (band.low, band.high))
    assert (low, high) == pytest.approx((1 / 1.2714, 1.2714), rel=1e-3)


def test_what_is_unlike_the_trial_keeps_the_wide_band_by_its_share():
    """A third of the time by sheets: (0.6 + 2 / 1.2) / 3 and (1.7 + 2 x 1.2) / 3 of the likely."""
    assert time_band(math.log(1.2) / 2, (0.6, 1.7), 1 / 3) == pytest.approx(((0.6 + 2 / 1.2) / 3, (1.7 + 2.4) / 3))
    assert time_band(0.12, (0.6, 1.7), 1.0) == pytest.approx((0.6, 1.7))


@given(st.floats(0.0, 0.5), st.floats(0.0, 0.5))
def test_more_scatter_makes_the_band_wider(one, other):
    less, more = sorted((one, other))
    assert time_band(more, (0.6, 1.7))[0] <= time_band(less, (0.6, 1.7))[0] <= 1
    assert 1 <= time_band(less, (0.6, 1.7))[1] <= time_band(more, (0.6, 1.7))[1]


@given(st.floats(-15, -6).map(lambda power: 10**power))
def test_a_permeability_given_in_darcy_is_offered_in_square_metres(permeability):
    """1 darcy is 9.869233e-13 m2; what is too large for m2 is never taken."""
    darcy = permeability / 9.869233e-13
    with pytest.raises(InputRefused, match="darcy is ") as refused:
        require_permeability("permeability_m2", darcy)
    assert refused.value.key == "unit_suspect"
    offered = float(refused.value.accepted.split("darcy is ")[1].split(" m2")[0])
    assert offered == pytest.approx(permeability, rel=1e-3)


@pytest.mark.parametrize(
    ("call", "key"),
    [
        (lambda: require_permeability("permeability_m2", 800.0), "unit_suspect"),
        (lambda: require_permeability("permeability_m2", 1e-5), "unit_suspect"),
        (lambda: require_permeability("permeability_m2", 5e4), "unit_suspect"),
        (lambda: require_permeability("permeability_m2", 1e-20), "impossible"),
        (lambda: require_permeability("permeability_m2", math.inf), "not_positive"),
        (lambda: require_permeability("permeability_m2", 0.0), "not_positive"),
        (lambda: m2_from_darcy(-1.0), "not_positive"),
        (lambda: Layer(1.0, 1.2, 1e-9), "unit_suspect"),
        (lambda: Layer(0.0, 0.5, 1e-9), "not_positive"),
        (lambda: effective_medium(()), "missing"),
        (lambda: through_permeability_m2(()), "missing"),
        (lambda: Crossed(0.0, 1e-12), "not_positive"),
        (lambda: Crossed(0.14, 3.0), "unit_suspect"),
        (lambda: lag_length_m(MESH, 46.0, [Crossed(5.0, 3e-12)]), "unit_suspect"),
        (lambda: lag_length_m(MESH, 0.46, []), "missing"),
        (lambda: through_against_along(3e-12, LAMINATE, 0.0), "not_positive"),
        (lambda: medium_layer(0.15, 0.16, 950.0, 4e-9), "inconsistent"),
        (lambda: groove_layer(25, 2, 20), "impossible"),
        (lambda: time_band(-0.1, (0.6, 1.7)), "negative"),
        (lambda: time_band(0.1, (0.6, 1.7), 1.1), "impossible"),
    ],
)
def test_what_cannot_be_is_refused(call, key):
    with pytest.raises(InputRefused) as refused:
        call()
    assert refused.value.key == key
