"""The pour day: what is logged with one tap or one number, and what its sheet makes of it."""

import datetime as dt
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from hullbook.hulls.enums import HullSide, Side
from hullbook.inspection.selectors import planned_against_used
from hullbook.materials import services as store
from hullbook.pours import services
from hullbook.pours.enums import (
    AlarmRank,
    GaugeKind,
    GelPlace,
    InletMove,
    PailEnded,
    ReadingOf,
    TroubleKind,
)
from hullbook.pours.models import FeedLayout
from hullbook.pours.selectors import last_reading, layout_in_force, pour_day, pour_for, pour_sheet, pour_view
from hullbook.pours.services import GivenInlet, GivenLine, GivenStation
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from hullbook.yard.enums import LimitName
from hullbook.yard.perms import Act
from hullbook.yard.services import set_limit
from tests.cast import MORNING, told
from tests.hulls.factories import make_berth
from tests.pours.factories import INLETS, LINES, STATIONS, Running, begin, hold, lay_feed_lines, running

pytestmark = pytest.mark.django_db


@pytest.fixture
def run() -> Running:
    return running()


def sheet(run: Running, minute: float = 60) -> dict[str, Any]:
    return pour_sheet(run.pour, MORNING + dt.timedelta(minutes=minute))


def next_words(run: Running) -> str:
    return str(sheet(run)["next"]["words"])


def inlet(run: Running, number: int) -> str:
    return next(one["state"] for one in sheet(run)["inlets"] if one["number"] == number)


def pail(run: Running, number: int) -> dict[str, Any]:
    return next(one for one in sheet(run)["pails"] if one["number"] == number)


# ---- What is laid under the bag


def test_a_feed_line_opens_when_the_front_has_come_to_it_unless_it_says_otherwise() -> None:
    berth = make_berth()
    lay_feed_lines(
        berth, lines=[*LINES, GivenLine(3, "sheer", 1600.0, Side.BOTH, 2, 1300.0, "both fronts at 1 300 mm")]
    )
    layout = layout_in_force(berth.part)
    assert layout is not None
    assert [line.opens_front_mm for line in layout.lines] == [None, 820.0, 1300.0]
    assert [line.opens_after for line in layout.lines] == [None, 1, 2]
    assert layout.flange_mm == 1820.0


def test_a_newer_layout_takes_the_place_of_the_one_before_and_comes_back_when_struck_out() -> None:
    berth = make_berth()
    first = lay_feed_lines(berth)
    second = lay_feed_lines(berth, stations=[GivenStation("4", 1700.0)])
    assert layout_in_force(berth.part).layout == second  # type: ignore[union-attr]
    store.strike_out(entry=second.entry, reason="another boat's drawing", told=told(at=MORNING + dt.timedelta(hours=1)))
    assert layout_in_force(berth.part).layout == first  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("field", "given", "sentence"),
    [
        ("lines", [LINES[0], LINES[0]], "There are two of feed line 1"),
        ("lines", [GivenLine(1, "keel", 1900.0, Side.BOTH)], "past the flange: 1900 of 1820"),
        ("lines", [GivenLine(1, "keel", 0.0, Side.BOTH, opens_after=7)], "opens after feed line 7, which is not there"),
        ("lines", [*LINES[1:], GivenLine(1, "keel", 0.0, Side.BOTH, opens_after=2)], "would wait for itself"),
        ("inlets", [GivenInlet(1, 9, Side.BOTH)], "feeds line 9, which is not there"),
        ("stations", [], "Give one at the least"),
    ],
)
def test_a_layout_that_cannot_be_is_refused_with_the_line_it_is_about(
    field: str, given: list[Any], sentence: str
) -> None:
    with pytest.raises(Refused) as refused:
        lay_feed_lines(make_berth(), **{field: given})
    assert sentence in refused.value.problems[field]
    assert not FeedLayout.objects.exists()


def test_an_inlet_lies_on_the_side_of_its_line() -> None:
    with pytest.raises(Refused, match="Inlet 1 is port; feed line 1 lies starboard"):
        lay_feed_lines(
            make_berth(), lines=[GivenLine(1, "keel", 0.0, Side.STARBOARD)], inlets=[GivenInlet(1, 1, Side.PORT)]
        )


# ---- Inlets and the front


def test_the_pours_clock_counts_from_the_first_inlet(run: Running) -> None:
    assert sheet(run)["pour"]["first_inlet_at"] is None
    run.inlet(1, 6)
    run.inlet(2, 31)
    assert sheet(run)["pour"]["first_inlet_at"] == "2026-05-12T08:06:00.000Z"


