import csv
import io
import uuid
from collections.abc import Callable

import pytest
from bs4 import BeautifulSoup
from django.test import Client
from django.urls import reverse

from hullbook.inspection.enums import Decision, FindingKind
from hullbook.inspection.models import Finding, FindingDecision, HardnessSet, Weighing
from hullbook.inspection.selectors import open_findings
from hullbook.records.models import Entry
from tests.inspection.factories import LAST_DAY, Sheltered, hours, sheltered

pytestmark = pytest.mark.django_db
AFTERWARDS = hours(LAST_DAY, 6)


@pytest.fixture
def part(whole: Sheltered) -> list[str]:
    return [whole.hull.number, whole.part.name]


@pytest.fixture
def builder(whole: Sheltered, client: Client) -> Client:
    client.force_login(whole.shop.builder)
    return client


@pytest.fixture
def lead(whole: Sheltered, client: Client) -> Client:
    client.force_login(whole.shop.lead)
    return client


def hardness_form(berth: Sheltered, **changes: str) -> dict[str, str]:
    fields = {
        "entry_id": str(uuid.uuid4()),
        "zone_name": "Keel",
        "place": "port",
        "surface": "laminate",
        "tester": str(berth.shop.impressor.pk),
        "disc_low": "85",
        "disc_high": "87",
        "disc_reading": "86",
        "part_temperature_c": "22",
        "required_mean": "35",
        "required_source": "invented data sheet",
        "readings": "\r\n".join(["45"] * 20 + ["12 because edge"]),
        "happened_at": "",
    }
    return {**fields, **changes}


# Pages that are read

HULL_PAGES = ["inspection:stages", "inspection:missing", "inspection:findings", "inspection:resin"]
PART_PAGES = ["inspection:hardness", "inspection:balance"]
FORMS = ["inspection:hardness-log", "inspection:weighing-log", "inspection:finding-log"]


@pytest.mark.parametrize("name", HULL_PAGES)
def test_a_page_of_the_hull_is_shown_to_everyone_on_the_crew(builder: Client, whole: Sheltered, name: str) -> None:
    page = builder.get(reverse(name, args=[whole.hull.number]))
    assert page.status_code == 200
    assert whole.hull.number in page.content.decode()


@pytest.mark.parametrize("name", [*PART_PAGES, *FORMS])
def test_a_page_of_the_part_is_shown_to_everyone_on_the_crew(builder: Client, part: list[str], name: str) -> None:
    assert builder.get(reverse(name, args=part)).status_code == 200


@pytest.mark.parametrize("name", HULL_PAGES)
def test_an_empty_hull_has_its_pages_too(builder: Client, whole: Sheltered, name: str) -> None:
    sheltered(whole.shop, whole.shelf, "MB84-02")
    assert builder.get(reverse(name, args=["MB84-02"])).status_code == 200


@pytest.mark.parametrize("name", PART_PAGES)
def test_an_empty_part_has_its_pages_too(builder: Client, whole: Sheltered, name: str) -> None:
    fresh = sheltered(whole.shop, whole.shelf, "MB84-02")
    assert builder.get(reverse(name, args=["MB84-02", fresh.part.name])).status_code == 200


def test_nobody_reads_without_signing_in(client: Client, whole: Sheltered) -> None:
    answer = client.get(reverse("inspection:missing", args=[whole.hull.number]))
    assert answer.status_code == 302
    assert reverse("yard:sign-in") in answer["Location"]


def test_an_unknown_hull_is_answered_with_the_nearest(builder: Client) -> None:
    answer = builder.get(reverse("inspection:missing", args=["MB84-11"]))
    assert answer.status_code == 404
    assert "MB84-01" in answer.content.decode()


@pytest.mark.parametrize("name", ["inspection:stages", "inspection:missing", "inspection:now"])
def test_a_fragment_comes_without_the_page_around_it(builder: Client, whole: Sheltered, name: str) -> None:
    fragment = builder.get(reverse(name, args=[whole.hull.number]), headers={"HX-Request": "true"})
    assert "<html" not in fragment.content.decode()


