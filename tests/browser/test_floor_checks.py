"""What a page of the shed must be: large enough to tap with gloves, readable, in words of the trade, the same on paper.

The demo yard is walked once, on three sizes of tablet lying and standing; each test asks for one thing. Beside each
stands a control: the same measure on a page that was broken on purpose.
"""

import io
import os
import re
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from django.conf import settings
from django.db import connection
from django.template.loader import render_to_string
from django.test import TransactionTestCase
from playwright.sync_api import Browser, BrowserContext, Page
from pytest_django.live_server_helper import LiveServer

from hullbook.operations.demo import tell_demo_yard
from tests.architecture.test_house_rules import WORDS_NOT_USED
from tests.browser.yard_by_pages import (
    LEAST_TYPE_PX,
    MEASURES,
    PASSWORD,
    RULES,
    TABLETS,
    Walked,
    found_by_axe,
    hold,
    walk,
    walk_as_a_tablet,
)

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).parents[2]
PART = "/hulls/MB84-01/parts/hull%20shell"
STARTS = ("/", "/tablet/setting-up/", "/yard/climate/log/")
ON_A_TABLET = [f"{PART}/lay-up/", f"{PART}/pours/1/", f"{PART}/pours/1/mix/", f"{PART}/hold-tests/"]
LEVELS = ("pass", "conditional pass", "conditional fail", "fail", "no verdict")
SHEETS_LOOKED_AT = 2
LEAST_MARGIN_MM = 14.5 - 25.4 / 72  # a dot of the picture that is looked at
FIRST_LOAD_BYTES, NEXT_LOAD_BYTES = 300_000, 30_000


@dataclass(frozen=True)
class Yard:
    """The demo yard on a server of its own, walked, with the browser that walked it still signed in."""

    server: str
    context: BrowserContext
    seen: Walked

    def page(self, path: str) -> Page:
        page = self.context.new_page()
        page.goto(f"{self.server}{path}")
        hold(page, TABLETS[0])
        page.reload()
        page.evaluate(MEASURES)
        return page


@pytest.fixture(autouse=True)
def _django_db_helper() -> None:
    """The yard is told once for all tests here; a transaction around each would keep the server from writing."""


@pytest.fixture(scope="module")
def yard(django_db_setup: None, django_db_blocker: Any, browser: Browser) -> Iterator[Yard]:
    with django_db_blocker.unblock():
        server = LiveServer("localhost")
        try:
            tell_demo_yard(lambda _: PASSWORD)
            context = browser.new_context(service_workers="block")
            seen = walk(context, server.url, STARTS)
            walk_as_a_tablet(browser, server.url, ON_A_TABLET, seen)
            yield Yard(server.url, context, seen)
            context.close()
        finally:
            server.stop()
            TransactionTestCase("__init__")._fixture_teardown()


def test_every_page_of_the_shed_was_looked_at(yard: Yard) -> None:
    assert yard.seen.trouble == []
    assert len(yard.seen.floor) > 15
    assert len(yard.seen.pages) > 45
    assert yard.seen.targets > 2000
    assert yard.seen.texts > 5000
    assert yard.seen.numbers > 100


# ---- Targets, type, units: UX-1, UX-2, UX-4, UX-8, UX-9, UX-12


def test_acts_are_20_mm_and_everything_else_that_takes_a_tap_15_mm(yard: Yard) -> None:
    assert yard.seen.small == []


def test_targets_stand_2_mm_apart_and_8_mm_from_an_act_that_is_signed(yard: Yard) -> None:
    assert yard.seen.close == []


def test_nothing_is_smaller_than_18_px(yard: Yard) -> None:
    assert yard.seen.type == []


def test_nothing_has_to_be_moved_sideways(yard: Yard) -> None:
    assert yard.seen.wide == []


def test_every_number_keyed_has_its_unit_beside_it(yard: Yard) -> None:
    assert yard.seen.without_unit == []


