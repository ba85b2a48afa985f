"""The pages of hulls as people of each role see and use them."""

import csv
import datetime as dt
import json
import uuid
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from hullbook.hulls import services
from hullbook.hulls.models import (
    BoatModel,
    CraftNumberGiven,
    HoldPointRelease,
    Hull,
    Laying,
    LeftYard,
    RevisionInForce,
    ScheduleRevision,
)
from hullbook.hulls.selectors import CORRECTED_AT, revision_state
from hullbook.materials.enums import LotState
from hullbook.materials.selectors import stock_left
from hullbook.materials.services import decide_lot
from hullbook.records.models import Entry, StruckOut
from hullbook.yard.enums import Role
from hullbook.yard.models import Person
from hullbook.yard.services import change_role, name_yard
from tests.cast import DAY, MORNING, open_shop, told
from tests.hulls.factories import SHELL, Berth, add_tender, draft, lay_down, lines, make_berth, sign, zones
from tests.materials.factories import receive, release

pytestmark = pytest.mark.django_db

NOON = dt.datetime(2026, 6, 15, 12, 0, tzinfo=dt.UTC)


@pytest.fixture(autouse=True)
def _a_day_in_june(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: NOON)


@pytest.fixture
def berth() -> Berth:
    return make_berth()


@pytest.fixture
def lead(client: Client, berth: Berth) -> Client:
    client.force_login(berth.shop.lead)
    return client


def url(name: str, *args: object) -> str:
    return reverse(name, args=args)


def posted(**fields: object) -> dict[str, object]:
    return {"entry_id": str(uuid.uuid4()), "happened_at": "", **fields}


def page(client: Client, name: str, *args: object, query: str = "") -> str:
    answer = client.get(url(name, *args) + query)
    assert answer.status_code == 200, answer.content
    return answer.content.decode()


def schedule_args(letter: str = "A") -> tuple[str, str, str]:
    return "MB84", SHELL, letter


HULL = ("MB84-01",)
PART = ("MB84-01", SHELL)


# ---- who may what

PAGES = [
    ("hulls:shed", (), "EKMR"),
    ("hulls:hull-list", (), "EKMR"),
    ("hulls:hull", HULL, "EKMR"),
    ("hulls:entries", HULL, "EKMR"),
    ("hulls:hold-points", HULL, "EKMR"),
    ("hulls:boat-models", (), "EKMR"),
    ("hulls:schedules", ("MB84",), "EKMR"),
    ("hulls:schedule", schedule_args(), "EKMR"),
    ("hulls:schedule-csv", schedule_args(), "EKMR"),
    ("hulls:difference", (*schedule_args(), "A"), "EKMR"),
    ("hulls:lay-up", PART, "EKMR"),
    ("hulls:laying-log", PART, "EKMR"),
    ("hulls:hull-lay-down", (), "EK"),
    ("hulls:craft-number-give", HULL, "EK"),
    ("hulls:yard-leave", HULL, "EK"),
    ("hulls:boat-model-add", (), "EK"),
    ("hulls:revision-begin", ("MB84",), "EK"),
    ("hulls:schedule-take-in", schedule_args(), "EK"),
    ("hulls:schedule-sign", schedule_args(), "K"),
    ("hulls:revision-take", PART, "K"),
    ("hulls:hold-point-release", (*HULL, 3), "K"),
]


@pytest.mark.parametrize(("name", "args", "allowed"), PAGES, ids=[name for name, _, _ in PAGES])
def test_each_page_opens_for_those_whose_work_it_is_and_tells_the_others_which_role_it_takes(
    client: Client, berth: Berth, name: str, args: tuple[object, ...], allowed: str
) -> None:
    assert client.get(url(name, *args)).status_code == 302
    shop = berth.shop
    for person in (shop.lead, shop.builder, shop.office):
        client.force_login(person)
        answer = client.get(url(name, *args))
        assert answer.status_code == (200 if person.initials[0] in allowed else 403), (person, name)
        if answer.status_code == 403:
            assert "you need the role" in answer.content.decode()


def test_somebody_without_a_role_sees_no_hull(client: Client, berth: Berth) -> None:
    change_role(person=berth.shop.builder, role=Role.BUILDER, holds=False, told=told())
    client.force_login(berth.shop.builder)
    assert client.get(url("hulls:hull", "MB84-01")).status_code == 403


def test_a_hull_that_is_not_here_is_told_with_the_nearest(lead: Client) -> None:
    answer = lead.get(url("hulls:hull", "MB84-10"))
    assert answer.status_code == 404
    assert "MB84-01" in answer.content.decode()


