"""How easily resin runs through a stack: flow medium over laminate, grooves, a trial panel of the yard, and the band.

Permeability in m2, in the direction of flow unless a name says through. A figure from a handbook gives the time of a
fill to a factor of about two; a trial panel of the yard's own fabric, bag and resin is worth far more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, hypot, pi, sqrt, tanh

from hullbook.calc.consumables import medium_uptake
from hullbook.calc.errors import (
    InputRefused,
    require_between,
    require_fraction,
    require_in_unit,
    require_not_negative,
    require_positive,
)
from hullbook.calc.series import require_series
from hullbook.calc.statistics import COVERAGE_FACTOR
from hullbook.calc.vacuum import require_pull
from hullbook.calc.viscosity import require_viscosity

M2_PER_DARCY = 9.869233e-13
LOWEST_PERMEABILITY_M2, HIGHEST_PERMEABILITY_M2 = 1e-15, 1e-6
LEAST_READINGS = 5


@dataclass(frozen=True)
class Layer:
    """One layer under the bag; `porosity` is its open share, 1 for a groove."""

    thickness_mm: float
    porosity: float
    permeability_m2: float

    def __post_init__(self) -> None:
        """Refuse what cannot exist: `not_positive`, `impossible`, `unit_suspect` (percent, darcy)."""
        require_positive("thickness_mm", self.thickness_mm, "mm")
        if self.porosity != 1:
            require_fraction("porosity", self.porosity)
        require_permeability("permeability_m2", self.permeability_m2)


@dataclass(frozen=True)
class Crossed:
    """One layer that resin crosses; its permeability through the thickness."""

    thickness_mm: float
    permeability_m2: float

    def __post_init__(self) -> None:
        """Refuse `not_positive`, `impossible`, `unit_suspect` (darcy)."""
        require_positive("thickness_mm", self.thickness_mm, "mm")
        require_permeability("permeability_m2", self.permeability_m2)


@dataclass(frozen=True)
class Trial:
    """What a trial panel says: permeability, and how far a hull's may lie from it.

    `slope_m2_min` is the fitted growth of the squared way, with its standard error; `relative_sd` holds the scatter of
    the readings and of a hull against a panel. `intercept_m2` is the squared way at the start in a fit left free, and
    `intercept_p` how likely such a one or a larger comes about by chance where there is none: small means that resin
    raced along an edge, or that the clock was started late.
    """

    permeability_m2: float
    slope_m2_min: float
    slope_error_m2_min: float
    relative_sd: float
    intercept_m2: float
    intercept_p: float


def require_permeability(field: str, permeability_m2: float) -> float:
    """Give back a permeability of 1e-15 to 1e-6 m2, else refuse it; one that fits in cm2 or darcy is asked about.

    Raises `not_positive`, `unit_suspect`, `impossible`. The bounds are common practice, no source.
    """
    others = {"cm2": 1e-4, "darcy": m2_from_darcy(1)}
    return require_in_unit(field, permeability_m2, LOWEST_PERMEABILITY_M2, HIGHEST_PERMEABILITY_M2, "m2", others)


def m2_from_darcy(darcy: float) -> float:
    """Turn darcy into m2. Raises `not_positive`. Source: 1 darcy is 1 cP cm2/s over 1 atm/cm, 9.869233e-13 m2."""
    return require_positive("darcy", darcy, "darcy") * M2_PER_DARCY


def medium_layer(
    thickness_mm: float, areal_weight_kg_m2: float, polymer_density_kg_m3: float, permeability_m2: float
) -> Layer:
    """Flow medium as a layer: its thickness under the bag less its own solid is what it holds.

    Raises as `medium_uptake` and `Layer`.
    """
    held = medium_uptake(
        thickness_under_vacuum_mm=thickness_mm,
        dry_areal_weight_kg_m2=areal_weight_kg_m2,
        polymer_density_kg_m3=polymer_density_kg_m3,
        liquid_resin_density_kg_m3=1.0,  # how open it is has nothing to do with what fills it
    )
    return Layer(thickness_mm, held.porosity, permeability_m2)


def effective_medium(layers: Sequence[Layer]) -> Layer:
    """Layers side by side along the flow as one: permeability and porosity weighted by thickness.

    Holds where the front stands upright, that is where `lag_length_m` is short against the way wetted; else the medium
    runs ahead. Raises `missing` without layers.
    """
    if not layers:
        raise InputRefused("missing", "layers", "none", "give at least one layer")
    thickness_mm = sum(layer.thickness_mm for layer in layers)
    return Layer(
        thickness_mm=thickness_mm,
        porosity=sum(layer.thickness_mm * layer.porosity for layer in layers) / thickness_mm,
        permeability_m2=sum(layer.thickness_mm * layer.permeability_m2 for layer in layers) / thickness_mm,
    )


def through_permeability_m2(layers: Sequence[Crossed]) -> float:
    """Permeability across layers that resin crosses one after another: total thickness / sum of h / K.

    Raises `missing` without layers.
    """
    if not layers:
        raise InputRefused("missing", "layers", "none", "give at least one layer")
    return sum(layer.thickness_mm for layer in layers) / sum(
        layer.thickness_mm / layer.permeability_m2 for layer in layers
    )


def lag_length_m(medium: Layer, laminate_porosity: float, crossed: Sequence[Crossed]) -> float:
    """How far the front in the flow medium runs ahead of the one on the laminate's lower face, in m.

    `crossed` is all that resin crosses under the medium to get there, peel ply and plies: together they are as deep as
    is to be wetted. An upper estimate: quasi-steady, filled through the thickness only. It does not depend on pressure
    or viscosity. End the medium at least this far before the vent. Raises as `require_fraction` and
    `through_permeability_m2`.
    Source: recomputed independently; a two-dimensional fill gives 0.98 of it, and 0.78 where resin also runs along the
    laminate (from memory of one model; not tried against experiment).
    """
    porosity = require_fraction("laminate_porosity", laminate_porosity)
    through = through_permeability_m2(crossed)
    medium_m, depth_m = medium.thickness_mm / 1000, sum(layer.thickness_mm for layer in crossed) / 1000
    a = 2 * through * medium.porosity / (porosity * medium.permeability_m2)
    b = 2 * through / (medium_m * medium.permeability_m2)
    return 3 / b * (sqrt(2 * a + 4 / 3 * b * depth_m) - sqrt(2 * a))


def through_against_along(through_permeability_m2: float, stack: Layer, way_m: float) -> float:
    """How much sooner a stack is wet through than along: Kz x^2 / (K H^2), x the way and H the stack's thickness.

    Far above 1 the front stands upright and `effective_medium` holds. Raises `not_positive`, `impossible`,
    `unit_suspect` (darcy). Source: Darcy's law, the ratio of the times of the two ways.
    """
    require_permeability("through_permeability_m2", through_permeability_m2)
    require_positive("way_m", way_m, "m")
    return through_permeability_m2 * way_m**2 / (stack.permeability_m2 * (stack.thickness_mm / 1000) ** 2)


def kozeny_carman_ratio(first_fibre_volume_fraction: float, second_fibre_volume_fraction: float) -> float:
    """By what factor the permeability of one fabric changes from the first fibre share by volume to the second.

    (1 - phi)^3 / phi^2. Raises `impossible`, `unit_suspect`. Source: Kozeny-Carman relation.
    """
    first = require_fraction("first_fibre_volume_fraction", first_fibre_volume_fraction)
    second = require_fraction("second_fibre_volume_fraction", second_fibre_volume_fraction)
    return ((1 - second) / (1 - first)) ** 3 * (first / second) ** 2


def groove_conductance_m4(width_mm: float, depth_mm: float) -> float:
    """Volume flow x viscosity over pressure gradient of one groove running full, in m4.

    w d^3/12 less the share its side walls hold back. Raises `not_positive`. Source: laminar flow in a rectangular duct
    (Boussinesq 1868; the series as in textbooks of viscous flow, from memory).
    """
    width = require_positive("groove_width_mm", width_mm, "mm") / 1000
    depth = require_positive("groove_depth_mm", depth_mm, "mm") / 1000
    walls = sum(tanh(n * pi * width / (2 * depth)) / n**5 for n in range(1, 20, 2))
    return width * depth**3 / 12 * (1 - 192 * depth / (pi**5 * width) * walls)


def groove_layer(width_mm: float, depth_mm: float, pitch_mm: float) -> Layer:
    """Grooves of a core that run along the flow without a break, as one layer that holds and conducts the same.

    Raises `not_positive`, and `impossible` for grooves wider than their pitch. Source: `groove_conductance_m4`.
    """
    require_positive("groove_pitch_mm", pitch_mm, "mm")
    require_between("groove_width_mm", width_mm, 0, pitch_mm, "mm, no more than the pitch")
    thickness_mm = width_mm * depth_mm / pitch_mm
    conductance_m3 = groove_conductance_m4(width_mm, depth_mm) / (pitch_mm / 1000)
    return Layer(thickness_mm=thickness_mm, porosity=1, permeability_m2=conductance_m3 / (thickness_mm / 1000))


def fit_trial(
    minutes: Sequence[float],
    fronts_m: Sequence[float],
    *,
    viscosity_pa_s: float,
    porosity: float,
    driving_pressure_pa: float,
    hull_against_panel_sd: float,
) -> Trial:
    """Permeability of a flat panel fed from one edge, from the front's way at some minutes: x^2 = m t.

    At least five readings, in order, minutes from the first resin in the panel. The porosity must be the one that fills
    are worked out with. `hull_against_panel_sd` is the scatter, relative, of hulls about a panel of the same stack.
    Raises `insufficient_data`, `inconsistent` for times or fronts that go back, `not_positive`, `negative`,
    `unit_suspect`, `impossible`.
    Source: Darcy's law for one straight front; least squares through the origin.
    """
    import numpy as np
    from scipy.stats import linregress
    from scipy.stats import t as student

    require_series("fronts_m", minutes, fronts_m, LEAST_READINGS)
    require_viscosity("viscosity_pa_s", viscosity_pa_s)
    require_fraction("porosity", porosity)
    require_pull("driving_pressure_pa", driving_pressure_pa)
    require_not_negative("hull_against_panel_sd", hull_against_panel_sd)
    require_positive("minutes", minutes[0], "min")
    for before, after in zip((0.0, *fronts_m), fronts_m, strict=False):
        if after < before or after <= 0:
            raise InputRefused(
                "inconsistent", "fronts_m", f"{after:g} m", f"a front does not go back from {before:g} m"
            )
    t, squares = np.asarray(minutes), np.asarray(fronts_m) ** 2
    slope = float(t @ squares / (t @ t))
    error = sqrt(float(((squares - slope * t) ** 2).sum()) / (len(t) - 1) / float(t @ t))
    free = linregress(t, squares)
    free_error = max(free.intercept_stderr, 1e-9 * squares.max())  # readings made up to lie on a line have none
    return Trial(
        permeability_m2=require_permeability(
            "permeability_m2", viscosity_pa_s * porosity * slope / 60 / (2 * driving_pressure_pa)
        ),
        slope_m2_min=slope,
        slope_error_m2_min=error,
        relative_sd=hypot(error / slope, hull_against_panel_sd),
        intercept_m2=float(free.intercept),
        intercept_p=float(student.sf(free.intercept / free_error, len(t) - 2)),
    )


def time_band(
    relative_sd: float | None, without_trial: tuple[float, float], share_without: float = 0.0
) -> tuple[float, float]:
    """Factors between which the time of a fill lies, low and high, about 95 %.

    `relative_sd` is a trial's; without a trial the band handed in holds, and so it does for `share_without` of the
    time, which stretches unlike the trial take. Raises `negative`, `impossible` for a share outside 0 to 1.
    """
    if relative_sd is None:
        return without_trial
    require_between("share_without", share_without, 0, 1)
    factor = exp(COVERAGE_FACTOR * require_not_negative("relative_sd", relative_sd))
    low, high = without_trial
    return share_without * low + (1 - share_without) / factor, share_without * high + (1 - share_without) * factor
