"""The lines of the invented pilot tender, from the same file as the demo's."""

import csv
from pathlib import Path

from hullbook.calc.hull_lines import HullLines, Offset, hull_lines

OFFSETS = Path(__file__).resolve().parents[2] / "fixtures" / "merrowby" / "offsets-mb84.csv"


def tender_lines() -> HullLines:
    with OFFSETS.open(encoding="utf-8") as file:
        return hull_lines(
            Offset(
                row["station"], float(row["x_mm"]), row["line"], float(row["half_breadth_mm"]), float(row["height_mm"])
            )
            for row in csv.DictReader(file)
        )
