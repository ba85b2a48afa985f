"""The clock of a tablet and the clock of the server: how far one is ahead of the other, and times put right by that."""

from datetime import datetime, timedelta

from django.utils.dateparse import parse_datetime

# No clock of a tablet is further off than this; it also keeps every sum of times inside the calendar.
YEARS_TAKEN = range(1900, 3000)


def tablet_time(text: str) -> datetime | None:
    """A time as a tablet writes it, ISO 8601 with its offset; nothing for any other text."""
    try:
        time = parse_datetime(text.strip())
    except ValueError:
        return None
    return time if time is not None and time.utcoffset() is not None and time.year in YEARS_TAKEN else None


def clock_ahead(sent_at: str, arrived_at: datetime) -> timedelta | None:
    """How far the clock that wrote `sent_at`, at sending, is ahead of the server's; nothing where none was sent."""
    time = tablet_time(sent_at)
    return None if time is None else time - arrived_at


def put_right(tapped_at: datetime, ahead: timedelta | None, arrived_at: datetime) -> datetime:
    """A tap's time by the server's clock: no tap lies after its own arrival, whatever was done to the clock since."""
    return min(tapped_at - (ahead or timedelta(0)), arrived_at)
