import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from hullbook.cure.models import Demoulded
from hullbook.drawings.hull_profile import STAGES
from hullbook.hulls.models import Hull
from hullbook.hulls.services import begin_revision, leave_yard, sign_revision, take_into_force
from hullbook.inspection.selectors import STAGE_NAMES, hull_stages, shed_stages
from hullbook.materials.services import strike_out
from hullbook.pours.enums import GelPlace
from hullbook.pours.models import Gel
from tests.cast import DAY, MORNING, told
from tests.hulls.factories import SHELL
from tests.inspection.factories import LAST_DAY, POUR_DAY, Sheltered, hours, poured, sheltered

pytestmark = pytest.mark.django_db


def states(hull: Hull) -> dict[str, str]:
    return {stage.name: stage.state for stage in hull_stages(hull)}


def begun(hull: Hull) -> list[str]:
    return [f"{name} {state}" for name, state in states(hull).items() if state != "not begun"]


def test_the_stages_are_those_the_profile_draws() -> None:
    assert STAGE_NAMES == STAGES


def test_a_complete_hull_is_done_but_for_the_survey(whole: Sheltered) -> None:
    found = hull_stages(whole.hull)
    assert [stage.number for stage in found] == list(range(11))
    assert [stage.state for stage in found] == ["done"] * 10 + ["under way"]


def test_hold_point_12_or_leaving_the_yard_ends_the_survey(whole: Sheltered) -> None:
    leave_yard(hull=whole.hull, left_on=DAY, delivered_to="", told=told(at=hours(LAST_DAY, 8)))
    assert states(whole.hull)["Survey"] == "done"
    assert whole.hull.number not in shed_stages()


def test_a_hull_goes_through_its_stages_one_by_one(whole: Sheltered) -> None:
    berth = sheltered(whole.shop, whole.shelf, "MB84-02")
    hull = berth.hull
    assert begun(hull) == ["Mould under way"]
    berth.release(2, hours(MORNING, 1))
    assert begun(hull) == ["Mould done"]
    berth.lay(1, hours(MORNING, 2))
    assert begun(hull) == ["Mould done", "Skin under way"]
    for line in (2, 3, 4):
        berth.lay(line, hours(MORNING, 2 + line / 10))
    assert begun(hull) == ["Mould done", "Skin done"]
    berth.lay(5, hours(MORNING, 3))
    assert begun(hull)[-1] == "Core under way"
    berth.lay(6, hours(MORNING, 4))
    assert begun(hull)[-2:] == ["Core done", "Bag under way"]
    berth.hold_test(hours(MORNING, 5), rise_mbar_min=2.0)
    assert begun(hull)[-2:] == ["Bag done", "Hold under way"]
    poured(berth)
    assert begun(hull)[-3:] == ["Hold done", "Pour done", "Gel under way"]


def test_the_last_hold_test_decides(whole: Sheltered) -> None:
    whole.hold_test(hours(POUR_DAY, 0.9), rise_mbar_min=2.0)
    assert states(whole.hull)["Hold"] == "under way"


def test_striking_an_entry_out_takes_its_stage_back(whole: Sheltered) -> None:
    gel = Gel.objects.select_related("entry").get(at=GelPlace.PART)
    strike_out(entry=gel.entry, reason="was the cup", told=told(at=hours(LAST_DAY, 8)))
    assert states(whole.hull)["Gel"] == "under way"
    demould = Demoulded.objects.select_related("entry").get()
    strike_out(entry=demould.entry, reason="wrong hull", told=told(at=hours(LAST_DAY, 8)))
    assert (states(whole.hull)["Cure"], states(whole.hull)["Demould"]) == ("under way", "not begun")


def test_a_soft_zone_takes_hardness_back(whole: Sheltered) -> None:
    whole.try_hardness("Keel", hours(LAST_DAY, 8), [20.0] * 30)
    assert states(whole.hull)["Hardness"] == "under way"


def test_lines_laid_to_an_earlier_revision_count_where_the_new_one_says_the_same(whole: Sheltered) -> None:
    model = whole.hull.boat_model
    later = begin_revision(boat_model=model, part_name=SHELL, based_on=whole.revision, drawn_by="EL", at=LAST_DAY)
    sign_revision(revision=later, approval="drawing MB84-H-02", told=told(at=hours(LAST_DAY, 8)))
    take_into_force(part=whole.part, revision=later, told=told(at=hours(LAST_DAY, 8)))
    assert (states(whole.hull)["Skin"], states(whole.hull)["Core"]) == ("done", "done")


def test_the_whole_shed_is_read_with_as_many_queries_as_one_hull(whole: Sheltered) -> None:
    with CaptureQueriesContext(connection) as one:
        shed_stages()
    for number in range(2, 6):
        berth = sheltered(whole.shop, whole.shelf, f"MB84-0{number}")
        berth.lay(1, hours(MORNING, 2))
        berth.hold_test(hours(MORNING, 3))
    with CaptureQueriesContext(connection) as many:
        found = shed_stages()
    assert list(found) == [f"MB84-0{number}" for number in range(1, 6)]
    assert len(many) <= len(one) + 2