def test_the_measures_see_a_page_that_is_broken(yard: Yard) -> None:
    page = yard.page(f"{PART}/pours/1/mix/")
    rules = {"mm": TABLETS[0].mm, **RULES}
    assert page.evaluate("rules => floorMeasures.sizes(rules)", rules)["small"] == []
    page.evaluate(
        """() => {
            const act = document.querySelector("[data-floor-primary]");
            act.style.minHeight = act.style.height = "60px";
            const [one, two] = document.querySelectorAll("main .fields > .field input:not([type=hidden])");
            one.style.position = two.style.position = "absolute";
            document.querySelector("main label").style.fontSize = "17px";
            document.querySelector("main .field .unit").remove();
            document.querySelector("main h1").style.cssText = "overflow-x: auto; white-space: nowrap; width: 40px";
        }"""
    )
    sizes = page.evaluate("rules => floorMeasures.sizes(rules)", rules)
    assert any("button" in one for one in sizes["small"])
    assert sizes["close"]
    assert page.evaluate("least => floorMeasures.type(least)", LEAST_TYPE_PX)["small"]
    assert page.evaluate("floorMeasures.withoutUnit()")["missing"]
    assert page.evaluate("floorMeasures.sticksOut()")
    page.close()


def test_an_act_that_is_signed_stands_8_mm_from_its_neighbours(yard: Yard) -> None:
    page = yard.page("/yard/climate/log/")
    page.evaluate(
        """() => {
            const form = document.querySelector("main form");
            form.insertAdjacentHTML("afterbegin", '<input type="hidden" name="pin">');
            form.querySelector(".form-acts").insertAdjacentHTML("beforeend", '<button class="key">Another</button>');
        }"""
    )
    close = page.evaluate("rules => floorMeasures.sizes(rules)", {"mm": TABLETS[0].mm, **RULES})["close"]
    assert len(close) == 1
    assert "48 wanted" in close[0]
    page.close()


# ---- The action bar: UX-7


@pytest.mark.parametrize(
    ("tablet", "places"), [(TABLETS[0], 5), (TABLETS[1], 4), (TABLETS[2], 5)], ids=lambda one: str(one)
)
def test_the_bar_has_five_places_at_most_and_what_finds_none_stands_behind_more(
    yard: Yard, tablet: Any, places: int
) -> None:
    page = yard.page(f"{PART}/pours/1/")
    hold(page, tablet)
    page.reload()
    keys = page.locator(".action-bar .key:not(.more)")
    had = keys.count()
    page.evaluate(
        """wanted => {
            const bar = document.querySelector(".action-bar");
            const keys = () => bar.querySelectorAll(".key:not(.more)");
            while (keys().length < wanted) bar.append(keys()[0].cloneNode(true));
        }""",
        7,
    )
    more = page.locator(".action-bar .more")
    more.wait_for()
    assert had <= 5
    assert keys.locator("visible=true").count() == places
    more.click()
    assert keys.locator("visible=true").count() == 7
    box, room = page.locator(".action-bar").bounding_box(), page.viewport_size
    assert box is not None
    assert room is not None
    assert (box["x"], box["width"]) == (0, room["width"])
    assert box["y"] + box["height"] == pytest.approx(room["height"], abs=1)
    page.close()


def test_the_bar_is_mirrored_for_the_left_hand(yard: Yard) -> None:
    page = yard.page(f"{PART}/pours/1/")
    order = "[...document.querySelectorAll('.action-bar .key:not(.more)')].map(key => key.getBoundingClientRect().x)"
    assert page.evaluate(order) == sorted(page.evaluate(order))
    page.evaluate("localStorage.setItem('hullbook-looks', JSON.stringify({hand: 'left'}))")
    page.reload()
    assert page.evaluate(order) == sorted(page.evaluate(order), reverse=True)
    page.close()


# ---- Setting a tablet up: the card, the theme


