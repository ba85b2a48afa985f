import datetime as dt

import pytest

from hullbook.cure import services
from hullbook.cure.selectors import cure_plot, cure_view
from hullbook.materials import services as store
from hullbook.pours.enums import GelPlace
from hullbook.pours.services import log_gel
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from tests.cast import MORNING, told
from tests.hulls.factories import Berth, make_berth
from tests.pours.factories import begin

pytestmark = pytest.mark.django_db

# Every five minutes, °C: baseline 20.05, onset 50.78 min, peak 117.0 at 80.28 min by the parabola through its top
# (recomputed independently; Lagrange's interpolation).
CURVE = (
    20.0, 20.0, 20.1, 20.2, 20.4, 20.7, 21.0, 21.5, 22.1, 23.0, 24.6, 27.5, 34.0, 52.0, 88.0, 112.0, 117.0, 113.0,
    105.0, 96.5, 88.0, 80.0, 73.0, 66.5, 61.0,
)  # fmt: skip


@pytest.fixture
def berth() -> Berth:
    return make_berth()


def read(berth: Berth, temperature_c: float, minute: float, place: str = "keel, station 4") -> object:
    return services.log_cure_reading(
        part=berth.part,
        place=place,
        temperature_c=temperature_c,
        thermometer=berth.shop.thermometer,
        told=told("MO", at=MORNING + dt.timedelta(minutes=minute)),
    )


def read_curve(berth: Berth, place: str = "keel, station 4") -> None:
    for step, temperature_c in enumerate(CURVE):
        read(berth, temperature_c, 5 * step, place)


def test_the_peak_of_a_cure_curve_is_found(berth: Berth) -> None:
    read_curve(berth)
    (curve,) = cure_view(berth.part).curves
    assert curve.exotherm is not None
    assert curve.exotherm.peak_c == pytest.approx(117.0, abs=0.05)
    assert curve.peak_hours == pytest.approx(80.28 / 60, abs=1e-3)
    assert curve.exotherm.onset_minutes == pytest.approx(50.78, abs=0.01)
    assert curve.highest.temperature_c == 117.0
    assert curve.because == ""


def test_time_is_counted_above_the_yards_own_temperature_or_the_one_asked_for(berth: Berth) -> None:
    read_curve(berth)
    view = cure_view(berth.part)
    assert view.warmth is not None
    assert (view.warmth.above_c, view.curves[0].minutes_above) == (18.0, 120.0)
    assert "invented yard procedure" in view.warmth.source
    asked = cure_view(berth.part, above_c=100.0)
    # Straight lines between readings: up through 100 C at 72.5 min, down at 92.94 min.
    assert asked.curves[0].minutes_above == pytest.approx((90 + 5 * 5 / 8.5) - (70 + 5 * 12 / 24))


def test_readings_far_apart_earn_no_time_between(berth: Berth) -> None:
    for minute in (0, 60, 60 + 121):
        read(berth, 30.0, minute)
    assert cure_view(berth.part).curves[0].minutes_above == pytest.approx(60.0)


def test_few_readings_give_no_peak_and_say_how_many_are_needed(berth: Berth) -> None:
    read(berth, 24.0, 0)
    (curve,) = cure_view(berth.part).curves
    assert curve.exotherm is None
    assert "1 readings; give at least 6" in curve.because


def test_the_clock_starts_at_gel_in_the_part_then_in_a_cup_then_at_the_first_reading() -> None:
    day = begin()
    read(day.berth, 24.0, 100)
    assert cure_view(day.berth.part).started_by == "the first reading; no gel is logged"
    mix = day.mix()
    cup = told(at=MORNING + dt.timedelta(minutes=55))
    log_gel(pour=day.pour, mix=mix, at=GelPlace.CUP, place="", temperature_c=None, told=cup)
    assert cure_view(day.berth.part).curves[0].hours == pytest.approx((45 / 60,))
    part = told(at=MORNING + dt.timedelta(minutes=70))
    log_gel(pour=day.pour, mix=None, at=GelPlace.PART, place="keel", temperature_c=None, told=part)
    view = cure_view(day.berth.part)
    assert view.started_by == "gel in the part, the last place logged"
    assert view.curves[0].hours == pytest.approx((0.5,))


def test_places_have_curves_of_their_own(berth: Berth) -> None:
    read(berth, 30.0, 0, "keel")
    read(berth, 28.0, 1, "flange")
    read(berth, 35.0, 10, "keel")
    assert [(curve.place, len(curve.readings)) for curve in cure_view(berth.part).curves] == [
        ("keel", 2),
        ("flange", 1),
    ]
    assert "keel" in cure_plot(cure_view(berth.part)).desc


def test_a_reading_struck_out_leaves_the_curve_and_stays_on_the_page(berth: Berth) -> None:
    reading = read(berth, 250.0, 0)
    read(berth, 25.0, 5)
    store.strike_out(entry=reading.entry, reason="25, not 250", told=told())  # type: ignore[attr-defined]
    view = cure_view(berth.part)
    assert view.curves[0].temperatures_c == (25.0,)
    assert [one.temperature_c for one in view.struck] == [250.0]


def test_a_reading_needs_a_place(berth: Berth) -> None:
    with pytest.raises(Refused) as refused:
        read(berth, 30.0, 0, "  ")
    assert list(refused.value.problems) == ["place"]


def test_a_demould_is_logged_with_the_hours_on_the_clock(berth: Berth) -> None:
    read(berth, 24.0, 0)
    at = MORNING + dt.timedelta(hours=48)
    services.log_demould(part=berth.part, words="came off clean", told=told(at=at))
    view = cure_view(berth.part)
    assert view.demoulded is not None
    assert view.hours_to_demould == pytest.approx(48.0)
    assert checked_book().is_whole


def test_the_number_of_queries_does_not_grow_with_the_readings(
    berth: Berth, django_assert_max_num_queries: object
) -> None:
    read_curve(berth)
    with django_assert_max_num_queries(5):  # type: ignore[operator]
        assert len(cure_view(berth.part).curves[0].readings) == len(CURVE)


def test_a_part_is_demoulded_once(berth: Berth) -> None:
    first = services.log_demould(part=berth.part, words="", told=told())
    with pytest.raises(Refused, match=f"demoulded already, in entry {first.pk}"):
        services.log_demould(part=berth.part, words="", told=told())
    store.strike_out(entry=first.entry, reason="the other hull", told=told())
    services.log_demould(part=berth.part, words="", told=told())
