"""What a tablet's outbox sends: taken once, under whose tile was lit, as of when it was tapped, answered in JSON."""

import datetime as dt
import json
import random
import uuid

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from hullbook.records.models import Entry
from hullbook.records.selectors import book_head, checked_book, in_own_order, last_sequence
from hullbook.yard.enums import Role
from hullbook.yard.middleware import TABLET_COOKIE
from hullbook.yard.models import ClimateReading, Person, Tablet
from hullbook.yard.services import change_role, lift_tablet, light_tile
from tests.cast import MORNING, Shop, open_shop, told
from tests.records.factories import LOG, ShedTablet, Tapped, climate, iso, shed_tablet

pytestmark = pytest.mark.django_db

JSON = {"Accept": "application/json"}


class ShedClock:
    """The server's clock, set by the test."""

    def __init__(self) -> None:
        self.time = MORNING

    def __call__(self) -> dt.datetime:
        return self.time

    def wait(self, seconds: float) -> None:
        self.time += dt.timedelta(seconds=seconds)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> ShedClock:
    clock = ShedClock()
    monkeypatch.setattr("django.utils.timezone.now", clock)
    return clock


@pytest.fixture
def shop(clock: ShedClock) -> Shop:
    shop = open_shop()
    clock.wait(3600)
    return shop


@pytest.fixture
def tablet(shop: Shop) -> ShedTablet:
    return shed_tablet(shop)


def lit(tablet: ShedTablet, person: Person | None) -> None:
    light_tile(tablet=Tablet.objects.get(enrolment__name=tablet.name), person=person)


def entries() -> list[Entry]:
    return [reading.entry for reading in ClimateReading.objects.select_related("entry").order_by("pk")]


def clock_of(entry: Entry) -> dict[str, str]:
    kept: dict[str, str] = json.loads(entry.keyed)["tablet_clock"]
    return kept


# ---- What is answered


def test_what_is_taken_is_answered_with_its_number_its_hash_and_the_head_of_the_book(
    shop: Shop, tablet: ShedTablet
) -> None:
    tapped = tablet.tap("MO", climate(shop))
    answer = tablet.send(tapped)
    entry = entries()[0]
    assert (answer.status_code, answer["Content-Type"]) == (201, "application/json")
    assert answer.json() == {
        "entry": entry.number,
        "id": tapped.fields["entry_id"],
        "hash": entry.hash,
        "kind": "yard.climatereading",
        "head": {"number": entry.number, "hash": entry.hash},
        "clock_ahead_s": 0.0,
        "beside": None,
        "then": "/yard/climate/1/",
    }
    assert (entry.device, entry.device_sequence, entry.account) == ("tablet-bay-1", 1, "tablet:tablet bay 1")


def test_the_same_sent_again_is_answered_as_the_first_time(shop: Shop, tablet: ShedTablet) -> None:
    tapped = tablet.tap("MO", climate(shop))
    first, again = tablet.send(tapped), tablet.send(tapped)
    assert (first.status_code, again.status_code) == (201, 200)
    assert again.json() == first.json()
    assert len(entries()) == 1


def test_the_same_id_with_other_words_is_not_taken(shop: Shop, tablet: ShedTablet) -> None:
    tapped = tablet.tap("MO", climate(shop))
    tablet.send(tapped)
    for other in ({"place": "deck"}, {"tapped_at": iso(MORNING)}, {"sequence": "2"}, {"logged_by": "RT"}):
        answer = tablet.send(Tapped(tapped.where, {**tapped.fields, **other}))
        assert answer.status_code == 422
        assert "in the book already as entry" in answer.json()["problems"][""]
    assert len(entries()) == 1


def test_what_is_wrong_is_said_by_field_and_what_is_odd_is_asked(shop: Shop, tablet: ShedTablet) -> None:
    answer = tablet.send(tablet.tap("MO", climate(shop, humidity_percent="101", place="")))
    assert answer.status_code == 422
    assert set(answer.json()["problems"]) == {"humidity_percent"}
    assert answer.json()["questions"] == []
    odd = tablet.tap("MO", climate(shop, air_temperature_c="45"))
    answer = tablet.send(odd)
    (question,) = answer.json()["questions"]
    assert (answer.status_code, question["field"], question["given"]) == (422, "air_temperature_c", "45")
    assert set(question) == {"field", "given", "sentence", "likely"}
    answered = Tapped(odd.where, {**odd.fields, "answer-air_temperature_c": "45"})
    assert tablet.send(answered).status_code == 201
    assert [asked["given"] for asked in entries()[0].confirmed] == ["45"]


