from math import pi, sqrt

import pytest
from scipy import stats

from hullbook.calc.errors import InputRefused
from hullbook.hulls.models import RevisionInForce
from hullbook.hulls.services import take_into_force
from hullbook.materials import services as store
from hullbook.materials.enums import SourceKind
from hullbook.pours import services
from hullbook.pours.enums import PlanItemKind
from hullbook.pours.models import PlanInput, PlanItem, ResinPlan
from hullbook.pours.selectors import plan_in_force, plan_view, revision_of_plan_is_in_force, worked_out_plan
from hullbook.quantities import tables
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from tests.cast import told
from tests.hulls.factories import Berth, draft, make_berth, sign
from tests.pours.factories import plan_inputs, set_plan

pytestmark = pytest.mark.django_db

LIQUID, CURED, GLASS = 1.080, 1.140, 2.560  # kg/l


@pytest.fixture
def berth() -> Berth:
    return make_berth()


def likely(plan: ResinPlan, kind: PlanItemKind, zone: str = "") -> float:
    return plan.items.get(kind=kind, zone_name=zone).likely_kg


def test_laminate_resin_is_the_cloth_at_its_fibre_share_with_laps(berth: Berth) -> None:
    # resin = w (1 - psi) / psi, or w (rho_r / rho_f) (1 / phi - 1); laps B / (B - b). Constituents as in ASTM D3171.
    plan = set_plan(berth)
    csm = 0.225 * (1 - 0.42) / 0.42
    biax = 0.8 * (CURED / GLASS) * (1 / 0.52 - 1) * 1.27 / (1.27 - 0.05)
    uni = 0.6 * (CURED / GLASS) * (1 / 0.55 - 1) * 0.6 / (0.6 - 0.05)
    assert likely(plan, PlanItemKind.LAMINATE, "Keel") == pytest.approx(4.0 * (csm + biax + uni), abs=1e-5)
    assert likely(plan, PlanItemKind.LAMINATE, "Bottom") == pytest.approx(18.0 * 2 * biax, abs=1e-5)


def test_core_resin_is_cut_cells_grooves_and_holes(berth: Berth) -> None:
    # Plane geometry: half a cell deep on every cut face, crossed grooves less their crossings, holes in a square grid.
    plan = set_plan(berth)
    half_cell = (1 - 80 / 1400) * 0.4 / 2
    grooves, groove_walls = 2 * (1 - (1 - 2 / 20) ** 2), 2 * (2 * 2 / 20)
    holes, hole_walls = pi / 4 * 2**2 * 20 / 20**2, pi * 2 * 20 / 20**2
    millimetres = 2 * half_cell + grooves + holes + (groove_walls + hole_walls) * half_cell
    assert likely(plan, PlanItemKind.CORE, "Bottom") == pytest.approx(18.0 * millimetres * LIQUID, abs=1e-5)


def test_what_leaves_with_the_bag_is_plain_geometry(berth: Berth) -> None:
    plan = set_plan(berth)
    assert likely(plan, PlanItemKind.MEDIUM) == pytest.approx((1.0 - 0.16 / 0.95) * LIQUID * 20.0, abs=1e-5)
    assert likely(plan, PlanItemKind.PEEL_PLY) == pytest.approx(0.06 * 24.0, abs=1e-5)
    assert likely(plan, PlanItemKind.CHANNELS) == pytest.approx(pi / 4 * 0.14**2 * 200 * LIQUID, abs=1e-5)
    assert likely(plan, PlanItemKind.HOSES) == pytest.approx(pi / 4 * 0.12**2 * 120 * LIQUID, abs=1e-5)
    by_area = (likely(plan, PlanItemKind.LAMINATE, "Keel") + likely(plan, PlanItemKind.LAMINATE, "Bottom")) / 22.0
    assert likely(plan, PlanItemKind.BRAKE) == pytest.approx(18.0 * (0.06 * by_area + 0.12 * 0.06), abs=1e-5)


