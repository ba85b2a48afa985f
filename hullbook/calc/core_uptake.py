"""Resin a foam or balsa core takes, by geometry: cut cells, grooves, holes, kerfs, and kerfs opened by a bend.

One millimetre of resin on a square metre is one litre, so every volume here is worked out as a depth in mm.
The nominal geometry is good to about -25 % to +30 % (common practice, no source): saw cuts come out wider than
the blade, dust makes them smaller. A weighed test panel replaces the cell sum.

Source: plane geometry; the half-cell depth is exact for spheres cut at random. One published range agrees:
450 to 600 g/m2 a face for unsealed PET foam, US patent 11,274,186.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt
from typing import Literal

from hullbook.calc.errors import InputRefused, require_not_negative, require_positive


@dataclass(frozen=True)
class Foam:
    """Closed-cell foam: densities of foam and of its solid polymer in kg/m3, mean cell diameter by volume in mm."""

    core_density_kg_m3: float
    polymer_density_kg_m3: float
    cell_diameter_mm: float


@dataclass(frozen=True)
class Grooves:
    """Resin grooves in one face or both, one way or crossed; all in mm."""

    width_mm: float
    depth_mm: float
    pitch_mm: float
    cross_pitch_mm: float | None = None
    faces: Literal[1, 2] = 1


@dataclass(frozen=True)
class Holes:
    """Perforations through the whole thickness, in a square or triangular pattern; in mm."""

    diameter_mm: float
    pitch_mm: float
    pattern: Literal["square", "triangular"] = "square"


@dataclass(frozen=True)
class Bend:
    """A bend across one set of kerfs: radius in m, and whether it opens them (scrim on the hollow side) or closes."""

    radius_m: float
    opens: bool


@dataclass(frozen=True)
class Kerfs:
    """Saw or knife cuts of a contour core, one way or crossed, in mm, with the bend across each set of cuts."""

    width_mm: float
    depth_mm: float
    pitch_mm: float
    cross_pitch_mm: float | None = None
    bend: Bend | None = None
    cross_bend: Bend | None = None


@dataclass(frozen=True)
class CoreGeometry:
    """A core panel as bought and bent.

    `face_pick_up_kg_m2` is a weighed pick-up of one plain face; it takes the place of the cell sum on faces, and
    on cut walls too where no foam is given. Balsa needs it: the cell sum does not hold for wood.
    """

    thickness_mm: float
    foam: Foam | None = None
    face_pick_up_kg_m2: float | None = None
    grooves: Grooves | None = None
    holes: Holes | None = None
    kerfs: Kerfs | None = None


@dataclass(frozen=True)
class Taken:
    """Resin taken by one cause on each square metre of shell."""

    l_m2: float
    kg_m2: float


@dataclass(frozen=True)
class CoreUptake:
    """Resin in the core by cause, and in all. Kerfs are counted as cut less what a closing bend shuts."""

    face_cells: Taken
    grooves: Taken
    holes: Taken
    kerfs: Taken
    opening: Taken
    wall_cells: Taken
    total: Taken


def core_uptake(*, geometry: CoreGeometry, liquid_resin_density_kg_m3: float, faces: Literal[1, 2] = 2) -> CoreUptake:
    """Resin the core takes on each square metre of shell, in l/m2 and kg/m2, split by cause.

    Lengths in mm, radii in m, density of the liquid resin in kg/m3; `faces` is how many core faces meet resin.
    Raises `missing` with neither foam nor weighed pick-up; `impossible` for a cut deeper than the core, wider than
    its pitch, or a bend tighter than the core is thick; `inconsistent` for a foam as dense as its polymer or a
    cross bend without cross cuts; `implausible` for a closing bend that binds the kerfs; `not_positive`, `negative`.
    """
    require_positive("liquid_resin_density_kg_m3", liquid_resin_density_kg_m3, "kg/m3")
    require_positive("core_thickness_mm", geometry.thickness_mm, "mm")
    _one_or_two("faces", faces)
    face_mm, wall_mm = _pick_up_depths_mm(geometry, liquid_resin_density_kg_m3)
    groove_mm, groove_wall = _groove_volume(geometry.grooves, geometry.thickness_mm)
    hole_mm, hole_wall = _hole_volume(geometry.holes, geometry.thickness_mm)
    kerf_mm, opening_mm, kerf_wall = _kerf_volume(geometry.kerfs, geometry.thickness_mm)
    depths_mm = {
        "face_cells": faces * face_mm,
        "grooves": groove_mm,
        "holes": hole_mm,
        "kerfs": kerf_mm,
        "opening": opening_mm,
        "wall_cells": (groove_wall + hole_wall + kerf_wall) * wall_mm,
    }
    depths_mm["total"] = sum(depths_mm.values())
    return CoreUptake(
        **{cause: Taken(depth, depth * liquid_resin_density_kg_m3 / 1000) for cause, depth in depths_mm.items()}
    )


def kerf_binding_radius_m(*, width_mm: float, depth_mm: float, pitch_mm: float) -> float:
    """The tightest radius, in m, a kerfed core bends to before closing kerfs bind: p d / k. All cuts in mm."""
    require_positive("kerf_width_mm", width_mm, "mm")
    require_positive("kerf_depth_mm", depth_mm, "mm")
    require_positive("kerf_pitch_mm", pitch_mm, "mm")
    return pitch_mm * depth_mm / width_mm / 1000


def _pick_up_depths_mm(geometry: CoreGeometry, liquid_resin_density_kg_m3: float) -> tuple[float, float]:
    """Depth of resin on one bare face and on one bare cut wall."""
    cells_mm = None if geometry.foam is None else _half_cell_mm(geometry.foam)
    weighed_mm = None
    if geometry.face_pick_up_kg_m2 is not None:
        require_not_negative("face_pick_up_kg_m2", geometry.face_pick_up_kg_m2, "kg/m2")
        weighed_mm = 1000 * geometry.face_pick_up_kg_m2 / liquid_resin_density_kg_m3
    face_mm = cells_mm if weighed_mm is None else weighed_mm
    wall_mm = weighed_mm if cells_mm is None else cells_mm
    if face_mm is None or wall_mm is None:
        accepted = "give the foam's densities and cell diameter, or a weighed pick-up for one face"
        raise InputRefused("missing", "face_pick_up_kg_m2", "neither foam nor weighed pick-up", accepted)
    return face_mm, wall_mm


def _half_cell_mm(foam: Foam) -> float:
    require_positive("core_density_kg_m3", foam.core_density_kg_m3, "kg/m3")
    require_positive("polymer_density_kg_m3", foam.polymer_density_kg_m3, "kg/m3")
    require_positive("cell_diameter_mm", foam.cell_diameter_mm, "mm")
    if foam.core_density_kg_m3 >= foam.polymer_density_kg_m3:
        accepted = f"foam weighs less than its polymer, {foam.polymer_density_kg_m3:g} kg/m3"
        raise InputRefused("inconsistent", "core_density_kg_m3", foam.core_density_kg_m3, accepted)
    return (1 - foam.core_density_kg_m3 / foam.polymer_density_kg_m3) * foam.cell_diameter_mm / 2


def _groove_volume(grooves: Grooves | None, thickness_mm: float) -> tuple[float, float]:
    if grooves is None:
        return 0.0, 0.0
    _one_or_two("groove_faces", grooves.faces)
    volume, wall = _crossed_cuts(
        "groove", grooves.width_mm, grooves.depth_mm, grooves.pitch_mm, grooves.cross_pitch_mm, thickness_mm
    )
    return grooves.faces * volume, grooves.faces * wall


def _hole_volume(holes: Holes | None, thickness_mm: float) -> tuple[float, float]:
    if holes is None:
        return 0.0, 0.0
    require_positive("hole_diameter_mm", holes.diameter_mm, "mm")
    _fits("hole_diameter_mm", holes.diameter_mm, require_positive("hole_pitch_mm", holes.pitch_mm, "mm"), "hole pitch")
    area_of_one = holes.pitch_mm**2 * (1 if holes.pattern == "square" else sqrt(3) / 2)
    volume = pi / 4 * holes.diameter_mm**2 * thickness_mm / area_of_one
    return volume, pi * holes.diameter_mm * thickness_mm / area_of_one


def _kerf_volume(kerfs: Kerfs | None, thickness_mm: float) -> tuple[float, float, float]:
    if kerfs is None:
        return 0.0, 0.0, 0.0
    volume, wall = _crossed_cuts(
        "kerf", kerfs.width_mm, kerfs.depth_mm, kerfs.pitch_mm, kerfs.cross_pitch_mm, thickness_mm
    )
    opening = 0.0
    for bend, pitch_mm in ((kerfs.bend, kerfs.pitch_mm), (kerfs.cross_bend, kerfs.cross_pitch_mm)):
        if bend is None:
            continue
        if pitch_mm is None:
            raise InputRefused(
                "inconsistent", "cross_bend", f"{bend.radius_m:g} m", "give the pitch of the cross kerfs"
            )
        wedge = _wedge_mm(kerfs, bend, pitch_mm, thickness_mm)
        if bend.opens:
            opening += wedge
        else:
            volume -= wedge
    return volume, opening, wall


def _wedge_mm(kerfs: Kerfs, bend: Bend, pitch_mm: float, thickness_mm: float) -> float:
    """What turning the blocks by pitch/radius adds to, or shuts off from, the kerfs of one set: d^2 / 2R."""
    radius_mm = 1000 * require_positive("bend_radius_m", bend.radius_m, "m")
    if radius_mm <= thickness_mm:
        accepted = f"give a radius above the core thickness, {thickness_mm:g} mm"
        raise InputRefused("impossible", "bend_radius_m", bend.radius_m, accepted)
    if not bend.opens:
        binding_m = kerf_binding_radius_m(width_mm=kerfs.width_mm, depth_mm=kerfs.depth_mm, pitch_mm=pitch_mm)
        if bend.radius_m < binding_m:
            accepted = f"the kerfs close at {binding_m:.3g} m and the core will not bend further"
            raise InputRefused("implausible", "bend_radius_m", bend.radius_m, accepted)
    return kerfs.depth_mm**2 / (2 * radius_mm)


def _crossed_cuts(
    name: str, width_mm: float, depth_mm: float, pitch_mm: float, cross_pitch_mm: float | None, thickness_mm: float
) -> tuple[float, float]:
    """Volume (mm) and wall area (m2/m2) of straight cuts in one or two directions, crossings counted once."""
    require_positive(f"{name}_width_mm", width_mm, "mm")
    require_positive(f"{name}_depth_mm", depth_mm, "mm")
    _fits(f"{name}_depth_mm", depth_mm, thickness_mm, "core thickness")
    pitches = [require_positive(f"{name}_pitch_mm", pitch_mm, "mm")]
    if cross_pitch_mm is not None:
        pitches.append(require_positive(f"{name}_cross_pitch_mm", cross_pitch_mm, "mm"))
    uncut = 1.0
    for pitch in pitches:
        _fits(f"{name}_width_mm", width_mm, pitch, f"{name} pitch")
        uncut *= 1 - width_mm / pitch
    return depth_mm * (1 - uncut), sum(2 * depth_mm / pitch for pitch in pitches)


def _fits(field: str, value_mm: float, limit_mm: float, limit_name: str) -> None:
    if value_mm > limit_mm:
        raise InputRefused("impossible", field, value_mm, f"give at most the {limit_name}, {limit_mm:g} mm")


def _one_or_two(field: str, faces: int) -> None:
    if faces not in (1, 2):
        raise InputRefused("impossible", field, faces, "give 1 or 2 faces")
