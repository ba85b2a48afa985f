import datetime as dt
import uuid
from typing import Any

import pytest
from bs4 import BeautifulSoup
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from hullbook.materials import selectors, services
from hullbook.materials.enums import LotState
from hullbook.materials.models import Certificate, Lot, LotDecision, Material, MaterialSheet, ResinSystem
from hullbook.records.models import Entry
from hullbook.yard.models import Person
from tests.cast import Shop, open_shop, told
from tests.materials.factories import Shelf, certificate_pdf, receive, stock_shelf

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Shop:
    return open_shop()


@pytest.fixture
def shelf(shop: Shop) -> Shelf:
    return stock_shelf(shop)


@pytest.fixture
def lead(client: Client, shop: Shop) -> Client:
    client.force_login(shop.lead)
    return client


@pytest.fixture
def builder(shop: Shop) -> Client:
    client = Client()
    client.force_login(shop.builder)
    return client


@pytest.fixture
def office(shop: Shop) -> Client:
    client = Client()
    client.force_login(shop.office)
    return client


def _url(name: str, *args: Any) -> str:
    return reverse(f"materials:{name}", args=args)


def _post(client: Client, url: str, **fields: Any) -> Any:
    return client.post(url, {"entry_id": str(uuid.uuid4()), "happened_at": "", **fields})


def _page(response: Any) -> BeautifulSoup:
    return BeautifulSoup(response.content, "html.parser")


def _words(response: Any) -> str:
    return " ".join(_page(response).get_text(" ").split())


READING = [
    ("store",),
    ("ledger",),
    ("material-list",),
    ("material", "PV-80-20"),
    ("system", "VE-10-P50"),
    ("lot", "R-0007"),
    ("receive",),
]
WRITING = [
    ("material-add", "core"),
    ("sheet-revise", "GB-800"),
    ("materials-import",),
    ("system-add",),
    ("lot-receive", "VE-10"),
    ("lot-decide", "R-0007", "hold"),
    ("certificate-attach", "R-0007"),
]


@pytest.mark.parametrize("page", [*READING, *WRITING], ids=lambda page: page[0])
def test_every_page_of_the_store_opens_for_the_quality_lead(shelf: Shelf, lead: Client, page: tuple[str, ...]) -> None:
    response = lead.get(_url(*page))
    assert response.status_code == 200
    assert "store" in _words(response).lower()
    assert "style=" not in response.content.decode()


@pytest.mark.parametrize("page", READING, ids=lambda page: page[0])
def test_a_builder_reads_the_store(shelf: Shelf, builder: Client, page: tuple[str, ...]) -> None:
    assert builder.get(_url(*page)).status_code == 200


@pytest.mark.parametrize("page", [*READING, *WRITING], ids=lambda page: page[0])
def test_nobody_reads_the_store_from_outside(shelf: Shelf, page: tuple[str, ...]) -> None:
    assert Client().get(_url(*page)).status_code == 302


@pytest.mark.parametrize(
    ("decision", "by_builder", "by_office", "by_lead"),
    [("release", 403, 403, 302), ("reject", 403, 403, 302), ("hold", 403, 302, 302), ("used-up", 403, 422, 422)],
)
def test_who_may_decide_on_a_lot(
    shelf: Shelf,
    builder: Client,
    office: Client,
    lead: Client,
    decision: str,
    by_builder: int,
    by_office: int,
    by_lead: int,
) -> None:
    for client, code in ((builder, by_builder), (office, by_office), (lead, by_lead)):
        lot = receive(shelf.hose, code=f"L-{Lot.objects.count()}", use_by=None)
        fields = {"words": "as told", "answer-certificate": lot.code}
        assert _post(client, _url("lot-decide", lot.code, decision), **fields).status_code == code
        assert (selectors.lot_state(lot) != LotState.RECEIVED) == (code == 302)


@pytest.mark.parametrize(
    "page", [page for page in WRITING if page[0] not in ("lot-receive", "certificate-attach")], ids=lambda page: page[0]
)
def test_a_builder_writes_no_sheets_and_decides_on_no_lot(shelf: Shelf, builder: Client, page: tuple[str, ...]) -> None:
    before = Entry.objects.count()
    assert builder.get(_url(*page)).status_code == 403
    assert _post(builder, _url(*page)).status_code == 403
    assert Entry.objects.count() == before


