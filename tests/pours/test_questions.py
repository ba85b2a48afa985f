"""What a pour has left open, asked after the clamp."""

import datetime as dt

import pytest

from hullbook.hulls.enums import HullSide
from hullbook.materials import services as store
from hullbook.pours import services
from hullbook.pours.enums import GelPlace, InletMove, PailEnded, RemainderPlace, TroubleKind
from hullbook.pours.selectors import (
    OpenQuestion,
    gap_questions,
    number_gaps,
    open_questions,
    pour_day,
)
from tests.cast import MORNING, told
from tests.pours.factories import Running, running

pytestmark = pytest.mark.django_db


@pytest.fixture
def run() -> Running:
    return running()


def asked(run: Running) -> list[OpenQuestion]:
    return open_questions(pour_day(run.pour))


def sentences(run: Running) -> list[str]:
    return [question.sentence for question in asked(run)]


def answer(run: Running, question: OpenQuestion, words: str) -> None:
    services.answer_question(pour=run.pour, question=question.code, words=words, told=run.at(200))


def calm(run: Running, until: float = 60) -> None:
    """A pour in which nothing is left open: read every ten minutes, inlets shut, gel logged."""
    run.inlet(1, 0)
    for minute in range(0, int(until) + 1, 10):
        run.pressure(14.0, minute)
    run.inlet(1, until, InletMove.SHUT)
    run.close(until)
    services.log_gel(
        pour=run.pour, mix=None, at=GelPlace.PART, place="flange", temperature_c=None, told=run.at(until + 60)
    )


def test_a_pour_in_which_all_was_logged_asks_nothing(run: Running) -> None:
    calm(run)
    assert asked(run) == []


def test_the_same_pail_twice_is_asked_until_one_is_struck_out_or_numbered_anew(run: Running) -> None:
    first = run.day.mix(1, minute=1)
    second = run.day.mix(1, minute=1, resin_kg=12.48, told=run.at(1, "RT"), mixed_by="RT", second_person="")
    (question,) = asked(run)
    assert question.sentence == (
        "Pail 1 was logged twice: 12.69\u00a0kg MO 08:01:00, 12.67\u00a0kg RT 08:01:00. One pail or two?"
    )
    strike, anew = question.answers[:2]
    assert strike.url.endswith(f"/entries/{first.pk}/strike-out/")
    assert strike.fields == {"reason": "pail 1 was logged on two tablets"}
    assert anew.url.endswith(f"/mixes/{first.pk}/correct/")
    store.strike_out(entry=second.entry, reason="one pail", told=run.at(80))
    assert asked(run) == []


def test_what_was_left_in_a_pail_is_asked_until_it_is_weighed_each_or_all_together(run: Running) -> None:
    first, second, third = (run.day.mix(number, minute=number) for number in (1, 2, 3))
    run.end(first, 20)
    run.end(second, 30, PailEnded.DUMPED)
    run.trouble(TroubleKind.PAIL_SPOILT, 25, mix=third)
    assert not [one for one in sentences(run) if one.startswith("Pail 1")]
    run.close(40)
    assert [one for one in sentences(run) if "weighed" in one] == [
        "Pail 1 is empty since 08:20. What was left in it, weighed?",
        "Pail 3 is spoilt since 08:25. What was left in it, weighed?",
        "Pail 2 is dumped since 08:30. What was left in it, weighed?",
    ]
    run.left(third, 6.0, 90)
    services.log_remainder(
        pour=run.pour,
        mix=None,
        place=RemainderPlace.PAIL,
        mass_kg=0.5,
        standard_uncertainty_kg=0.1,
        scale=None,
        told=run.at(95),
    )
    assert [one for one in sentences(run) if "weighed" in one] == [
        "Pail 2 is dumped since 08:30. What was left in it, weighed?"
    ]


def test_more_left_in_a_pail_than_was_mixed_is_asked_with_the_rows_that_may_be_wrong(run: Running) -> None:
    mix = run.day.mix(1, minute=1)
    left = run.left(mix, 13.0, 60)
    (question,) = asked(run)
    assert question.sentence.startswith("13.00\u00a0kg was left in pail 1, of 12.69\u00a0kg mixed.")
    assert [one.url.split("/")[-3] for one in question.answers] == [str(left.pk), str(mix.pk)]


