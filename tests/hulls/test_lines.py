"""A model's own lines: taken in and out as a table of offsets, drawn on its pages, measured along its skin."""

import io
import uuid
from pathlib import Path
from typing import Any

import pytest
from bs4 import BeautifulSoup
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from hullbook.calc.hull_lines import Offset
from hullbook.hulls import services
from hullbook.hulls.forms import offsets_csv, read_offsets
from hullbook.hulls.models import BoatModel, OffsetPoint, OffsetTable
from hullbook.hulls.selectors import girth_stations, lines_of, lines_of_models, strip_for, zone_at
from hullbook.materials.services import strike_out
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from tests.cast import told
from tests.hulls.factories import Berth, add_tender, make_berth

pytestmark = pytest.mark.django_db

TENDER = Path(__file__).resolve().parents[2] / "fixtures" / "merrowby" / "offsets-mb84.csv"
HEAD = "station,x_mm,line,half_breadth_mm,height_mm\n"


@pytest.fixture
def berth() -> Berth:
    return make_berth()


@pytest.fixture
def office(client: Client, berth: Berth) -> Client:
    client.force_login(berth.shop.office)
    return client


def tender_offsets() -> list[Offset]:
    with TENDER.open("rb") as file:
        return read_offsets(file)


def give_lines(model: BoatModel, offsets: list[Offset] | None = None, **changes: Any) -> OffsetTable:
    fields = {"lines_plan": "MB84-LP-1 rev 2", "offsets": offsets or tender_offsets(), "told": told()}
    return services.give_offsets(boat_model=model, **{**fields, **changes})


def posted(content: bytes, **fields: str) -> dict[str, object]:
    file = SimpleUploadedFile("offsets.csv", content)
    return {"entry_id": str(uuid.uuid4()), "happened_at": "", "lines_plan": "MB84-LP-1", "file": file, **fields}


# ---- The table


def test_a_model_has_the_lines_of_the_last_table_given(berth: Berth) -> None:
    give_lines(berth.model)
    longer = [Offset(o.station, o.x_mm * 2, o.line, o.half_breadth_mm, o.height_mm) for o in tender_offsets()]
    give_lines(berth.model, longer)
    lines = lines_of(berth.model)
    assert lines is not None
    assert lines.length_mm == 16800
    assert OffsetTable.objects.count() == 2
    assert checked_book().is_whole


def test_a_table_struck_out_leaves_the_one_before(berth: Berth) -> None:
    table = give_lines(berth.model)
    strike_out(entry=table.entry, reason="wrong boat", told=told())
    assert lines_of(berth.model) is None


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"lines_plan": " "}, "Name the lines plan"),
        ({"offsets": [Offset("5 <b>", 0, "keel", 0, 0)]}, "letters and figures"),
        ({"offsets": [Offset("5", 0, "keel", 0, 0)]}, "no sheer at station 5"),
        ({"offsets": [Offset("5", float(n), "keel", 0, 0) for n in range(1001)]}, "at most 1000"),
    ],
)
def test_a_table_that_is_no_hull_is_refused_whole(berth: Berth, changes: dict[str, Any], said: str) -> None:
    before = Entry.objects.count()
    with pytest.raises(Refused, match=said):
        give_lines(berth.model, **changes)
    assert Entry.objects.count() == before
    assert not OffsetPoint.objects.exists()


def test_the_database_refuses_a_half_breadth_below_nought_and_a_line_twice(berth: Berth) -> None:
    table = give_lines(berth.model)
    for wrong in ({"half_breadth_mm": -1.0, "line": "chine 2"}, {"half_breadth_mm": 1.0, "line": "sheer"}):
        point = OffsetPoint(table=table, position=99, station="5", x_mm=3920.0, height_mm=1.0, **wrong)
        with pytest.raises(IntegrityError), transaction.atomic():
            point.save(force_insert=True)


def test_many_models_have_their_lines_in_two_queries(berth: Berth, django_assert_num_queries: Any) -> None:
    models = [berth.model, *(add_tender(f"T{number}") for number in range(4))]
    for model in models:
        give_lines(model)
    with django_assert_num_queries(2):
        assert len(lines_of_models([model.pk for model in models])) == 5