def test_a_builder_receives_goods(shelf: Shelf, builder: Client) -> None:
    response = _post(builder, _url("lot-receive", "VE-10"), **_delivery())
    assert response.status_code == 302
    lot = Lot.objects.get(code="R-0014")
    assert response["HB-Entry"] == str(lot.pk)
    assert (lot.received_quantity, lot.makers_batch, lot.entry.person) == (220.0, "88123", "MO")


def _delivery(**changes: str) -> dict[str, str]:
    today = timezone.localdate()
    fields = {
        "code": "R-0014",
        "makers_batch": "88123",
        "supplier_note": "DN-1",
        "received_quantity": "220 kg",
        "received_on": f"{today}",
        "made_on": "",
        "use_by": f"{today + dt.timedelta(days=150)}",
        "storage_place": "cold room",
    }
    return {**fields, **changes}


def test_the_next_lot_code_is_proposed(shelf: Shelf, builder: Client) -> None:
    field = _page(builder.get(_url("lot-receive", "VE-10"))).find("input", {"name": "code"})
    assert field["value"] == "R-0014-D"


def test_a_lot_code_copied_wrong_is_asked_about_and_the_fitting_one_offered(shelf: Shelf, builder: Client) -> None:
    answer = _post(builder, _url("lot-receive", "VE-10"), **_delivery(code="R-0041-D"))
    assert answer.status_code == 422
    (question,) = answer.context["form"].questions
    assert (question.field, question.given, question.likely) == ("code", "R-0041-D", "R-0041-7")
    assert "The last character of R-0041-D does not fit the rest" in _words(answer)


@pytest.mark.parametrize("code", ["R-0041", "R-0014-D", "VE-10-A"])
def test_a_lot_code_that_fits_or_carries_no_check_is_not_asked_about(shelf: Shelf, builder: Client, code: str) -> None:
    assert _post(builder, _url("lot-receive", "VE-10"), **_delivery(code=code)).status_code == 302


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"received_quantity": "plenty"}, "give one number"),
        ({"received_quantity": "3 stone"}, "the unit may be kg"),
        ({"received_quantity": "0"}, "give 0.001 to 30000 kg"),
        ({"received_on": "tomorrow"}, "Give a day as 2026-11-18."),
        ({"received_on": "2199-01-01"}, "lies ahead"),
        ({"use_by": ""}, "Give the use-by date, or say that the maker gives none; not both."),
        ({"no_use_by": "on"}, "Give the use-by date, or say that the maker gives none; not both."),
        ({"code": "R-0001"}, "lot codes are never given twice"),
        ({"code": "R 14"}, "is no lot code"),
        ({"makers_batch": ""}, "missing"),
    ],
)
def test_a_delivery_that_cannot_be_is_refused_and_what_was_keyed_is_kept(
    shelf: Shelf, builder: Client, changes: dict[str, str], words: str
) -> None:
    before = Entry.objects.count()
    response = _post(builder, _url("lot-receive", "VE-10"), **_delivery(**changes))
    assert response.status_code == 422
    assert words in _words(response)
    for name in _delivery():
        value = {**_delivery(), **changes}[name]
        field = _page(response).find(attrs={"name": name})
        assert field.get("value", "") == value
    assert Entry.objects.count() == before


def test_the_same_makers_batch_is_asked_about_once_and_the_answer_kept(shelf: Shelf, builder: Client) -> None:
    _post(builder, _url("lot-receive", "VE-10"), **_delivery())
    again = _delivery(code="R-0015")
    response = _post(builder, _url("lot-receive", "VE-10"), **again)
    assert response.status_code == 422
    assert f"Batch 88123 came {timezone.localdate()} as R-0014. More of the same, or a mistake?" in _words(response)
    response = _post(builder, _url("lot-receive", "VE-10"), **again, **{"answer-makers_batch": "88123"})
    assert response.status_code == 302
    [asked] = Lot.objects.get(code="R-0015").entry.confirmed
    assert asked["field"] == "makers_batch"
    assert Lot.objects.filter(makers_batch="88123").count() == 2


def test_a_lot_that_comes_out_of_date_is_asked_about(shelf: Shelf, builder: Client) -> None:
    yesterday = f"{timezone.localdate() - dt.timedelta(days=1)}"
    response = _post(builder, _url("lot-receive", "VE-10"), **_delivery(use_by=yesterday))
    assert response.status_code == 422
    assert "out of date when it came" in _words(response)