@pytest.mark.parametrize(
    ("name", "args"),
    [
        ("hulls:lay-up", ("MB84-01", "Mast")),
        ("hulls:schedules", ("MB99",)),
        ("hulls:schedule", ("MB84", SHELL, "Z")),
        ("hulls:craft-number-correct", HULL),
        ("hulls:hold-point-release", ("MB84-01", 13)),
        ("hulls:strike-out", ("MB84-01", 1)),
        ("hulls:laying-correct", (*PART, 1)),
    ],
)
def test_what_is_not_there_is_not_found(lead: Client, name: str, args: tuple[object, ...]) -> None:
    assert lead.get(url(name, *args)).status_code == 404


# ---- the shed and the hull


def test_an_empty_shed_says_so_and_shows_the_way_on(client: Client) -> None:
    client.force_login(open_shop().lead)
    text = page(client, "hulls:shed")
    assert "No hull in any mould. Lay down the first." in text
    assert url("hulls:hull-lay-down") in text


def test_the_shed_and_the_hull_ask_the_same_of_the_book_however_much_is_logged(
    lead: Client, berth: Berth, django_assert_max_num_queries: Any
) -> None:
    for number in range(2, 8):
        lay_down(berth.model, berth.shop, f"MB84-0{number}", pull_number=number)
    services.give_craft_number(hull=berth.hull, number="MWB00001E626", told=told())
    for number in (1, 2, 4, 5, 6):
        for _ in range(6):
            berth.lay(number)
    with django_assert_max_num_queries(20):
        text = page(lead, "hulls:shed")
    assert text.count("hull-number") == 7
    with django_assert_max_num_queries(20):
        text = page(lead, "hulls:hull", "MB84-01")
    assert "MWB00001E626" in text


def test_the_hull_page_shows_the_number_in_words_its_part_and_the_way_to_the_work(lead: Client, berth: Berth) -> None:
    services.give_craft_number(hull=berth.hull, number="MWB00001E626", told=told())
    text = page(lead, "hulls:hull", "MB84-01")
    assert "United States, builder MWB, serial 00001, built May 2026, model year 2026" in text
    assert url("hulls:lay-up", *PART) in text
    assert "rev A" in text
    assert "commercial craft under survey" in text


def test_a_hull_is_laid_down_by_the_form(client: Client) -> None:
    shop = open_shop()
    model = add_tender()
    client.force_login(shop.office)
    fields = posted(
        number="MB84-01", boat_model=model.pk, mould="M84-1", pull_number="1", bay=shop.bay.pk,
        build_regime="commercial survey", customer_reference="", laid_down_on="2026-06-01",
        part_names="Hull shell\r\nDeck\r\n",
    )  # fmt: skip
    answer = client.post(url("hulls:hull-lay-down"), fields)
    assert answer.status_code == 302
    assert answer["HB-Entry"] == str(Hull.objects.get().pk)
    assert [part.name for part in Hull.objects.get().parts.all()] == ["Hull shell", "Deck"]
    again = client.post(url("hulls:hull-lay-down"), fields)
    assert (again.status_code, again["HB-Entry"]) == (302, answer["HB-Entry"])
    assert Hull.objects.count() == 1


def test_a_pull_that_does_not_follow_is_asked_about_and_the_likely_one_offered(lead: Client, berth: Berth) -> None:
    fields = posted(
        number="MB84-02", boat_model=berth.model.pk, mould="M84-1", pull_number="5", bay=berth.shop.bay.pk,
        build_regime="other", customer_reference="", laid_down_on="2026-06-01", part_names=SHELL,
    )  # fmt: skip
    answer = lead.post(url("hulls:hull-lay-down"), fields)
    assert answer.status_code == 422
    assert "so this would be 2, not 5" in answer.content.decode()
    lead.post(url("hulls:hull-lay-down"), {**fields, "instead-pull_number": "2"})
    assert Hull.objects.get(number="MB84-02").pull_number == 2


def test_an_empty_form_and_a_day_ahead_are_refused_by_field(lead: Client) -> None:
    answer = lead.post(url("hulls:hull-lay-down"), {})
    assert answer.status_code == 422
    assert Hull.objects.count() == 1
    answer = lead.post(url("hulls:hull-lay-down"), posted(laid_down_on="2026-06-16"))
    assert "lies ahead" in answer.content.decode()


def test_a_hull_leaves_the_yard_by_the_form(lead: Client) -> None:
    answer = lead.post(url("hulls:yard-leave", "MB84-01"), posted(left_on="2026-06-14", delivered_to="invented port"))
    assert answer.status_code == 302
    assert LeftYard.objects.get().delivered_to == "invented port"
    assert "left the yard 14 Jun 2026" in page(lead, "hulls:hull", "MB84-01")
    assert "14 Jun 2026" in page(lead, "hulls:hull-list")


# ---- craft identification numbers

