"""The pages of the pour day, as a browser and as a tablet's outbox post to them."""

import datetime as dt
import json
import re
import uuid
from html import unescape
from typing import Any
from urllib.parse import urlencode

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from hullbook.hulls.enums import HullSide
from hullbook.pours.enums import GaugeKind, PailEnded, TroubleKind
from hullbook.pours.models import (
    AlarmTaken,
    FeedLayout,
    FrontReached,
    InletMoved,
    PailEnd,
    PourAnswer,
    PourNote,
    PourReading,
    SoundTest,
    Trouble,
    TroubleMended,
)
from hullbook.pours.selectors import layout_in_force
from hullbook.records.models import Entry
from tests.cast import MORNING, told
from tests.hulls.factories import make_berth
from tests.pours.factories import Running, running

pytestmark = pytest.mark.django_db


@pytest.fixture
def run() -> Running:
    return running()


@pytest.fixture
def mo(client: Client, run: Running) -> Client:
    client.force_login(run.day.berth.shop.builder)
    return client


def page(run: Running, name: str) -> str:
    return reverse(f"pours:{name}", args=[run.day.berth.hull.number, run.day.berth.part.name, 1])


def form(**fields: object) -> dict[str, str]:
    return {"entry_id": str(uuid.uuid4()), **{name: str(value) for name, value in fields.items()}}


def told_by_tablet(client: Client, where: str, **fields: object) -> Any:
    """As the outbox sends it: in the background, answered in JSON."""
    return client.post(where, form(**fields), headers={"Accept": "application/json"})


# ---- Copied from a paper sheet


def test_what_was_written_by_hand_names_its_paper_sheet(run: Running, mo: Client) -> None:
    mix = run.day.mix(1, minute=1)
    for name, fields in (
        ("inlet-log", {"inlet_number": 1, "move": "open"}),
        ("front-log", {"station": "5", "side": "port", "girth_mm": "820"}),
        ("reading-log", {"what": "resin", "temperature_c": "21", "thermometer": run.day.berth.shop.thermometer.pk}),
        ("trouble-log", {"kind": "leak"}),
        ("note", {"words": "bag creased at 5"}),
        ("gel-log", {"at": "part"}),
        ("pail-end", {"mix": mix.entry.entry_id, "how": "empty"}),
    ):
        answer = told_by_tablet(mo, page(run, name), **fields, paper_sheet=3)
        assert answer.status_code == 201, (name, answer.content)
        assert Entry.objects.latest("number").paper_sheet == 3, name
    answer = told_by_tablet(mo, page(run, "note"), words="by hand", paper_sheet="three")
    assert answer.json()["problems"]["paper_sheet"]


def test_what_is_never_on_paper_asks_for_no_sheet(run: Running, mo: Client) -> None:
    assert b'name="paper_sheet"' in mo.get(page(run, "note")).content
    assert b'name="paper_sheet"' not in mo.get(page(run, "alarm")).content


# ---- A pour that is closed


def test_the_lit_tile_stays_lit_only_while_the_pour_is_open(run: Running, mo: Client) -> None:
    """The attribute by which a tablet's tile does not go dark."""
    assert b" data-pour" in body_of(mo.get(page(run, "day")).content)
    run.close(30)
    assert b" data-pour" not in body_of(mo.get(page(run, "day")).content)


def body_of(content: bytes) -> bytes:
    """The opening tag of the page's body."""
    return content[content.index(b"<body") :].split(b">", 1)[0]


# ---- One tap, one entry


def test_everything_of_the_day_goes_into_the_book_in_one_post(run: Running, mo: Client) -> None:
    mix = run.day.mix(1, minute=1)
    shop = run.day.berth.shop
    for name, fields, model in (
        ("sound", {"heard": "yes"}, SoundTest),
        ("inlet-log", {"inlet_number": 1, "move": "open"}, InletMoved),
        ("front-log", {"station": "5", "side": "port", "girth_mm": "820", "landmark": "line 2"}, FrontReached),
        ("reading-log", {"what": "bag pressure", "gauge": shop.gauge.pk, "gauge_mbar": "14.2"}, PourReading),
        ("reading-log", {"what": "laminate", "thermometer": shop.thermometer.pk, "temperature_c": "24"}, PourReading),
        ("trouble-log", {"kind": "leak"}, Trouble),
        ("pail-end", {"mix": mix.pk, "how": "empty"}, PailEnd),
        ("note", {"words": "hose kinked"}, PourNote),
        ("alarm", {"code": "gel-1-8", "rank": "soon"}, AlarmTaken),
        ("answer", {"question": "gel", "words": "nobody looked"}, PourAnswer),
    ):
        before = model.objects.count()
        answer = told_by_tablet(mo, page(run, name), **fields)
        assert answer.status_code == 201, (name, answer.content)
        assert model.objects.count() == before + 1
    assert Entry.objects.get(number=answer.json()["entry"]).kind == "pours.pouranswer"


