"""The book out of reach: network cut, server killed, answers lost, sessions over, browsers killed, stores emptied.

Each tablet here is a browser of its own against a server of its own, in a process that the test starts and ends. Beside
what must hold stands a control: the same fault with the safeguard taken out, which must do harm.
"""

import contextlib
import hashlib
import json
import os
import re
import shutil
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from io import BytesIO
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

ROOT = Path(__file__).resolve().parents[2]
HULL = "MB84-03"
FINDING = f"/hulls/{HULL}/parts/hull%20shell/findings/log/"
expect.set_options(timeout=20_000)
WHOLE = os.environ.get("HULLBOOK_LONG") == "1"


PAGES_KEPT = """async () => {
  const paths = [];
  for (const name of await caches.keys()) {
    if (!name.includes("pages")) continue;
    for (const one of await (await caches.open(name)).keys()) paths.push(new URL(one.url).pathname);
  }
  return paths;
}"""


@dataclass
class Yard:
    """A yard's own server in a process of its own, with the demo yard in its book."""

    data: Path
    port: int
    passwords: dict[str, str]
    process: subprocess.Popen[bytes] | None = field(default=None)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        command = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1"]
        command += ["--port", str(self.port), "--workers", "1", "--blocking-threads", "8"]
        self.process = subprocess.Popen(
            [*command, "hullbook.wsgi:application"],
            cwd=ROOT,
            env=environment(self.data),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        for _ in range(150):
            with contextlib.suppress(OSError):
                urllib.request.urlopen(f"{self.url}/sign-in/", timeout=5).close()  # noqa: S310 - our own server
                return
            time.sleep(0.2)
        raise AssertionError("the server did not come up")

    def kill(self) -> None:
        """Ended as by a power cut, and with it the workers it has started."""
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def rows(self, sql: str, *values: object) -> list[Any]:
        with contextlib.closing(sqlite3.connect(f"file:{self.data / 'book.sqlite3'}?mode=ro", uri=True)) as book:
            return book.execute(sql, values).fetchall()

    def entries(self, after: int = 0) -> list[tuple[int, str, str, int, str]]:
        """Number, kind, person, the tablet's own number and the words of what was logged, in the order of the book."""
        rows = self.rows(
            "SELECT number, kind, person, device_sequence, body FROM records_entry WHERE number > ? ORDER BY number",
            after,
        )
        return [(*row[:4], json.loads(row[4])["row"].get("words", "")) for row in rows]

    def head(self) -> int:
        return int(self.rows("SELECT max(number) FROM records_entry")[0][0])

    def do(self, sql: str) -> None:
        with contextlib.closing(sqlite3.connect(self.data / "book.sqlite3", timeout=30)) as book, book:
            book.execute(sql)


def environment(data: Path) -> dict[str, str]:
    env = {**os.environ, "HULLBOOK_DATA": str(data), "DATABASE_URL": ""}
    env.pop("DJANGO_SETTINGS_MODULE", None)
    return env


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Yard]:
    data = tmp_path_factory.mktemp("offline")
    told = subprocess.run(
        [sys.executable, "manage.py", "start", "--demo", "--no-serve"],
        cwd=ROOT,
        env=environment(data),
        capture_output=True,
        text=True,
        timeout=300,
        check=True,
    )
    passwords = dict(re.findall(r"^  (\w+)\s+(\S+)$", told.stdout, re.MULTILINE))
    yard = Yard(data, free_port(), passwords)
    yard.start()
    yield yard
    yard.kill()


