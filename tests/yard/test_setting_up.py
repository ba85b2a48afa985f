"""The page on which a tablet is set up keeps everything on the tablet and nothing in the book."""

import pytest
from bs4 import BeautifulSoup
from django.test import Client
from django.urls import reverse

from hullbook.records.selectors import book_head
from tests.cast import Shop, open_shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Shop:
    return open_shop()


def shown(client: Client) -> BeautifulSoup:
    answer = client.get(reverse("yard:setting-up"))
    assert answer.status_code == 200
    return BeautifulSoup(answer.content, "html.parser")


def test_it_has_the_card_the_hands_the_themes_and_the_sizes_to_try(shop: Shop, client: Client) -> None:
    client.force_login(shop.builder)
    page = shown(client)
    assert {key["value"] for key in page.select("[data-choose=hand]")} == {"left", "right"}
    assert {key["value"] for key in page.select("[data-choose=theme]")} == {"day", "night", "by itself"}
    # Each mark is moved by taps alone, coarse and fine, both ways.
    for mark in ("left", "right"):
        assert [int(key["value"]) for key in page.select(f"[data-move={mark}]")] == [-10, -1, 1, 10]
    assert [field.button.text for field in page.select("[data-try]")] == ["9 mm", "15 mm", "20 mm", "30 mm"]
    assert "Turn the tablet from the door" in page.text


def test_it_sends_nothing_and_writes_nothing(shop: Shop, client: Client) -> None:
    client.force_login(shop.builder)
    head = book_head()
    page = shown(client)
    assert page.select("main form") == []
    assert client.post(reverse("yard:setting-up"), {"hand": "left"}).status_code == 405
    assert book_head() == head


def test_the_looks_are_put_on_before_the_styles_are_read(shop: Shop, client: Client) -> None:
    client.force_login(shop.builder)
    head = shown(client).head
    early = head.find("script", src=lambda src: src and "early" in src)
    assert not {"async", "defer", "type"} & set(early.attrs)
    assert early.find_next("link", rel="stylesheet") is not None
    assert early.find_previous("link", rel="stylesheet") is None
