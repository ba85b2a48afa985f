from math import hypot, sqrt

import pytest

from hullbook.inspection.enums import Weighed
from hullbook.inspection.models import Weighing
from hullbook.inspection.selectors import mass_balance_of, planned_against_used
from hullbook.materials.services import strike_out
from hullbook.pours.enums import ComponentRole, PlanItemKind, RemainderPlace
from hullbook.pours.models import Pour, PourClosed, Remainder
from hullbook.pours.selectors import plan_in_force
from hullbook.pours.services import GivenComponent, begin_pour, close_pour, log_remainder, set_resin_plan
from hullbook.yard.enums import InstrumentKind, LimitName
from hullbook.yard.services import register_instrument, set_limit
from tests.cast import DAY, told
from tests.inspection.factories import LAST_DAY, POUR_DAY, Sheltered, hours, plan_inputs, sheltered

pytestmark = pytest.mark.django_db
AFTERWARDS = hours(LAST_DAY, 6)


# A pour of 224.0 kg weighed back; closure 1.600 kg, 0.7143 %, standard deviation 4.308 kg, z 0.3714, recomputed with
# the `uncertainties` library (JCGM 100:2008, 5.1).
WEIGHTS = {
    Weighed.SHELL: (521.0, 1.5),
    Weighed.GELCOAT: (52.0, 2.0),
    Weighed.FIBRE: (226.0, 2.5),
    Weighed.CORE: (86.4, 2.0),
    Weighed.INSERTS: (6.0, 0.3),
}
FOUND = {
    RemainderPlace.PAIL: (9.6, 0.3),
    RemainderPlace.MEDIUM: (53.3, 1.0),
    RemainderPlace.HOSES: (3.6, 0.3),
    RemainderPlace.FLANGE: (2.4, 0.5),
    RemainderPlace.TRAP: (1.1, 0.2),
    RemainderPlace.CUPS: (1.8, 0.5),
}


@pytest.fixture
def weighed_back(whole: Sheltered) -> Sheltered:
    """Nine pails, 224.0 kg in all, on a scale whose steps leave 0.5 kg open in the sum."""
    berth = sheltered(whole.shop, whole.shelf, "MB84-09")
    scale = register_instrument(
        code="S-09",
        kind=InstrumentKind.SCALE,
        name="coarse scale",
        serial_number="INV-S-09",
        resolution=0.5 / 3 * sqrt(12) / sqrt(2),
        unit="kg",
        calibrated_on=DAY,
        due_on=DAY.replace(year=2027),
        certificate_number="C-S-09",
        standard_uncertainty_percent=0.1,
        told=told(),
    )
    set_resin_plan(part=berth.part, system=berth.shelf.system, inputs=plan_inputs(berth.shelf), told=told(at=POUR_DAY))
    pour = begin_pour(part=berth.part, told=told(at=hours(POUR_DAY, 1)))
    shelf = berth.shelf
    for number in range(1, 10):
        catalyst_kg = 0.372
        resin_kg = 224.0 / 9 - catalyst_kg
        berth.mix(
            pour,
            number,
            hours(POUR_DAY, 1 + number / 10),
            resin_kg,
            scale=scale,
            components=[
                GivenComponent(ComponentRole.RESIN, shelf.lot(shelf.resin), resin_kg),
                GivenComponent(ComponentRole.CATALYST, shelf.lot(shelf.catalyst), catalyst_kg),
            ],
        )
    for place, (mass_kg, uncertainty_kg) in FOUND.items():
        log_remainder(
            pour=pour,
            mix=None,
            place=place,
            mass_kg=mass_kg,
            standard_uncertainty_kg=uncertainty_kg,
            scale=scale,
            told=told("MO", at=hours(POUR_DAY, 3)),
        )
    close_pour(pour=pour, words="", told=told(at=hours(POUR_DAY, 3)))
    for what, (mass_kg, uncertainty_kg) in WEIGHTS.items():
        berth.weigh(what, mass_kg, uncertainty_kg, hours(LAST_DAY, 1))
    return berth


