"""No row of the book is changed or taken away, whatever table it stands in and whoever asks the database."""

import pytest
from django.db import IntegrityError, connection, transaction

from hullbook.hulls.models import ScheduleLine, ScheduleRevision, Zone
from hullbook.records import guards
from hullbook.records.selectors import checked_book
from tests.architecture.standing_yard import StandingYard

pytestmark = pytest.mark.django_db


def refused(sql: str, *params: object) -> str:
    with pytest.raises(IntegrityError) as error, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, params)
    return str(error.value)


@pytest.mark.parametrize("table", guards.append_only_tables())
def test_a_row_of_the_book_is_neither_changed_nor_taken_away(yard: StandingYard, table: str) -> None:
    with connection.cursor() as cursor:
        columns = [column.name for column in connection.introspection.get_table_description(cursor, table)]
        cursor.execute(f'SELECT COUNT(*) FROM "{table}"')
        (count,) = cursor.fetchone()
    assert count > 0, f"the yard of these tests has no row in {table}"
    for column in columns:
        assert "append-only" in refused(f'UPDATE "{table}" SET "{column}" = "{column}"')
    assert "append-only" in refused(f'DELETE FROM "{table}"')
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT COUNT(*) FROM "{table}"')
        assert cursor.fetchone() == (count,)


def test_the_schedule_tables_are_those_that_a_signature_seals() -> None:
    assert {seal.table for seal in guards.seals()} == {Zone._meta.db_table, ScheduleLine._meta.db_table}


@pytest.mark.parametrize("model", [Zone, ScheduleLine])
def test_a_signed_schedule_is_neither_changed_nor_added_to_and_a_draft_is(
    yard: StandingYard, model: type[Zone] | type[ScheduleLine]
) -> None:
    table, signed = model._meta.db_table, yard.berth.revision
    draft = ScheduleRevision.objects.exclude(pk=signed.pk).get(part_name=signed.part_name)
    assert model.objects.filter(revision=signed).exists()
    assert "is signed" in refused(
        f'UPDATE "{table}" SET "revision_id" = "revision_id" WHERE revision_id = %s', signed.pk
    )
    assert "is signed" in refused(f'DELETE FROM "{table}" WHERE revision_id = %s', signed.pk)
    into_the_signed = model.objects.filter(revision=draft).order_by("-pk")[0]
    into_the_signed.pk, into_the_signed.revision = None, signed
    if isinstance(into_the_signed, Zone):
        into_the_signed.name = "one more"
    else:
        into_the_signed.number = 99
    with pytest.raises(IntegrityError, match="is signed"), transaction.atomic():
        into_the_signed.save(force_insert=True)
    a_draft_line = model.objects.filter(revision=draft)[0]
    own = "name" if model is Zone else "number"
    slipping = f'UPDATE "{table}" SET revision_id = %s, {own} = %s WHERE id = %s'
    assert "is signed" in refused(slipping, signed.pk, 99, a_draft_line.pk)
    model.objects.filter(pk=a_draft_line.pk).update(**{own: 98})


def test_the_book_of_the_standing_yard_is_whole(yard: StandingYard) -> None:
    check = checked_book()
    assert check.is_whole, check.because
