import csv
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.hardness import Discarded, HardnessResult, HardnessRow, judge_set, readings_wanted
from hullbook.calc.reference import check_values

SHARED = Path(__file__).parents[2] / "shared"
ROWS = check_values(SHARED, "hardness")
TWELVE = (38.0, 42.0, 44.0, 41.0, 36.0, 45.0, 43.0, 39.0, 46.0, 40.0, 42.0, 31.0)


def _table_lines() -> list[dict[str, str]]:
    with (SHARED / "limits" / "hardness_readings.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


TABLE = tuple(
    HardnessRow(
        float(line["hardness"]), line["laminate"] == "reinforced", float(line["variance"]), int(line["readings"])
    )
    for line in _table_lines()
)


def judged(readings: tuple[float, ...], required_mean: float, **more: Any) -> HardnessResult:
    return judge_set(readings, required_mean=required_mean, table=TABLE, source="invented resin sheet", **more)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['check']} {row['inputs'].get('mean_hardness', '')}")
def test_hardness_sums_agree_with_the_table(row: dict[str, Any]) -> None:
    value = found(row)
    assert agrees(row, value), value


def test_the_table_agrees_with_itself() -> None:
    # The printed coefficient of variation of the mean is the root of variance over readings, over the hardness.
    lines = _table_lines()
    assert len(lines) == 12
    for line in lines:
        cv = 100 * (float(line["variance"]) / int(line["readings"])) ** 0.5 / float(line["hardness"])
        assert round(cv, 1) == pytest.approx(float(line["cv_of_mean_percent"]), abs=0.11)
        assert line["status"] == "from memory"


@given(st.floats(0, 100), st.floats(0, 100))
def test_a_harder_laminate_never_wants_more_readings(one: float, other: float) -> None:
    softer, harder = sorted((one, other))
    assert readings_wanted(harder, TABLE) <= readings_wanted(softer, TABLE)


def test_past_the_ends_of_the_table_its_end_row_counts() -> None:
    assert readings_wanted(10, TABLE) == 29
    assert readings_wanted(90, TABLE) == 5
    assert readings_wanted(90, TABLE, reinforced=False) == 3


def test_too_few_readings_have_a_mean_but_no_verdict() -> None:
    result = judged(TWELVE, 39.6)
    assert (result.n, result.readings_wanted, result.enough) == (12, 22, False)
    assert result.mean == pytest.approx(40.583, abs=1e-3)
    assert result.sd == pytest.approx(4.188, abs=1e-3)
    assert (result.lowest, result.highest) == (31, 46)
    assert result.verdict.level == "no verdict"
    assert result.verdict.because == "12 of 22 readings: take 10 more"


def test_enough_readings_well_above_the_limit_pass() -> None:
    result = judged((44.0, 45.0, 46.0, 45.0) * 6, 39.6)
    assert result.enough
    assert result.verdict.level == "pass"


def test_a_mean_within_its_uncertainty_passes_only_conditionally() -> None:
    # Mean 40.58, s about 4.1, n = 24: t(0.975, 23) = 2.069 makes the half-width 1.73.
    result = judged(TWELVE * 2, 39.6)
    assert result.verdict.level == "conditional pass"
    assert result.verdict.expanded_uncertainty == pytest.approx(2.0687 * 4.0958 / 24**0.5, rel=1e-4)


def test_a_soft_zone_fails() -> None:
    assert judged((30.0, 31.0, 29.0) * 10, 39.6).verdict.level == "fail"


def test_the_instruments_own_uncertainty_counts() -> None:
    plain, doubtful = judged(TWELVE * 2, 38), judged(TWELVE * 2, 38, instrument_expanded_uncertainty=3.0)
    assert plain.verdict.level == "pass"
    assert doubtful.verdict.level == "conditional pass"
    wanted = (plain.verdict.expanded_uncertainty**2 + 9) ** 0.5
    assert doubtful.verdict.expanded_uncertainty == pytest.approx(wanted)


def test_one_reading_has_no_spread() -> None:
    result = judged((50.0,), 40)
    assert result.sd is None
    assert result.verdict.because == "1 of 16 readings: take 15 more"


def test_a_table_content_with_two_readings_gives_a_verdict_that_says_how_little_that_is() -> None:
    row = HardnessRow(50, reinforced=True, variance=1, readings=2)
    result = judge_set((50, 52), required_mean=40, table=(row,), source="invented")
    assert result.verdict.level == "pass"
    assert result.verdict.because == "too few readings to show their spread"


def test_a_struck_reading_is_counted_but_not_used() -> None:
    result = judged(TWELVE[:-1], 39.6, discarded=(Discarded(31, "on the edge of a void"),))
    assert result.discarded == 1
    assert result.lowest == 36
    assert result.mean == pytest.approx(41.4545, abs=1e-3)


@pytest.mark.parametrize(
    ("readings", "more", "key"),
    [
        ((), {}, "missing"),
        ((40.0, 101.0), {}, "impossible"),
        ((40.0, -1.0), {}, "impossible"),
        ((40.0,), {"discarded": (Discarded(31, "  "),)}, "missing"),
        ((40.0,), {"discarded": (Discarded(131, "wax"),)}, "impossible"),
        ((40.0,), {"instrument_expanded_uncertainty": -1.0}, "negative"),
    ],
)
def test_readings_that_cannot_be_are_refused(readings: tuple[float, ...], more: dict[str, Any], key: str) -> None:
    with pytest.raises(InputRefused) as refused:
        judged(readings, 40, **more)
    assert refused.value.key == key


def test_a_table_without_rows_of_that_kind_is_refused() -> None:
    with pytest.raises(InputRefused) as refused:
        readings_wanted(40, [row for row in TABLE if row.reinforced], reinforced=False)
    assert refused.value.key == "insufficient_data"


def test_a_row_without_readings_is_refused() -> None:
    with pytest.raises(InputRefused) as refused:
        readings_wanted(40, (HardnessRow(40, reinforced=True, variance=17, readings=0),))
    assert refused.value.key == "not_positive"