def test_a_lot_without_a_certificate_is_asked_about_before_its_release(shelf: Shelf, lead: Client) -> None:
    lot = receive(shelf.hose, code="R-0100", use_by=None)
    url = _url("lot-decide", "R-0100", "release")
    response = _post(lead, url)
    assert response.status_code == 422
    assert "R-0100 has no certificate. Release it?" in _words(response)
    assert _post(lead, url, **{"answer-certificate": "R-0100"}).status_code == 302
    assert selectors.lot_state(lot) == LotState.RELEASED


def test_a_lot_with_its_certificate_is_released_without_asking(shelf: Shelf, lead: Client) -> None:
    receive(shelf.hose, code="R-0100", use_by=None)
    assert _attach(lead, "R-0100").status_code == 302
    assert _post(lead, _url("lot-decide", "R-0100", "release")).status_code == 302


def test_what_is_left_of_a_lot_told_used_up_is_asked_about(shelf: Shelf, lead: Client) -> None:
    url = _url("lot-decide", "R-0013", "used-up")
    response = _post(lead, url)
    assert "By the book 100.00 m of R-0013 is left; it will be written off." in _words(response)
    assert _post(lead, url, **{"answer-left": "100"}).status_code == 302
    assert "Received 100.00 m = used 0.00 m + discarded 100.00 m + left 0.00 m." in _words(
        lead.get(_url("lot", "R-0013"))
    )


def test_a_hold_without_words_is_refused(shelf: Shelf, office: Client) -> None:
    response = _post(office, _url("lot-decide", "R-0007", "hold"), words=" ")
    assert response.status_code == 422
    assert "Say why it is held." in _words(response)
    assert LotDecision.objects.filter(lot__code="R-0007").count() == 1


@pytest.mark.parametrize(
    "page",
    [
        ("lot", "R-9999"),
        ("material", "X"),
        ("system", "X"),
        ("lot-receive", "X"),
        ("lot-decide", "R-9999", "hold"),
        ("lot-decide", "R-0007", "burn"),
        ("material-add", "glue"),
        ("certificate", "R-0007", 1),
        ("certificate-attach", "R-9999"),
    ],
    ids=str,
)
def test_what_is_not_in_the_store_is_not_found(shelf: Shelf, lead: Client, page: tuple[Any, ...]) -> None:
    assert lead.get(_url(*page)).status_code == 404


def test_a_held_lot_is_hatched_on_the_shelf_and_named(shelf: Shelf, lead: Client) -> None:
    services.decide_lot(lot=shelf.lot(shelf.resin), state=LotState.HELD, words="drum dented", told=told())
    drawing = _page(lead.get(_url("store"))).find("svg", class_="drawing-shelf")
    assert "Held: R-0007." in drawing.find("desc").get_text()
    assert drawing.find_all(class_="hatch")


def test_an_empty_store_says_so(lead: Client) -> None:
    assert "Nothing in the store. Receive the first delivery." in _words(lead.get(_url("store")))


def test_long_stores_are_turned_page_by_page(shelf: Shelf, lead: Client) -> None:
    for number in range(30):
        receive(shelf.hose, code=f"H-{number}")
    assert "Lots 1 to 30 of 43" in _words(lead.get(_url("store")))
    assert "Lots 31 to 43 of 43" in _words(lead.get(_url("store") + "?page=2"))


# ---- Sheets and systems


def _sheet(**changes: str) -> dict[str, str]:
    fields = {
        "code": "P-60",
        "stock_unit": "kg",
        "name": "Slow peroxide",
        "maker": "Tarn Mills (invented)",
        "source_kind": "data sheet",
        "source": "edition 2",
        "density_kg_m3": "1.16 g/cm3",
        "density_kg_m3-source_kind": "",
        "density_kg_m3-source": "",
        "shelf_life_days": "180",
        "shelf_life_days-source_kind": "yard",
        "shelf_life_days-source": "store check of May",
    }
    return {**fields, **changes}


