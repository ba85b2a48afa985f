"""Which tables the database itself must keep from change, and putting those guards in place after each migrate."""

from typing import Any

from django.apps import apps
from django.db import connections
from django.db.models import Model

from hullbook.records import triggers
from hullbook.records.models import Entry, LogRow, entry_row_models, typed_row_models


def append_only_tables() -> list[str]:
    logs = [model for model in apps.get_models() if issubclass(model, LogRow)]
    models: list[type[Model]] = [Entry, *typed_row_models(), *entry_row_models(), *logs]
    return sorted(model._meta.db_table for model in models)


def seals() -> list[triggers.Seal]:
    """Drafts that are frozen by a signature: models that name the typed row which seals them."""
    found = []
    for model in apps.get_models():
        if sealed_by := getattr(model, "sealed_by", None):
            sealing = apps.get_model(sealed_by)
            found.append(
                triggers.Seal(
                    model._meta.db_table, _revision_column(model), sealing._meta.db_table, _revision_column(sealing)
                )
            )
    return found


def _revision_column(model: type[Model]) -> str:
    field: Any = model._meta.get_field("revision")
    return str(field.column)


def put_guards_in_place(*, using: str, **kwargs: Any) -> None:
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    if tables >= {*append_only_tables(), *(seal.table for seal in seals())}:
        triggers.create_guards(connection, append_only_tables(), seals())


def missing_guards(using: str = "default") -> list[str]:
    """Guards that are not there, of tables that are: a table still to be made gets its own when it is made."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    guarded = [table for table in append_only_tables() if table in tables]
    return triggers.missing_guards(connection, guarded, [seal for seal in seals() if seal.table in tables])
