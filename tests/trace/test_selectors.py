import datetime as dt
from dataclasses import asdict

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from hullbook.hulls.models import Hull, Laying
from hullbook.hulls.services import leave_yard
from hullbook.materials.models import Lot
from hullbook.materials.services import strike_out
from hullbook.pours.models import Gel, Mix, Pour
from hullbook.trace.selectors import NothingBySuchName, batch_trace, find, hull_trace, lot_trace
from hullbook.yard.services import calibrate_instrument
from tests.cast import DAY, told
from tests.inspection.factories import LAST_DAY, POUR_DAY, Sheltered, hours
from tests.trace.factories import FIRST, SECOND, SECOND_RESIN_LOT, THIRD

pytestmark = pytest.mark.django_db
AFTERWARDS = hours(LAST_DAY, 8)
Hulls = dict[str, Sheltered]


def pairs_from_lots() -> set[tuple[str, str, float]]:
    return {
        (code, hull.hull, round(hull.quantity, 6))
        for code in Lot.objects.values_list("code", flat=True)
        for hull in lot_trace(code).hulls
    }


def pairs_from_hulls() -> set[tuple[str, str, float]]:
    return {
        (lot.lot, number, round(lot.quantity, 6))
        for number in Hull.objects.values_list("number", flat=True)
        for lot in hull_trace(number).lots
    }


def test_both_directions_of_the_trace_agree(hulls: Hulls) -> None:
    found = pairs_from_lots()
    assert found == pairs_from_hulls()
    assert {pair[:2] for pair in found} >= {("R-0007", FIRST), (SECOND_RESIN_LOT, SECOND)}


def test_both_directions_still_agree_after_entries_are_struck_out(hulls: Hulls) -> None:
    before = pairs_from_lots()
    for row in (
        Laying.objects.filter(part=hulls[SECOND].part).first(),
        *Gel.objects.filter(mix__pour__part=hulls[SECOND].part),
        *Mix.objects.filter(pour__part=hulls[SECOND].part),
    ):
        assert row is not None
        strike_out(entry=row.entry, reason="wrong hull", told=told(at=AFTERWARDS))
    after = pairs_from_lots()
    assert after == pairs_from_hulls()
    assert {lot for lot, hull, _ in before - after if hull == SECOND} >= {SECOND_RESIN_LOT}
    assert not any(lot == SECOND_RESIN_LOT for lot, _, _ in after)


# From a lot


def test_a_lot_tells_its_pails_with_mass_temperature_time_and_person(hulls: Hulls) -> None:
    trace = lot_trace(SECOND_RESIN_LOT)
    (hull,) = trace.hulls
    (part,) = hull.parts
    assert (hull.hull, hull.whereabouts, hull.quantity) == (SECOND, "in Bay 1", 24.0)
    assert [
        (pail.pail, pail.mass_kg, pail.resin_temperature_c, pail.mixed_by, pail.second_person) for pail in part.pails
    ] == [
        (1, 12.0, 21.0, "MO", "RT"),
        (2, 12.0, 21.0, "MO", "RT"),
    ]
    assert part.pails[0].at == hours(POUR_DAY, 6.1)


def test_a_lot_tells_the_lines_laid_from_it(hulls: Hulls) -> None:
    trace = lot_trace("R-0001")
    laid = {hull.hull: [use.line for part in hull.parts for use in part.laid] for hull in trace.hulls}
    assert laid == {FIRST: [2, 4, 6], SECOND: [2, 4, 6]}


def test_the_balance_of_a_lot_closes(hulls: Hulls) -> None:
    for code in Lot.objects.values_list("code", flat=True):
        trace = lot_trace(code)
        assert trace.received == pytest.approx(trace.used + trace.discarded + trace.left)
        assert trace.used == pytest.approx(sum(hull.quantity for hull in trace.hulls))


def test_the_same_makers_batch_in_another_lot_is_listed(hulls: Hulls) -> None:
    (other,) = lot_trace("R-0007").same_batch
    assert (other.lot, other.hulls, other.received) == (SECOND_RESIN_LOT, (SECOND,), 60.0)


def test_a_batch_gives_every_lot_of_it(hulls: Hulls) -> None:
    trace = batch_trace("ve-10-26-04")
    assert trace.batch == "VE-10-26-04"
    assert [lot.lot for lot in trace.lots] == ["R-0007", SECOND_RESIN_LOT]
    assert asdict(trace.lots[0]) == asdict(lot_trace("R-0007"))


def test_sisters_that_took_none_of_a_lot_are_named(hulls: Hulls) -> None:
    assert lot_trace("R-0007").sisters_without == (SECOND, THIRD)


def test_a_line_that_is_not_logged_is_a_hole(hulls: Hulls) -> None:
    trace = lot_trace("R-0001")
    assert not trace.is_whole
    assert f"{THIRD} Hull shell: line 2 wants GB-800 and is not logged" in trace.holes
    assert not any(SECOND in hole for hole in trace.holes)


def test_a_lot_that_has_not_left_the_store_is_a_whole_answer(hulls: Hulls) -> None:
    trace = lot_trace("R-0003")
    assert (trace.hulls, trace.is_whole, trace.left) == ((), True, 180.0)


def test_more_used_than_received_is_a_hole(hulls: Hulls) -> None:
    hulls[THIRD].lay(2, AFTERWARDS, quantity=450.0, told=told("MO", at=AFTERWARDS, happened_at=hours(LAST_DAY, 1)))
    assert any("more of R-0001 is logged as used than was received" in hole for hole in lot_trace("R-0001").holes)


