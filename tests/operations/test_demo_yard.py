"""The invented yard, told into the engine under test."""

import pytest

from hullbook.hulls.models import Hull, LeftYard, Part
from hullbook.materials.models import Lot
from hullbook.operations.demo import tell_demo_yard
from hullbook.pours.models import MixComponent, Pour, PourClosed
from hullbook.pours.selectors import open_questions, pour_day
from hullbook.records.models import Judgement
from hullbook.records.selectors import checked_book
from hullbook.yard.models import Person, Yard

pytestmark = pytest.mark.django_db


@pytest.fixture
def demo() -> None:
    tell_demo_yard(lambda _: "only for this test")


def test_the_demo_yard_is_as_it_should_be(demo: None) -> None:
    check = checked_book()
    assert check.is_whole, check.because
    assert check.entries > 600

    # Six hulls at different stages.
    assert list(Hull.objects.order_by("number").values_list("number", flat=True)) == [f"MB84-0{n}" for n in range(1, 7)]
    assert set(LeftYard.objects.values_list("hull__number", flat=True)) == {"MB84-01", "MB84-02"}
    poured = set(Pour.objects.values_list("part__hull__number", flat=True))
    closed = set(PourClosed.objects.values_list("pour__part__hull__number", flat=True))
    assert poured - closed == {"MB84-05"}
    laid_up = Part.objects.get(hull__number="MB84-06")
    assert 0 < laid_up.layings.count() < 23

    # The two delivered hulls share a resin lot.
    shared = Lot.objects.get(code="R-0006")
    hulls_of_lot = set(MixComponent.objects.filter(lot=shared).values_list("mix__pour__part__hull__number", flat=True))
    assert hulls_of_lot == {"MB84-01", "MB84-02"}

    # Something is wrong where the story says so, and nowhere else.
    wrong = Judgement.objects.filter(level__in=["fail", "conditional fail"]).values_list("entry__about", "code")
    assert set(wrong) == {("MB84-02", "hold.rise"), ("MB84-04", "hardness.mean")}

    # Two pours were told minute by minute to the clamp and leave nothing open; one is under way.
    days = {pour.part.hull.number: pour_day(pour) for pour in Pour.objects.select_related("part__hull", "plan")}
    told = {number: day for number, day in days.items() if day.fronts}
    assert sorted(told) == ["MB84-03", "MB84-04", "MB84-05"]
    assert len(told["MB84-03"].fronts) > 55
    for number in ("MB84-03", "MB84-04"):
        assert told[number].is_through
        assert open_questions(told[number]) == []
    under_way = told["MB84-05"]
    assert (under_way.is_through, under_way.closing) == (False, None)
    assert [question.code.split("-")[0] for question in open_questions(under_way)] == ["pail"]

    # Marked as invented.
    assert Yard.objects.get().is_invented
    assert all("invented" in person.full_name for person in Person.objects.all())
