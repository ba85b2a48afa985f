"""Numbers keyed with gloves on: the pad and the step keys on three tablets, what is refused, what is asked and kept."""

from collections.abc import Iterator
from itertools import combinations
from typing import Any

import pytest
from django.conf import settings
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect
from pytest_django.live_server_helper import LiveServer

from hullbook.dossier.selectors import dossier_content
from hullbook.pours.enums import GaugeKind
from hullbook.pours.models import Mix, PourReading
from hullbook.pours.services import log_bag_pressure
from tests.cast import told
from tests.pours.factories import PourDay, begin
from tests.pours.test_views import calibrated_today, fresh_lots, pail
from tests.pours.test_views import page as address

pytestmark = pytest.mark.django_db(transaction=True)

# A 10.1 inch tablet lying and standing, and a 10.9 inch one, in CSS px; one millimetre on each.
TABLETS = [((1280, 800), 5.9), ((800, 1280), 5.9), ((1180, 820), 5.2)]
GAP_MM, KEY_MM = 2, 20
IS_ON_TOP = """one => {
  const box = one.getBoundingClientRect();
  return one.contains(document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2));
}"""


@pytest.fixture
def day() -> PourDay:
    """A pour with its first pail in the book: the next has its lots and scales from that."""
    day = begin()
    fresh_lots(day.berth)
    calibrated_today(day.berth)
    client = Client()
    client.force_login(day.berth.shop.builder)
    assert client.post(address("mix-log", day.berth, 1), pail(day, catalyst_g="187")).status_code == 302
    return day


class Tapping:
    """A page and how often it was tapped beside the keys of the pad."""

    def __init__(self, page: Page, server: str, day: PourDay) -> None:
        self.page, self.server, self.day, self.taps = page, server, day, 0
        client = Client()
        client.force_login(day.berth.shop.builder)
        cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
        page.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": server}])

    def goes_to(self, name: str, *arguments: object) -> None:
        answer = self.page.goto(self.server + address(name, self.day.berth, *arguments))
        assert answer is not None
        assert answer.status == 200

    def taps_on(self, target: Locator) -> None:
        self.taps += 1
        target.click()

    @property
    def pad(self) -> Locator:
        return self.page.locator(".pad")

    def keys(self, keys: str) -> None:
        for key in keys:
            self.pad.get_by_role("button", name=key, exact=True).click()

    def goes_on(self) -> None:
        self.pad.locator(".pad-onward").click()

    def field(self, name: str) -> Locator:
        return self.page.locator(f"#id_{name}")


@pytest.fixture
def hand(page: Page, live_server: LiveServer, day: PourDay, trouble: list[str]) -> Iterator[Tapping]:
    yield Tapping(page, live_server.url, day)
    assert trouble == []


def boxes(keys: Locator) -> list[dict[str, float]]:
    return [box for key in keys.all() if (box := key.bounding_box())]  # type: ignore[misc]


def gap(one: dict[str, float], other: dict[str, float]) -> float:
    """Between the edges of two boxes, the wider way; below nought where they overlap."""
    across = max(one["x"], other["x"]) - min(one["x"] + one["width"], other["x"] + other["width"])
    down = max(one["y"], other["y"]) - min(one["y"] + one["height"], other["y"] + other["height"])
    return max(across, down)


def fit_a_glove(keys: Locator, page: Page, mm: float) -> None:
    found, size = boxes(keys), page.viewport_size
    assert size is not None
    assert found
    for box in found:
        assert min(box["width"], box["height"]) >= KEY_MM * mm, box
        assert box["x"] >= 0, box
        assert box["y"] >= 0, box
        assert box["x"] + box["width"] <= size["width"], box
        assert box["y"] + box["height"] <= size["height"], box
    assert all(gap(one, other) >= GAP_MM * mm for one, other in combinations(found, 2))