def test_the_mass_balance_of_a_weighed_pour_closes(weighed_back: Sheltered) -> None:
    found = mass_balance_of(weighed_back.part)
    assert found.balance is not None
    assert found.balance.in_part_kg == pytest.approx(150.6, rel=1e-3)
    assert found.balance.unaccounted_kg == pytest.approx(1.6, rel=1e-3)
    assert found.balance.unaccounted_percent == pytest.approx(0.7143, rel=1e-3)
    assert found.balance.closure_sd_kg == pytest.approx(4.308, rel=1e-3)
    assert found.balance.z == pytest.approx(0.3714, rel=1e-3)
    assert found.closes is True
    assert found.words == "the weights close"


def test_used_is_what_was_mixed_less_what_was_left_in_pails(weighed_back: Sheltered) -> None:
    use = planned_against_used(weighed_back.part)
    assert use.mixed is not None
    assert use.used is not None
    assert use.in_part is not None
    assert (use.pails, use.is_closed) == (9, True)
    assert use.mixed.mass_kg == pytest.approx(224.0)
    assert use.mixed.standard_uncertainty_kg == pytest.approx(0.5, rel=1e-3)
    assert use.used.mass_kg == pytest.approx(214.4)
    assert use.in_part.mass_kg == pytest.approx(224.0 - sum(mass for mass, _ in FOUND.values()))
    assert use.in_part.standard_uncertainty_kg == pytest.approx(hypot(0.5, *(u for _, u in FOUND.values())), rel=1e-3)


def test_planned_use_leaves_out_what_the_plan_leaves_in_pails(weighed_back: Sheltered) -> None:
    """Mean of a triangle: the third of its three corners (Kotz and van Dorp, Beyond Beta, 2004)."""
    use = planned_against_used(weighed_back.part)
    plan = plan_in_force(weighed_back.part)
    assert plan is not None
    assert use.comparison is not None
    in_pails = sum(
        (item.low_kg + item.likely_kg + item.high_kg) / 3
        for item in plan.items.filter(kind__in=[PlanItemKind.PAIL_FILM, PlanItemKind.HEEL])
    )
    assert in_pails > 0
    assert use.planned_kg == pytest.approx(plan.mean_kg - in_pails, abs=1e-5)
    assert use.comparison.ratio == pytest.approx(214.4 / (plan.mean_kg - in_pails), rel=1e-6)
    assert use.words == "more than planned"


def test_each_weight_not_taken_is_named(whole: Sheltered) -> None:
    for what in (Weighed.GELCOAT, Weighed.INSERTS):
        row = Weighing.objects.current().select_related("entry").get(what=what, part=whole.part)
        strike_out(entry=row.entry, reason="wrong part", told=told(at=AFTERWARDS))
    found = mass_balance_of(whole.part)
    assert found.balance is None
    assert found.why_not == (
        "not weighed yet: gelcoat and skin coat in it; inserts and paste in it. Where there is none of it, give 0 kg."
    )
    assert found.fibre is None
    assert found.fibre_why_not == found.why_not


def test_the_fibre_share_comes_from_the_weights_with_its_uncertainty(whole: Sheltered) -> None:
    """Psi = F / (S - G - C - I - U), its deviation by JCGM 100:2008, 5.1.3, worked out here step by step."""
    found = mass_balance_of(whole.part)
    plan = plan_in_force(whole.part)
    assert plan is not None
    assert found.fibre is not None
    masses = {row.what: row.mass_kg for row in found.weights}
    core = list(plan.items.filter(kind=PlanItemKind.CORE))
    in_core = sum((item.low_kg + item.likely_kg + item.high_kg) / 3 for item in core)
    laminate = masses[Weighed.SHELL] - masses[Weighed.GELCOAT] - masses[Weighed.CORE] - in_core
    assert found.fibre.laminate_kg == pytest.approx(laminate, abs=1e-4)
    assert found.fibre.fibre_mass_fraction == pytest.approx(masses[Weighed.FIBRE] / laminate, rel=1e-5)
    psi = masses[Weighed.FIBRE] / laminate
    assert found.fibre.fibre_volume_fraction == pytest.approx((psi / 2560) / (psi / 2560 + (1 - psi) / 1140), rel=1e-4)
    assert found.fibre.fibre_volume_fraction_sd > 0


