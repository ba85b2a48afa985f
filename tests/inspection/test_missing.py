import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from hullbook.cure.models import Demoulded
from hullbook.hulls.models import CraftNumberGiven, HoldPointRelease, Laying, RevisionInForce
from hullbook.inspection.enums import Decision, FindingKind, Weighed
from hullbook.inspection.models import Finding, HardnessSet, Weighing
from hullbook.inspection.selectors import CHECKS, NOT_JUDGED, open_findings, what_is_missing
from hullbook.inspection.selectors.missing import HullInBook, PartInBook, hull_in_book, missing_in
from hullbook.inspection.services import decide_finding, log_finding
from hullbook.materials.models import Certificate, LotDecision
from hullbook.materials.selectors import StockSums
from hullbook.materials.services import strike_out
from hullbook.pours.enums import ComponentRole, GelPlace
from hullbook.pours.models import Gel, HoldTest, Pour
from hullbook.pours.services import GivenComponent
from hullbook.records.models import Entry, TypedRow
from hullbook.yard.models import ClimateReading, RoleChange
from tests.cast import told
from tests.inspection.factories import LAST_DAY, POUR_DAY, Sheltered, hours, sheltered

pytestmark = pytest.mark.django_db
AFTERWARDS = LAST_DAY + dt.timedelta(hours=6)


def checks_missing(berth: Sheltered) -> set[str]:
    return {missing.check for missing in what_is_missing(berth.hull)}


def test_nothing_is_missing_of_a_complete_hull(whole: Sheltered) -> None:
    assert what_is_missing(whole.hull) == []


def test_every_check_of_the_list_is_judged_or_said_not_to_be() -> None:
    ids = [*(check.id for check in CHECKS), *(one.check for one in NOT_JUDGED)]
    assert sorted(ids, key=lambda name: int(name[1:])) == [f"C{number}" for number in range(1, 57)]


def _strike(row: TypedRow) -> None:
    strike_out(entry=row.entry, reason="logged for the wrong hull", told=told(at=AFTERWARDS))


def _first(model: type[TypedRow], **which: object) -> Callable[[Sheltered], TypedRow]:
    return lambda berth: model.objects.filter(**which).select_related("entry").order_by("pk")[0]


STRUCK: dict[str, tuple[Callable[[Sheltered], TypedRow], str]] = {
    "the craft number": (_first(CraftNumberGiven), "C2"),
    "the schedule taken into force": (_first(RevisionInForce), "C5"),
    "the quality lead's role": (_first(RoleChange, role="quality lead"), "C7"),
    "the release of the resin": (lambda berth: _decision(berth.shelf.resin), "C11"),
    "the certificate of the core": (lambda berth: _certificate(berth.shelf.core), "C12"),
    "the climate of the pour day": (_first(ClimateReading, entry__happened_at=hours(POUR_DAY, 0.2)), "C16"),
    "a line laid": (_first(Laying), "C21"),
    "the hold test": (_first(HoldTest), "C26"),
    "gel in the part": (_first(Gel, at=GelPlace.PART), "C35"),
    "the demould": (_first(Demoulded), "C37"),
    "the hardness of a zone": (_first(HardnessSet), "C38"),
    "the weight of the core": (_first(Weighing, what=Weighed.CORE), "C42"),
    "the look at a zone": (_first(Finding), "C45"),
    "the weight of the part": (_first(Weighing, what=Weighed.SHELL), "C50"),
    "a hold point": (_first(HoldPointRelease, number=7), "C51"),
}


def _decision(material: Any) -> LotDecision:
    return LotDecision.objects.get(lot__material=material)


def _certificate(material: Any) -> Certificate:
    return Certificate.objects.get(lot__material=material)


@pytest.mark.parametrize("fact", STRUCK)
def test_striking_out_one_fact_turns_exactly_its_check(whole: Sheltered, fact: str) -> None:
    row, check = STRUCK[fact]
    _strike(row(whole))
    assert checks_missing(whole) == {check}


def _shell(book: HullInBook) -> PartInBook:
    return book.parts[0]


def _out_of_date(book: HullInBook) -> None:
    next(book.lot_uses()).lot.use_by = dt.date(2026, 5, 11)


def _overdrawn(book: HullInBook) -> None:
    lot = next(book.lot_uses()).lot
    book.stock[lot.pk] = StockSums(received=100.0, used=150.0, left=-50.0)


def _never_calibrated(book: HullInBook) -> None:
    book.calibrations.pop(_shell(book).hardness[0].tester_id)


def _no_scale(book: HullInBook) -> None:
    _shell(book).remainders[0].scale = None


def _alone_at_a_line(book: HullInBook) -> None:
    next(laying for laying in _shell(book).layings if laying.line.is_structural).second_person = ""


def _alone_at_a_pail(book: HullInBook) -> None:
    _shell(book).mixes[0].second_person = ""


def _no_cups(book: HullInBook) -> None:
    _shell(book).gels[:] = [gel for gel in _shell(book).gels if gel.at != GelPlace.CUP]


def _does_not_close(book: HullInBook) -> None:
    use = _shell(book).use
    _shell(book).use = replace(use, mass_balance=replace(use.mass_balance, closes=False))


