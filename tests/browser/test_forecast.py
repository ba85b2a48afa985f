"""The demo pour of MB84-03 told again at its own pace: what the page of the day forecasts as it runs, and what it says
when the plan is wrong.

Both clocks are moved through that morning, the server's and the tablet's; between two looks the story goes on.
"""

import datetime as dt
import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, Route, expect
from pytest_django.live_server_helper import LiveServer

from hullbook.operations.demo import FIXTURES, DemoYard
from hullbook.pours.models import Mix
from tests.cast import PASSWORD

pytestmark = pytest.mark.django_db(transaction=True)

HULL = "MB84-03"
DAY = f"/hulls/{HULL}/parts/hull%20shell/pours/1/day/"
SHEET = r'(?<=id="hb-sheet" type="application/json">)(.*?)(?=</script>)'
MINUTE = dt.timedelta(minutes=1)
# Of the figures of fronts told: those further than a plate from their front, and those that a line of the plan crosses.
FIGURES = """() => {
  const boxes = (of) => [...document.querySelectorAll(`#pour-strips ${of}`)].map((one) => one.getBoundingClientRect());
  const [figures, fronts, lines] = [".figure-told", "polyline.front", ".expected, .guess"].map(boxes);
  const isBeside = (one, other) => one.top < other.bottom && other.top < one.bottom;
  const away = (one) => Math.min(...fronts.filter((front) => isBeside(one, front))
    .map((front) => Math.max(one.left - front.right, front.left - one.right)));
  return {
    figures: figures.length,
    far: figures.map(away).filter((px) => px > 120),
    crossed: figures.filter((one) => lines.some((line) =>
      isBeside(one, line) && line.left > one.left - 2 && line.right < one.right + 2)).length ? ["a figure"] : [],
  };
}"""


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

    @property
    def last_front(self) -> dt.datetime:
        """When the last front of that day comes to its flange."""
        fronts = [act for act in self.acts if "_front" in act.tell.__qualname__]
        return max(act.when for act in fronts if act.when.date() == self.now.date())


@pytest.fixture(scope="session")
def browser_context_args(browser_context_args: dict[str, Any]) -> dict[str, Any]:
    """Without a service worker: what it fetches cannot be changed on its way."""
    return {**browser_context_args, "service_workers": "block"}


@pytest.fixture
def replay(monkeypatch: pytest.MonkeyPatch, transactional_db: None) -> Replay:
    facts = json.loads((FIXTURES / "yard.json").read_text(encoding="utf-8"))
    demo = DemoYard(facts, lambda _: PASSWORD)
    begins = next(one["pour"] for one in facts["hulls"] if one["number"] == HULL)
    story = Replay(demo, dt.datetime.fromisoformat(f"{begins}T09:03:00+00:00"))
    monkeypatch.setattr(timezone, "now", lambda: story.now)
    return story