def test_who_is_not_signed_in_is_told_so_and_never_sent_to_the_door(shop: Shop) -> None:
    for answer in (
        Client().post(reverse(LOG), climate(shop), headers=JSON),
        Client().get(reverse("yard:tablet-state"), headers=JSON),
    ):
        assert (answer.status_code, answer.json()) == (401, {"why": "not signed in"})


def test_the_key_of_a_lifted_tablet_is_no_longer_taken_from_its_next_request(shop: Shop, tablet: ShedTablet) -> None:
    tapped = tablet.tap("MO", climate(shop))
    assert tablet.send(tapped).status_code == 201
    waiting = tablet.tap("MO", climate(shop))
    lift_tablet(tablet=Tablet.objects.get(), told=told())
    for _ in range(2):
        answer = tablet.send(waiting)
        assert (answer.status_code, answer.json()) == (401, {"why": "not enrolled"})
    assert [entry.person for entry in entries()] == ["MO"]


def test_in_a_browser_only_what_its_own_person_tapped_is_taken(shop: Shop) -> None:
    browser = ShedTablet("office", Client())
    browser.client.force_login(shop.lead)
    by_mo, by_kj = browser.tap("MO", climate(shop)), browser.tap("KJ", climate(shop))
    answer = browser.send(by_mo)
    assert (answer.status_code, answer.json()) == (401, {"why": "somebody else is signed in"})
    assert browser.client.post(by_mo.where, by_mo.fields).status_code == 403
    assert browser.send(by_kj).status_code == 201
    browser.client.logout()
    assert browser.send(by_mo).json() == {"why": "not signed in"}
    browser.client.force_login(shop.builder)
    assert browser.send(by_mo).status_code == 201
    assert [(entry.person, entry.account) for entry in entries()] == [("KJ", "kj"), ("MO", "mo")]


def test_with_nobody_lit_a_script_is_told_so_and_never_shown_a_page(shop: Shop, tablet: ShedTablet) -> None:
    answer = tablet.send(tablet.tap("", climate(shop)))
    assert (answer.status_code, answer.json()) == (401, {"why": "nobody is lit"})


def test_what_a_role_may_not_and_what_is_not_there_is_said_in_json(shop: Shop, tablet: ShedTablet) -> None:
    tapped = tablet.tap("MO", {}, page="hulls:hull-lay-down")
    answer = tablet.send(tapped)
    assert answer.status_code == 403
    assert answer.json() == {"problems": {"": "To lay down a hull you need the role office or quality lead."}}
    for where in ("/nowhere/", reverse("hulls:hull", args=["MB84-99"])):
        answer = tablet.client.get(where, headers=JSON)
        assert answer.status_code == 404
        assert set(answer.json()) == {"problems"}
        assert answer.json()["problems"][""]
    assert tablet.client.get("/nowhere/")["Content-Type"].startswith("text/html")


def test_a_token_that_does_not_fit_is_said_and_a_fresh_one_comes_with_the_answer(shop: Shop) -> None:
    tablet = shed_tablet(shop, enforce_csrf_checks=True)
    tapped = tablet.tap("MO", climate(shop))
    answer = tablet.send(tapped)
    assert (answer.status_code, answer.json()) == (403, {"why": "token"})
    cookie = tablet.client.get(reverse("yard:tablet-state")).json()["csrf_cookie"]
    fresh = tablet.client.cookies[cookie]
    assert not fresh["httponly"]
    headers = {**JSON, "HB-Clock": iso(timezone.now()), "X-CSRFToken": fresh.value}
    assert tablet.client.post(tapped.where, tapped.fields, headers=headers).status_code == 201


