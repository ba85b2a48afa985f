import datetime as dt

import pytest
from django.db import IntegrityError, connection, transaction

from hullbook.calc import chain
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused, SameIdOtherWords
from hullbook.yard.models import Bay
from hullbook.yard.services import add_bay
from tests.cast import told

pytestmark = pytest.mark.django_db


def test_entries_are_numbered_from_one_and_chained_from_genesis() -> None:
    add_bay(code="1", name="Bay 1", told=told())
    add_bay(code="2", name="Bay 2", told=told())
    first, second = Entry.objects.order_by("number")
    assert (first.number, second.number) == (1, 2)
    assert first.previous_hash == chain.GENESIS.hex()
    assert second.previous_hash == first.hash


def test_a_fresh_book_checks_as_whole() -> None:
    for code in "123":
        add_bay(code=code, name=f"Bay {code}", told=told())
    check = checked_book()
    assert check.is_whole
    assert check.entries == 3
    assert check.head == Entry.objects.get(number=3).hash


def test_the_same_entry_sent_twice_is_stored_once_and_answered_alike() -> None:
    once = told()
    first = add_bay(code="1", name="Bay 1", told=once)
    again = add_bay(code="1", name="Bay 1", told=once)
    assert again == first
    assert Entry.objects.count() == 1


def test_the_same_id_with_other_words_is_refused() -> None:
    once = told()
    add_bay(code="1", name="Bay 1", told=once)
    with pytest.raises(SameIdOtherWords):
        add_bay(code="1", name="Bay one", told=told(entry_id=once.entry_id, fingerprint="1" * 64))
    assert Entry.objects.count() == 1


@pytest.mark.parametrize("sql", ["UPDATE {t} SET name = 'x'", "DELETE FROM {t}"])
def test_a_typed_row_cannot_be_changed_by_sql(sql: str) -> None:
    add_bay(code="1", name="Bay 1", told=told())
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql.format(t=Bay._meta.db_table))


def test_a_bay_whose_name_is_missing_is_refused_in_words_and_leaves_no_entry() -> None:
    with pytest.raises(Refused) as refused:
        add_bay(code="1", name="", told=told())
    assert "name" in refused.value.problems
    assert not Entry.objects.exists()


def test_times_are_kept_to_the_microsecond_on_both_engines() -> None:
    at = dt.datetime(2026, 5, 12, 8, 0, 0, 123456, tzinfo=dt.UTC)
    row = add_bay(code="1", name="Bay 1", told=told(at=at))
    assert Entry.objects.get(pk=row.pk).happened_at == at
    assert checked_book().is_whole


def test_what_lies_ahead_of_the_tap_by_more_than_a_clock_may_be_wrong_is_refused() -> None:
    at = dt.datetime(2026, 5, 12, 8, 0, tzinfo=dt.UTC)
    add_bay(code="1", name="Bay 1", told=told(at=at, happened_at=at + dt.timedelta(minutes=5)))
    with pytest.raises(Refused, match="2026-05-12 08:06 lies ahead"):
        add_bay(code="2", name="Bay 2", told=told(at=at, happened_at=at + dt.timedelta(minutes=6)))
    assert Entry.objects.count() == 1


def test_a_nul_character_is_refused_in_words_on_both_engines() -> None:
    with pytest.raises(Refused) as refused:
        add_bay(code="1", name="Bay\0one", told=told())
    assert "NUL character" in refused.value.problems["name"]
    assert not Entry.objects.exists()
