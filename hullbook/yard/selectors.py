"""Reading the yard: people and roles, instruments and their calibration, limits, climate."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import OuterRef, QuerySet, Subquery

from hullbook.yard.enums import InstrumentKind, LimitName, Role
from hullbook.yard.models import (
    Bay,
    Calibration,
    ClimateReading,
    Instrument,
    Person,
    RoleChange,
    Tablet,
    Yard,
    YardLimit,
)

TABLET_KEY_LASTS = timedelta(days=90)


@dataclass(frozen=True)
class PersonCard:
    person: Person
    roles: frozenset[Role]


@dataclass(frozen=True)
class InstrumentCard:
    """An instrument with the calibration that counts on a given day."""

    instrument: Instrument
    calibration: Calibration | None
    on: date

    @property
    def in_date(self) -> bool:
        return self.calibration is not None and self.calibration.calibrated_on <= self.on <= self.calibration.due_on

    @property
    def step(self) -> str:
        """One step of its display, as it shows it."""
        return f"{self.instrument.resolution:g} {self.instrument.unit}".rstrip()

    @property
    def words(self) -> str:
        if self.calibration is None:
            return f"{self.instrument.code}, never calibrated"
        state = "" if self.in_date else ", out of date"
        return f"{self.instrument.code}, due {self.calibration.due_on:%Y-%m-%d}{state}"


def yard_in_force() -> Yard | None:
    return Yard.objects.current().order_by("-pk").first()


def roles_of(initials: str, at: datetime | None = None) -> frozenset[Role]:
    """The roles a person holds, or held at a past moment."""
    return _roles_by_person(RoleChange.objects.filter(person__initials=initials), at)[initials]


def _roles_by_person(changes: QuerySet[RoleChange], at: datetime | None) -> dict[str, frozenset[Role]]:
    if at is not None:
        changes = changes.filter(entry__happened_at__lte=at)
    held: dict[str, set[Role]] = defaultdict(set)
    for change in changes.current().select_related("person").order_by("pk"):  # type: ignore[attr-defined]
        roles = held[change.person.initials]
        (roles.add if change.holds else roles.discard)(Role(change.role))
    return defaultdict(frozenset, {initials: frozenset(roles) for initials, roles in held.items()})


def people() -> list[PersonCard]:
    roles = _roles_by_person(RoleChange.objects.all(), None)
    return [PersonCard(person, roles[person.initials]) for person in Person.objects.all()]


def crew() -> list[Person]:
    """Those who may stand in an entry today: people who hold a role."""
    return [card.person for card in people() if card.roles and card.person.is_active]


def who_tapped(initials: str, at: datetime | None) -> Person | None:
    """The person with these initials, who holds a role now or did when they tapped."""
    for card in people():
        if card.person.initials == initials and card.person.is_active:
            return card.person if card.roles or (at is not None and roles_of(initials, at)) else None
    return None


def is_on_the_crew(initials: str) -> bool:
    return Person.objects.filter(initials=initials).exists()


def tablet_with_key(key: str, at: datetime) -> Tablet | None:
    """The tablet that has this key, unless it has been lifted or not been seen for too long."""
    tablets = standing_tablets().filter(key_hash=Tablet.hash_of(key), last_seen_at__gt=at - TABLET_KEY_LASTS)
    return tablets.select_related("lit").first()


def standing_tablets() -> QuerySet[Tablet]:
    """Enrolled and not lifted, those whose key has run out as well."""
    standing = Tablet.objects.filter(enrolment__lifted__isnull=True)
    return standing.select_related("enrolment__device", "enrolment__entry").order_by("enrolment__name")


def crew_strip(tablet: Tablet) -> list[Person]:
    """Whose tiles a tablet shows: those put on its strip who still belong to the crew."""
    on_strip = set(tablet.strip.values_list("pk", flat=True))
    return [person for person in crew() if person.pk in on_strip]


def instrument_cards(on: date, kinds: Iterable[InstrumentKind] | None = None) -> list[InstrumentCard]:
    instruments = Instrument.objects.current().order_by("kind", "code")
    if kinds is not None:
        instruments = instruments.filter(kind__in=list(kinds))
    latest = Calibration.objects.current().filter(instrument=OuterRef("pk"), calibrated_on__lte=on)
    instruments = instruments.annotate(
        calibration_number=Subquery(latest.order_by("-calibrated_on", "-pk").values("pk")[:1])
    )
    calibrations = Calibration.objects.in_bulk(
        [found.calibration_number for found in instruments if found.calibration_number]
    )
    return [InstrumentCard(found, calibrations.get(found.calibration_number), on) for found in instruments]


def calibration_on(instrument: Instrument, on: date) -> InstrumentCard:
    """The calibration in force on a day: a later one does not better what was measured before it."""
    calibrations = Calibration.objects.current().filter(instrument=instrument, calibrated_on__lte=on)
    return InstrumentCard(instrument, calibrations.order_by("-calibrated_on", "-pk").first(), on)


def limit_in_force(name: LimitName) -> YardLimit | None:
    return YardLimit.objects.current().filter(name=name).order_by("-pk").first()


def limits_in_force() -> list[YardLimit]:
    latest: dict[str, YardLimit] = {}
    for limit in YardLimit.objects.current().order_by("pk"):
        latest[limit.name] = limit
    return [latest[name] for name in LimitName if name in latest]


def bays() -> QuerySet[Bay]:
    return Bay.objects.current().order_by("code")


def climate_in(bay: Bay, since: datetime | None = None, until: datetime | None = None) -> QuerySet[ClimateReading]:
    readings = ClimateReading.objects.current().filter(bay=bay)
    if since is not None:
        readings = readings.filter(entry__happened_at__gte=since)
    if until is not None:
        readings = readings.filter(entry__happened_at__lte=until)
    related = readings.select_related("entry", "bay", "thermometer", "hygrometer")
    return related.prefetch_related("entry__judgements").order_by("entry__happened_at", "pk")
