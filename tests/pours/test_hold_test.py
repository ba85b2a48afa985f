import pytest
from scipy import stats

from hullbook.calc.errors import InputRefused
from hullbook.materials import services as store
from hullbook.pours.enums import GaugeKind
from hullbook.pours.models import HoldTest
from hullbook.pours.selectors import hold_tests, last_hold_test, what_speaks_against_pouring
from hullbook.records.models import Entry, Judgement
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from hullbook.yard.enums import LimitName
from hullbook.yard.models import YardLimit
from hullbook.yard.services import calibrate_instrument, set_limit
from tests.cast import DAY, told
from tests.hulls.factories import Berth, make_berth
from tests.pours.factories import HELD, hold

pytestmark = pytest.mark.django_db


@pytest.fixture
def berth() -> Berth:
    return make_berth()


def limit_of(high: float, minutes: float) -> YardLimit:
    return set_limit(
        name=LimitName.HOLD_RISE, low=None, high=high, over_minutes=minutes, source="invented LP-2 rev 1", told=told()
    )


def judged(test: HoldTest) -> Judgement:
    return test.entry.judgements.get()


def test_the_rate_is_the_least_squares_slope(berth: Berth) -> None:
    # scipy.stats.linregress on the same readings; 0.4282 mbar/min +- 0.0062.
    limit_of(10.0, 10.0)
    test = hold(berth)
    line = stats.linregress(range(11), HELD)
    assert test.rate_mbar_min == pytest.approx(0.4282, rel=1e-3)
    assert test.rate_mbar_min == pytest.approx(line.slope, abs=1e-6)
    assert test.rise_mbar == pytest.approx(10 * line.slope, abs=1e-5)


def test_the_uncertainty_holds_scatter_gauge_steps_and_calibration(berth: Berth) -> None:
    # JCGM 100:2008, 5.1.2: independent parts add as squares; the gauge has 0.1 mbar steps and 0.5 % of its reading.
    limit_of(10.0, 10.0)
    test = hold(berth)
    line = stats.linregress(range(11), HELD)
    steps = 0.1 / 12**0.5 / sum((minute - 5) ** 2 for minute in range(11)) ** 0.5
    standard = (line.stderr**2 + steps**2 + (0.005 * line.slope) ** 2) ** 0.5
    assert test.rate_standard_uncertainty_mbar_min == pytest.approx(standard, abs=1e-6)
    assert test.rise_expanded_uncertainty_mbar == pytest.approx(2 * 10 * standard, abs=1e-5)


def test_a_better_calibration_of_the_day_gives_a_smaller_uncertainty(berth: Berth) -> None:
    limit_of(10.0, 10.0)
    before = hold(berth)
    calibrate_instrument(
        instrument=berth.shop.gauge,
        calibrated_on=DAY,
        due_on=DAY.replace(year=2027),
        certificate_number="C-G-01-b",
        standard_uncertainty_percent=5.0,
        told=told(),
    )
    assert hold(berth).rise_expanded_uncertainty_mbar > before.rise_expanded_uncertainty_mbar


@pytest.mark.parametrize(
    ("limit_mbar", "level"),
    [(5.0, "pass"), (4.35, "conditional pass"), (4.2, "conditional fail"), (4.0, "fail")],
)
def test_a_bag_is_judged_by_the_yards_own_limit(berth: Berth, limit_mbar: float, level: str) -> None:
    limit_of(limit_mbar, 10.0)
    verdict = judged(hold(berth))
    assert (verdict.code, verdict.level) == ("hold.rise", level)
    assert verdict.high == limit_mbar
    assert "invented LP-2 rev 1" in verdict.source
    assert f"{limit_mbar:g} mbar in 10 min" in verdict.source
    assert "straight" in verdict.because


def test_a_test_shorter_than_the_limit_is_stated_for_gives_no_verdict(berth: Berth) -> None:
    verdict = judged(hold(berth))
    assert verdict.level == "no verdict"
    assert "held for 10 min, the limit is stated over 20 min" in verdict.because


def test_without_a_limit_there_is_no_verdict_and_the_rate_is_still_given(berth: Berth) -> None:
    for limit in YardLimit.objects.filter(name=LimitName.HOLD_RISE):
        store.strike_out(entry=limit.entry, reason="not ours", told=told())
    test = hold(berth)
    assert judged(test).level == "no verdict"
    assert "set no limit" in judged(test).because
    assert test.rate_mbar_min == pytest.approx(0.4282, rel=1e-3)
    assert test.rise_mbar is None