def test_a_page_is_answered_with_pages_as_ever(shop: Shop, tablet: ShedTablet) -> None:
    tapped = tablet.tap("MO", climate(shop))
    answer = tablet.client.post(tapped.where, tapped.fields)
    assert (answer.status_code, answer["HB-Entry"]) == (302, str(entries()[0].number))
    wrong = tablet.tap("MO", climate(shop, humidity_percent="101"))
    answer = tablet.client.post(wrong.where, wrong.fields, headers={"Accept": "text/html,*/*;q=0.8"})
    assert (answer.status_code, answer["Content-Type"]) == (422, "text/html; charset=utf-8")


# ---- Under whom it goes


@pytest.fixture
def thirty(shop: Shop, tablet: ShedTablet, clock: ShedClock) -> list[Tapped]:
    """Tapped under KJ while the book was out of reach; by the time it is sent, MO stands there."""
    lit(tablet, shop.lead)
    waiting = []
    for number in range(30):
        waiting.append(tablet.tap("KJ", climate(shop, place=f"zone {number}")))
        clock.wait(20)
    lit(tablet, shop.builder)
    return waiting


def test_what_one_tapped_stays_under_their_name_whoever_stands_there_when_it_is_sent(
    shop: Shop, tablet: ShedTablet, thirty: list[Tapped]
) -> None:
    tablet.client.force_login(shop.office)
    assert [tablet.send(tapped).status_code for tapped in thirty] == [201] * 30
    assert {entry.person for entry in entries()} == {"KJ"}
    assert [entry.device_sequence for entry in entries()] == list(range(1, 31))
    assert Tablet.objects.get().lit == shop.builder
    assert checked_book().is_whole


def test_without_the_name_it_was_tapped_under_it_would_go_under_the_newcomer(
    tablet: ShedTablet, thirty: list[Tapped]
) -> None:
    for tapped in thirty:
        nameless = {name: value for name, value in tapped.fields.items() if name != "logged_by"}
        assert tablet.send(Tapped(tapped.where, nameless)).status_code == 201
    assert {entry.person for entry in entries()} == {"MO"}


@pytest.mark.parametrize("initials", ["XX", "GU", "kj", "K\0J", "<b>", "MOX"])
def test_initials_of_nobody_on_the_crew_are_refused_in_words(shop: Shop, tablet: ShedTablet, initials: str) -> None:
    Person.objects.create_person(initials="GU", full_name="A surveyor (invented)", sign_in_name="gu", password=None)
    tapped = tablet.tap(initials, climate(shop))
    answer = tablet.send(tapped)
    assert answer.status_code == 422
    assert "holds no role in this yard" in answer.json()["problems"]["logged_by"]
    assert tablet.client.post(tapped.where, tapped.fields).status_code == 403
    assert entries() == []


def test_work_tapped_while_the_role_was_held_is_taken_after_it_has_ended(
    shop: Shop, tablet: ShedTablet, clock: ShedClock
) -> None:
    before = tablet.tap("MO", climate(shop, place="before"))
    clock.wait(60)
    change_role(person=shop.builder, role=Role.BUILDER, holds=False, told=told(at=clock.time))
    clock.wait(60)
    after = tablet.tap("MO", climate(shop, place="after"))
    assert tablet.send(after).status_code == 422
    assert tablet.send(before).status_code == 201
    assert [reading.place for reading in ClimateReading.objects.all()] == ["before"]


def test_nobody_signs_on_the_strength_of_a_role_that_has_ended(
    shop: Shop, tablet: ShedTablet, clock: ShedClock
) -> None:
    tapped = tablet.tap("RT", {"zone": "Keel"}, page="hulls:hull-list")
    change_role(person=shop.second, role=Role.QUALITY_LEAD, holds=True, told=told(at=clock.time))
    clock.wait(60)
    tapped = Tapped(reverse("hulls:boat-model-add"), {**tapped.fields, "tapped_at": iso(clock.time)})
    clock.wait(60)
    change_role(person=shop.second, role=Role.QUALITY_LEAD, holds=False, told=told(at=clock.time))
    clock.wait(60)
    # Work that a tile is enough for is judged by the tap ...
    assert tablet.send(tapped).status_code == 422
    # ... and what is signed by now.
    signed = tablet.tap("RT", {}, page="yard:climate-log")
    signing = Tapped(reverse("materials:lot-decide", args=["R-0001", "release"]), signed.fields)
    assert tablet.send(signing).status_code in (403, 404)


