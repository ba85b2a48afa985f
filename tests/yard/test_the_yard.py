import datetime as dt
import uuid
from urllib.parse import urlencode

import pytest
from django.conf import settings
from django.test import Client, override_settings
from django.urls import reverse

from hullbook.calc.chain import fingerprint
from hullbook.records.models import Entry, Judgement
from hullbook.records.services import Refused
from hullbook.yard import services
from hullbook.yard.enums import LimitName, Role
from hullbook.yard.models import ClimateReading, Person, SignIn, YardLimit
from hullbook.yard.perms import Act, may
from hullbook.yard.selectors import calibration_on, limit_in_force, roles_of
from tests.cast import DAY, MORNING, PASSWORD, Shop, open_shop, told

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Shop:
    return open_shop()


def test_a_person_holds_the_roles_given_and_may_do_what_they_allow(shop: Shop) -> None:
    assert roles_of("KJ") == {Role.QUALITY_LEAD}
    assert may(shop.lead, Act.SIGN_SCHEDULE)
    assert not may(shop.builder, Act.SIGN_SCHEDULE)


def test_a_role_taken_away_is_gone_at_once_but_stays_true_of_its_day(shop: Shop) -> None:
    later = MORNING + dt.timedelta(days=10)
    services.change_role(person=shop.builder, role=Role.BUILDER, holds=False, told=told(at=later))
    assert roles_of("MO") == frozenset()
    assert roles_of("MO", at=MORNING + dt.timedelta(days=1)) == {Role.BUILDER}


def test_the_only_quality_lead_stays_until_another_is_named(shop: Shop) -> None:
    with pytest.raises(Refused, match="only quality lead; name another"):
        services.change_role(person=shop.lead, role=Role.QUALITY_LEAD, holds=False, told=told())
    services.change_role(person=shop.second, role=Role.QUALITY_LEAD, holds=True, told=told())
    services.change_role(person=shop.lead, role=Role.QUALITY_LEAD, holds=False, told=told())
    assert roles_of("KJ") == frozenset()


def test_a_role_is_not_given_twice_nor_taken_from_who_has_it_not(shop: Shop) -> None:
    with pytest.raises(Refused, match="MO is builder as it is"):
        services.change_role(person=shop.builder, role=Role.BUILDER, holds=True, told=told())
    with pytest.raises(Refused, match="MO is not office as it is"):
        services.change_role(person=shop.builder, role=Role.OFFICE, holds=False, told=told())


@pytest.mark.parametrize(("code", "words"), [("1", "there already"), ("2/a", "no code"), ("..", "no code")])
def test_a_bay_needs_a_code_of_its_own_that_an_address_can_hold(shop: Shop, code: str, words: str) -> None:
    with pytest.raises(Refused, match=words):
        services.add_bay(code=code, name="Another bay", told=told())


def test_an_instruments_code_is_never_given_twice(shop: Shop, client: Client) -> None:
    client.force_login(shop.lead)
    before = Entry.objects.count()
    answer = client.post(
        reverse("yard:instrument-add"),
        {
            "entry_id": str(uuid.uuid4()),
            "code": "S-01",
            "kind": "scale",
            "name": "another scale",
            "serial_number": "INV-9",
            "resolution": "0.1",
            "unit": "kg",
            "calibrated_on": "2026-03-02",
            "due_on": "2027-03-02",
            "certificate_number": "C-9",
            "standard_uncertainty_percent": "0.2",
        },
    )
    assert answer.status_code == 422
    assert "S-01 is there already" in answer.content.decode()
    assert Entry.objects.count() == before


def test_a_limit_from_high_to_low_is_refused(shop: Shop) -> None:
    with pytest.raises(Refused, match="26 is above the highest, 18"):
        services.set_limit(
            name=LimitName.AIR_TEMPERATURE, low=26.0, high=18.0, over_minutes=None, source="x", told=told()
        )


def test_initials_are_never_given_twice(shop: Shop) -> None:
    with pytest.raises(Refused, match="taken"):
        services.add_person(
            initials="KJ", full_name="Another", sign_in_name="another", password=None, roles=[Role.BUILDER], told=told()
        )
    assert Person.objects.count() == 4