# ---- Half-girths


def test_the_half_girths_of_a_part_come_from_the_lines(berth: Berth) -> None:
    give_lines(berth.model)
    stations = {one.name: one for one in girth_stations(berth.part)}
    assert "0" not in stations  # at the stem the section closes to a point
    # station 5 by hand: 1115 out, 390 up to the chine; 315 out, 790 up to the sheer
    to_the_chine = (1115**2 + 390**2) ** 0.5
    assert stations["5"].landmarks[0].girth_mm == pytest.approx(to_the_chine)
    assert stations["5"].flange_mm == pytest.approx(to_the_chine + (315**2 + 790**2) ** 0.5)
    assert [one.name for one in girth_stations(berth.part, only=("2", "8"))] == ["2", "8"]


def test_without_lines_they_are_as_long_as_the_schedule(berth: Berth) -> None:
    assert [(one.name, one.flange_mm) for one in girth_stations(berth.part)] == [("2", 1450), ("5", 1450), ("8", 1450)]


def test_a_place_between_stations_is_drawn_on_the_nearer(berth: Berth) -> None:
    give_lines(berth.model)
    stations = girth_stations(berth.part)
    assert [strip_for(stations, name) for name in ("5", "5.4", "5.6", "bow")] == ["5", "5", "6", ""]


def test_a_place_lies_in_the_zone_of_the_schedule(berth: Berth) -> None:
    def zone(*place: Any) -> str:
        found = zone_at(berth.revision, *place)
        return found.name if found else ""

    assert [zone("port", "5", mm) for mm in (10.0, 900.0, 2000.0)] == ["Keel", "Bottom", ""]
    assert zone("port", "11", 900.0) == ""


# ---- In and out


def test_the_table_comes_out_as_it_went_in(berth: Berth, office: Client) -> None:
    give_lines(berth.model)
    answer = office.get(reverse("hulls:lines-csv", args=["MB84"]))
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert read_offsets(io.BytesIO(answer.content)) == tender_offsets()
    again = lines_of(berth.model)
    assert again is not None
    assert offsets_csv(again).encode() == answer.content


def test_no_lines_no_file(berth: Berth, office: Client) -> None:
    answer = office.get(reverse("hulls:lines-csv", args=["MB84"]))
    assert answer.status_code == 404


def test_the_office_takes_the_table_in_by_the_form(berth: Berth, office: Client) -> None:
    answer = office.post(reverse("hulls:lines-take-in", args=["MB84"]), posted(TENDER.read_bytes()))
    assert answer.status_code == 302
    page = office.get(reverse("hulls:lines", args=["MB84"])).content.decode()
    assert "MB84-LP-1" in page
    assert "2032" in page.replace("\u202f", "").replace("\u2009", "")  # the half-girth of station 5
    assert "drawing-lines-plan" in page


