"""How a mass of mixed resin warms by its own cure: a pail left standing, a laminate in the mould.

Temperature is taken as the same throughout the mass, and cure as one rate, d(degree)/dt = (k1 + k2 degree)
(1 - degree)^order, both constants after Arrhenius. No resin's kinetics are built in, and no page forecasts a peak:
styrene boils and resin smokes before a sum like this ends. Source of the forms: heat balance of a lumped mass;
autocatalytic rate (Kamal and Sourour 1973).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from hullbook.calc.errors import InputRefused, require_between, require_fraction, require_positive

ZERO_CELSIUS_K = 273.15
REFERENCE_K = 298.15
GAS_CONSTANT_J_MOL_K = 8.314462618
J_PER_KJ = 1000.0
SECONDS_PER_MINUTE = 60.0
LONGEST_MIN = 7 * 24 * 60.0
RELATIVE_TOLERANCE = 1e-9
ABSOLUTE_TOLERANCE = 1e-11


@dataclass(frozen=True)
class Kinetics:
    """Cure of one resin with one dose: rate constants at 25 C, their common energy, and the degree at gel.

    Raises on making `not_positive`; `impossible` for a degree at gel outside 0 to 1.
    """

    k1_per_s: float
    k2_per_s: float
    activation_energy_kj_mol: float
    order: float
    degree_at_gel: float

    def __post_init__(self) -> None:
        for field in ("k1_per_s", "k2_per_s", "activation_energy_kj_mol", "order"):
            require_positive(field, getattr(self, field))
        require_fraction("degree_at_gel", self.degree_at_gel)

    def rate_per_s(self, degree: float, temperature_k: float) -> float:
        """How fast the degree of cure rises."""
        inverse = 1 / temperature_k - 1 / REFERENCE_K
        faster = math.exp(-J_PER_KJ * self.activation_energy_kj_mol / GAS_CONSTANT_J_MOL_K * inverse)
        return faster * (self.k1_per_s + self.k2_per_s * degree) * max(1 - degree, 0.0) ** self.order


@dataclass(frozen=True)
class SelfHeating:
    """Minutes from the dose stirred in to gel and to the peak, and the peak in C."""

    gel_min: float
    peak_min: float
    peak_c: float


def adiabatic_rise_k(
    resin_mass_fraction: float,
    *,
    heat_of_cure_kj_kg: float,
    resin_heat_capacity_kj_kg_k: float,
    fibre_heat_capacity_kj_kg_k: float,
) -> float:
    """How far a mass would warm by its own cure if no heat left it, in K; 1 for resin in a pail.

    No forecast of a peak: heat leaves thin laminate, styrene boils in a pail. Raises `implausible` for a heat outside
    100 to 600 kJ/kg, `impossible`, `not_positive`. Source: heat balance.
    """
    require_between("resin_mass_fraction", resin_mass_fraction, 0, 1)
    if not 100 <= heat_of_cure_kj_kg <= 600:
        raise InputRefused("implausible", "heat_of_cure_kj_kg", heat_of_cure_kj_kg, "give 100 to 600 kJ/kg of resin")
    return (
        resin_mass_fraction
        * heat_of_cure_kj_kg
        / _heat_capacity(resin_mass_fraction, resin_heat_capacity_kj_kg_k, fibre_heat_capacity_kj_kg_k)
    )


def pail_cooling_per_s(
    pail_kg: float, *, liquid_resin_density_kg_m3: float, heat_capacity_kj_kg_k: float, loss_w_m2_k: float
) -> float:
    """Share of its warmth over the air that a pail as high as wide loses in a second. Raises `not_positive`."""
    require_positive("liquid_resin_density_kg_m3", liquid_resin_density_kg_m3)
    width_m = (4 * require_positive("pail_kg", pail_kg, "kg") / (math.pi * liquid_resin_density_kg_m3)) ** (1 / 3)
    loss_w_k = 1.5 * math.pi * width_m**2 * require_positive("loss_w_m2_k", loss_w_m2_k)
    return loss_w_k / (pail_kg * J_PER_KJ * require_positive("heat_capacity_kj_kg_k", heat_capacity_kj_kg_k))


def slab_cooling_per_s(
    thickness_mm: float,
    *,
    laminate_density_kg_m3: float,
    resin_mass_fraction: float,
    resin_heat_capacity_kj_kg_k: float,
    fibre_heat_capacity_kj_kg_k: float,
    loss_w_m2_k: float,
) -> float:
    """The same of a laminate; `loss_w_m2_k` is to the air and to the mould together. Raises `not_positive`."""
    require_between("resin_mass_fraction", resin_mass_fraction, 0, 1)
    capacity = _heat_capacity(resin_mass_fraction, resin_heat_capacity_kj_kg_k, fibre_heat_capacity_kj_kg_k)
    areal_kg_m2 = (
        require_positive("thickness_mm", thickness_mm, "mm")
        / 1000
        * require_positive("laminate_density_kg_m3", laminate_density_kg_m3)
    )
    return require_positive("loss_w_m2_k", loss_w_m2_k) / (areal_kg_m2 * J_PER_KJ * capacity)


def isothermal_minutes(kinetics: Kinetics, degree: float, temperature_c: float) -> float:
    """Minutes to a degree of cure at an even temperature. Raises `impossible` for a degree outside 0 to 1."""
    from scipy.integrate import quad

    require_fraction("degree", degree)
    kelvin = require_between("temperature_c", temperature_c, -40, 200, "C") + ZERO_CELSIUS_K
    seconds, _ = quad(lambda at: 1 / kinetics.rate_per_s(at, kelvin), 0, degree, epsrel=RELATIVE_TOLERANCE)
    return float(seconds) / SECONDS_PER_MINUTE


def self_heating(kinetics: Kinetics, *, start_c: float, rise_k: float, cooling_per_s: float) -> SelfHeating:
    """Gel and peak of a mass that begins as warm as the air; `rise_k` by `adiabatic_rise_k`, cooling as above.

    Raises `impossible` where it has not gelled or passed its peak in a week, `not_positive`.
    """
    import numpy as np
    from scipy.integrate import solve_ivp

    air_k = require_between("start_c", start_c, -40, 100, "C") + ZERO_CELSIUS_K
    require_positive("rise_k", rise_k, "K")
    require_positive("cooling_per_s", cooling_per_s)

    def moves(_: float, now: Any) -> tuple[float, float]:
        degree, kelvin = now
        rate = kinetics.rate_per_s(degree, kelvin)
        return rate, rise_k * rate - cooling_per_s * (kelvin - air_k)

    def gels(_: float, now: Any) -> float:
        return float(now[0]) - kinetics.degree_at_gel

    def peaks(at: float, now: Any) -> float:
        return moves(at, now)[1]

    peaks.direction = -1  # type: ignore[attr-defined]
    run: Any = solve_ivp(
        moves,
        (0.0, LONGEST_MIN * SECONDS_PER_MINUTE),
        (0.0, air_k),
        method="LSODA",
        events=(gels, peaks),
        rtol=RELATIVE_TOLERANCE,
        atol=ABSOLUTE_TOLERANCE,
    )
    gelled, peaked = run.t_events
    if not (len(gelled) and len(peaked)):
        raise InputRefused("impossible", "start_c", start_c, "at this temperature it has not cured in a week")
    hottest = int(np.argmax([at[1] for at in run.y_events[1]]))
    return SelfHeating(
        float(gelled[0]) / SECONDS_PER_MINUTE,
        float(peaked[hottest]) / SECONDS_PER_MINUTE,
        float(run.y_events[1][hottest][1]) - ZERO_CELSIUS_K,
    )


def _heat_capacity(resin_mass_fraction: float, resin_kj_kg_k: float, fibre_kj_kg_k: float) -> float:
    resin = resin_mass_fraction * require_positive("resin_heat_capacity_kj_kg_k", resin_kj_kg_k)
    return resin + (1 - resin_mass_fraction) * require_positive("fibre_heat_capacity_kj_kg_k", fibre_kj_kg_k)