# ---- When it was tapped


OFFSETS = {
    "right": 0.0,
    "10 s ahead": 10.0,
    "10 s behind": -10.0,
    "2 min ahead": 120.0,
    "2 min behind": -120.0,
    "1 h ahead": 3600.0,
    "1 h behind": -3600.0,
    "1 day ahead": 86400.0,
    "1 day behind": -86400.0,
    "in 1970": -56 * 365.25 * 86400.0,
}


@pytest.mark.parametrize("offset", OFFSETS)
def test_a_tablets_time_is_put_right_by_its_clock_at_sending_and_both_are_kept(
    shop: Shop, tablet: ShedTablet, clock: ShedClock, offset: str
) -> None:
    tablet.ahead = dt.timedelta(seconds=OFFSETS[offset])
    tapped_at, shown = clock.time, iso(tablet.clock())
    tapped = tablet.tap("MO", climate(shop))
    clock.wait(2700)
    sent_at = tablet.clock()
    clock.wait(1.5)
    answer = tablet.send(tapped, sent_at=sent_at)
    entry = entries()[0]
    assert abs((entry.tapped_at - tapped_at).total_seconds()) <= 2.0
    assert entry.happened_at == entry.tapped_at
    assert not entry.told_late
    assert answer.json()["clock_ahead_s"] == pytest.approx(OFFSETS[offset], abs=2.0)
    kept = clock_of(entry)
    assert kept["tapped_at"] == shown
    assert float(kept["ahead_s"]) == pytest.approx(OFFSETS[offset], abs=2.0)
    assert "tablet_clock" in json.loads(entry.body)["keyed"]
    assert checked_book().is_whole


def test_five_minutes_ago_by_the_tablets_clock_is_five_minutes_before_the_tap(
    shop: Shop, tablet: ShedTablet, clock: ShedClock
) -> None:
    tablet.ahead = dt.timedelta(hours=1)
    ago = iso(tablet.clock() - dt.timedelta(minutes=5))
    tapped_at = clock.time
    tapped = tablet.tap("MO", climate(shop, happened_at=ago))
    clock.wait(600)
    assert tablet.send(tapped).status_code == 201
    entry = entries()[0]
    assert (entry.tapped_at, entry.happened_at) == (tapped_at, tapped_at - dt.timedelta(minutes=5))
    assert entry.told_late
    assert clock_of(entry)["happened_at"] == ago


def test_a_time_that_a_person_keyed_is_the_walls_and_stays(shop: Shop, tablet: ShedTablet, clock: ShedClock) -> None:
    tablet.ahead = dt.timedelta(hours=-1)
    assert tablet.send(tablet.tap("MO", climate(shop, happened_at="2026-05-12 08:55"))).status_code == 201
    entry = entries()[0]
    assert entry.happened_at == dt.datetime(2026, 5, 12, 8, 55, tzinfo=dt.UTC)
    assert entry.tapped_at == clock.time
    assert "happened_at" not in clock_of(entry)


def test_waiting_on_the_tablet_makes_nothing_late(shop: Shop, tablet: ShedTablet, clock: ShedClock) -> None:
    at_once, late = tablet.tap("MO", climate(shop)), iso(clock.time - dt.timedelta(seconds=121))
    kept_waiting = [at_once, tablet.tap("MO", climate(shop, happened_at=late))]
    clock.wait(5 * 3600)
    assert [tablet.send(tapped).status_code for tapped in kept_waiting] == [201, 201]
    assert [entry.told_late for entry in entries()] == [False, True]
    assert all(entry.booked_at - entry.tapped_at == dt.timedelta(hours=5) for entry in entries())