with (Path(__file__).parents[2] / "shared/check_values/craft_number.csv").open(encoding="utf-8", newline="") as table:
    VECTORS = [row for row in csv.DictReader(table) if row["text"]]


@pytest.mark.parametrize("row", VECTORS, ids=[f"{row['text']} {row['expected']}" for row in VECTORS])
def test_a_number_is_read_by_the_form_as_the_standards_have_it(client: Client, row: dict[str, str]) -> None:
    """33 CFR 181.25, 46 USC 4302(e) and ISO 10087: the table of check values names the source of each."""
    context = json.loads(row["context"])
    assert context["today"] == f"{NOON:%Y-%m-%d}"
    shop = open_shop()
    codes = " ".join(context.get("known_builder_codes", ["ABC", "XYZ"]))
    name_yard(
        name="Merrowby Boatworks", place="", altitude_m=0.0, builder_codes=codes, is_invented=True, told=told(at=NOON)
    )
    laid_down_on = dt.date.fromisoformat(context.get("laid_down", "1985-01-02"))
    hull = lay_down(add_tender(), shop, laid_down_on=laid_down_on)
    if left := context.get("left_yard"):
        services.leave_yard(hull=hull, left_on=dt.date.fromisoformat(left), delivered_to="", told=told(at=NOON))
    client.force_login(shop.lead)
    fields = posted(number=row["text"])
    answer = client.post(url("hulls:craft-number-give", hull.number), fields)
    read, _, asked = row["expected"].partition("; ")
    if read.startswith("E"):
        assert answer.status_code == 422
        assert f"({read.split()[0]})" in answer.content.decode()
        assert read.removeprefix(read.split()[0]).strip() in answer.content.decode()
        assert not CraftNumberGiven.objects.exists()
        return
    tidied = "".join(row["text"].upper().replace("–", "-").split())
    if asked:
        assert answer.status_code == 422
        assert [question.field for question in answer.context["form"].questions] == [
            f"number-{code}" for code in asked.split()
        ]
        assert not CraftNumberGiven.objects.exists()
        answer = client.post(
            url("hulls:craft-number-give", hull.number),
            {**fields, **{f"answer-number-{code}": tidied for code in asked.split()}},
        )
    assert answer.status_code == 302
    given = CraftNumberGiven.objects.get()
    assert given.number == tidied
    assert len(given.entry.confirmed) == len(asked.split())
    _, code, serial, _, model_year = read.split()
    assert f"builder {code}, serial {serial}" in page(client, "hulls:hull", hull.number)
    assert f"model year {model_year}" in page(client, "hulls:hull", hull.number)


def test_a_serial_that_another_hull_has_with_other_dates_is_asked_about(lead: Client, berth: Berth) -> None:
    """ISO 10087: a serial is used once by its builder (check E12)."""
    services.give_craft_number(hull=berth.hull, number="MWB00001E626", told=told())
    lay_down(berth.model, berth.shop, "MB84-02", pull_number=2)
    fields = posted(number="MWB00001F626")
    answer = lead.post(url("hulls:craft-number-give", "MB84-02"), fields)
    assert answer.status_code == 422
    assert "Hull MB84-01 has MWB serial 00001 already" in answer.content.decode()
    answer = lead.post(url("hulls:craft-number-give", "MB84-02"), posted(number="MWB00001E626"))
    lead.post(
        url("hulls:craft-number-give", "MB84-02"),
        {**posted(number="MWB00001E626"), "answer-number-E12": "MWB00001E626"},
    )
    assert CraftNumberGiven.objects.count() == 1


def test_only_the_lead_corrects_the_number_with_a_reason_and_the_old_one_is_struck_through(
    client: Client, berth: Berth
) -> None:
    services.give_craft_number(hull=berth.hull, number="MWB00001E626", told=told())
    where = url("hulls:craft-number-correct", "MB84-01")
    client.force_login(berth.shop.office)
    assert client.post(where, posted(number="MWB00002E626", reason="x")).status_code == 403
    client.force_login(berth.shop.lead)
    assert client.post(where, posted(number="MWB00002E626", reason="")).status_code == 422
    assert client.post(where, posted(number="MWB00002E626", reason="serial misread")).status_code == 302
    text = page(client, "hulls:hull", "MB84-01")
    assert "MWB00002E626" in text
    assert 'class="struck"><b class="figure">MWB00001E626' in text
    assert "serial misread" in text


# ---- hold points


