import datetime as dt
import hashlib
import json
import re
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from functools import cached_property
from io import BytesIO
from typing import Any, get_args

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from pypdf import PdfReader
from pytest_django.plugin import DjangoDbBlocker

from hullbook.calc import chain
from hullbook.dossier.report import draw_dossier, reading_copy, record_inside
from hullbook.dossier.report.drawn import FILLS, PENS
from hullbook.dossier.report.lettering import BOLD, REGULAR, MissingGlyph, markup, plain, shortened, text_ok, width
from hullbook.dossier.selectors import DossierContent, book_of, dossier_content
from hullbook.drawings.scene import FillRole, LineRole
from hullbook.hulls.services import leave_yard
from hullbook.quantities.showing import show_number
from hullbook.records.models import Entry
from tests.cast import told
from tests.dossier.factories import Built, at, build_hull, log_air, mix_pail
from tests.dossier.pages import texts

pytestmark = pytest.mark.django_db


@dataclass(frozen=True)
class Drawn:
    built: Built
    content: DossierContent
    pdf: bytes

    @cached_property
    def pages(self) -> list[str]:
        return texts(self.pdf)


@pytest.fixture(scope="module")
def dossier(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Drawn]:
    """A hull told and drawn once for all tests of this file; each test's own entries go with the test."""
    with django_db_blocker.unblock(), transaction.atomic():
        built = build_hull()
        content = dossier_content(built.hull)
        yield Drawn(built, content, draw_dossier(content))
        transaction.set_rollback(True)


def drawn(built: Built) -> bytes:
    return draw_dossier(dossier_content(built.hull))


def page_of(pages: list[str], words: str) -> str:
    return next(page for page in pages[3:] if words in page)


def test_every_page_says_whose_it_is_and_where_it_stands(dossier: Drawn) -> None:
    pages = dossier.pages
    assert len(pages) >= 12
    for number, page in enumerate(pages, start=1):
        assert "Hull MB84-01" in page
        assert "GB-MWB00101E626" in page
        assert f"page {number} of {len(pages)}" in page
        assert "drawn, not issued: as it stands, not for acceptance" in page
        assert "Merrowby Boatworks: invented data" in page
        assert re.search(r"as at entry \d+ of 2026-05-15 09:50 UTC", page)


def test_the_first_three_pages_are_cover_answers_and_contents(dossier: Drawn) -> None:
    pages = dossier.pages
    last = Entry.objects.filter(about="MB84-01").order_by("-number")[0]
    assert "serial 00101, May 2026, model year 2026" in pages[0]
    assert last.hash in pages[0]
    assert "commercial craft under survey" in pages[0]
    assert "The six answers" in pages[1]
    assert pages[1].count("not in this version: no verdict") == 2
    assert "What is missing" in pages[1]
    assert "Contents" in pages[2]


def test_the_contents_name_the_page_each_chapter_begins_on(dossier: Drawn) -> None:
    pages = dossier.pages
    for letter, title in (("F", "Materials and lots"), ("K", "Resin plan and pour"), ("Q", "Hold points")):
        page = int(re.search(rf"{letter} {title}.*? (\d+) [G-R] ", pages[2]).group(1))  # type: ignore[union-attr]
        assert f"{letter} {title}" in pages[page - 1]


def test_chapters_that_are_not_filled_are_named_as_such(dossier: Drawn) -> None:
    contents = dossier.pages[2]
    for line in ("H Mould, release, gelcoat, skin coat", "O Structure after demould", "P Weights and dimensions"):
        assert f"{line} not in this version none" in contents


def test_the_pail_table_gives_the_figures_as_the_pages_of_the_yard_do(dossier: Drawn) -> None:
    built = dossier.built
    pour = page_of(dossier.pages, "pour 1, begun by")
    for mix in built.mixes:
        masses = {component.role: component.mass_kg for component in mix.components.all()}
        line = (
            mix.pail_number,
            f"{mix.entry.happened_at:%H:%M:%S}",
            show_number(masses["resin"], "kg"),
            show_number(masses["catalyst"], "kg", 3),
            "–",
            show_number(mix.dose_phr, "phr"),
            show_number(mix.resin_temperature_c, "degC"),
            "R-0007, R-0008",
            mix.inlet,
            "MO",
            "RT",
        )
        assert " ".join(str(cell) for cell in line) in pour
    assert "S-01, due 2027-01-12; S-02, due 2027-01-12; T-01, due 2027-01-12" in pour


def test_entries_that_no_longer_stand_are_shown_with_their_reason(dossier: Drawn) -> None:
    pages = dossier.pages
    pour = page_of(pages, "pour 1, begun by")
    assert "corrected: inlet misread" in pour
    assert "struck out: never mixed, keyed for practice" in pour
    assert "Mixed: 5 pails" in pour
    told_in_r = page_of(pages, "Corrected and struck out: 2")
    assert "struck out in entry" in told_in_r
    assert "Logged late, more than two minutes after it happened: 2" in " ".join(pages)
    assert "copied from paper sheets 1; told on a tablet whose clock was off 1." in " ".join(pages)
    off = page_of(pages, "By a tablet's clock more than half a minute off; logged by the book's: 1")
    assert "the tablet showed 2026-05-12 12:02:05: 2 min 5 s ahead of the book" in off
    assert "Is 1540 right? Asked, confirmed: 1540." in page_of(pages, "Asked about and answered: 1")


def test_climate_outside_its_limit_stands_among_the_findings(dossier: Drawn) -> None:
    pages = dossier.pages
    assert any("air temperature: fail" in page for page in pages if "Humidity, %" in page)
    findings = page_of(pages, "N Findings and decisions")
    assert "air temperature" in findings
    assert "17.00 °C; at least 18.00 °C" in findings