def test_a_bank_card_tells_the_millimetre_and_it_is_kept(yard: Yard) -> None:
    page = yard.page("/tablet/setting-up/")
    page.evaluate("localStorage.clear()")
    page.reload()
    # The marks stand 514 px apart at first: 85.60 mm by 6 px. Two steps of ten and two of one give 536.
    page.locator("[data-move=left][value='-10']").click(click_count=2, delay=20)
    page.locator("[data-move=right][value='1']").click(click_count=2, delay=20)
    page.locator("#card-kept").click()
    assert "6.26 px" in page.locator("#card-said").inner_text()
    page.goto(f"{yard.server}{PART}/pours/1/")
    assert page.evaluate("document.documentElement.style.getPropertyValue('--mm')") == f"{536 / 85.6}px"
    act = page.locator("[data-floor-primary]").first.bounding_box()
    assert act is not None
    assert act["height"] >= 20 * 536 / 85.6 - 0.6
    page.close()


def test_a_card_no_tablet_could_show_is_not_taken(yard: Yard) -> None:
    page = yard.page("/tablet/setting-up/")
    for _ in range(17):
        page.locator("[data-move=right][value='-10']").click()
    page.locator("#card-kept").click()
    assert "too narrow" in page.locator("#card-said").inner_text()
    assert page.evaluate("JSON.parse(localStorage.getItem('hullbook-looks')).mm") == TABLETS[0].mm
    page.close()


def test_the_page_is_drawn_in_its_theme_before_anything_is_seen(yard: Yard) -> None:
    page = yard.page("/tablet/setting-up/")
    page.get_by_role("button", name="Night bay").click()
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    assert page.evaluate(ground) == "rgb(17, 24, 27)"
    page.goto(f"{yard.server}/")
    assert page.evaluate(ground) == "rgb(17, 24, 27)"
    assert (
        page.evaluate("document.querySelector('script[src]').async || document.querySelector('script[src]').defer")
        is False
    )
    assert page.evaluate(
        "document.querySelector('script[src*=early]').compareDocumentPosition(document.querySelector('link[rel=stylesheet]'))"
        " & Node.DOCUMENT_POSITION_FOLLOWING"
    )
    page.close()


def test_by_itself_the_theme_follows_the_tablet_but_not_in_the_middle_of_a_pour(yard: Yard) -> None:
    page = yard.page("/tablet/setting-up/")
    page.get_by_role("button", name="By itself").click()
    theme = "document.documentElement.dataset.theme"
    page.goto(f"{yard.server}{PART}/pours/1/")
    assert page.evaluate(theme) == "day"
    page.emulate_media(color_scheme="dark")
    page.reload()
    assert page.evaluate(theme) == "day"
    page.goto(f"{yard.server}/")
    assert page.evaluate(theme) == "night"
    page.close()


def test_sizes_are_tried_by_tapping(yard: Yard) -> None:
    page = yard.page("/tablet/setting-up/")
    tried = page.locator("[data-try]").nth(1)
    tried.locator("button").click()
    tried.click(position={"x": 4, "y": 4})
    assert tried.locator("output").inner_text() == "1 on it, 1 beside"
    page.close()


# ---- Contrast and accessibility: UX-14, UX-16, WCAG 2.2


def test_no_page_breaks_a_rule_of_wcag_in_either_theme(yard: Yard) -> None:
    assert yard.seen.unfit == []


def test_a_broken_page_breaks_rules_of_wcag(yard: Yard) -> None:
    page = yard.page("/yard/climate/log/")
    page.evaluate(
        """() => {
            document.querySelector("main .hint").style.color = "#8a8a7a";
            document.querySelector("main .fields label").remove();
        }"""
    )
    found = " ".join(found_by_axe(page, is_floor=True))
    assert "color-contrast" in found
    assert re.search("label|select-name", found)
    page.close()


def one_bit(page: Page, mark: str) -> np.ndarray:
    """A mark as a one-bit printer puts it on paper, 48 dots square."""
    from PIL import Image

    shot = page.locator(f"#{mark} svg").screenshot()
    grey = Image.open(io.BytesIO(shot)).convert("L").resize((48, 48))
    return np.asarray(grey) < 128


