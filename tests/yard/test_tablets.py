"""The shed's tablets: enrolled once, then a tap on a tile says who it is, and a PIN signs."""

import datetime as dt
import json
import secrets
import uuid
from typing import Any

import pytest
from bs4 import BeautifulSoup
from django.contrib.auth.hashers import check_password
from django.contrib.sessions.models import Session
from django.core import signing
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from hullbook.hulls.models import HoldPointRelease, Hull, Laying
from hullbook.hulls.services import add_boat_model, lay_down_hull
from hullbook.materials.services import decide_lot
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from hullbook.yard import services
from hullbook.yard.enums import Role
from hullbook.yard.middleware import DEVICE_COOKIE, TABLET_COOKIE, TILE_FIELD
from hullbook.yard.models import ClimateReading, Device, Person, PinGiven, Tablet, TabletEnrolled, TabletLifted
from hullbook.yard.perms import Act, Known, may
from hullbook.yard.selectors import crew_strip, standing_tablets, tablet_with_key
from tests.cast import PASSWORD, Shop, open_shop, told
from tests.hulls.factories import make_berth

pytestmark = pytest.mark.django_db

NAME = "tablet bay 1"
PIN = "274915"
JSON = {"Accept": "application/json"}
LOG = "yard:climate-log"


@pytest.fixture
def shop() -> Shop:
    return open_shop()


@pytest.fixture
def tablet(shop: Shop) -> Client:
    """A browser the quality lead has enrolled, with both builders and the lead on its strip, and nobody lit."""
    client = enrolled(shop)
    for initials in ("KJ", "MO", "RT"):
        put_on(client, initials)
    return client


def enrolled(shop: Shop, name: str = NAME) -> Client:
    client = Client()
    client.force_login(shop.lead)
    answer = enrol(client, name)
    assert answer.status_code == 302, answer.content.decode()
    return client


def enrol(client: Client, name: str = NAME) -> Any:
    return client.post(reverse("yard:tablet-enrol"), {"entry_id": str(uuid.uuid4()), "name": name})


def put_on(client: Client, initials: str, on: str = "yes") -> Any:
    return client.post(reverse("yard:strip"), {"person": initials, "on": on})


def tap(client: Client, initials: str, **more: str) -> Any:
    return client.post(reverse("yard:light"), {"person": initials, **more})


def climate(shop: Shop, **changes: str) -> dict[str, str]:
    fields = {
        "entry_id": str(uuid.uuid4()),
        "bay": str(shop.bay.pk),
        "place": "mould",
        "air_temperature_c": "20.5",
        "humidity_percent": "55",
        "surface_temperature_c": "19,0",
        "thermometer": str(shop.thermometer.pk),
        "hygrometer": str(shop.hygrometer.pk),
    }
    return {**fields, **changes}


def the_tablet() -> Tablet:
    return Tablet.objects.get()


def stood_idle(minutes: float) -> None:
    Tablet.objects.update(last_seen_at=timezone.now() - dt.timedelta(minutes=minutes))


def a_hull() -> Hull:
    model = add_boat_model(name="MB84", length_m=8.4, beam_m=2.8, told=told())
    return lay_down_hull(
        number="MB84-01",
        boat_model=model,
        mould="M-84",
        pull_number=1,
        bay=services.add_bay(code="2", name="Bay 2", told=told()),
        build_regime="commercial survey",
        customer_reference="invented pilot station A",
        laid_down_on=dt.date(2026, 5, 12),
        part_names=["hull shell"],
        told=told(),
    )


def sign(client: Client, hull: Hull, **fields: str) -> Any:
    where = reverse("hulls:hold-point-release", args=[hull.number, 0])
    return client.post(where, {"entry_id": str(uuid.uuid4()), "words": "looked at", "missing": "", **fields})


def give_pin(person: Person, pin: str = PIN) -> None:
    services.give_pin(person=person, pin=pin, told=told())


# ---- Enrolling and lifting


def test_the_quality_lead_enrols_a_browser_and_is_signed_out_of_it(shop: Shop) -> None:
    client = enrolled(shop)
    row = TabletEnrolled.objects.get()
    assert (row.name, row.device.code, row.entry.person) == (NAME, "tablet-bay-1", "KJ")
    assert not Session.objects.exists()
    cookie = client.cookies[TABLET_COOKIE]
    assert (cookie["httponly"], cookie["samesite"], cookie["max-age"]) == (True, "Lax", 90 * 24 * 3600)
    page = client.get(reverse("hulls:shed"))
    assert page.status_code == 200
    assert "nobody is lit" in page.content.decode()


