"""The SQL that makes tables append-only, and seals a draft once it is signed. Nothing else in hullbook writes SQL.

Both engines answer with an IntegrityError that names the table. Triggers stop slips and bugs; a hand in the file is
shown by the chain.
"""

from dataclasses import dataclass

from django.db.backends.base.base import BaseDatabaseWrapper

# One number for the book's writer lock among PostgreSQL's advisory locks.
BOOK_LOCK = 4_841_771


@dataclass(frozen=True)
class Seal:
    """Rows of `table` may change until `sealing_table` holds a row with the same value in `column`."""

    table: str
    column: str
    sealing_table: str
    sealing_column: str


def lock_book(connection: BaseDatabaseWrapper) -> None:
    """Let one writer at a time append; on SQLite the immediate transaction has seen to that."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [BOOK_LOCK])


def create_guards(connection: BaseDatabaseWrapper, append_only: list[str], seals: list[Seal]) -> None:
    drop_guards(connection, append_only, seals)
    statements = []
    for table in append_only:
        statements += _append_only_sqlite(table) if connection.vendor == "sqlite" else _append_only_postgresql(table)
    for seal in seals:
        statements += _seal_sqlite(seal) if connection.vendor == "sqlite" else _seal_postgresql(seal)
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def drop_guards(connection: BaseDatabaseWrapper, append_only: list[str], seals: list[Seal]) -> None:
    with connection.cursor() as cursor:
        for table, name in _wanted(connection, append_only, seals):
            on_table = "" if connection.vendor == "sqlite" else f' ON "{table}"'
            cursor.execute(f'DROP TRIGGER IF EXISTS "{name}"{on_table}')


def missing_guards(connection: BaseDatabaseWrapper, append_only: list[str], seals: list[Seal]) -> list[str]:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger'")
        else:
            # 'A': fires always, also for a replication role.
            cursor.execute(
                "SELECT c.relname, t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
                "WHERE t.tgenabled = 'A'"
            )
        there = set(cursor.fetchall())
    return [name for table, name in _wanted(connection, append_only, seals) if (table, name) not in there]


def _wanted(connection: BaseDatabaseWrapper, append_only: list[str], seals: list[Seal]) -> list[tuple[str, str]]:
    append_only_endings, seal_endings = (
        (["no_update", "no_delete"], ["sealed_insert", "sealed_update", "sealed_delete"])
        if connection.vendor == "sqlite"
        else (["no_change", "no_truncate"], ["sealed_insert", "sealed_change"])
    )
    return [
        *((table, f"{table}_{ending}") for table in append_only for ending in append_only_endings),
        *((seal.table, f"{seal.table}_{ending}") for seal in seals for ending in seal_endings),
    ]


def _append_only_sqlite(table: str) -> list[str]:
    return [
        f'CREATE TRIGGER "{table}_no_{act.lower()}" BEFORE {act} ON "{table}" '
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: {act} refused'); END"
        for act in ("UPDATE", "DELETE")
    ]


def _append_only_postgresql(table: str) -> list[str]:
    return [
        """
        CREATE OR REPLACE FUNCTION hullbook_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
          RAISE EXCEPTION USING MESSAGE = TG_TABLE_NAME || ' is append-only: ' || TG_OP || ' refused',
                                ERRCODE = '23001';
        END $$
        """,
        f'CREATE TRIGGER "{table}_no_change" BEFORE UPDATE OR DELETE ON "{table}" '
        "FOR EACH ROW EXECUTE FUNCTION hullbook_append_only()",
        f'CREATE TRIGGER "{table}_no_truncate" BEFORE TRUNCATE ON "{table}" '
        "FOR EACH STATEMENT EXECUTE FUNCTION hullbook_append_only()",
        f'ALTER TABLE "{table}" ENABLE ALWAYS TRIGGER "{table}_no_change"',
        f'ALTER TABLE "{table}" ENABLE ALWAYS TRIGGER "{table}_no_truncate"',
    ]


def _sealed(seal: Seal, row: str) -> str:
    found = f'FROM "{seal.sealing_table}" WHERE "{seal.sealing_column}" = {row}."{seal.column}"'
    return f"EXISTS (SELECT 1 {found})"  # noqa: S608 - names of our own tables, nothing keyed


def _seal_sqlite(seal: Seal) -> list[str]:
    # An update may neither change a signed row nor slip a draft's row in among them.
    rows = {"INSERT": ("NEW",), "UPDATE": ("OLD", "NEW"), "DELETE": ("OLD",)}
    return [
        f'CREATE TRIGGER "{seal.table}_sealed_{act.lower()}" BEFORE {act} ON "{seal.table}" '
        f"WHEN {' OR '.join(_sealed(seal, row) for row in looked_at)} "
        f"BEGIN SELECT RAISE(ABORT, '{seal.table} is signed: {act} refused'); END"
        for act, looked_at in rows.items()
    ]


def _seal_postgresql(seal: Seal) -> list[str]:
    function = f'"{seal.table}_when_sealed"'
    refuse = f"RAISE EXCEPTION USING MESSAGE = '{seal.table} is signed: ' || TG_OP || ' refused', ERRCODE = '23001'"
    return [
        f"""
        CREATE OR REPLACE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql AS $$
        BEGIN
          IF TG_OP = 'INSERT' THEN
            IF {_sealed(seal, "NEW")} THEN {refuse}; END IF;
            RETURN NEW;
          END IF;
          IF {_sealed(seal, "OLD")} THEN {refuse}; END IF;
          IF TG_OP = 'DELETE' THEN RETURN OLD; END IF;
          IF {_sealed(seal, "NEW")} THEN {refuse}; END IF;
          RETURN NEW;
        END $$
        """,
        f'CREATE TRIGGER "{seal.table}_sealed_insert" BEFORE INSERT ON "{seal.table}" '
        f"FOR EACH ROW EXECUTE FUNCTION {function}()",
        f'CREATE TRIGGER "{seal.table}_sealed_change" BEFORE UPDATE OR DELETE ON "{seal.table}" '
        f"FOR EACH ROW EXECUTE FUNCTION {function}()",
        f'ALTER TABLE "{seal.table}" ENABLE ALWAYS TRIGGER "{seal.table}_sealed_insert"',
        f'ALTER TABLE "{seal.table}" ENABLE ALWAYS TRIGGER "{seal.table}_sealed_change"',
    ]
