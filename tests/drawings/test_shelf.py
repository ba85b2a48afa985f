import datetime as dt

import pytest

from hullbook.drawings.scene import Line, Rect, Text, to_svg
from hullbook.drawings.shelf import BAR, UNDATED, ShelfLot, shelf

TODAY = dt.date(2026, 5, 12)


def _lot(
    code: str = "R-0001", *, share: float = 1.0, use_by: dt.date | None = dt.date(2026, 9, 30), state: str = "released"
) -> ShelfLot:
    return ShelfLot(code, "Vinyl ester infusion resin", "100 kg left", share, state, use_by)  # type: ignore[arg-type]


def _bars(*lots: ShelfLot) -> list[Rect]:
    return [shape for shape in shelf(lots, today=TODAY).shapes if isinstance(shape, Rect)]


def test_a_bar_is_as_long_as_what_is_left() -> None:
    full, half = _bars(_lot(), _lot("R-0002", share=0.5))
    assert full.width == pytest.approx(BAR)
    assert half.width == pytest.approx(BAR / 2)
    assert full.x + full.width == pytest.approx(half.x + half.width)


def test_a_later_use_by_lies_further_to_the_right_in_step_with_its_days() -> None:
    lots = [_lot(f"R-{days}", use_by=TODAY + dt.timedelta(days=days)) for days in (0, 100, 200)]
    ends = [bar.x + bar.width for bar in _bars(*lots)]
    assert ends[1] - ends[0] == pytest.approx(ends[2] - ends[1])
    assert ends[0] < ends[1]


def test_a_lot_without_a_use_by_ends_beyond_the_time_line() -> None:
    [bar] = _bars(_lot(use_by=None))
    assert bar.x + bar.width == pytest.approx(UNDATED)


@pytest.mark.parametrize(
    ("state", "hatches"), [("held", True), ("rejected", True), ("released", False), ("received", False)]
)
def test_held_and_rejected_lots_are_hatched(state: str, hatches: bool) -> None:
    scene = shelf([_lot(state=state)], today=TODAY)
    assert any(isinstance(shape, Line) and shape.role == "hatch" for shape in scene.shapes) == hatches


def test_a_lot_not_released_yet_is_drawn_in_pencil() -> None:
    [bar] = _bars(_lot(state="received"))
    assert bar.role == "band"


@pytest.mark.parametrize(("use_by", "late"), [(TODAY, False), (TODAY - dt.timedelta(days=1), True), (None, False)])
def test_a_lot_past_its_use_by_says_so(use_by: dt.date | None, late: bool) -> None:
    scene = shelf([_lot(use_by=use_by)], today=TODAY)
    words = [shape.words for shape in scene.shapes if isinstance(shape, Text)]
    assert ("100 kg left, out of date" in words) == late
    assert ("Out of date: R-0001." in scene.desc) == late


@pytest.mark.parametrize("share", [-0.2, 0.0, 1.5])
def test_an_overdrawn_or_empty_lot_draws_no_more_than_its_shelf(share: float) -> None:
    bars = _bars(_lot(share=share))
    assert [bar.width for bar in bars] == ([pytest.approx(BAR)] if share > 1 else [])


@pytest.mark.parametrize("years", [0, 1, 4, 30])
def test_the_time_line_carries_a_few_months_in_step(years: int) -> None:
    lots = [_lot(), _lot("R-0002", use_by=TODAY.replace(year=TODAY.year + years))]
    scene = shelf(lots, today=TODAY)
    months = [shape.x for shape in scene.shapes if isinstance(shape, Text) and shape.y == 14]
    assert 1 <= len(months) <= 6
    assert months == sorted(months)
    assert all(0 <= x <= scene.width for x in months)


def test_everything_stays_on_the_paper() -> None:
    lots = [_lot(f"R-{days}", use_by=TODAY + dt.timedelta(days=days)) for days in (-900, -1, 0, 3000)]
    scene = shelf([*lots, _lot("R-X", use_by=None)], today=TODAY)
    for shape in scene.shapes:
        if isinstance(shape, Rect):
            assert shape.x >= 0
            assert shape.x + shape.width <= scene.width
    assert to_svg(scene).startswith("<svg")


def test_an_empty_shelf_is_not_drawn() -> None:
    with pytest.raises(ValueError, match="at least one lot"):
        shelf([], today=TODAY)
