from django import template

from hullbook.calc import units
from hullbook.quantities import showing

register = template.Library()


@register.filter
def quantity(value: float | None, unit: str) -> str:
    """`{{ mix.resin_kg|quantity:"kg" }}`; places may follow the unit: `"kg:3"`."""
    name, _, places = unit.partition(":")
    return showing.set_off_thousands(showing.show(value, name, int(places) if places else None))


@register.filter
def number(value: float | None, unit: str) -> str:
    """The figure alone, for a column whose head carries the unit."""
    name, _, places = unit.partition(":")
    return showing.set_off_thousands(showing.show_number(value, name, int(places) if places else None))


@register.filter
def elapsed(minutes: float) -> str:
    return showing.show_elapsed(minutes)


@register.filter
def unit_words(unit: str) -> str:
    return units.unit_words(unit)