def test_the_key_has_256_bits_and_lies_in_the_database_only_as_a_hash(shop: Shop) -> None:
    key = enrolled(shop).cookies[TABLET_COOKIE].value
    assert len(bytes.fromhex(key)) * 8 == 256
    assert the_tablet().key_hash == Tablet.hash_of(key) != key
    kept = [*Entry.objects.values_list("body", "keyed", "fingerprint", "device"), *Tablet.objects.values_list()]
    assert key not in repr(kept)


@pytest.mark.parametrize("who", ["builder", "second", "office"])
def test_nobody_but_the_quality_lead_enrols_or_lifts(shop: Shop, who: str) -> None:
    enrolled(shop)
    client = Client()
    client.force_login(getattr(shop, who))
    assert client.get(reverse("yard:tablets")).status_code == 403
    assert enrol(client, "another").status_code == 403
    lift = reverse("yard:tablet-lift", args=["tablet-bay-1"])
    assert client.post(lift, {"entry_id": str(uuid.uuid4())}).status_code == 403
    assert standing_tablets().count() == 1


def test_a_lifted_tablet_is_shut_out_at_the_next_request_and_what_it_logged_stays(shop: Shop, tablet: Client) -> None:
    tap(tablet, "MO")
    assert tablet.post(reverse(LOG), climate(shop)).status_code == 302
    lead = Client()
    lead.force_login(shop.lead)
    assert NAME in lead.get(reverse("yard:tablets")).content.decode()
    answer = lead.post(reverse("yard:tablet-lift", args=["tablet-bay-1"]), {"entry_id": str(uuid.uuid4())})
    assert answer.status_code == 302
    assert TabletLifted.objects.get().entry.person == "KJ"
    for answer in (tablet.get(reverse("hulls:shed")), tablet.post(reverse(LOG), climate(shop)), tap(tablet, "RT")):
        assert answer.status_code == 302
        assert answer["Location"].startswith(reverse("yard:sign-in"))
    assert ClimateReading.objects.get().entry.person == "MO"
    assert checked_book().is_whole


def test_a_tablet_is_lifted_once(shop: Shop, tablet: Client) -> None:
    services.lift_tablet(tablet=the_tablet(), told=told())
    with pytest.raises(Refused, match="lifted already"):
        services.lift_tablet(tablet=the_tablet(), told=told())


def test_two_tablets_never_share_a_name_or_a_code(shop: Shop) -> None:
    enrolled(shop)
    client = Client()
    client.force_login(shop.lead)
    assert "There is a tablet bay 1 already" in enrol(client).content.decode()
    services.lift_tablet(tablet=the_tablet(), told=told())
    enrolled(shop)
    assert list(TabletEnrolled.objects.values_list("device__code", flat=True)) == ["tablet-bay-1", "tablet-bay-1-2"]


def test_enrolling_sent_twice_enrols_once(shop: Shop) -> None:
    client = Client()
    client.force_login(shop.lead)
    fields = {"entry_id": str(uuid.uuid4()), "name": NAME}
    assert client.post(reverse("yard:tablet-enrol"), fields).status_code == 302
    client.force_login(shop.lead)
    key = client.cookies.pop(TABLET_COOKIE).value
    assert client.post(reverse("yard:tablet-enrol"), fields).status_code == 302
    assert TABLET_COOKIE not in client.cookies
    assert tablet_with_key(key, timezone.now()) == the_tablet()


def test_a_key_lasts_ninety_days_from_its_last_use(shop: Shop, tablet: Client) -> None:
    stood_idle(60 * 24 * 89)
    answer = tablet.get(reverse("hulls:shed"))
    assert answer.status_code == 200
    assert answer.cookies[TABLET_COOKIE]["max-age"] == 90 * 24 * 3600
    assert timezone.now() - the_tablet().last_seen_at < dt.timedelta(minutes=1)
    stood_idle(60 * 24 * 90 + 1)
    assert tablet.get(reverse("hulls:shed")).status_code == 302


