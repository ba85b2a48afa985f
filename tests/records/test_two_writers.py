"""Two hands at once: the chain never forks, and one entry sent by both is stored once. Raw SQL is refused."""

import datetime as dt
import threading
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from django.db import IntegrityError, connection, connections, transaction

from hullbook.records import guards, triggers
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.yard.models import ClimateReading
from hullbook.yard.services import add_bay
from tests.cast import MORNING, Shop, open_shop, told
from tests.records.factories import Tapped, climate, shed_tablet

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def shop() -> Shop:
    return open_shop()


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


def test_one_tap_sent_two_to_five_times_at_once_is_one_entry(shop: Shop) -> None:
    tablet = shed_tablet(shop)
    answers: list[dict[str, Any]] = []
    for count in (2, 3, 4, 5, 5, 5):
        tapped = tablet.tap("MO", climate(shop))
        connections_of_it = [tablet.again() for _ in range(count)]
        answers.clear()
        acts = [lambda one=one, tapped=tapped: answers.append(one.send(tapped).json()) for one in connections_of_it]
        assert at_once(acts) == []
        assert {(answer["entry"], answer["hash"]) for answer in answers} == {
            (ClimateReading.objects.latest("pk").pk, ClimateReading.objects.latest("pk").entry.hash)
        }
        assert len(answers) == count
    assert ClimateReading.objects.count() == 6
    assert checked_book().is_whole


def test_with_a_new_id_at_each_sending_one_tap_would_be_several(shop: Shop) -> None:
    tablet = shed_tablet(shop)
    tapped = tablet.tap("MO", climate(shop))
    anew = [Tapped(tapped.where, {**tapped.fields, "entry_id": str(uuid.uuid4())}) for _ in range(3)]
    pairs = zip([tablet.again() for _ in anew], anew, strict=True)
    assert at_once([lambda one=one, sent=sent: one.send(sent) for one, sent in pairs]) == []
    assert ClimateReading.objects.count() == 3


@pytest.mark.urls("tests.records.one_pail")
@pytest.mark.parametrize(("page", "names_the_first"), [("pail-named", True), ("pail", False)])
def test_two_tablets_that_log_one_pail_are_both_taken_and_one_is_told_of_the_other(
    shop: Shop, page: str, names_the_first: bool
) -> None:
    tablets = [shed_tablet(shop, "tablet bay 1"), shed_tablet(shop, "tablet bay 2")]
    answers: list[Any] = []
    for pail in range(10):
        answers.clear()
        sent = [(one, one.tap("MO", climate(shop, place=f"Pail {pail}"), page=page)) for one in tablets]
        acts = [lambda one=one, tapped=tapped: answers.append(one.send(tapped)) for one, tapped in sent]
        assert at_once(acts) == []
        assert [answer.status_code for answer in answers] == [201, 201]
        first, second = sorted((answer.json() for answer in answers), key=lambda answer: int(answer["entry"]))
        assert first["beside"] is None
        words = f"Pail {pail} was also logged as entry {first['entry']} by MO."
        assert second["beside"] == (words if names_the_first else None)
        again = tablets[0].send(sent[0][1])
        assert again.json()["beside"] in (first["beside"], second["beside"])
    assert ClimateReading.objects.count() == 20
    assert checked_book().is_whole


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


def test_a_table_still_to_be_made_misses_no_guard_yet(monkeypatch: pytest.MonkeyPatch) -> None:
    to_come = [*guards.append_only_tables(), "yard_still_to_come"]
    monkeypatch.setattr(guards, "append_only_tables", lambda: to_come)
    assert guards.missing_guards() == []


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
