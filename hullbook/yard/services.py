"""What changes the yard: people, roles, devices, instruments, limits, climate logged."""

import re
import secrets
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from itertools import pairwise

from django.contrib.auth.hashers import check_password, make_password
from django.contrib.sessions.backends.base import SessionBase
from django.core.exceptions import ValidationError
from django.db.models import F
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.text import slugify

from hullbook.calc.climate import ClimateAccuracy, ClimateLimits, dew_point_c, judge_climate
from hullbook.calc.verdict import Verdict
from hullbook.records.models import Entry
from hullbook.records.services import Refused, Told, append, judgements, logs
from hullbook.yard.enums import InstrumentKind, LimitName, Role
from hullbook.yard.models import (
    Bay,
    Calibration,
    ClimateReading,
    Device,
    Instrument,
    Person,
    PinGiven,
    RoleChange,
    SignIn,
    Tablet,
    TabletEnrolled,
    TabletLifted,
    Yard,
    YardLimit,
)
from hullbook.yard.selectors import crew, crew_strip, is_on_the_crew, limits_in_force, roles_of, standing_tablets

CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
LEAST_PIN_DIGITS, MOST_PIN_DIGITS = 6, 12
MOST_PIN_MISSES = 10
MOST_TILES = 8
DARK_AFTER = timedelta(minutes=30)
SEEN_AT_MOST_EVERY = timedelta(minutes=1)
SIGN_IN_IDLE_AT_MOST, SIGN_IN_AT_MOST = timedelta(minutes=30), timedelta(hours=12)
SIGNED_IN_AT, USED_AT = "signed-in-at", "used-at"
CLIMATE_LIMITS = (LimitName.AIR_TEMPERATURE, LimitName.HUMIDITY, LimitName.DEW_MARGIN)


@logs
def name_yard(
    *, name: str, place: str, altitude_m: float, builder_codes: str, is_invented: bool = False, told: Told
) -> Yard:
    yard = Yard(name=name, place=place, altitude_m=altitude_m, builder_codes=builder_codes, is_invented=is_invented)
    return append(yard, told=told)


@logs
def add_person(
    *, initials: str, full_name: str, sign_in_name: str, password: str | None, roles: Sequence[Role], told: Told
) -> RoleChange:
    """Name a person and give the first role; further roles follow as entries of their own."""
    if not roles:
        raise Refused({"roles": "Give at least one role."})
    try:
        person = Person.objects.create_person(
            initials=initials, full_name=full_name, sign_in_name=sign_in_name, password=password
        )
    except ValidationError as error:
        raise Refused({field: " ".join(texts) for field, texts in error.message_dict.items()}) from error
    first = append(RoleChange(person=person, role=roles[0], holds=True), told=told)
    for role in roles[1:]:
        append(RoleChange(person=person, role=role, holds=True), told=told.also(role))
    return first


@logs
def change_role(*, person: Person, role: Role, holds: bool, told: Told) -> RoleChange:
    """Give a role or take it away; the last quality lead stays, or nobody could name another."""
    if (role in roles_of(person.initials)) == holds:
        raise Refused({"role": f"{person.initials} {'is' if holds else 'is not'} {role.label} as it is."})
    leads = [one for one in crew() if Role.QUALITY_LEAD in roles_of(one.initials)]
    if not holds and role == Role.QUALITY_LEAD and leads == [person]:
        raise Refused({"person": f"{person.initials} is the only quality lead; name another first."})
    return append(RoleChange(person=person, role=role, holds=holds), told=told)


def make_device() -> Device:
    return Device.objects.create(code=f"browser-{secrets.token_hex(6)}")


@logs
def enrol_tablet(*, name: str, key: str, told: Told) -> TabletEnrolled:
    """Make the browser that is handed `key` one of the shed's tablets. The key itself is kept nowhere."""
    if standing_tablets().filter(enrolment__name=name).exists():
        raise Refused({"name": f"There is a {name} already; lift it first, or give another name."})
    device = Device.objects.create(code=_tablet_code(name))
    enrolled = append(TabletEnrolled(device=device, name=name), told=told)
    Tablet.objects.create(enrolment=enrolled, key_hash=Tablet.hash_of(key), last_seen_at=timezone.now())
    return enrolled


def _tablet_code(name: str) -> str:
    """A code of its own for every enrolment, so that an entry's device never means two tablets."""
    stem = slugify(name)[:28].strip("-_")
    stem = stem if stem.startswith("tablet") else f"tablet-{stem}".rstrip("-")
    code, count = stem, 1
    while Device.objects.filter(code=code).exists() or Entry.objects.filter(device=code).exists():
        count += 1
        code = f"{stem}-{count}"
    return code


@logs
def lift_tablet(*, tablet: Tablet, told: Told) -> TabletLifted:
    if not standing_tablets().filter(pk=tablet.pk).exists():
        raise Refused(f"{tablet.name} is lifted already.")
    Tablet.objects.filter(pk=tablet.pk).update(lit=None)
    return append(TabletLifted(enrolment=tablet.enrolment), told=told)


