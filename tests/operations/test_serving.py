import signal
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import FrameType

import pytest

from hullbook.operations import serving
from hullbook.operations.addresses import Hosts
from hullbook.operations.certificates import CertificateRefused, Certificates, certificates_for

HOSTS = Hosts(given=("localhost",), found=())
MADE = datetime(2026, 11, 25, 7, 0, tzinfo=UTC)


class LookedEnough(Exception):
    pass


@pytest.fixture
def starts_anew() -> Iterator[list[int]]:
    """The signals at which the web server starts its process anew."""
    heard: list[int] = []

    def hear(number: int, frame: FrameType | None) -> None:
        heard.append(number)

    before = signal.signal(signal.SIGHUP, hear)
    yield heard
    signal.signal(signal.SIGHUP, before)


def look_daily(monkeypatch: pytest.MonkeyPatch, folder: Path, days: int) -> list[Certificates]:
    """What a server finds that is never stopped for so many days."""
    found: list[Certificates] = []
    monkeypatch.setattr(serving, "SECONDS_BETWEEN_LOOKS", 0.0)
    first = certificates_for(HOSTS, folder, MADE)

    def a_day_later(now: datetime) -> Certificates:
        if len(found) == days:
            raise LookedEnough
        found.append(certificates_for(HOSTS, folder, MADE + timedelta(days=len(found) + 1)))
        return found[-1]

    with pytest.raises(LookedEnough):
        serving.renew_in_time(a_day_later, first.server)
    return found


def test_a_server_that_runs_for_fourteen_months_never_shows_an_ended_certificate(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, starts_anew: list[int]
) -> None:
    found = look_daily(monkeypatch, tmp_path / "tls", 425)
    left = [each.server.not_valid_after_utc - (MADE + timedelta(days=day)) for day, each in enumerate(found, 1)]
    assert min(left) >= timedelta(days=60)
    assert len({each.server.serial_number for each in found}) == 2
    assert len({each.root.serial_number for each in found}) == 1
    assert starts_anew == [signal.SIGHUP]


def test_a_renewal_that_cannot_be_made_is_said_and_tried_again(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture, starts_anew: list[int], tmp_path: Path
) -> None:
    monkeypatch.setattr(serving, "SECONDS_BETWEEN_LOOKS", 0.0)
    first = certificates_for(HOSTS, tmp_path / "tls", MADE)
    refusals = iter([CertificateRefused("The yard's root ended on 23 Nov 2036"), OSError("No space left on device")])

    def refused(now: datetime) -> Certificates:
        raise next(refusals, LookedEnough)

    with pytest.raises(LookedEnough):
        serving.renew_in_time(refused, first.server)
    assert [line.getMessage() for line in caplog.records] == [
        "The server certificate could not be looked after: The yard's root ended on 23 Nov 2036",
        "The server certificate could not be looked after: No space left on device",
    ]
    assert starts_anew == []