def test_an_inlet_stands_as_it_was_last_moved_and_says_since_when(run: Running) -> None:
    assert inlet(run, 1) == "shut"
    run.inlet(1, 6)
    assert inlet(run, 1) == "open"
    run.inlet(1, 40, InletMove.SHUT)
    assert inlet(run, 1) == "shut"
    one = next(one for one in sheet(run)["inlets"] if one["number"] == 1)
    assert (one["since"], one["was_opened"]) == ("2026-05-12T08:40:00.000Z", True)


def test_a_blocked_inlet_stays_blocked_until_something_was_done_about_it(run: Running) -> None:
    run.inlet(1, 6)
    blocked = run.trouble(TroubleKind.INLET_BLOCKED, 20, inlet_number=1)
    assert inlet(run, 1) == "blocked"
    run.mend(blocked, 25, "hose changed")
    assert inlet(run, 1) == "open"


def test_the_front_is_through_when_it_is_at_the_flange_of_every_station_on_both_sides(run: Running) -> None:
    run.fronts(1400, 40)
    assert not pour_day(run.pour).is_through
    run.front("5", HullSide.PORT, 1820, 50)
    assert not pour_day(run.pour).is_through
    run.front("5", HullSide.STARBOARD, 1820, 52)
    assert pour_day(run.pour).is_through


def test_a_front_logged_late_does_not_run_back(run: Running) -> None:
    run.fronts(900, 20)
    run.front("5", HullSide.PORT, 400, 12)
    assert pour_day(run.pour).front_mm["5", "port"] == 900


# ---- Next by the plan


def test_next_by_the_plan_goes_from_the_sound_test_to_the_clamp(run: Running) -> None:
    assert next_words(run) == "Try the sound"
    run.sound(0)
    assert next_words(run) == "Mix pail 1"
    mixes = [run.day.mix(1, minute=1)]
    assert next_words(run) == "Open inlet 1"
    run.inlet(1, 3)
    assert next_words(run) == "Mix pail 2"
    run.fronts(800, 15)
    assert next_words(run) == "Mix pail 2"
    run.fronts(820, 20)
    assert next_words(run) == "Open inlet 2"
    run.inlet(2, 21)
    assert next_words(run) == "Open inlet 3"
    run.inlet(3, 21)
    mixes += [run.day.mix(number, minute=20 + number) for number in range(2, 7)]
    assert next_words(run) == "Front reached"
    run.fronts(1820, 70)
    assert next_words(run) == "Shut inlet 1"
    for number in (1, 2, 3):
        run.inlet(number, 72, InletMove.SHUT)
    assert next_words(run) == "Close the pour"
    run.close(75)
    assert next_words(run) == "Pail 1: empty or dumped"
    for mix in mixes:
        run.end(mix, 76)
    assert next_words(run) == "Open questions"


def test_an_inlet_whose_line_waits_for_one_side_opens_by_the_front_of_that_side() -> None:
    berth = make_berth()
    lines = [LINES[0], GivenLine(2, "port chine", 820.0, Side.PORT, opens_after=1)]
    lay_feed_lines(berth, lines=lines, inlets=[INLETS[0], GivenInlet(2, 2, Side.PORT)])
    run = Running(begin(berth))
    run.sound()
    run.day.mix(1, minute=1)
    run.inlet(1, 2)
    for station in STATIONS:
        run.front(station.name, HullSide.STARBOARD, 900, 20)
    assert next_words(run) == "Mix pail 2"
    for station in STATIONS:
        run.front(station.name, HullSide.PORT, 830, 22)
    assert next_words(run) == "Open inlet 2"


def test_without_a_layout_the_plan_still_says_what_to_mix() -> None:
    run = Running(begin(make_berth()))
    run.sound()
    assert next_words(run) == "Mix pail 1"
    told_sheet = sheet(run)
    assert (told_sheet["feed_lines"], told_sheet["inlets"], told_sheet["girth"]["stations"]) == ([], [], [])
    assert told_sheet["girth"]["flange_mm"] > 0


def test_all_stop_stands_on_the_sheet_until_the_pour_goes_on(run: Running) -> None:
    run.sound()
    stop = run.trouble(TroubleKind.ALL_STOP, 10)
    stopped = sheet(run)["stopped"]
    assert stopped == {"at": "2026-05-12T08:10:00.000Z", "by": "MO", "id": str(stop.entry.entry_id)}
    assert next_words(run) == "Going on again"
    run.mend(stop, 14)
    assert sheet(run)["stopped"] is None


