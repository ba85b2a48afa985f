"""Where the mixed resin went, and what the weighed shell says about fibre share and voids.

Weights cannot see a small dry patch: half a starved 0.3 m2 misses less than the scales do. Keep the map of the
front and the tap test.

Source: propagation of independent uncertainties, JCGM 100:2008 section 5.1; voids after ASTM D2734-16; the closing
limits |z| < 2 and 3 % are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Literal

from hullbook.calc.errors import InputRefused, require_fraction, require_not_negative, require_positive
from hullbook.calc.laminate import fibre_volume_fraction

CLOSES_BELOW_Z = 2.0
CLOSES_BELOW_PERCENT = 3.0


@dataclass(frozen=True)
class Weighed:
    """A mass in kg with its standard uncertainty (k = 1) in kg. Raises `negative` for either below zero."""

    name: str
    mass_kg: float
    standard_uncertainty_kg: float

    def __post_init__(self) -> None:
        require_not_negative("mass_kg", self.mass_kg, "kg")
        require_not_negative("standard_uncertainty_kg", self.standard_uncertainty_kg, "kg")


@dataclass(frozen=True)
class ShellWeights:
    """The part side of the balance. A weight not taken is None and is refused as missing; nothing there is 0 kg."""

    shell: Weighed | None
    gelcoat: Weighed | None
    fibre: Weighed | None
    core: Weighed | None
    inserts: Weighed | None


def less_dry(name: str, gross: Weighed, dry: Weighed) -> Weighed:
    """Resin in something taken off the part: gross less dry weight. Raises `inconsistent` when dry is heavier."""
    return _difference(name, gross, [dry])


def resin_in_part(weights: ShellWeights) -> Weighed:
    """Resin in the trimmed shell: shell less gelcoat with skin coat, fibre, core and inserts, in kg.

    Raises `missing` for a weight not taken, `inconsistent` when the parts outweigh the shell.
    """
    shell, gelcoat, fibre, core, inserts = _all_weighed(weights)
    return _difference("resin in part", shell, [gelcoat, fibre, core, inserts])


@dataclass(frozen=True)
class Balance:
    """Mixed against found, in kg. `z` is the unaccounted mass over its standard uncertainty."""

    mixed_kg: float
    in_part_kg: float
    found_kg: float
    unaccounted_kg: float
    unaccounted_percent: float
    closure_sd_kg: float
    z: float
    closes: bool
    reading: str


def mass_balance(
    *,
    mixed: Sequence[Weighed],
    part: ShellWeights,
    found: Sequence[Weighed],
    closes_below_z: float = CLOSES_BELOW_Z,
    closes_below_percent: float = CLOSES_BELOW_PERCENT,
) -> Balance:
    """Close the sum of a pour: mixed = in the part + everything else found.

    `mixed` is every pail; `found` is what lies outside the part (left in pails, removed mesh and lines less their dry
    weight, hoses, flange trim, resin trap, cups). Percent is of the mixed mass. The sum closes when |z| and |percent|
    are both below their limits (2 and 3: common practice, no source).
    Raises `missing` for no mixed pail or a part weight not taken (gelcoat too), `not_positive` when nothing was mixed
    or no weight has an uncertainty, `inconsistent` when the parts outweigh the shell.
    """
    if not mixed:
        raise InputRefused("missing", "mixed", "none", "give the pails that were mixed")
    in_part = resin_in_part(part)
    mixed_kg = require_positive("mixed_kg", sum(one.mass_kg for one in mixed), "kg")
    found_kg = in_part.mass_kg + sum(one.mass_kg for one in found)
    closure_sd_kg = require_positive(
        "standard_uncertainty_kg", hypot(*(one.standard_uncertainty_kg for one in (*mixed, in_part, *found))), "kg"
    )
    unaccounted_kg = mixed_kg - found_kg
    percent = 100 * unaccounted_kg / mixed_kg
    z = unaccounted_kg / closure_sd_kg
    closes = abs(z) < closes_below_z and abs(percent) < closes_below_percent
    return Balance(
        mixed_kg=mixed_kg,
        in_part_kg=in_part.mass_kg,
        found_kg=found_kg,
        unaccounted_kg=unaccounted_kg,
        unaccounted_percent=percent,
        closure_sd_kg=closure_sd_kg,
        z=z,
        closes=closes,
        reading=_reading(closes, unaccounted_kg),
    )


@dataclass(frozen=True)
class ShellFibre:
    """Fibre share of the laminate by weighing, each with its standard uncertainty (k = 1)."""

    laminate_kg: float
    laminate_sd_kg: float
    laminate_resin_kg: float
    fibre_mass_fraction: float
    fibre_mass_fraction_sd: float
    fibre_volume_fraction: float
    fibre_volume_fraction_sd: float


def fibre_fraction_from_shell(
    *,
    weights: ShellWeights,
    resin_in_core: Weighed,
    fibre_density_kg_m3: float,
    cured_resin_density_kg_m3: float,
) -> ShellFibre:
    """Fibre share of the laminate from the weighed shell, with what the scales and the core sum leave open.

    Masses in kg, densities in kg/m3, taken as exact here. The resin in the core is usually the largest unknown: weigh
    a cored test panel. Raises `missing` for a weight not taken, `inconsistent` when no laminate or no resin is left,
    and as `laminate.fibre_volume_fraction`. Source: JCGM 100:2008 section 5.1.
    """
    shell, gelcoat, fibre, core, inserts = _all_weighed(weights)
    laminate = _difference("laminate", shell, [gelcoat, core, inserts, resin_in_core])
    if laminate.mass_kg <= fibre.mass_kg:
        accepted = f"the fibre alone is {fibre.mass_kg:g} kg; look at shell, core and core resin again"
        raise InputRefused("inconsistent", "laminate_kg", f"{laminate.mass_kg:.4g} kg", accepted)
    require_positive("fibre_kg", fibre.mass_kg, "kg")
    psi = fibre.mass_kg / laminate.mass_kg
    psi_sd = psi * hypot(
        fibre.standard_uncertainty_kg / fibre.mass_kg, laminate.standard_uncertainty_kg / laminate.mass_kg
    )
    phi = fibre_volume_fraction(psi, fibre_density_kg_m3, cured_resin_density_kg_m3)
    density = _void_free_density_kg_m3(psi, fibre_density_kg_m3, cured_resin_density_kg_m3)
    return ShellFibre(
        laminate_kg=laminate.mass_kg,
        laminate_sd_kg=laminate.standard_uncertainty_kg,
        laminate_resin_kg=laminate.mass_kg - fibre.mass_kg,
        fibre_mass_fraction=psi,
        fibre_mass_fraction_sd=psi_sd,
        fibre_volume_fraction=phi,
        fibre_volume_fraction_sd=psi_sd * density**2 / (fibre_density_kg_m3 * cured_resin_density_kg_m3),
    )


def fibre_mass_fraction_from_burn_off(*, coupon_g: float, residue_g: float) -> float:
    """Fibre share by mass of a dry coupon burnt off: residue over coupon, both in g.

    Glass and basalt only: carbon burns in part, aramid wholly. Raises `not_positive`, and `impossible` when the
    residue is not lighter than the coupon. Source: ASTM D2584.
    """
    require_positive("coupon_g", coupon_g, "g")
    require_positive("residue_g", residue_g, "g")
    if residue_g >= coupon_g:
        raise InputRefused("impossible", "residue_g", residue_g, f"give less than the coupon, {coupon_g:g} g")
    return residue_g / coupon_g


@dataclass(frozen=True)
class Voids:
    """Void share by volume in percent with its standard uncertainty (k = 1), and the density without voids."""

    void_percent: float
    void_percent_sd: float
    void_free_density_kg_m3: float


def void_content(
    *,
    measured_density_kg_m3: float,
    measured_density_sd_kg_m3: float,
    fibre_mass_fraction: float,
    fibre_mass_fraction_sd: float,
    fibre_density_kg_m3: float,
    fibre_density_sd_kg_m3: float,
    cured_resin_density_kg_m3: float,
    cured_resin_density_sd_kg_m3: float,
) -> Voids:
    """Voids from a coupon's measured density: 1 - rho (psi/rho_f + (1 - psi)/rho_r), in percent.

    Densities in kg/m3, share 0..1, each with its standard uncertainty. Below 1 % the figure says more about the
    densities than about voids (ASTM D2734-16). Raises `inconsistent` when the voids come out negative by more than two
    standard uncertainties: wrong densities, or not the resin that was logged.
    """
    require_fraction("fibre_mass_fraction", fibre_mass_fraction)
    for field, value in (
        ("measured_density_kg_m3", measured_density_kg_m3),
        ("fibre_density_kg_m3", fibre_density_kg_m3),
        ("cured_resin_density_kg_m3", cured_resin_density_kg_m3),
    ):
        require_positive(field, value, "kg/m3")
    for field, value in (
        ("measured_density_sd_kg_m3", measured_density_sd_kg_m3),
        ("fibre_mass_fraction_sd", fibre_mass_fraction_sd),
        ("fibre_density_sd_kg_m3", fibre_density_sd_kg_m3),
        ("cured_resin_density_sd_kg_m3", cured_resin_density_sd_kg_m3),
    ):
        require_not_negative(field, value)
    density = _void_free_density_kg_m3(fibre_mass_fraction, fibre_density_kg_m3, cured_resin_density_kg_m3)
    percent = 100 * (1 - measured_density_kg_m3 / density)
    sd = (
        100
        * measured_density_kg_m3
        * hypot(
            measured_density_sd_kg_m3 / (measured_density_kg_m3 * density),
            fibre_mass_fraction_sd * (1 / cured_resin_density_kg_m3 - 1 / fibre_density_kg_m3),
            fibre_density_sd_kg_m3 * fibre_mass_fraction / fibre_density_kg_m3**2,
            cured_resin_density_sd_kg_m3 * (1 - fibre_mass_fraction) / cured_resin_density_kg_m3**2,
        )
    )
    if percent < -2 * sd:
        accepted = "a coupon is never denser than fibre and resin; look at the densities and the resin logged"
        raise InputRefused("inconsistent", "measured_density_kg_m3", measured_density_kg_m3, accepted)
    return Voids(void_percent=percent, void_percent_sd=sd, void_free_density_kg_m3=density)


def thickness_excess_percent(*, void_free_thickness_mm: float, measured_thickness_mm: float) -> float:
    """How much of a measured thickness, in percent, fibre and resin do not explain: voids or a local excess.

    Both in mm; negative where the laminate is thinner than its weights. Thickness alone cannot tell voids from extra
    resin (ASTM D3171 scope). Raises `not_positive`.
    """
    require_positive("void_free_thickness_mm", void_free_thickness_mm, "mm")
    require_positive("measured_thickness_mm", measured_thickness_mm, "mm")
    return 100 * (1 - void_free_thickness_mm / measured_thickness_mm)


UseReading = Literal["as planned", "more than planned", "less than planned"]


@dataclass(frozen=True)
class PlannedAgainstUsed:
    """Used over planned, used less planned in kg, and that difference over its standard deviation."""

    ratio: float
    difference_kg: float
    z: float
    reading: UseReading


def planned_against_used(
    *, planned_mean_kg: float, planned_sd_kg: float, used_kg: float, used_sd_kg: float
) -> PlannedAgainstUsed:
    """Hold the resin used against the resin planned; "as planned" within two standard deviations.

    All in kg. Raises `not_positive` for either mass or when neither has a standard deviation, `negative`.
    """
    require_positive("planned_mean_kg", planned_mean_kg, "kg")
    require_positive("used_kg", used_kg, "kg")
    require_not_negative("planned_sd_kg", planned_sd_kg, "kg")
    require_not_negative("used_sd_kg", used_sd_kg, "kg")
    sd_kg = require_positive("planned_sd_kg", hypot(planned_sd_kg, used_sd_kg), "kg")
    difference_kg = used_kg - planned_mean_kg
    z = difference_kg / sd_kg
    reading: UseReading = "as planned"
    if abs(z) >= CLOSES_BELOW_Z:
        reading = "more than planned" if z > 0 else "less than planned"
    return PlannedAgainstUsed(used_kg / planned_mean_kg, difference_kg, z, reading)


def _all_weighed(weights: ShellWeights) -> tuple[Weighed, Weighed, Weighed, Weighed, Weighed]:
    return (
        _weighed("shell", weights.shell),
        _weighed("gelcoat", weights.gelcoat),
        _weighed("fibre", weights.fibre),
        _weighed("core", weights.core),
        _weighed("inserts", weights.inserts),
    )


def _weighed(field: str, weight: Weighed | None) -> Weighed:
    if weight is None:
        raise InputRefused("missing", field, "no weight", "weigh it; where there is none, give 0 kg")
    return weight


def _difference(name: str, whole: Weighed, parts: Sequence[Weighed]) -> Weighed:
    left_kg = whole.mass_kg - sum(part.mass_kg for part in parts)
    if left_kg < 0:
        given = f"{whole.name} {whole.mass_kg:g} kg"
        taken = " + ".join(f"{part.name} {part.mass_kg:g}" for part in parts)
        raise InputRefused("inconsistent", name.replace(" ", "_"), given, f"{taken} kg together weigh more")
    sd_kg = sqrt(sum(part.standard_uncertainty_kg**2 for part in (whole, *parts)))
    return Weighed(name, left_kg, sd_kg)


def _void_free_density_kg_m3(psi: float, fibre_density_kg_m3: float, cured_resin_density_kg_m3: float) -> float:
    return 1 / (psi / fibre_density_kg_m3 + (1 - psi) / cured_resin_density_kg_m3)


def _reading(closes: bool, unaccounted_kg: float) -> str:
    if closes:
        return "the weights close"
    if unaccounted_kg > 0:
        return "more mixed than found: a weight is missing, a pail is logged twice, or a scale is off"
    return "more found than mixed: look at the dry weights, for a pail not logged, or a scale that is off"
