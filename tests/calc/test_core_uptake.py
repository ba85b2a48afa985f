from dataclasses import fields, replace
from pathlib import Path

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.core_uptake import (
    Bend,
    CoreGeometry,
    Foam,
    Grooves,
    Holes,
    Kerfs,
    core_uptake,
    kerf_binding_radius_m,
)
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values

SHARED = Path(__file__).parents[2] / "shared"
PVC_80 = Foam(core_density_kg_m3=80, polymer_density_kg_m3=1400, cell_diameter_mm=0.40)
SHEET = CoreGeometry(thickness_mm=20, foam=PVC_80)
CAUSES = ("face_cells", "grooves", "holes", "kerfs", "opening", "wall_cells")

pitches = st.floats(8, 60)
bends = st.one_of(st.none(), st.builds(Bend, st.floats(5, 50), st.booleans()))
geometries = st.builds(
    CoreGeometry,
    thickness_mm=st.floats(15, 60),
    foam=st.builds(Foam, st.floats(40, 250), st.floats(1000, 1450), st.floats(0.05, 2)),
    grooves=st.one_of(
        st.none(),
        st.builds(Grooves, st.floats(0.5, 3), st.floats(1, 10), pitches, st.one_of(st.none(), pitches)),
    ),
    holes=st.one_of(st.none(), st.builds(Holes, st.floats(0.5, 4), pitches, st.sampled_from(["square", "triangular"]))),
    kerfs=st.one_of(
        st.none(),
        st.builds(Kerfs, st.floats(0.5, 2), st.floats(2, 15), st.floats(20, 60), st.floats(20, 60), bends, bends),
    ),
)


def uptake(geometry: CoreGeometry, **given):
    return core_uptake(geometry=geometry, liquid_resin_density_kg_m3=1080, **given)


@pytest.mark.parametrize(
    "row", check_values(SHARED, "core_uptake"), ids=lambda row: f"{row['quantity']}-{row['expected']}"
)
def test_a_core_sum_agrees_with_its_check_value(row):
    assert agrees(row, found(row))


def test_the_mean_depth_of_cells_cut_at_random_is_half_a_diameter():
    """The half-cell rule, by cutting spheres of 0.40 mm at random heights: volume of the open cap over its mouth."""
    rng = numpy.random.default_rng(20)
    radius = 0.20
    height = rng.uniform(-radius, radius, 400_000)
    mouth_mm2 = numpy.pi * (radius**2 - height**2)
    below_mm3 = numpy.pi * ((2 * radius**3 + 3 * radius**2 * height - height**3) / 3)
    gas = 1 - PVC_80.core_density_kg_m3 / PVC_80.polymer_density_kg_m3
    depth_mm = gas * below_mm3.sum() / mouth_mm2.sum()
    assert uptake(SHEET, faces=1).face_cells.l_m2 == pytest.approx(depth_mm, rel=2e-3)


def test_crossed_grooves_hold_what_a_grid_of_points_finds_under_them():
    grooves = Grooves(width_mm=2, depth_mm=2, pitch_mm=20, cross_pitch_mm=16)
    along, across = numpy.meshgrid(numpy.arange(0.05, 80, 0.1), numpy.arange(0.05, 80, 0.1))
    cut = (along % 20 < 2) | (across % 16 < 2)
    assert uptake(replace(SHEET, grooves=grooves)).grooves.l_m2 == pytest.approx(2 * cut.mean(), rel=1e-6)


@given(geometries)
def test_no_cause_takes_less_than_nothing_and_the_causes_add_up(geometry):
    taken = uptake(geometry)
    parts = [getattr(taken, cause) for cause in CAUSES]
    assert [field.name for field in fields(taken)] == [*CAUSES, "total"]
    assert all(part.l_m2 >= 0 for part in parts)
    assert taken.total.l_m2 == pytest.approx(sum(part.l_m2 for part in parts), rel=1e-12)
    assert taken.total.kg_m2 == pytest.approx(taken.total.l_m2 * 1.080, rel=1e-12)


@given(geometries)
def test_cuts_add_to_a_plain_sheet_without_changing_its_faces(geometry):
    plain = uptake(replace(geometry, grooves=None, holes=None, kerfs=None))
    cut = uptake(geometry)
    assert cut.face_cells == plain.face_cells
    assert cut.total.l_m2 >= plain.total.l_m2