def test_a_hold_point_is_released_by_the_lead_with_words_and_what_is_missing(lead: Client) -> None:
    answer = lead.post(
        url("hulls:hold-point-release", "MB84-01", 2), posted(words="seen by KJ", missing="photo of the skin coat")
    )
    assert answer.status_code == 302
    assert HoldPointRelease.objects.get().missing == "photo of the skin coat"
    text = page(lead, "hulls:hold-points", "MB84-01")
    assert "photo of the skin coat" in text
    assert "last sight of the bare laminate" in text
    text = page(lead, "hulls:hold-point-release", "MB84-01", 4)
    assert "Not released yet: 0 before laying down, 1 before using any lot, 3 before core" in text


# ---- the book about a hull


def test_older_entries_are_paged_and_each_says_what_it_says(lead: Client, berth: Berth) -> None:
    for _ in range(30):
        berth.lay(6)
    text = page(lead, "hulls:entries", "MB84-01")
    assert text.count("<article") == 25
    oldest_shown = Entry.objects.filter(about="MB84-01").order_by("-number")[24].number
    assert f"?before={oldest_shown}" in text
    older = page(lead, "hulls:entries", "MB84-01", query=f"?before={oldest_shown}")
    assert older.count("<article") == 8
    assert "mould" in older
    assert "Older entries" not in older
    assert page(lead, "hulls:entries", "MB84-01", query="?before=one").count("<article") == 25


def test_ones_own_entry_is_struck_out_within_a_day_and_later_by_the_lead_only(client: Client, berth: Berth) -> None:
    lot = berth.shelf.lot(berth.shelf.biax)
    before = stock_left(lot)
    fresh = berth.lay(2, told=told("MO", at=NOON - dt.timedelta(hours=23)))
    old = berth.lay(4, told=told("MO", at=NOON - dt.timedelta(hours=25)))
    another = berth.lay(6, told=told("RT", at=NOON - dt.timedelta(hours=1)))

    def strike(laying: Laying, reason: str = "wrong line") -> int:
        return client.post(url("hulls:strike-out", "MB84-01", laying.pk), posted(reason=reason)).status_code

    client.force_login(berth.shop.builder)
    assert strike(fresh, reason="") == 422
    assert (strike(fresh), strike(old), strike(another)) == (302, 403, 403)
    client.force_login(berth.shop.lead)
    assert (strike(old), strike(another), strike(fresh)) == (302, 302, 422)
    assert StruckOut.objects.count() == 3
    assert stock_left(lot) == pytest.approx(before)
    assert "wrong line" in page(client, "hulls:entries", "MB84-01")


def test_an_entry_about_one_hull_is_not_struck_out_by_the_page_of_another(lead: Client, berth: Berth) -> None:
    lay_down(berth.model, berth.shop, "MB84-02", pull_number=2)
    laying = berth.lay(2)
    assert lead.post(url("hulls:strike-out", "MB84-02", laying.pk), posted(reason="x")).status_code == 404


def test_an_entry_leads_on_to_the_page_that_corrects_it(lead: Client, berth: Berth) -> None:
    laying = berth.lay(2)
    answer = lead.get(url("hulls:entry-correct", "MB84-01", laying.pk))
    assert answer["Location"] == url("hulls:laying-correct", *PART, laying.pk)
    given = services.give_craft_number(hull=berth.hull, number="MWB00001E626", told=told())
    answer = lead.get(url("hulls:entry-correct", "MB84-01", given.pk))
    assert answer["Location"] == url("hulls:craft-number-correct", "MB84-01")
    assert lead.get(url("hulls:entry-correct", "MB84-01", berth.hull.pk)).status_code == 404


def test_every_kind_of_entry_that_leads_on_is_one_there_is_and_so_is_its_page() -> None:
    for kind, name in CORRECTED_AT.items():
        assert apps.get_model(kind)
        where = [
            "MB84-01",
            *([SHELL] if kind != "hulls.craftnumbergiven" else []),
            *([1] if kind == "pours.mix" else []),
        ]
        assert reverse(name, args=where if kind == "hulls.craftnumbergiven" else [*where, 7])


# ---- models and schedules


def test_a_model_is_added_and_its_schedule_begun_by_forms(lead: Client, berth: Berth) -> None:
    answer = lead.post(url("hulls:boat-model-add"), posted(name="MB96", length_m="9.6", beam_m="3.1"))
    assert answer["Location"] == url("hulls:schedules", "MB96")
    assert "No schedule yet" in page(lead, "hulls:schedules", "MB96")
    answer = lead.post(url("hulls:revision-begin", "MB96"), {"part_name": SHELL, "based_on": berth.revision.pk})
    assert answer["Location"] == url("hulls:schedule-write", "MB96", SHELL, "A")
    revision = ScheduleRevision.objects.get(boat_model=BoatModel.objects.get(name="MB96"))
    assert (revision.lines.count(), revision.drawn_by) == (6, "KJ")
    answer = lead.post(url("hulls:revision-begin", "MB96"), {"part_name": SHELL})
    assert answer.status_code == 422
    assert "Rev A is a draft already" in answer.content.decode()