@dataclass
class Tablet:
    """A browser in the shed, its page, and how far the book was when it was taken in hand."""

    yard: Yard
    context: BrowserContext
    page: Page
    begun_at: int
    trouble: list[str] = field(default_factory=list)

    def goes_to(self, path: str) -> None:
        self.page.goto(f"{self.yard.url}{path}")

    def script(self, work: str, *given: object) -> Any:
        """Run `work` with the page's own scripts at hand: `floor`, `outbox`, `given`."""
        return self.page.evaluate(
            f"""async (given) => {{
              const floor = await import(document.querySelector("script[src*='js/floor']").src);
              const outbox = await floor.ready;
              {work}
            }}""",
            list(given),
        )

    def tells(self, words: str, page: Page | None = None) -> None:
        """Log a finding as a person does, on the page that is open."""
        page = page or self.page
        page.locator("main [name=kind]").nth(1).check()
        page.locator("main [name=zone_name]").select_option(index=1)
        page.locator("main [name=words]").fill(words)
        page.locator(".form-acts .key-first").click()

    def tells_many(self, first: int, last: int) -> None:
        self.script(
            """const [url, first, last] = given;
            for (let number = first; number <= last; number += 1) {
              await floor.tell({url, act: "Log a finding", fields: [["kind", "void"], ["zone_name", "keel"],
                ["words", `finding ${number}`], ["side", ""], ["station", ""], ["girth_mm", ""]]});
            }""",
            FINDING,
            first,
            last,
        )

    def rail(self) -> str:
        return self.page.locator("#hb-state").inner_text()

    def waits(self) -> int:
        return int(self.script("return outbox.left()"))

    def is_all_in(self, within_s: float = 30) -> None:
        deadline = time.monotonic() + within_s
        while (left := self.waits()) and time.monotonic() < deadline:
            time.sleep(0.3)
        assert left == 0, f"{left} still wait"

    def keeps_the_hull(self) -> None:
        """Until the pages of the hull are kept."""
        self.goes_to(f"/hulls/{HULL}/")
        self.keeps(lambda paths: FINDING in paths)

    def keeps(self, is_right: Callable[[list[str]], bool]) -> None:
        """Until the pages kept are as they should be."""
        deadline = time.monotonic() + 40
        while not is_right(paths := self.page.evaluate(PAGES_KEPT)):
            assert time.monotonic() < deadline, paths
            time.sleep(0.2)

    def words_in_book(self) -> list[str]:
        return [entry[4] for entry in self.yard.entries(self.begun_at) if entry[1] == "inspection.finding"]


def sign_in(page: Page, yard: Yard, name: str) -> None:
    page.goto(f"{yard.url}/sign-in/")
    page.locator("#id_username").fill(name)
    page.locator("#id_password").fill(yard.passwords[name])
    page.locator(".form-acts .key-first").click()
    page.wait_for_url(f"{yard.url}/")


def enrol(page: Page, yard: Yard, name: str) -> None:
    """Make this browser a tablet of the shed with a crew of three, the first of them lit."""
    sign_in(page, yard, "kester")
    page.goto(f"{yard.url}/yard/tablets/enrol/")
    page.locator("#id_name").fill(name)
    page.locator(".form-acts .key-first").click()
    page.wait_for_url("**/tablet/crew/")
    for initials in ("MO", "RT", "KJ"):
        page.locator("li", has_text=initials).locator("button[name=on]").click()
        expect(page.locator("li", has_text=initials).locator("button[value=no]")).to_be_visible()
    page.goto(f"{yard.url}/")
    page.locator(".strip [data-tile][value=MO]").click()
    expect(page.locator(".strip-lit b")).to_have_text("MO")
    lit = """SELECT initials FROM yard_person JOIN yard_tablet ON yard_person.id = lit_id
      JOIN yard_tabletenrolled ON entry_id = enrolment_id WHERE name = ?"""
    while yard.rows(lit, name) != [("MO",)]:
        time.sleep(0.05)


NUMBERS = count(1)
TakesInHand = Callable[..., Tablet]


@pytest.fixture
def take(yard: Yard, browser: Browser) -> Iterator[TakesInHand]:
    contexts: list[BrowserContext] = []

    def take_in_hand(*, enrolled: bool = True, who: str = "mirrin") -> Tablet:
        context = browser.new_context(viewport={"width": 1280, "height": 800})
        contexts.append(context)
        page = context.new_page()
        if enrolled:
            enrol(page, yard, f"tablet {next(NUMBERS)}")
        else:
            sign_in(page, yard, who)
        tablet = Tablet(yard, context, page, yard.head())
        page.on("pageerror", lambda error: tablet.trouble.append(str(error)))
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        return tablet

    yield take_in_hand
    for context in contexts:
        context.set_offline(False)
        context.close()


@pytest.fixture
def tablet(take: TakesInHand) -> Iterator[Tablet]:
    tablet = take()
    yield tablet
    assert tablet.trouble == []


# ---- The network cut, the server killed