HOSTILE = {
    "a line nobody knows": ("5,1,waterline,0,0", "Row 2, column line"),
    "a word for a figure": ("5,aft,keel,0,0", "Row 2, column x_mm"),
    "a half-breadth below nought": ("5,1,keel,-5,0", "Row 2, column half_breadth_mm"),
    "a height beyond any boat": ("5,1,keel,0,9e9", "Row 2, column height_mm"),
    "not a number": ("5,1,keel,nan,0", "Row 2, column half_breadth_mm"),
    "no figure": ("5,1,keel,,0", "Row 2, column half_breadth_mm"),
    "a station of marks": ("=1+1,1,keel,0,0", "Row 2, column station"),
    "a script for a station": ("<script>,1,keel,0,0", "Row 2, column station"),
    "no station": (",1,keel,0,0", "Row 2, column station"),
    "a line twice": ("5,1,keel,0,0\n5,1,keel,0,0", "Row 3, column line"),
    "a station at two places": ("5,1,keel,0,0\n5,2,sheer,0,0", "Row 3, column x_mm"),
    "a cell too many": ("5,1,keel,0,0,0", "Row 2 has 6 cells"),
    "a NUL": ("5,1,ke\x00el,0,0", "Row 2"),
    "no sheer": ("5,1,keel,0,0", "Column line: no sheer at station 5"),
    "two stations only": ("5,1,keel,0,0\n5,1,sheer,1,1\n6,9,keel,0,0\n6,9,sheer,1,1", "Column station: 2 stations"),
    "two stations at one place": (
        "".join(f"{n},{x},keel,0,0\n{n},{x},sheer,1,1\n" for n, x in ((5, 1), (6, 1), (7, 9))),
        "Column x_mm",
    ),
    "nothing": ("", "There is no offset in it"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_file_that_does_not_fit_says_row_and_column_and_takes_nothing(
    berth: Berth, office: Client, name: str
) -> None:
    rows, said = HOSTILE[name]
    before = Entry.objects.count()
    answer = office.post(reverse("hulls:lines-take-in", args=["MB84"]), posted((HEAD + rows).encode()))
    assert answer.status_code == 422
    assert said in BeautifulSoup(answer.content, "html.parser").get_text()
    assert b"<script>," not in answer.content
    assert Entry.objects.count() == before


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "empty"),
        (b"\xff\xfe\x00x", "UTF-8"),
        (b"station;x_mm;line\n", "divided by"),
        (b"station,x_mm,line,half_breadth_mm\n", "Missing columns: height_mm"),
        (HEAD.encode().replace(b"height_mm", b"height_ft"), "Columns nobody knows: height_ft"),
        (HEAD.encode() + b"".join(b"%d,%d,keel,0,0\n" % (n, n) for n in range(1001)), "1000 lines"),
    ],
)
def test_a_file_that_is_no_such_table_is_refused(berth: Berth, office: Client, content: bytes, said: str) -> None:
    answer = office.post(reverse("hulls:lines-take-in", args=["MB84"]), posted(content))
    assert answer.status_code == 422
    assert said in BeautifulSoup(answer.content, "html.parser").get_text()
    assert not OffsetTable.objects.exists()


def test_units_may_stand_with_the_figures() -> None:
    rows = "1,0,keel,0,0\n1,0,sheer,1.2 m,0.9 m\n2,1 m,keel,0,0\n2,1 m,sheer,1,1\n3,2000 mm,keel,0,0\n3,2 m,sheer,1,1\n"
    offsets = read_offsets(io.BytesIO((HEAD + rows).encode()))
    assert (offsets[1].half_breadth_mm, offsets[1].height_mm) == (1200, 900)
    assert offsets[4].x_mm == offsets[5].x_mm == 2000


def test_a_table_of_more_wrongs_than_a_page_holds_stops() -> None:
    with pytest.raises(ValidationError) as refused:
        read_offsets(io.BytesIO((HEAD + "5,aft,keel,0,0\n" * 200).encode()))
    assert len(refused.value.messages) == 21
    assert refused.value.messages[-1].startswith("There may be more")


# ---- On the pages


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("hulls:hull", ["MB84-01"]),
        ("hulls:lay-up", ["MB84-01", "Hull shell"]),
        ("hulls:schedule", ["MB84", "Hull shell", "A"]),
        ("hulls:schedules", ["MB84"]),
        ("hulls:lines", ["MB84"]),
    ],
)
def test_the_rule_under_the_head_is_the_models_own_sheer(
    berth: Berth, office: Client, name: str, arguments: list[str]
) -> None:
    def rule() -> Any:
        head = BeautifulSoup(office.get(reverse(name, args=arguments)).content, "html.parser").find("header")
        return head.find(class_="sheer-rule")

    assert rule().find(class_="drawing-sheer") is None
    give_lines(berth.model)
    assert rule().find(class_="drawing-sheer") is not None
    assert rule()["aria-hidden"] == "true"


def test_a_page_about_no_boat_has_a_plain_rule(berth: Berth, office: Client) -> None:
    give_lines(berth.model)
    assert b"drawing-sheer" not in office.get(reverse("hulls:shed")).content


def test_the_sheer_costs_a_page_two_questions_however_many_stations(berth: Berth, office: Client) -> None:
    give_lines(berth.model)
    with CaptureQueriesContext(connection) as queries:
        office.get(reverse("hulls:hold-points", args=["MB84-01"]))
    assert sum("hulls_offset" in one["sql"] for one in queries) == 2
