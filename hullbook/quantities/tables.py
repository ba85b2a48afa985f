"""The reference tables of `shared/`, read once a process."""

import csv
from functools import cache

from django.conf import settings

from hullbook.calc import reference
from hullbook.calc.hardness import HardnessRow
from hullbook.calc.ranges import Range
from hullbook.calc.reference import Band, StartValue
from hullbook.calc.slips import SoftBand


@cache
def ranges() -> dict[str, Range]:
    return reference.ranges(settings.SHARED)


@cache
def bands(name: str) -> dict[str, Band]:
    return reference.bands(settings.SHARED, name)


@cache
def start_values(name: str) -> dict[str, StartValue]:
    return reference.start_values(settings.SHARED, name)


@cache
def soft_bands() -> dict[str, SoftBand]:
    return reference.soft_bands(settings.SHARED)


@cache
def digest() -> str:
    """The fingerprint of the tables that a verdict of today was judged by."""
    return reference.tables_digest(settings.SHARED)


@cache
def countries() -> dict[str, str]:
    """Names of countries by their two-letter code of ISO 3166-1."""
    with (settings.SHARED / "limits" / "countries.csv").open(encoding="utf-8", newline="") as lines:
        return {row["code"]: row["name"] for row in csv.DictReader(lines)}


@cache
def hardness_rows() -> tuple[HardnessRow, ...]:
    """How many impressor readings the standard asks for at which hardness."""
    with (settings.SHARED / "limits" / "hardness_readings.csv").open(encoding="utf-8", newline="") as lines:
        return tuple(
            HardnessRow(
                hardness=float(row["hardness"]),
                reinforced=row["laminate"] == "reinforced",
                variance=float(row["variance"]),
                readings=int(row["readings"]),
            )
            for row in csv.DictReader(lines)
        )