def test_what_is_missing_says_what_is_not_judged(builder: Client, whole: Sheltered) -> None:
    page = builder.get(reverse("inspection:missing", args=[whole.hull.number])).content.decode()
    assert "Complete" in page
    assert "Not judged in this version" in page
    assert "C40" in page


def test_planned_and_used_says_that_resin_has_no_zone(builder: Client, whole: Sheltered) -> None:
    page = builder.get(reverse("inspection:resin", args=[whole.hull.number])).content.decode()
    assert "Resin cannot be split by zone" in page
    assert "Used over planned" in page


# Logging


def test_hardness_is_logged_from_one_reading_a_line(builder: Client, whole: Sheltered, part: list[str]) -> None:
    answer = builder.post(reverse("inspection:hardness-log", args=part), hardness_form(whole))
    assert answer.status_code == 302
    tried = HardnessSet.objects.order_by("pk").last()
    assert tried is not None
    assert answer["HB-Entry"] == str(tried.pk)
    assert [(one.value, one.left_out_because) for one in tried.readings.all()][-1] == (12.0, "edge")
    page = builder.get(answer["Location"]).content.decode()
    assert "45.0" in page


def test_the_form_offers_what_the_resin_sheet_asks_for(builder: Client, part: list[str]) -> None:
    page = BeautifulSoup(builder.get(reverse("inspection:hardness-log", args=part)).content, "html.parser")
    assert page.find("input", {"name": "required_mean"})["value"] == "35"
    assert "invented data sheet, edition 2" in page.find("input", {"name": "required_source"})["value"]


@pytest.mark.parametrize(
    ("readings", "sentence"),
    [
        ("45\r\nforty", 'Line 2: "forty" is not accepted'),
        ("45\r\n145", 'Line 2: "145" is not accepted'),
        ("45\r\n\r\n31 edge", 'Line 3: "31 edge" is not accepted'),
        ("", "Give the readings"),
        ("\r\n".join(["45"] * 201), "at most 200"),
    ],
)
def test_readings_that_cannot_be_are_refused_by_line_and_stay_keyed(
    builder: Client, whole: Sheltered, part: list[str], readings: str, sentence: str
) -> None:
    before = Entry.objects.count()
    answer = builder.post(reverse("inspection:hardness-log", args=part), hardness_form(whole, readings=readings))
    page = BeautifulSoup(answer.content, "html.parser")
    assert answer.status_code == 422
    assert sentence in page.get_text()
    kept = page.find("textarea", {"name": "readings"}).get_text().strip()
    assert kept.splitlines() == readings.splitlines()
    assert Entry.objects.count() == before


def test_a_reading_far_from_the_others_is_asked_about_once(builder: Client, whole: Sheltered, part: list[str]) -> None:
    form = hardness_form(whole, readings="\r\n".join(["45"] * 20 + ["21"]))
    way = reverse("inspection:hardness-log", args=part)
    asked = builder.post(way, form)
    assert asked.status_code == 422
    assert "21 lies far from the others" in asked.content.decode()
    answered = builder.post(way, {**form, "answer-readings": "21"})
    assert answered.status_code == 302
    tried = HardnessSet.objects.select_related("entry").order_by("pk").last()
    assert tried is not None
    assert tried.entry.confirmed[0]["field"] == "readings"


def test_a_set_is_corrected_with_a_reason(lead: Client, whole: Sheltered, part: list[str]) -> None:
    tried = HardnessSet.objects.current().get(zone_name="Keel")
    way = reverse("inspection:hardness-correct", args=[*part, tried.pk])
    page = BeautifulSoup(lead.get(way).content, "html.parser")
    assert page.find("textarea", {"name": "readings"}).get_text().split()[:2] == ["46", "48"]
    assert lead.post(way, hardness_form(whole)).status_code == 422
    answer = lead.post(way, hardness_form(whole, reason="wrong zone"))
    assert answer.status_code == 302
    assert HardnessSet.objects.current().filter(corrects=tried, reason="wrong zone").exists()
    assert lead.get(way).status_code == 404