def test_a_page_goes_back_to_the_day_or_to_the_open_questions_it_was_come_to_from(run: Running, mo: Client) -> None:
    fields = {"inlet_number": 1, "move": "open"}
    assert mo.post(page(run, "inlet-log"), form(**fields))["Location"] == page(run, "day")
    where = f"{page(run, 'inlet-log')}?{urlencode({'next': page(run, 'questions')})}"
    assert mo.post(where, form(**fields))["Location"] == page(run, "questions")
    elsewhere = f"{page(run, 'inlet-log')}?next=https://elsewhere.example/"
    assert mo.post(elsewhere, form(**fields))["Location"] == page(run, "day")


def test_a_tablet_names_a_pail_and_a_trouble_by_the_id_it_gave_them_itself(run: Running, mo: Client) -> None:
    mix, leak = run.day.mix(1, minute=1), run.trouble(TroubleKind.LEAK, 5)
    ended = told_by_tablet(mo, page(run, "pail-end"), mix=mix.entry.entry_id, how="dumped")
    mended = told_by_tablet(mo, page(run, "mended"), trouble=leak.entry.entry_id, words="taped")
    gel = told_by_tablet(mo, page(run, "gel-log"), mix=mix.entry.entry_id, at="cup")
    assert [one.status_code for one in (ended, mended, gel)] == [201, 201, 201]
    assert PailEnd.objects.get().mix == mix
    assert TroubleMended.objects.get().trouble == leak
    answer = told_by_tablet(mo, page(run, "pail-end"), mix=uuid.uuid4(), how="dumped")
    assert (answer.status_code, list(answer.json()["problems"])) == (422, ["mix"])


def test_a_pail_put_right_meanwhile_can_still_be_logged_as_empty(run: Running, mo: Client) -> None:
    mix = run.day.mix(1, minute=1)
    run.day.mix(1, minute=1, corrects=mix, reason="inlet 2, not 1", inlet="2")
    assert told_by_tablet(mo, page(run, "pail-end"), mix=mix.entry.entry_id, how="empty").status_code == 201
    shown = mo.get(page(run, "pail-end")).content.decode()
    assert shown.count("pail 1, mixed") == 1


def test_the_same_pail_from_a_second_tablet_is_kept_and_said_to_stand_beside_the_first(
    run: Running, mo: Client
) -> None:
    from tests.pours.test_views import calibrated_today, fresh_lots, pail

    fresh_lots(run.day.berth)
    calibrated_today(run.day.berth)
    first = mo.post(page(run, "mix-log"), pail(run.day), headers={"Accept": "application/json"})
    second = mo.post(page(run, "mix-log"), pail(run.day), headers={"Accept": "application/json"})
    assert (first.status_code, first.json()["beside"]) == (201, None)
    assert second.status_code == 201
    assert second.json()["beside"].startswith("Pail 1 was logged twice:")
    assert second.json()["beside"].endswith("One pail or two? It is asked after the clamp.")


# ---- What is asked about


def readings_now(run: Running, shown: float, minutes_ago: float, **changes: Any) -> None:
    at = timezone.now() - dt.timedelta(minutes=minutes_ago)
    run.pressure(shown, 0, told=told("MO", at=at), **changes)


def read(run: Running, client: Client, shown: str, **fields: object) -> Any:
    fields = {"what": "bag pressure", "gauge": run.day.berth.shop.gauge.pk, "gauge_mbar": shown, **fields}
    return told_by_tablet(client, page(run, "reading-log"), **fields)


def test_a_reading_far_from_the_last_is_asked_about_and_the_answer_kept(run: Running, mo: Client) -> None:
    readings_now(run, 15.0, 9)
    assert read(run, mo, "21").status_code == 201
    asked = read(run, mo, "27.5")
    assert asked.status_code == 422
    (question,) = asked.json()["questions"]
    assert "far from the last reading (21\u00a0mbar)" in question["sentence"]
    kept = read(run, mo, "27.5", **{"answer-gauge_mbar": "27.5"})
    assert kept.status_code == 201
    assert Entry.objects.get(number=kept.json()["entry"]).confirmed[0]["given"] == "27.5"


def test_a_point_left_out_is_named_and_the_likely_reading_offered(run: Running, mo: Client) -> None:
    readings_now(run, 14.6, 9)
    (question,) = read(run, mo, "146").json()["questions"]
    assert "about ten times the last reading" in question["sentence"]
    assert question["likely"] == "14.6"
    assert read(run, mo, "146", **{"instead-gauge_mbar": "14.6"}).status_code == 201
    assert PourReading.objects.order_by("-pk")[0].gauge_mbar == 14.6


