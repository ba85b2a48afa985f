"""Reading what a person keyed: a number and, perhaps, a unit; nothing else.

The text never reaches pint's own parser, which is a calculator: it takes "1,5 kg" for 15 kg, "20 C" for 20 coulombs and
does not come back from "9**9**9 kg". Here one pattern takes the number, one table the unit, and pint only converts.
"""

import re
from dataclasses import dataclass

import pint

from hullbook.calc.errors import InputRefused
from hullbook.quantities.showing import FORMULA_STARTS

LONGEST_TEXT = 40
NUMBER_AND_UNIT = re.compile(r"\s*([+-]?\d{1,12}(?:[.,]\d{1,12})?)\s*([^\d.,\s].*?)?\s*")

_registry: pint.UnitRegistry[float] = pint.UnitRegistry()
_registry.define("parts_per_hundred = 0.01 = phr")

# For each unit that is stored: the spellings that may be keyed, and what pint calls them.
SPELLINGS: dict[str, dict[str, str]] = {
    "kg": {"kg": "kilogram", "g": "gram", "t": "metric_ton", "lb": "pound", "oz": "ounce"},
    "g": {"g": "gram", "kg": "kilogram"},
    "kg/m2": {
        "kg/m2": "kilogram/meter**2",
        "kg/m²": "kilogram/meter**2",
        "g/m2": "gram/meter**2",
        "g/m²": "gram/meter**2",
        "gsm": "gram/meter**2",
        "oz/yd2": "ounce/yard**2",
    },
    "kg/m3": {
        "kg/m3": "kilogram/meter**3",
        "kg/m³": "kilogram/meter**3",
        "g/cm3": "gram/centimeter**3",
        "g/cm³": "gram/centimeter**3",
        "lb/ft3": "pound/foot**3",
    },
    "m": {"m": "meter", "mm": "millimeter", "cm": "centimeter", "ft": "foot", "in": "inch"},
    "mm": {"mm": "millimeter", "cm": "centimeter", "m": "meter", "in": "inch"},
    "um2": {"µm²": "micrometer**2", "um2": "micrometer**2", "m2": "meter**2", "m²": "meter**2", "darcy": "darcy"},
    "m2": {"m2": "meter**2", "m²": "meter**2", "ft2": "foot**2"},
    "mbar": {
        "mbar": "millibar",
        "hPa": "hectopascal",
        "kPa": "kilopascal",
        "Pa": "pascal",
        "bar": "bar",
        "mmHg": "millimeter_Hg",
        "torr": "torr",
        "inHg": "inch_Hg",
    },
    "degC": {
        "°C": "degree_Celsius",
        "C": "degree_Celsius",
        "degC": "degree_Celsius",
        "°F": "degree_Fahrenheit",
        "F": "degree_Fahrenheit",
        "degF": "degree_Fahrenheit",
    },
    "K": {"K": "kelvin"},
    "%": {"%": "percent"},
    "fraction": {"": "dimensionless", "%": "percent"},
    "phr": {"phr": "parts_per_hundred", "%": "parts_per_hundred"},
    "min": {"min": "minute", "h": "hour", "s": "second", "d": "day"},
    "h": {"h": "hour", "min": "minute", "d": "day"},
    "d": {"d": "day", "days": "day"},
    "deg": {"°": "degree", "deg": "degree"},
    "Pa.s": {
        "Pa.s": "pascal*second",
        "Pa·s": "pascal*second",
        "mPa.s": "millipascal*second",
        "mPa·s": "millipascal*second",
    },
    "barcol": {"": "dimensionless"},
    "1": {"": "dimensionless"},
    "shown": {"": "dimensionless"},
    "piece": {"": "dimensionless", "pieces": "dimensionless"},
}


@dataclass(frozen=True)
class Reading:
    """A number in the unit it is kept in, and the text it was keyed as."""

    value: float
    as_keyed: str


def convert(value: float, unit_from: str, unit_to: str, stored_unit: str) -> float:
    """Convert between two spellings of one stored unit's table; temperatures are absolute, never differences."""
    names = SPELLINGS[stored_unit]
    if names[unit_from] == names[unit_to]:
        return value
    return float(_registry.convert(value, names[unit_from], names[unit_to]))


def own_spelling(stored_unit: str) -> str:
    """How the stored unit itself is spelt in its table."""
    return next(iter(SPELLINGS[stored_unit]))


def _one_spelling_each(spellings: dict[str, str]) -> list[str]:
    """The first spelling of every unit that is taken."""
    first: dict[str, str] = {}
    for spelling, unit in spellings.items():
        first.setdefault(unit, spelling)
    return [spelling for spelling in first.values() if spelling]


def accepted_units(stored_unit: str) -> str:
    """The units that may be keyed, one spelling each: "kg, g, t, lb, oz", or "a plain number"."""
    return ", ".join(_one_spelling_each(SPELLINGS[stored_unit])) or "a plain number"


def read_quantity(text: str, *, field: str, stored_unit: str) -> Reading:
    """Read "0.8", "800 g/m2" or "0,8 kg/m²" into the stored unit; a bare number is in the stored unit already.

    Refuses with `missing`, `not_a_number` or `unit_suspect` (a unit this field does not take).
    """
    spellings = SPELLINGS[stored_unit]
    accepted = accepted_units(stored_unit)
    if not text.strip():
        raise InputRefused("missing", field, "nothing", f"give a number in {accepted}")
    match = NUMBER_AND_UNIT.fullmatch(text) if len(text) <= LONGEST_TEXT else None
    if match is None:
        raise InputRefused(
            "not_a_number", field, f'"{text[:LONGEST_TEXT]}"', f"give one number, as 12.5, in {accepted}"
        )
    number, unit = match.groups()
    own = own_spelling(stored_unit)
    unit = unit or own
    if unit not in spellings:
        raise InputRefused("unit_suspect", field, f'"{text}"', f"the unit may be {accepted}")
    return Reading(convert(float(number.replace(",", ".")), unit, own, stored_unit), text.strip())


def plain_cell(cell: str, *, field: str) -> str:
    """A text cell of a CSV file without the apostrophe of `showing.neutral_cell`; a bare formula is refused."""
    if not cell.lstrip("'").startswith(FORMULA_STARTS):
        return cell
    if not cell.startswith("'"):
        accepted = "a spreadsheet would work it out; put an apostrophe before it"
        raise InputRefused("not_a_number", field, f'"{cell[:LONGEST_TEXT]}"', accepted)
    return cell[1:]