class Watched:
    """The page of the day on a PC beside the mould; `told_otherwise` changes the sheet on its way to it."""

    def __init__(self, page: Page, server: str, replay: Replay) -> None:
        self.page, self.server, self.replay = page, server, replay
        page.clock.install(time=replay.now)
        page.goto(f"{server}/sign-in/")
        page.locator("#id_username").fill("kester")
        page.locator("#id_password").fill(PASSWORD)
        page.locator(".form-acts .key-first").click()
        page.wait_for_url(f"{server}/")

    def told_otherwise(self, change: Callable[[dict[str, Any]], None]) -> None:
        def in_the_page(route: Route) -> None:
            came = route.fetch()
            before, sheet, after = re.split(SHEET, came.text(), maxsplit=1)
            route.fulfill(response=came, body=before + changed(sheet).replace("<", "\\u003c") + after)

        def fetched_again(route: Route) -> None:
            came = route.fetch()
            route.fulfill(response=came, body=changed(came.text()) if came.ok else came.text())

        def changed(sheet: str) -> str:
            told = json.loads(sheet)
            change(told)
            return json.dumps(told)

        self.page.route(f"**{DAY}", in_the_page)
        self.page.route(f"**{DAY.removesuffix('day/')}sheet.json", fetched_again)

    def at(self, moment: dt.datetime) -> "Watched":
        self.replay.until(moment)
        self.page.clock.set_system_time(moment)
        self.page.goto(f"{self.server}{DAY}")
        self.page.locator("#pour-left .value").wait_for()
        return self

    @property
    def forecast(self) -> str:
        return " ".join(self.page.locator(".pour-forecast").all_inner_texts())

    @property
    def cries(self) -> str:
        return self.page.locator("#pour-next").inner_text() + self.page.locator("#pour-alarms").inner_text()

    def flange(self) -> tuple[dt.datetime, dt.datetime, dt.datetime]:
        """When the last strip is through by the forecast: likely, earliest, latest."""
        found = re.search(r"Flange (\d\d:\d\d), (\d\d:\d\d) to (\d\d:\d\d)", self.forecast)
        assert found, self.forecast
        likely, low, high = (
            dt.datetime.combine(self.replay.now.date(), dt.time.fromisoformat(one), dt.UTC) for one in found.groups()
        )
        return likely, low, high

    def still_to_mix_kg(self) -> float:
        return float(self.page.locator("#pour-left .figures").inner_text())


@pytest.fixture
def watched(page: Page, live_server: LiveServer, replay: Replay, trouble: list[str]) -> Iterator[Watched]:
    replay.until(replay.now)
    yield Watched(page, live_server.url, replay)
    page.unroute_all(behavior="ignoreErrors")
    assert trouble == []


@pytest.fixture
def first_inlet(watched: Watched) -> dt.datetime:
    return watched.replay.now + 4 * MINUTE


def mixed_kg() -> float:
    """What the book has as mixed for this hull so far."""
    mixes = Mix.objects.current().filter(pour__part__hull__number=HULL)
    return sum(component.mass_kg for mix in mixes for component in mix.components.all())


def minutes_off(forecast: dt.datetime, real: dt.datetime) -> float:
    return (forecast - real).total_seconds() / 60


def test_the_forecast_of_a_pour_told_at_its_own_pace(
    watched: Watched, first_inlet: dt.datetime, capsys: pytest.CaptureFixture[str]
) -> None:
    through = watched.replay.last_front
    said = []
    for share in (0.25, 0.50, 0.75):
        watched.at(first_inlet + share * (through - first_inlet))
        said.append((share, *watched.flange(), mixed_kg() + watched.still_to_mix_kg()))
    watched.replay.until(through + 60 * MINUTE)
    mixed = mixed_kg()
    with capsys.disabled():
        for share, likely, low, high, in_all in said:
            off = f"flange {minutes_off(likely, through):+.1f} min off, said {low:%H:%M} to {high:%H:%M}"
            print(f"\n{share:.0%} of the fill: {off}; resin {in_all - mixed:+.1f} kg off")
        print(f"through {through:%H:%M}, mixed in all {mixed:.1f} kg")
    errors = [abs(minutes_off(likely, through)) for _, likely, *_ in said]
    assert max(errors) < 10
    assert errors[-1] < 6
    assert all(low - 3 * MINUTE <= through <= high + 3 * MINUTE for _, _, low, high, _ in said)
    assert all(abs(in_all - mixed) < 0.05 * mixed for *_, in_all in said)


def test_a_front_slower_than_its_plan_is_named(watched: Watched, first_inlet: dt.datetime) -> None:
    assert "behind" not in watched.at(first_inlet + 20 * MINUTE).cries

    def three_times_as_fast(sheet: dict[str, Any]) -> None:
        for strip in sheet["pour_plan"]["strips"]:
            for section in strip["sections"]:
                section["permeability_m2"] *= 3

    watched.told_otherwise(three_times_as_fast)
    late = r"SOON \d fronts are behind\. (Port|Starboard) at \d is \d+ mm behind"
    assert re.search(late, watched.at(first_inlet + 21 * MINUTE).cries)


