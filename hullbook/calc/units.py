"""How the units that values are kept in are written for people."""

from __future__ import annotations

WRITTEN_AS = {
    "degF": "°F",
    "kg/m2": "kg/m²",
    "kg/m3": "kg/m³",
    "m2": "m²",
    "um2": "µm²",
    "degC": "°C",
    "C": "°C",
    "deg": "°",
    "d": "days",
    "piece": "pieces",
    "Pa.s": "Pa·s",
    "phr": "% on resin by weight",
    "fraction": "",
    "barcol": "",
    "barcol mean": "",
    "ratio": "",
    "1": "",
    "shown": "in the unit it shows",
}


def unit_words(unit: str) -> str:
    """Give the unit as it is written beside a number: "kg/m²" for "kg/m2", nothing for a bare number."""
    return WRITTEN_AS.get(unit, unit)