def test_nobody_outside_the_crew_can_stand_in_an_entry(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        services.require_crew(mixed_by="ZZ", second_person="MO")
    assert set(refused.value.problems) == {"mixed_by"}


def test_a_later_calibration_does_not_better_an_earlier_reading(shop: Shop) -> None:
    services.calibrate_instrument(
        instrument=shop.gauge,
        calibrated_on=dt.date(2027, 3, 1),
        due_on=dt.date(2028, 3, 1),
        certificate_number="C-2",
        told=told(),
    )
    assert calibration_on(shop.gauge, DAY).in_date
    assert not calibration_on(shop.gauge, dt.date(2027, 2, 1)).in_date
    assert calibration_on(shop.gauge, dt.date(2027, 4, 1)).in_date


def test_the_latest_limit_is_in_force_and_the_earlier_one_stays_readable(shop: Shop) -> None:
    services.set_limit(
        name=LimitName.HOLD_RISE, low=None, high=5.0, over_minutes=30.0, source="LP-1 rev 4 (invented)", told=told()
    )
    limit = limit_in_force(LimitName.HOLD_RISE)
    assert limit is not None
    assert (limit.high, limit.over_minutes) == (5.0, 30.0)
    assert YardLimit.objects.filter(name=LimitName.HOLD_RISE).count() == 2


def test_a_hold_limit_without_its_minutes_is_refused(shop: Shop) -> None:
    with pytest.raises(Refused, match="minutes"):
        services.set_limit(
            name=LimitName.HOLD_RISE, low=None, high=5.0, over_minutes=None, source="LP-1 (invented)", told=told()
        )


def test_climate_is_judged_by_the_limits_of_the_day(shop: Shop) -> None:
    # 20 C, 72 %, mould at 17.0: dew point 14.80 C, margin 2.20 K (Magnus formula, WMO-No. 8); the yard asks for 3 K.
    reading = services.log_climate(
        bay=shop.bay,
        place="mould",
        air_temperature_c=20.0,
        humidity_percent=72.0,
        surface_temperature_c=17.0,
        thermometer=shop.thermometer,
        hygrometer=shop.hygrometer,
        told=told("MO"),
    )
    assert reading.dew_point_c == pytest.approx(14.80, abs=0.01)
    levels = {judgement.code: judgement.level for judgement in Judgement.objects.filter(entry=reading.entry)}
    assert levels == {"air temperature": "pass", "air humidity": "pass", "dew margin": "fail"}


@pytest.mark.parametrize(
    "name",
    ["yard:yard-name", "yard:person-add", "yard:role-change", "yard:bay-add", "yard:instrument-add"],
)
def test_only_the_quality_lead_changes_the_yard(shop: Shop, client: Client, name: str) -> None:
    client.force_login(shop.builder)
    assert client.get(reverse(name)).status_code == 403
    client.force_login(shop.lead)
    assert client.get(reverse(name)).status_code == 200


def test_the_yard_page_shows_people_instruments_and_limits(shop: Shop, client: Client) -> None:
    client.force_login(shop.builder)
    page = client.get(reverse("yard:yard")).content.decode()
    for words in ("Kester Juvale", "G-01", "LP-1 rev 3", "Head of the book"):
        assert words in page


def climate_fields(shop: Shop, client: Client, **changes: str) -> dict[str, str]:
    form = client.get(reverse("yard:climate-log")).context["form"]
    fields = {
        "entry_id": str(form["entry_id"].value()),
        "bay": str(shop.bay.pk),
        "place": "mould",
        "air_temperature_c": "20.5",
        "humidity_percent": "55",
        "surface_temperature_c": "19,0",
        "thermometer": str(shop.thermometer.pk),
        "hygrometer": str(shop.hygrometer.pk),
    }
    return {**fields, **changes}


def test_climate_is_logged_from_the_page_once_however_often_it_is_sent(shop: Shop, client: Client) -> None:
    client.force_login(shop.builder)
    fields = climate_fields(shop, client)
    answer = client.post(reverse("yard:climate-log"), fields)
    assert answer.status_code == 302
    assert answer.headers["HB-Entry"] == str(ClimateReading.objects.get().pk)
    assert client.post(reverse("yard:climate-log"), fields).status_code == 302
    reading = ClimateReading.objects.get()
    assert reading.surface_temperature_c == 19.0
    assert reading.entry.person == "MO"
    assert '"surface_temperature_c":"19,0"' in reading.entry.keyed
    assert "55.0" in client.get(reverse("yard:climate", args=["1"])).content.decode()


@pytest.mark.parametrize(
    ("field", "given", "said"),
    [
        ("air_temperature_c", "", "This is missing; give a number"),
        ("air_temperature_c", "warm", "give one number"),
        ("air_temperature_c", "20 kg", "the unit may be"),
        ("humidity_percent", "0.55", "is 55 %"),
        ("humidity_percent", "-3", "give"),
        ("humidity_percent", "9**9**9", "the unit may be %"),
        ("happened_at", "2999-01-01 10:00", "lies ahead"),
        ("bay", "9999", "valid choice"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_nothing_is_lost(
    shop: Shop, client: Client, field: str, given: str, said: str
) -> None:
    client.force_login(shop.builder)
    answer = client.post(reverse("yard:climate-log"), climate_fields(shop, client, **{field: given}))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert said in page
    assert "19,0" in page  # what was keyed beside it is still there
    assert not ClimateReading.objects.exists()


def test_an_unlikely_value_is_asked_about_once_and_the_answer_is_kept(shop: Shop, client: Client) -> None:
    client.force_login(shop.builder)
    fields = climate_fields(shop, client, air_temperature_c="45", surface_temperature_c="")
    asked = client.post(reverse("yard:climate-log"), fields)
    assert asked.status_code == 422
    assert "is unusual" in asked.content.decode()
    assert not ClimateReading.objects.exists()
    assert client.post(reverse("yard:climate-log"), {**fields, "answer-air_temperature_c": "45"}).status_code == 302
    confirmed = ClimateReading.objects.get().entry.confirmed
    assert [answer["field"] for answer in confirmed] == ["air_temperature_c"]


def test_an_instrument_out_of_date_is_asked_about(shop: Shop, client: Client) -> None:
    client.force_login(shop.lead)
    services.calibrate_instrument(
        instrument=shop.thermometer,
        calibrated_on=dt.date(2026, 1, 20),
        due_on=dt.date(2026, 1, 21),
        certificate_number="C-3",
        told=told(),
    )
    fields = climate_fields(shop, client)
    asked = client.post(reverse("yard:climate-log"), fields)
    assert "out of date" in asked.content.decode()
    pk = str(shop.thermometer.pk)
    assert client.post(reverse("yard:climate-log"), {**fields, "answer-thermometer": pk}).status_code == 302


def test_limit_and_calibration_pages_log_what_is_keyed(shop: Shop, client: Client) -> None:
    client.force_login(shop.lead)
    page = reverse("yard:limit-set", args=["hold test rise"])
    entry_id = client.get(page).context["form"]["entry_id"].value()
    answer = client.post(
        page, {"entry_id": entry_id, "high": "8 mbar", "over_minutes": "0.5 h", "source": "LP-2 (invented)"}
    )
    assert answer.status_code == 302, answer.content.decode()
    limit = limit_in_force(LimitName.HOLD_RISE)
    assert limit is not None
    assert (limit.high, limit.over_minutes) == (8.0, 30.0)
    page = reverse("yard:calibration-add", args=["G-01"])
    entry_id = client.get(page).context["form"]["entry_id"].value()
    fields = {
        "entry_id": entry_id,
        "calibrated_on": "2026-05-01",
        "due_on": "2027-05-01",
        "certificate_number": "C-77",
        "standard_uncertainty_percent": "0.4",
    }
    assert client.post(page, fields).status_code == 302
    assert calibration_on(shop.gauge, dt.date(2027, 4, 30)).in_date


def test_the_door_lets_in_who_belongs_and_keeps_a_list(shop: Shop, client: Client) -> None:
    page = reverse("yard:sign-in")
    assert client.post(page, {"username": "mo", "password": "wrong"}).status_code == 422
    answer = client.post(page, {"username": "mo", "password": PASSWORD})
    assert answer.status_code == 302
    assert answer.headers["Location"] == reverse("hulls:shed")
    assert list(SignIn.objects.values_list("sign_in_name", "succeeded")) == [("mo", False), ("mo", True)]
    assert client.post(reverse("yard:sign-out")).status_code == 302
    assert client.get(reverse("yard:yard")).status_code == 302


def test_the_door_sends_nobody_to_another_site(shop: Shop, client: Client) -> None:
    answer = client.post(
        reverse("yard:sign-in") + "?next=https://elsewhere.invalid/", {"username": "mo", "password": PASSWORD}
    )
    assert answer.headers["Location"] == reverse("hulls:shed")


def test_without_signing_in_nothing_is_shown(shop: Shop, client: Client) -> None:
    assert client.get(reverse("yard:yard")).headers["Location"].startswith(reverse("yard:sign-in"))


@override_settings(AXES_ENABLED=True)
def test_after_five_misses_the_door_stays_shut_to_that_name_and_not_to_others(shop: Shop, client: Client) -> None:
    page = reverse("yard:sign-in")
    for _ in range(4):
        assert client.post(page, {"username": "mo", "password": "wrong"}).status_code == 422
    assert client.post(page, {"username": "mo", "password": "wrong"}).status_code == 429
    shut = client.post(page, {"username": "mo", "password": PASSWORD})
    assert shut.status_code == 429
    assert "sessionid" not in client.cookies
    assert client.get(reverse("yard:yard")).status_code == 302
    assert client.post(page, {"username": "rt", "password": PASSWORD}).status_code == 302


@pytest.mark.parametrize("where", ["//elsewhere.invalid/", "https:elsewhere.invalid", "javascript:alert(1)", "\\\\x"])
def test_the_door_leads_on_inside_only(shop: Shop, client: Client, where: str) -> None:
    page = reverse("yard:sign-in") + "?" + urlencode({"next": where})
    answer = client.post(page, {"username": "mo", "password": PASSWORD})
    assert answer.headers["Location"] == reverse("hulls:shed")
    client.post(reverse("yard:sign-out"))
    inside = reverse("yard:sign-in") + "?" + urlencode({"next": "/yard/"})
    assert client.post(inside, {"username": "mo", "password": PASSWORD}).headers["Location"] == "/yard/"


@pytest.mark.parametrize("name", ["mo\0", "x" * 5000, "<script>alert(1)</script>", ""])
def test_a_name_nobody_has_is_turned_away_and_kept_on_the_list(shop: Shop, client: Client, name: str) -> None:
    answer = client.post(reverse("yard:sign-in"), {"username": name, "password": PASSWORD})
    assert answer.status_code == 422
    assert "<script>alert" not in answer.content.decode()
    assert SignIn.objects.get().succeeded is False


def test_a_session_is_a_new_one_at_the_door_and_gone_after_it(shop: Shop, client: Client) -> None:
    page = reverse("yard:sign-in")
    cookie = settings.SESSION_COOKIE_NAME
    client.post(page, {"username": "mo", "password": PASSWORD})
    first = client.cookies[cookie].value
    assert client.cookies[cookie]["httponly"]
    assert client.cookies[cookie]["samesite"] == "Lax"
    assert client.cookies[cookie]["max-age"] == 12 * 60 * 60
    client.post(reverse("yard:sign-out"))
    client.cookies[cookie] = first
    assert client.get(reverse("yard:yard")).status_code == 302
    client.post(page, {"username": "mo", "password": PASSWORD})
    assert client.cookies[cookie].value != first


def test_a_password_leaves_no_trace_in_the_book(shop: Shop, client: Client) -> None:
    client.force_login(shop.lead)
    form = {
        "entry_id": str(uuid.uuid4()),
        "initials": "XY",
        "full_name": "Xanthe Yarrow (invented)",
        "sign_in_name": "xy",
        "roles": ["builder"],
    }
    page = reverse("yard:person-add")
    assert client.post(page, {**form, "password": "long enough, one"}).status_code == 302
    entry = Entry.objects.order_by("-number")[0]
    shown = [
        ("entry_id", form["entry_id"]),
        *((name, form[name]) for name in ("initials", "full_name", "sign_in_name")),
    ]
    assert entry.fingerprint == fingerprint([*shown, ("roles", "builder")])
    assert "long enough" not in entry.keyed + entry.body