def see_tablet(tablet: Tablet, at: datetime) -> bool:
    """Note that a tablet is used, once a minute at most; put the light out where it stood idle or somebody has left.

    Whether it was noted now.
    """
    was_lit = tablet.lit
    if was_lit is not None and (at - tablet.last_seen_at > DARK_AFTER or was_lit not in crew_strip(tablet)):
        tablet.lit = None
    elif at - tablet.last_seen_at < SEEN_AT_MOST_EVERY:
        return False
    # Only where the same tile is lit still: another request may have lit another meanwhile.
    Tablet.objects.filter(pk=tablet.pk, lit=was_lit).update(lit=tablet.lit, last_seen_at=at)
    return True


def light_tile(*, tablet: Tablet, person: Person | None) -> None:
    """Light one tile of the strip, or none; everything logged from the tablet goes under that person."""
    if person is not None and person not in crew_strip(tablet):
        raise Refused(f"{person.initials} is not on the strip of {tablet.name}.")
    Tablet.objects.filter(pk=tablet.pk).update(lit=person, last_seen_at=timezone.now())
    tablet.lit = person


def put_on_strip(*, tablet: Tablet, person: Person) -> None:
    if person not in crew():
        raise Refused(f"{person.initials} holds no role now, and has no tile.")
    if person not in (shown := crew_strip(tablet)) and len(shown) >= MOST_TILES:
        raise Refused(f"{MOST_TILES} tiles fit on the strip; take one off first.")
    tablet.strip.add(person)


def take_off_strip(*, tablet: Tablet, person: Person) -> None:
    tablet.strip.remove(person)
    Tablet.objects.filter(pk=tablet.pk, lit=person).update(lit=None)


@logs
def give_pin(*, person: Person, pin: str, told: Told) -> PinGiven:
    """A new PIN, kept as a slow hash over a keyed one: six digits alone would be found by trying them all."""
    if not (pin.isascii() and pin.isdigit() and LEAST_PIN_DIGITS <= len(pin) <= MOST_PIN_DIGITS):
        raise Refused({"pin": f"A PIN is {LEAST_PIN_DIGITS} to {MOST_PIN_DIGITS} digits, and nothing else."})
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    if steps in ({0}, {1}, {9}):
        raise Refused({"pin": "Not one digit over and over, and no run such as 123456; give another."})
    stopped = Person.objects.filter(pk=person.pk, pin_misses__gte=MOST_PIN_MISSES).exists()
    if stopped and Role.QUALITY_LEAD not in roles_of(told.person):
        raise Refused({"pin": "Ten misses have stopped your PIN; the quality lead gives a new one."})
    Person.objects.filter(pk=person.pk).update(pin=make_password(_peppered(pin)), pin_misses=0)
    return append(PinGiven(person=person), told=told)


def pin_refused(*, person: Person, pin: str) -> str:
    """What speaks against signing with this PIN, in words; nothing if it is the right one.

    A miss is counted before the PIN is looked at, so that many tries at once are no more than ten.
    """
    hashed = Person.objects.filter(pk=person.pk).values_list("pin", flat=True).get()
    if not hashed:
        return "You have no PIN yet. Set one at a computer, signed in with your password, or ask the quality lead."
    if not pin:
        return "Key your PIN to sign."
    counted = Person.objects.filter(pk=person.pk, pin_misses__lt=MOST_PIN_MISSES).update(pin_misses=F("pin_misses") + 1)
    if not counted:
        return "Ten misses have stopped this PIN; the quality lead gives a new one."
    if not check_password(_peppered(pin), hashed):
        return f"This is not the PIN of {person.initials}. Ten misses in a row stop it."
    Person.objects.filter(pk=person.pk).update(pin_misses=0)
    return ""


def _peppered(pin: str) -> str:
    """The PIN keyed with the yard's secret key, which lies outside the database."""
    return salted_hmac("hullbook.yard.pin", pin, algorithm="sha256").hexdigest()


def begin_sign_in(session: SessionBase, at: datetime) -> None:
    """From here on a browser is somebody's, by password; see `sign_in_stands` for how long."""
    session[SIGNED_IN_AT] = session[USED_AT] = at.timestamp()


def sign_in_stands(session: SessionBase, at: datetime) -> bool:
    """Whether it has not stood idle too long, nor begun too long ago."""
    if USED_AT not in session:
        return True
    idle_s, since_s = at.timestamp() - session[USED_AT], at.timestamp() - session[SIGNED_IN_AT]
    return idle_s <= SIGN_IN_IDLE_AT_MOST.total_seconds() and since_s <= SIGN_IN_AT_MOST.total_seconds()