def test_what_lies_ahead_is_judged_by_the_time_put_right(shop: Shop, tablet: ShedTablet, clock: ShedClock) -> None:
    tablet.ahead = dt.timedelta(days=1)
    assert tablet.send(tablet.tap("MO", climate(shop))).status_code == 201
    ahead = iso(tablet.clock() + dt.timedelta(minutes=6))
    answer = tablet.send(tablet.tap("MO", climate(shop, happened_at=ahead)))
    assert answer.status_code == 422
    assert "lies ahead" in answer.json()["problems"]["happened_at"]
    clock.wait(3600)
    # By now it would lie behind, but it was ahead when it was tapped.
    waited = tablet.tap("MO", climate(shop, happened_at=iso(tablet.clock() + dt.timedelta(minutes=6))))
    clock.wait(3600)
    assert "lies ahead" in tablet.send(waited).json()["problems"]["happened_at"]
    assert len(entries()) == 1


@pytest.mark.parametrize("name", ["tapped_at", "happened_at", "HB-Clock"])
@pytest.mark.parametrize(
    "text", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "-1", "now", "2026-13-01T00:00:00Z", "\0"]
)
def test_a_time_that_cannot_be_breaks_nothing(shop: Shop, tablet: ShedTablet, name: str, text: str) -> None:
    tapped = tablet.tap("MO", climate(shop, **({} if name == "HB-Clock" else {name: text})))
    headers = {**JSON, "HB-Clock": text if name == "HB-Clock" and text != "\0" else iso(timezone.now())}
    answer = tablet.client.post(tapped.where, tapped.fields, headers=headers)
    if name == "HB-Clock":
        assert answer.status_code == 201
    else:
        assert answer.status_code == 422
        assert answer.json()["problems"][name]


@pytest.mark.parametrize("sequence", ["0", "-1", "x", "1.5", str(2**53)])
def test_a_tablet_counts_from_one_in_whole_numbers(shop: Shop, tablet: ShedTablet, sequence: str) -> None:
    answer = tablet.send(tablet.tap("MO", climate(shop, sequence=sequence)))
    assert answer.status_code == 422
    assert set(answer.json()["problems"]) == {"sequence"}


# ---- Many afternoons with wrong clocks

HISTORIES, TAPS = 25, 8


def told_history(number: int, shop: Shop, clock: ShedClock) -> list[tuple[dt.datetime, bool, dt.datetime, Entry]]:
    """One afternoon: taps, a clock that may be set in between, and all of it sent later, in the tablet's own order.

    For each tap its true time, whether the clock was set between it and its sending, what the tablet's clock said, and
    the entry.
    """
    chance = random.Random(number)  # noqa: S311
    # A tap of 1970 is asked about: no instrument was calibrated then.
    fields = climate(shop)
    fields |= {f"answer-{name}": fields[name] for name in ("thermometer", "hygrometer")}
    tablet = shed_tablet(shop, f"tablet {number}")
    tablet.send(tablet.tap("MO", fields))
    steps = [*OFFSETS.values(), 5.5 * 3600, -9 * 3600]
    tablet.ahead = dt.timedelta(seconds=chance.choice(steps))
    set_before = chance.choice([None, *range(TAPS)])
    taps: list[tuple[dt.datetime, dt.datetime, int, Tapped]] = []
    times_set = 0
    for tap in range(TAPS):
        clock.wait(chance.choice([0.2, 1.0, 30.0, 400.0]))
        if tap == set_before:
            tablet.ahead, times_set = dt.timedelta(seconds=chance.choice(steps)), 1
        taps.append((clock.time, tablet.clock(), times_set, tablet.tap("MO", fields)))
    history = []
    clock.wait(chance.choice([1.0, 600.0, 3000.0]))
    for true_time, shown, set_by_then, tapped in taps:
        sent_at = tablet.clock()
        clock.wait(chance.uniform(0.01, 1.5))
        answer = tablet.send(tapped, sent_at=sent_at)
        assert answer.status_code == 201, answer.json()
        entry = Entry.objects.get(pk=answer.json()["entry"])
        history.append((true_time, set_by_then != times_set, shown, entry))
    return history