# ---- Readings


def test_a_relative_gauge_is_kept_as_shown_and_in_mbar_absolute(run: Running) -> None:
    # 1013.2 mbar of air less a pull of 995.0 mbar (absolute = air pressure - gauge, by definition).
    reading = run.pressure(995.0, 5, gauge_kind=GaugeKind.BELOW_ATMOSPHERE, station_pressure_mbar=1013.2)
    assert reading.bag_pressure_mbar_abs == pytest.approx(18.2)
    assert reading.gauge_mbar == 995.0
    with pytest.raises(Refused, match="needs the barometer"):
        run.pressure(995.0, 6, gauge_kind=GaugeKind.BELOW_ATMOSPHERE)


def test_readings_stand_on_the_sheet_in_order_with_the_last_of_each_kind(run: Running) -> None:
    run.pressure(15.0, 20)
    run.pressure(14.2, 10)
    shop = run.day.berth.shop
    services.log_pour_temperature(
        pour=run.pour, what=ReadingOf.LAMINATE, thermometer=shop.thermometer, temperature_c=24.5, place="keel, 5",
        told=run.at(25),
    )  # fmt: skip
    shown = sheet(run)
    assert [one["value"] for one in shown["readings"]] == [14.2, 15.0, 24.5]
    assert shown["last"]["bag pressure"]["value"] == 15.0
    assert (shown["last"]["laminate"]["unit"], shown["last"]["laminate"]["place"]) == ("°C", "keel, 5")


def test_before_the_first_reading_the_last_is_the_end_of_the_hold_test(run: Running) -> None:
    hold(run.day.berth)
    last = sheet(run)["last"]["bag pressure"]
    assert (last["value"], last["instrument"]) == (22.5, "G-01")


def test_the_last_reading_of_a_moment_is_of_the_same_kind_and_place_and_not_of_later(run: Running) -> None:
    run.pressure(14.0, 10)
    run.pressure(30.0, 12, place="far gauge")
    run.pressure(15.0, 20)
    before = last_reading(run.pour, "bag pressure", "", MORNING + dt.timedelta(minutes=15))
    assert before is not None
    assert before.bag_pressure_mbar_abs == 14.0


def test_a_change_of_gauge_marks_the_one_curve_with_what_lay_between_the_two(run: Running) -> None:
    shop = run.day.berth.shop
    run.trouble(TroubleKind.GAUGE_CHANGED, 30, gauge=shop.gauge, old_gauge_mbar_abs=15.0, new_gauge_mbar_abs=15.8)
    (mark,) = sheet(run)["troubles"]
    assert (mark["gauge"], mark["gauge_offset_mbar"]) == ("G-01", pytest.approx(0.8))
    with pytest.raises(Refused, match="Say which gauge is read from now on"):
        run.trouble(TroubleKind.GAUGE_CHANGED, 31)
    with pytest.raises(Refused, match="what both gauges showed"):
        run.trouble(TroubleKind.GAUGE_CHANGED, 31, gauge=shop.gauge, old_gauge_mbar_abs=15.0)
    with pytest.raises(Refused, match="only a change of gauge names one"):
        run.trouble(TroubleKind.LEAK, 31, gauge=shop.gauge)


def test_the_yards_limits_for_a_pour_stand_on_the_sheet_where_it_has_set_them(run: Running) -> None:
    assert (sheet(run)["plan"]["vacuum_limit_mbar"], sheet(run)["plan"]["peak_limit_c"]) == (None, None)
    for name, high in ((LimitName.POUR_RISE, 5.0), (LimitName.LAMINATE_PEAK, 90.0)):
        set_limit(name=name, low=None, high=high, over_minutes=None, source="invented LP-1 rev 3", told=told())
    assert (sheet(run)["plan"]["vacuum_limit_mbar"], sheet(run)["plan"]["peak_limit_c"]) == (5.0, 90.0)


# ---- Pails


def test_a_pail_feeds_until_it_is_empty_or_dumped(run: Running) -> None:
    first, second = run.day.mix(1, minute=1), run.day.mix(2, minute=10)
    assert pail(run, 1)["state"] == "feeding"
    run.end(first, 12)
    run.end(second, 40, PailEnded.DUMPED)
    assert [(one["state"], one["ended_at"][11:16]) for one in sheet(run)["pails"]] == [
        ("empty", "08:12"),
        ("dumped", "08:40"),
    ]
    with pytest.raises(Refused, match="Pail 2 was mixed at"):
        run.end(second, 2)