def test_trouble_is_asked_about_until_it_says_what_was_done(run: Running) -> None:
    leak = run.trouble(TroubleKind.LEAK, 22, station="5", side=HullSide.PORT, girth_mm=700.0)
    stop = run.trouble(TroubleKind.ALL_STOP, 30)
    run.mend(stop, 33)
    assert sentences(run) == ["Leak, station 5, port, 700 mm from the keel, 08:22. What was done about it?"]
    run.mend(leak, 24)
    assert len(asked(run)) == 1
    run.mend(leak, 26, "taped twice, feed behind it lowered")
    assert asked(run) == []


def test_why_so_late_is_asked_of_what_was_logged_more_than_half_an_hour_after(run: Running) -> None:
    run.front("5", HullSide.PORT, 300, 10, tapped_at=MORNING + dt.timedelta(minutes=40))
    front = run.front("5", HullSide.PORT, 300, 10, tapped_at=MORNING + dt.timedelta(minutes=41))
    (question,) = asked(run)
    assert question.sentence == "Front reached, 08:10, was logged at 08:41 by MO. Why so late?"
    assert [one.words for one in question.answers] == [
        "hands full",
        "tablet away",
        "copied from paper",
        "put right after a check",
    ]
    assert question.answers[0].fields == {"question": f"late-{front.pk}", "words": "hands full"}
    answer(run, question, "hands full")
    assert asked(run) == []


def test_an_inlet_never_shut_and_gel_never_seen_are_asked_only_after_the_clamp(run: Running) -> None:
    run.inlet(1, 5)
    run.pressure(14.0, 10)
    assert asked(run) == []
    run.close(18)
    assert sentences(run) == [
        "Gel is not logged anywhere in the part. When did it gel?",
        "Inlet 1 was opened at 08:05 and never shut by the book. When was it shut?",
    ]
    run.inlet(1, 18, InletMove.SHUT)
    assert len(asked(run)) == 1


def test_a_place_where_the_front_was_not_seen_through_is_asked_about_after_the_clamp(run: Running) -> None:
    calm(run)
    run.fronts(1820, 50)
    assert asked(run) == []
    for row in pour_day(run.pour).fronts:
        if (row.station, row.side) == ("5", "port"):
            store.strike_out(entry=row.entry, reason="it was starboard", told=run.at(130))
    run.front("5", HullSide.PORT, 1500, 48)
    (question,) = asked(run)
    assert question.sentence == (
        "The front is not logged at the flange of station 5, port; last at 1500\u00a0mm. Was it through there?"
    )
    answer(run, question, "not through")
    assert asked(run) == []


def test_a_hole_in_the_readings_is_asked_about_and_stays_a_hole(run: Running) -> None:
    run.inlet(1, 0)
    run.inlet(1, 60, InletMove.SHUT)
    for minute in (10, 20, 50):
        run.pressure(14.0, minute)
    run.close(60)
    holes = [one for one in asked(run) if "was not read" in one.sentence]
    assert [one.sentence for one in holes] == ["The bag's pressure was not read 08:20 to 08:50. Why?"]
    answer(run, holes[0], "gauge dead")
    assert not [one for one in sentences(run) if "was not read" in one]
    assert len(pour_day(run.pour).readings) == 3


def test_questions_come_oldest_first(run: Running) -> None:
    run.trouble(TroubleKind.LEAK, 30)
    run.end(run.day.mix(1, minute=1), 20, PailEnded.DUMPED)
    run.trouble(TroubleKind.DRY_CORNER, 10)
    assert [question.since.minute for question in asked(run)] == [10, 20, 30]


# ---- Numbers of other tablets


def test_numbers_a_tablet_gave_that_are_not_in_the_book_are_asked_about(run: Running) -> None:
    for sequence in (4, 5, 9, 10):
        numbered = told("MO", at=MORNING + dt.timedelta(minutes=sequence), device="tablet-2", device_sequence=sequence)
        services.note_in_pour(pour=run.pour, words="x", told=numbered)
    (gap,) = number_gaps(run.pour)
    assert (gap.device, gap.first, gap.last, gap.count) == ("tablet-2", 6, 8, 3)
    (question,) = gap_questions(pour_day(run.pour))
    assert question.sentence.startswith("Number 6 to 8 of tablet-2 is not in the book.")
    answer(run, question, "logged again from memory")
    assert gap_questions(pour_day(run.pour)) == []