def drawn_marks(yard: Yard, marks: dict[str, str]) -> dict[str, np.ndarray]:
    page = yard.page("/tablet/setting-up/")
    page.emulate_media(media="print")
    page.evaluate(
        "html => { document.querySelector('main').innerHTML = html; }",
        "".join(f'<p id="{name}">{mark}</p>' for name, mark in marks.items()),
    )
    page.evaluate(
        "for (const mark of document.querySelectorAll('main p svg')) mark.style.cssText = 'width: 96px; height: 96px'"
    )
    shapes = {name: one_bit(page, name) for name in marks}
    page.close()
    return shapes


def alike(shapes: dict[str, np.ndarray]) -> list[tuple[str, str]]:
    """Pairs of marks of which less than a tenth of the ink differs."""
    return [
        (one, two)
        for one, two in combinations(shapes, 2)
        if (shapes[one] ^ shapes[two]).sum() < 0.1 * (shapes[one] | shapes[two]).sum()
    ]


def test_every_state_is_a_shape_of_its_own_in_black_and_white(yard: Yard) -> None:
    levels = {level.replace(" ", "-"): render_to_string("includes/_level.html", {"level": level}) for level in LEVELS}
    shapes = drawn_marks(yard, levels)
    assert all(shape.any() and not shape.all() for shape in shapes.values())
    assert alike(shapes) == []


def test_two_marks_that_differ_in_colour_alone_are_found_alike(yard: Yard) -> None:
    mark = '<svg viewBox="0 0 24 24"><path fill="{}" d="M3 3h18v18H3z"/></svg>'
    assert alike(drawn_marks(yard, {"red": mark.format("#9C1521"), "blue": mark.format("#0B4A78")})) == [
        ("red", "blue")
    ]


# ---- Moving marks: UX-35


def changes_in_two_seconds(page: Page) -> int:
    """The most changes of look that anything on the page goes through in two seconds; on and off at 1 Hz is four."""
    return page.evaluate(
        """() => new Promise(done => {
            const all = [...document.querySelectorAll("body *")];
            const look = one => {
                const style = getComputedStyle(one);
                return ["backgroundColor", "color", "visibility", "opacity", "transform", "display"]
                    .map(name => style[name]).join();
            };
            const last = all.map(look);
            const counts = all.map(() => 0);
            const begun = performance.now();
            const frame = now => {
                all.forEach((one, place) => {
                    const is = look(one);
                    if (is !== last[place]) counts[place] += 1;
                    last[place] = is;
                });
                if (now - begun < 2000) setTimeout(() => requestAnimationFrame(frame), 40);
                else done(Math.max(...counts));
            };
            requestAnimationFrame(frame);
        })"""
    )


def test_nothing_flashes_more_than_once_a_second(yard: Yard) -> None:
    page = yard.page(f"{PART}/pours/1/")
    assert changes_in_two_seconds(page) <= 4
    page.evaluate(
        "setInterval(() => { const s = document.querySelector('h1').style; s.opacity = 1 - (s.opacity || 1); }, 120)"
    )
    assert changes_in_two_seconds(page) > 4
    page.close()


# ---- Words


def test_no_page_uses_a_word_that_is_not_of_the_trade(yard: Yard) -> None:
    found = {path: WORDS_NOT_USED.findall(words) for path, words in yard.seen.words.items()}
    assert {path: words for path, words in found.items() if words} == {}
    assert WORDS_NOT_USED.findall("Save the record")


# ---- Paper


def sheets_of(printed: bytes) -> list[str]:
    document = pypdfium2.PdfDocument(printed)
    return [re.sub(r"\s+", " ", document[at].get_textpage().get_text_range()) for at in range(len(document))]