def test_a_sheet_takes_its_values_in_other_units_and_each_from_its_own_source(shelf: Shelf, office: Client) -> None:
    assert _post(office, _url("material-add", "catalyst"), **_sheet()).status_code == 302
    values = selectors.sheet_in_force(selectors.material("P-60")).values
    assert values["density_kg_m3"] == selectors.KnownValue(1160.0, "data sheet", "edition 2")
    assert values["shelf_life_days"] == selectors.KnownValue(180.0, "yard", "store check of May")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"density_kg_m3": "11600"}, "give 700 to 1500 kg/m³"),
        ({"density_kg_m3": "1.16"}, "1.16 g/cm3 is 1160 kg/m³"),
        ({"density_kg_m3": ""}, "give a number in kg/m3"),
        ({"code": "P-50"}, "P-50 is in the store already"),
        ({"source": ""}, "missing"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused_and_what_was_keyed_is_kept(
    shelf: Shelf, office: Client, changes: dict[str, str], words: str
) -> None:
    before = Entry.objects.count()
    response = _post(office, _url("material-add", "catalyst"), **_sheet(**changes))
    assert response.status_code == 422
    assert words in _words(response)
    assert _page(response).find("input", {"name": "name"})["value"] == "Slow peroxide"
    assert Entry.objects.count() == before


def test_an_unlikely_value_is_asked_about_before_it_is_kept(shelf: Shelf, office: Client) -> None:
    url = _url("material-add", "catalyst")
    response = _post(office, url, **_sheet(density_kg_m3="720"))
    assert response.status_code == 422
    assert "is unusual" in _words(response)
    answered = _sheet(density_kg_m3="720", **{"answer-density_kg_m3": "720"})
    assert _post(office, url, **answered).status_code == 302


def test_a_newer_sheet_begins_from_the_one_in_force(shelf: Shelf, office: Client) -> None:
    url = _url("sheet-revise", "PV-80-20")
    page = _page(office.get(url))
    fields = {
        field["name"]: field.get("value", "")
        for field in page.select("main input[name]")
        if field["name"] != "entry_id"
    }
    for select in page.select("main select"):
        chosen = select.find("option", selected=True)
        fields[select["name"]] = chosen["value"] if chosen else ""
    fields.pop("csrfmiddlewaretoken", None)
    assert _post(office, url, **{**fields, "groove_depth_mm": "3"}).status_code == 302
    sheet = selectors.sheet_in_force(shelf.core)
    assert sheet.value("groove_depth_mm") == 3
    assert sheet.value("density_kg_m3") == 80
    assert MaterialSheet.objects.filter(material=shelf.core).count() == 2


def _system(shelf: Shelf, **changes: str) -> dict[str, str]:
    fields = {
        "code": "VE-10-S",
        "resin": str(shelf.resin.pk),
        "catalyst": str(shelf.catalyst.pk),
        "dose_low_phr": "1.0",
        "dose_high_phr": "2.0 %",
        "source_kind": "data sheet",
        "source": "edition 2",
        "gel_dose_1": "1",
        "gel_dose_2": "2",
        "gel_temperature_1": "18",
        "gel_temperature_2": "73.4 °F",
        "gel_1_1": "90-100",
        "gel_1_2": "50",
        "gel_2_1": "1 h",
        "gel_2_2": "30 – 40",
    }
    return {**fields, **changes}


def test_a_gel_table_is_keyed_as_it_stands_on_the_sheet(shelf: Shelf, office: Client) -> None:
    response = _post(office, _url("system-add"), **_system(shelf))
    assert response.status_code == 302
    table = selectors.gel_table(ResinSystem.objects.get(code="VE-10-S"))
    assert table is not None
    assert table.temperatures_c == (18.0, pytest.approx(23.0))
    assert table.low_minutes == ((90, 50), (60, 30))
    assert table.high_minutes == ((100, 50), (60, 40))
    assert "90 to 100" in _words(office.get(_url("system", "VE-10-S")))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"gel_1_2": ""}, "Give the gel time at 18.0"),
        ({"gel_3_1": "20"}, "Give this time its temperature and its dose."),
        ({"gel_1_1": "soon"}, "give one number"),
        ({"gel_1_1": "100-90"}, "give at most 90, its high"),
        ({"gel_dose_2": "1"}, "twice"),
        ({"gel_temperature_2": "", "gel_2_1": "", "gel_2_2": ""}, "give at least two"),
        ({"dose_low_phr": "2.5"}, "lowest dose"),
        ({"resin": ""}, "missing"),
    ],
)
def test_a_gel_table_that_cannot_be_is_refused(
    shelf: Shelf, office: Client, changes: dict[str, str], words: str
) -> None:
    response = _post(office, _url("system-add"), **_system(shelf, **changes))
    assert response.status_code == 422
    assert words in _words(response)
    assert ResinSystem.objects.count() == 1


# ---- Certificates


def _attach(client: Client, code: str, content: bytes = b"", **fields: Any) -> Any:
    file = SimpleUploadedFile("maker.pdf", content or certificate_pdf("from the page"), "application/pdf")
    given = {"kind": "test report", "number": "T-1", "dated_on": "2026-05-01", "file": file}
    return _post(client, _url("certificate-attach", code), **{**given, **fields})