@pytest.mark.parametrize("key", ["", "0" * 64, "tablet-bay-1", "x" * 5000, "\u00e9"])
def test_another_key_opens_nothing(shop: Shop, tablet: Client, key: str) -> None:
    other = Client()
    other.cookies[TABLET_COOKIE] = key
    assert other.get(reverse("hulls:shed")).status_code == 302
    assert tap(other, "MO").status_code == 302
    assert the_tablet().lit is None


def test_a_tablets_code_without_its_key_gets_nothing(shop: Shop, tablet: Client) -> None:
    other = Client()
    other.cookies[DEVICE_COOKIE] = signing.get_cookie_signer(salt=DEVICE_COOKIE).sign("tablet-bay-1")
    assert other.get(reverse("hulls:shed")).status_code == 302
    other.force_login(shop.builder)
    assert tap(other, "KJ").status_code == 404
    assert other.post(reverse(LOG), climate(shop)).status_code == 302
    entry = ClimateReading.objects.get().entry
    assert entry.device.startswith("browser-")
    assert entry.account == "mo"


# ---- The crew strip


def test_only_people_with_a_role_have_tiles(shop: Shop, tablet: Client) -> None:
    services.change_role(person=shop.second, role=Role.BUILDER, holds=False, told=told())
    guest = Person.objects.create_person(
        initials="GU", full_name="A surveyor (invented)", sign_in_name="gu", password=None
    )
    assert [person.initials for person in crew_strip(the_tablet())] == ["KJ", "MO"]
    assert put_on(tablet, "GU").status_code == 404
    assert put_on(tablet, "RT").status_code == 404
    with pytest.raises(Refused, match="no role"):
        services.put_on_strip(tablet=the_tablet(), person=guest)
    page = tablet.get(reverse("yard:strip")).content.decode()
    assert "A surveyor" not in page
    assert "Rafe Tolland" not in page


def test_eight_tiles_fit_on_the_strip(shop: Shop, tablet: Client) -> None:
    for count in range(6):
        initials = f"X{'ABCDEF'[count]}"
        services.add_person(
            initials=initials,
            full_name=f"Builder {initials} (invented)",
            sign_in_name=initials.lower(),
            password=None,
            roles=[Role.BUILDER],
            told=told(),
        )
    assert [put_on(tablet, f"X{letter}").status_code for letter in "ABCDEF"] == [302] * 5 + [422]
    assert put_on(tablet, "XA", on="no").status_code == 302
    assert put_on(tablet, "XF").status_code == 302
    assert len(crew_strip(the_tablet())) == 8


def test_who_is_taken_off_the_strip_is_no_longer_lit(shop: Shop, tablet: Client) -> None:
    tap(tablet, "MO")
    put_on(tablet, "MO", on="no")
    assert the_tablet().lit is None
    assert tap(tablet, "MO").status_code == 403


def test_a_browser_that_is_no_tablet_has_no_strip(shop: Shop, client: Client) -> None:
    client.force_login(shop.lead)
    assert client.get(reverse("yard:who")).status_code == 404
    assert client.get(reverse("yard:strip")).status_code == 404
    assert tap(client, "KJ").status_code == 404


# ---- Lighting a tile


def test_one_tap_lights_a_tile_and_entries_go_under_that_name(shop: Shop, tablet: Client) -> None:
    for initials in ("MO", "RT"):
        assert tap(tablet, initials).status_code == 302
        assert tablet.post(reverse(LOG), climate(shop)).status_code == 302
    said = [(row.entry.person, row.entry.account, row.entry.device) for row in ClimateReading.objects.order_by("pk")]
    assert said == [("MO", f"tablet:{NAME}", "tablet-bay-1"), ("RT", f"tablet:{NAME}", "tablet-bay-1")]
    assert not Session.objects.exists()


def test_a_tap_leads_back_to_the_page_it_was_made_on_and_nowhere_else(shop: Shop, tablet: Client) -> None:
    assert tap(tablet, "MO", next=reverse(LOG))["Location"] == reverse(LOG)
    assert tap(tablet, "MO", next="https://elsewhere.invalid/")["Location"] == reverse("hulls:shed")


