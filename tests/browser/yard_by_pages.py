"""The demo yard, walked once in a browser: every page, how it measures on three tablets, and on paper."""

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import Browser, BrowserContext, Page, expect

PASSWORD = "only for this test"
NOT_PAGES = re.compile(
    r"\.csv|\.pdf|\.json|/csv/|/file/|/download/|dossier/draw|sign-out|/certificates/|/issues/|/sw\.js|/state/"
)
# A drawing's links too, whose href is more than a string.
LINKS = "links => links.map(link => new URL(link.getAttribute('href'), document.baseURI).href)"
# Everything a person reads or a reader speaks.
WORDS = """() => [document.title, document.body.innerText,
    ...[...document.querySelectorAll("[aria-label], [title], [placeholder]")]
        .map(one => `${one.ariaLabel ?? ""} ${one.title ?? ""} ${one.placeholder ?? ""}`)].join(" \\n ")"""
MEASURES = (Path(__file__).parent / "floor_measures.js").read_text()
AXE = Path(AXE_FILE_PATH).read_text()
KEPT_UNDER = "hullbook-looks"  # as static/js/looks.js
INCOMPLETE = """[...document.querySelectorAll("main form[method=post]")]
    .find(one => [...one.querySelectorAll(":required")].some(field => !field.value))"""


@dataclass(frozen=True)
class Tablet:
    """A size of glass: CSS px lying, and how many of them are a millimetre (85.60 mm of a card over its px)."""

    name: str
    width: int
    height: int
    mm: float

    @property
    def turns(self) -> tuple[tuple[int, int], tuple[int, int]]:
        return (self.width, self.height), (self.height, self.width)


TABLETS = (
    Tablet("10.1 in", 1280, 800, 6.0),
    Tablet("8 in", 1280, 800, 636 / 85.6),
    Tablet("10.9 in", 1180, 820, 444 / 85.6),
)
# UX-1, UX-2 and UX-4, in mm; UX-9, in px.
RULES = {"first": 20, "other": 15, "apart": 2, "actApart": 8}
LEAST_TYPE_PX = 18


@dataclass
class Walked:
    """What was seen on the way; each list names page, tablet and turn."""

    pages: list[str] = field(default_factory=list)
    floor: list[str] = field(default_factory=list)
    small: list[str] = field(default_factory=list)
    close: list[str] = field(default_factory=list)
    type: list[str] = field(default_factory=list)
    wide: list[str] = field(default_factory=list)
    without_unit: list[str] = field(default_factory=list)
    unfit: list[str] = field(default_factory=list)
    words: dict[str, str] = field(default_factory=dict)
    prints: dict[str, bytes] = field(default_factory=dict)
    trouble: list[str] = field(default_factory=list)
    targets: int = 0
    texts: int = 0
    numbers: int = 0


def sign_in(page: Page, server: str) -> None:
    page.goto(f"{server}/sign-in/")
    page.locator("#id_username").fill("kester")
    page.locator("#id_password").fill(PASSWORD)
    page.locator(".form-acts .key-first").click()
    page.wait_for_url(f"{server}/")


def hold(page: Page, tablet: Tablet) -> None:
    page.set_viewport_size({"width": tablet.width, "height": tablet.height})
    page.evaluate("([key, mm]) => localStorage.setItem(key, JSON.stringify({mm}))", [KEPT_UNDER, tablet.mm])


def measure(page: Page, tablet: Tablet, where: str, seen: Walked) -> None:
    """A floor page as it stands, lying and standing."""
    page.evaluate(MEASURES)
    page.evaluate("floorMeasures.unfold()")
    for width, height in tablet.turns:
        page.set_viewport_size({"width": width, "height": height})
        at = f"{where} on {tablet.name}, {width} wide"
        sizes = page.evaluate("rules => floorMeasures.sizes(rules)", {"mm": tablet.mm, **RULES})
        letters = page.evaluate("least => floorMeasures.type(least)", LEAST_TYPE_PX)
        units = page.evaluate("floorMeasures.withoutUnit()")
        seen.small += [f"{at}: {one}" for one in sizes["small"]]
        seen.close += [f"{at}: {one}" for one in sizes["close"]]
        seen.type += [f"{at}: {one}" for one in letters["small"]]
        seen.without_unit += [f"{at}: {one}" for one in units["missing"]]
        seen.wide += [f"{at}: {one}" for one in page.evaluate("floorMeasures.sticksOut()")]
        seen.targets, seen.texts = seen.targets + sizes["count"], seen.texts + letters["count"]
        seen.numbers += units["count"]
    page.set_viewport_size({"width": tablet.width, "height": tablet.height})


def found_by_axe(page: Page, *, is_floor: bool) -> list[str]:
    """Breaches of WCAG 2.2 A and AA, on the floor also of 1.4.6 (seven to one). By night only the colours differ."""
    contrast = ["color-contrast-enhanced"] if is_floor else ["color-contrast"]
    page.evaluate(AXE)
    return page.evaluate(
        """async contrast => {
            const found = [];
            const look = async (theme, options) => {
                document.documentElement.dataset.theme = theme;
                const { violations } = await axe.run(document, { resultTypes: ["violations"], ...options });
                for (const breach of violations)
                    for (const node of breach.nodes) found.push(`${breach.id}, ${theme}: ${node.html.slice(0, 120)}`);
            };
            const plain = { "color-contrast": { enabled: false } };
            const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
            await look("day", { runOnly: tags, rules: plain });
            for (const theme of ["night", "day"]) await look(theme, { runOnly: { type: "rule", values: contrast } });
            return found;
        }""",
        contrast,
    )


