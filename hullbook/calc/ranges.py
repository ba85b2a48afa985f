"""Two bounds for a number a person types: what cannot be, and what is unlikely.

Outside the hard bounds a value is refused, with the conversion offered where another unit would fit. Outside the
usual bounds it is asked about once and kept. The bounds themselves are read by `hullbook.calc.reference`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite, pi
from types import MappingProxyType

from hullbook.calc.errors import InputRefused
from hullbook.calc.units import unit_words


@dataclass(frozen=True)
class Range:
    """Hard and usual bounds of one field, both inclusive, in `unit` ("fraction" for 0..1, "1" for a count)."""

    unit: str
    hard_low: float
    hard_high: float
    usual_low: float
    usual_high: float
    source: str
    status: str


@dataclass(frozen=True)
class OtherUnit:
    """A unit that gets typed by mistake: value in the field's unit = factor x typed + offset."""

    unit: str
    factor: float
    offset: float = 0.0


@dataclass(frozen=True)
class Offer:
    """What the typed number would be in the field's own unit, had it been meant in `typed_unit`."""

    typed_unit: str
    value: float


OTHER_UNITS: Mapping[str, tuple[OtherUnit, ...]] = MappingProxyType(
    {
        "kg/m2": (OtherUnit("g/m2", 0.001), OtherUnit("oz/yd2", 0.028349523125 / 0.83612736)),
        "fraction": (OtherUnit("%", 0.01),),
        "%": (OtherUnit("as a fraction", 100),),
        "phr": (OtherUnit("as a fraction", 100),),
        "kg/m3": (OtherUnit("g/cm3", 1000),),
        "Pa.s": (OtherUnit("mPa.s", 0.001),),
        "mbar": (
            OtherUnit("kPa", 10),
            OtherUnit("Pa", 0.01),
            OtherUnit("bar", 1000),
            OtherUnit("inHg", 33.86388640341),
        ),
        "degC": (OtherUnit("degF", 5 / 9, -160 / 9), OtherUnit("K", 1, -273.15)),
        "mm": (OtherUnit("m", 1000), OtherUnit("in", 25.4)),
        "m": (OtherUnit("mm", 0.001), OtherUnit("ft", 0.3048)),
        "m2": (OtherUnit("ft2", 0.09290304),),
        "kg": (OtherUnit("g", 0.001), OtherUnit("lb", 0.45359237)),
        "g": (OtherUnit("kg", 1000),),
        "min": (OtherUnit("h", 60), OtherUnit("s", 1 / 60)),
        "deg": (OtherUnit("rad", 180 / pi),),
    }
)
"""Exact factors of the SI brochure and of the international yard and pound; inHg is the conventional one at 0 degC."""


def offers(value: float, bounds: Range) -> tuple[Offer, ...]:
    """Other units in which `value` would be usual, or failing that possible; empty where none fits."""
    converted = [Offer(other.unit, other.factor * value + other.offset) for other in OTHER_UNITS.get(bounds.unit, ())]
    usual = tuple(offer for offer in converted if is_usual(offer.value, bounds))
    return usual or tuple(offer for offer in converted if bounds.hard_low <= offer.value <= bounds.hard_high)


def check_hard(field: str, value: float, bounds: Range) -> float:
    """Give back `value` when it lies within the hard bounds, both included.

    Raises `not_a_number` for NaN and infinities; `unit_suspect` with the conversion where another unit fits, and for
    a pressure below zero, which is a gauge reading; `impossible` otherwise.
    """
    unit = f" {unit_words(bounds.unit)}".rstrip()
    accepted = f"give {bounds.hard_low:g} to {bounds.hard_high:g}{unit}"
    if not isfinite(value):
        raise InputRefused("not_a_number", field, value, accepted)
    if bounds.hard_low <= value <= bounds.hard_high:
        return value
    given = f"{value:.12g}"
    if value < 0 and bounds.unit == "mbar":
        because = "a reading below zero is a gauge reading; give station pressure less the pull"
        raise InputRefused(
            "unit_suspect", field, given, f"{because}, {bounds.hard_low:g} to {bounds.hard_high:g}{unit}"
        )
    fitting = offers(value, bounds)
    if fitting:
        meant = " or ".join(f"{value:g} {unit_words(offer.typed_unit)} is {offer.value:.6g}{unit}" for offer in fitting)
        raise InputRefused("unit_suspect", field, given, f"{meant}; {accepted}")
    raise InputRefused("impossible", field, given, accepted)


def is_usual(value: float, bounds: Range) -> bool:
    """True when `value` lies within the usual bounds, both included."""
    return bounds.usual_low <= value <= bounds.usual_high