def test_three_readings_are_too_few_to_judge(berth: Berth) -> None:
    verdict = judged(hold(berth, [(0, 18.0), (10, 20.0), (20, 22.0)]))
    assert verdict.level == "no verdict"
    assert "3 of at least 6 readings" in verdict.because


def test_a_gauge_below_atmosphere_is_brought_to_absolute_with_a_moving_barometer(berth: Berth) -> None:
    limit_of(10.0, 10.0)
    absolute = hold(berth)
    stations = [1013.0 + 0.2 * minute for minute in range(11)]
    shown = [(minute, HELD[minute] - stations[minute]) for minute in range(11)]
    below = hold(
        berth,
        shown,
        gauge_kind=GaugeKind.BELOW_ATMOSPHERE,
        station_pressure_start_mbar=1013.0,
        station_pressure_end_mbar=1015.0,
    )
    assert below.rate_mbar_min == pytest.approx(absolute.rate_mbar_min, abs=1e-6)
    last = below.readings.last()
    assert (last.shown_mbar, last.bag_pressure_mbar_abs) == pytest.approx((22.5 - 1015.0, 22.5), abs=1e-3)


def test_a_gauge_below_atmosphere_needs_the_barometer(berth: Berth) -> None:
    with pytest.raises(Refused, match="barometer") as refused:
        hold(berth, gauge_kind=GaugeKind.BELOW_ATMOSPHERE, station_pressure_start_mbar=1013.0)
    assert list(refused.value.problems) == ["station_pressure_end_mbar"]


def test_a_shed_that_warms_is_taken_out_of_the_rise_and_said(berth: Berth) -> None:
    # Ideal gas: 20 mbar at 20 C stands at 20.205 mbar at 23 C with nothing let in.
    warmed = [(float(m), 20.0 * (293.15 + 0.15 * m) / 293.15) for m in range(21)]
    hold(berth, warmed, air_temperature_end_c=23.0)
    view = hold_tests(berth.part)[0]
    assert view.test.rate_mbar_min == pytest.approx(0.0, abs=1e-6)
    assert view.temperature_words == "The shed warmed by 3.0 K; the rise may be temperature, not leak."


def test_a_shed_that_moves_by_two_kelvin_is_not_worth_a_word(berth: Berth) -> None:
    hold(berth, air_temperature_end_c=18.0)
    assert hold_tests(berth.part)[0].temperature_words == ""


def test_every_hold_test_is_kept_and_numbered_the_best_is_not_chosen(berth: Berth) -> None:
    limit_of(5.0, 10.0)
    hold(berth, [(m, 20.0 + m) for m in range(11)])
    hold(berth)
    third = hold(berth, [(m, 20.0 + 0.9 * m) for m in range(11)])
    assert [view.test.number for view in hold_tests(berth.part)] == [1, 2, 3]
    assert [view.level for view in hold_tests(berth.part)] == ["fail", "pass", "fail"]
    assert last_hold_test(berth.part) == third
    assert "the last hold test, 3, is not a pass: fail" in what_speaks_against_pouring(berth.part)


def test_a_test_struck_out_stays_in_the_list_and_its_number_is_not_given_again(berth: Berth) -> None:
    first = hold(berth)
    store.strike_out(entry=first.entry, reason="the wrong hull", told=told())
    second = hold(berth)
    assert second.number == 2
    views = hold_tests(berth.part)
    assert [view.is_struck for view in views] == [True, False]
    assert last_hold_test(berth.part) == second


def test_a_falling_pressure_is_not_a_hold_test(berth: Berth) -> None:
    entries = Entry.objects.count()
    with pytest.raises(InputRefused, match="was the pump not isolated"):
        hold(berth, [(m, 30.0 - m) for m in range(21)])
    assert Entry.objects.count() == entries


def test_the_number_of_queries_does_not_grow_with_the_tests(
    berth: Berth, django_assert_max_num_queries: object
) -> None:
    for _ in range(4):
        hold(berth)
    with django_assert_max_num_queries(4):  # type: ignore[operator]
        assert len(hold_tests(berth.part)) == 4


def test_a_book_with_hold_tests_is_whole(berth: Berth) -> None:
    hold(berth)
    assert checked_book().is_whole