def test_a_tap_in_the_background_is_answered_with_what_the_tablet_knows_then(shop: Shop, tablet: Client) -> None:
    answer = tablet.post(reverse("yard:light"), {"person": "RT"}, headers=JSON)
    assert (answer.status_code, answer.json()["lit"]) == (200, "RT")
    assert the_tablet().lit == shop.second
    answer = tablet.post(reverse("yard:light"), {"person": ""}, headers=JSON)
    assert (answer.status_code, answer.json()["lit"]) == (200, None)
    put_on(tablet, "MO", on="no")
    answer = tablet.post(reverse("yard:light"), {"person": "MO"}, headers=JSON)
    assert answer.status_code == 403
    assert "Put them on the strip first" in answer.json()["problems"][""]


def test_after_a_dossier_was_not_issued_a_tap_leads_to_its_page(shop: Shop, tablet: Client) -> None:
    hull = a_hull()
    tap(tablet, "KJ")
    answer = tablet.post(reverse("dossier:issue", args=[hull.number]), {"entry_id": str(uuid.uuid4())})
    assert answer.status_code == 422
    strip = BeautifulSoup(answer.content, "html.parser").select_one("form.strip")
    assert strip is not None
    leads_to = strip.select_one("input[name=next]")
    assert leads_to is not None
    assert tablet.get(tap(tablet, "RT", next=str(leads_to["value"]))["Location"]).status_code == 200


def test_a_tap_needs_the_token_and_changes_it_so_that_an_older_form_is_not_taken(shop: Shop) -> None:
    client = Client(enforce_csrf_checks=True)
    key = secrets.token_hex(32)
    row = services.enrol_tablet(name=NAME, key=key, told=told())
    for person in (shop.builder, shop.second):
        services.put_on_strip(tablet=row.tablet, person=person)
    client.cookies[TABLET_COOKIE] = key
    assert tap(client, "MO").status_code == 403
    client.get(reverse("yard:who"))
    first = client.cookies["hullbook-csrf"].value
    assert tap(client, "MO", csrfmiddlewaretoken=first).status_code == 302
    second = client.cookies["hullbook-csrf"].value
    assert second != first
    assert tap(client, "RT", csrfmiddlewaretoken=second).status_code == 302
    # What MO had keyed with the page of before is not taken under RT's name.
    assert client.post(reverse(LOG), climate(shop, csrfmiddlewaretoken=second)).status_code == 403
    forged = climate(shop, csrfmiddlewaretoken=second, **{TILE_FIELD: "MO"})
    assert client.post(reverse(LOG), forged).status_code == 403
    assert the_tablet().lit == shop.second
    assert not ClimateReading.objects.exists()


def test_with_nobody_lit_pages_are_read_and_a_form_asks_who(shop: Shop, tablet: Client) -> None:
    assert tablet.get(reverse("yard:climate", args=["1"])).status_code == 200
    answer = tablet.get(reverse(LOG))
    assert answer["Location"] == f"{reverse('yard:who')}?next=/yard/climate/log/"
    page = tablet.get(answer["Location"]).content.decode()
    assert "Who is logging this?" in page
    assert "Mirrin Oxholt" in page


def test_a_form_sent_with_nobody_lit_is_kept_until_a_tile_is_tapped(shop: Shop, tablet: Client) -> None:
    fields = climate(shop, place='by the "port" <side>', air_temperature_c="20,5")
    asked = tablet.post(reverse(LOG), fields)
    assert asked.status_code == 422
    assert "Who is logging this?" in asked.content.decode()
    assert not ClimateReading.objects.exists()
    handed_on = dict(asked.context["keyed"])
    assert handed_on == fields
    answer = tablet.post(reverse(LOG), {**handed_on, TILE_FIELD: "RT"})
    assert answer.status_code == 302
    reading = ClimateReading.objects.get()
    assert (reading.entry.person, reading.place) == ("RT", 'by the "port" <side>')
    assert '"air_temperature_c":"20,5"' in reading.entry.keyed
    # Sent once more it is still the same form, and still one entry.
    assert tablet.post(reverse(LOG), handed_on).status_code == 302
    assert ClimateReading.objects.count() == 1


def test_a_tile_that_is_not_on_the_strip_is_asked_about_again(shop: Shop, tablet: Client) -> None:
    answer = tablet.post(reverse(LOG), climate(shop, **{TILE_FIELD: "EL"}))
    assert answer.status_code == 422
    assert the_tablet().lit is None
    assert not ClimateReading.objects.exists()


