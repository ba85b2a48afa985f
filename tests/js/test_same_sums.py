"""The few sums that a tablet does by itself are put to values; these say that the values are the book's own."""

import json
from dataclasses import astuple
from pathlib import Path
from typing import Any

import pytest

from hullbook.calc.dose import mend_dose
from hullbook.calc.errors import InputRefused
from hullbook.calc.flow import Feed, Pull, Section, Strip, fill
from hullbook.calc.forecast import Arrival, arrival, relative_sd_of_band, shrunk_ratio
from hullbook.calc.gel import GelTable, gel_time, gel_time_along
from hullbook.calc.pour_plan import PartResin, StripFilled, ZoneResin, drawn_kg
from hullbook.calc.vacuum import fit_rise

HERE = Path(__file__).parent


def beside(name: str) -> Any:
    return json.loads((HERE / name).read_text())


def test_the_gel_times_put_to_the_tablet_are_the_books_own() -> None:
    told = beside("gel_times.json")
    rows = {name: tuple(map(tuple, told["table"][name])) for name in ("low_minutes", "high_minutes")}
    table = GelTable(tuple(told["table"]["temperatures_c"]), tuple(told["table"]["doses_phr"]), **rows)
    for dose, temperature, wanted in told["times"]:
        if wanted is None:
            with pytest.raises(InputRefused):
                gel_time(table, dose, temperature)
            continue
        found = gel_time(table, dose, temperature)
        times = (found.low_minutes, found.mid_minutes, found.high_minutes)
        assert times == pytest.approx((wanted["low"], wanted["mid"], wanted["high"]), rel=1e-12)
        assert found.extrapolated == wanted["extrapolated"]


def test_the_gel_clocks_that_follow_a_temperature_are_the_books_own() -> None:
    told = beside("gel_times.json")
    rows = {name: tuple(map(tuple, told["table"][name])) for name in ("low_minutes", "high_minutes")}
    table = GelTable(tuple(told["table"]["temperatures_c"]), tuple(told["table"]["doses_phr"]), **rows)
    for dose, temperatures, wanted in told["along"]:
        minutes, temperatures_c = zip(*temperatures, strict=True)
        if wanted is None:
            with pytest.raises(InputRefused):
                gel_time_along(table, dose, minutes, temperatures_c)
            continue
        found = gel_time_along(table, dose, minutes, temperatures_c)
        times = (found.low_minutes, found.mid_minutes, found.high_minutes)
        assert times == pytest.approx((wanted["low"], wanted["mid"], wanted["high"]), rel=1e-12)


def test_what_mends_a_dose_on_the_tablet_is_the_books_own() -> None:
    for case in beside("mendings.json"):
        found = mend_dose(case["resin_kg"], case["catalyst_g"], case["low_phr"], case["high_phr"])
        wanted = case["lowest_g"], case["middle_g"], case["resin_kg_more"]
        assert astuple(found) == pytest.approx(wanted, abs=1e-6)


def test_the_rises_put_to_the_tablet_are_the_books_own() -> None:
    for case in beside("rises.json"):
        found = fit_rise(case["minutes"], case["pressures"])
        line = (found.rate_mbar_min, found.intercept_mbar, found.rate_standard_uncertainty)
        assert line == pytest.approx((case["rate"], case["intercept"], case["uncertainty"]), abs=1e-9)


def test_the_strips_put_to_the_tablet_are_the_books_own() -> None:
    for case in beside("strips.json"):
        strip = Strip(
            tuple(Section(**one) for one in case["strip"]["sections"]),
            tuple(Feed(**one) for one in case["strip"]["feeds"]),
        )
        if case["fill_minutes"] is None:
            with pytest.raises(InputRefused):
                fill(strip, Pull(**case["pull"]))
            continue
        found = fill(strip, Pull(**case["pull"]))
        assert found.fill_minutes == pytest.approx(case["fill_minutes"], rel=1e-9)
        for front_m, minute in case["fronts"]:
            assert found.minute_at(front_m) == pytest.approx(minute, rel=1e-9)


def test_the_resin_drawn_that_the_tablet_is_put_to_is_the_books_own() -> None:
    told = beside("drawn.json")
    plan, kg = told["plan"], told["plan"]["kg"]
    pull, strips = Pull(**plan["pull"]), []
    for one in plan["strips"]:
        lines = tuple(feed["line"] for feed in one["feeds"])
        feeds = tuple(Feed(**{name: value for name, value in feed.items() if name != "line"}) for feed in one["feeds"])
        strip = Strip(tuple(Section(**section) for section in one["sections"]), feeds)
        strips.append(StripFilled(one["station"], one["side"], lines, strip, fill(strip, pull)))
    names = ("name", "side", "from_mm", "to_mm", "station_from", "station_to", "kg")
    zones = tuple(ZoneResin(**{name: zone[name] for name in names}) for zone in kg["zones"])
    for mine, zone in zip(zones, kg["zones"], strict=True):
        assert list(mine.seen_at([one.station for one in strips if one.side == mine.side])) == zone["stations"]
    resin = PartResin(zones, {one["line"]: one["kg"] for one in kg["lines"]}, kg["end_kg"])
    end = max(one.fill.fill_minutes for one in strips)
    for step, wanted in told["drawn"]:
        assert drawn_kg(strips, resin, end * step / 120) == pytest.approx(wanted, abs=1e-6)


GIVEN = {
    "toldMinute": "told_minute", "toldSince": "told_since_opening_min", "plannedSince": "planned_since_opening_min",
    "plannedHere": "planned_here_min", "plannedLater": "planned_later_min", "sdPlan": "sd_plan",
    "sdReading": "sd_reading", "k": "k",
}  # fmt: skip


def test_the_forecasts_put_to_the_tablet_are_the_books_own() -> None:
    told = beside("forecasts.json")
    for case in told["arrivals"]:
        found = arrival(**{GIVEN[name]: value for name, value in case["given"].items()})
        wanted = case["wanted"]
        assert found == Arrival(*(pytest.approx(wanted[name]) for name in ("minute", "low", "high")))
    for case in told["ratios"]:
        ratio = shrunk_ratio(case["told"], case["planned"], sd_between=case["between"], sd_reading=case["reading"])
        assert ratio.drawn_in == pytest.approx(case["wanted"])
    for low, high, wanted in told["bands"]:
        assert relative_sd_of_band(low, high) == pytest.approx(wanted)
