"""Every page of the demo yard, on a tablet lying and standing: it opens, nothing sticks out, the browser is content."""

from typing import Any

import pytest
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from hullbook.operations.demo import tell_demo_yard

pytestmark = pytest.mark.django_db(transaction=True)

SIZES = ({"width": 1280, "height": 800}, {"width": 800, "height": 1280})
LINKS = "links => links.map(link => new URL(link.getAttribute('href'), document.baseURI).href)"
PASSWORD = "only for this test"
NOT_PAGES = (".csv", ".pdf", "/csv/", "/file/", "/download/", "dossier/draw", "sign-out", "/certificates/", "/issues/")


def links_on(page: Page, here: str) -> set[str]:
    found = page.eval_on_selector_all("a[href]", LINKS)
    return {link.split("#")[0].split("?")[0] for link in found if link.startswith(here)}


def test_every_page_opens_at_both_sizes_and_nothing_sticks_out(
    page: Page, live_server: LiveServer, trouble: list[str]
) -> None:
    tell_demo_yard(lambda _: PASSWORD)
    page.goto(f"{live_server.url}/sign-in/")
    page.get_by_label("Signs in as", exact=False).or_(page.locator("#id_username")).first.fill("kester")
    page.locator("#id_password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").last.click()
    page.wait_for_url(f"{live_server.url}/")
    to_see, seen, wide = {f"{live_server.url}/"}, set(), []
    kinds: dict[str, int] = {}
    while to_see:
        url = to_see.pop()
        seen.add(url)
        kind = "".join("#" if character.isdigit() else character for character in url)
        kinds[kind] = kinds.get(kind, 0) + 1
        # Two of each kind of page are enough: six hulls look alike.
        if kinds[kind] > 2 or any(ending in url for ending in NOT_PAGES):
            continue
        answer = page.goto(url)
        assert answer is not None
        assert answer.status == 200, url
        for size in SIZES:
            page.set_viewport_size(size)  # type: ignore[arg-type]
            sticks_out: Any = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
            if sticks_out > 0:
                wide.append(f"{url} by {sticks_out} px at {size['width']}")
        to_see |= links_on(page, live_server.url) - seen
    assert wide == []
    assert trouble == []
    assert len(kinds) > 25
