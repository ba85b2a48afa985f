"""The same dossier as canonical JSON, for whoever wants to check it without a PDF reader."""

import datetime as dt
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from decimal import Decimal
from enum import Enum
from typing import Any

from django.db.models import Model

from hullbook.calc import chain
from hullbook.dossier.selectors.content import FORMAT, DossierContent
from hullbook.hulls.models import (
    ScheduleLine,
    ScheduleRevision,
    Zone,
)
from hullbook.records.models import Entry, EntryRow, TypedRow, in_columns
from hullbook.yard.models import Person


def book_of(content: DossierContent) -> str:
    """What the dossier says, and every entry it rests on with its hash, as one canonical JSON text."""
    return chain.canonical(
        {
            "format": FORMAT,
            "hull": content.hull.number,
            "as_at": {"entry": content.as_at.number, "hash": content.as_at.hash, "booked_at": content.as_at.booked_at},
            "issue": content.issue_number,
            "as_it_stands": content.as_it_stands,
            "answers": _in_json(content.answers),
            "chapters": _in_json(content.chapters),
            "content": _in_json(content),
            "entries": [
                {**entry.envelope(), "previous_hash": entry.previous_hash, "hash": entry.hash}
                for entry in content.entries
            ],
        }
    )


def walked(value: Any) -> Iterator[Any]:
    """Every row and every dataclass inside, the outer before the inner."""
    if isinstance(value, Model):
        yield value
    elif is_dataclass(value):
        yield value
        for one in fields(value):
            yield from walked(getattr(value, one.name))
    elif isinstance(value, dict):
        for member in value.values():
            yield from walked(member)
    elif isinstance(value, list | tuple):
        for member in value:
            yield from walked(member)


def _in_json(value: Any) -> Any:
    """The same walk, into what canonical JSON takes: rows by their columns, floats as decimals."""
    match value:
        case Enum():
            return value.value
        case None | bool() | int() | str() | Decimal() | dt.date():
            return value
        case float():
            return Decimal(repr(value))
        case Person():
            return {"initials": value.initials, "full_name": value.full_name}
        case Entry():
            return value.number
        case TypedRow():
            return {"entry": value.pk, **value.columns()}
        case EntryRow():
            return value.columns()
        case Zone() | ScheduleLine() | ScheduleRevision():
            return in_columns(value, frozenset())
        case dict():
            return {str(key): _in_json(member) for key, member in value.items()}
        case list() | tuple():
            return [_in_json(member) for member in value]
        case _ if is_dataclass(value):
            return {one.name: _in_json(getattr(value, one.name)) for one in fields(value) if one.repr}
        case _:
            raise TypeError(f"{type(value).__name__} has no place in a dossier")