def test_a_certificate_comes_back_as_it_came_and_never_inside_a_page(shelf: Shelf, builder: Client) -> None:
    assert _attach(builder, "R-0007").status_code == 302
    certificate = Certificate.objects.get(number="T-1")
    response = builder.get(_url("certificate", "R-0007", certificate.pk))
    assert b"".join(response.streaming_content) == certificate_pdf("from the page")
    response.close()
    assert response["Content-Type"] == "application/pdf"
    assert response["Content-Disposition"] == f'attachment; filename="r-0007-certificate-{certificate.pk}.pdf"'
    assert response["X-Content-Type-Options"] == "nosniff"


def test_a_certificate_is_reached_through_its_own_lot_only(shelf: Shelf, builder: Client) -> None:
    certificate = Certificate.objects.filter(lot__code="R-0007").get()
    assert builder.get(_url("certificate", "R-0008", certificate.pk)).status_code == 404
    assert Client().get(_url("certificate", "R-0007", certificate.pk)).status_code == 302


def test_a_certificate_without_a_role_is_out_of_reach(shelf: Shelf, client: Client) -> None:
    leaver = Person.objects.create_person(
        initials="ZZ", full_name="Zeb Zorn (invented)", sign_in_name="zz", password="long enough for a test"
    )
    client.force_login(leaver)
    certificate = Certificate.objects.filter(lot__code="R-0007").get()
    assert client.get(_url("certificate", "R-0007", certificate.pk)).status_code == 403


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"<html></html>", "neither a PDF nor"), (b"%PDF-1.4 nothing", "does not open")],
)
def test_a_file_that_is_no_certificate_is_refused_beside_its_field(
    shelf: Shelf, builder: Client, content: bytes, words: str
) -> None:
    response = _attach(builder, "R-0007", content)
    assert response.status_code == 422
    assert words in _page(response).find(id="field-file").get_text()
    assert _page(response).find("input", {"name": "number"})["value"] == "T-1"
    assert Certificate.objects.filter(lot__code="R-0007").count() == 1


def test_a_form_without_its_file_is_refused(shelf: Shelf, builder: Client) -> None:
    response = _attach(builder, "R-0007", file="")
    assert response.status_code == 422
    assert "Choose the file of the certificate." in _words(response)


def test_the_same_form_with_the_same_file_is_stored_once(shelf: Shelf, builder: Client) -> None:
    once = str(uuid.uuid4())
    for _ in range(2):
        assert _attach(builder, "R-0007", entry_id=once).status_code == 302
    assert Certificate.objects.filter(number="T-1").count() == 1


def test_the_same_form_with_another_file_is_not_taken_for_the_first(shelf: Shelf, builder: Client) -> None:
    once = str(uuid.uuid4())
    assert _attach(builder, "R-0007", certificate_pdf("one"), entry_id=once).status_code == 302
    response = _attach(builder, "R-0007", certificate_pdf("another"), entry_id=once)
    assert response.status_code == 422
    assert "with other values" in _words(response)
    assert Certificate.objects.filter(number="T-1").count() == 1


# ---- Tables in and out


def test_the_table_of_materials_goes_out_and_comes_in_again(shelf: Shelf, office: Client) -> None:
    response = office.get(_url("materials-csv"))
    assert response["Content-Disposition"] == 'attachment; filename="materials.csv"'
    content = b"".join(response.streaming_content)
    assert content.startswith(
        b"code,kind,stock_unit,name,maker,fibre,finish,property,value,unit,source_kind,source\r\n"
    )
    file = SimpleUploadedFile("materials.csv", content, "text/csv")
    assert _post(office, _url("materials-import"), file=file).status_code == 302
    assert b"".join(office.get(_url("materials-csv")).streaming_content) == content
    assert MaterialSheet.objects.count() == 26


def test_a_builder_takes_no_table_out(shelf: Shelf, builder: Client) -> None:
    assert builder.get(_url("materials-csv")).status_code == 403


def test_a_table_with_one_bad_cell_changes_nothing(shelf: Shelf, office: Client) -> None:
    before = (Entry.objects.count(), Material.objects.count())
    content = b"".join(office.get(_url("materials-csv")).streaming_content).replace(b",1160,", b",much,")
    file = SimpleUploadedFile("materials.csv", content, "text/csv")
    response = _post(office, _url("materials-import"), file=file)
    assert response.status_code == 422
    assert "column value" in _words(response)
    assert (Entry.objects.count(), Material.objects.count()) == before