def test_with_the_network_cut_the_page_opens_tells_and_all_of_it_arrives_once(tablet: Tablet) -> None:
    tablet.keeps_the_hull()
    tablet.context.set_offline(True)
    for number in range(3):
        tablet.goes_to(FINDING)
        tablet.tells(f"cut {number}")
        tablet.page.wait_for_url("**/findings/")
    tablet.page.reload()
    expect(tablet.page.locator("#hb-state")).to_contain_text("3 on this tablet, oldest")
    expect(tablet.page.locator("#hb-state")).to_contain_text("book out of reach since")
    assert tablet.page.title().startswith("(3)")
    for number in (3, 4):
        tablet.goes_to(FINDING)
        tablet.tells(f"cut {number}")
        tablet.page.wait_for_url("**/findings/")
    assert tablet.words_in_book() == []
    tablet.context.set_offline(False)
    tablet.is_all_in()
    assert tablet.words_in_book() == [f"cut {number}" for number in range(5)]
    assert {entry[2] for entry in tablet.yard.entries(tablet.begun_at)} == {"MO"}
    expect(tablet.page.locator("#hb-state")).to_have_text("in the book")


def test_a_page_that_is_not_kept_says_so_and_leads_to_what_waits(tablet: Tablet) -> None:
    tablet.keeps_the_hull()
    tablet.context.set_offline(True)
    tablet.goes_to("/store/")
    expect(tablet.page.locator("#hb-away")).to_contain_text("/store/ is not kept on this tablet")


def test_a_tablet_is_set_up_out_of_reach_too(tablet: Tablet) -> None:
    tablet.keeps_the_hull()
    tablet.context.set_offline(True)
    tablet.goes_to("/tablet/setting-up/")
    tablet.page.get_by_role("button", name="Night bay").click()
    assert tablet.page.evaluate("document.documentElement.dataset.theme") == "night"
    tablet.page.locator("#card-kept").click()
    expect(tablet.page.locator("#card-said")).to_contain_text("px")


def test_pages_of_another_hull_are_not_kept_beyond_the_open_one(tablet: Tablet) -> None:
    tablet.keeps_the_hull()
    tablet.goes_to("/hulls/MB84-05/")
    tablet.keeps(lambda paths: "/hulls/MB84-05/" in paths and not any("MB84-03" in path for path in paths))


def test_a_killed_server_with_the_network_up_loses_nothing(tablet: Tablet) -> None:
    tablet.keeps_the_hull()
    tablet.yard.kill()
    try:
        for number in range(3):
            tablet.goes_to(FINDING)
            tablet.tells(f"killed {number}")
            tablet.page.wait_for_url("**/findings/")
        tablet.page.reload()
        expect(tablet.page.locator("#hb-state")).to_contain_text("3 on this tablet")
    finally:
        tablet.yard.start()
    tablet.is_all_in(90)
    assert tablet.words_in_book() == [f"killed {number}" for number in range(3)]


