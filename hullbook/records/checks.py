from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error
from django.db import connections

from hullbook.records.guards import missing_guards
from hullbook.records.models import Entry


def guards_are_in_place(*, databases: Sequence[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """Every append-only table refuses change, or the book is not served."""
    errors: list[CheckMessage] = []
    for alias in databases or []:
        if Entry._meta.db_table not in connections[alias].introspection.table_names():
            continue
        errors += [
            Error(
                f"The guard {name} is missing from the book.",
                hint="Run `manage.py migrate`, which puts the guards back; find out who took them away.",
                id="records.E001",
            )
            for name in missing_guards(alias)
        ]
    return errors