def test_what_stays_in_the_pails_goes_by_how_many_are_mixed(berth: Berth) -> None:
    plan = set_plan(berth)
    outside = (PlanItemKind.TRAP, PlanItemKind.PAIL_FILM, PlanItemKind.HEEL, PlanItemKind.CUPS)
    in_the_bag = sum(item.likely_kg for item in plan.items.all() if item.kind not in outside)
    assert likely(plan, PlanItemKind.TRAP) == pytest.approx(0.01 * in_the_bag, abs=1e-5)
    film = (pi * 2.9 * 3.6 + pi / 4 * 2.9**2) * 0.002 * LIQUID
    heel = pi / 4 * 2.9**2 * 0.2 * LIQUID
    pails = 6  # each gives 12.5 kg less its film and 0.2 kg of cups
    assert (pails - 1) * (12.5 - film - 0.2) < 1.01 * in_the_bag + heel <= pails * (12.5 - film - 0.2)
    assert likely(plan, PlanItemKind.PAIL_FILM) == pytest.approx(pails * film, abs=1e-5)
    assert likely(plan, PlanItemKind.HEEL) == pytest.approx(heel, abs=1e-5)
    assert plan_view(plan).pails == pails
    assert likely(plan, PlanItemKind.CUPS) == pytest.approx(pails * 0.2, abs=1e-5)


def test_the_plan_is_conserved_items_add_up_to_its_totals(berth: Berth) -> None:
    view = plan_view(set_plan(berth))
    for name in ("low_kg", "likely_kg", "high_kg"):
        total = getattr(view.plan, name)
        assert sum(getattr(one.item, name) for one in view.items) == pytest.approx(total, abs=1e-5)
        assert sum(getattr(one, name) for one in view.purposes) == pytest.approx(total, abs=1e-5)
        outside = sum(getattr(one.item, name) for one in view.items if not one.item.zone_name)
        assert sum(getattr(one, name) for one in view.zones) + outside == pytest.approx(total, abs=1e-5)
    assert sum(one.expected_kg for one in view.items) == pytest.approx(view.plan.mean_kg, abs=1e-5)


def test_the_band_is_the_one_of_triangles_with_one_error_of_area_through_all(berth: Berth) -> None:
    # Moments from scipy.stats.triang; the common area error adds straight on what goes with area.
    plan = set_plan(berth)
    triangles = []
    for item in plan.items.all():
        width = item.high_kg - item.low_kg
        triangles.append((item, stats.triang((item.likely_kg - item.low_kg) / width, item.low_kg, width)))
    assert plan.mean_kg == pytest.approx(sum(one.mean() for _, one in triangles), abs=1e-4)
    area_mean = sum(one.mean() for item, one in triangles if item.goes_with_area)
    variance = sum(one.var() for _, one in triangles) + (0.02 * area_mean) ** 2
    assert plan.sd_kg == pytest.approx(sqrt(variance), rel=1e-4)


def test_the_order_is_whole_containers_above_what_the_costs_ask_for(berth: Berth) -> None:
    # The newsvendor's critical ratio with scipy's normal quantile.
    view = plan_view(set_plan(berth))
    upper = view.plan.mean_kg + stats.norm.ppf(20_000 / 20_200) * view.plan.sd_kg
    assert view.plan.upper_kg == pytest.approx(upper, abs=1e-4)
    assert (view.plan.containers - 1) * 25 < upper <= view.plan.containers * 25
    assert view.order_with_contingency_kg == view.order_kg + 25
    assert view.catalyst_kg == pytest.approx(view.order_with_contingency_kg * 0.02)
    assert view.chance_percent == pytest.approx(99.0, abs=0.02)


def test_bands_come_from_the_tables_and_say_how_well_they_are_founded(berth: Berth) -> None:
    item = set_plan(berth).items.get(kind=PlanItemKind.CORE)
    band = tables.bands("allowances")["core"]
    assert (item.low_kg / item.likely_kg, item.high_kg / item.likely_kg) == pytest.approx(
        (band.low, band.high), rel=1e-5
    )
    assert "common practice" in item.source
    assert "laid flat" in item.source