def test_certificates_travel_inside_byte_for_byte(dossier: Drawn) -> None:
    content = dossier.content
    inside = {file.name: file for file in PdfReader(BytesIO(dossier.pdf)).attachment_list}
    assert len(content.attachments) == 6
    for attachment in content.attachments:
        file = inside[attachment.name]
        assert hashlib.sha256(file.content).hexdigest() == attachment.sha256
        assert file.associated_file_relationship == "/Supplement"
        assert attachment.sha256[:30] in "".join(dossier.pages)


def test_the_entries_inside_hash_to_what_the_cover_says(dossier: Drawn) -> None:
    """Source of the hash: SHA-256 (FIPS 180-4) over the chain's own label, done here without the book."""
    pdf = dossier.pdf
    text = record_inside(pdf)
    assert text is not None
    told_inside = json.loads(text)
    for entry in told_inside["entries"]:
        envelope = {name: value for name, value in entry.items() if name not in ("hash", "previous_hash")}
        digest = hashlib.sha256(
            chain.CHAIN_LABEL + bytes.fromhex(entry["previous_hash"]) + chain.canonical(envelope).encode()
        )
        assert digest.hexdigest() == entry["hash"]
    assert told_inside["as_at"]["hash"] == told_inside["entries"][-1]["hash"]
    assert told_inside["as_at"]["hash"] in texts(pdf)[0]


def test_no_password_and_no_account_of_a_person_beyond_the_entries_is_inside(dossier: Drawn) -> None:
    content = json.loads(book_of(dossier.content))["content"]
    assert "password" not in json.dumps(content)
    assert {use["person"]["initials"] for use in content["people"]} == {"KJ", "MO", "RT"}


def test_the_same_book_gives_the_same_bytes(dossier: Drawn, settings: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    built, first = dossier.built, dossier.pdf
    assert drawn(built) == first
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    time.tzset()
    settings.TIME_ZONE = "Pacific/Auckland"
    monkeypatch.setattr(timezone, "now", lambda: dt.datetime(2031, 1, 1, tzinfo=dt.UTC))
    try:
        assert drawn(built) == first
    finally:
        monkeypatch.undo()
        time.tzset()


def test_what_happens_on_other_hulls_does_not_change_a_dossier(dossier: Drawn) -> None:
    built, first = dossier.built, dossier.pdf
    log_air(built.berth, at(60 * 24 * 9))
    assert drawn(built) == first


def test_a_later_entry_about_the_hull_is_drawn(dossier: Drawn) -> None:
    built = dossier.built
    leave_yard(
        hull=built.hull,
        left_on=at(0).date() + dt.timedelta(days=2),
        delivered_to="invented pilots",
        told=told(at=at(3000)),
    )
    first = texts(drawn(built))[0]
    assert "2026-05-16, to invented pilots" in first
    assert "2026-05-16 10:00 UTC" in first


def test_nasty_words_arrive_whole_or_by_their_codes(dossier: Drawn) -> None:
    found = page_of(dossier.pages, "N Findings and decisions")
    assert 'a <b & "c", =1+1, Ωδ ≤ 3 → 4' in found
    assert "[U+202E]reversed" in found
    assert "[U+1F6A2]" in found
    assert "line↵end" in found


def test_text_the_face_cannot_show_is_refused_by_name() -> None:
    with pytest.raises(MissingGlyph, match=r"'ship \U0001f6a2' .* U\+1F6A2"):
        text_ok("ship \U0001f6a2")
    with pytest.raises(MissingGlyph, match=r"U\+0007"):
        text_ok("bell\a")
    for face in (REGULAR, BOLD):
        assert text_ok("°²³µ×±≤≥−–—Ωδ€øåÆßŁłčśžğΔσ½→✓", face)


def test_user_text_loses_no_character() -> None:
    assert plain("bell\a tab\tend") == "bell[U+0007] tab end"
    assert plain("e\u0301") == "é"
    assert markup("<b>&amp;") == "&lt;b&gt;&amp;amp;"
    assert shortened("a long word", 20, 8).endswith("…")
    assert width(shortened("a long word", 20, 8), 8) <= 20


def test_every_role_of_a_drawing_has_its_pen_or_its_fill() -> None:
    assert set(PENS) == set(get_args(LineRole))
    assert set(FILLS) == set(get_args(FillRole))


def test_the_reading_copy_carries_hull_and_lot_on_each_certificate_page(dossier: Drawn) -> None:
    content = dossier.content
    copy = reading_copy(content, dossier.pdf)
    assert copy == reading_copy(content, dossier.pdf)
    pages, own = texts(copy), len(dossier.pages)
    assert len(pages) == own + len(content.attachments)
    for page, attachment in zip(pages[own:], content.attachments, strict=True):
        assert f"Hull MB84-01, lot {attachment.lot_codes}" in page


def test_gathering_takes_a_fixed_number_of_queries_and_drawing_none(
    dossier: Drawn, django_assert_num_queries: Callable[[int], AbstractContextManager[None]]
) -> None:
    with CaptureQueriesContext(connection) as few:
        dossier_content(dossier.built.hull)
    for pail in range(7, 15):
        mix_pail(dossier.built.berth, dossier.built.pour, pail, 50 + pail)
        log_air(dossier.built.berth, at(200 + pail))
    with django_assert_num_queries(len(few)):
        content = dossier_content(dossier.built.hull)
    with django_assert_num_queries(0):
        draw_dossier(content)
