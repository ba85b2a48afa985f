"""Hold tests, and what speaks against pouring."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.utils import timezone

from hullbook.calc.vacuum import Rise, corrected_to_temperature, fit_rise
from hullbook.hulls.models import HoldPointRelease, Part
from hullbook.pours.models import (
    HoldReading,
    HoldTest,
)
from hullbook.records.models import Judgement
from hullbook.yard.enums import InstrumentKind, LimitName
from hullbook.yard.models import Instrument
from hullbook.yard.selectors import InstrumentCard, limit_in_force

HOLD_POINT_BEFORE_POUR = 5
TEMPERATURE_MOVED_K = 2.0


@dataclass(frozen=True)
class HoldTestView:
    """One hold test with its readings, how it was judged that day, and the line through the readings.

    `corrected_mbar_abs` are the bag pressures at the air temperature of the start, which the line is fitted to.
    """

    test: HoldTest
    readings: tuple[HoldReading, ...]
    corrected_mbar_abs: tuple[float, ...]
    judgement: Judgement | None
    rise: Rise | None
    instrument: str

    @property
    def level(self) -> str:
        return self.judgement.level if self.judgement else "no verdict"

    @property
    def is_struck(self) -> bool:
        return not self.test.is_current

    @property
    def temperature_moved_k(self) -> float:
        return self.test.air_temperature_end_c - self.test.air_temperature_start_c

    @property
    def temperature_words(self) -> str:
        """A sentence where the air moved enough to be taken for a leak."""
        moved = self.temperature_moved_k
        if abs(moved) <= TEMPERATURE_MOVED_K:
            return ""
        verb = "warmed" if moved > 0 else "cooled"
        return f"The shed {verb} by {abs(moved):.1f} K; the rise may be temperature, not leak."


def pressures_at_start_temperature(
    minutes: list[float], pressures_mbar_abs: list[float], start_c: float, end_c: float
) -> tuple[float, ...]:
    """Bag pressures as they would be had the air stayed at its start temperature, moving evenly to the end's."""
    span = minutes[-1] - minutes[0] or 1.0
    temperatures = [start_c + (end_c - start_c) * (minute - minutes[0]) / span for minute in minutes]
    return corrected_to_temperature(pressures_mbar_abs, temperatures, start_c)


def hold_tests(part: Part) -> list[HoldTestView]:
    """Every hold test of a part in the order they were made, those struck out as well."""
    tests = HoldTest.objects.filter(part=part).select_related(
        "entry", "entry__struck_out", "corrected_by", "gauge", "part__hull"
    )
    tests = tests.prefetch_related("readings", "entry__judgements", "gauge__calibrations")
    return [_hold_test_view(test) for test in tests.order_by("number", "pk")]


def _hold_test_view(test: HoldTest) -> HoldTestView:
    readings = tuple(test.readings.all())
    minutes = [reading.minute for reading in readings]
    corrected = pressures_at_start_temperature(
        minutes,
        [reading.bag_pressure_mbar_abs for reading in readings],
        test.air_temperature_start_c,
        test.air_temperature_end_c,
    )
    return HoldTestView(
        test=test,
        readings=readings,
        corrected_mbar_abs=corrected,
        judgement=next(iter(test.entry.judgements.all()), None),
        rise=fit_rise(minutes, corrected) if len(readings) >= 3 else None,
        instrument=_card_words(test.gauge, test.entry.happened_at),
    )


def _card_words(instrument: Instrument, at: datetime) -> str:
    day = timezone.localdate(at)
    known = [one for one in instrument.calibrations.all() if one.calibrated_on <= day]
    latest = max(known, key=lambda one: (one.calibrated_on, one.pk), default=None)
    return InstrumentCard(instrument, latest, day).words


def last_hold_test(part: Part) -> HoldTest | None:
    tests = HoldTest.objects.current().filter(part=part).prefetch_related("entry__judgements")
    return tests.select_related("entry").order_by("-number", "-pk").first()


def running_hold_test(part: Part) -> dict[str, Any]:
    """What the page needs while a test runs: the yard's limit, what each gauge can show, and the test before."""
    limit = limit_in_force(LimitName.HOLD_RISE)
    before = last_hold_test(part)
    gauges = Instrument.objects.current().filter(kind=InstrumentKind.GAUGE)
    return {
        "rise_mbar": limit.high if limit else None,
        "over_min": limit.over_minutes if limit else None,
        "resolutions": {gauge.pk: gauge.resolution for gauge in gauges},
        "before": {"number": before.number, "rate_mbar_min": before.rate_mbar_min} if before else None,
    }


def what_speaks_against_pouring(part: Part) -> list[str]:
    """Why a pour begun now would begin before its release; empty where nothing does."""
    against = []
    releases = HoldPointRelease.objects.current().filter(hull=part.hull, number=HOLD_POINT_BEFORE_POUR)
    if not releases.exists():
        against.append(f"hold point {HOLD_POINT_BEFORE_POUR} is not released")
    test = last_hold_test(part)
    if test is None:
        against.append("no hold test is in the book")
    else:
        level = next((one.level for one in test.entry.judgements.all()), "no verdict")
        if level not in ("pass", "conditional pass"):
            against.append(f"the last hold test, {test.number}, is not a pass: {level}")
    return against
