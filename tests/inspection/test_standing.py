"""What every hull wants next, who is waited for, what stops it; the shed drawn from that."""

import datetime as dt

import pytest
from bs4 import BeautifulSoup
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from hullbook.drawings.scene import Area
from hullbook.hulls.enums import InShed
from hullbook.hulls.models import Hull
from hullbook.hulls.services import place_in_shed
from hullbook.inspection.enums import Decision, FindingKind
from hullbook.inspection.models import Finding
from hullbook.inspection.selectors import hull_now, open_findings, shed_view, standings
from hullbook.inspection.services import decide_finding, log_finding
from hullbook.pours.services import begin_pour, set_resin_plan
from hullbook.yard.enums import Role
from hullbook.yard.services import add_bay, change_role
from tests.cast import DAY, MORNING, told
from tests.hulls.test_lines import give_lines
from tests.inspection.factories import LAST_DAY, POUR_DAY, Sheltered, hours, plan_inputs, sheltered

pytestmark = pytest.mark.django_db

TODAY = DAY


def wanted(hull: Hull) -> tuple[str, str]:
    (one,) = [one for one in standings() if one.hull == hull]
    return one.wanted, one.waits_for


def stops(berth: Sheltered) -> dict[str, str]:
    return {
        stop.words: (stop.crossed_by or "crossed") if stop.is_crossed else ""
        for stop in hull_now(berth.hull, TODAY).stops
    }


@pytest.fixture
def fresh(whole: Sheltered) -> Sheltered:
    """A second hull beside the complete one, only just laid down."""
    return sheltered(whole.shop, whole.shelf, "MB84-02")


def lay_all(berth: Sheltered) -> None:
    for line in range(1, 7):
        berth.lay(line, hours(MORNING, 2 + line / 10))


def crack(berth: Sheltered) -> Finding:
    return log_finding(
        part=berth.part,
        kind=FindingKind.CRACK,
        zone_name="Keel",
        place="",
        length_mm=None,
        width_mm=None,
        words="",
        told=told("RT", at=hours(LAST_DAY, 8)),
    )


def set_plan(berth: Sheltered, at: dt.datetime) -> None:
    set_resin_plan(part=berth.part, system=berth.shelf.system, inputs=plan_inputs(berth.shelf), told=told(at=at))


# ---- Next, and who is waited for


def test_a_hull_just_laid_down_waits_for_the_person_who_releases(fresh: Sheltered) -> None:
    # hold points 0 and 1 stand before the work, 2 before the first fibre
    what, who = wanted(fresh.hull)
    assert what == "hold point 0, before laying down"
    assert who == fresh.shop.lead.full_name


def test_with_two_quality_leads_it_waits_for_the_role(fresh: Sheltered) -> None:
    change_role(person=fresh.shop.office, role=Role.QUALITY_LEAD, holds=True, told=told())
    assert wanted(fresh.hull)[1] == "quality lead"


def test_released_it_wants_the_work_and_waits_for_nobody(fresh: Sheltered) -> None:
    for number in (0, 1, 2):
        fresh.release(number, hours(MORNING, 1))
    assert wanted(fresh.hull) == ("skin", "")
    fresh.lay(1, hours(MORNING, 2))
    assert wanted(fresh.hull) == ("skin, under way", "")


def test_laid_up_it_waits_at_the_hold_point_before_the_bag(fresh: Sheltered) -> None:
    for number in (0, 1, 2, 3):
        fresh.release(number, hours(MORNING, 1))
    lay_all(fresh)
    # the bag is under way as soon as all is laid, so its own hold point stands among the stops
    assert wanted(fresh.hull) == ("bag, under way", "")
    assert "Hold point 4, before bag" in stops(fresh)


def test_a_complete_hull_leaves_the_yard_once_hold_point_12_is_released(whole: Sheltered) -> None:
    assert wanted(whole.hull)[0].startswith("hold point")
    assert [one.done for one in standings()] == [10.5]