def test_a_shortage_is_said_before_the_last_released_pail_is_opened(watched: Watched, first_inlet: dt.datetime) -> None:
    assert "kg short" not in watched.at(first_inlet + 20 * MINUTE).cries
    watched.told_otherwise(lambda sheet: sheet["pour_plan"].update(released_kg=22.0))
    assert re.search(r"SOON \d+ kg short: \d+ kg to mix, 22 kg released", watched.at(first_inlet + 21 * MINUTE).cries)


def test_a_bag_pulled_too_deep_for_the_warmest_resin_is_said(watched: Watched, first_inlet: dt.datetime) -> None:
    assert "styrene boils" not in watched.at(first_inlet + 20 * MINUTE).cries
    watched.told_otherwise(lambda sheet: sheet["last"]["bag pressure"].update(value=6.0))
    assert "NOW Bag at 6 mbar: styrene boils" in watched.at(first_inlet + 21 * MINUTE).cries


def test_where_no_plan_was_read_there_is_no_forecast(watched: Watched, first_inlet: dt.datetime) -> None:
    watched.told_otherwise(lambda sheet: sheet.update(pour_plan=None))
    watched.at(first_inlet + 20 * MINUTE)
    assert watched.forecast.strip() == "No forecast: no pour plan was read to the crew."
    assert watched.page.locator(".expected, .legend").count() == 0


def lowest(watched: Watched, where: str) -> float:
    box = watched.page.locator(where).last.bounding_box()
    assert box is not None
    return box["y"] + box["height"]


def test_with_three_pails_and_a_cry_nothing_of_the_forecast_lies_under_the_bar(
    watched: Watched, first_inlet: dt.datetime, tmp_path: Path
) -> None:
    watched.at(first_inlet + 20 * MINUTE)  # a sign-in that stands idle for longer would end
    watched.told_otherwise(lambda sheet: sheet["plan"].update(vacuum_limit_mbar=3.0) or sheet.update(alarms_taken=[]))
    page = watched.at(first_inlet + 32 * MINUTE).page
    page.set_viewport_size({"width": 1280, "height": 800})
    expect(page.locator("#pour-pails > li")).to_have_count(3)
    expect(page.locator("#pour-alarms .now")).to_contain_text("NOW Vacuum")
    page.screenshot(path=tmp_path / "crying.png")
    bar = page.locator(".action-bar").bounding_box()
    assert bar is not None
    assert "Flange" in page.locator("#pour-flange").inner_text()
    assert lowest(watched, "#pour-flange p") <= bar["y"]
    page.locator("#pour-forecast p").last.scroll_into_view_if_needed()
    assert lowest(watched, "#pour-forecast p") <= bar["y"]
    # Control: were the side as long as its words, its end would lie there.
    page.locator(".pour-side").evaluate("side => { side.style.maxHeight = 'none'; }")
    assert lowest(watched, "#pour-forecast p") > bar["y"]


def test_the_forecast_says_which_share_of_the_plan_it_goes_by(watched: Watched, first_inlet: dt.datetime) -> None:
    watched.at(first_inlet + 20 * MINUTE)
    said = re.search(r"goes by (\d\.\d\d) of plan, (\d\.\d\d) so far", watched.page.locator(".value-left").inner_text())
    assert said
    taken, so_far = (float(one) for one in said.groups())
    # Drawn toward one: never further from it than what was told.
    assert abs(taken - 1) <= abs(so_far - 1)
    assert (taken - 1) * (so_far - 1) >= 0


def test_the_figure_of_a_front_stands_by_it_and_no_line_runs_through_it(
    watched: Watched, first_inlet: dt.datetime
) -> None:
    for minutes in (8, 12, 20, 30):
        page = watched.at(first_inlet + minutes * MINUTE).page
        apart = page.evaluate(FIGURES)
        assert apart["figures"] > 0
        assert apart["far"] == []
        assert apart["crossed"] == []