def not_said(path: str, printed: bytes) -> list[str]:
    """What a sheet of a print does not say and should: page x of y, whose it is, how far the book was."""
    sheets, missing = sheets_of(printed), []
    about = re.match(r"/(?:trace/)?hulls/([^/]+)/(?:parts/([^/]+)/)?", path)
    wanted = [] if about is None or about[1] == "lay-down" else [about[1], (about[2] or "").replace("%20", " ")]
    for at, text in enumerate(sheets, 1):
        for words in (f"page {at} of {len(sheets)}", *wanted):
            if words not in text:
                missing.append(f"{path}: sheet {at} does not say “{words}”")
        if not re.search(r"entry \d+, [0-9a-f]{16}\b", text):
            missing.append(f"{path}: sheet {at} does not say how far the book was")
    return missing


def test_every_print_says_on_each_sheet_whose_it_is_and_how_far_the_book_was(yard: Yard) -> None:
    assert [one for path, printed in yard.seen.prints.items() for one in not_said(path, printed)] == []
    page = yard.page(f"{PART}/pours/1/")
    page.evaluate("for (const name of ['sheet', 'book']) delete document.documentElement.dataset[name]")
    assert len(not_said(f"{PART}/pours/1/", page.pdf(prefer_css_page_size=True))) >= 3
    page.close()


def margins_mm(printed: bytes) -> tuple[float, float, bool]:
    """White at the left and right edge of a print, and whether all of it is black, white or grey."""
    document, edges, grey = pypdfium2.PdfDocument(printed), [], True
    for at in range(min(len(document), SHEETS_LOOKED_AT)):
        dots = np.asarray(document[at].render(scale=1).to_pil().convert("RGB")).astype(np.int16)
        grey = grey and bool((dots.max(axis=2) - dots.min(axis=2)).max() < 40)
        across = np.flatnonzero((dots.min(axis=2) < 160).any(axis=0))
        if len(across):
            edges.append((across[0], dots.shape[1] - 1 - across[-1]))
    dot_mm = 25.4 / 72
    return min(left for left, _ in edges) * dot_mm, min(right for _, right in edges) * dot_mm, grey


def test_prints_are_a4_with_15_mm_margins_in_black_and_grey(yard: Yard) -> None:
    for path, printed in yard.seen.prints.items():
        width, height = pypdfium2.PdfDocument(printed)[0].get_size()
        assert (width, height) == pytest.approx((595.3, 841.9), abs=1), path
        left, right, is_grey = margins_mm(printed)
        assert left >= LEAST_MARGIN_MM, path
        assert right >= LEAST_MARGIN_MM, path
        assert is_grey, path


def right_line(printed: bytes) -> float:
    """How thick the line down the right edge of a sheet's tables is beside the one down their left, as a share."""
    dots = np.asarray(pypdfium2.PdfDocument(printed)[0].render(scale=8).to_pil().convert("L")) < 160
    lines = np.flatnonzero(dots.sum(axis=0) > 0.2 * dots.shape[0])
    left, right = lines[lines < dots.shape[1] / 8], lines[lines > 7 * dots.shape[1] / 8]
    return len(right) / len(left)


def test_the_pour_checklist_is_one_sheet_and_none_of_its_lines_is_cut(yard: Yard) -> None:
    ((path, printed),) = [one for one in yard.seen.prints.items() if one[0].endswith("/pour-plan/checklist/")]
    (text,) = sheets_of(printed)
    for words in ("Inlets", "At latest, min", "drawn empty within", "Flange, min", "safety data sheets govern"):
        assert words in text
    assert right_line(printed) > 0.8
    page = yard.page(path)
    page.evaluate(
        """() => {
            const sheet = new CSSStyleSheet();
            sheet.replaceSync("@media print { .dry { width: 100% !important; margin: 0 !important } }");
            document.adoptedStyleSheets = [sheet];
        }"""
    )
    assert right_line(page.pdf(prefer_css_page_size=True, print_background=False)) < 0.7  # the control
    page.close()