def test_a_pour_that_is_not_closed_is_under_way(fresh: Sheltered) -> None:
    assert not any(one.facts.is_pouring for one in standings())
    for number in (0, 1, 2, 3, 4, 5):
        fresh.release(number, hours(MORNING, 1))
    lay_all(fresh)
    fresh.hold_test(hours(POUR_DAY, 0.5))
    set_plan(fresh, hours(POUR_DAY, 0.6))
    begin_pour(part=fresh.part, told=told(at=hours(POUR_DAY, 1)))
    (one,) = [one for one in standings() if one.hull == fresh.hull]
    assert one.facts.is_pouring
    assert one.wanted == "pour, under way"


def test_a_finding_nobody_has_decided_waits_for_the_person_who_decides(whole: Sheltered) -> None:
    before = standings()[0].to_decide
    finding = crack(whole)
    (one,) = standings()
    assert one.to_decide == before + 1 == len(open_findings(whole.hull))
    assert one.waits_for == whole.shop.lead.full_name
    decide_finding(
        about_entry=finding.entry, decision=Decision.REPAIR, words="ground out", told=told(at=hours(LAST_DAY, 9))
    )
    assert standings()[0].to_decide == before


# ---- Stops


def test_stops_are_crossed_by_the_book_or_by_a_person(fresh: Sheltered) -> None:
    assert stops(fresh)["Schedule rev A in force for Hull shell"] == "book"
    assert stops(fresh)["Hold point 2, before first fibre"] == ""
    fresh.release(2, hours(MORNING, 1))
    assert stops(fresh)["Hold point 2, before first fibre"].startswith("KJ ")
    assert hull_now(fresh.hull, TODAY).open_stops == 2


def test_before_the_pour_the_hold_test_the_plan_and_the_resin_are_asked_for(fresh: Sheltered) -> None:
    for number in (0, 1, 2, 3, 4):
        fresh.release(number, hours(MORNING, 1))
    lay_all(fresh)
    fresh.hold_test(hours(POUR_DAY, 0.5), rise_mbar_min=2.0)
    said = stops(fresh)
    assert said["Hold test 1: fail"] == ""
    assert said["A resin plan set"] == ""
    assert said["Hold point 5, before pour"] == ""
    fresh.hold_test(hours(POUR_DAY, 0.8))
    set_plan(fresh, hours(POUR_DAY, 0.9))
    said = stops(fresh)
    assert said["Hold test 2: pass"] == "book"
    assert any(words.startswith("Resin plan set, ") and by == "book" for words, by in said.items())
    assert any(words.startswith("Resin released in the store") for words in said)


def test_before_the_survey_an_open_finding_stops_it(whole: Sheltered) -> None:
    assert stops(whole)["No finding open"] == "book"
    crack(whole)
    assert stops(whole)["Findings decided, 1 open"] == ""


def test_the_page_leads_to_the_work_in_hand(fresh: Sheltered, client: Client) -> None:
    client.force_login(fresh.shop.builder)
    where = reverse("inspection:now", args=[fresh.hull.number])
    page = BeautifulSoup(client.get(where).content, "html.parser")
    assert page.find("a", class_="key-work")["href"] == reverse("hulls:hold-points", args=[fresh.hull.number])
    for number in (0, 1, 2):
        fresh.release(number, hours(MORNING, 1))
    page = BeautifulSoup(client.get(where).content, "html.parser")
    assert page.find("a", class_="key-work")["href"] == reverse(
        "hulls:lay-up", args=[fresh.hull.number, fresh.part.name]
    )
    fragment = client.get(where, headers={"HX-Request": "true"}).content.decode()
    assert 'id="work-in-hand"' in fragment
    assert "hx-swap-oob" in fragment


# ---- The shed drawn


def place(what: InShed, name: str, x_m: float, y_m: float) -> None:
    place_in_shed(what=what, name=name, x_m=x_m, y_m=y_m, length_m=9.0, width_m=3.6, heading_deg=0.0, told=told())