def use_sign_in(session: SessionBase, at: datetime) -> None:
    """Note that somebody uses it, once a minute at most."""
    if USED_AT in session and at.timestamp() - session[USED_AT] >= SEEN_AT_MOST_EVERY.total_seconds():
        session[USED_AT] = at.timestamp()


def log_sign_in(*, sign_in_name: str, address: str | None, succeeded: bool) -> None:
    name = sign_in_name.replace("\0", "\N{REPLACEMENT CHARACTER}")[:150]
    SignIn.objects.create(sign_in_name=name, address=address, succeeded=succeeded)


@logs
def add_bay(*, code: str, name: str, told: Told) -> Bay:
    _refuse_code(code, Bay)
    return append(Bay(code=code, name=name), told=told)


@logs
def register_instrument(
    *,
    code: str,
    kind: InstrumentKind,
    name: str,
    serial_number: str,
    resolution: float,
    unit: str,
    calibrated_on: date,
    due_on: date,
    certificate_number: str,
    standard_uncertainty_percent: float = 0.0,
    told: Told,
) -> Instrument:
    _refuse_code(code, Instrument)
    instrument = append(
        Instrument(code=code, kind=kind, name=name, serial_number=serial_number, resolution=resolution, unit=unit),
        told=told,
    )
    calibration = Calibration(
        instrument=instrument,
        calibrated_on=calibrated_on,
        due_on=due_on,
        certificate_number=certificate_number,
        standard_uncertainty_percent=standard_uncertainty_percent,
    )
    append(calibration, told=told.also("calibration"))
    return instrument


@logs
def calibrate_instrument(
    *,
    instrument: Instrument,
    calibrated_on: date,
    due_on: date,
    certificate_number: str,
    standard_uncertainty_percent: float = 0.0,
    told: Told,
) -> Calibration:
    calibration = Calibration(
        instrument=instrument,
        calibrated_on=calibrated_on,
        due_on=due_on,
        certificate_number=certificate_number,
        standard_uncertainty_percent=standard_uncertainty_percent,
    )
    return append(calibration, told=told)


@logs
def set_limit(
    *,
    name: LimitName,
    low: float | None,
    high: float | None,
    over_minutes: float | None,
    source: str,
    told: Told,
) -> YardLimit:
    if low is not None and high is not None and low > high:
        raise Refused({"low": f"{low:g} is above the highest, {high:g}; give the lower figure first."})
    return append(YardLimit(name=name, low=low, high=high, over_minutes=over_minutes, source=source), told=told)


@logs
def log_climate(
    *,
    bay: Bay,
    place: str,
    air_temperature_c: float,
    humidity_percent: float,
    surface_temperature_c: float | None,
    thermometer: Instrument,
    hygrometer: Instrument,
    told: Told,
) -> ClimateReading:
    reading = ClimateReading(
        bay=bay,
        place=place,
        air_temperature_c=air_temperature_c,
        humidity_percent=humidity_percent,
        surface_temperature_c=surface_temperature_c,
        dew_point_c=dew_point_c(air_temperature_c, humidity_percent),
        thermometer=thermometer,
        hygrometer=hygrometer,
    )
    return append(reading, judgements(climate_verdicts(reading)), told=told)


def climate_verdicts(reading: ClimateReading) -> list[Verdict]:
    """The reading held against the yard's own limits, as far as the yard has set them.

    Each instrument is taken as right within one step of its display.
    """
    limits = {LimitName(limit.name): limit for limit in limits_in_force()}
    air, humidity, dew = (limits.get(name) for name in CLIMATE_LIMITS)
    sources = [limit.source for limit in (air, humidity, dew) if limit]
    return judge_climate(
        reading.air_temperature_c,
        reading.humidity_percent,
        reading.surface_temperature_c,
        ClimateLimits(
            source="; ".join(dict.fromkeys(sources)),
            air_low_c=air.low if air else None,
            air_high_c=air.high if air else None,
            humidity_low_percent=humidity.low if humidity else None,
            humidity_high_percent=humidity.high if humidity else None,
            least_dew_margin_k=dew.low if dew else None,
        ),
        ClimateAccuracy(
            air_k=reading.thermometer.resolution,
            humidity_percent=reading.hygrometer.resolution,
            surface_k=reading.thermometer.resolution,
        ),
    )


def _refuse_code(code: str, model: type[Bay] | type[Instrument]) -> None:
    """A code stands in the address of its page, and means one thing for ever."""
    if not CODE.fullmatch(code):
        raise Refused({"code": f'"{code}" is no code; give letters and digits, with . - _ between, as G-03.'})
    if model.objects.filter(code=code).exists():
        raise Refused({"code": f"{code} is there already; give another code."})


def require_crew(**initials_by_field: str) -> None:
    """Refuse initials that belong to nobody."""
    problems = {
        field: f'"{initials}" are nobody\'s initials here; choose from the crew.'
        for field, initials in initials_by_field.items()
        if initials and not is_on_the_crew(initials)
    }
    if problems:
        raise Refused(problems)
