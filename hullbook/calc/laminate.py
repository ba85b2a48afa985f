"""Fibre, resin and thickness of one ply and of a stack of plies.

Fractions are 0..1 and void free: fibre against fibre plus cured resin. One kg/m2 of a material of 1000 kg/m3 is
one millimetre thick. Field ranges are checked where a person types; here only what cannot exist is refused.

Source: constituent densities and fractions as in ASTM D2734-16 (theoretical density) and ASTM D3171; the
compaction power law is the form of the Polymer Composites 19 (1998) compaction review (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, pi, sqrt

from hullbook.calc.errors import (
    InputRefused,
    require_fraction,
    require_not_negative,
    require_positive,
)

SQUARE_PACKING = pi / 4
"""Fibre volume fraction of round fibres touching in a square grid: the most a laminate can hold."""

FRACTIONS_AGREE_WITHIN = 0.01
"""How far a fibre mass fraction may lie from the one its volume fraction gives (common practice, no source)."""

REFERENCE_PRESSURE_MBAR = 1000.0
LOWEST_COMPACTION_PRESSURE_MBAR = 100.0
HIGHEST_COMPACTION_PRESSURE_MBAR = 1085.0


def fibre_volume_fraction(
    fibre_mass_fraction: float, fibre_density_kg_m3: float, cured_resin_density_kg_m3: float
) -> float:
    """Fibre share by volume from the share by mass (both 0..1, void free).

    Densities in kg/m3. Raises `unit_suspect` for a percentage, `impossible` for a share outside 0..1 or a result
    above square packing (0.785), `not_positive` for a density. Source: ASTM D3171, constituent content.
    """
    require_fraction("fibre_mass_fraction", fibre_mass_fraction)
    require_positive("fibre_density_kg_m3", fibre_density_kg_m3, "kg/m3")
    require_positive("cured_resin_density_kg_m3", cured_resin_density_kg_m3, "kg/m3")
    fibre = fibre_mass_fraction / fibre_density_kg_m3
    resin = (1 - fibre_mass_fraction) / cured_resin_density_kg_m3
    return _packable(fibre / (fibre + resin))


def fibre_mass_fraction(
    fibre_volume_fraction: float, fibre_density_kg_m3: float, cured_resin_density_kg_m3: float
) -> float:
    """Fibre share by mass from the share by volume (both 0..1, void free); the inverse of `fibre_volume_fraction`.

    Densities in kg/m3. Raises as `fibre_volume_fraction`. Source: ASTM D3171, constituent content.
    """
    _packable(require_fraction("fibre_volume_fraction", fibre_volume_fraction))
    require_positive("fibre_density_kg_m3", fibre_density_kg_m3, "kg/m3")
    require_positive("cured_resin_density_kg_m3", cured_resin_density_kg_m3, "kg/m3")
    fibre = fibre_volume_fraction * fibre_density_kg_m3
    return fibre / (fibre + (1 - fibre_volume_fraction) * cured_resin_density_kg_m3)


@dataclass(frozen=True)
class Ply:
    """One fabric wetted out: what it weighs, holds and measures. Fractions are void free; thickness has the voids."""

    areal_weight_kg_m2: float
    fibre_density_kg_m3: float
    cured_resin_density_kg_m3: float
    fibre_mass_fraction: float
    fibre_volume_fraction: float
    void_fraction: float
    resin_kg_m2: float
    mass_kg_m2: float
    thickness_mm: float
    density_kg_m3: float


def ply(
    *,
    areal_weight_kg_m2: float,
    fibre_density_kg_m3: float,
    cured_resin_density_kg_m3: float,
    fibre_volume_fraction: float | None = None,
    fibre_mass_fraction: float | None = None,
    void_fraction: float = 0.0,
) -> Ply:
    """Resin, mass and thickness of one fabric.

    Areal weight of the dry fabric in kg/m2, densities in kg/m3, fractions 0..1; give the fibre share by mass or by
    volume. Where both are given they must agree within 0.01 by mass, and the one by mass is used.
    Raises `missing` without a share, `inconsistent` when the two disagree, `unit_suspect` for a percentage,
    `impossible` and `not_positive` for what cannot exist.
    With 2560 and 1200 kg/m3 the thickness is exactly the ISO 12215-5 relation t = w/3.072 (2.56/psi - 1.36).
    """
    require_positive("areal_weight_kg_m2", areal_weight_kg_m2, "kg/m2")
    require_fraction("void_fraction", void_fraction, zero_allowed=True)
    psi, phi = _both_fractions(
        fibre_mass_fraction, fibre_volume_fraction, fibre_density_kg_m3, cured_resin_density_kg_m3
    )
    resin_kg_m2 = areal_weight_kg_m2 * (1 - psi) / psi
    solid_m = areal_weight_kg_m2 / fibre_density_kg_m3 + resin_kg_m2 / cured_resin_density_kg_m3
    return Ply(
        areal_weight_kg_m2=areal_weight_kg_m2,
        fibre_density_kg_m3=fibre_density_kg_m3,
        cured_resin_density_kg_m3=cured_resin_density_kg_m3,
        fibre_mass_fraction=psi,
        fibre_volume_fraction=phi,
        void_fraction=void_fraction,
        resin_kg_m2=resin_kg_m2,
        mass_kg_m2=areal_weight_kg_m2 + resin_kg_m2,
        thickness_mm=1000 * solid_m / (1 - void_fraction),
        density_kg_m3=(areal_weight_kg_m2 + resin_kg_m2) / solid_m,
    )


@dataclass(frozen=True)
class Stack:
    """Plies under one bag, summed. The volume fraction counts voids in; the mass fraction cannot see them."""

    plies: tuple[Ply, ...]
    dry_fibre_kg_m2: float
    resin_kg_m2: float
    mass_kg_m2: float
    thickness_mm: float
    fibre_mass_fraction: float
    fibre_volume_fraction: float
    effective_fibre_density_kg_m3: float


def stack(plies: Sequence[Ply]) -> Stack:
    """Sum plies that each carry their own fibre share; fractions come from the sums, never from averages.

    Raises `missing` for no ply. The order of plies changes nothing.
    """
    if not plies:
        raise InputRefused("missing", "plies", "none", "give at least one ply")
    dry_fibre_kg_m2 = sum(one.areal_weight_kg_m2 for one in plies)
    resin_kg_m2 = sum(one.resin_kg_m2 for one in plies)
    thickness_mm = sum(one.thickness_mm for one in plies)
    fibre_mm = 1000 * sum(one.areal_weight_kg_m2 / one.fibre_density_kg_m3 for one in plies)
    return Stack(
        plies=tuple(plies),
        dry_fibre_kg_m2=dry_fibre_kg_m2,
        resin_kg_m2=resin_kg_m2,
        mass_kg_m2=dry_fibre_kg_m2 + resin_kg_m2,
        thickness_mm=thickness_mm,
        fibre_mass_fraction=dry_fibre_kg_m2 / (dry_fibre_kg_m2 + resin_kg_m2),
        fibre_volume_fraction=fibre_mm / thickness_mm,
        effective_fibre_density_kg_m3=1000 * dry_fibre_kg_m2 / fibre_mm,
    )


def overlap_factor(roll_width_m: float, lap_m: float) -> float:
    """Cloth laid per area covered when strakes of a roll lie side by side with a lap: B / (B - b), 1 or more.

    Widths in m. Raises `not_positive`, `negative`, and `impossible` for a lap as wide as the roll.
    """
    require_positive("roll_width_m", roll_width_m, "m")
    require_not_negative("lap_m", lap_m, "m")
    if lap_m >= roll_width_m:
        raise InputRefused("impossible", "lap_m", lap_m, f"give less than the roll width, {roll_width_m:g} m")
    return roll_width_m / (roll_width_m - lap_m)


def fibre_volume_fraction_at_pressure(
    *,
    fibre_volume_fraction_at_1000_mbar: float,
    compaction_exponent: float,
    compaction_pressure_mbar: float,
) -> float:
    """Fibre volume fraction a fabric is pressed to: phi_1000 (p / 1000 mbar)^B.

    The compaction pressure is station pressure less bag pressure (dry bag) or less resin pressure, in mbar,
    100 to 1085; the exponent B is 0 or more, 0.01 to 0.18 in practice (from memory).
    Raises `impossible` at or below zero, `unit_suspect` above 1085, `extrapolated` below 100 mbar where the law does
    not hold. A quasi-static law for one fabric lot; take +-4 % until the yard has its own panels (Composites Part A
    200 (2026): thickness at 100 kPa scatters by 4 % between laboratories).
    """
    _packable(require_fraction("fibre_volume_fraction_at_1000_mbar", fibre_volume_fraction_at_1000_mbar))
    require_not_negative("compaction_exponent", compaction_exponent)
    _compaction_pressure("compaction_pressure_mbar", compaction_pressure_mbar)
    pressed = (
        fibre_volume_fraction_at_1000_mbar * (compaction_pressure_mbar / REFERENCE_PRESSURE_MBAR) ** compaction_exponent
    )
    return _packable(pressed)


def fit_compaction_exponent(
    *,
    first_thickness_mm: float,
    first_pressure_mbar: float,
    second_thickness_mm: float,
    second_pressure_mbar: float,
) -> float:
    """Compaction exponent B from one stack measured at two pressures: ln(t1/t2) / ln(p2/p1).

    Thickness in mm, compaction pressure in mbar, 100 to 1085. Raises `insufficient_data` for equal pressures,
    `inconsistent` when the stack is thicker at the higher pressure, and as `fibre_volume_fraction_at_pressure`.
    """
    require_positive("first_thickness_mm", first_thickness_mm, "mm")
    require_positive("second_thickness_mm", second_thickness_mm, "mm")
    _compaction_pressure("first_pressure_mbar", first_pressure_mbar)
    _compaction_pressure("second_pressure_mbar", second_pressure_mbar)
    if first_pressure_mbar == second_pressure_mbar:
        raise InputRefused("insufficient_data", "second_pressure_mbar", second_pressure_mbar, "give two pressures")
    exponent = log(first_thickness_mm / second_thickness_mm) / log(second_pressure_mbar / first_pressure_mbar)
    if exponent < 0:
        given = f"{first_thickness_mm:g} mm, then {second_thickness_mm:g} mm"
        raise InputRefused("inconsistent", "second_thickness_mm", given, "a stack gets no thicker under more pressure")
    return exponent


def gutowski_pressure_mbar(
    fibre_volume_fraction: float, *, loose_fraction: float, densest_fraction: float, spring_pa: float
) -> float:
    """Compaction pressure that holds a fibre bed at this share by volume, in mbar.

    `loose_fraction` is the bed's share without load, `densest_fraction` the most it can be pressed to, `spring_pa` its
    stiffness in Pa. Raises `inconsistent` unless loose < densest, `impossible` for a share outside the two.
    Source: Gutowski's fibre-bed law, As (sqrt(phi/phi0) - 1) / (sqrt(phia/phi) - 1)^4.
    """
    _fibre_bed(loose_fraction, densest_fraction, spring_pa)
    if not loose_fraction <= fibre_volume_fraction < densest_fraction:
        accepted = f"this bed holds from {loose_fraction:g} to below {densest_fraction:g}"
        raise InputRefused("impossible", "fibre_volume_fraction", fibre_volume_fraction, accepted)
    pressed = sqrt(fibre_volume_fraction / loose_fraction) - 1
    return spring_pa / 100 * pressed / (sqrt(densest_fraction / fibre_volume_fraction) - 1) ** 4


def gutowski_fraction(
    compaction_pressure_mbar: float, *, loose_fraction: float, densest_fraction: float, spring_pa: float
) -> float:
    """Fibre share by volume a bed is pressed to: the inverse of `gutowski_pressure_mbar`, by a bracketed root.

    Compaction pressure in mbar, 100 to 1085. Raises as `fibre_volume_fraction_at_pressure` and as the law itself.
    """
    from scipy.optimize import brentq

    _fibre_bed(loose_fraction, densest_fraction, spring_pa)
    _compaction_pressure("compaction_pressure_mbar", compaction_pressure_mbar)
    bed = {"loose_fraction": loose_fraction, "densest_fraction": densest_fraction, "spring_pa": spring_pa}
    high = densest_fraction * (1 - 1e-9)
    return float(
        brentq(lambda phi: gutowski_pressure_mbar(phi, **bed) - compaction_pressure_mbar, loose_fraction, high)
    )


@dataclass(frozen=True)
class Overfill:
    """The laminate as the front comes to the vent, inlet open: mean fibre share, and resin above that at rest."""

    fibre_volume_fraction: float
    resin_more_percent: float


def overfill(dry_fibre_volume_fraction: float, wet_compaction_exponent: float) -> Overfill:
    """How far a laminate is swollen while resin is still let in, its pressure falling straight from inlet to front.

    The fibre share when dry under full vacuum, and the exponent B of the wet stack, 0 to below 1 (0.01 to 0.03, from
    memory). Mean share phi / (1 + B); resin goes with 1/phi - 1, whose mean has phi (1 - B) in it. The more is drawn
    from the pails and leaves for the trap, or stays where the inlet is open at gel.
    Raises `unit_suspect`, `impossible`. Source: mean of the compaction power law over a straight fall of pressure.
    """
    _packable(require_fraction("dry_fibre_volume_fraction", dry_fibre_volume_fraction))
    require_fraction("wet_compaction_exponent", wet_compaction_exponent, zero_allowed=True)
    at_rest = 1 / dry_fibre_volume_fraction - 1
    swollen = 1 / (dry_fibre_volume_fraction * (1 - wet_compaction_exponent)) - 1
    return Overfill(dry_fibre_volume_fraction / (1 + wet_compaction_exponent), 100 * (swollen / at_rest - 1))


def _both_fractions(
    mass_fraction: float | None, volume_fraction: float | None, fibre_density: float, resin_density: float
) -> tuple[float, float]:
    if mass_fraction is not None:
        phi = fibre_volume_fraction(mass_fraction, fibre_density, resin_density)
        if volume_fraction is not None:
            psi = fibre_mass_fraction(volume_fraction, fibre_density, resin_density)
            if abs(psi - mass_fraction) > FRACTIONS_AGREE_WITHIN:
                given = f"{mass_fraction:g} by mass and {volume_fraction:g} by volume"
                accepted = f"{volume_fraction:g} by volume is {psi:.3f} by mass; give one of the two"
                raise InputRefused("inconsistent", "fibre_mass_fraction", given, accepted)
        return mass_fraction, phi
    if volume_fraction is None:
        raise InputRefused("missing", "fibre_mass_fraction", "neither share", "give glass by weight or by volume")
    return fibre_mass_fraction(volume_fraction, fibre_density, resin_density), volume_fraction


def _packable(phi: float) -> float:
    if phi > SQUARE_PACKING:
        accepted = f"round fibres fill at most {SQUARE_PACKING:.3f} of the volume"
        raise InputRefused("impossible", "fibre_volume_fraction", f"{phi:.4g}", accepted)
    return phi


def _compaction_pressure(field: str, pressure_mbar: float) -> None:
    accepted = f"give {LOWEST_COMPACTION_PRESSURE_MBAR:g} to {HIGHEST_COMPACTION_PRESSURE_MBAR:g} mbar"
    if not 0 < pressure_mbar < float("inf"):
        because = "; a bag above atmosphere is usually a gauge reading taken as absolute"
        raise InputRefused("impossible", field, pressure_mbar, accepted + because)
    if pressure_mbar > HIGHEST_COMPACTION_PRESSURE_MBAR:
        raise InputRefused("unit_suspect", field, pressure_mbar, f"{accepted}; 95 000 Pa is 950 mbar")
    if pressure_mbar < LOWEST_COMPACTION_PRESSURE_MBAR:
        raise InputRefused("extrapolated", field, pressure_mbar, accepted)


def _fibre_bed(loose_fraction: float, densest_fraction: float, spring_pa: float) -> None:
    require_fraction("loose_fraction", loose_fraction)
    _packable(require_fraction("densest_fraction", densest_fraction))
    require_positive("spring_pa", spring_pa, "Pa")
    if not loose_fraction < densest_fraction:
        given = f"{loose_fraction:g} loose and {densest_fraction:g} pressed"
        raise InputRefused("inconsistent", "densest_fraction", given, "a bed gets denser when pressed")