def test_a_hull_lies_in_its_mould_and_once_out_of_it_where_it_was_put(whole: Sheltered, fresh: Sheltered) -> None:
    place(InShed.MOULD, fresh.hull.mould, 7.0, 4.0)
    view = shed_view({}, standings())
    # MB84-01 is out of the mould and was put nowhere
    assert [hull.number for hull in view.not_placed] == ["MB84-01"]
    assert view.plan is not None
    assert "MB84-02: 0.5 of 11 stages done" in view.plan.desc
    assert "MB84-01" not in view.plan.desc
    place(InShed.HULL, "MB84-01", 20.0, 4.0)
    view = shed_view({"MB84-01": "/hulls/MB84-01/"}, standings())
    assert view.not_placed == ()
    assert view.plan is not None
    assert [shape.href for shape in view.plan.shapes if isinstance(shape, Area)] == ["/hulls/MB84-01/"]


def test_the_list_says_the_place_that_the_plan_shows(fresh: Sheltered, client: Client) -> None:
    def said() -> str:
        client.force_login(fresh.shop.lead)
        page = BeautifulSoup(client.get(reverse("inspection:shed-stages")).content, "html.parser")
        number = page.find(class_="hull-number", string=fresh.hull.number)
        return number.find_parent(class_="standing-hull").find(class_="under").get_text()

    assert said().endswith(f", {fresh.hull.bay.name}")
    place(InShed.MOULD, fresh.hull.mould, 7.0, 4.0)
    assert said().endswith(f", {fresh.hull.bay.name}")
    other = add_bay(code="2", name="Bay 2", told=told())
    place(InShed.BAY, other.code, 8.0, 4.0)
    assert said().endswith(", Bay 2")
    place(InShed.MOULD, fresh.hull.mould, 30.0, 4.0)
    assert said().endswith(", outside the bays")


def test_without_any_place_there_is_a_list_and_no_plan(whole: Sheltered) -> None:
    view = shed_view({}, standings())
    assert view.plan is None
    assert len(view.standings) == 1


def test_the_outline_is_the_models_own_where_its_lines_are_given(whole: Sheltered) -> None:
    place(InShed.HULL, "MB84-01", 20.0, 4.0)

    def corners() -> int:
        plan = shed_view({}, standings()).plan
        assert plan is not None
        return max(len(getattr(shape, "points", ())) for shape in plan.shapes)

    plain = corners()
    give_lines(whole.hull.boat_model)
    assert corners() > plain


def test_the_shed_asks_the_same_of_the_book_however_many_hulls_stand_in_it(whole: Sheltered, client: Client) -> None:
    client.force_login(whole.shop.builder)

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse("inspection:shed-stages"), headers={"HX-Request": "true"}).status_code == 200
        return len(queries)

    place(InShed.BAY, "1", 20.0, 4.0)
    sheltered(whole.shop, whole.shelf, "MB84-02")
    two = asked()
    for number in range(3, 7):
        sheltered(whole.shop, whole.shelf, f"MB84-0{number}")
        place(InShed.HULL, f"MB84-0{number}", 20.0, 4.0)
    assert asked() == two


def test_the_drawn_shed_has_each_hull_as_a_way_on_with_its_ticks(whole: Sheltered, client: Client) -> None:
    client.force_login(whole.shop.builder)
    fragment = client.get(reverse("inspection:shed-stages"), headers={"HX-Request": "true"})
    page = BeautifulSoup(fragment.content, "html.parser")
    way = page.find("a", class_="standing-hull")
    assert way["href"] == reverse("hulls:hull", args=["MB84-01"])
    assert len(way.find_all("li", class_="done")) == 10
    assert page.find(id="shed-standing") is not None
    assert "<html" not in fragment.content.decode()
    assert "<html" in client.get(reverse("inspection:shed-stages")).content.decode()