def test_a_schedule_shows_mass_by_zone_with_its_resin_and_every_source(lead: Client) -> None:
    text = page(lead, "hulls:schedule", *schedule_args())
    assert "VE-10-P50" in text
    assert "28.80" in text
    assert "invented data sheet, edition 2" in text
    assert "<svg" in text
    without = page(lead, "hulls:schedule", *schedule_args(), query="?system=none-such")
    assert "only fibre is shown" in without


def test_a_signed_revision_says_so_where_one_would_write_it(lead: Client) -> None:
    answer = lead.get(url("hulls:schedule-write", *schedule_args()))
    assert answer.status_code == 409
    assert "Rev A is signed" in answer.content.decode()


def keyed(**changes: str) -> dict[str, str]:
    fields = {
        "zones-TOTAL_FORMS": "2",
        "zones-INITIAL_FORMS": "0",
        "zones-0-name": "Keel",
        "zones-0-area_m2": "4.0",
        "zones-0-girth_from_mm": "0",
        "zones-0-girth_to_mm": "620",
        "zones-0-station_from": "0",
        "zones-0-station_to": "10",
        "zones-0-side": "both",
        "zones-1-side": "both",
        "lines-TOTAL_FORMS": "3",
        "lines-INITIAL_FORMS": "0",
        "lines-0-number": "1",
        "lines-0-zone": "Keel",
        "lines-0-material": "GB-800",
        "lines-0-angle_deg": "±45",
        "lines-0-lap_mm": "50",
        "lines-0-is_structural": "on",
        "lines-1-number": "0.5",
        "lines-1-zone": "Keel",
        "lines-1-material": "GM-225",
        "lines-1-angle_deg": "",
        "lines-1-lap_mm": "",
        "lines-2-is_structural": "on",
    }
    return {**fields, **changes}


@pytest.fixture
def rev_b(berth: Berth) -> ScheduleRevision:
    return services.begin_revision(boat_model=berth.model, part_name=SHELL, drawn_by="EL", at=MORNING)


def test_a_draft_is_written_on_the_page_and_its_lines_numbered_in_their_order(
    lead: Client, rev_b: ScheduleRevision
) -> None:
    answer = lead.post(url("hulls:schedule-write", *schedule_args("B")), keyed())
    assert answer.status_code == 302
    said = [(i.number, i.material.code, i.angle_deg, i.lap_mm, i.is_structural) for i in rev_b.lines.all()]
    assert said == [(1, "GM-225", "", 0.0, False), (2, "GB-800", "+-45", 50.0, True)]
    text = page(lead, "hulls:schedule-write", *schedule_args("B"))
    assert 'value="GB-800"' in text


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"zones-0-area_m2": "-1"}, "is not accepted"),
        ({"zones-0-area_m2": ""}, "This is missing; give a number"),
        ({"zones-0-girth_to_mm": "0"}, "runs from the smaller girth"),
        ({"lines-0-zone": "Transom"}, "there is no zone"),
        ({"lines-0-material": "GB-900"}, "There is no material"),
        ({"lines-0-angle_deg": "along"}, "is not accepted; give 0, 90"),
        ({"lines-0-lap_mm": "9000"}, "is not accepted"),
        ({"lines-TOTAL_FORMS": "9999999"}, "151"),
        ({"lines-TOTAL_FORMS": "many"}, "ManagementForm"),
    ],
)
def test_a_draft_keyed_wrongly_changes_nothing_and_says_where(
    lead: Client, rev_b: ScheduleRevision, berth: Berth, changes: dict[str, str], words: str
) -> None:
    services.write_revision(revision=rev_b, zones=zones(), lines=lines(berth.shelf))
    answer = lead.post(url("hulls:schedule-write", *schedule_args("B")), keyed(**changes))
    assert answer.status_code == 422
    if words not in ("151", "ManagementForm"):
        assert words in answer.content.decode()
    assert rev_b.lines.count() == 6


def test_more_rows_keep_what_is_keyed_and_store_nothing(lead: Client, rev_b: ScheduleRevision) -> None:
    answer = lead.post(url("hulls:schedule-write", *schedule_args("B")), keyed(more="yes"))
    assert answer.status_code == 200
    text = answer.content.decode()
    assert 'name="lines-6-number"' in text
    assert 'value="±45"' in text
    assert "field-wrong" not in text
    assert not rev_b.lines.exists()


def test_a_row_is_taken_out_by_its_tick(lead: Client, rev_b: ScheduleRevision) -> None:
    lead.post(url("hulls:schedule-write", *schedule_args("B")), keyed(**{"lines-1-DELETE": "on"}))
    assert [line.material.code for line in rev_b.lines.all()] == ["GB-800"]


