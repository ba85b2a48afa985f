"""Reads the tables of the shared folder: the only part of the sums that touches files.

Every function is handed the folder; nothing is cached and nothing is written.
"""

from __future__ import annotations

import csv
import json
import tomllib
from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from hullbook.calc.errors import InputRefused
from hullbook.calc.ranges import Range

STATUSES = ("published", "common practice", "from memory")


def ranges(folder: Path) -> dict[str, Range]:
    """Hard and usual bounds by field name, from limits/ranges.toml in `folder`.

    Raises `missing` for a table without unit, bounds, source or a known status, `inconsistent` when the usual bounds
    are not inside the hard ones.
    """
    tables = tomllib.loads((folder / "limits" / "ranges.toml").read_text(encoding="utf-8"))
    return {field: _range(field, table) for field, table in tables.items()}


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
