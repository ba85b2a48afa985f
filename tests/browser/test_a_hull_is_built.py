"""What people do, in a browser, from laying down a hull to opening its dossier."""

import datetime as dt
import io
import re

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader
from pytest_django.live_server_helper import LiveServer

from hullbook.operations.demo import tell_demo_yard
from hullbook.records.selectors import checked_book

pytestmark = pytest.mark.django_db(transaction=True)

PASSWORD = "only for this test"
HULL = "MB84-07"
PART = f"/hulls/{HULL}/parts/hull%20shell"


class Person:
    """Somebody at a browser."""

    def __init__(self, page: Page, server: str) -> None:
        self.page, self.server = page, server

    def goes_to(self, path: str) -> None:
        answer = self.page.goto(f"{self.server}{path}")
        assert answer is not None
        assert answer.status == 200, path

    def signs_in(self, name: str) -> None:
        self.goes_to("/sign-in/")
        self.page.locator("#id_username").fill(name)
        self.page.locator("#id_password").fill(PASSWORD)
        self.page.locator(".form-acts .key-first").click()
        expect(self.page.get_by_role("heading", name="The shed")).to_be_visible()

    def fills(self, **values: str) -> None:
        for name, value in values.items():
            field = self.page.locator(f"main [name='{name}']:not([type='hidden'])")
            kind = field.first.evaluate("field => field.type")
            if kind == "radio":
                self.page.locator(f"main [name='{name}'][value='{value}']").check()
            elif kind == "select-one":
                wanted = field.locator("option").filter(has_text=re.compile(re.escape(value))).first
                field.select_option(value=wanted.get_attribute("value"))
            else:
                field.fill(value)

    def waits_for_the_book(self) -> None:
        """A form of the floor stays locked until the book has answered or the next page is there."""
        expect(self.page.locator("form[data-sending]")).to_have_count(0)
        self.page.wait_for_load_state()

    def puts_it_in_the_book(self) -> None:
        """Press the form's key; answer each question with "right as given"."""
        here = self.page.url
        self.page.locator(".form-acts .key-first").click()
        self.waits_for_the_book()
        while self.page.locator(".question").count():
            self.page.locator(".question [name^='answer-']").first.click()
            self.waits_for_the_book()
        wrong = self.page.locator(".wrong").all_inner_texts()
        assert not wrong, f"{here}: {wrong}"


def test_from_laying_down_to_the_dossier(page: Page, live_server: LiveServer, trouble: list[str]) -> None:
    tell_demo_yard(lambda _: PASSWORD)
    kester = Person(page, live_server.url)
    kester.signs_in("kester")
    today = dt.datetime.now(dt.UTC).date().isoformat()

    # Laid down, and built to the schedule in force.
    kester.goes_to("/hulls/lay-down/")
    kester.fills(
        number=HULL,
        boat_model="MB84",
        mould="M-84",
        pull_number="7",
        bay="Bay 1",
        build_regime="commercial",
        customer_reference="invented pilot station D",
        laid_down_on=today,
        part_names="hull shell",
    )
    kester.puts_it_in_the_book()
    expect(page.get_by_text(HULL).first).to_be_visible()
    kester.goes_to(f"{PART}/revision/")
    kester.fills(revision="B")
    kester.puts_it_in_the_book()

    # A wrong unit is refused in words, nothing is lost; then the first line is laid.
    kester.goes_to(f"{PART}/lay-up/log/?line=1")
    kester.fills(outcome="laid", lot="R-0015", quantity="about five", laid_by="MO", second_person="RT")
    page.locator(".form-acts .key-first").click()
    expect(page.locator(".pad-asked")).to_contain_text("about five")
    kester.fills(quantity="5.1")
    kester.puts_it_in_the_book()

    # The bag holds.
    kester.goes_to(f"{PART}/hold-tests/log/")
    readings = "\n".join(f"{minute} {14.0 + 0.2 * minute:.1f}" for minute in range(0, 26, 2))
    kester.fills(
        gauge="G-01",
        gauge_kind="absolute",
        readings=readings,
        air_temperature_start_c="20.5",
        air_temperature_end_c="20.6",
    )
    kester.puts_it_in_the_book()
    kester.goes_to(f"{PART}/hold-tests/1/")
    expect(page.locator(".level-pass").first).to_be_visible()

    # The resin is planned.
    kester.goes_to(f"{PART}/plan/set/")
    kester.fills(
        system="VE-10",
        figures_source="laying-out drawing FL-84-2 (invented)",
        medium="FM-1",
        medium_coverage_m2="31",
        peel_ply="PP-1",
        peel_ply_coverage_m2="36",
        channel="SP-14",
        channel_length_m="26",
        hose="HO-12",
        hose_length_m="16",
        flange_length_m="19",
        overrun_m="0.06",
        brake_width_m="0.12",
        trap_share_percent="1",
        pail_kg="18.2",
        pail_diameter_mm="290",
        pail_height_mm="360",
        pail_film_mm="0.2",
        heel_mm="20",
        cups_per_pail_kg="0.2",
        waste_fraction="0.05",
        area_relative_sd="0.02",
        cost_of_running_out="20000",
        cost_of_surplus="200",
        container_kg="25",
        contingency_containers="1",
    )
    kester.puts_it_in_the_book()
    expect(page.get_by_text("expected").first).to_be_visible()

    # The pour is begun before its hold point is released: asked, answered, kept. Two pails are mixed.
    kester.goes_to(f"{PART}/pours/begin/")
    kester.puts_it_in_the_book()
    for pail in ("1", "2"):
        kester.goes_to(f"{PART}/pours/1/mix/")
        kester.fills(
            pail_number=pail,
            resin_kg="18.20",
            catalyst_g="273",
            resin_temperature_c="20.1",
            resin_lot="R-0019",
            catalyst_lot="R-0007",
            inlet="1",
            mixed_by="MO",
            second_person="RT",
            scale="S-01",
            catalyst_scale="S-02",
            thermometer="T-01",
        )
        kester.puts_it_in_the_book()
    expect(page.get_by_text("36.95").first).to_be_visible()

    # The dossier is drawn as it stands, and says so.
    kester.goes_to(f"/hulls/{HULL}/dossier/")
    answer = page.request.get(f"{live_server.url}/hulls/{HULL}/dossier/draw/")
    assert answer.status == 200
    assert answer.headers["content-type"] == "application/pdf"
    pages = [one.extract_text() for one in PdfReader(io.BytesIO(answer.body())).pages]
    assert all(HULL in text for text in pages)
    assert all(f"page {number} of {len(pages)}" in text for number, text in enumerate(pages, 1))
    assert all("not for acceptance" in text for text in pages)
    assert any("18.20" in text and "R-0019" in text for text in pages)

    assert trouble == []
    assert checked_book().is_whole