def test_without_a_limit_of_the_yard_there_is_no_verdict_on_closing(whole: Sheltered) -> None:
    limit = mass_balance_of(whole.part).limit
    assert limit is not None
    strike_out(entry=limit.entry, reason="withdrawn", told=told(at=AFTERWARDS))
    found = mass_balance_of(whole.part)
    assert found.closes is None
    assert found.words.startswith("no verdict")


def test_the_yards_own_limit_decides_whether_the_weights_close(whole: Sheltered) -> None:
    set_limit(name=LimitName.CLOSURE, low=-0.1, high=0.1, over_minutes=None, source="invented LP-1 rev 4", told=told())
    found = mass_balance_of(whole.part)
    assert found.closes is False
    assert found.words == "outside the yard's limit"


def test_laid_by_zone_stands_against_the_schedule(whole: Sheltered) -> None:
    zones = {(zone.zone_name, zone.material): zone for zone in planned_against_used(whole.part).zones}
    biax = zones["Bottom", "GB-800"]
    # two lines of 18 m2 with a 50 mm lap on a 1.27 m roll: 2 x 18 x 1.27 / 1.22
    assert biax.planned == pytest.approx(2 * 18 * 1.27 / 1.22)
    assert biax.used == 8.0
    assert biax.ratio == pytest.approx(8.0 / biax.planned)
    assert zones["Keel", "GU-600"].used == 4.0


def test_what_is_laid_beside_the_schedule_has_no_plan(whole: Sheltered) -> None:
    line = whole.revision.lines.get(number=1)
    whole.lay(
        1,
        AFTERWARDS,
        line=None,
        zone=line.zone,
        outcome="extra",
        deviation="patch",
        lot=whole.shelf.lot(whole.shelf.quad),
    )
    zones = {(zone.zone_name, zone.material): zone for zone in planned_against_used(whole.part).zones}
    assert zones["Keel", "GQ-1200"].used == 4.0
    assert zones["Keel", "GQ-1200"].planned == 0


def test_a_part_without_plan_or_pails_says_so(whole: Sheltered) -> None:
    bare = sheltered(whole.shop, whole.shelf, "MB84-08")
    use = planned_against_used(bare.part)
    assert (use.plan, use.mixed, use.words) == (None, None, "no resin plan is set for this part")
    assert use.mass_balance.why_not.startswith("not weighed yet: part as demoulded and trimmed")


def test_an_open_pour_and_pails_not_weighed_back_are_said(whole: Sheltered) -> None:
    for row in (PourClosed.objects.get(), Remainder.objects.get(place=RemainderPlace.PAIL)):
        strike_out(entry=row.entry, reason="too early", told=told(at=AFTERWARDS))
    use = planned_against_used(whole.part)
    assert not use.is_closed
    assert "the pour is not closed" in use.words
    assert "the most it can be" in use.words


def test_a_pail_that_is_struck_out_leaves_the_sum(whole: Sheltered) -> None:
    before = planned_against_used(whole.part).mixed
    mix = Pour.objects.get().mixes.select_related("entry").first()
    assert before is not None
    assert mix is not None
    for gel in mix.gels.select_related("entry"):
        strike_out(entry=gel.entry, reason="of another pail", told=told(at=AFTERWARDS))
    strike_out(entry=mix.entry, reason="poured away", told=told(at=AFTERWARDS))
    after = planned_against_used(whole.part).mixed
    assert after is not None
    taken = sum(component.mass_kg for component in mix.components.all())
    assert after.mass_kg == pytest.approx(before.mass_kg - taken)