def test_a_hull_that_has_left_says_where_it_went(hulls: Hulls) -> None:
    leave_yard(hull=hulls[FIRST].hull, left_on=DAY, delivered_to="Merrowby quay", told=told(at=AFTERWARDS))
    (hull,) = lot_trace("R-0007").hulls
    assert hull.whereabouts == "left the yard on 2026-05-12, delivered to Merrowby quay"


# From a hull


def test_a_hull_tells_its_lots_with_batch_and_certificate(hulls: Hulls) -> None:
    lots = {lot.lot: lot for lot in hull_trace(FIRST).lots}
    resin = lots["R-0007"]
    assert (resin.material, resin.makers_batch, resin.has_certificate, resin.unit) == (
        "VE-10",
        "VE-10-26-04",
        True,
        "kg",
    )
    assert resin.parts == ("Hull shell",)
    assert resin.quantity == pytest.approx(
        sum(
            one.mass_kg
            for mix in Mix.objects.filter(pour__part=hulls[FIRST].part)
            for one in mix.components.filter(role="resin")
        )
    )


def test_a_hull_tells_each_pail_with_dose_and_gel(hulls: Hulls) -> None:
    pails = hull_trace(SECOND).pails
    assert [(pail.pail, pail.dose_phr, pail.lots) for pail in pails] == [
        (1, 1.5, (SECOND_RESIN_LOT, "R-0008")),
        (2, 1.5, (SECOND_RESIN_LOT, "R-0008")),
    ]
    assert [gel.minutes_since_mix for gel in pails[0].gels] == [30.0]


def test_a_hull_tells_the_climate_it_met(hulls: Hulls) -> None:
    hulls[SECOND].climate(hours(POUR_DAY, 4), air_c=17.0)
    climate = hull_trace(SECOND).climate
    assert (climate.readings, climate.air_temperature_low_c, climate.air_temperature_high_c) == (4, 17.0, 20.5)
    assert (climate.humidity_low_percent, climate.humidity_high_percent) == (55.0, 55.0)


def test_a_hull_tells_its_instruments_and_whether_they_were_in_date(hulls: Hulls) -> None:
    assert all(one.in_date for one in hull_trace(FIRST).instruments)
    calibrate_instrument(
        instrument=hulls[FIRST].shop.impressor,
        calibrated_on=DAY,
        due_on=DAY + dt.timedelta(days=1),
        certificate_number="C-9",
        told=told(at=AFTERWARDS),
    )
    by_code = {one.code: one for one in hull_trace(FIRST).instruments}
    assert not by_code["I-01"].in_date
    assert by_code["I-01"].words == "out of date on 2026-05-15"
    assert by_code["G-01"].uses == 1


def test_a_hull_tells_who_laid_mixed_and_stood_by(hulls: Hulls) -> None:
    people = {one.initials: one for one in hull_trace(SECOND).people}
    assert (people["MO"].laid, people["MO"].mixed, people["RT"].second) == (6, 2, 8)
    assert people["MO"].full_name == "Mirrin Oxholt (invented)"


def test_a_hull_says_what_it_has_that_no_sister_has(hulls: Hulls) -> None:
    assert hull_trace(SECOND).differs_in == (f"differs in VE-10: {SECOND_RESIN_LOT} here; R-0007 in its sisters",)
    assert hull_trace(SECOND).sisters == (FIRST, THIRD)


def test_lines_not_logged_cut_the_answer_of_their_own_hull_only(hulls: Hulls) -> None:
    assert hull_trace(FIRST).is_whole
    assert len(hull_trace(THIRD).holes) == 5


def test_the_trace_never_says_because(hulls: Hulls) -> None:
    said = str([asdict(lot_trace("R-0001")), asdict(hull_trace(SECOND)), asdict(hull_trace(THIRD))]).lower()
    assert "because" not in said


# Names


@pytest.mark.parametrize(
    ("typed", "kind", "name"),
    [(" r-0007 ", "lot", "R-0007"), ("mb84-01", "hull", FIRST), ("gb-800-26-04", "batch", "GB-800-26-04")],
)
def test_a_name_is_found_however_it_is_typed(hulls: Hulls, typed: str, kind: str, name: str) -> None:
    found = find(typed)
    assert (found.kind, found.name) == (kind, name)


def test_an_unknown_lot_is_answered_with_the_nearest(hulls: Hulls) -> None:
    with pytest.raises(NothingBySuchName, match=r"^No lot R-9 here\. Nearest: R-00"):
        lot_trace("R-9")
    with pytest.raises(NothingBySuchName, match=r"^No hull MB84-9 here\. Nearest: MB84-"):
        hull_trace("MB84-9")
    with pytest.raises(NothingBySuchName, match=r"^No maker's batch VE-10 here"):
        batch_trace("VE-10")
    with pytest.raises(NothingBySuchName, match="^No lot, hull or maker's batch Q here"):
        find("Q")


def test_a_lot_code_typed_wrong_is_told_so_by_its_check_character(hulls: Hulls) -> None:
    with pytest.raises(NothingBySuchName, match="Its last character does not fit the rest"):
        find("r-0041-d")
    with pytest.raises(NothingBySuchName) as nothing:
        find("R-0041-7")
    assert "last character" not in str(nothing.value)


# How much is asked of the book


def test_the_number_of_queries_does_not_grow(hulls: Hulls) -> None:
    with CaptureQueriesContext(connection) as few:
        lot_trace("R-0007")
        hull_trace(SECOND)
    pour = Pour.objects.get(part=hulls[SECOND].part)
    for pail in range(3, 12):
        hulls[SECOND].mix(pour, pail, hours(POUR_DAY, 6 + pail / 10), 10.0)
        hulls[SECOND].climate(hours(POUR_DAY, 6 + pail / 10))
    with CaptureQueriesContext(connection) as many:
        lot_trace("R-0007")
        hull_trace(SECOND)
    assert len(many) <= len(few) + 1
