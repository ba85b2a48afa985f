"""Whether the database keeps what it is given: the settings that matter, read back through a connection."""

from django.db.backends.base.base import BaseDatabaseWrapper

SQLITE_WANTED = {
    "journal_mode": "wal",
    "synchronous": 2,
    "foreign_keys": 1,
    "recursive_triggers": 1,
    "busy_timeout": 20000,
}
POSTGRESQL_WANTED = {"fsync": "on", "synchronous_commit": "on", "full_page_writes": "on"}


def unsafe_settings(connection: BaseDatabaseWrapper) -> list[str]:
    """What is not as a book needs it, in words; empty when all is well."""
    wanted = SQLITE_WANTED if connection.vendor == "sqlite" else POSTGRESQL_WANTED
    ask = "PRAGMA {}" if connection.vendor == "sqlite" else "SHOW {}"
    found = {}
    with connection.cursor() as cursor:
        for name in wanted:
            cursor.execute(ask.format(name))
            found[name] = cursor.fetchone()[0]
    return [f"{name} is {found[name]}, must be {value}" for name, value in wanted.items() if found[name] != value]