def test_a_spoilt_pail_stops_its_clock_and_is_mixed_anew_once_it_is_weighed(run: Running) -> None:
    mix = run.day.mix(1, minute=1)
    left_before = pour_day(run.pour).left_to_mix_kg
    run.trouble(TroubleKind.PAIL_SPOILT, 18, mix=mix)
    run.end(mix, 22, PailEnded.DUMPED)
    assert (pail(run, 1)["state"], pail(run, 1)["ended_at"]) == ("spoilt", "2026-05-12T08:18:00.000Z")
    assert pour_day(run.pour).left_to_mix_kg == left_before
    run.left(mix, 7.3, 60)
    assert pour_day(run.pour).left_to_mix_kg == pytest.approx(left_before + 7.3)
    assert pour_view(run.pour).left_to_expected_kg == pytest.approx(left_before + 7.3)
    assert pail(run, 1)["left_kg"] == 7.3


def test_what_was_in_a_spoilt_pail_counts_once_in_the_balance(run: Running) -> None:
    mix = run.day.mix(1, minute=1)
    run.day.mix(2, minute=10)
    run.trouble(TroubleKind.PAIL_SPOILT, 18, mix=mix)
    run.end(mix, 22, PailEnded.DUMPED)
    run.left(mix, 7.3, 60)
    use = planned_against_used(run.day.berth.part)
    assert use.mixed is not None
    assert use.left_in_pails is not None
    assert use.in_part is not None
    assert use.in_part.mass_kg == pytest.approx(2 * 12.6875 - 7.3)


def test_the_heel_of_an_empty_pail_is_in_the_plan_already(run: Running) -> None:
    mix = run.day.mix(1, minute=1)
    left_before = pour_day(run.pour).left_to_mix_kg
    run.end(mix, 22)
    run.left(mix, 0.3, 60)
    assert pour_day(run.pour).left_to_mix_kg == left_before


def test_a_pail_that_gelled_in_its_pail_is_lost_and_one_whose_cup_gelled_is_not(run: Running) -> None:
    hot, tried = run.day.mix(1, minute=1), run.day.mix(2, minute=2)
    for mix, at in ((hot, GelPlace.PAIL), (tried, GelPlace.CUP)):
        services.log_gel(pour=run.pour, mix=mix, at=at, place="", temperature_c=None, told=run.at(50))
        run.left(mix, 5.0, 60)
    assert [one["state"] for one in sheet(run)["pails"]] == ["gelled", "gelled"]
    assert pour_day(run.pour).lost_kg == 5.0


def test_what_was_logged_of_a_pail_stays_with_it_when_the_pail_is_put_right(run: Running) -> None:
    mix = run.day.mix(1, minute=1)
    run.end(mix, 12)
    run.left(mix, 0.4, 60)
    run.day.mix(1, minute=1, resin_kg=12.0, catalyst_g=180.0, corrects=mix, reason="read the wrong line")
    (only,) = sheet(run)["pails"]
    assert (only["state"], only["left_kg"], only["resin_kg"]) == ("empty", 0.4, 12.0)


def test_the_gel_clock_of_the_sheet_counts_from_the_pails_own_mixing(run: Running) -> None:
    # The table gives 45 min +- 10 % at 23 C and 1.5 %.
    run.day.mix(1, minute=10, resin_temperature_c=23.0)
    gel = pail(run, 1)["gel"]
    assert (gel["low_at"], gel["high_at"]) == ("2026-05-12T08:50:30.000Z", "2026-05-12T08:59:30.000Z")


def test_two_pails_of_one_number_are_marked(run: Running) -> None:
    run.day.mix(1, minute=1)
    run.day.mix(1, minute=1, told=run.at(1, "RT"), mixed_by="RT", second_person="")
    assert [one["mark"] for one in sheet(run)["pails"]] == ["one pail or two?"] * 2


# ---- Everything else of one tap


