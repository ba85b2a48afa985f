import datetime as dt
import uuid

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from hullbook.cure.models import CureReading, Demoulded
from hullbook.cure.services import log_cure_reading
from hullbook.records.models import Entry
from hullbook.yard.services import calibrate_instrument
from tests.cast import MORNING, told
from tests.hulls.factories import Berth, make_berth

pytestmark = pytest.mark.django_db


@pytest.fixture
def berth() -> Berth:
    berth = make_berth()
    today = timezone.localdate()
    calibrate_instrument(
        instrument=berth.shop.thermometer,
        calibrated_on=today,
        due_on=today.replace(year=today.year + 1),
        certificate_number="C-T-01-now",
        told=told(),
    )
    return berth


def page(name: str, berth: Berth) -> str:
    return reverse(f"cure:{name}", args=[berth.hull.number, berth.part.name])


def form(**fields: object) -> dict[str, str]:
    return {"entry_id": str(uuid.uuid4()), **{name: str(value) for name, value in fields.items()}}


def test_the_page_before_any_reading_says_what_to_do_and_shows_the_way_to_the_climate(
    berth: Berth, client: Client
) -> None:
    client.force_login(berth.shop.builder)
    shown = client.get(page("cure", berth)).content.decode()
    assert "No temperature of the part is logged yet" in shown
    assert reverse("yard:climate", args=["1"]) in shown


def test_a_temperature_is_logged_and_drawn(berth: Berth, client: Client) -> None:
    client.force_login(berth.shop.builder)
    keyed = form(temperature_c="41.5", place="keel, station 4", thermometer=berth.shop.thermometer.pk)
    answer = client.post(page("reading-log", berth), keyed)
    assert answer.status_code == 302
    assert CureReading.objects.get().temperature_c == 41.5
    shown = client.get(page("cure", berth)).content.decode()
    assert "keel, station 4" in shown
    assert "<svg" in shown
    assert "So far: keel, station 4." in client.get(page("reading-log", berth)).content.decode()


def test_a_temperature_in_words_is_refused_and_stays_in_its_field(berth: Berth, client: Client) -> None:
    client.force_login(berth.shop.builder)
    keyed = form(temperature_c="warm", place="keel", thermometer=berth.shop.thermometer.pk)
    answer = client.post(page("reading-log", berth), keyed)
    assert answer.status_code == 422
    assert 'value="warm"' in answer.content.decode()
    assert not CureReading.objects.exists()


def test_time_above_another_temperature_is_asked_for_in_the_address_and_nothing_is_written(
    berth: Berth, client: Client
) -> None:
    for minute in (0, 30):
        log_cure_reading(
            part=berth.part,
            place="keel",
            temperature_c=45.0,
            thermometer=berth.shop.thermometer,
            told=told("MO", at=MORNING + dt.timedelta(minutes=minute)),
        )
    client.force_login(berth.shop.office)
    entries = Entry.objects.count()
    answer = client.get(page("cure", berth), {"above": "40"})
    assert answer.context["view"].curves[0].minutes_above == pytest.approx(30.0)
    assert client.get(page("cure", berth), {"above": "9999"}).status_code == 422
    assert client.post(page("cure", berth)).status_code == 405
    assert Entry.objects.count() == entries


def test_a_demould_is_logged_with_its_words(berth: Berth, client: Client) -> None:
    client.force_login(berth.shop.builder)
    assert client.post(page("demould-log", berth), form(words="came off clean")).status_code == 302
    assert Demoulded.objects.get().words == "came off clean"
    assert "came off clean" in client.get(page("cure", berth)).content.decode()
