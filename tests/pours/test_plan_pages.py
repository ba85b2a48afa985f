"""Pages of the pour plan and of what the yard has tried: what they ask of the database, and of the sums."""

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from hullbook.materials.services import strike_out
from hullbook.pours import services
from hullbook.pours.models import PourPlan
from hullbook.pours.selectors import (
    PourPlanInputs,
    flow,
    pour_plan_in_force,
    pour_plan_view,
    what_has_changed,
    worked_out_pour_plan,
)
from hullbook.pours.services import GivenStation
from hullbook.quantities import tables
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from tests.cast import MORNING, told
from tests.hulls.factories import Berth, make_berth
from tests.pours.factories import POUR_PLAN, lay_feed_lines, log_cup, panel_fields, read_plan, set_plan
from tests.pours.test_plan_lines import WAY, log_panel
from tests.pours.test_pour_plan import POSTED
from tests.pours.test_views import form, page

pytestmark = pytest.mark.django_db


@pytest.fixture
def berth() -> Berth:
    berth = make_berth()
    set_plan(berth)
    lay_feed_lines(berth)
    return berth


def asked_by(client: Client, name: str, berth: Berth) -> int:
    with CaptureQueriesContext(connection) as asked:
        answer = client.get(page(name, berth))
    assert answer.status_code == 200
    return len(asked)


@pytest.mark.parametrize("name", ["pour-plan", "pour-checklist", "pour-plan-read", "tried"])
def test_the_number_of_queries_does_not_grow_with_what_a_page_shows(client: Client, berth: Berth, name: str) -> None:
    """Two stations, three pails, one plan, one cup and one panel; then eight, more than twice, five, six and four."""
    client.force_login(berth.shop.lead)
    log_cup(berth)
    log_panel(berth, WAY)
    small = read_plan(berth)
    asked_by(client, name, berth)  # what a process reads once
    few = asked_by(client, name, berth)
    for more in range(1, 6):
        log_cup(berth, temperature_c=18.0 + more, gel_min=62.0 - 4 * more)
    for _ in range(3):
        log_panel(berth, [*WAY, *((float(n), 95.0 * n**0.5) for n in range(7, 20))])
        read_plan(berth)
    lay_feed_lines(berth, stations=[GivenStation(str(number), 1400.0 + number) for number in range(1, 9)])
    set_plan(berth, pail_kg=5.0)
    large = read_plan(berth, stops=["Clamp."] * 9)
    assert large.sections.count() > 2 * small.sections.count()
    assert large.pails.count() > 2 * small.pails.count()
    assert asked_by(client, name, berth) == few


def test_a_plan_that_is_read_is_worked_out_once(client: Client, berth: Berth, monkeypatch: pytest.MonkeyPatch) -> None:
    worked_out, work_out = [], flow._Working.view
    monkeypatch.setattr(flow._Working, "view", lambda one: worked_out.append(one) or work_out(one))
    client.force_login(berth.shop.lead)
    answer = client.post(page("pour-plan-read", berth), {**form(**POSTED), "read_to": ["MO", "RT"]})
    assert answer.status_code == 302, answer.content.decode()
    assert len(worked_out) == 1


def test_it_is_worked_out_for_the_day_it_was_read_on(client: Client, berth: Berth) -> None:
    """A cup of that day counts as the cup of the day, though the plan is logged on another."""
    log_cup(berth, gel_min=70.0)
    client.force_login(berth.shop.lead)
    at = timezone.localtime(MORNING).strftime("%Y-%m-%d %H:%M")
    keyed = {**form(**POSTED, happened_at=at), "read_to": ["MO"]}
    answer = client.post(page("pour-plan-read", berth), keyed)
    assert answer.status_code == 302, answer.content.decode()
    assert "by the cup of the day" in PourPlan.objects.get().gel_words


def test_a_plan_worked_out_before_its_lines_changed_is_not_read(berth: Berth) -> None:
    view = worked_out_pour_plan(berth.part, PourPlanInputs(**POUR_PLAN), timezone.localdate(MORNING))
    lay_feed_lines(berth)
    with pytest.raises(Refused, match=r"Other feed lines are logged since\. Work the plan out anew\."):
        services.read_pour_plan(view=view, told=told())
    assert not PourPlan.objects.exists()


def test_what_is_refused_in_working_out_stands_beside_its_field(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.lead)
    for also in ({"show": "yes"}, {"read_to": "MO"}):
        answer = client.post(page("pour-plan-read", berth), form(**{**POSTED, "dose_phr": "2.6"}, **also))
        assert answer.status_code == 422
        assert "the maker's limits are 1.00 to 2.00" in answer.context["form"].errors["dose_phr"][0]


def test_who_may_not_read_a_plan_out_is_told_what_it_takes(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.builder)
    asking: dict[str, Any] = {"headers": {"Accept": "application/json"}}
    refused = client.get(page("pour-plan-read", berth), **asking).json()["problems"][""]
    assert refused == "To work out a pour plan and read it to the crew you need the role quality lead."


def test_a_plan_says_that_the_reference_tables_have_changed_since(
    berth: Berth, monkeypatch: pytest.MonkeyPatch
) -> None:
    view = pour_plan_view(read_plan(berth))
    assert what_has_changed(view) == []
    monkeypatch.setattr(tables, "digest", lambda: "0" * 64)
    assert what_has_changed(view) == ["The reference tables have changed since; the limits shown are today's."]


def test_a_wrong_panel_is_struck_out_under_a_plan_and_the_plan_says_so(berth: Berth) -> None:
    """An entry is never taken away, and a wrong one is struck out: what rests on it stays as it was read."""
    earlier = services.log_trial_panel(**panel_fields(berth), readings=WAY, told=told("MO"))
    panel = log_panel(berth, [(minute, 0.8 * front) for minute, front in WAY])
    plan = read_plan(berth)
    assert plan.trial_id == panel.pk
    strike_out(entry=panel.entry, reason="the clock was started late", told=told(at=MORNING + dt.timedelta(hours=1)))
    in_force = pour_plan_in_force(berth.part)
    assert in_force is not None
    assert in_force.pk == plan.pk
    struck = f"The trial panel it rests on, entry {panel.pk}, is struck out since."
    assert what_has_changed(pour_plan_view(in_force)) == [struck]
    strike_out(entry=earlier.entry, reason="so was this one", told=told(at=MORNING + dt.timedelta(hours=1)))
    assert what_has_changed(pour_plan_view(in_force)) == [struck]
    assert read_plan(berth).trial_id is None
    assert checked_book().is_whole