@pytest.mark.parametrize(("size", "mm"), TABLETS)
def test_the_pad_fits_a_glove_and_covers_neither_the_field_nor_the_question(
    hand: Tapping, size: tuple[int, int], mm: float
) -> None:
    page = hand.page
    page.set_viewport_size({"width": size[0], "height": size[1]})
    hand.goes_to("mix-log", 1)
    hand.field("resin_kg").click()
    fit_a_glove(hand.pad.locator("button"), page, mm)
    field, panel = hand.field("resin_kg").bounding_box(), hand.pad.bounding_box()
    assert field is not None
    assert panel is not None
    assert gap(field, panel) >= 0  # type: ignore[arg-type]
    assert field["y"] >= 0
    assert field["y"] + field["height"] <= size[1]
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") == 0
    rows: dict[float, str] = {}
    for key in hand.pad.locator(".pad-key:not(.pad-word, .pad-onward)").all():
        box = key.bounding_box()
        assert box is not None
        rows[box["y"]] = rows.get(box["y"], "") + key.inner_text()
    assert list(rows.values()) == ["123", "456", "789", ".0"]
    hand.keys("1.25")
    hand.goes_on()
    expect(hand.pad.locator(".question-sentence")).to_have_text(
        "Resin: 1.25\u00a0kg is about a tenth of the plan (12.5\u00a0kg)."
    )
    answers = hand.pad.locator("button")
    assert answers.all_inner_texts() == ["12.5\u00a0kg", "1.25\u00a0kg is right", "Key again"]
    fit_a_glove(answers, page, mm)
    assert hand.pad.locator(".question-sentence").evaluate(IS_ON_TOP)


def test_a_key_that_is_refused_says_why_for_a_moment_and_changes_nothing(hand: Tapping) -> None:
    hand.goes_to("mix-log", 1)
    hand.field("resin_kg").click()
    hand.keys("12.4")
    point = hand.pad.locator(".pad-key:not(.pad-word)", has_text=".")
    point.click()
    refused = hand.pad.locator(".is-refused")
    expect(refused).to_have_text("one point only")
    expect(refused).to_have_count(0, timeout=700)
    hand.keys("85")
    expect(hand.pad.locator(".is-refused")).to_have_text("2 places only")
    expect(hand.field("resin_kg")).to_have_value("12.48")
    expect(hand.pad.locator(".pad-figures")).to_have_text("12.48")


def test_a_scale_without_a_point_has_no_point_key(hand: Tapping) -> None:
    hand.goes_to("mix-log", 1)
    hand.field("catalyst_g").click()
    assert "." not in "".join(hand.pad.locator(".pad-key:not(.pad-word, .pad-onward)").all_inner_texts())
    hand.field("resin_temperature_c").click()
    assert "." in hand.pad.locator(".pad-key").all_inner_texts()


def test_what_cannot_be_is_refused_in_a_sentence_before_it_goes_anywhere(hand: Tapping) -> None:
    hand.goes_to("mix-log", 1)
    hand.field("resin_kg").click()
    hand.keys("1250")
    hand.goes_on()
    expect(hand.pad.locator(".question-sentence")).to_have_text(
        "Resin: 1250 is not accepted; 1250 g is 1.25 kg; give 0.05 to 250 kg"
    )
    hand.pad.get_by_role("button", name="Key again").click()
    expect(hand.field("resin_kg")).to_have_value("")
    hand.keys("12.5")
    expect(hand.field("resin_kg")).to_have_value("12.5")


def test_a_pail_takes_its_keys_and_two_taps(hand: Tapping) -> None:
    hand.goes_to("mix-log", 1)
    quantities = hand.page.locator("input[data-quantity]")
    assert {one.input_value() for one in quantities.all()} == {""}
    hand.taps_on(hand.field("resin_kg"))
    hand.keys("12.48")
    hand.goes_on()
    hand.keys("187")
    hand.goes_on()
    hand.keys("20.5")
    hand.taps_on(hand.pad.get_by_role("button", name="Mixed, now"))
    expect(hand.page.locator(".pad")).to_be_hidden()
    in_the_book(hand, 2)
    assert hand.taps == 2
    resin = Mix.objects.order_by("pk")[1].components.get(role="resin")
    assert resin.mass_kg == pytest.approx(12.48)


def test_the_likely_value_is_taken_with_one_tap_and_stands_in_the_book(hand: Tapping) -> None:
    hand.goes_to("mix-log", 1)
    hand.field("resin_kg").click()
    hand.keys("1.25")
    hand.goes_on()
    hand.pad.get_by_role("button", name="12.5\u00a0kg", exact=True).click()
    expect(hand.field("resin_kg")).to_have_value("12.5")
    hand.keys("187")
    hand.goes_on()
    hand.keys("20")
    hand.goes_on()
    in_the_book(hand, 2)
    mix = Mix.objects.order_by("pk")[1]
    assert mix.components.get(role="resin").mass_kg == pytest.approx(12.5)
    assert mix.entry.confirmed == []


