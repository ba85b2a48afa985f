"""The pour chapter: what was logged while resin ran."""

import json

import pytest

from hullbook.dossier.report import draw_dossier, record_inside
from hullbook.dossier.selectors import dossier_content
from hullbook.hulls.enums import HullSide
from hullbook.materials.services import strike_out
from hullbook.pours import services
from hullbook.pours.enums import AlarmRank, InletMove, PailEnded, TroubleKind
from tests.dossier.pages import texts
from tests.pours.factories import Running, begin, running

pytestmark = pytest.mark.django_db


def drawn(run: Running) -> bytes:
    return draw_dossier(dossier_content(run.day.berth.hull))


def chapter(run: Running) -> str:
    return " ".join(texts(drawn(run)))


@pytest.fixture
def run() -> Running:
    run = running()
    run.sound(1, heard=False)
    mix = run.day.mix(1, minute=2)
    run.inlet(1, 5)
    run.fronts(640, 20)
    run.pressure(14.2, 10)
    run.pressure(18.9, 20)
    leak = run.trouble(TroubleKind.LEAK, 21, station="5", side=HullSide.PORT, girth_mm=700.0)
    services.take_alarm(pour=run.pour, code="bag pressure", rank=AlarmRank.NOW, told=run.at(22))
    run.mend(leak, 24, "seam taped again")
    run.end(mix, 30, PailEnded.DUMPED)
    run.inlet(1, 50, InletMove.SHUT)
    services.note_in_pour(pour=run.pour, words="hose straightened", told=run.at(33))
    services.answer_question(pour=run.pour, question="gel", words="nobody looked", told=run.at(90))
    return run


def test_the_chapter_tells_the_day_with_its_times(run: Running) -> None:
    text = chapter(run)
    for words in (
        "Hull shell: feed lines, logged by MO 2026-05-12 08:00 UTC",
        "when the front of feed line 1 is at 820 mm",
        "1 opened 08:05:00 MO",
        "1 shut 08:50:00 MO",
        "5 starboard 640 08:20:00",
        "4 places logged by MO.",
        "08:20:00 bag pressure – 18.9 18.9 – G-01 MO",
        "leak station 5, port, 700 mm from the keel MO",
        "seam taped again",
        "Sound test 08:01:00, MO: not heard: alarms were by the screen alone.",
        "Alarms somebody took: 1 NOW, 0 SOON: bag pressure (1).",
        "Pails: 1 dumped 08:30:00.",
        "Note 08:33:00, MO: hose straightened",
        "gel nobody looked",
    ):
        assert words in text, words


def test_what_was_struck_out_is_shown_with_its_line_and_its_reason(run: Running) -> None:
    front = run.front("2", HullSide.PORT, 990, 25)
    strike_out(entry=front.entry, reason="wrong side", told=run.at(26))
    note = services.note_in_pour(pour=run.pour, words="for practice", told=run.at(34))
    strike_out(entry=note.entry, reason="keyed for practice", told=run.at(35))
    text = chapter(run)
    assert "2 port 990 08:25:00" in text
    assert "4 places logged by MO." in text
    assert "for practice (struck out: keyed for practice" in text


def test_a_pour_that_was_not_logged_minute_by_minute_has_no_empty_tables() -> None:
    text = chapter(Running(begin()))
    assert "pour 1, begun by KJ" in text
    for words in ("inlets opened and shut", "where the front was", "while resin ran", "feed lines, logged"):
        assert words not in text


def test_everything_of_the_day_travels_inside_the_dossier_as_data(run: Running) -> None:
    inside = record_inside(drawn(run))
    assert inside is not None
    (pour,) = json.loads(inside)["content"]["parts"][0]["pours"]
    assert len(pour["day"]["fronts"]) == 4
    assert float(pour["day"]["fronts"][0]["row"]["girth_mm"]) == 640.0
    assert len(json.loads(inside)["content"]["parts"][0]["feeds"][0]["stations"]) == 2
