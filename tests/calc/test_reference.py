from hashlib import sha256
from pathlib import Path

import pytest

from hullbook.calc.errors import InputRefused
from hullbook.calc.ranges import check_hard, is_usual
from hullbook.calc.reference import STATUSES, bands, check_values, ranges, start_values, tables_digest

SHARED = Path(__file__).parents[2] / "shared"
ENDING_OF_UNIT = {
    "kg/m2": "_kg_m2",
    "kg/m3": "_kg_m3",
    "kg": "_kg",
    "g": "_g",
    "m": "_m",
    "m2": "_m2",
    "um2": "_um2",
    "mm": "_mm",
    "degC": "_c",
    "fraction": "_fraction",
    "%": "_percent",
    "phr": "_phr",
    "Pa.s": "_pa_s",
    "min": "_min",
    "deg": "_deg",
    "barcol": "_barcol",
    "1": "",  # a bare number
    "shown": "_shown",
    "K": "_k",
    "d": "_days",
    "piece": "_piece",
}
GOOD_TABLE = """
[lap_m]
unit = "m"
hard = [0.0, 0.5]
usual = [0.02, 0.15]
source = "common practice, no source"
status = "common practice"
"""


def folder_with(tmp_path: Path, table: str) -> Path:
    (tmp_path / "limits").mkdir()
    (tmp_path / "limits" / "ranges.toml").write_text(table, encoding="utf-8")
    return tmp_path


def test_every_bound_of_a_field_ends_in_its_unit_and_names_its_source():
    for field, bounds in ranges(SHARED).items():
        endings = ("_mbar", "_mbar_abs") if bounds.unit == "mbar" else (ENDING_OF_UNIT[bounds.unit],)
        assert field.endswith(endings), field
        assert bounds.source, field
        assert bounds.status in STATUSES, field


@pytest.mark.parametrize(
    ("field", "hard", "usual"),
    [
        ("areal_weight_kg_m2", (0.01, 5), (0.10, 1.70)),
        ("fibre_mass_fraction", (0.05, 0.90), (0.25, 0.77)),
        ("fibre_volume_fraction", (0.02, 0.785), (0.12, 0.62)),
        ("liquid_resin_density_kg_m3", (900, 1500), (1020, 1130)),
        ("cured_resin_density_kg_m3", (900, 1500), (1100, 1250)),
        ("viscosity_pa_s", (0.01, 20), (0.08, 0.40)),
        ("station_pressure_mbar", (500, 1085), (840, 1050)),
        ("bag_pressure_mbar_abs", (0, 1085), (2, 60)),
        ("resin_temperature_c", (0, 60), (15, 30)),
        ("core_thickness_mm", (1, 150), (5, 60)),
    ],
)
def test_the_bounds_of_the_main_fields_are_those_of_common_practice(field, hard, usual):
    bounds = ranges(SHARED)[field]
    assert (bounds.hard_low, bounds.hard_high) == hard
    assert (bounds.usual_low, bounds.usual_high) == usual


def test_slips_of_the_shop_are_caught_by_the_tables_as_they_stand():
    bounds = ranges(SHARED)
    slips = {
        "areal_weight_kg_m2": 800,
        "fibre_density_kg_m3": 2.56,
        "humidity_percent": 0.65,
        "liquid_resin_density_kg_m3": 1.08,
        "viscosity_pa_s": 180,
        "thickness_mm": 0.0035,
        "bag_pressure_mbar_abs": -950,
        "catalyst_dose_phr": 0.015,
    }
    for field, value in slips.items():
        with pytest.raises(InputRefused) as refused:
            check_hard(field, value, bounds[field])
        assert refused.value.key == "unit_suspect", field


def test_an_everyday_hull_is_usual_throughout():
    bounds = ranges(SHARED)
    everyday = {"areal_weight_kg_m2": 0.6, "bag_pressure_mbar_abs": 12, "humidity_percent": 55, "hardness_barcol": 42}
    assert all(is_usual(value, bounds[field]) for field, value in everyday.items())


