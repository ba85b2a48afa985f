"""Resin that leaves with the bag: flow medium and peel ply, lines, flange, resin brake, pails.

Every cavity is filled with liquid resin, so its liquid density counts. Volumes are plain geometry; the figures a
person fills in (film thickness, gap under a spiral, overrun) are the yard's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from hullbook.calc.errors import InputRefused, require_not_negative, require_positive

PAIL_FILM_MM = 0.2
"""Resin left on the wall of an emptied pail (from memory; weigh an emptied pail to improve it)."""


@dataclass(frozen=True)
class MediumUptake:
    """Resin held by one layer of mesh or peel ply on each square metre it covers; `porosity` is its open share."""

    porosity: float
    l_m2: float
    kg_m2: float


def medium_uptake(
    *,
    thickness_under_vacuum_mm: float,
    dry_areal_weight_kg_m2: float,
    polymer_density_kg_m3: float,
    liquid_resin_density_kg_m3: float,
) -> MediumUptake:
    """Resin one layer of flow medium or peel ply takes: its thickness under the bag less its own solid.

    Thickness in mm, areal weight in kg/m2, densities in kg/m3. Raises `not_positive`, and `inconsistent` when the
    layer weighs more than its thickness can hold.
    """
    require_positive("mesh_thickness_mm", thickness_under_vacuum_mm, "mm")
    require_positive("mesh_areal_weight_kg_m2", dry_areal_weight_kg_m2, "kg/m2")
    require_positive("polymer_density_kg_m3", polymer_density_kg_m3, "kg/m3")
    require_positive("liquid_resin_density_kg_m3", liquid_resin_density_kg_m3, "kg/m3")
    solid_mm = 1000 * dry_areal_weight_kg_m2 / polymer_density_kg_m3
    if solid_mm >= thickness_under_vacuum_mm:
        accepted = f"its solid alone is {solid_mm:.3g} mm thick; measure the thickness under the bag again"
        raise InputRefused("inconsistent", "mesh_thickness_mm", thickness_under_vacuum_mm, accepted)
    open_mm = thickness_under_vacuum_mm - solid_mm
    return MediumUptake(
        porosity=open_mm / thickness_under_vacuum_mm,
        l_m2=open_mm,
        kg_m2=open_mm * liquid_resin_density_kg_m3 / 1000,
    )


def bore_section_mm2(bore_mm: float, gap_factor: float = 1.0) -> float:
    """Section of a hose, or of a spiral wrap with the gap it props open under the bag, in mm2.

    Bore in mm; gap factor 1 for a hose, 1.0 to 1.3 for a spiral (from memory). For an omega profile give its own
    section to `line_volume_l`. Raises `not_positive`, and `impossible` for a factor below 1.
    """
    require_positive("hose_bore_mm", bore_mm, "mm")
    if not 1 <= gap_factor < float("inf"):
        raise InputRefused("impossible", "gap_factor", gap_factor, "give 1 or more")
    return pi / 4 * bore_mm**2 * gap_factor


def line_volume_l(*, section_mm2: float, length_m: float) -> float:
    """Litres in a feed line or hose: section in mm2 times length in m. Raises `not_positive`, `negative`."""
    require_positive("section_mm2", section_mm2, "mm2")
    require_not_negative("length_m", length_m, "m")
    return section_mm2 * length_m / 1000


def line_resin_kg(*, section_mm2: float, length_m: float, liquid_resin_density_kg_m3: float) -> float:
    """Kilograms of liquid resin in a feed line or hose. Section mm2, length m, density kg/m3."""
    require_positive("liquid_resin_density_kg_m3", liquid_resin_density_kg_m3, "kg/m3")
    return line_volume_l(section_mm2=section_mm2, length_m=length_m) * liquid_resin_density_kg_m3 / 1000


def flange_overrun_kg(*, flange_length_m: float, overrun_m: float, laminate_resin_kg_m2: float) -> float:
    """Resin in laminate laid past the trim line: length times width (m) times resin in the laminate (kg/m2)."""
    require_not_negative("flange_length_m", flange_length_m, "m")
    require_not_negative("overrun_m", overrun_m, "m")
    require_not_negative("laminate_resin_kg_m2", laminate_resin_kg_m2, "kg/m2")
    return flange_length_m * overrun_m * laminate_resin_kg_m2


def resin_brake_kg(*, flange_length_m: float, brake_width_m: float, peel_ply_pick_up_kg_m2: float) -> float:
    """Resin in the strip of bare peel ply that slows the front before the vent: length, width (m), pick-up (kg/m2)."""
    require_not_negative("flange_length_m", flange_length_m, "m")
    require_not_negative("brake_width_m", brake_width_m, "m")
    require_not_negative("peel_ply_pick_up_kg_m2", peel_ply_pick_up_kg_m2, "kg/m2")
    return flange_length_m * brake_width_m * peel_ply_pick_up_kg_m2


def pail_film_kg(
    *,
    pails: int,
    pail_diameter_mm: float,
    wetted_height_mm: float,
    liquid_resin_density_kg_m3: float,
    film_mm: float = PAIL_FILM_MM,
) -> float:
    """Resin that stays as a film on wall and bottom of emptied pails, in kg. Lengths in mm, density kg/m3."""
    require_not_negative("pails", pails)
    require_positive("pail_diameter_mm", pail_diameter_mm, "mm")
    require_positive("wetted_height_mm", wetted_height_mm, "mm")
    require_not_negative("film_mm", film_mm, "mm")
    require_positive("liquid_resin_density_kg_m3", liquid_resin_density_kg_m3, "kg/m3")
    wetted_mm2 = pi * pail_diameter_mm * wetted_height_mm + pi / 4 * pail_diameter_mm**2
    return pails * wetted_mm2 * film_mm * liquid_resin_density_kg_m3 / 1e9


def pail_heel_kg(*, pail_diameter_mm: float, heel_mm: float, liquid_resin_density_kg_m3: float) -> float:
    """Resin that must stay in the last pail so that the hose tip draws no air, in kg. Lengths in mm, density kg/m3."""
    require_positive("pail_diameter_mm", pail_diameter_mm, "mm")
    require_not_negative("heel_mm", heel_mm, "mm")
    require_positive("liquid_resin_density_kg_m3", liquid_resin_density_kg_m3, "kg/m3")
    return pi / 4 * pail_diameter_mm**2 * heel_mm * liquid_resin_density_kg_m3 / 1e9
