"""Where bays, moulds and hulls lie, and what the shed's page says beside its drawing."""

import datetime as dt
import uuid
from typing import Any

import pytest
from bs4 import BeautifulSoup
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.urls import reverse

from hullbook.hulls.enums import InShed
from hullbook.hulls.models import ShedPlace
from hullbook.hulls.selectors import lots_running_out, places_in_plan, shed_places
from hullbook.hulls.services import place_in_shed
from hullbook.records.selectors import book_head
from hullbook.records.services import Refused
from tests.cast import DAY, open_shop, told
from tests.hulls.factories import Berth, make_berth

pytestmark = pytest.mark.django_db


@pytest.fixture
def berth() -> Berth:
    return make_berth()


@pytest.fixture
def office(client: Client, berth: Berth) -> Client:
    client.force_login(berth.shop.office)
    return client


def place(what: InShed = InShed.MOULD, name: str = "M84-1", **changes: Any) -> ShedPlace:
    numbers = {"x_m": 7.0, "y_m": 3.6, "length_m": 9.2, "width_m": 3.6, "heading_deg": 0.0, "told": told()}
    return place_in_shed(what=what, name=name, **{**numbers, **changes})


def test_a_thing_lies_where_it_was_last_said_to_lie(berth: Berth) -> None:
    place()
    place(x_m=9.0)
    assert shed_places()[InShed.MOULD, "M84-1"].x_m == 9.0
    assert ShedPlace.objects.count() == 2


def test_a_hull_moved_stands_in_the_book_about_it(berth: Berth) -> None:
    moved = place(InShed.HULL, "MB84-01")
    assert moved.entry.about == "MB84-01"
    assert place().entry.about == ""


@pytest.mark.parametrize(
    ("what", "name", "said"),
    [(InShed.BAY, "9", "no bay"), (InShed.HULL, "MB84-99", "no hull"), (InShed.MOULD, "  ", "Name the bay")],
)
def test_only_what_is_there_is_placed(berth: Berth, what: InShed, name: str, said: str) -> None:
    with pytest.raises(Refused, match=said):
        place(what, name)


@pytest.mark.parametrize("wrong", [{"length_m": 0.0}, {"x_m": -1.0}, {"heading_deg": 360.0}])
def test_a_place_outside_the_plan_is_refused_by_service_and_database(berth: Berth, wrong: dict[str, float]) -> None:
    with pytest.raises(Refused):
        place(**wrong)
    kept = place()
    with pytest.raises(IntegrityError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO hulls_shedplace (entry_id, reason, what, name, x_m, y_m, length_m, width_m, heading_deg) "
            "SELECT entry_id + 1000, '', what, name, "
            + ", ".join(str(wrong.get(name, 1.0)) for name in ("x_m", "y_m", "length_m", "width_m", "heading_deg"))
            + f" FROM hulls_shedplace WHERE entry_id = {kept.pk}"
        )


def test_what_can_lie_in_the_plan_is_every_bay_every_mould_and_every_hull_in_the_yard(berth: Berth) -> None:
    place(name="M84-2")
    names = [(one.what.value, one.name, one.place is not None) for one in places_in_plan()]
    assert names == [
        ("bay", "1", False),
        ("mould", "M84-1", False),
        ("mould", "M84-2", True),
        ("hull", "MB84-01", False),
    ]


def test_the_office_places_a_mould_by_numbers(berth: Berth, office: Client) -> None:
    listed = office.get(reverse("hulls:shed-places")).content.decode()
    assert "not placed" in listed
    where = reverse("hulls:shed-place") + "?what=mould&name=M84-1"
    assert office.get(where).context["form"].initial["name"] == "M84-1"
    fields = {"what": "mould", "name": "M84-1", "x_m": "7", "y_m": "3.6", "length_m": "9.2", "width_m": "3.6"}
    answer = office.post(where, {"entry_id": str(uuid.uuid4()), "happened_at": "", "heading_deg": "0", **fields})
    assert answer.status_code == 302
    assert office.get(where).context["form"].initial["x_m"] == "7"


# ---- Beside the drawing


def test_lots_of_the_next_fourteen_days_are_told_and_those_behind(berth: Berth) -> None:
    lots = {line.lot.use_by for line in lots_running_out(DAY)}
    assert all(use_by <= DAY + dt.timedelta(days=14) for use_by in lots)
    resin = berth.shelf.lot(berth.shelf.resin)
    assert resin.use_by is not None
    soon = [line.lot.code for line in lots_running_out(resin.use_by - dt.timedelta(days=14))]
    earlier = [line.lot.code for line in lots_running_out(resin.use_by - dt.timedelta(days=15))]
    assert (resin.code in soon, resin.code in earlier) == (True, False)


def test_the_book_s_health_line_has_its_head(berth: Berth, office: Client) -> None:
    page = BeautifulSoup(office.get(reverse("hulls:shed")).content, "html.parser")
    head = book_head()
    (said,) = [part.get_text(" ") for part in page.find_all("section") if part.h2 and part.h2.get_text() == "The book"]
    assert f"Entry {head.entries}, put in" in said
    assert said.split()[-1] == head.head[:16]


def test_an_empty_shed_says_so_under_the_outline_of_a_mould(client: Client) -> None:
    shop = open_shop()
    client.force_login(shop.office)
    page = BeautifulSoup(client.get(reverse("hulls:shed")).content, "html.parser")
    assert "No hull in any mould. Lay down the first." in page.get_text()
    assert page.find(class_="drawing-shed-plan") is not None


def test_every_hull_is_a_way_on_before_the_drawing_is_there(berth: Berth, office: Client) -> None:
    page = BeautifulSoup(office.get(reverse("hulls:shed")).content, "html.parser")
    assert page.find("a", class_="standing-hull")["href"] == reverse("hulls:hull", args=["MB84-01"])
    assert page.find(id="shed-standing")["hx-get"] == reverse("inspection:shed-stages")


@pytest.mark.parametrize("wrong", ["MB84-1", "0A1", "MB84-10"])
def test_an_unknown_hull_names_the_nearest(berth: Berth, office: Client, wrong: str) -> None:
    answer = office.get(reverse("hulls:hull", args=[wrong]))
    assert answer.status_code == 404
    assert f"No hull {wrong} here. Nearest: MB84-01." in answer.content.decode()