def _took_more(book: HullInBook) -> None:
    use = _shell(book).use
    assert use.comparison is not None
    _shell(book).use = replace(use, comparison=replace(use.comparison, reading="more than planned"))


def _no_reading_after_peak(book: HullInBook) -> None:
    del _shell(book).cure_readings[3:]


LEFT_OUT: dict[str, tuple[Callable[[HullInBook], None], str]] = {
    "a scale": (_no_scale, "C8"),
    "a calibration": (_never_calibrated, "C9"),
    "a use-by that was kept": (_out_of_date, "C14"),
    "stock that was there": (_overdrawn, "C15"),
    "the second person at a line": (_alone_at_a_line, "C22"),
    "the second person at a pail": (_alone_at_a_pail, "C28"),
    "every pail": (lambda book: _shell(book).mixes.clear(), "C28"),
    "the gel cups": (_no_cups, "C31"),
    "weights that close": (_does_not_close, "C32"),
    "use as planned": (_took_more, "C33"),
    "every temperature": (lambda book: _shell(book).cure_readings.clear(), "C35"),
    "temperatures past the peak": (_no_reading_after_peak, "C35"),
}


@pytest.mark.parametrize("fact", LEFT_OUT)
def test_a_book_without_one_fact_turns_exactly_its_check(whole: Sheltered, fact: str) -> None:
    leave_out, check = LEFT_OUT[fact]
    book = hull_in_book(whole.hull)
    leave_out(book)
    assert {missing.check for missing in missing_in(book)} == {check}


def test_an_open_finding_is_missing_its_decision(whole: Sheltered) -> None:
    finding = log_finding(
        part=whole.part,
        kind=FindingKind.DRY_SPOT,
        zone_name="Bottom",
        place="port",
        length_mm=40.0,
        width_mm=20.0,
        words="",
        told=told("MO", at=AFTERWARDS),
    )
    assert checks_missing(whole) == {"C46"}
    _decide(finding.entry)
    assert checks_missing(whole) == set()


def test_climate_outside_its_limits_wants_judging(whole: Sheltered) -> None:
    whole.climate(hours(POUR_DAY, 3), air_c=12.0)
    assert checks_missing(whole) == {"C18"}
    (found,) = {view.entry for view in open_findings(whole.hull)}
    _decide(found)
    assert checks_missing(whole) == set()


def test_soft_laminate_stops_the_dossier_until_it_is_tried_again_or_accepted(whole: Sheltered) -> None:
    soft = whole.try_hardness("Keel", AFTERWARDS, [30.0 + n % 3 for n in range(30)])
    missing = what_is_missing(whole.hull)
    assert [(one.check, one.level) for one in missing] == [("C39", "X")]
    _decide(soft.entry, Decision.REWORK)
    assert checks_missing(whole) == {"C39"}
    whole.try_hardness("Keel", hours(AFTERWARDS, 24))
    assert checks_missing(whole) == set()


def test_a_second_hold_test_that_fails_before_the_pour_counts(whole: Sheltered) -> None:
    whole.hold_test(hours(POUR_DAY, 0.9), rise_mbar_min=1.5)
    missing = what_is_missing(whole.hull)
    assert [(one.check, one.irrecoverable) for one in missing] == [("C26", True)]


def test_a_dose_outside_the_makers_limits_is_the_pails_own_gap(whole: Sheltered) -> None:
    pour = Pour.objects.get()
    shelf = whole.shelf
    whole.mix(
        pour,
        6,
        hours(POUR_DAY, 1.8),
        0.5,
        components=[
            GivenComponent(ComponentRole.RESIN, shelf.lot(shelf.resin), 0.5),
            GivenComponent(ComponentRole.CATALYST, shelf.lot(shelf.catalyst), 0.015),
        ],
        told=told("MO", at=hours(POUR_DAY, 2), happened_at=hours(POUR_DAY, 1.8)),
    )
    assert checks_missing(whole) == {"C28", "C31"}


def _decide(entry: Entry, decision: Decision = Decision.ACCEPT) -> None:
    decide_finding(about_entry=entry, decision=decision, words="seen and judged", told=told(at=hours(AFTERWARDS, 1)))


def test_what_is_missing_is_listed_from_the_first_day(whole: Sheltered) -> None:
    fresh = sheltered(whole.shop, whole.shelf, "MB84-02")
    missing = what_is_missing(fresh.hull)
    assert {"C2", "C21", "C26", "C28", "C35", "C37", "C38", "C45", "C50", "C51"} == {one.check for one in missing}
    assert not any(one.irrecoverable for one in missing)
    assert all(one.what and one.who and one.where and one.level_words for one in missing)


def test_reading_what_is_missing_does_not_ask_more_for_more_entries(whole: Sheltered) -> None:
    with CaptureQueriesContext(connection) as before:
        what_is_missing(whole.hull)
    for step in range(6):
        whole.climate(hours(POUR_DAY, 1 + step / 10))
        whole.try_hardness("Keel", hours(AFTERWARDS, step))
    with CaptureQueriesContext(connection) as after:
        what_is_missing(whole.hull)
    assert len(after) == len(before)