def test_over_many_afternoons_times_are_put_right_and_no_tablets_own_order_changes(
    shop: Shop, clock: ShedClock
) -> None:
    wall_clock_changes_the_order = 0
    for number in range(HISTORIES):
        history = told_history(number, shop, clock)
        # While taps waited. What is told then is only known to lie between the tap before it and its arrival.
        clock_was_set = any(was_set for _, was_set, _, _ in history)
        for true_time, _, _, entry in history:
            assert entry.tapped_at <= entry.booked_at
            if not clock_was_set:
                assert abs((entry.tapped_at - true_time).total_seconds()) <= 2.0, number
        told_times = [entry.tapped_at for _, _, _, entry in history]
        assert told_times == sorted(told_times), number
        assert [entry.number for *_, entry in history] == sorted(entry.number for *_, entry in history)
        shown = [shown for _, _, shown, _ in history]
        wall_clock_changes_the_order += shown != sorted(shown)
    # The tablets' own clocks would have changed it: the check above can fail.
    assert wall_clock_changes_the_order > 5
    assert checked_book().is_whole


def test_by_the_clock_at_sending_alone_the_order_would_change(
    shop: Shop, clock: ShedClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("hullbook.records.views.in_own_order", lambda device, sequence, tapped_at: tapped_at)
    histories = [[entry.tapped_at for *_, entry in told_history(number, shop, clock)] for number in range(10)]
    assert any(times != sorted(times) for times in histories)


def test_a_tap_answered_late_still_lies_before_the_next_one(shop: Shop, tablet: ShedTablet, clock: ShedClock) -> None:
    asked = tablet.tap("MO", climate(shop, place="asked about"))
    clock.wait(0.2)
    after = tablet.tap("MO", climate(shop, place="after"))
    assert tablet.send(after).status_code == 201
    sent_at = clock.time
    clock.wait(1.4)
    assert tablet.send(asked, sent_at=sent_at).status_code == 201
    by_place = {reading.place: reading.entry for reading in ClimateReading.objects.select_related("entry")}
    assert by_place["asked about"].tapped_at <= by_place["after"].tapped_at


def test_a_number_used_anew_days_later_does_not_drag_a_tap_back(
    shop: Shop, tablet: ShedTablet, clock: ShedClock
) -> None:
    for _ in range(3):
        tablet.send(tablet.tap("MO", climate(shop)))
    clock.wait(3 * 86400)
    assert in_own_order(tablet.device, 2, clock.time) == clock.time


def test_the_servers_clock_stepping_back_changes_no_order(shop: Shop, tablet: ShedTablet, clock: ShedClock) -> None:
    tablet.send(tablet.tap("MO", climate(shop, place="first")))
    clock.wait(-3600)
    assert tablet.send(tablet.tap("MO", climate(shop, place="second"))).status_code == 201
    first, second = entries()
    assert first.number < second.number
    assert first.tapped_at <= second.tapped_at
    assert checked_book().is_whole


# ---- What the tablet knows of the book


def test_a_tablet_is_told_its_device_its_crew_who_is_lit_and_the_head_of_the_book(
    shop: Shop, tablet: ShedTablet
) -> None:
    tablet.send(tablet.tap("MO", climate(shop)))
    lit(tablet, shop.builder)
    state = tablet.client.get(reverse("yard:tablet-state")).json()
    head = book_head()
    assert (state["device"], state["name"], state["enrolled"], state["lit"]) == (
        "tablet-bay-1",
        "tablet bay 1",
        True,
        "MO",
    )
    assert [one["initials"] for one in state["crew"] if one["on_strip"]] == ["KJ", "MO", "RT"]
    assert state["last_sequence"] == last_sequence("tablet-bay-1") == 1
    assert state["head"] == {"number": head.entries, "hash": head.head}
    assert parse_datetime(state["now"]) == timezone.now()
    assert TABLET_COOKIE not in json.dumps(state)


def test_entries_the_server_makes_beside_a_tap_take_no_number_of_the_tablets(shop: Shop, tablet: ShedTablet) -> None:
    lit(tablet, shop.builder)
    assert tablet.client.post(reverse(LOG), {"entry_id": str(uuid.uuid4()), **climate(shop)}).status_code == 302
    assert entries()[0].device_sequence is None
    both = told(device_sequence=7)
    assert both.also("the second").device_sequence == 7
    assert tablet.send(tablet.tap("MO", climate(shop))).status_code == 201
    assert entries()[1].device_sequence == 1