def test_every_figure_a_plan_was_worked_out_from_is_kept_with_its_source(berth: Berth) -> None:
    plan = set_plan(berth)
    assert plan.inputs.get(name="flange_length_m").value == 18.0
    assert plan.inputs.get(name="pick_up_kg_m2", material=berth.shelf.peel_ply).source_kind == SourceKind.DATA_SHEET
    assert plan.inputs.get(name="medium_coverage_m2").material == berth.shelf.flow_medium
    assert not PlanInput.objects.filter(source="").exists()
    assert not PlanItem.objects.filter(source="").exists()
    assert checked_book().is_whole


def test_an_item_is_no_better_founded_than_its_weakest_figure(berth: Berth) -> None:
    plan = set_plan(berth)
    assert plan.items.get(kind=PlanItemKind.LAMINATE, zone_name="Keel").source_kind == SourceKind.DATA_SHEET
    assert plan.items.get(kind=PlanItemKind.HOSES).source_kind == SourceKind.YARD


def test_a_plan_without_flow_medium_has_none(berth: Berth) -> None:
    plan = set_plan(berth, medium=None, medium_coverage_m2=0.0)
    assert not plan.items.filter(kind=PlanItemKind.MEDIUM).exists()


def test_what_a_sheet_does_not_give_is_named_with_its_material(berth: Berth) -> None:
    entries = Entry.objects.count()
    with pytest.raises(Refused, match="Not in the sheet: thickness of SP-12.*areal weight of SP-12"):
        set_plan(berth, medium=berth.shelf.spiral)
    assert Entry.objects.count() == entries


def test_a_part_without_a_revision_in_force_has_no_plan(berth: Berth) -> None:
    taken = RevisionInForce.objects.get()
    store.strike_out(entry=taken.entry, reason="taken for another hull", told=told())
    with pytest.raises(Refused, match="No revision is in force"):
        set_plan(berth)


def test_each_material_is_compared_with_what_is_released(berth: Berth, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("django.utils.timezone.localdate", lambda *_: told().happened_at.date())
    view = plan_view(set_plan(berth, channel=berth.shelf.spiral, hose=berth.shelf.hose, pail_kg=10.0))
    needs = {need.material.code: need for need in view.needs}
    # Two plies in the bottom and one in the keel, laps and waste counted.
    assert needs["GB-800"].quantity == pytest.approx((18 * 2 + 4) * 1.27 / 1.22 * 1.1)
    assert needs["GB-800"].is_enough
    assert needs["PV-80-20"].quantity == pytest.approx(18 * 1.1)
    assert needs["SP-12"].quantity == 20.0
    assert needs["VE-10"].quantity == view.order_with_contingency_kg
    assert needs["VE-10"].released == 600.0
    short = plan_view(set_plan(berth, container_kg=250.0, contingency_containers=2.0))
    resin = next(need for need in short.needs if need.material == berth.shelf.resin)
    assert resin.short_by == pytest.approx(150.0)
    assert not resin.is_enough


def test_the_last_plan_set_is_in_force_and_a_new_revision_asks_for_another(berth: Berth) -> None:
    set_plan(berth)
    second = set_plan(berth, flange_length_m=19.0)
    assert plan_in_force(berth.part) == second
    assert revision_of_plan_is_in_force(second)
    later = sign(draft(berth.model, berth.shelf))
    take_into_force(part=berth.part, revision=later, told=told())
    assert not revision_of_plan_is_in_force(second)


def test_looking_at_a_plan_before_it_is_set_puts_nothing_in_the_book(berth: Berth) -> None:
    entries = Entry.objects.count()
    view = worked_out_plan(berth.part, berth.shelf.system, plan_inputs(berth.shelf))
    assert Entry.objects.count() == entries
    assert view.plan.mean_kg == pytest.approx(set_plan(berth).mean_kg, abs=1e-5)


def test_a_surplus_dearer_than_running_out_is_taken_for_a_mix_up(berth: Berth) -> None:
    with pytest.raises(InputRefused, match="cost of running out"):
        services.set_resin_plan(
            part=berth.part,
            system=berth.shelf.system,
            inputs=plan_inputs(berth.shelf, cost_of_running_out=10.0),
            told=told(),
        )


def test_a_pail_that_holds_less_than_it_loses_is_refused(berth: Berth) -> None:
    with pytest.raises(InputRefused, match="more than what each pail loses"):
        set_plan(berth, pail_kg=0.25)