def links_on(page: Page, server: str) -> set[str]:
    found = page.eval_on_selector_all("a[href]", LINKS)
    return {link.split("#")[0].split("?")[0] for link in found if link.startswith(server)}


def kind_of(path: str) -> str:
    """Six hulls look alike, and so do their parts, and so do materials by their code."""
    return re.sub(r"[^/]*[0-9A-Z][^/]*", "*", path)


def hear(page: Page, seen: Walked) -> None:
    page.on("pageerror", lambda error: seen.trouble.append(f"{page.url}: {error}"))

    def console(message: Any) -> None:
        if message.type == "error" and "422" not in message.text:
            seen.trouble.append(f"{page.url}: {message.text}")

    page.on("console", console)


def walk(context: BrowserContext, server: str, starts: tuple[str, ...]) -> Walked:
    """Every kind of page once on the first tablet: measured, judged and printed; then its floor pages on the others."""
    seen, page = Walked(), context.new_page()
    hear(page, seen)
    sign_in(page, server)
    hold(page, TABLETS[0])
    to_see, done, kinds = {f"{server}{start}" for start in starts}, set(), set()
    while to_see:
        # The shortest first, so that the same pages are walked each time.
        url = min(to_see, key=lambda one: (len(one), one))
        to_see.discard(url)
        done.add(url)
        kind = kind_of(url.removeprefix(server))
        if kind in kinds or NOT_PAGES.search(url):
            continue
        kinds.add(kind)
        answer = page.goto(url)
        if answer is None or answer.status != 200:
            seen.trouble.append(f"{url}: {answer.status if answer else 'no answer'}")
            continue
        to_see |= links_on(page, server) - done
        look_at(page, url.removeprefix(server), seen)
    for tablet in TABLETS[1:]:
        hold(page, tablet)
        for path in seen.floor:
            page.goto(f"{server}{path}")
            measure(page, tablet, path, seen)
    page.close()
    return seen


def look_at(page: Page, path: str, seen: Walked) -> None:
    seen.pages.append(path)
    is_floor = page.locator("body.floor").count() > 0
    seen.words[path] = page.evaluate(WORDS)
    if is_floor:
        seen.floor.append(path)
        measure(page, TABLETS[0], path, seen)
    seen.unfit += [f"{path}: {one}" for one in found_by_axe(page, is_floor=is_floor)]
    seen.prints[path] = page.pdf(prefer_css_page_size=True, print_background=False)
    if is_floor:
        look_at_it_refused(page, path, seen)


def look_at_it_refused(page: Page, path: str, seen: Walked) -> None:
    """The same form sent with a field missing comes back with what is wrong in words."""
    if page.evaluate(f"Boolean({INCOMPLETE})"):
        with page.expect_navigation(wait_until="load"):
            page.evaluate(f"HTMLFormElement.prototype.submit.call({INCOMPLETE})")
        expect(page.locator(".wrong").first).to_be_visible()
        measure(page, TABLETS[0], f"{path}, refused", seen)
        seen.unfit += [f"{path}, refused: {one}" for one in found_by_axe(page, is_floor=True)]


def hold_and_measure(page: Page, tablet: Tablet, path: str, seen: Walked) -> None:
    hold(page, tablet)
    page.reload()
    measure(page, tablet, f"{path} as a tablet", seen)
    if tablet == TABLETS[0]:
        seen.unfit += [f"{path} as a tablet: {one}" for one in found_by_axe(page, is_floor=True)]


def walk_as_a_tablet(browser: Browser, server: str, paths: list[str], seen: Walked) -> None:
    """A browser enrolled as a tablet of the shed, with its crew strip, somebody lit: the floor pages once more."""
    context = browser.new_context(service_workers="block")
    page = context.new_page()
    hear(page, seen)
    sign_in(page, server)
    page.goto(f"{server}/yard/tablets/enrol/")
    page.locator("main form input:not([type=hidden])").first.fill("Bay 1")
    page.locator(".form-acts .key-first").click()
    page.wait_for_url(f"{server}/tablet/crew/")
    for on_strip in (1, 2, 3, 4):
        page.locator("button[name=on][value=yes]").first.click()
        expect(page.locator("button[name=on][value=no]")).to_have_count(on_strip)
    seen.floor.append("/tablet/who/")
    seen.floor.append("/tablet/crew/")
    for tablet in TABLETS:
        page.goto(f"{server}/tablet/who/")
        hold_and_measure(page, tablet, "/tablet/who/", seen)
    # From here on the tablet knows who it is, and is asked no more.
    with page.expect_navigation(wait_until="load"):
        page.locator("main .tile").first.click()
    for tablet in TABLETS:
        for path in ("/tablet/crew/", *paths):
            page.goto(f"{server}{path}")
            hold_and_measure(page, tablet, path, seen)
    context.close()