def test_a_weight_is_logged_and_corrected(builder: Client, whole: Sheltered, part: list[str]) -> None:
    form = {
        "entry_id": str(uuid.uuid4()),
        "what": "inserts",
        "mass_kg": "500 g",
        "standard_uncertainty_kg": "0.05",
        "scale": str(whole.shop.scale.pk),
        "source": "",
        "happened_at": "",
    }
    answer = builder.post(reverse("inspection:weighing-log", args=part), form)
    assert answer.status_code == 302
    row = Weighing.objects.order_by("pk").last()
    assert row is not None
    assert (row.mass_kg, row.source) == (0.5, "weighed")
    way = reverse("inspection:weighing-correct", args=[*part, row.pk])
    again = {**form, "entry_id": str(uuid.uuid4()), "mass_kg": "0.6", "reason": "tare forgotten"}
    assert builder.post(way, again).status_code == 302
    assert not Weighing.objects.current().filter(pk=row.pk).exists()
    assert "tare forgotten" in builder.get(reverse("inspection:balance", args=part)).content.decode()


def test_a_weight_in_another_kind_of_unit_is_refused_and_stays_keyed(builder: Client, part: list[str]) -> None:
    form = {"entry_id": str(uuid.uuid4()), "what": "inserts", "mass_kg": "5 m", "standard_uncertainty_kg": "0.05"}
    answer = builder.post(reverse("inspection:weighing-log", args=part), form)
    assert answer.status_code == 422
    assert 'value="5 m"' in answer.content.decode()


def test_a_finding_is_logged_decided_and_listed(lead: Client, whole: Sheltered, part: list[str]) -> None:
    form = {
        "entry_id": str(uuid.uuid4()),
        "zone_name": "Bottom",
        "kind": "dry spot",
        "place": "port, station 5",
        "length_mm": "60",
        "width_mm": "40",
        "words": "<b>by the keelson</b>",
        "happened_at": "",
    }
    assert lead.post(reverse("inspection:finding-log", args=part), form).status_code == 302
    finding = Finding.objects.get(kind=FindingKind.DRY_SPOT)
    page = lead.get(reverse("inspection:findings", args=[whole.hull.number])).content.decode()
    assert "&lt;b&gt;by the keelson" in page
    way = reverse("inspection:decide", args=[whole.hull.number, finding.pk])
    decision = {"entry_id": str(uuid.uuid4()), "decision": "repair", "words": "ground out", "happened_at": ""}
    assert lead.post(way, {**decision, "words": ""}).status_code == 422
    assert lead.post(way, decision).status_code == 302
    assert FindingDecision.objects.get().decision == Decision.REPAIR
    assert open_findings(whole.hull) == []


def test_a_decision_is_corrected_with_a_reason(lead: Client, whole: Sheltered) -> None:
    soft = whole.try_hardness("Keel", AFTERWARDS, [20.0] * 30)
    way = reverse("inspection:decide", args=[whole.hull.number, soft.pk])
    first = {"entry_id": str(uuid.uuid4()), "decision": "accept", "words": "not loaded there"}
    assert lead.post(way, first).status_code == 302
    second = {"entry_id": str(uuid.uuid4()), "decision": "reject", "words": "loaded after all"}
    assert lead.post(way, second).status_code == 422
    assert lead.post(way, {**second, "reason": "looked at the drawing"}).status_code == 302
    assert FindingDecision.objects.current().get().decision == Decision.REJECT


def test_another_persons_finding_is_corrected_by_the_quality_lead(
    builder: Client, whole: Sheltered, part: list[str]
) -> None:
    finding = Finding.objects.filter(zone_name="Keel").get()
    form = {
        "entry_id": str(uuid.uuid4()),
        "zone_name": "Keel",
        "kind": "crack",
        "reason": "looked again",
        "happened_at": "",
    }
    way = reverse("inspection:finding-correct", args=[*part, finding.pk])
    assert builder.post(way, form).status_code == 403
    builder.force_login(whole.shop.lead)
    assert builder.post(way, form).status_code == 302
    assert Finding.objects.current().get(zone_name="Keel").kind == FindingKind.CRACK


