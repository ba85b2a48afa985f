"""What a tablet numbered and the book never got."""

import datetime as dt

import pytest

from hullbook.records.selectors import last_sequence, missing_sequences
from hullbook.yard.services import add_bay
from tests.cast import MORNING, told

pytestmark = pytest.mark.django_db

EVENING = MORNING + dt.timedelta(hours=10)


def tapped(*numbers: int | None, at: dt.datetime = MORNING, device: str = "tablet-1") -> None:
    for number in numbers:
        add_bay(
            code=f"{device[-1]}{at:%d}-{number}",
            name="Bay",
            told=told(device=device, device_sequence=number, at=at, happened_at=at),
        )


def days(count: float) -> dt.datetime:
    return MORNING + dt.timedelta(days=count)


def test_with_every_number_there_nothing_is_missing() -> None:
    tapped(1, 2, 3)
    assert missing_sequences("tablet-1", MORNING, EVENING) == []


def test_a_number_left_out_is_missing_whatever_order_they_came_in() -> None:
    tapped(7, 1, 2, 4)
    assert missing_sequences("tablet-1", MORNING, EVENING) == [range(3, 4), range(5, 7)]


def test_a_gap_that_begins_the_day_before_or_ends_the_day_after_counts_to_the_day() -> None:
    tapped(1, 2, at=days(-1))
    tapped(5, 6)
    tapped(9, 12, at=days(1))
    assert missing_sequences("tablet-1", MORNING, EVENING) == [range(3, 5), range(7, 9)]


def test_other_tablets_and_entries_without_a_number_close_no_gap() -> None:
    tapped(1, None, 3)
    tapped(2, device="tablet-2")
    assert missing_sequences("tablet-1", MORNING, EVENING) == [range(2, 3)]
    assert missing_sequences("tablet-2", MORNING, EVENING) == []
    assert missing_sequences("tablet-3", MORNING, EVENING) == []


def test_two_entries_of_one_tap_share_its_number() -> None:
    first = told(device_sequence=1)
    add_bay(code="1", name="Bay", told=first)
    add_bay(code="2", name="Bay", told=first.also("second"))
    tapped(2)
    assert missing_sequences("tablet-1", MORNING, EVENING) == []
    assert last_sequence("tablet-1") == 2


def test_a_number_from_the_moon_costs_nothing_to_report(django_assert_num_queries: object) -> None:
    tapped(1, 2**53 - 1)
    with django_assert_num_queries(2):  # type: ignore[operator]
        assert missing_sequences("tablet-1", MORNING, EVENING) == [range(2, 2**53 - 1)]
