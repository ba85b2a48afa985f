from io import BytesIO

import pytest
from django.db import transaction
from PIL import Image
from pypdf import PdfReader, PdfWriter
from pytest_django.plugin import DjangoDbBlocker

from hullbook.dossier.report import draw_dossier, reading_copy
from hullbook.dossier.selectors import Answer, dossier_content
from hullbook.hulls.enums import LayingOutcome
from hullbook.inspection.enums import FindingKind
from hullbook.inspection.services import log_finding
from hullbook.materials.services import attach_certificate
from tests.cast import DAY, open_shop, told
from tests.dossier.factories import at, build_hull
from tests.dossier.pages import boxes, texts
from tests.hulls.factories import Berth, make_berth
from tests.inspection.factories import complete_hull
from tests.materials.factories import stock_shelf

pytestmark = pytest.mark.django_db

MM = 72 / 25.4


@pytest.fixture(scope="module")
def long_dossier(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> bytes:
    """The dossier of a hull with forty pails."""
    with django_db_blocker.unblock(), transaction.atomic():
        pdf = draw_dossier(dossier_content(build_hull(pails=40).hull))
        transaction.set_rollback(True)
    return pdf


def test_no_text_stands_outside_the_margins_or_below_the_foot(long_dossier: bytes) -> None:
    for page in boxes(long_dossier):
        assert page
        for box in page:
            assert box.left >= 15 * MM - 1
            assert box.right <= (210 - 15) * MM + 1
            assert box.bottom >= 15 * MM - 1
            assert box.top <= (297 - 15) * MM + 1


def test_a_long_table_repeats_its_head_on_each_page(long_dossier: bytes) -> None:
    pages = texts(long_dossier)
    with_pails = [page for page in pages if "R-0007, R-0008" in page]
    assert len(with_pails) >= 2
    assert all("Mixed by" in page for page in with_pails)


def test_a_hull_just_laid_down_has_a_dossier_that_says_so() -> None:
    hull = make_berth().hull
    pages = texts(draw_dossier(dossier_content(hull)))
    assert "nothing from any lot has gone into this hull" in pages[1]
    assert "not given yet" in pages[0]
    assert any("Not wanted, because no hold test was made" in page for page in pages) or "missing" in pages[2]


def test_a_hull_with_nothing_missing_still_waits_for_the_chapters_this_version_has_not() -> None:
    shop = open_shop()
    whole = complete_hull(shop, stock_shelf(shop))
    content = dossier_content(whole.hull)
    assert content.missing == ()
    assert content.as_it_stands
    pages = texts(draw_dossier(content))
    assert "What is missing: nothing" in pages[1]
    assert [answer.verdict for answer in content.answers if answer.number in (3, 4)] == ["no verdict"] * 2
    assert all("as it stands, not for acceptance" in page for page in pages)


def test_words_as_long_as_a_field_takes_stay_inside_the_margins() -> None:
    built = build_hull()
    log_finding(
        part=built.part, kind=FindingKind.OTHER, zone_name="Keel", place="p" * 80, length_mm=None, width_mm=None,
        words="unbroken" * 50, told=told("KJ", at=at(1600)),
    )  # fmt: skip
    built.berth.lay(6, deviation="d" * 400, outcome=LayingOutcome.OTHERWISE, told=told("MO", at=at(1610)))
    pdf = draw_dossier(dossier_content(built.hull))
    assert "unbroken" * 50 in "".join(texts(pdf)).replace(" ", "")
    assert max(box.right for page in boxes(pdf) for box in page) <= (210 - 15) * MM + 1


def test_certificates_of_every_kind_have_pages_in_the_reading_copy() -> None:
    built = build_hull()
    lot = built.berth.shelf.lot(built.berth.shelf.resin)
    picture = BytesIO()
    Image.new("RGB", (1600, 900), "white").save(picture, "PNG")
    landscape = PdfWriter()
    landscape.add_blank_page(842, 595).rotate(90)
    turned = BytesIO()
    landscape.write(turned)
    for number, content in enumerate((picture.getvalue(), turned.getvalue()), start=1):
        attach_certificate(
            lot=lot, kind="test sheet", number=f"T-{number}", dated_on=DAY, content=content, sent_name="Blatt ß.pdf",
            told=told("EL", at=at(1700 + number)),
        )  # fmt: skip
    content = dossier_content(built.hull)
    dossier = draw_dossier(content)
    assert {file.name for file in PdfReader(BytesIO(dossier)).attachment_list} >= {
        attachment.name for attachment in content.attachments
    }
    pages = texts(reading_copy(content, dossier))
    assert len(pages) == len(texts(dossier)) + 8
    assert sum("lot R-0007: test sheet T-" in page for page in pages) == 2


def answer(number: int, berth: Berth) -> Answer:
    return next(found for found in dossier_content(berth.hull).answers if found.number == number)


def laid_in_full(berth: Berth, *, but: int = 0, share: float = 1.0) -> None:
    """Lay every line with all it asks for, and one of them with a share of it."""
    lay_up = dossier_content(berth.hull).parts[0].lay_up
    for view in (view for zone in lay_up.zones for view in zone.lines):
        assert view.planned_quantity is not None
        number = view.line.number
        berth.lay(number, quantity=view.planned_quantity * (share if number == but else 1.0))


def test_a_line_laid_with_all_it_asks_for_is_not_short() -> None:
    berth = make_berth()
    laid_in_full(berth, but=4, share=0.91)
    assert dossier_content(berth.hull).parts[0].lay_up.laid_short == ()


def test_a_line_laid_with_less_than_nine_tenths_of_what_it_asks_for_is_named() -> None:
    berth = make_berth()
    laid_in_full(berth, but=4, share=0.5)
    asked = 18.0 * 1.27 / (1.27 - 0.05)  # area times roll width over roll width less lap; common practice, no source
    short = dossier_content(berth.hull).parts[0].lay_up.laid_short
    assert short == (f"line 4 {asked / 2:.2f}\u00a0m² of {asked:.2f}\u00a0m², less than 90\u00a0% (common practice)",)


def test_a_second_laying_to_the_same_line_makes_up_what_the_first_left_short() -> None:
    berth = make_berth()
    laid_in_full(berth, but=4, share=0.5)
    berth.lay(4, quantity=9.0)
    assert dossier_content(berth.hull).parts[0].lay_up.laid_short == ()


def test_a_hull_with_a_line_laid_short_passes_only_on_condition() -> None:
    shop = open_shop()
    whole = complete_hull(shop, stock_shelf(shop))
    content = dossier_content(whole.hull)
    assert content.missing == ()
    assert content.parts[0].lay_up.laid_short
    verdicts = {found.number: found for found in content.answers}
    assert verdicts[2].verdict == verdicts[6].verdict == "conditional pass"
    assert "less than 90\u00a0% (common practice)" in verdicts[2].because


def test_a_hull_laid_up_and_not_poured_is_not_called_built_to_the_plans() -> None:
    berth = make_berth()
    laid_in_full(berth)
    built = answer(6, berth)
    assert built.verdict == "no verdict"
    assert "listed below" in built.because


def test_a_finding_that_nobody_decided_keeps_a_hull_from_being_called_built_to_the_plans() -> None:
    shop = open_shop()
    whole = complete_hull(shop, stock_shelf(shop))
    log_finding(
        part=whole.part, kind=FindingKind.DRY_SPOT, zone_name="Keel", place="station 6, port", length_mm=40.0,
        width_mm=20.0, words="", told=told("KJ", at=at(1600)),
    )  # fmt: skip
    built = next(found for found in dossier_content(whole.hull).answers if found.number == 6)
    assert built.verdict == "no verdict"
    assert "1 missing, listed below" in built.because


def test_a_fibre_share_further_from_the_schedules_than_its_uncertainty_is_no_pass() -> None:
    shop = open_shop()
    whole = complete_hull(shop, stock_shelf(shop))
    content = dossier_content(whole.hull)
    part = content.parts[0]
    fibre, planned = part.used.mass_balance.fibre, part.lay_up.planned_fibre_share
    assert fibre is not None
    assert planned is not None
    agrees = abs(fibre.fibre_mass_fraction - planned) <= 2 * fibre.fibre_mass_fraction_sd
    found = next(one for one in content.answers if one.number == 5)
    assert (found.verdict == "pass") is agrees
    assert f"planned {100 * planned:.1f}\u00a0%" in found.because