# Rights


def test_only_the_quality_lead_decides(builder: Client, whole: Sheltered) -> None:
    soft = whole.try_hardness("Keel", AFTERWARDS, [20.0] * 30)
    way = reverse("inspection:decide", args=[whole.hull.number, soft.pk])
    assert builder.get(way).status_code == 403
    assert builder.post(way, {"entry_id": str(uuid.uuid4()), "decision": "accept", "words": "x"}).status_code == 403
    assert not FindingDecision.objects.exists()
    assert way not in builder.get(reverse("inspection:findings", args=[whole.hull.number])).content.decode()


def test_what_is_no_finding_cannot_be_decided(lead: Client, whole: Sheltered) -> None:
    looked = Finding.objects.current().first()
    assert looked is not None
    assert lead.get(reverse("inspection:decide", args=[whole.hull.number, looked.pk])).status_code == 404


def test_a_person_without_a_role_sees_nothing(whole: Sheltered, client: Client, django_user_model: type) -> None:
    nobody = django_user_model.objects.create_person(
        initials="ZZ", full_name="Zed Zander (invented)", sign_in_name="zz", password=None
    )
    client.force_login(nobody)
    assert client.get(reverse("inspection:findings", args=[whole.hull.number])).status_code == 403


@pytest.mark.parametrize(("who", "status"), [("builder", 403), ("office", 200), ("lead", 200)])
def test_tables_are_taken_out_by_office_and_quality_lead(
    whole: Sheltered, client: Client, who: str, status: int
) -> None:
    client.force_login(getattr(whole.shop, who))
    assert client.get(reverse("inspection:resin-csv", args=[whole.hull.number])).status_code == status


@pytest.mark.parametrize("name", [*HULL_PAGES, "inspection:resin-csv"])
def test_a_page_that_is_read_takes_no_post(lead: Client, whole: Sheltered, name: str) -> None:
    assert lead.post(reverse(name, args=[whole.hull.number])).status_code == 405


def test_the_table_keeps_numbers_as_numbers(lead: Client, whole: Sheltered) -> None:
    answer = lead.get(reverse("inspection:resin-csv", args=[whole.hull.number]))
    rows = list(csv.DictReader(io.StringIO(answer.content.decode())))
    resin = rows[0]
    assert (resin["what"], resin["unit"]) == ("resin and catalyst", "kg")
    assert float(resin["used"]) > 0
    assert {row["zone"] for row in rows} == {"", "Keel", "Bottom"}


def test_pages_ask_no_more_of_the_book_when_more_is_logged(
    builder: Client, whole: Sheltered, part: list[str], django_assert_max_num_queries: Callable
) -> None:
    for step in range(8):
        whole.try_hardness("Keel", hours(AFTERWARDS, step), [20.0] * 30)
    with django_assert_max_num_queries(45):
        builder.get(reverse("inspection:findings", args=[whole.hull.number]))


def test_what_a_tablet_keeps_of_the_open_hull_is_about_that_hull_and_opens(lead: Client, whole: Sheltered) -> None:
    hull = whole.hull.number
    kept = lead.get(reverse("inspection:kept", args=[hull])).json()["pages"]
    assert len(kept) == len(set(kept)) > 15
    for path in kept:
        assert path.startswith(f"/hulls/{hull}/")
        assert lead.get(path).status_code == 200, path
    assert reverse("inspection:finding-log", args=[hull, whole.part.name]) in kept


def test_of_a_hull_in_lay_up_the_tablet_keeps_a_page_for_each_line_to_lay(lead: Client, whole: Sheltered) -> None:
    fresh = sheltered(whole.shop, whole.shelf, "MB84-09")
    kept = lead.get(reverse("inspection:kept", args=[fresh.hull.number])).json()["pages"]
    lines = [path for path in kept if "?line=" in path]
    assert lines
    for path in lines:
        assert lead.get(path).status_code == 200, path
