import hashlib
import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import transaction
from django.http import Http404
from django.test import Client
from django.urls import reverse
from pytest_django.plugin import DjangoDbBlocker

from hullbook.dossier.models import DossierIssue
from hullbook.dossier.selectors import dossier_content, issued_bytes, issues_of
from hullbook.dossier.services import check_dossier, issue_dossier
from hullbook.hulls.services import leave_yard
from hullbook.records.models import Entry
from tests.cast import told
from tests.dossier.factories import Built, at, build_hull
from tests.dossier.pages import texts

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def built(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Built]:
    """A hull told once for all tests of this file; each test's own entries go with the test."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield build_hull()
        transaction.set_rollback(True)


def issue(built: Built, minutes: float = 2000, **changes: object) -> DossierIssue:
    return issue_dossier(hull=built.hull, told=told("KJ", at=at(minutes), **changes))


def test_an_issue_is_stored_once_and_handed_out_unchanged(built: Built) -> None:
    first = issue(built)
    before = issued_bytes(first)
    leave_yard(hull=built.hull, left_on=at(0).date(), delivered_to="", told=told(at=at(3000)))
    assert issued_bytes(DossierIssue.objects.get(pk=first.pk)) == before
    assert hashlib.sha256(before).hexdigest() == first.file_id
    assert all("issue 1: as it stands, not for acceptance" in page for page in texts(before))


def test_issues_are_numbered_and_name_those_before_them(built: Built) -> None:
    first = issue(built)
    second = issue(built, 2100)
    assert [found.number for found in issues_of(built.hull)] == [2, 1]
    assert f"Issued before 1 (entry {first.pk})" in texts(issued_bytes(second))[0]
    assert "Issued before nothing" in texts(issued_bytes(first))[0]


def test_the_entry_of_an_issue_says_what_it_was_drawn_from(built: Built) -> None:
    last = Entry.objects.filter(about="MB84-01").order_by("-number")[0]
    issued = issue(built)
    assert issued.upto_entry == last.number
    assert issued.as_it_stands
    assert issued.missing_count == len(dossier_content(built.hull).missing) > 0
    assert issued.entry.about == "MB84-01"


def test_the_same_form_sent_twice_issues_once(built: Built) -> None:
    once = told("KJ", at=at(2000))
    first = issue_dossier(hull=built.hull, told=once)
    assert issue_dossier(hull=built.hull, told=once).pk == first.pk
    assert DossierIssue.objects.count() == 1


def test_an_issued_file_is_known_by_the_book(built: Built) -> None:
    issued = issue(built)
    check = check_dossier(issued_bytes(issued))
    assert check.is_good
    assert check.issue == issued
    assert check.entries > 100


def test_one_altered_byte_is_noticed(built: Built) -> None:
    pdf = bytearray(issued_bytes(issue(built)))
    pdf[len(pdf) // 2] ^= 1
    check = check_dossier(bytes(pdf))
    assert not check.is_good
    assert check.issue is None


def test_a_drawn_file_agrees_with_the_book_but_is_no_issue(built: Built, tmp_path: Path) -> None:
    out = tmp_path / "drawn.pdf"
    call_command("dossier", "MB84-01", "--out", str(out), stdout=io.StringIO())
    check = check_dossier(out.read_bytes())
    assert check.problems == ()
    assert not check.is_good
    with pytest.raises(CommandError, match=r"not a dossier this book has issued.*entries inside it are the book's"):
        call_command("check_dossier", str(out))


def test_a_file_from_another_book_differs_entry_by_entry(built: Built, monkeypatch: pytest.MonkeyPatch) -> None:
    pdf = issued_bytes(issue(built))
    monkeypatch.setattr(Entry, "envelope", lambda entry: {"number": entry.number})
    check = check_dossier(pdf)
    assert len(check.problems) > 100
    assert "does not say what the book says" in check.problems[0]


def test_a_file_that_is_no_dossier_is_told_apart(tmp_path: Path) -> None:
    file = tmp_path / "other.pdf"
    file.write_bytes(b"%PDF-1.4 nothing")
    errors = io.StringIO()
    with pytest.raises(CommandError, match="not a dossier this book has issued"):
        call_command("check_dossier", str(file), stderr=errors)
    assert "no book.json" in errors.getvalue()


def test_the_command_says_that_an_issue_is_good(built: Built, tmp_path: Path) -> None:
    file = tmp_path / "issued.pdf"
    file.write_bytes(issued_bytes(issue(built)))
    said = io.StringIO()
    call_command("check_dossier", str(file), stdout=said)
    assert "issue 1 of hull MB84-01" in said.getvalue()


def test_the_command_draws_the_same_bytes_twice_and_a_reading_copy(built: Built, tmp_path: Path) -> None:
    said = io.StringIO()
    for name in ("a", "b"):
        call_command(
            "dossier", "MB84-01", "--out", str(tmp_path / f"{name}.pdf"),
            "--reading-copy", str(tmp_path / f"{name}r.pdf"), stdout=said,
        )  # fmt: skip
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()
    assert (tmp_path / "ar.pdf").read_bytes() == (tmp_path / "br.pdf").read_bytes()
    assert hashlib.sha256((tmp_path / "a.pdf").read_bytes()).hexdigest() in said.getvalue()
    with pytest.raises(CommandError, match="No hull MB84-99 in this book; it has MB84-01"):
        call_command("dossier", "MB84-99", "--out", str(tmp_path / "c.pdf"))


def test_a_stored_file_that_was_altered_is_not_handed_out(built: Built) -> None:
    issued = issue(built)
    path = Path(default_storage.path(issued.file.path))
    whole = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(whole[:-1] + b"x")
    try:
        with pytest.raises(Http404, match="not what was issued"):
            issued_bytes(issued)
    finally:
        path.write_bytes(whole)


# ---- on the site


def test_the_page_tells_how_the_dossier_stands(built: Built, client: Client) -> None:
    client.force_login(built.berth.shop.builder)
    page = client.get(reverse("dossier:dossier", args=["MB84-01"])).content.decode()
    assert "As it stands, not for acceptance" in page
    assert "Nothing is issued yet" in page
    assert "hold point 6, before bag off, is not released" in page
    assert reverse("dossier:issue", args=["MB84-01"]) not in page


def test_the_quality_lead_issues_and_anybody_takes_it_down(built: Built, client: Client) -> None:
    client.force_login(built.berth.shop.lead)
    page = client.get(reverse("dossier:dossier", args=["MB84-01"]))
    entry_id = page.context["form"].initial["entry_id"]
    answer = client.post(reverse("dossier:issue", args=["MB84-01"]), {"entry_id": str(entry_id)})
    assert answer.status_code == 302
    issued = DossierIssue.objects.get()
    assert answer["HB-Entry"] == str(issued.pk)
    client.force_login(built.berth.shop.builder)
    download = client.get(reverse("dossier:download", args=["MB84-01", 1]))
    assert download["Content-Type"] == "application/pdf"
    assert 'filename="MB84-01-dossier-1.pdf"' in download["Content-Disposition"]
    assert hashlib.sha256(download.content).hexdigest() == issued.file_id
    assert issued.file_id[:16] in client.get(reverse("dossier:dossier", args=["MB84-01"])).content.decode()
    assert client.get(reverse("dossier:download", args=["MB84-01", 2])).status_code == 404


def test_a_builder_does_not_issue(built: Built, client: Client) -> None:
    client.force_login(built.berth.shop.builder)
    url = reverse("dossier:issue", args=["MB84-01"])
    assert client.post(url, {"entry_id": "00000000-0000-4000-8000-000000000000"}).status_code == 403
    assert client.get(url).status_code == 405
    assert not DossierIssue.objects.exists()


def test_drawing_as_it_stands_gives_the_pdf_and_logs_nothing(built: Built, client: Client) -> None:
    entries = Entry.objects.count()
    client.force_login(built.berth.shop.office)
    answer = client.get(reverse("dossier:draw", args=["MB84-01"]))
    assert answer["Content-Type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    assert Entry.objects.count() == entries


def test_a_hull_that_is_not_there_has_no_dossier(built: Built, client: Client) -> None:
    client.force_login(built.berth.shop.lead)
    for name in ("dossier", "draw"):
        assert client.get(reverse(f"dossier:{name}", args=["MB84-77"])).status_code == 404
