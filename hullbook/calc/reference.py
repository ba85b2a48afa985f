"""Reads the tables of the shared folder: the only part of the sums that touches files.

Every function is handed the folder; nothing is cached and nothing is written.
"""

from __future__ import annotations

import csv
import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from hullbook.calc.errors import InputRefused, require_positive
from hullbook.calc.ranges import Range
from hullbook.calc.slips import SoftBand

STATUSES = ("published", "common practice", "from memory")


@dataclass(frozen=True)
class Band:
    """How far a likely figure may be out: low and high as factors of it, with their source."""

    low: float
    high: float
    source: str
    status: str


@dataclass(frozen=True)
class StartValue:
    """A figure to start from until the yard has its own, in `unit`, with its source."""

    value: float
    unit: str
    source: str
    status: str


def ranges(folder: Path) -> dict[str, Range]:
    """Hard and usual bounds by field name, from limits/ranges.toml in `folder`.

    Raises `missing` for a table without unit, bounds, source or a known status, `inconsistent` when the usual bounds
    are not inside the hard ones.
    """
    tables = tomllib.loads((folder / "limits" / "ranges.toml").read_text(encoding="utf-8"))
    return {field: _range(field, table) for field, table in tables.items()}


def bands(folder: Path, name: str) -> dict[str, Band]:
    """Bands by item, from the [band] tables of limits/`name`.toml in `folder`.

    Raises `missing` without source or a known status, `inconsistent` unless 0 <= low <= 1 <= high.
    """
    return {item: _band(item, table) for item, table in _limits(folder, name).get("band", {}).items()}


def start_values(folder: Path, name: str) -> dict[str, StartValue]:
    """Start values by field name, from the [start] tables of limits/`name`.toml in `folder`.

    Raises `missing` for a table without value, unit, source or a known status.
    """
    return {field: _start_value(field, table) for field, table in _limits(folder, name).get("start", {}).items()}


def soft_bands(folder: Path) -> dict[str, SoftBand]:
    """How far a keyed number may lie from what is expected of it, from the [soft] tables of limits/slips.toml.

    Raises `missing` for a table without width, unit, source or a known status, `not_positive` for a width of nought.
    """
    return {name: _soft_band(name, table) for name, table in _limits(folder, "slips")["soft"].items()}


def check_values(folder: Path, name: str) -> list[dict[str, Any]]:
    """Rows of check_values/`name`.csv in `folder`: `inputs` out of its JSON, `expected` and `tolerance` as floats.

    Raises `missing` for a row without source or a known status.
    """
    with (folder / "check_values" / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return [_check_row(row) for row in csv.DictReader(lines)]


def tables_digest(folder: Path) -> str:
    """SHA-256 over every file in `folder`: relative names in order, each with its length and its bytes."""
    digest = sha256()
    files = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    for name in sorted(files):
        content = files[name].read_bytes()
        digest.update(f"{name}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()


def _range(field: str, table: Mapping[str, Any]) -> Range:
    for part in ("unit", "hard", "usual"):
        if not table.get(part):
            raise InputRefused("missing", field, f"no {part}", "give unit, hard, usual, source and status")
    _require_source(field, table)
    (hard_low, hard_high), (usual_low, usual_high) = table["hard"], table["usual"]
    if not hard_low <= usual_low <= usual_high <= hard_high:
        given = f"hard {hard_low:g} to {hard_high:g}, usual {usual_low:g} to {usual_high:g}"
        raise InputRefused("inconsistent", field, given, "keep the usual bounds inside the hard ones")
    return Range(
        unit=table["unit"],
        hard_low=float(hard_low),
        hard_high=float(hard_high),
        usual_low=float(usual_low),
        usual_high=float(usual_high),
        source=table["source"],
        status=table["status"],
    )


def _limits(folder: Path, name: str) -> dict[str, Any]:
    return tomllib.loads((folder / "limits" / f"{name}.toml").read_text(encoding="utf-8"))


def _band(item: str, table: Mapping[str, Any]) -> Band:
    _require_source(item, table)
    low, high = float(table["low"]), float(table["high"])
    if not 0 <= low <= 1 <= high:
        raise InputRefused("inconsistent", item, f"{low:g} to {high:g}", "give factors from 0 to 1, and from 1 up")
    return Band(low=low, high=high, source=table["source"], status=table["status"])


def _start_value(field: str, table: Mapping[str, Any]) -> StartValue:
    for part in ("value", "unit"):
        if part not in table:
            raise InputRefused("missing", field, f"no {part}", "give value, unit, source and status")
    _require_source(field, table)
    return StartValue(value=float(table["value"]), unit=table["unit"], source=table["source"], status=table["status"])


def _soft_band(name: str, table: Mapping[str, Any]) -> SoftBand:
    for part in ("within", "unit"):
        if part not in table:
            raise InputRefused("missing", name, f"no {part}", "give within, unit, source and status")
    _require_source(name, table)
    return SoftBand(
        within=require_positive(name, float(table["within"]), table["unit"]),
        unit=table["unit"],
        holds_min=table.get("holds_min"),
        source=table["source"],
        status=table["status"],
    )


def _check_row(row: Mapping[str, str]) -> dict[str, Any]:
    _require_source(row["check"], row)
    return {
        **row,
        "inputs": json.loads(row["inputs"]),
        "expected": float(row["expected"]),
        "tolerance": float(row["tolerance"]),
    }


def _require_source(name: str, marked: Mapping[str, Any]) -> None:
    if not marked.get("source"):
        raise InputRefused("missing", name, "no source", "name where the value comes from")
    if marked.get("status") not in STATUSES:
        raise InputRefused("missing", name, marked.get("status"), f"give a status: {', '.join(STATUSES)}")