def test_what_was_right_all_the_same_is_kept_and_printed_as_asked_confirmed(hand: Tapping) -> None:
    hand.goes_to("mix-log", 1)
    hand.field("resin_kg").click()
    hand.keys("6")
    hand.goes_on()
    hand.pad.get_by_role("button", name="6\u00a0kg is right").click()
    hand.keys("90")
    hand.goes_on()
    hand.keys("20")
    hand.goes_on()
    in_the_book(hand, 2)
    entry = Mix.objects.order_by("pk")[1].entry
    sentence = "Resin: 6\u00a0kg is far from the plan (12.5\u00a0kg); mostly it is 11.25 to 13.75\u00a0kg."
    assert entry.confirmed == [{"field": "resin_kg", "given": "6", "question": sentence}]
    (asked,) = dossier_content(hand.day.berth.hull).asked
    assert asked.because == f"{sentence} Asked, confirmed: 6."


def test_a_reading_taken_again_is_two_taps(hand: Tapping) -> None:
    log_bag_pressure(
        pour=hand.day.pour,
        gauge=hand.day.berth.shop.gauge,
        gauge_kind=GaugeKind.ABSOLUTE,
        gauge_mbar=14.2,
        station_pressure_mbar=None,
        place="",
        told=told("MO", at=timezone.now()),
    )
    hand.goes_to("reading-log", 1)
    expect(hand.field("gauge_mbar")).to_have_value("")
    steps = hand.page.locator(".steps button")
    assert [step.inner_text().split() for step in steps.all()] == [
        ["14.1", "−1"],
        ["14.2", "same"],
        ["14.3", "+1"],
        ["14.4", "+2"],
        ["14.5", "+3"],
        ["KEYPAD"],
    ]
    hand.taps_on(steps.nth(1))
    hand.taps_on(hand.page.locator(".form-acts .key-first"))
    wait_until(hand, lambda: PourReading.objects.count() == 2)
    assert hand.taps == 2
    assert PourReading.objects.order_by("pk")[1].gauge_mbar == pytest.approx(14.2)


def test_a_keyboard_writes_as_ever_and_is_asked_the_same(hand: Tapping) -> None:
    hand.goes_to("mix-log", 1)
    for name, text in (("resin_kg", "125"), ("catalyst_g", "187"), ("resin_temperature_c", "20")):
        hand.field(name).focus()
        hand.page.keyboard.type(text)
    expect(hand.pad).to_be_hidden()
    hand.page.keyboard.press("Enter")
    expect(hand.pad.locator(".question-sentence")).to_contain_text("about ten times the plan")
    hand.pad.get_by_role("button", name="12.5\u00a0kg", exact=True).click()
    in_the_book(hand, 2)


def test_the_unit_stands_beside_each_figure_at_least_six_tenths_as_high(hand: Tapping) -> None:
    hand.goes_to("mix-log", 1)
    hand.field("resin_kg").click()
    size = "one => parseFloat(getComputedStyle(one).fontSize)"
    pairs = [(hand.pad.locator(".pad-figures"), hand.pad.locator(".unit"))]
    for name in ("resin_kg", "catalyst_g", "resin_temperature_c"):
        pairs.append((hand.field(name), hand.page.locator(f"#field-{name} .unit")))
    for figure, unit in pairs:
        assert unit.inner_text() in ("kg", "g", "°C")
        assert unit.evaluate(size) >= 0.6 * figure.evaluate(size)
    expect(hand.page.locator("input[placeholder]")).to_have_count(0)


def test_in_the_office_nothing_changes(hand: Tapping) -> None:
    hand.page.goto(f"{hand.server}/store/receive/VE-10/")
    quantity = hand.page.locator("input[data-quantity]").first
    expect(quantity).to_have_attribute("inputmode", "decimal")
    quantity.click()
    expect(hand.page.locator(".pad")).to_have_count(0)


def wait_until(hand: Tapping, is_so: Any) -> None:
    for _ in range(50):
        if is_so():
            return
        hand.page.wait_for_timeout(100)
    raise AssertionError(hand.page.locator("main").inner_text())


def in_the_book(hand: Tapping, pails: int) -> None:
    wait_until(hand, lambda: Mix.objects.count() == pails)
