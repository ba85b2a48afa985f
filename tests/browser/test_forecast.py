"""The demo pour of MB84-03 told again at its own pace: what the page of the day forecasts as it runs, and what it says when
the plan is wrong.

Both clocks are moved through that morning, the server's and the tablet's; between two looks the story's entries are told.
"""

import datetime as dt
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from hullbook.operations.demo import FIXTURES, DemoYard
from hullbook.pours.models import FrontReached, Mix, Pour
from tests.cast import PASSWORD

pytestmark = pytest.mark.django_db(transaction=True)

HULL = "MB84-03"
DAY = f"/hulls/{HULL}/parts/hull%20shell/pours/1/day/"
LOOK_AT = (0.25, 0.50, 0.75)
MINUTE = dt.timedelta(minutes=1)


@dataclass
class Replay:
    """The story of the demo yard, told as far as the clocks stand."""

    demo: DemoYard
    now: dt.datetime

    def __post_init__(self) -> None:
        self.acts = sorted(self.demo.story.acts, key=lambda act: (act.when, act.number))
        self.accounts = {one["initials"]: one["sign_in_name"] for one in self.demo.facts["people"]}

    def until(self, moment: dt.datetime) -> None:
        due = [act for act in self.acts if act.when <= moment]
        self.acts = self.acts[len(due) :]
        self.demo.story.acts = due
        self.demo.story.tell(self.accounts)
        self.now = moment


@pytest.fixture
def replay(monkeypatch: pytest.MonkeyPatch, transactional_db: None) -> Iterator[Replay]:
    facts = json.loads((FIXTURES / "yard.json").read_text(encoding="utf-8"))
    demo = DemoYard(facts, lambda _: PASSWORD)
    begins = next(one["pour"] for one in facts["hulls"] if one["number"] == HULL)
    story = Replay(demo, dt.datetime.fromisoformat(f"{begins}T09:03:00+00:00"))
    monkeypatch.setattr(timezone, "now", lambda: story.now)
    yield story


class Watched:
    """The page of the day on a PC beside the mould."""

    def __init__(self, page: Page, server: str, replay: Replay) -> None:
        self.page, self.server, self.replay = page, server, replay
        import os

        self.shots = os.environ.get("SHOTS", "")
        page.set_viewport_size({"width": int(os.environ.get("W", "1280")), "height": int(os.environ.get("H", "800"))})
        page.clock.install(time=replay.now)
        page.goto(f"{server}/sign-in/")
        page.locator("#id_username").fill("kester")
        page.locator("#id_password").fill(PASSWORD)
        page.locator(".form-acts .key-first").click()
        page.wait_for_url(f"{server}/")

    def at(self, moment: dt.datetime) -> "Watched":
        self.replay.until(moment)
        self.page.clock.set_system_time(moment)
        self.page.goto(f"{self.server}{DAY}")
        self.page.locator("#pour-left .value").wait_for()
        if self.shots:
            self.page.screenshot(path=f"{self.shots}/{moment:%H%M}.png")
        return self

    @property
    def forecast(self) -> str:
        return self.page.locator("#pour-forecast").inner_text()

    @property
    def cries(self) -> str:
        return self.page.locator("#pour-next").inner_text() + self.page.locator("#pour-alarms").inner_text()

    def flange(self, pour: Pour) -> tuple[dt.datetime, dt.datetime, dt.datetime]:
        """When the last strip is through by the forecast: likely, earliest, latest."""
        found = re.search(r"Flange (\d\d:\d\d), (\d\d:\d\d) to (\d\d:\d\d)", self.forecast)
        assert found, self.forecast
        day = pour.entry.happened_at.astimezone(dt.UTC).date()
        likely, low, high = (dt.datetime.combine(day, dt.time.fromisoformat(one), dt.UTC) for one in found.groups())
        return likely, low, high


@pytest.fixture
def watched(page: Page, live_server: LiveServer, replay: Replay) -> Watched:
    replay.until(replay.now)
    return Watched(page, live_server.url, replay)


def filled(pour: Pour) -> tuple[dt.datetime, dt.datetime]:
    """When the first front was told and when the last reached the flange, once all is told."""
    times = [row.entry.happened_at for row in FrontReached.objects.current().filter(pour=pour).select_related("entry")]
    return min(times), max(times)


def test_the_forecast_of_a_pour_told_at_its_own_pace(watched: Watched, capsys: pytest.CaptureFixture[str]) -> None:
    pour = Pour.objects.get(part__hull__number=HULL)
    first_inlet = pour.entry.happened_at + 5 * MINUTE
    ends = max(act.when for act in watched.replay.acts if is_front(act, watched))
    said = []
    for share in LOOK_AT:
        moment = first_inlet + share * (ends - first_inlet)
        likely, low, high = watched.at(moment).flange(pour)
        said.append((share, likely, low, high, watched.forecast.splitlines()[0]))
    watched.replay.until(ends + 60 * MINUTE)
    through = filled(pour)[1]
    used = sum(
        component.mass_kg for mix in Mix.objects.current().filter(pour=pour) for component in mix.components.all()
    )
    with capsys.disabled():
        for share, likely, low, high, resin in said:
            off = (likely - through).total_seconds() / 60
            print(
                f"\n{share:.0%} of the fill: flange forecast {off:+.1f} min off, band {low:%H:%M} to {high:%H:%M}; {resin}"
            )
        print(f"through {through:%H:%M}, mixed in all {used:.1f} kg")
    errors = [abs((likely - through).total_seconds()) / 60 for _, likely, _, _, _ in said]
    assert errors[-1] < 5
    assert max(errors) < 15
    assert all(low - MINUTE <= through <= high + MINUTE for _, _, low, high, _ in said)


def is_front(act: Any, watched: Watched) -> bool:
    return act.when.date() == watched.replay.now.date() and "_front" in act.tell.__qualname__
