"""The same small cast and the same small yard in every test.

KJ is the quality lead, MO and RT are builders, EL keeps the office. All of them, and the yard, are invented.
"""

import datetime as dt
import uuid
from dataclasses import dataclass

from hullbook.records.services import Told
from hullbook.yard import services as yard
from hullbook.yard.enums import InstrumentKind, LimitName, Role
from hullbook.yard.models import Bay, Instrument, Person

DAY = dt.date(2026, 5, 12)
MORNING = dt.datetime(2026, 5, 12, 8, 0, tzinfo=dt.UTC)


def told(person: str = "KJ", *, at: dt.datetime = MORNING, **changes: object) -> Told:
    """An entry about to be made by somebody of the cast, on the yard's one test device."""
    fields: dict[str, object] = {
        "entry_id": uuid.uuid4(),
        "fingerprint": "0" * 64,
        "person": person,
        "account": person.lower(),
        "device": "tablet-1",
        "tapped_at": at,
        "happened_at": at,
        "booked_at": at,
    }
    return Told(**{**fields, **changes})  # type: ignore[arg-type]


@dataclass(frozen=True)
class Shop:
    """The yard as most tests want it: people, one bay, instruments in date, limits set."""

    lead: Person
    builder: Person
    second: Person
    office: Person
    bay: Bay
    gauge: Instrument
    scale: Instrument
    fine_scale: Instrument
    thermometer: Instrument
    hygrometer: Instrument
    barometer: Instrument
    impressor: Instrument


PASSWORD = "long enough for a test"


def open_shop() -> Shop:
    yard.name_yard(
        name="Merrowby Boatworks",
        place="Merrowby (invented)",
        altitude_m=12.0,
        builder_codes="MWB",
        is_invented=True,
        told=told(),
    )
    people = {}
    for initials, name, roles in (
        ("KJ", "Kester Juvale (invented)", [Role.QUALITY_LEAD]),
        ("MO", "Mirrin Oxholt (invented)", [Role.BUILDER]),
        ("RT", "Rafe Tolland (invented)", [Role.BUILDER]),
        ("EL", "Edda Lorne (invented)", [Role.OFFICE]),
    ):
        change = yard.add_person(
            initials=initials,
            full_name=name,
            sign_in_name=initials.lower(),
            password=PASSWORD,
            roles=roles,
            told=told(),
        )
        people[initials] = change.person
    bay = yard.add_bay(code="1", name="Bay 1", told=told())

    def instrument(code: str, kind: InstrumentKind, name: str, resolution: float, unit: str) -> Instrument:
        return yard.register_instrument(
            code=code,
            kind=kind,
            name=name,
            serial_number=f"INV-{code}",
            resolution=resolution,
            unit=unit,
            calibrated_on=dt.date(2026, 1, 12),
            due_on=dt.date(2027, 1, 12),
            certificate_number=f"C-{code}",
            standard_uncertainty_percent=0.5,
            told=told(),
        )

    shop = Shop(
        lead=people["KJ"],
        builder=people["MO"],
        second=people["RT"],
        office=people["EL"],
        bay=bay,
        gauge=instrument("G-01", InstrumentKind.GAUGE, "absolute gauge", 0.1, "mbar"),
        scale=instrument("S-01", InstrumentKind.SCALE, "pail scale", 0.02, "kg"),
        fine_scale=instrument("S-02", InstrumentKind.SCALE, "catalyst scale", 0.001, "kg"),
        thermometer=instrument("T-01", InstrumentKind.THERMOMETER, "probe thermometer", 0.1, "°C"),
        hygrometer=instrument("H-01", InstrumentKind.HYGROMETER, "hygrometer", 1.0, "%"),
        barometer=instrument("B-01", InstrumentKind.BAROMETER, "barometer", 0.1, "mbar"),
        impressor=instrument("I-01", InstrumentKind.HARDNESS_TESTER, "impressor", 1.0, "barcol"),
    )
    source = "invented yard procedure LP-1 rev 3"
    limits = {
        LimitName.HOLD_RISE: (None, 10.0, 20.0),
        LimitName.AIR_TEMPERATURE: (18.0, 26.0, None),
        LimitName.HUMIDITY: (None, 75.0, None),
        LimitName.DEW_MARGIN: (3.0, None, None),
        LimitName.CLOSURE: (-3.0, 3.0, None),
    }
    for name, (low, high, minutes) in limits.items():
        yard.set_limit(name=name, low=low, high=high, over_minutes=minutes, source=source, told=told())
    return shop
