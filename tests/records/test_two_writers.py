"""Two hands at once: the chain never forks, and one entry sent by both is stored once. Raw SQL is refused."""

import datetime as dt
import threading
import uuid
from collections.abc import Callable

import pytest
from django.db import IntegrityError, connection, connections, transaction

from hullbook.records import guards, triggers
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.yard.services import add_bay
from tests.cast import MORNING, told

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(acts: list[Callable[[], object]]) -> list[BaseException]:
    gate = threading.Barrier(len(acts))
    trouble: list[BaseException] = []

    def run(act: Callable[[], object]) -> None:
        gate.wait()
        try:
            act()
        except BaseException as error:  # noqa: BLE001 - handed to the test
            trouble.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return trouble


def test_eight_writers_make_one_chain() -> None:
    def ten_bays(writer: int) -> Callable[[], object]:
        return lambda: [
            add_bay(code=f"{writer}-{n}", name="Bay", told=told(device=f"tablet-{writer}")) for n in range(10)
        ]

    assert at_once([ten_bays(writer) for writer in range(8)]) == []
    check = checked_book()
    assert check.is_whole, check.because
    assert check.entries == 80


def test_one_entry_sent_by_eight_at_once_is_stored_once() -> None:
    once = told(entry_id=uuid.uuid4())
    assert at_once([lambda: add_bay(code="1", name="Bay", told=once)] * 8) == []
    assert Entry.objects.count() == 1


def test_no_guard_is_missing_after_migrate() -> None:
    assert guards.missing_guards() == []


def test_a_missing_guard_is_named() -> None:
    triggers.drop_guards(connection, ["yard_bay"], [])
    try:
        assert (
            set(guards.missing_guards())
            == {
                "sqlite": {"yard_bay_no_update", "yard_bay_no_delete"},
                "postgresql": {"yard_bay_no_change", "yard_bay_no_truncate"},
            }[connection.vendor]
        )
    finally:
        triggers.create_guards(connection, guards.append_only_tables(), guards.seals())


def test_truncate_is_refused_where_the_engine_has_it() -> None:
    add_bay(code="1", name="Bay 1", told=told())
    statement = "TRUNCATE records_entry CASCADE" if connection.vendor == "postgresql" else "DELETE FROM records_entry"
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    assert Entry.objects.count() == 1


def test_insert_or_replace_does_not_get_round_the_guard() -> None:
    row = add_bay(code="1", name="Bay 1", told=told())
    statement = {
        "sqlite": "INSERT OR REPLACE INTO yard_bay (entry_id, code, name, reason) VALUES (%s, '1', 'Other', '')",
        "postgresql": "INSERT INTO yard_bay (entry_id, code, name, reason) VALUES (%s, '1', 'Other', '') "
        "ON CONFLICT (entry_id) DO UPDATE SET name = 'Other'",
    }[connection.vendor]
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement, [row.pk])


TAMPERINGS = {
    "a name changed in the row": ("UPDATE yard_bay SET name = 'Bay X' WHERE entry_id = 2", 2),
    "a row taken out": ("DELETE FROM yard_bay WHERE entry_id = 2", 2),
    "the person changed": ("UPDATE records_entry SET person = 'ZZ' WHERE number = 2", 2),
    "the time changed": ("UPDATE records_entry SET happened_at = booked_at WHERE number = 2", 2),
    "an entry made over with its row": (
        "UPDATE records_entry SET body = replace(body, 'Bay 2', 'Bay X') WHERE number = 2; "
        "UPDATE yard_bay SET name = 'Bay X' WHERE entry_id = 2",
        2,
    ),
    "a link cut": ("UPDATE records_entry SET previous_hash = '" + "0" * 63 + "1' WHERE number = 3", 3),
    "an entry taken out of the middle": (
        "DELETE FROM yard_bay WHERE entry_id = 2; DELETE FROM records_entry WHERE number = 2",
        2,
    ),
    "two entries with their numbers swapped": (
        "DELETE FROM yard_bay; UPDATE records_entry SET number = 99 WHERE number = 2; "
        "UPDATE records_entry SET number = 2 WHERE number = 3; UPDATE records_entry SET number = 3 WHERE number = 99",
        1,
    ),
}


@pytest.mark.parametrize("tampering", TAMPERINGS)
def test_a_hand_in_the_file_is_shown_and_the_first_bad_entry_named(tampering: str) -> None:
    for code in "1234":
        add_bay(code=code, name=f"Bay {code}", told=told(happened_at=MORNING - dt.timedelta(minutes=5)))
    assert checked_book().is_whole
    statements, first_bad = TAMPERINGS[tampering]
    triggers.drop_guards(connection, guards.append_only_tables(), guards.seals())
    with connection.constraint_checks_disabled(), connection.cursor() as cursor:
        for statement in statements.split("; "):
            cursor.execute(statement)
    check = checked_book()
    assert not check.is_whole
    assert check.first_bad == first_bad