def test_a_schedule_too_long_for_a_page_is_written_as_a_csv_file(
    lead: Client, rev_b: ScheduleRevision, berth: Berth
) -> None:
    many = [services.GivenLine(number, "Keel", berth.shelf.biax, "0", 50.0) for number in range(1, 152)]
    services.write_revision(revision=rev_b, zones=zones()[:1], lines=many)
    answer = lead.get(url("hulls:schedule-write", *schedule_args("B")))
    assert answer.status_code == 409
    assert "It has 151 lines" in answer.content.decode()


def test_a_csv_file_goes_out_and_comes_in(lead: Client, rev_b: ScheduleRevision, berth: Berth) -> None:
    out = lead.get(url("hulls:schedule-csv", *schedule_args()))
    assert out["Content-Disposition"] == 'attachment; filename="MB84_Hull_shell_rev_A.csv"'
    taken = {"file": SimpleUploadedFile("schedule.csv", out.content)}
    assert lead.post(url("hulls:schedule-take-in", *schedule_args("B")), taken).status_code == 302
    assert "Every line is the same" in page(lead, "hulls:difference", *schedule_args("B"), "A")
    wrong = {"file": SimpleUploadedFile("schedule.csv", out.content.replace(b"GB-800", b"GB-900"))}
    answer = lead.post(url("hulls:schedule-take-in", *schedule_args("B")), wrong)
    assert answer.status_code == 422
    assert "Row 3, column material" in answer.content.decode()
    assert rev_b.lines.count() == 6
    into_signed = {"file": SimpleUploadedFile("schedule.csv", out.content)}
    answer = lead.post(url("hulls:schedule-take-in", *schedule_args("A")), into_signed)
    assert answer.status_code == 422
    assert "Rev A is signed. Begin rev C." in answer.content.decode()


def test_the_lead_signs_a_revision_and_a_part_is_built_to_it(
    lead: Client, rev_b: ScheduleRevision, berth: Berth
) -> None:
    services.write_revision(revision=rev_b, zones=zones(), lines=lines(berth.shelf)[:5])
    text = page(lead, "hulls:schedule", *schedule_args("B"))
    assert "1 line differs from rev A" in text
    assert lead.post(url("hulls:schedule-sign", *schedule_args("B")), posted(approval="")).status_code == 422
    assert lead.post(url("hulls:schedule-sign", *schedule_args("B")), posted(approval="drawing 1 B")).status_code == 302
    assert revision_state(berth.revision) == "superseded"
    assert "superseded" in page(lead, "hulls:schedules", "MB84")
    answer = lead.post(url("hulls:revision-take", *PART), posted(revision=rev_b.pk))
    assert answer.status_code == 302
    assert RevisionInForce.objects.filter(revision=rev_b).exists()
    assert "taken out" in page(lead, "hulls:difference", *schedule_args("B"), "A")


def test_a_draft_cannot_be_chosen_to_build_to(lead: Client, rev_b: ScheduleRevision) -> None:
    assert lead.post(url("hulls:revision-take", *PART), posted(revision=rev_b.pk)).status_code == 422


# ---- lay-up


def laid(**changes: object) -> dict[str, object]:
    fields = posted(
        outcome="laid", lot="R-0001", quantity="4.1", laid_by="MO", second_person="RT", deviation="", lead_reason=""
    )
    return {**fields, **changes}


@pytest.fixture
def builder(client: Client, berth: Berth) -> Client:
    client.force_login(berth.shop.builder)
    return client


@pytest.fixture
def log_url(berth: Berth) -> str:
    return url("hulls:laying-log", *PART)


def with_zone(berth: Berth, number: int, **changes: object) -> dict[str, object]:
    return laid(zone=berth.line(number).zone_id, **changes)


def test_the_lay_up_lists_every_line_and_the_next_to_lay(builder: Client, berth: Berth, log_url: str) -> None:
    berth.lay(1)
    text = page(builder, "hulls:lay-up", *PART)
    assert "1 of 6" in text
    assert f"{log_url}?line=2" in text
    assert text.count('id="laid-line-') == 6


def test_a_line_is_laid_by_the_form_with_the_plan_beside_an_empty_field(
    builder: Client, berth: Berth, log_url: str
) -> None:
    text = builder.get(f"{log_url}?line=2").content.decode()
    assert "By the schedule: 4.16" in text
    assert 'name="quantity" value' not in text
    answer = builder.post(f"{log_url}?line=2", with_zone(berth, 2))
    assert answer["Location"] == url("hulls:lay-up", *PART)
    laying = Laying.objects.get()
    assert (laying.quantity, laying.lot.code, laying.line.number) == (4.1, "R-0001", 2)
    assert laying.entry.person == "MO"


