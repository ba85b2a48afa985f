"""The reference tables of `shared/`, read once a process."""

from functools import cache

from django.conf import settings

from hullbook.calc import reference
from hullbook.calc.ranges import Range


@cache
def ranges() -> dict[str, Range]:
    return reference.ranges(settings.SHARED)


@cache
def digest() -> str:
    """The fingerprint of the tables that a verdict of today was judged by."""
    return reference.tables_digest(settings.SHARED)