def test_after_half_an_hour_of_standing_idle_nobody_is_lit(shop: Shop, tablet: Client) -> None:
    tap(tablet, "MO")
    stood_idle(29)
    assert tablet.post(reverse(LOG), climate(shop)).status_code == 302
    stood_idle(31)
    assert tablet.post(reverse(LOG), climate(shop)).status_code == 422
    # Being used again lights nobody.
    assert tablet.post(reverse(LOG), climate(shop)).status_code == 422
    assert ClimateReading.objects.count() == 1


def test_a_late_answer_to_one_person_never_lights_them_again(shop: Shop, tablet: Client) -> None:
    tap(tablet, "MO")
    stood_idle(2)
    seen_before = the_tablet()
    tap(tablet, "RT")
    services.see_tablet(seen_before, timezone.now())
    assert the_tablet().lit == shop.second


def test_a_role_taken_away_works_at_the_next_request(shop: Shop, tablet: Client) -> None:
    tap(tablet, "MO")
    assert tablet.get(reverse(LOG)).status_code == 200
    services.change_role(person=shop.builder, role=Role.BUILDER, holds=False, told=told())
    assert tablet.post(reverse(LOG), climate(shop)).status_code == 422
    assert not ClimateReading.objects.exists()
    assert the_tablet().lit is None


def test_a_tile_does_what_its_role_may_and_no_more(shop: Shop, tablet: Client) -> None:
    hull = a_hull()
    tap(tablet, "MO")
    give_pin(shop.builder)
    assert sign(tablet, hull, pin=PIN).status_code == 403
    assert not HoldPointRelease.objects.exists()


# ---- What its pages know


def test_every_page_tells_its_scripts_what_the_tablet_is_told_when_it_asks(shop: Shop, tablet: Client) -> None:
    tap(tablet, "MO")
    page = BeautifulSoup(tablet.get(reverse("yard:climate", args=["1"])).content, "html.parser")
    written = page.find(id="hb-tablet")
    meta = page.select_one("meta[name=hb-csrf-cookie]")
    assert written is not None
    assert meta is not None
    on_the_page, asked = json.loads(written.text), tablet.get(reverse("yard:tablet-state")).json()
    assert on_the_page.pop("now") <= asked.pop("now")
    assert on_the_page == asked
    assert meta["content"] == asked["csrf_cookie"] == "hullbook-csrf"
    assert asked["csrf_cookie"] in tablet.cookies


def test_a_browser_is_told_of_no_tablet_and_that_its_own_person_is_lit(shop: Shop, client: Client) -> None:
    client.force_login(shop.office)
    state = client.get(reverse("yard:tablet-state")).json()
    assert (state["enrolled"], state["name"], state["device"], state["lit"]) == (False, "", None, "EL")
    assert not Device.objects.exists()
    assert client.post(reverse(LOG), climate(shop)).status_code == 302
    assert client.get(reverse("yard:tablet-state")).json()["device"] == Device.objects.get().code


def test_who_may_see_nothing_is_told_nobodys_name(shop: Shop, client: Client) -> None:
    assert b"hb-tablet" not in client.get(reverse("yard:sign-in")).content
    services.change_role(person=shop.second, role=Role.BUILDER, holds=False, told=told())
    client.force_login(shop.second)
    answer = client.get(reverse("hulls:shed"))
    assert answer.status_code == 403
    assert b"hb-tablet" not in answer.content
    assert client.get(reverse("yard:tablet-state")).status_code == 403


def test_who_signs_is_who_has_a_role_that_signs_and_a_pin(shop: Shop, tablet: Client) -> None:
    for person in (shop.lead, shop.builder):
        give_pin(person)
    state = tablet.get(reverse("yard:tablet-state")).json()
    assert [one["initials"] for one in state["crew"] if one["signs"]] == ["KJ"]


def test_what_a_tablet_knows_takes_a_fixed_number_of_queries(
    shop: Shop, tablet: Client, django_assert_max_num_queries: Any
) -> None:
    with CaptureQueriesContext(connection) as few:
        tablet.get(reverse("yard:tablet-state"))
    for letter in "ABCDEFGH":
        services.add_person(
            initials=f"X{letter}",
            full_name=f"Builder {letter} (invented)",
            sign_in_name=letter,
            password=None,
            roles=[Role.BUILDER],
            told=told(),
        )
    with django_assert_max_num_queries(len(few)):
        assert len(tablet.get(reverse("yard:tablet-state")).json()["crew"]) == 12