def test_an_old_reading_says_nothing_about_the_next(run: Running, mo: Client) -> None:
    readings_now(run, 15.0, 90)
    assert read(run, mo, "40").status_code == 201


def test_a_reading_on_a_gauge_of_another_kind_is_not_held_against_the_last(run: Running, mo: Client) -> None:
    readings_now(run, 15.0, 9)
    relative = {"gauge_kind": GaugeKind.BELOW_ATMOSPHERE.value, "station_pressure_mbar": "1010"}
    assert read(run, mo, "995", **relative).status_code == 201


def test_a_reading_says_what_was_read_and_on_what(run: Running, mo: Client) -> None:
    answer = told_by_tablet(mo, page(run, "reading-log"), what="bag pressure", temperature_c="20")
    assert set(answer.json()["problems"]) == {"gauge", "gauge_mbar"}
    answer = told_by_tablet(mo, page(run, "reading-log"), what="resin", gauge_mbar="14")
    assert set(answer.json()["problems"]) == {"thermometer", "temperature_c"}
    answer = read(run, mo, "995", gauge_kind=GaugeKind.BELOW_ATMOSPHERE.value)
    assert "barometer" in answer.json()["problems"]["station_pressure_mbar"]


def test_a_front_past_the_flange_is_asked_about_with_the_flange_as_the_likely_place(run: Running, mo: Client) -> None:
    fields = {"station": "2", "side": "port", "girth_mm": "1420"}
    (question,) = told_by_tablet(mo, page(run, "front-log"), **fields).json()["questions"]
    assert question["likely"] == "1400"
    fields["instead-girth_mm"] = "1400"
    assert told_by_tablet(mo, page(run, "front-log"), **fields).status_code == 201


def test_a_front_that_would_go_back_is_asked_about(run: Running, mo: Client) -> None:
    run.front("2", HullSide.PORT, 900.0, 5)
    fields = {"station": "2", "side": "port", "girth_mm": "800"}
    (question,) = told_by_tablet(mo, page(run, "front-log"), **fields).json()["questions"]
    assert re.search(r"800\smm is behind the 900\smm told there at \d\d:05:00.* strike it out", question["sentence"])
    for change in ({"girth_mm": "900"}, {"side": "starboard"}, {"station": "5"}):
        assert told_by_tablet(mo, page(run, "front-log"), **(fields | change)).status_code == 201


def test_a_change_of_gauge_names_the_other_gauge(run: Running, mo: Client) -> None:
    answer = told_by_tablet(mo, page(run, "trouble-log"), kind="gauge changed")
    assert list(answer.json()["problems"]) == ["gauge"]


# ---- The sheet


def test_the_sheet_is_answered_once_and_then_only_when_the_book_has_grown(run: Running, mo: Client) -> None:
    first = mo.get(page(run, "sheet"))
    assert first.status_code == 200
    assert first.json()["pour"]["hull"] == run.day.berth.hull.number
    again = mo.get(page(run, "sheet"), headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    run.front("5", HullSide.PORT, 300, 5)
    grown = mo.get(page(run, "sheet"), headers={"If-None-Match": first["ETag"]})
    assert grown.status_code == 200
    assert len(grown.json()["fronts"]) == 1


def test_the_day_carries_its_sheet_and_a_way_without_scripts(run: Running, mo: Client) -> None:
    text = mo.get(page(run, "day")).content.decode()
    data = text.split('<script id="hb-sheet" type="application/json">')[1].split("</script>")[0]
    assert json.loads(data)["urls"]["sheet"] == page(run, "sheet")
    assert f'<a href="{page(run, "pour")}">' in text


def test_every_way_on_the_sheet_leads_somewhere(run: Running, mo: Client) -> None:
    run.close(60)
    front = run.front("5", HullSide.PORT, 300, 5)
    told_sheet = mo.get(page(run, "sheet")).json()
    urls = {**told_sheet["urls"], "strike_out": told_sheet["urls"]["strike_out"].replace("/0/", f"/{front.pk}/")}
    mo.force_login(run.day.berth.shop.lead)
    for name, url in urls.items():
        assert mo.get(url).status_code == 200, name


# ---- Feed lines


def layout_form(**changes: object) -> dict[str, str]:
    fields: dict[str, object] = {
        "lines": "1; keel; 0; both\n2; chine; 820 mm; both; 1; ; both fronts past it\n3; sheer; 1.6 m; both; 2; 1300",
        "inlets": "1; 1; both\n2; 2; starboard\n3; 2; port\n4; 3; both",
        "stations": "2; 1700\n5; 1820",
        "words": "drawing FL-84-2 (invented)",
    }
    return form(**{**fields, **changes})


def test_feed_lines_are_keyed_line_by_line_and_start_the_next_layout(run: Running, mo: Client) -> None:
    where = reverse("pours:layout-log", args=[run.day.berth.hull.number, run.day.berth.part.name])
    assert mo.post(where, layout_form()).status_code == 302
    layout = layout_in_force(run.day.berth.part)
    assert layout is not None
    assert [(line.name, line.girth_mm, line.opens_front_mm) for line in layout.lines] == [
        ("keel", 0.0, None),
        ("chine", 820.0, 820.0),
        ("sheer", 1600.0, 1300.0),
    ]
    shown = mo.get(where).context["form"]
    assert shown["lines"].value().splitlines()[1] == "2; chine; 820; both; 1; 820; both fronts past it"
    again = {name: shown[name].value() for name in ("lines", "inlets", "stations", "words")}
    assert mo.post(where, form(**again)).status_code == 302
    assert FeedLayout.objects.count() == 3


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"lines": "1; keel; 0; middle"}, "Line 1: the side cannot be 'middle'."),
        ({"lines": "1; keel"}, "Line 1: the distance from the keel is missing."),
        ({"lines": "1; keel; 20 m; both"}, "Line 1:"),
        ({"inlets": "one; 1; both"}, "Line 1: the number cannot be 'one'."),
        ({"stations": "2; 1700; 3"}, "Line 1: there are 3 cells, at most 2 are taken."),
        ({"inlets": "1; 9; both"}, "feeds line 9, which is not there"),
    ],
)
def test_a_line_that_cannot_be_read_is_named(client: Client, changes: dict[str, str], sentence: str) -> None:
    berth = make_berth()
    client.force_login(berth.shop.builder)
    answer = client.post(reverse("pours:layout-log", args=[berth.hull.number, berth.part.name]), layout_form(**changes))
    assert answer.status_code == 422
    said = " ".join(str(one) for errors in answer.context["form"].errors.values() for one in errors)
    assert sentence in said
    assert not FeedLayout.objects.exists()