def test_opening_kerfs_take_resin_whatever_their_pitch_and_width():
    wide, fine = (
        replace(SHEET, kerfs=Kerfs(width, 15, pitch, bend=Bend(radius_m=2, opens=True)))
        for width, pitch in ((1.2, 40), (0.2, 20))
    )
    assert uptake(wide).opening.l_m2 == pytest.approx(uptake(fine).opening.l_m2)
    assert uptake(wide).opening.l_m2 == pytest.approx(15**2 / (2 * 2000))


def test_closing_kerfs_hold_half_their_resin_when_they_bind():
    binding_m = kerf_binding_radius_m(width_mm=1, depth_mm=15, pitch_mm=30)
    straight = uptake(replace(SHEET, kerfs=Kerfs(1, 15, 30)))
    bound = uptake(replace(SHEET, kerfs=Kerfs(1, 15, 30, bend=Bend(radius_m=binding_m, opens=False))))
    assert bound.kerfs.l_m2 == pytest.approx(straight.kerfs.l_m2 / 2)
    assert bound.opening.l_m2 == 0


def test_a_weighed_pick_up_takes_the_place_of_the_cell_sum():
    balsa = CoreGeometry(thickness_mm=20, face_pick_up_kg_m2=0.9, holes=Holes(2, 20))
    taken = uptake(balsa)
    assert taken.face_cells.kg_m2 == pytest.approx(1.8)
    assert taken.wall_cells.kg_m2 == pytest.approx(0.9 * numpy.pi * 2 * 20 / 20**2)


def test_a_sealed_face_does_not_seal_the_cut_walls():
    bare, sealed = (
        uptake(replace(SHEET, face_pick_up_kg_m2=pick_up, grooves=Grooves(2, 2, 20))) for pick_up in (None, 0.1)
    )
    assert sealed.face_cells.kg_m2 == pytest.approx(0.2)
    assert sealed.wall_cells == bare.wall_cells


def refusal(key: str, field: str):
    return pytest.raises(InputRefused, check=lambda refused: (refused.key, refused.field) == (key, field))


@pytest.mark.parametrize(
    ("change", "key", "field"),
    [
        ({"grooves": Grooves(2, 21, 20)}, "impossible", "groove_depth_mm"),
        ({"grooves": Grooves(22, 2, 20)}, "impossible", "groove_width_mm"),
        ({"grooves": Grooves(2, 2, 20, cross_pitch_mm=1)}, "impossible", "groove_width_mm"),
        ({"grooves": Grooves(2, 2, 20, faces=3)}, "impossible", "groove_faces"),
        ({"grooves": Grooves(0, 2, 20)}, "not_positive", "groove_width_mm"),
        ({"holes": Holes(21, 20)}, "impossible", "hole_diameter_mm"),
        ({"holes": Holes(2, 0)}, "not_positive", "hole_pitch_mm"),
        ({"kerfs": Kerfs(1, 21, 30)}, "impossible", "kerf_depth_mm"),
        ({"kerfs": Kerfs(31, 15, 30)}, "impossible", "kerf_width_mm"),
        ({"kerfs": Kerfs(1, 15, 30, bend=Bend(0.02, opens=True))}, "impossible", "bend_radius_m"),
        ({"kerfs": Kerfs(1, 15, 30, cross_bend=Bend(2, opens=True))}, "inconsistent", "cross_bend"),
        ({"kerfs": Kerfs(0.2, 15, 30, bend=Bend(1.5, opens=False))}, "implausible", "bend_radius_m"),
        ({"foam": replace(PVC_80, core_density_kg_m3=1400)}, "inconsistent", "core_density_kg_m3"),
        ({"foam": None}, "missing", "face_pick_up_kg_m2"),
        ({"face_pick_up_kg_m2": -0.1}, "negative", "face_pick_up_kg_m2"),
        ({"thickness_mm": 0}, "not_positive", "core_thickness_mm"),
    ],
)
def test_a_core_that_cannot_be_cut_so_is_refused(change, key, field):
    with refusal(key, field):
        uptake(replace(SHEET, **change))


def test_a_core_has_one_or_two_faces():
    with refusal("impossible", "faces"):
        uptake(SHEET, faces=0)