# ---- How long a sign-in by password stands


def signed_in_by_password(shop: Shop) -> Client:
    client = Client()
    answer = client.post(reverse("yard:sign-in"), {"username": "el", "password": PASSWORD})
    assert answer.status_code == 302
    return client


def minutes_later(client: Client, minutes: float, name: str = services.USED_AT) -> None:
    session = client.session
    session[name] -= minutes * 60
    session.save()


def test_a_sign_in_that_stands_idle_for_half_an_hour_has_ended(shop: Shop) -> None:
    client = signed_in_by_password(shop)
    for _ in range(3):
        minutes_later(client, 29)
        assert client.get(reverse("hulls:shed")).status_code == 200
    minutes_later(client, 31)
    assert client.get(reverse("hulls:shed"))["Location"].startswith(reverse("yard:sign-in"))
    assert client.get(reverse("yard:tablet-state"), headers=JSON).json() == {"why": "not signed in"}
    assert not Session.objects.exists()


def test_twelve_hours_after_it_began_a_sign_in_has_ended_however_it_was_used(shop: Shop) -> None:
    client = signed_in_by_password(shop)
    minutes_later(client, 11 * 60 + 59, services.SIGNED_IN_AT)
    assert client.get(reverse("hulls:shed")).status_code == 200
    minutes_later(client, 2, services.SIGNED_IN_AT)
    assert client.get(reverse("hulls:shed")).status_code == 302


def test_a_script_that_only_asks_keeps_no_sign_in_alive(shop: Shop) -> None:
    client = signed_in_by_password(shop)
    for _ in range(2):
        minutes_later(client, 16)
        answer = client.get(reverse("yard:tablet-state"), headers=JSON)
    assert answer.status_code == 401


def test_nobody_is_signed_out_of_a_tablet_however_long_it_stands(shop: Shop, tablet: Client) -> None:
    stood_idle(60 * 24 * 30)
    assert tablet.get(reverse("hulls:shed")).status_code == 200


# ---- What a tile or a PIN is not enough for


@pytest.mark.parametrize(
    "name",
    [
        "yard:yard-name",
        "yard:person-add",
        "yard:role-change",
        "yard:instrument-add",
        "yard:tablets",
        "yard:tablet-enrol",
        "yard:own-pin",
        "yard:pin-give",
        "materials:materials-import",
        "materials:materials-csv",
    ],
)
def test_what_asks_for_a_password_is_refused_on_a_tablet_in_words(shop: Shop, tablet: Client, name: str) -> None:
    for lit in ("", "KJ"):
        tap(tablet, lit)
        answer = tablet.get(reverse(name))
        assert answer.status_code == 403
        assert "sign in with your password at a computer" in answer.content.decode()


def test_nobody_signs_in_with_a_password_on_a_tablet(shop: Shop, tablet: Client) -> None:
    assert "tap your tile" in tablet.get(reverse("yard:sign-in")).content.decode()
    assert tablet.post(reverse("yard:sign-in"), {"username": "kj", "password": "x"}).status_code == 403
    tablet.force_login(shop.lead)
    assert tablet.get(reverse("yard:person-add")).status_code == 403
    tap(tablet, "MO")
    assert tablet.post(reverse("yard:sign-out"))["Location"] == reverse("hulls:shed")
    assert the_tablet().lit is None


def test_how_one_must_be_known_stands_in_one_table(shop: Shop, tablet: Client) -> None:
    signing_acts = {
        Act.SIGN_TEST,
        Act.SIGN_SCHEDULE,
        Act.RELEASE_HOLD_POINT,
        Act.RELEASE_LOT,
        Act.HOLD_LOT,
        Act.DECIDE_FINDING,
        Act.ISSUE_DOSSIER,
    }
    by_password = {
        Act.CHANGE_PEOPLE,
        Act.CHANGE_LIMITS,
        Act.WRITE_MATERIALS,
        Act.EXPORT,
        Act.SET_OWN_PIN,
        Act.ENROL_TABLETS,
    }
    assert {act for act in Act if act.known is Known.PIN} == signing_acts
    assert {act for act in Act if act.known is Known.PASSWORD} == by_password
    assert [act for act in Act if act.known is Known.NOBODY] == [Act.READ]
    lead = shop.lead
    assert may(lead, Act.CHANGE_PEOPLE)
    lead.tablet = the_tablet()
    assert not may(lead, Act.CHANGE_PEOPLE)
    assert may(lead, Act.RELEASE_LOT)


