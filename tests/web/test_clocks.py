import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.web.clocks import clock_ahead, put_right, tablet_time

times = st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2100, 1, 1)).map(lambda time: time.replace(tzinfo=dt.UTC))  # noqa: DTZ001
spans = st.timedeltas(dt.timedelta(0), dt.timedelta(days=30))


@given(times, st.timedeltas(dt.timedelta(days=-30000), dt.timedelta(days=30000)), spans, st.floats(0, 2))
def test_a_tap_is_put_right_to_within_the_way_there_however_wrong_the_clock(
    tapped_at: dt.datetime, wrong: dt.timedelta, waited: dt.timedelta, way_s: float
) -> None:
    sent_at = tapped_at + waited
    arrived_at = sent_at + dt.timedelta(seconds=way_s)
    ahead = clock_ahead((sent_at + wrong).isoformat(), arrived_at)
    right = put_right(tapped_at + wrong, ahead, arrived_at)
    assert dt.timedelta(0) <= right - tapped_at <= dt.timedelta(seconds=way_s)
    assert right <= arrived_at


@given(times, spans)
def test_no_tap_lies_after_its_arrival(tapped_at: dt.datetime, ahead: dt.timedelta) -> None:
    assert put_right(tapped_at + ahead, None, tapped_at) == tapped_at


@pytest.mark.parametrize("text", ["", "now", "2026-05-12 09:00", "2026-05-12T09:00:00", "2026-13-01T00:00:00Z", "1"])
def test_only_a_time_with_its_offset_is_a_tablets(text: str) -> None:
    assert tablet_time(text) is None


@pytest.mark.parametrize("text", ["0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "1899-12-31T23:59:59Z"])
def test_a_clock_that_far_off_is_no_clock(text: str) -> None:
    assert tablet_time(text) is None
    assert clock_ahead(text, dt.datetime(2026, 5, 12, tzinfo=dt.UTC)) is None


def test_a_clock_in_another_zone_is_not_a_wrong_one() -> None:
    arrived_at = dt.datetime(2026, 5, 12, 9, tzinfo=dt.UTC)
    assert clock_ahead("2026-05-12T14:30:00+05:30", arrived_at) == dt.timedelta(0)