def test_a_laying_sent_twice_is_logged_once_and_answered_alike(builder: Client, berth: Berth, log_url: str) -> None:
    fields = with_zone(berth, 2)
    first, second = (builder.post(f"{log_url}?line=2", fields) for _ in range(2))
    assert (second.status_code, second["HB-Entry"]) == (302, first["HB-Entry"])
    assert Laying.objects.count() == 1


def test_the_lot_that_goes_out_of_date_first_is_offered_first_and_another_is_asked_about_once(
    builder: Client, berth: Berth, log_url: str
) -> None:
    release(receive(berth.shelf.biax, code="R-0801", use_by=dt.date(2026, 9, 1)))
    form = builder.get(f"{log_url}?line=2").context["form"]
    assert [code for code, _ in form.fields["lot"].choices] == ["", "R-0801", "R-0001"]
    fields = with_zone(berth, 2)
    answer = builder.post(f"{log_url}?line=2", fields)
    assert answer.status_code == 422
    assert "R-0801 goes out of date first" in answer.content.decode()
    assert builder.post(f"{log_url}?line=2", {**fields, "answer-lot": "R-0001"}).status_code == 302
    assert Laying.objects.get().entry.confirmed[0]["given"] == "R-0001"


def test_a_quantity_ten_times_the_plan_is_asked_about_and_the_tenth_offered(
    builder: Client, berth: Berth, log_url: str
) -> None:
    fields = with_zone(berth, 2, quantity="41")
    answer = builder.post(f"{log_url}?line=2", fields)
    assert answer.status_code == 422
    assert "9.8 times the 4.16" in answer.content.decode()
    builder.post(f"{log_url}?line=2", {**fields, "instead-quantity": "4.1"})
    assert Laying.objects.get().quantity == 4.1


def test_a_line_laid_already_is_asked_about_before_it_is_laid_again(
    builder: Client, berth: Berth, log_url: str
) -> None:
    first = berth.lay(2)
    fields = with_zone(berth, 2)
    answer = builder.post(f"{log_url}?line=2", fields)
    assert answer.status_code == 422
    assert f"entry {first.pk}. Is this a further roll" in answer.content.decode()
    assert builder.post(f"{log_url}?line=2", {**fields, "answer-again": str(first.pk)}).status_code == 302


def test_a_crew_of_one_is_asked_about_and_the_answer_kept(client: Client, berth: Berth, log_url: str) -> None:
    for initials, role in (("MO", Role.BUILDER), ("RT", Role.BUILDER), ("EL", Role.OFFICE)):
        change_role(person=Person.objects.get(initials=initials), role=role, holds=False, told=told())
    client.force_login(berth.shop.lead)
    fields = with_zone(berth, 2, laid_by="KJ", second_person="")
    answer = client.post(f"{log_url}?line=2", fields)
    assert answer.status_code == 422
    assert "nobody else is on the crew" in answer.content.decode()
    assert client.post(f"{log_url}?line=2", {**fields, "answer-second-person": "KJ"}).status_code == 302


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"second_person": ""}, "name the second person"),
        ({"second_person": "MO"}, "another than the one who laid it"),
        ({"lot": ""}, "Name the lot"),
        ({"lot": "R-9999"}, "not one of the available choices"),
        ({"quantity": ""}, "above nought"),
        ({"quantity": "4 kg"}, "the unit may be m2"),
        ({"quantity": "-4"}, "is not accepted"),
        ({"quantity": "four"}, "give one number"),
        ({"laid_by": "ZZ"}, "not one of the available choices"),
        ({"outcome": "laid otherwise"}, "Say why it was not laid"),
        ({"outcome": "not laid"}, "from no lot"),
        ({"outcome": "sung"}, "not one of the available choices"),
        ({"happened_at": "2026-06-15 13:00"}, "lies ahead"),
        ({"entry_id": "17"}, "UUID"),
    ],
)
def test_a_laying_keyed_wrongly_is_refused_in_words_and_nothing_is_kept(
    builder: Client, berth: Berth, log_url: str, changes: dict[str, object], words: str
) -> None:
    answer = builder.post(f"{log_url}?line=2", with_zone(berth, 2, **changes))
    assert answer.status_code == 422
    if words != "UUID":
        assert words in answer.content.decode()
    assert not Laying.objects.exists()


def test_a_line_not_laid_needs_its_reason_only(builder: Client, berth: Berth, log_url: str) -> None:
    fields = with_zone(berth, 3, outcome="not laid", lot="", quantity="", second_person="", deviation="keel too narrow")
    assert builder.post(f"{log_url}?line=3", fields).status_code == 302
    assert "keel too narrow" in page(builder, "hulls:lay-up", *PART)