# ---- Signing


def test_signing_on_a_tablet_takes_the_pin(shop: Shop, tablet: Client) -> None:
    hull = a_hull()
    give_pin(shop.lead)
    tap(tablet, "KJ")
    page = tablet.get(reverse("hulls:hold-point-release", args=[hull.number, 0])).content.decode()
    assert 'name="pin"' in page
    for wrong, said in (("", "Key your PIN"), ("274916", "not the PIN of KJ")):
        answer = sign(tablet, hull, pin=wrong)
        assert answer.status_code == 422
        assert said in answer.content.decode()
        assert "looked at" in answer.content.decode()
        assert not HoldPointRelease.objects.exists()
    fields = {"entry_id": str(uuid.uuid4()), "pin": PIN}
    assert sign(tablet, hull, **fields).status_code == 302
    entry = HoldPointRelease.objects.get().entry
    assert (entry.person, entry.account, entry.device) == ("KJ", f"tablet:{NAME} by PIN", "tablet-bay-1")
    assert PIN not in entry.keyed + entry.body
    assert sign(tablet, hull, **fields).status_code == 302
    assert HoldPointRelease.objects.count() == 1


def test_at_a_computer_the_password_signs_and_no_pin_is_asked_for(shop: Shop, client: Client) -> None:
    hull = a_hull()
    client.force_login(shop.lead)
    assert 'name="pin"' not in client.get(reverse("hulls:hold-point-release", args=[hull.number, 0])).content.decode()
    assert sign(client, hull).status_code == 302
    assert HoldPointRelease.objects.get().entry.account == "kj"


def test_a_leads_reason_for_a_held_lot_is_signed_with_the_pin() -> None:
    berth = make_berth()
    decide_lot(lot=berth.shelf.lot(berth.shelf.biax), state="held", words="edge damage", told=told())
    give_pin(berth.shop.lead)
    client = enrolled(berth.shop)
    put_on(client, "KJ")
    tap(client, "KJ")
    where = reverse("hulls:laying-log", args=[berth.hull.number, berth.part.name]) + "?line=2"
    fields = {
        "entry_id": str(uuid.uuid4()),
        "outcome": "laid",
        "zone": str(berth.line(2).zone_id),
        "lot": berth.shelf.lot(berth.shelf.biax).code,
        "quantity": "4.1",
        "laid_by": "MO",
        "second_person": "RT",
        "deviation": "",
        "lead_reason": "",
    }
    assert "is held" in client.post(where, fields).content.decode()
    assert 'name="pin"' not in client.get(where).content.decode()
    fields["lead_reason"] = "edges cut off"
    answer = client.post(where, fields)
    assert answer.status_code == 422
    assert "Key your PIN to sign" in answer.content.decode()
    assert 'name="pin"' in answer.content.decode()
    assert client.post(where, {**fields, "pin": "274916"}).status_code == 422
    assert not Laying.objects.exists()
    assert client.post(where, {**fields, "pin": PIN}).status_code == 302
    assert Laying.objects.get().entry.account == f"tablet:{NAME} by PIN"
    # Sent again without the PIN it is the same form: what is secret is no part of its fingerprint.
    assert client.post(where, fields).status_code == 302
    assert Laying.objects.count() == 1


def test_a_pin_keyed_before_the_tile_was_lit_is_not_handed_on(shop: Shop, tablet: Client) -> None:
    hull = a_hull()
    asked = sign(tablet, hull, pin=PIN)
    assert asked.status_code == 422
    assert PIN not in asked.content.decode()


def test_the_dossier_page_asks_for_the_pin_where_it_is_issued(shop: Shop, tablet: Client) -> None:
    hull = a_hull()
    where = reverse("dossier:dossier", args=[hull.number])
    assert 'name="pin"' not in tablet.get(where).content.decode()
    tap(tablet, "KJ")
    assert 'name="pin"' in tablet.get(where).content.decode()
    answer = tablet.post(reverse("dossier:issue", args=[hull.number]), {"entry_id": str(uuid.uuid4())})
    assert answer.status_code == 422
    assert "no PIN yet" in answer.content.decode()