# ---- After the clamp


def test_open_questions_are_answered_on_one_page(run: Running, mo: Client) -> None:
    mix = run.day.mix(1, minute=1)
    run.end(mix, 20, PailEnded.DUMPED)
    leak = run.trouble(TroubleKind.LEAK, 22)
    run.front("5", HullSide.PORT, 300, 10, tapped_at=MORNING + dt.timedelta(minutes=50))
    run.fronts(1820, 55)
    run.close(60)
    shown = mo.get(page(run, "questions"))
    asked = [question for question, _ in shown.context["asked"]]
    assert len(asked) == 5
    assert b"All of this can wait" not in shown.content
    for question in asked:
        one = next(one for one in question.answers if one.fields and not one.asks)
        answer = mo.post(f"{one.url}?{urlencode({'next': page(run, 'questions')})}", form(**one.fields))
        assert answer["Location"] == page(run, "questions")
    assert mo.get(page(run, "questions")).context["asked"] == []
    assert b"Nothing is left open." in mo.get(page(run, "questions")).content
    assert PourAnswer.objects.count() == 5
    assert not leak.mendings.exists()


def test_striking_out_from_the_open_questions_comes_back_to_them(run: Running, mo: Client) -> None:
    run.day.mix(1, minute=1)
    run.day.mix(1, minute=2)
    shown = mo.get(page(run, "questions"))
    ((question, _),) = shown.context["asked"]
    struck = next(one for one in question.answers if "strike out" in one.words)
    action = re.search(rf'action="({re.escape(struck.url)}[^"]*)"', shown.content.decode())
    assert action
    mo.force_login(run.day.berth.shop.lead)
    assert mo.post(unescape(action[1]), form(**struck.fields))["Location"] == page(run, "questions")
    assert mo.get(page(run, "questions")).context["asked"] == []


def test_an_answer_that_wants_more_has_its_form_on_the_page_with_what_is_known(run: Running, mo: Client) -> None:
    leak = run.trouble(TroubleKind.LEAK, 22)
    shown = mo.get(page(run, "questions"))
    ((_, answers),) = shown.context["asked"]
    drawn = next(drawn for one, drawn in answers if one.asks)
    assert drawn["trouble"].value() == str(leak.pk)
    assert f'action="{page(run, "mended")}?next=' in shown.content.decode()
    assert b"All of this can wait until the last inlet is shut" in shown.content


def test_gaps_are_answered_by_device_and_number(run: Running, mo: Client) -> None:
    for sequence in (1, 4):
        at = MORNING + dt.timedelta(minutes=sequence)
        run.front("5", HullSide.PORT, 100 * sequence, 0, tapped_at=at, device="tablet-2", device_sequence=sequence)
    (gap,) = mo.get(page(run, "gaps")).json()["gaps"]
    assert (gap["device"], gap["first"], gap["last"], gap["question"]) == ("tablet-2", 2, 3, "gap-tablet-2-2-3")