def test_a_server_killed_while_it_takes_in_makes_no_doubles(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    tablet.context.set_offline(True)
    tablet.tells_many(1, 60)
    tablet.context.set_offline(False)
    for _ in range(3):
        time.sleep(0.4)
        tablet.yard.kill()
        tablet.yard.start()
    tablet.is_all_in(120)
    assert tablet.words_in_book() == [f"finding {number}" for number in range(1, 61)]


# ---- Answers lost after the book took the entry


def loses_the_answer(tablet: Tablet, times: int, new_id_each_time: bool = False) -> None:
    lost = [0]

    def lose(route: Route) -> None:
        if route.request.method != "POST":
            route.continue_()
            return
        body = route.request.post_data or ""
        if new_id_each_time:
            fresh = hashlib.sha256(f"{time.monotonic_ns()}".encode()).hexdigest()
            uuid = f"{fresh[:8]}-{fresh[8:12]}-4{fresh[13:16]}-8{fresh[17:20]}-{fresh[20:32]}"
            body = re.sub(r"entry_id=[^&]+", f"entry_id={uuid}", body)
        answer = route.fetch(post_data=body)
        lost[0] += 1
        if lost[0] <= times:
            route.abort()
        else:
            route.fulfill(response=answer)

    tablet.context.route("**/findings/log/", lose)


def test_an_answer_lost_after_the_book_took_it_makes_one_entry(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    loses_the_answer(tablet, 2)
    tablet.tells_many(1, 1)
    tablet.is_all_in()
    assert tablet.words_in_book() == ["finding 1"]


def test_control_an_outbox_with_a_new_id_at_each_sending_doubles(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    loses_the_answer(tablet, 2, new_id_each_time=True)
    tablet.tells_many(1, 1)
    tablet.is_all_in()
    assert len(tablet.words_in_book()) > 1


# ---- Who is there


def test_a_session_that_ends_keeps_everything_until_the_same_person_signs_in(take: TakesInHand) -> None:
    browser = take(enrolled=False, who="mirrin")
    browser.keeps_the_hull()
    browser.context.set_offline(True)
    browser.goes_to(FINDING)
    browser.tells_many(1, 5)
    browser.yard.do("DELETE FROM django_session")
    browser.context.set_offline(False)
    expect(browser.page.locator("#hb-band-out")).to_contain_text("Nobody is signed in here", timeout=20_000)
    assert browser.waits() == 5
    # Somebody else signs in: nothing of it goes in, least of all under their name.
    sign_in(browser.page, browser.yard, "rafe")
    browser.goes_to(FINDING)
    expect(browser.page.locator("#hb-band-out")).to_contain_text("Somebody else is signed in", timeout=20_000)
    browser.tells("told by the newcomer")
    browser.page.wait_for_url("**/findings/")
    expect(browser.page.locator("#hb-state")).to_contain_text("5 on this tablet")
    assert [(entry[2], entry[4]) for entry in browser.yard.entries(browser.begun_at)] == [
        ("RT", "told by the newcomer")
    ]
    # The right one comes back, the token has changed twice since, and it all goes in.
    browser.page.get_by_role("button", name="Sign out").click()
    browser.page.get_by_role("button", name="Sign out").click()
    browser.page.wait_for_url("**/sign-in/**")
    sign_in(browser.page, browser.yard, "mirrin")
    browser.is_all_in()
    found = [(entry[2], entry[4]) for entry in browser.yard.entries(browser.begun_at)]
    assert found == [("RT", "told by the newcomer"), *(("MO", f"finding {number}") for number in range(1, 6))]


def test_people_who_change_on_the_tablet_while_offline_keep_what_each_told(tablet: Tablet) -> None:
    tablet.keeps_the_hull()
    tablet.goes_to(FINDING)
    tablet.context.set_offline(True)
    for initials, first in (("RT", 1), ("MO", 11), ("KJ", 21)):
        tablet.page.locator(f".strip [data-tile][value={initials}]").click()
        expect(tablet.page.locator(".strip-lit b")).to_have_text(initials)
        tablet.tells_many(first, first + 9)
    tablet.page.reload()
    expect(tablet.page.locator(".strip-lit b")).to_have_text("KJ")
    tablet.context.set_offline(False)
    tablet.is_all_in()
    found = [(entry[2], entry[4]) for entry in tablet.yard.entries(tablet.begun_at)]
    wanted = [("RT", 1), ("MO", 11), ("KJ", 21)]
    assert found == [(who, f"finding {first + number}") for who, first in wanted for number in range(10)]


def test_a_tablet_that_is_lifted_keeps_what_it_holds_and_says_so(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    tablet.context.set_offline(True)
    tablet.tells_many(1, 3)
    tablet.context.clear_cookies(name="hullbook-tablet")
    tablet.context.set_offline(False)
    expect(tablet.page.locator("#hb-band-out")).to_be_visible(timeout=20_000)
    assert tablet.waits() == 3
    assert tablet.words_in_book() == []


def test_after_ten_minutes_outside_a_pour_the_next_entry_asks_who_with_tiles_only(take: TakesInHand) -> None:
    tablet = take()
    tablet.page.clock.install()
    tablet.goes_to(FINDING)
    expect(tablet.page.locator(".strip-lit b")).to_have_text("MO")
    tablet.page.clock.fast_forward("11:00")
    expect(tablet.page.locator(".strip-lit")).to_contain_text("nobody is lit")
    tablet.tells("asked who")
    dialog = tablet.page.locator("#hb-who")
    expect(dialog.get_by_text("Who is logging this?")).to_be_visible()
    assert dialog.locator(".tile").count() == 3
    assert dialog.locator("input").count() == 0
    dialog.locator(".tile[value=RT]").click()
    tablet.page.wait_for_url("**/findings/")
    tablet.is_all_in()
    assert [(entry[2], entry[4]) for entry in tablet.yard.entries(tablet.begun_at)] == [("RT", "asked who")]


def test_nobody_goes_dark_during_a_pour(take: TakesInHand) -> None:
    tablet = take()
    tablet.page.clock.install()
    tablet.goes_to(FINDING)
    tablet.page.evaluate("document.body.dataset.pour = ''")
    tablet.page.clock.fast_forward("03:00:00")
    expect(tablet.page.locator(".strip-lit b")).to_have_text("MO")


# ---- Taps, tabs, what is not taken


@pytest.mark.parametrize("apart_ms", [0, 1, 20, 80, 200, 400, 500])
def test_a_double_tap_is_one_entry(tablet: Tablet, apart_ms: int) -> None:
    tablet.goes_to(FINDING)
    tablet.context.set_offline(True)
    # The page would go on to the findings: it stays, so that the second tap finds the same form.
    tablet.page.evaluate("document.addEventListener('hb:told', (event) => event.preventDefault())")
    tablet.page.locator("main [name=kind]").nth(1).check()
    tablet.page.locator("main [name=zone_name]").select_option(index=1)
    tablet.page.evaluate(
        """async (apart) => {
          const key = document.querySelector(".form-acts .key-first");
          key.click();
          if (apart) await new Promise((resolve) => setTimeout(resolve, apart));
          key.click();
          await new Promise((resolve) => setTimeout(resolve, 300));
        }""",
        apart_ms,
    )
    assert tablet.waits() == 1
    tablet.context.set_offline(False)
    tablet.is_all_in()
    assert len(tablet.words_in_book()) == 1


def test_control_two_taps_a_second_apart_are_two_entries(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    tablet.page.evaluate("document.addEventListener('hb:told', (event) => event.preventDefault())")
    for words in ("first", "second"):
        tablet.tells(words)
        time.sleep(1)
    tablet.is_all_in()
    assert tablet.words_in_book() == ["first", "second"]


def test_two_tabs_of_one_tablet_send_each_entry_once_and_count_in_one_row(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    other = tablet.context.new_page()
    other.goto(f"{tablet.yard.url}{FINDING}")
    tablet.context.set_offline(True)
    second = Tablet(tablet.yard, tablet.context, other, tablet.begun_at)
    tablet.tells_many(1, 10)
    second.tells_many(11, 20)
    expect(tablet.page.locator("#hb-state")).to_contain_text("20 on this tablet")
    posts: list[str] = []
    for page in (tablet.page, other):
        page.on("request", lambda asked: posts.append(asked.url) if "/findings/log/" in asked.url else None)
    tablet.context.set_offline(False)
    tablet.is_all_in()
    assert tablet.words_in_book() == [f"finding {number}" for number in range(1, 21)]
    numbers = [entry[3] for entry in tablet.yard.entries(tablet.begun_at) if entry[1] == "inspection.finding"]
    assert numbers == list(range(numbers[0], numbers[0] + 20))
    expect(other.locator("#hb-state")).to_have_text("in the book")


def test_what_the_book_does_not_take_is_shown_in_the_form_and_keyed_again_under_the_same_number(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    tablet.page.locator("main [name=kind]").nth(1).check()
    tablet.page.locator("main [name=words]").fill("no zone at first")
    tablet.page.locator(".form-acts .key-first").click()
    expect(tablet.page.locator("#field-zone_name .wrong")).to_contain_text("choose the zone")
    expect(tablet.page.locator("#hb-state")).to_have_text("1 not taken")
    tablet.page.locator("main [name=zone_name]").select_option(index=1)
    tablet.page.locator(".form-acts .key-first").click()
    tablet.page.wait_for_url("**/findings/")
    tablet.is_all_in()
    assert [(entry[3], entry[4]) for entry in tablet.yard.entries(tablet.begun_at)] == [(1, "no zone at first")]


def test_what_was_told_offline_and_not_taken_waits_with_its_reason_and_can_be_put_right(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    tablet.context.set_offline(True)
    tablet.script(
        """await floor.tell({url: given[0], act: "Log a finding", fields: [["kind", "void"], ["zone_name", "no such"],
        ["words", "in no zone"]]})""",
        FINDING,
    )
    tablet.tells_many(1, 2)
    tablet.context.set_offline(False)
    expect(tablet.page.locator("#hb-state")).to_have_text(re.compile(r"^1 not taken$"))
    assert tablet.words_in_book() == ["finding 1", "finding 2"]
    tablet.goes_to("/tablet/waiting/")
    line = tablet.page.locator(".told-line", has_text="Key it again")
    expect(line.locator(".told-why")).to_be_visible()
    line.get_by_role("link", name="Key it again").click()
    tablet.page.wait_for_url(f"**{FINDING}")
    expect(tablet.page.locator("main [name=words]")).to_have_value("in no zone")
    tablet.page.locator("main [name=zone_name]").select_option(index=1)
    tablet.page.locator(".form-acts .key-first").click()
    tablet.page.wait_for_url("**/findings/")
    tablet.is_all_in()
    assert tablet.words_in_book() == ["finding 1", "finding 2", "in no zone"]


def test_what_is_taken_away_leaves_a_number_that_the_book_misses(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    tablet.script(
        """await floor.tell({url: given[0], act: "Log a finding",
        fields: [["kind", "void"], ["zone_name", "no such"]]})""",
        FINDING,
    )
    expect(tablet.page.locator("#hb-state")).to_contain_text("1 not taken")
    tablet.tells_many(1, 1)
    tablet.goes_to("/tablet/waiting/")
    tablet.page.get_by_role("button", name="Take it away").click()
    tablet.page.get_by_role("button", name="Yes, take it away").click()
    expect(tablet.page.locator("#hb-state")).to_have_text("in the book")
    assert tablet.script("return outbox.nextSequence()") == 3
    assert [entry[3] for entry in tablet.yard.entries(tablet.begun_at)] == [2]


def test_a_fresh_entry_is_struck_out_offline_and_both_are_in_the_book(tablet: Tablet) -> None:
    tablet.keeps_the_hull()
    tablet.context.set_offline(True)
    tablet.goes_to(FINDING)
    tablet.tells("tapped by mistake")
    tablet.page.wait_for_url("**/findings/")
    tablet.page.locator("#hb-fresh").get_by_role("button", name="Strike out").click()
    tablet.page.locator("#hb-strike").get_by_role("button", name="tapped twice").click()
    expect(tablet.page.locator("#hb-state")).to_contain_text("2 on this tablet")
    tablet.context.set_offline(False)
    tablet.is_all_in()
    kinds = [entry[1] for entry in tablet.yard.entries(tablet.begun_at)]
    assert kinds == ["inspection.finding", "records.struckout"]


def test_what_needs_the_book_says_so_and_nothing_else_is_greyed_out(take: TakesInHand) -> None:
    browser = take(enrolled=False, who="kester")
    browser.goes_to(f"/hulls/{HULL}/hold-points/12/")
    browser.context.set_offline(True)
    expect(browser.page.locator(".needs-book")).to_contain_text("needs the book, out of reach since")
    head = browser.yard.head()
    browser.page.locator(".form-acts .key-first").click(force=True)
    browser.context.set_offline(False)
    expect(browser.page.locator(".needs-book")).to_have_count(0, timeout=60_000)
    assert browser.yard.head() == head


def test_signing_out_forgets_the_pages_and_keeps_what_waits(take: TakesInHand) -> None:
    browser = take(enrolled=False, who="mirrin")
    browser.keeps_the_hull()
    browser.context.route("**/findings/log/", lambda route: route.abort())
    browser.tells_many(1, 2)
    browser.page.get_by_role("button", name="Sign out").click()
    expect(browser.page.locator("#hb-band-sign-out")).to_contain_text("2 on this tablet")
    browser.page.get_by_role("button", name="Sign out").click()
    browser.page.wait_for_url("**/sign-in/**")
    assert browser.page.evaluate(PAGES_KEPT) == []
    browser.context.unroute("**/findings/log/")
    sign_in(browser.page, browser.yard, "mirrin")
    browser.is_all_in()
    assert browser.words_in_book() == ["finding 1", "finding 2"]


# ---- Browsers killed, stores emptied, no room


def test_a_browser_killed_with_entries_waiting_sends_them_after_the_restart(
    yard: Yard, playwright: Any, browser_type_launch_args: dict[str, Any], tmp_path: Path
) -> None:
    profile = tmp_path / "profile"

    def opened() -> BrowserContext:
        context: BrowserContext = playwright.chromium.launch_persistent_context(profile, **browser_type_launch_args)
        return context

    def its_processes() -> list[int]:
        found = []
        for process in Path("/proc").iterdir():
            if process.name.isdigit():
                with contextlib.suppress(OSError):
                    if f"--user-data-dir={profile}".encode() in (process / "cmdline").read_bytes():
                        found.append(int(process.name))
        return found

    context = opened()
    page = context.new_page()
    enrol(page, yard, "tablet to be killed")
    # Closed in good order once: the engine writes cookies, and so the tablet's key, to the disk when it likes.
    context.close()
    context = opened()
    tablet = Tablet(yard, context, context.new_page(), yard.head())
    tablet.goes_to(FINDING)
    context.set_offline(True)
    tablet.tells_many(1, 50)
    assert tablet.waits() == 50
    for process in its_processes():
        with contextlib.suppress(ProcessLookupError):
            os.kill(process, signal.SIGKILL)
    with contextlib.suppress(Exception):
        context.close()
    for lock in profile.glob("Singleton*"):
        lock.unlink()
    context = opened()
    try:
        again = Tablet(yard, context, context.new_page(), tablet.begun_at)
        again.goes_to(FINDING)
        again.is_all_in()
        assert again.words_in_book() == [f"finding {number}" for number in range(1, 51)]
    finally:
        context.close()
    shutil.rmtree(profile, ignore_errors=True)


def test_a_store_that_was_emptied_is_noticed_and_its_numbers_are_missing_in_the_book(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    tablet.tells_many(1, 2)
    tablet.is_all_in()
    tablet.context.set_offline(True)
    tablet.tells_many(3, 5)
    assert tablet.waits() == 3
    engine = tablet.context.new_cdp_session(tablet.page)
    engine.send("Storage.clearDataForOrigin", {"origin": tablet.yard.url, "storageTypes": "indexeddb"})
    tablet.context.set_offline(False)
    tablet.goes_to(FINDING)
    lost = tablet.page.locator("#hb-band-lost")
    expect(lost).to_contain_text("Numbers 3 to 5")
    lost.get_by_role("button", name="It is seen to").click()
    expect(lost).to_have_count(0)
    tablet.tells_many(6, 6)
    tablet.is_all_in()
    assert [entry[3] for entry in tablet.yard.entries(tablet.begun_at)] == [1, 2, 6]


NO_ROOM = """() => {
  // As the engine refuses a put when the disk is full: Chromium cannot be given so small a quota from outside.
  const put = IDBObjectStore.prototype.put;
  IDBObjectStore.prototype.put = () => { throw new DOMException("no room", "QuotaExceededError"); };
  window.makeRoom = () => { IDBObjectStore.prototype.put = put; };
}"""


def test_a_tablet_without_room_says_so_in_words_and_claims_nothing(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    expect(tablet.page.locator("#hb-state")).to_have_text("in the book")
    tablet.page.evaluate(NO_ROOM)
    tablet.tells("no room for this")
    expect(tablet.page.locator("main .wrong").first).to_contain_text("no room left: nothing of this was kept")
    assert tablet.waits() == 0
    assert tablet.rail() == "in the book"
    assert tablet.page.locator("#hb-fresh").count() == 0
    tablet.page.evaluate("makeRoom()")
    time.sleep(0.8)
    tablet.page.locator(".form-acts .key-first").click()
    tablet.page.wait_for_url("**/findings/")
    tablet.is_all_in()
    assert [(entry[3], entry[4]) for entry in tablet.yard.entries(tablet.begun_at)] == [(1, "no room for this")]


# ---- Much of it


def test_five_hundred_waiting_are_in_the_book_in_order_within_half_a_minute(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    tablet.context.set_offline(True)
    tablet.tells_many(1, 500)
    assert tablet.waits() == 500
    begun = time.monotonic()
    tablet.context.set_offline(False)
    tablet.is_all_in(30)
    assert time.monotonic() - begun <= 30
    assert tablet.words_in_book() == [f"finding {number}" for number in range(1, 501)]


KEEP_PHOTOS = """
  const [url, first, last, size] = given;
  const canvas = document.createElement("canvas");
  canvas.width = canvas.height = size;
  const pen = canvas.getContext("2d");
  const entry = await floor.tell({url, act: "Log a finding", fields: [["kind", "void"], ["zone_name", "keel"],
    ["words", `with photos ${first}`]]});
  for (let number = first; number <= last; number += 1) {
    const picture = pen.createImageData(size, size);
    const noise = (byte) => (byte * (number + 7) * 2654435761) >>> 24;
    for (let byte = 0; byte < picture.data.length; byte += 1) picture.data[byte] = noise(byte);
    pen.putImageData(picture, 0, 0);
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.9));
    const wrong = await floor.keepPhoto(new File([blob], "photo.jpg", {type: "image/jpeg", lastModified: 1e12}), entry);
    if (wrong) throw new Error(wrong);
  }
"""


def test_twelve_hours_out_of_reach_hold_two_thousand_entries_and_two_hundred_photos(take: TakesInHand) -> None:
    entries, photos = (2000, 200) if WHOLE else (200, 20)
    tablet = take()
    tablet.page.clock.install()
    tablet.goes_to(FINDING)
    tablet.context.set_offline(True)
    for hour in range(12):
        tablet.page.clock.fast_forward("00:30")
        tablet.page.evaluate("document.body.dataset.pour = ''")
        tablet.tells_many(hour * entries // 12 + 1, (hour + 1) * entries // 12)
        tablet.script(KEEP_PHOTOS, FINDING, hour * photos // 12 + 1, (hour + 1) * photos // 12, 64)
        tablet.page.clock.fast_forward("59:30")
    assert tablet.waits() == entries + 12 + photos
    expect(tablet.page.locator("#hb-state")).to_have_class(re.compile("told-old"))
    tablet.page.reload()
    tablet.page.clock.resume()
    tablet.context.set_offline(False)
    tablet.is_all_in(600 if WHOLE else 120)
    told = [entry for entry in tablet.yard.entries(tablet.begun_at) if entry[1] == "inspection.finding"]
    assert len(told) == entries + 12
    numbers = [entry[3] for entry in told]
    assert numbers == sorted(numbers)
    kept = [entry for entry in tablet.yard.entries(tablet.begun_at) if entry[1] == "hulls.photo"]
    assert len(kept) == photos


# ---- Photos


def test_a_photo_is_made_smaller_waits_with_its_finding_and_is_seen_there(tablet: Tablet, tmp_path: Path) -> None:
    picture = tmp_path / "dry spot.jpg"
    Image.effect_noise((3200, 2400), 60).convert("RGB").save(picture, "JPEG", quality=80)
    tablet.keeps_the_hull()
    tablet.goes_to(FINDING)
    tablet.context.set_offline(True)
    tablet.page.locator("input[data-photo]").set_input_files(picture)
    tablet.tells("with a photo")
    tablet.page.wait_for_url("**/findings/")
    assert tablet.waits() == 2
    tablet.context.set_offline(False)
    tablet.is_all_in(60)
    rows = tablet.yard.rows(
        "SELECT entry_id, of_id, kept_sha256, original_sha256, width_px, height_px FROM hulls_photo ORDER BY 1 DESC"
    )
    number, of, kept, original, width, height = rows[0]
    assert (width, height) == (2560, 1920)
    assert original == hashlib.sha256(picture.read_bytes()).hexdigest()
    assert of == tablet.yard.entries(tablet.begun_at)[0][0]
    tablet.goes_to(f"/hulls/{HULL}/findings/")
    shown = tablet.page.locator(".photos img").first
    shown.scroll_into_view_if_needed()
    expect(shown).to_have_js_property("complete", True)
    assert shown.evaluate("image => image.naturalWidth") == 2560
    answer = tablet.page.request.get(f"{tablet.yard.url}/hulls/{HULL}/photos/{number}/")
    assert hashlib.sha256(answer.body()).hexdigest() == kept
    assert Image.open(BytesIO(answer.body())).size == (2560, 1920)


def test_a_photo_broken_off_goes_on_where_it_stopped(tablet: Tablet) -> None:
    tablet.goes_to(FINDING)
    posted: list[str] = []
    broken = [0]

    def break_off(route: Route) -> None:
        posted.append(route.request.url)
        broken[0] += 1
        if broken[0] == 2:
            route.abort()
        else:
            route.continue_()

    tablet.context.route(re.compile(r"/photos/[0-9a-f]{64}/\d+/"), break_off)
    tablet.script(KEEP_PHOTOS, FINDING, 1, 1, 900)
    tablet.is_all_in(60)
    pieces = [url.rstrip("/").rsplit("/", 1)[1] for url in posted]
    assert pieces[:2] == ["0", "1"]
    assert pieces[2] == "1"
    assert pieces.count("0") == 1


# ---- Put on the home screen


def test_it_can_be_put_on_the_home_screen(tablet: Tablet) -> None:
    tablet.goes_to("/")
    engine = tablet.context.new_cdp_session(tablet.page)
    errors = {error["errorId"] for error in engine.send("Page.getInstallabilityErrors")["installabilityErrors"]}
    assert errors <= {"in-incognito"}