def test_ten_misses_in_a_row_stop_a_pin_until_the_quality_lead_gives_a_new_one(shop: Shop, tablet: Client) -> None:
    hull = a_hull()
    give_pin(shop.lead)
    tap(tablet, "KJ")
    for _ in range(9):
        sign(tablet, hull, pin="111112")
    assert services.pin_refused(person=shop.lead, pin=PIN) == ""
    for _ in range(10):
        assert sign(tablet, hull, pin="111112").status_code == 422
    answer = sign(tablet, hull, pin=PIN)
    assert "Ten misses have stopped this PIN" in answer.content.decode()
    assert not HoldPointRelease.objects.exists()
    give_pin(shop.lead, "806931")
    assert sign(tablet, hull, pin=PIN).status_code == 422
    assert sign(tablet, hull, pin="806931").status_code == 302
    assert Person.objects.get(initials="KJ").pin_misses == 0


def test_a_stopped_pin_is_not_set_anew_by_its_owner(shop: Shop) -> None:
    give_pin(shop.builder)
    Person.objects.filter(initials="MO").update(pin_misses=10)
    client = Client()
    client.force_login(shop.builder)
    fields = {"pin": "806931", "again": "806931"}
    answer = client.post(reverse("yard:own-pin"), {"entry_id": str(uuid.uuid4()), **fields})
    assert "the quality lead gives a new one" in answer.content.decode()
    client.force_login(shop.lead)
    fields |= {"entry_id": str(uuid.uuid4()), "person": str(shop.builder.pk)}
    assert client.post(reverse("yard:pin-give"), fields).status_code == 302
    assert services.pin_refused(person=shop.builder, pin="806931") == ""


def test_one_sets_ones_own_pin_signed_in_with_the_password(shop: Shop, client: Client) -> None:
    client.force_login(shop.builder)
    where, entry_id = reverse("yard:own-pin"), str(uuid.uuid4())
    assert client.get(where).status_code == 200
    answer = client.post(where, {"entry_id": entry_id, "pin": PIN, "again": "274916"})
    assert "not the same" in answer.content.decode()
    assert client.post(where, {"entry_id": entry_id, "pin": PIN, "again": PIN}).status_code == 302
    given = PinGiven.objects.get()
    assert (given.person, given.entry.person) == (shop.builder, "MO")
    assert PIN not in given.entry.body + given.entry.keyed
    assert services.pin_refused(person=shop.builder, pin=PIN) == ""


@pytest.mark.parametrize(
    "pin", ["", "27491", "000000", "777777", "123456", "987654", "890123", "27491x", "²²²²²²", "١٢٣٤٥٧", "1" * 13]
)
def test_a_pin_that_is_soon_guessed_is_refused(shop: Shop, pin: str) -> None:
    with pytest.raises(Refused):
        services.give_pin(person=shop.builder, pin=pin, told=told())
    assert Person.objects.get(initials="MO").pin == ""


def test_a_pin_lies_in_the_database_as_a_slow_hash_of_a_keyed_one(shop: Shop, settings: Any) -> None:
    give_pin(shop.builder)
    kept = Person.objects.get(initials="MO").pin
    assert PIN not in kept
    # The hash alone cannot be tried: without the yard's secret key the right digits do not fit it.
    assert not check_password(PIN, kept)
    settings.SECRET_KEY = "another yard's"
    assert "not the PIN of MO" in services.pin_refused(person=shop.builder, pin=PIN)


def test_every_entry_of_a_tablet_is_in_a_whole_book(shop: Shop, tablet: Client) -> None:
    give_pin(shop.lead)
    tap(tablet, "MO")
    tablet.post(reverse(LOG), climate(shop))
    services.lift_tablet(tablet=the_tablet(), told=told())
    assert checked_book().is_whole
    assert Device.objects.filter(code="tablet-bay-1").exists()


def test_what_waits_on_a_tablet_is_a_page_of_its_own_that_asks_nobody_who_they_are(tablet: Client) -> None:
    answer = tablet.get(reverse("yard:waiting"))
    assert answer.status_code == 200
    page = BeautifulSoup(answer.content, "html.parser")
    assert page.select_one("#hb-told-list") is not None
    assert page.select_one("a#hb-state[href='/tablet/waiting/']") is not None