def test_a_page_printed_in_colour_or_past_its_margin_is_found(yard: Yard) -> None:
    page = yard.page(f"{PART}/pours/1/")
    page.evaluate(
        """() => {
            const sheet = new CSSStyleSheet();
            sheet.replaceSync("@page { margin: 5mm } h1 { color: #9C1521 !important }");
            document.adoptedStyleSheets = [sheet];
        }"""
    )
    left, _, is_grey = margins_mm(page.pdf(prefer_css_page_size=True))
    assert left < LEAST_MARGIN_MM
    assert not is_grey
    page.close()


def test_states_are_readable_on_a_one_bit_print(yard: Yard) -> None:
    """Every verdict prints its mark and its word; a word that comes out white on white leaves no dot."""
    printed = yard.seen.prints[f"{PART}/hold-tests/"]
    assert any(level in text for level in LEVELS for text in sheets_of(printed))
    page = yard.page(f"{PART}/hold-tests/")
    page.emulate_media(media="print")
    for mark in page.locator(".level").all():
        dots = np.asarray(grey_of(mark.screenshot()))
        assert 0.02 < (dots < 128).mean() < 0.6
    page.locator(".level").first.evaluate("one => { one.style.color = '#fff'; }")
    dots = np.asarray(grey_of(page.locator(".level").first.screenshot()))
    assert (dots < 128).mean() < 0.02
    page.close()


def grey_of(shot: bytes) -> Any:
    from PIL import Image

    return Image.open(io.BytesIO(shot)).convert("L")


# ---- Weight, on the server as a yard runs it


@pytest.fixture(scope="module")
def real_server(yard: Yard, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The same book behind the server and with the packed files that a yard has."""
    data = tmp_path_factory.mktemp("yard")
    (data / "secret_key").write_text(settings.SECRET_KEY)
    book = sqlite3.connect(data / "book.sqlite3")
    with sqlite3.connect(connection.settings_dict["NAME"]) as here:
        here.backup(book)
    book.close()
    here.close()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {
        **os.environ,
        "HULLBOOK_DATA": str(data),
        "DJANGO_SETTINGS_MODULE": "hullbook.settings.base",
        "HULLBOOK_HOSTS": "localhost,127.0.0.1",
    }
    manage = [sys.executable, str(ROOT / "manage.py")]
    subprocess.run([*manage, "collectstatic", "--noinput", "-v0"], env=environment, check=True)
    serve = [sys.executable, "-m", "granian", "--interface", "wsgi", "--host", "127.0.0.1", "--port", str(port)]
    with subprocess.Popen(
        [*serve, "--workers", "1", "hullbook.wsgi:application"],
        env=environment,
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    ) as server:
        for _ in range(100):
            with socket.socket() as knock:
                if knock.connect_ex(("127.0.0.1", port)) == 0:
                    break
            time.sleep(0.1)
        yield f"http://localhost:{port}"
        server.terminate()


def bytes_sent(page: Page, url: str) -> int:
    talk = page.context.new_cdp_session(page)
    talk.send("Network.enable")
    sent = []
    talk.on("Network.loadingFinished", lambda loaded: sent.append(int(loaded["encodedDataLength"])))
    answer = page.goto(url, wait_until="networkidle")
    assert answer is not None
    assert answer.status == 200, url
    talk.detach()
    return sum(sent)


def test_a_floor_page_weighs_300_kb_at_first_and_30_kb_after(yard: Yard, real_server: str, browser: Browser) -> None:
    context = browser.new_context(service_workers="block")
    context.add_cookies([{"name": c["name"], "value": c["value"], "url": real_server} for c in yard.context.cookies()])
    page = context.new_page()
    first = bytes_sent(page, f"{real_server}{PART}/pours/1/")
    assert page.locator("body.floor").count() == 1
    assert 50_000 < first <= FIRST_LOAD_BYTES, first
    after = {path: bytes_sent(page, f"{real_server}{path}") for path in (*ON_A_TABLET, f"{PART}/hold-tests/1/")}
    assert {path: size for path, size in after.items() if not 0 < size <= NEXT_LOAD_BYTES} == {}
    context.close()