def test_a_line_is_laid_with_another_material_as_laid_otherwise(builder: Client, berth: Berth, log_url: str) -> None:
    where = f"{log_url}?line=2&material=GQ-1200"
    form = builder.get(where).context["form"]
    assert [value for value, _ in form.fields["outcome"].choices] == ["laid otherwise"]
    fields = with_zone(berth, 2, outcome="laid otherwise", lot="R-0003", deviation="the biaxial roll was wet")
    assert builder.post(where, fields).status_code == 302
    assert Laying.objects.get().lot.material == berth.shelf.quad


def test_something_beside_the_schedule_is_logged_with_its_zone(builder: Client, berth: Berth, log_url: str) -> None:
    assert "What was laid beside the schedule?" in builder.get(log_url).content.decode()
    zone = berth.line(4).zone
    fields = laid(outcome="laid beside the schedule", zone=zone.pk, deviation="patch at station 4")
    where = f"{log_url}?material=GB-800"
    assert builder.post(where, {**fields, "outcome": "extra"}).status_code == 302
    assert (Laying.objects.get().line, Laying.objects.get().zone) == (None, zone)
    assert "patch at station 4" in page(builder, "hulls:lay-up", *PART)


@pytest.mark.parametrize("query", ["?line=99", "?line=x", "?material=GB-900", "?material=VE-10"])
def test_a_line_or_material_that_is_not_there_is_not_found(builder: Client, log_url: str, query: str) -> None:
    assert builder.get(log_url + query).status_code == 404


def test_a_held_lot_is_stopped_at_the_form_unless_the_lead_gives_a_reason(
    client: Client, berth: Berth, log_url: str
) -> None:
    decide_lot(lot=berth.shelf.lot(berth.shelf.biax), state=LotState.HELD, words="edge damage", told=told())
    client.force_login(berth.shop.builder)
    answer = client.post(f"{log_url}?line=2", with_zone(berth, 2))
    assert answer.status_code == 422
    assert "held" in answer.content.decode()
    client.force_login(berth.shop.lead)
    assert client.post(f"{log_url}?line=2", with_zone(berth, 2, lead_reason="edges cut off")).status_code == 302
    assert "edges cut off" in page(client, "hulls:lay-up", *PART)


def test_a_laying_is_corrected_with_a_reason_and_both_are_shown(builder: Client, berth: Berth) -> None:
    wrong = berth.lay(2, quantity=4.9, told=told("MO", at=NOON - dt.timedelta(hours=1)))
    where = url("hulls:laying-correct", *PART, wrong.pk)
    text = builder.get(where).content.decode()
    assert "Logged before: 4.90" in text
    assert builder.post(where, with_zone(berth, 2, reason="")).status_code == 422
    assert builder.post(where, with_zone(berth, 2, reason="read the wrong scale")).status_code == 302
    text = page(builder, "hulls:lay-up", *PART)
    assert "read the wrong scale" in text
    assert "4.90" in text
    assert "4.10" in text
    assert builder.get(where).status_code == 404


def test_another_persons_laying_is_corrected_by_the_lead_only(client: Client, berth: Berth) -> None:
    wrong = berth.lay(2, told=told("RT", at=NOON))
    where = url("hulls:laying-correct", *PART, wrong.pk)
    client.force_login(berth.shop.builder)
    assert client.get(where).status_code == 403
    client.force_login(berth.shop.lead)
    assert client.get(where).status_code == 200


def test_a_part_with_no_revision_in_force_says_so(lead: Client, berth: Berth) -> None:
    lay_down(berth.model, berth.shop, "MB84-02", pull_number=2)
    assert "No revision is in force" in page(lead, "hulls:lay-up", "MB84-02", SHELL)
    assert lead.get(url("hulls:laying-log", "MB84-02", SHELL)).status_code == 404


def test_names_a_browser_would_run_are_shown_as_words(lead: Client, berth: Berth) -> None:
    lay_down(
        berth.model,
        berth.shop,
        "MB84-02",
        pull_number=2,
        customer_reference="<script>alert(1)</script>",
        laid_down_on=DAY,
    )
    text = page(lead, "hulls:entries", "MB84-02")
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert(1)" in text


def test_a_schedule_of_a_part_with_no_signed_revision_shows_the_way(lead: Client, berth: Berth) -> None:
    deck = draft(berth.model, berth.shelf, "Deck")
    hull = lay_down(berth.model, berth.shop, "MB84-02", pull_number=2, part_names=["Deck"])
    assert "No revision is signed for this part" in page(lead, "hulls:revision-take", hull.number, "Deck")
    sign(deck)
    assert "rev A" in page(lead, "hulls:revision-take", hull.number, "Deck")