def test_note_sound_test_and_alarms_stand_on_the_sheet(run: Running) -> None:
    run.sound(0, heard=False)
    services.note_in_pour(pour=run.pour, words="port hose kinked, straightened", told=run.at(12))
    services.take_alarm(pour=run.pour, code="gel-12-3", rank=AlarmRank.NOW, told=run.at(15, "RT"))
    shown = sheet(run)
    assert shown["sound"]["heard"] is False
    assert shown["notes"][0]["words"] == "port hose kinked, straightened"
    assert [(one["code"], one["by"]) for one in shown["alarms_taken"]] == [("gel-12-3", "RT")]


def test_what_is_struck_out_leaves_the_sheet(run: Running) -> None:
    front = run.front("5", HullSide.PORT, 600, 12)
    store.strike_out(entry=front.entry, reason="wrong side", told=run.at(13))
    assert sheet(run)["fronts"] == []


def test_what_was_done_comes_after_the_trouble(run: Running) -> None:
    leak = run.trouble(TroubleKind.LEAK, 20)
    with pytest.raises(Refused, match="what was done about it comes after"):
        run.mend(leak, 10)


def test_nothing_of_the_day_is_logged_in_a_pour_that_is_struck_out(run: Running) -> None:
    store.strike_out(entry=run.pour.entry, reason="begun by mistake", told=run.at(1))
    for log in (
        lambda: run.sound(2),
        lambda: run.inlet(1, 2),
        lambda: run.front("5", HullSide.PORT, 100, 2),
        lambda: run.pressure(14, 2),
        lambda: run.trouble(TroubleKind.LEAK, 2),
        lambda: services.note_in_pour(pour=run.pour, words="x", told=run.at(2)),
        lambda: services.take_alarm(pour=run.pour, code="x", rank=AlarmRank.SOON, told=run.at(2)),
        lambda: services.answer_question(pour=run.pour, question="gel", words="x", told=run.at(2)),
    ):
        with pytest.raises(Refused, match="struck out; nothing is logged in it"):
            log()


def test_what_happened_after_the_clamp_is_kept_all_the_same(run: Running) -> None:
    run.close(60)
    assert run.front("5", HullSide.PORT, 1820, 62).pk
    assert run.inlet(1, 63, InletMove.SHUT).pk


def test_the_number_of_queries_does_not_grow_with_the_day(run: Running) -> None:
    def fill(first: int) -> None:
        for pail_number in range(first, first + 3):
            mix = run.day.mix(pail_number, minute=pail_number)
            run.end(mix, 40 + pail_number)
            run.inlet(pail_number, pail_number)
            run.fronts(100.0 * pail_number, pail_number)
            run.pressure(14.0, pail_number)
            run.mend(run.trouble(TroubleKind.LEAK, pail_number), 30 + pail_number, "taped")

    def asked_for() -> int:
        hull, part = run.day.berth.hull.number, run.day.berth.part.name
        pour = pour_for(run.day.berth.shop.lead, Act.READ, hull=hull, part=part, no=1)
        with CaptureQueriesContext(connection) as asked:
            pour_sheet(pour, MORNING)
        return len(asked)

    fill(1)
    first = asked_for()
    fill(4)
    assert asked_for() == first == 40


def test_a_book_with_a_pour_day_is_whole(run: Running) -> None:
    run.sound()
    run.inlet(1, 2)
    run.fronts(300, 5)
    run.pressure(14.2, 6)
    run.mend(run.trouble(TroubleKind.LEAK, 7, station="5", side=HullSide.PORT, girth_mm=310.0), 9, "taped")
    run.end(run.day.mix(1, minute=1), 12)
    assert checked_book().is_whole


def test_a_gel_clock_follows_the_temperature_read_in_its_pail(run: Running) -> None:
    first = run.day.mix(1, minute=0)
    run.day.mix(2, minute=1)

    def gels() -> tuple[str, str]:
        return pail(run, 1)["gel"]["mid_at"], pail(run, 2)["gel"]["mid_at"]

    def reads(celsius: float, place: str, minute: float) -> None:
        services.log_pour_temperature(
            pour=run.pour, what=ReadingOf.RESIN, thermometer=first.thermometer, temperature_c=celsius, place=place,
            told=run.at(minute),
        )  # fmt: skip

    before = gels()
    reads(first.resin_temperature_c + 2, "pail 1", 10)
    assert gels()[0] < before[0]
    assert gels()[1] == before[1]
    on_its_page, other = (view.gel_clock.mid_minutes for view in pour_view(run.pour).mixes)
    assert on_its_page < other
    # Two pails stand: a reading that names neither is of neither.
    reads(first.resin_temperature_c + 3, "", 11)
    assert gels()[1] == before[1]
