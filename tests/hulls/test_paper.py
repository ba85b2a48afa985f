"""Dry sheets: numbered for each hull, written on by hand, and every entry copied from one names it."""

import uuid

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from hullbook.hulls.enums import PaperKind
from hullbook.hulls.models import PaperSheet
from hullbook.hulls.selectors import paper_of
from hullbook.hulls.services import print_paper_sheet
from hullbook.materials.services import strike_out
from hullbook.pours.models import HoldTest
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from tests.cast import told
from tests.hulls.factories import Berth, make_berth
from tests.pours.factories import HELD

pytestmark = pytest.mark.django_db


@pytest.fixture
def berth() -> Berth:
    return make_berth()


def printed(berth: Berth, kind: PaperKind = PaperKind.HOLD_TEST) -> PaperSheet:
    return print_paper_sheet(part=berth.part, kind=kind, told=told())


def by_hand(berth: Berth, sheet: str) -> dict[str, str]:
    """A hold test keyed from a paper sheet."""
    return {
        "entry_id": str(uuid.uuid4()),
        "gauge": str(berth.shop.gauge.pk),
        "gauge_kind": "absolute",
        "readings": "\n".join(f"{minute} {shown}" for minute, shown in enumerate(HELD)),
        "air_temperature_start_c": "20.5",
        "air_temperature_end_c": "20.6",
        "happened_at": f"{timezone.localtime():%Y-%m-%d} 00:01",
        "paper_sheet": sheet,
        "answer-gauge": str(berth.shop.gauge.pk),
    }


def test_the_book_numbers_the_sheets_of_a_hull_one_by_one(berth: Berth) -> None:
    assert [printed(berth).number for _ in range(3)] == [1, 2, 3]
    assert {entry.about for entry in Entry.objects.filter(kind="hulls.papersheet")} == {berth.hull.number}


def test_a_sheet_is_printed_from_its_page_with_its_number(berth: Berth, client: Client) -> None:
    client.force_login(berth.shop.builder)
    where = reverse("hulls:paper-sheets", args=[berth.hull.number, berth.part.name])
    answer = client.post(where, {"entry_id": str(uuid.uuid4()), "kind": "pour"})
    assert answer.status_code == 302
    assert answer.url == reverse("hulls:paper-sheet", args=[berth.hull.number, 1])
    sheet = client.get(answer.url).content.decode()
    assert "paper sheet 1" in sheet
    assert berth.hull.number in sheet


@pytest.mark.parametrize(
    ("kind", "field"),
    [
        (PaperKind.POUR, "Catalyst or hardener, g"),
        (PaperKind.HOLD_TEST, "Gauge, mbar"),
        (PaperKind.LAY_UP, "Otherwise"),
    ],
)
def test_a_sheet_has_the_fields_of_its_page_empty(berth: Berth, client: Client, kind: PaperKind, field: str) -> None:
    client.force_login(berth.shop.builder)
    sheet = printed(berth, kind)
    page = client.get(reverse("hulls:paper-sheet", args=[berth.hull.number, sheet.number])).content.decode()
    assert field in page
    assert page.count("<td></td>") > 30


def test_a_number_that_was_never_printed_is_not_found(berth: Berth, client: Client) -> None:
    client.force_login(berth.shop.builder)
    answer = client.get(reverse("hulls:paper-sheet", args=[berth.hull.number, 7]))
    assert answer.status_code == 404
    assert "No paper sheet 7 was printed" in answer.content.decode()


def test_an_entry_copied_from_paper_names_its_sheet_and_the_book_seals_it(berth: Berth, client: Client) -> None:
    client.force_login(berth.shop.builder)
    printed(berth)
    where = reverse("pours:hold-test-log", args=[berth.hull.number, berth.part.name])
    answer = client.post(where, by_hand(berth, "1"))
    assert answer.status_code == 302, answer.context["form"].errors
    entry = HoldTest.objects.get().entry
    assert entry.paper_sheet == 1
    assert '"paper_sheet":1' in entry.body
    assert checked_book().is_whole
    (card,) = paper_of(berth.hull).cards
    assert card.copied == (entry,)
    entries = client.get(reverse("hulls:entries", args=[berth.hull.number])).content.decode()
    assert "told from paper sheet 1" in entries


def test_an_entry_that_was_not_copied_names_no_sheet(berth: Berth, client: Client) -> None:
    client.force_login(berth.shop.builder)
    where = reverse("pours:hold-test-log", args=[berth.hull.number, berth.part.name])
    assert client.post(where, by_hand(berth, "")).status_code == 302
    assert HoldTest.objects.get().entry.paper_sheet is None


def test_sheets_and_entries_are_counted_against_each_other(berth: Berth, client: Client) -> None:
    """One copied, one not used, one still out; and an entry that names a sheet nobody printed."""
    client.force_login(berth.shop.builder)
    sheets = [printed(berth) for _ in range(3)]
    strike_out(entry=sheets[1].entry, reason="rained on, not used", told=told())
    where = reverse("pours:hold-test-log", args=[berth.hull.number, berth.part.name])
    for number in ("1", "9"):
        assert client.post(where, by_hand(berth, number)).status_code == 302
    paper = paper_of(berth.hull)
    assert [bool(card.copied) for card in paper.cards] == [True, False, False]
    assert [card.is_struck for card in paper.cards] == [False, True, False]
    assert paper.open_count == 1
    assert paper.never_printed == (9,)
    page = client.get(reverse("hulls:paper-sheets", args=[berth.hull.number, berth.part.name])).content.decode()
    assert "name paper sheet 9, but no such sheet was printed" in page
    assert "not used: rained on, not used" in page


@pytest.mark.parametrize("keyed", ["-1", "0", "one", "10000"])
def test_a_sheet_number_that_cannot_be_is_refused(berth: Berth, client: Client, keyed: str) -> None:
    client.force_login(berth.shop.builder)
    where = reverse("pours:hold-test-log", args=[berth.hull.number, berth.part.name])
    answer = client.post(where, by_hand(berth, keyed))
    assert answer.status_code == 422
    assert answer.context["form"].errors["paper_sheet"]
    assert not HoldTest.objects.exists()
