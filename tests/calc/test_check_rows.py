import pytest

from hullbook.calc.check_rows import agrees, found

PLY = {
    "areal_weight_kg_m2": 0.8,
    "fibre_density_kg_m3": 2560,
    "cured_resin_density_kg_m3": 1140,
    "fibre_mass_fraction": 0.7,
}


def test_a_row_reads_one_quantity_of_the_result():
    assert found({"check": "laminate.ply", "inputs": PLY, "quantity": "resin_kg_m2"}) == pytest.approx(0.8 * 3 / 7)


def test_a_row_may_feed_one_sum_with_another():
    stacked = {"plies": [{"call": "laminate.ply", **PLY}, {"call": "laminate.ply", **PLY}]}
    assert found({"check": "laminate.stack", "inputs": stacked, "quantity": "dry_fibre_kg_m2"}) == pytest.approx(1.6)
    excess = {
        "void_free_thickness_mm": {"call": "laminate.ply", "quantity": "thickness_mm", **PLY},
        "measured_thickness_mm": 0.62,
    }
    row = {"check": "balance.thickness_excess_percent", "inputs": excess, "quantity": "percent"}
    assert found(row) == pytest.approx(100 * (1 - 0.6133 / 0.62), rel=1e-2)


def test_a_tolerance_is_relative_and_absolute_only_round_nought():
    assert agrees({"expected": 200.0, "tolerance": 1e-2}, 201.9)
    assert not agrees({"expected": 200.0, "tolerance": 1e-2}, 202.1)
    assert agrees({"expected": 0.0, "tolerance": 1e-9}, 5e-10)
    assert not agrees({"expected": 0.0, "tolerance": 1e-9}, 2e-9)
    assert not agrees({"expected": 10.0, "tolerance": 0.0}, 10.001)
    assert not agrees({"expected": 10.0, "tolerance": 0.1}, float("nan"))
