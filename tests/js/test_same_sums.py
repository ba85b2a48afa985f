"""The few sums that a tablet does by itself are put to values; these say that the values are the book's own."""

import json
from pathlib import Path
from typing import Any

import pytest

from hullbook.calc.errors import InputRefused
from hullbook.calc.gel import GelTable, gel_time
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


def test_the_rises_put_to_the_tablet_are_the_books_own() -> None:
    for case in beside("rises.json"):
        found = fit_rise(case["minutes"], case["pressures"])
        line = (found.rate_mbar_min, found.intercept_mbar, found.rate_standard_uncertainty)
        assert line == pytest.approx((case["rate"], case["intercept"], case["uncertainty"]), abs=1e-9)