@pytest.mark.parametrize(
    ("good", "bad", "key"),
    [
        ('source = "common practice, no source"', 'source = ""', "missing"),
        ('status = "common practice"', 'status = "sure"', "missing"),
        ('unit = "m"', "", "missing"),
        ("usual = [0.02, 0.15]", "", "missing"),
        ("usual = [0.02, 0.15]", "usual = [0.02, 0.9]", "inconsistent"),
    ],
)
def test_a_bound_without_unit_source_or_order_is_refused(tmp_path, good, bad, key):
    assert ranges(folder_with(tmp_path, GOOD_TABLE))["lap_m"].unit == "m"
    (tmp_path / "limits" / "ranges.toml").write_text(GOOD_TABLE.replace(good, bad), encoding="utf-8")
    with pytest.raises(InputRefused) as refused:
        ranges(tmp_path)
    assert (refused.value.key, refused.value.field) == (key, "lap_m")


def test_a_check_value_without_source_is_refused(tmp_path):
    (tmp_path / "check_values").mkdir()
    table = "check,inputs,quantity,expected,tolerance,source,status\nlaminate.ply,{},thickness_mm,1,1e-3,,published\n"
    (tmp_path / "check_values" / "laminate.csv").write_text(table, encoding="utf-8")
    with pytest.raises(InputRefused, match="no source"):
        check_values(tmp_path, "laminate")


def test_the_fingerprint_of_the_tables_is_the_sha_256_of_names_lengths_and_bytes(tmp_path):
    folder_with(tmp_path, GOOD_TABLE)
    (tmp_path / "README.md").write_text("tables", encoding="utf-8")
    body = GOOD_TABLE.encode()
    expected = sha256(b"README.md\x006\x00tables" + f"limits/ranges.toml\0{len(body)}\0".encode() + body).hexdigest()
    assert tables_digest(tmp_path) == expected


def test_any_change_to_any_table_changes_the_fingerprint(tmp_path):
    folder_with(tmp_path, GOOD_TABLE)
    before = tables_digest(tmp_path)
    (tmp_path / "limits" / "ranges.toml").rename(tmp_path / "limits" / "bounds.toml")
    renamed = tables_digest(tmp_path)
    (tmp_path / "limits" / "bounds.toml").write_text(GOOD_TABLE.replace("0.5]", "0.6]"), encoding="utf-8")
    assert len({before, renamed, tables_digest(tmp_path)}) == 3


@pytest.mark.parametrize("name", ["allowances", "cure", "flow", "gel", "lay_up", "pour_plan", "styrene"])
def test_every_band_and_start_value_names_its_source_and_how_well_it_is_founded(name):
    marked = [*bands(SHARED, name).values(), *start_values(SHARED, name).values()]
    assert marked
    assert all(one.source and one.status in STATUSES for one in marked)


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ('[band.core]\nlow = 1.1\nhigh = 1.3\nsource = "x"\nstatus = "from memory"', "factors from 0 to 1"),
        ('[band.core]\nlow = 0.9\nhigh = 1.3\nsource = "x"\nstatus = "guessed"', "give a status"),
        ('[start.heel_mm]\nunit = "mm"\nsource = "x"\nstatus = "from memory"', "give value, unit"),
        ('[start.heel_mm]\nvalue = 20\nunit = "mm"\nstatus = "from memory"', "name where the value comes from"),
    ],
)
def test_an_allowance_without_order_or_source_is_refused(tmp_path, table, said):
    (tmp_path / "limits").mkdir()
    (tmp_path / "limits" / "allowances.toml").write_text(table, encoding="utf-8")
    read = bands if table.startswith("[band") else start_values
    with pytest.raises(InputRefused, match=said):
        read(tmp_path, "allowances")
