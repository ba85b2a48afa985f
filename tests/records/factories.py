"""A tablet of the shed as its outbox speaks to the book, with a clock that may be wrong."""

import datetime as dt
import secrets
import uuid
from dataclasses import dataclass, field
from typing import Any

from django.test import Client
from django.urls import reverse
from django.utils import timezone

from hullbook.yard.middleware import TABLET_COOKIE
from hullbook.yard.models import Tablet
from hullbook.yard.services import enrol_tablet, put_on_strip
from tests.cast import Shop, told

LOG = "yard:climate-log"


def iso(time: dt.datetime) -> str:
    return time.astimezone(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def climate(shop: Shop, **changes: str) -> dict[str, str]:
    fields = {
        "bay": str(shop.bay.pk),
        "place": "mould",
        "air_temperature_c": "20.5",
        "humidity_percent": "55",
        "surface_temperature_c": "19,0",
        "thermometer": str(shop.thermometer.pk),
        "hygrometer": str(shop.hygrometer.pk),
    }
    return {**fields, **changes}


@dataclass(frozen=True)
class Tapped:
    """What lies in the outbox: fixed at the tap."""

    where: str
    fields: dict[str, str]


@dataclass
class ShedTablet:
    name: str
    client: Client
    ahead: dt.timedelta = dt.timedelta(0)
    sequence: int = 0
    known_by: str = field(default="", repr=False)

    @property
    def device(self) -> str:
        return Tablet.objects.get(enrolment__name=self.name).device.code

    def clock(self) -> dt.datetime:
        return timezone.now() + self.ahead

    def tap(self, lit: str, fields: dict[str, str], page: str = LOG) -> Tapped:
        self.sequence += 1
        outbox = {
            "entry_id": str(uuid.uuid4()),
            "tapped_at": iso(self.clock()),
            "sequence": str(self.sequence),
            "logged_by": lit,
            "happened_at": "",
        }
        return Tapped(reverse(page), {**outbox, **fields})

    def send(self, tapped: Tapped, *, sent_at: dt.datetime | None = None) -> Any:
        headers = {"Accept": "application/json", "HB-Clock": iso(sent_at or self.clock())}
        return self.client.post(tapped.where, tapped.fields, headers=headers)

    def again(self) -> "ShedTablet":
        """The same tablet, as a second connection of it."""
        client = Client()
        client.cookies[TABLET_COOKIE] = self.known_by
        return ShedTablet(self.name, client, self.ahead, self.sequence, self.known_by)


def shed_tablet(shop: Shop, name: str = "tablet bay 1", **client: Any) -> ShedTablet:
    key = secrets.token_hex(32)
    tablet = enrol_tablet(name=name, key=key, told=told()).tablet
    for person in (shop.lead, shop.builder, shop.second):
        put_on_strip(tablet=tablet, person=person)
    Tablet.objects.filter(pk=tablet.pk).update(last_seen_at=timezone.now())
    opened = Client(**client)
    opened.cookies[TABLET_COOKIE] = key
    return ShedTablet(name, opened, known_by=key)
