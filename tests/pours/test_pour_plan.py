"""The pour plan: worked out, read to the crew, shown, printed, handed to the tablet; cups and panels of the yard."""

import datetime as dt
import re
from dataclasses import replace
from math import exp, pi, sqrt
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from hullbook.calc.errors import InputRefused
from hullbook.calc.flow import fill
from hullbook.dossier.report import draw_dossier
from hullbook.dossier.selectors import dossier_content
from hullbook.hulls.enums import HullSide, Side
from hullbook.materials.enums import SourceKind
from hullbook.materials.models import MaterialProperty, ResinSystem
from hullbook.materials.selectors import gel_table, sheet_in_force
from hullbook.materials.services import GivenProperty, revise_sheet, strike_out
from hullbook.pours import services
from hullbook.pours.enums import GaugeKind, GelPlace, InletMove
from hullbook.pours.models import PourPlan, TrialPanel
from hullbook.pours.selectors import (
    fitted_panel,
    known_gel,
    pour_plan_advice,
    pour_plan_in_force,
    pour_plan_view,
    pour_sheet,
    what_a_pour_plan_lacks,
    what_has_changed,
)
from hullbook.pours.selectors.pour_plan import fill_verdict, styrene_of
from hullbook.pours.selectors.tried import gel_table_of_day
from hullbook.pours.services import GivenInlet, GivenStation
from hullbook.records.models import Entry, Judgement
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from tests.cast import MORNING, told
from tests.dossier.pages import texts
from tests.hulls.factories import Berth, make_berth
from tests.materials.factories import SHEET
from tests.pours.factories import (
    INLETS,
    LINES,
    POUR_PLAN,
    Running,
    lay_feed_lines,
    log_cup,
    panel_fields,
    read_plan,
    running,
    set_plan,
)
from tests.pours.test_views import calibrated_today, form, page

pytestmark = pytest.mark.django_db


@pytest.fixture
def berth() -> Berth:
    berth = make_berth()
    set_plan(berth)
    lay_feed_lines(berth)
    return berth


def without(berth: Berth, material: str, *names: str) -> None:
    """A newer sheet of a material that lacks some values."""
    sheet = sheet_in_force(getattr(berth.shelf, material))
    kept = [
        GivenProperty(name, known.value, known.source_kind, known.source)
        for name, known in sheet.values.items()
        if name not in names
    ]
    revise_sheet(
        material=sheet.material, name=sheet.name, maker="", fibre=sheet.fibre, finish=sheet.finish, properties=kept,
        told=told(),
    )  # fmt: skip


def darcy_front_mm(minute: float, permeability_m2: float, porosity: float, viscosity: float, pull_pa: float) -> float:
    """x = sqrt(2 K dp t / (mu eps)): Darcy's law for a straight front."""
    return 1000 * sqrt(2 * permeability_m2 * pull_pa * 60 * minute / (viscosity * porosity))


# ---- Worked out and read


def test_it_is_kept_as_it_was_read_and_reads_the_same_again(berth: Berth) -> None:
    plan = read_plan(berth)
    assert checked_book().is_whole
    view = pour_plan_view(pour_plan_in_force(berth.part) or plan)
    assert (view.plan.pk, view.plan.number) == (plan.pk, 1)
    assert [strip.place for strip in view.strips] == [
        "station 2 starboard", "station 2 port", "station 5 starboard", "station 5 port"
    ]  # fmt: skip
    assert view.slowest.fill.fill_minutes == pytest.approx(plan.fill_min, abs=0.01)
    for strip in view.strips:
        for arrival in strip.arrivals:
            girth_m = min(arrival.girth_mm / 1000, strip.fill.length_m)
            assert strip.fill.minute_at(girth_m) == pytest.approx(arrival.minute, abs=0.01)
    assert view.drawn_kg(view.slowest.fill.fill_minutes) == pytest.approx(plan.total_kg, abs=0.01)
    assert [order.who for order in view.read_to] == ["KJ", "MO", "RT"]
    assert [judgement.code for judgement in plan.entry.judgements.all()] == ["pour.fill"]


def test_the_bare_strip_fills_by_darcys_law(berth: Berth) -> None:
    """Within the first section, no medium over it, level, no hose to speak of, at the sheet's own 20 degC: c x^2."""
    plan = read_plan(berth, medium_to_mm=0.0, hose_length_m=0.001, pail_below_keel_mm=0.0)
    strip = next(one for one in pour_plan_view(plan).strips if one.station == "2")
    (keel, *_) = strip.filled.strip.sections
    pull_pa = 100 * (1010 - 20)
    minutes = 30.0 * (500 / darcy_front_mm(30.0, keel.permeability_m2, keel.porosity, 0.2, pull_pa)) ** 2
    assert strip.fill.minute_at(0.5) == pytest.approx(minutes, rel=1e-3)


def test_thickness_and_porosity_come_from_the_schedule(berth: Berth) -> None:
    view = pour_plan_view(read_plan(berth))
    bottom = next(one for one in view.strips[0].filled.strip.sections if one.name == "Bottom")
    ply_mm = 0.8 / 2560 / 0.52 * 1000  # areal weight over density and fibre share by volume
    assert bottom.thickness_mm == pytest.approx(1.0 + 2 * ply_mm, rel=1e-6)
    mesh = 1 - 0.16 / 950 * 1000 / 1.0
    assert bottom.porosity == pytest.approx((mesh + 2 * ply_mm * 0.48) / bottom.thickness_mm, rel=1e-6)
    weighted = (4000 + 2 * ply_mm * 90) / bottom.thickness_mm
    assert bottom.permeability_m2 == pytest.approx(weighted * 1e-12, rel=1e-6)


def test_the_lower_skin_lags_by_plies_and_peel_ply_together(berth: Berth) -> None:
    """L = 3/b (sqrt(2a + 4/3 b h2) - sqrt(2a)), a = 2 Kz e1 / (e2 K1), b = 2 Kz / (h1 K1), by hand for the keel.

    What is wetted is as deep as all that is crossed, the peel ply too; Kz is that of all of it one after another.
    """
    csm_mm, biax_mm, uni_mm = 225 / 2560 + 225 * 58 / 42 / 1140, 800 / 2560 / 0.52, 600 / 2560 / 0.55
    peel_ply_mm, plies_mm = 0.15, csm_mm + biax_mm + uni_mm
    depth_mm = plies_mm + peel_ply_mm
    through_um2 = depth_mm / (csm_mm / 5 + (biax_mm + uni_mm) / 2.2 + peel_ply_mm / 0.7)
    e1, e2 = 1 - 160 / 950, 1 - (225 + 800 + 600) / 2560 / plies_mm
    a, b = 2 * through_um2 * e1 / (e2 * 4000), 2 * through_um2 / 4000  # h1 is 1 mm, so that b is in 1/mm
    lag_mm = 3 / b * (sqrt(2 * a + 4 / 3 * b * depth_mm) - sqrt(2 * a))
    plan = read_plan(berth)
    assert plan.lag_m == pytest.approx(lag_mm / 1000, rel=1e-5)
    named = plan.coefficients.get(words="permeability through what lies under the medium, Keel")
    assert named.value == pytest.approx(through_um2, rel=1e-5)


def test_where_medium_and_laminate_do_not_fill_as_one_it_is_said(client: Client, berth: Berth) -> None:
    """A lag of 0.2 of the way is accepted; from a line at 1250 mm it is 150 mm of bottom to the flange of station 2."""
    plan = read_plan(berth)
    lag_mm = plan.coefficients.get(words="medium ahead of the lower skin, Bottom").value
    assert 0.2 * 150 < lag_mm < 0.2 * 580
    assert pour_plan_advice(pour_plan_view(plan)).medium_words == ""
    lay_feed_lines(berth, lines=(LINES[0], replace(LINES[1], girth_mm=1250.0)))
    words = pour_plan_advice(pour_plan_view(read_plan(berth))).medium_words
    assert words.startswith(
        "Flow medium and laminate do not fill as one from feed line 2 at station 2 starboard and on"
    )
    assert f"over 150 mm the medium runs up to {lag_mm:.0f} mm ahead, 30 are accepted" in words
    client.force_login(berth.shop.lead)
    assert words in client.get(page("pour-plan", berth)).content.decode()


def test_resin_of_the_plan_is_that_of_the_resin_plan_less_what_stays_in_the_pails(berth: Berth) -> None:
    plan = read_plan(berth)
    items = {item.kind: item.likely_kg for item in plan.resin_plan.items.filter(zone_name="")}
    outside = items["pail film"] + items["heel"] + items["cups"]
    assert plan.total_kg == pytest.approx(plan.resin_plan.likely_kg - outside, abs=1e-4)
    assert pour_plan_view(plan).resin.total_kg == pytest.approx(plan.total_kg, abs=1e-4)


@pytest.mark.parametrize(
    ("material", "name", "words"),
    [
        ("biax", "permeability_um2", "GB-800: its permeability along the plies"),
        ("flow_medium", "permeability_um2", "FM-1: its permeability along the plies"),
        ("flow_medium", "thickness_mm", "FM-1: its thickness"),
        ("flow_medium", "areal_weight_kg_m2", "FM-1: its areal weight"),
        ("flow_medium", "polymer_density_kg_m3", "FM-1: its density of the solid polymer"),
        ("resin", "second_viscosity_pa_s", "VE-10: its viscosity at two temperatures"),
    ],
)
def test_what_a_sheet_lacks_is_named_and_nothing_is_stored(berth: Berth, material: str, name: str, words: str) -> None:
    without(berth, material, name)
    assert any(words in one.words for one in what_a_pour_plan_lacks(berth.part))
    with pytest.raises(Refused, match=re.escape(words)):
        read_plan(berth)
    assert not PourPlan.objects.exists()


def test_without_plan_and_layout_both_are_missing() -> None:
    lacking = what_a_pour_plan_lacks(make_berth().part)
    assert [one.route for one in lacking] == ["pours:plan-set", "pours:layout-log"]


def test_a_first_line_off_the_keel_is_named_with_what_is_accepted(berth: Berth) -> None:
    bilge = replace(LINES[0], number=4, name="bilge", girth_mm=300.0, side=Side.STARBOARD)
    lay_feed_lines(berth, lines=(bilge,), inlets=(GivenInlet(1, 4, Side.STARBOARD),))
    lacking = what_a_pour_plan_lacks(berth.part)
    assert [one.route for one in lacking] == ["pours:layout-log", "pours:layout-log"]
    assert "Feed line 4 (bilge) is opened at the start 300 mm from the keel" in lacking[0].words
    assert "Lay it at the keel, 0 mm" in lacking[0].words
    assert "on port" in lacking[1].words
    with pytest.raises(Refused, match="Feed line 4"):
        read_plan(berth)


def test_a_temperature_past_the_resins_points_is_refused_with_a_sentence(berth: Berth) -> None:
    with pytest.raises(Refused, match="points reach from 20 to 25"):
        read_plan(berth, coldest_c=8.0, hottest_c=9.0)


def test_past_the_gel_table_the_gel_is_not_told_and_there_is_no_verdict(berth: Berth) -> None:
    plan = read_plan(berth, hottest_c=31.5)
    assert plan.gel_low_min is None
    assert "not known" in plan.gel_words
    assert pour_plan_view(plan).verdict.level == "no verdict"


def test_no_dose_outside_the_makers_limits_is_planned(berth: Berth) -> None:
    with pytest.raises(Refused, match="the maker's limits are 1.00 to 2.00") as refused:
        read_plan(berth, dose_phr=2.6)
    assert "dose_phr" in refused.value.problems
    assert not PourPlan.objects.exists()


def test_the_cup_of_the_day_moves_the_times_of_the_day(berth: Berth) -> None:
    """A cup before mixing, over what was to be expected, multiplies every time of that day's resin."""
    expected = known_gel(berth.shelf.system)
    assert not isinstance(expected, str)
    at_20 = expected.at(1.5, 20.0)
    log_cup(berth, gel_min=1.1 * at_20.mid)
    day = timezone.localdate(MORNING)
    today = known_gel(berth.shelf.system, day)
    assert not isinstance(today, str)
    assert today.at(1.2, 22.0) == pytest.approx([1.1 * one for one in expected.at(1.2, 22.0)], rel=1e-4)
    assert "1.10 by the cup of the day" in read_plan(berth).gel_words
    tomorrow = known_gel(berth.shelf.system, day + dt.timedelta(days=1))
    assert not isinstance(tomorrow, str)
    assert "drawn toward 1 cup" in tomorrow.words


def test_a_cup_of_the_day_too_far_off_stops_the_advice(berth: Berth) -> None:
    expected = known_gel(berth.shelf.system)
    assert not isinstance(expected, str)
    log_cup(berth, gel_min=0.7 * expected.at(1.5, 20.0).mid)
    plan = read_plan(berth)
    assert plan.gel_low_min is None
    assert "find out why before mixing" in plan.gel_words
    window = pour_plan_advice(pour_plan_view(plan)).window
    assert isinstance(window, str)
    assert "find out why before mixing" in window


def test_resin_that_does_not_reach_so_high_is_refused_at_its_place(berth: Berth) -> None:
    with pytest.raises(Refused, match="lifts resin 9.3"):
        read_plan(berth, pail_below_keel_mm=9500.0)


def test_a_gauge_reading_given_for_an_absolute_one_is_asked_about(berth: Berth) -> None:
    with pytest.raises(Refused) as refused:
        read_plan(berth, gauge_mbar=960.0)
    assert "gauge_mbar" in refused.value.problems


def test_a_gauge_below_atmosphere_is_taken_with_the_barometer(berth: Berth) -> None:
    """985 below an air pressure of 1010 mbar is 25 mbar absolute; below one of 990 it is 5: the barometer decides."""
    below = {"gauge_kind": GaugeKind.BELOW_ATMOSPHERE, "gauge_mbar": 985.0}
    plan = read_plan(berth, **below)
    assert plan.bag_pressure_mbar_abs == pytest.approx(25.0)
    figures = {one.words: one.value for one in plan.coefficients.all()}
    assert figures["gauge on the bag, below the air pressure of the moment"] == 985.0
    assert figures["bag pressure, absolute"] == pytest.approx(25.0)
    assert read_plan(berth, **below, station_pressure_mbar=990.0).bag_pressure_mbar_abs == pytest.approx(5.0)
    assert checked_book().is_whole


def test_a_gauge_cannot_show_more_below_than_the_air_presses(berth: Berth) -> None:
    with pytest.raises(Refused) as refused:
        read_plan(berth, gauge_kind=GaugeKind.BELOW_ATMOSPHERE, gauge_mbar=1020.0)
    assert "give 0 to 1010 mbar below air pressure" in refused.value.problems["gauge_mbar"]


def test_a_trial_panel_takes_a_gauge_below_atmosphere_too(berth: Berth) -> None:
    below = {"gauge_kind": GaugeKind.BELOW_ATMOSPHERE, "gauge_mbar": 990.0}
    panel = services.log_trial_panel(**{**panel_fields(berth), **below}, readings=readings(berth, 0.6), told=told("MO"))
    assert panel.bag_pressure_mbar_abs == pytest.approx(20.0)


def test_somebody_was_there_when_it_was_read(berth: Berth) -> None:
    with pytest.raises(Refused, match="who was there"):
        read_plan(berth, read_to=())
    with pytest.raises(Refused, match="nobody's initials"):
        read_plan(berth, read_to=("ZZ",))


def test_a_fill_longer_than_its_share_of_the_gel_fails(berth: Berth) -> None:
    plan = read_plan(berth, dose_phr=2.0, medium_to_mm=0.0)
    assert plan.fill_min > 0.7 * (plan.gel_low_min or 0)
    assert Judgement.objects.get(entry=plan.entry, code="pour.fill").level == "fail"


def test_a_fill_likely_to_take_more_than_its_share_fails_however_unsure_the_time_is(berth: Berth) -> None:
    plan = read_plan(berth)
    left_min = plan.fill_min / 0.7
    for gel_min, level in ((0.99, "fail"), (1.01, "conditional pass"), (1.01 * plan.band_high, "pass")):
        plan.gel_low_min = plan.handling_min + gel_min * left_min
        assert fill_verdict(plan).level == level


def test_a_pail_drawn_from_past_its_pot_life_is_named_before_it_gels(berth: Berth) -> None:
    """Drawn before 0.7 of its gel time: common practice, no source."""
    view = pour_plan_view(read_plan(berth))
    assert view.late_pails == ()
    slowest = max(view.pails, key=lambda pail: pail.empty_min - pail.mix_by_min)
    age_min = slowest.empty_min - slowest.mix_by_min
    view.plan.gel_low_min = age_min / 0.7 - 1
    (late,) = view.late_pails
    assert (late.number, late.is_gelled) == (slowest.number, False)
    assert "past its pot life: mix smaller pails" in late.words
    view.plan.gel_low_min = age_min - 4
    assert f"pail {slowest.number} would gel 4\xa0min before it is used up" in [one.words for one in view.late_pails]


def test_the_first_pail_stands_while_it_is_handled(berth: Berth) -> None:
    (first, second, *_) = pour_plan_view(read_plan(berth, handling_min=9.0)).pails
    assert first.mix_by_min == pytest.approx(min(0.0, second.mix_by_min) - 9.0)


def test_the_clocks_of_a_days_pails_go_by_its_cup(berth: Berth) -> None:
    """Each time is multiplied by what the day's cup said of the day's resin; the maker's table alone without one."""
    day = timezone.localdate(MORNING)
    expected = known_gel(berth.shelf.system)
    assert not isinstance(expected, str)
    by_table = gel_table_of_day(berth.shelf.system, day)
    maker = gel_table(berth.shelf.system)
    assert not isinstance(by_table, str)
    assert maker is not None
    for mine, sheets in zip(by_table.low_minutes, maker.low_minutes, strict=True):
        assert mine == pytest.approx(sheets, rel=1e-12)
    log_cup(berth, gel_min=0.9 * expected.at(1.5, 20.0).mid)
    today, before = (gel_table_of_day(berth.shelf.system, one) for one in (day, day - dt.timedelta(days=1)))
    assert not isinstance(today, str)
    assert before == by_table
    ratios = [new / old for new_row, row in zip(today.low_minutes, expected.table.low_minutes, strict=True)
              for new, old in zip(new_row, row, strict=True)]  # fmt: skip
    assert ratios == pytest.approx([0.9] * len(ratios), rel=1e-4)  # the cup is kept to a thousandth of a minute


def test_a_plan_whose_lines_or_resin_changed_since_says_so(berth: Berth) -> None:
    view = pour_plan_view(read_plan(berth))
    assert what_has_changed(view) == []
    lay_feed_lines(berth)
    set_plan(berth)
    assert len(what_has_changed(view)) == 2


def test_an_inlet_that_feeds_both_sides_counts_its_hose_double(berth: Berth) -> None:
    """128 L W / (pi D^4), Hagen-Poiseuille: 3 m of 12 mm, 4 m of hull; inlet 1 feeds both sides, 2 and 3 one each."""
    one_side = 128 * 3 * 4 / (pi * 0.012**4)
    strip = pour_plan_view(read_plan(berth)).strips[-1].filled.strip
    assert [feed.hose_resistance_1_m3 for feed in strip.feeds] == pytest.approx([2 * one_side, one_side], rel=1e-6)
    lay_feed_lines(
        berth, inlets=(GivenInlet(1, 1, Side.STARBOARD), GivenInlet(2, 1, Side.PORT), replace(INLETS[1], number=3))
    )
    plan = read_plan(berth)
    # Line 2 lies on both sides and has an inlet to starboard only: what port draws comes through it too.
    for strip in pour_plan_view(plan).strips:
        hoses = [feed.hose_resistance_1_m3 for feed in strip.filled.strip.feeds]
        assert hoses == pytest.approx([one_side, 2 * one_side], rel=1e-6)


def test_without_flow_medium_the_laminate_alone_carries_the_resin(berth: Berth) -> None:
    set_plan(berth, medium=None, medium_coverage_m2=0.0)
    view = pour_plan_view(read_plan(berth))
    bottom = next(one for one in view.strips[0].filled.strip.sections if one.name == "Bottom")
    assert bottom.permeability_m2 == pytest.approx(90e-12, rel=1e-6)
    assert bottom.porosity == pytest.approx(0.48, rel=1e-6)
    assert pour_plan_advice(view).lag_words == "No flow medium is laid."


def test_struck_out_it_is_no_longer_in_force(berth: Berth) -> None:
    first, second = read_plan(berth), read_plan(berth, dose_phr=1.3)
    assert (first.number, second.number) == (1, 2)
    strike_out(entry=second.entry, reason="read for practice", told=told())
    in_force = pour_plan_in_force(berth.part)
    assert in_force is not None
    assert in_force.pk == first.pk
    assert read_plan(berth).number == 3


def test_more_lines_and_better_places_are_never_slower(berth: Berth) -> None:
    advice = pour_plan_advice(pour_plan_view(read_plan(berth)))
    laid, even, best = (one.minutes for one in advice.spacings)
    assert best <= even + 1e-6
    assert best <= laid + 0.05  # places are sought by the centimetre
    assert advice.lines_enough is None or advice.lines_enough >= 1


# ---- Cups and panels


def readings(berth: Berth, factor: float) -> list[tuple[float, float]]:
    """As Darcy's law would have them in the lay-up of the bottom, so much more permeable than by its sheets."""
    dry = fitted_panel(**panel_fields(berth), readings=[(n, 100.0 * sqrt(n)) for n in range(1, 7)]).panel
    k = factor * dry.by_sheets_um2 * 1e-12
    return [(n, round(darcy_front_mm(n, k, dry.porosity, dry.viscosity_pa_s, 99_000), 1)) for n in (1, 2, 4, 7, 11, 16)]


def test_a_trial_panel_gives_back_the_permeability_its_front_was_made_with(berth: Berth) -> None:
    panel = services.log_trial_panel(**panel_fields(berth), readings=readings(berth, 0.6), told=told("MO"))
    assert panel.permeability_um2 == pytest.approx(0.6 * panel.by_sheets_um2, rel=2e-3)
    assert checked_book().is_whole


def log_panel(berth: Berth, factor: float, **changes: Any) -> TrialPanel:
    fields = {**panel_fields(berth), **changes}
    return services.log_trial_panel(**fields, readings=readings(berth, factor), told=told("MO"))


def test_a_trial_panel_narrows_the_band_and_scales_what_is_laid_like_it(berth: Berth) -> None:
    """The keel has cloths the panel had not, and past the flow medium it is another stack: those go by their sheets."""
    before = read_plan(berth, hose_length_m=0.001)
    assert (before.band_low, before.band_high) == (0.6, 1.7)
    panel = log_panel(berth, 0.5)
    after = read_plan(berth, hose_length_m=0.001)
    assert after.trial_id == panel.pk
    sections = zip(before.sections.all(), after.sections.all(), strict=True)
    factors = {one.name: two.permeability_um2 / one.permeability_um2 for one, two in sections}
    assert set(factors) == {"Keel", "Bottom", "Bottom, no flow medium"}
    assert factors.pop("Bottom") == pytest.approx(panel.permeability_um2 / panel.by_sheets_um2, rel=1e-5)
    assert set(factors.values()) == {1.0}
    # The band lies between the panel's and that without one, by the share of the time that either answers for.
    share = after.coefficients.get(words__startswith="share of the slowest fill").value / 100
    assert 0 < share < 1
    assert after.band_high == pytest.approx(share * 1.7 + (1 - share) * exp(2 * panel.relative_sd), rel=1e-4)
    assert after.band_low == pytest.approx(share * 0.6 + (1 - share) * exp(-2 * panel.relative_sd), rel=1e-4)
    slowest = pour_plan_view(after).slowest
    sheets_halved = [
        replace(one, permeability_m2=one.permeability_m2 / (1 if one.name == "Bottom" else 2))
        for one in slowest.filled.strip.sections
    ]
    slowed = fill(replace(slowest.filled.strip, sections=tuple(sheets_halved)), pour_plan_view(after).pull)
    assert share == pytest.approx(slowed.fill_minutes / after.fill_min - 1, rel=1e-3)
    where = after.coefficients.get(words__startswith="permeability of the trial panel").source
    assert "under the same medium, on the same core, of cloths it had" in where
    assert "where it is laid alike; by sheets elsewhere" in pour_plan_view(after).band_words


def test_a_panel_that_raced_is_no_ground_for_a_plan(berth: Berth) -> None:
    sound = log_panel(berth, 0.5)
    ahead = [(n, round(1000 * sqrt(0.01 * n + 0.02), 1)) for n in (1, 2, 4, 7, 11, 16)]
    raced = services.log_trial_panel(**panel_fields(berth), readings=ahead, told=told("MO"))
    assert raced.entry.judgements.get(code="trial.start").level == "conditional fail"
    plan = read_plan(berth)
    assert plan.trial_id == sound.pk
    assert what_has_changed(pour_plan_view(plan)) == []
    for row in (plan, sound):
        strike_out(entry=row.entry, reason="wrong cloth", told=told())
    assert read_plan(berth).trial_id is None


def test_a_panel_without_the_parts_flow_medium_says_nothing_of_it(berth: Berth) -> None:
    bare = log_panel(berth, 0.5, medium=None)
    assert read_plan(berth).trial_id is None
    set_plan(berth, medium=None, medium_coverage_m2=0.0)
    assert read_plan(berth).trial_id == bare.pk


def test_a_panel_speaks_for_stacks_with_its_own_core_only(berth: Berth) -> None:
    """The keel has the cloths of the bottom and more, and no core."""
    keel = log_panel(berth, 0.5, zone=berth.revision.zones.get(name="Keel"))
    plan = read_plan(berth)
    by_name = {one.words: one for one in plan.coefficients.all()}
    assert plan.trial_id == keel.pk
    assert "Bottom" in by_name["share of the slowest fill that goes by sheets, not by the trial panel"].source


def test_a_front_that_starts_ahead_is_marked_as_raced(berth: Berth) -> None:
    """x^2 = m t + 0.02 m2: as along an edge, or with the clock started late (common practice, no source)."""
    ahead = [(n, round(1000 * sqrt(0.01 * n + 0.02), 1)) for n in (1, 2, 4, 7, 11, 16)]
    raced = services.log_trial_panel(**panel_fields(berth), readings=ahead, told=told("MO"))
    even = services.log_trial_panel(**panel_fields(berth), readings=readings(berth, 0.6), told=told("MO"))
    levels = [panel.entry.judgements.get(code="trial.start").level for panel in (raced, even)]
    assert levels == ["conditional fail", "pass"]


def test_too_few_readings_make_no_panel(berth: Berth) -> None:
    with pytest.raises(InputRefused, match="at least"):
        services.log_trial_panel(**panel_fields(berth), readings=[(1, 100.0), (2, 150.0)], told=told("MO"))
    assert not TrialPanel.objects.exists()


def test_a_gel_cup_is_of_the_systems_own_materials(berth: Berth) -> None:
    assert log_cup(berth).gel_min == 62.0
    with pytest.raises(Refused) as refused:
        log_cup(berth, resin_lot=berth.shelf.lot(berth.shelf.gelcoat))
    assert list(refused.value.problems) == ["resin_lot"]


@pytest.mark.parametrize(
    ("keyed", "words"),
    [({"gel_min": 0.5}, "minutes: 0.5"), ({"gel_min": 2000.0}, "minutes: 2000"), ({"dose_phr": 30.0}, "dose phr: 30")],
)
def test_a_cup_that_no_fit_could_be_made_with_does_not_go_into_the_book(
    client: Client, berth: Berth, keyed: dict[str, float], words: str
) -> None:
    with pytest.raises((Refused, InputRefused), match=words):
        log_cup(berth, **keyed)
    client.force_login(berth.shop.lead)
    assert client.get(page("tried", berth)).status_code == 200


def test_a_wrong_cup_or_panel_is_struck_out_and_counts_no_more(client: Client, berth: Berth) -> None:
    cup, panel = (
        log_cup(berth),
        services.log_trial_panel(**panel_fields(berth), readings=readings(berth, 0.5), told=told("MO")),
    )
    client.force_login(berth.shop.lead)
    for entry in (cup, panel):
        way = reverse("pours:tried-strike-out", args=[berth.part.hull.number, berth.part.name, entry.pk])
        assert way in client.get(page("tried", berth)).content.decode()
        answer = client.post(way, form(reason="thermometer stood in the sun"))
        assert answer.status_code == 302, answer.content.decode()
    words = client.get(page("tried", berth)).content.decode()
    assert "No cup of this system" in words
    assert "No trial panel" in words
    gone = reverse("pours:tried-strike-out", args=[berth.part.hull.number, berth.part.name, cup.pk])
    assert client.get(gone).status_code == 404


def test_below_the_styrene_curve_there_is_no_verdict_and_the_page_stands(client: Client, berth: Berth) -> None:
    view = pour_plan_view(read_plan(berth))
    view.plan.hottest_c = 8.0
    boil = pour_plan_advice(view).boil
    assert boil is not None
    assert boil.level == "no verdict"


def test_a_place_of_the_crew_is_somebodys(berth: Berth) -> None:
    with pytest.raises(Refused) as refused:
        read_plan(berth, places=(("ZZ", "scale"),))
    assert "nobody's initials" in refused.value.problems["places ZZ"]


def test_a_newer_trial_panel_makes_the_plan_stale(berth: Berth) -> None:
    plan = read_plan(berth)
    services.log_trial_panel(**panel_fields(berth), readings=readings(berth, 0.5), told=told("MO"))
    assert what_has_changed(pour_plan_view(plan)) == ["Another trial panel counts since."]


def test_the_yards_cups_draw_the_makers_table_toward_them_and_may_stand_alone(berth: Berth) -> None:
    by_table = read_plan(berth)
    assert "the maker's table alone" in by_table.gel_words
    maker = {(1.2, 18.0): 84.0, (1.2, 23.0): 58.0, (1.8, 18.0): 56.5, (1.8, 28.0): 25.0}
    for (dose, temperature), minutes in list(maker.items())[:2]:
        log_cup(berth, dose_phr=dose, temperature_c=temperature, gel_min=1.2 * minutes)
    day_after = {"told": told(at=MORNING + dt.timedelta(days=1))}
    drawn = read_plan(berth, **day_after)
    assert "drawn toward 2 cups" in drawn.gel_words
    assert by_table.gel_mid_min < drawn.gel_mid_min < 1.25 * by_table.gel_mid_min
    for (dose, temperature), minutes in list(maker.items())[2:]:
        log_cup(berth, dose_phr=dose, temperature_c=temperature, gel_min=1.2 * minutes)
    for dose, temperature, minutes in ((1.5, 20.0, 70.0), (1.5, 25.0, 50.0)):
        log_cup(berth, dose_phr=dose, temperature_c=temperature, gel_min=minutes)
    day_after = {"told": told(at=MORNING + dt.timedelta(days=1))}
    alone = read_plan(berth, dose_phr=1.3, **day_after)
    assert "enough to stand by themselves" in alone.gel_words
    assert (alone.gel_low_min or 0) < (alone.gel_mid_min or 0) < (alone.gel_high_min or 0)


def test_a_cup_made_later_changes_nothing_that_was_read(berth: Berth) -> None:
    plan = read_plan(berth)
    before = pour_plan_advice(pour_plan_view(plan)).window
    log_cup(berth, gel_min=75.0)
    after = pour_plan_advice(pour_plan_view(plan)).window
    assert not isinstance(before, str)
    assert not isinstance(after, str)
    assert (after.window, after.known.words) == (before.window, before.known.words)


def test_one_cup_takes_nothing_away_that_the_makers_table_covers(berth: Berth) -> None:
    log_cup(berth)
    known = known_gel(berth.shelf.system)
    assert not isinstance(known, str)
    at_28, at_20 = known.at(1.5, 28.0), known.at(1.5, 20.0)
    assert at_28.high / at_28.low > at_20.high / at_20.low


def test_the_day_allows_doses_inside_the_makers_limits_only(berth: Berth) -> None:
    advice = pour_plan_advice(pour_plan_view(read_plan(berth)))
    assert not isinstance(advice.window, str)
    window = advice.window.window
    assert 1.0 <= window.low_phr <= window.high_phr <= 2.0
    assert window.required_min == pytest.approx(5.0 + advice.spacings[0].minutes / 0.7, rel=1e-2)
    assert advice.window.low_g == pytest.approx(12.5 * 10 * window.low_phr)
    slow = pour_plan_advice(pour_plan_view(read_plan(berth, medium_to_mm=0.0)))
    assert not isinstance(slow.window, str)
    assert slow.window.window.is_empty


def test_styrene_under_the_bag_is_held_against_its_boiling_and_left_out_only_where_there_is_none(berth: Berth) -> None:
    boil = pour_plan_advice(pour_plan_view(read_plan(berth))).boil
    assert boil is not None
    assert boil.level == "pass"
    without(berth, "resin", "styrene_mass_fraction")
    unknown = pour_plan_advice(pour_plan_view(read_plan(berth))).boil
    assert unknown is not None
    # As pure styrene, the safe side: 1.2 times its vapour pressure at 21 degC, 6.556 mbar by the Antoine form.
    assert unknown.low == pytest.approx(1.2 * 6.556, rel=1e-3)
    assert "does not give its styrene" in unknown.source
    epoxy = ResinSystem(resin=berth.shelf.resin, dose_high_phr=30.0)
    assert styrene_of(epoxy) is None
    with_none = [
        GivenProperty(name, known.value, known.source_kind, known.source)
        for name, known in sheet_in_force(berth.shelf.resin).values.items()
    ]
    none = GivenProperty("styrene_mass_fraction", 0.0, SourceKind.DATA_SHEET, SHEET)
    revise_sheet(
        material=berth.shelf.resin, name="VE-10", maker="", fibre="", finish="", properties=[*with_none, none],
        told=told(),
    )  # fmt: skip
    assert styrene_of(berth.shelf.system) is None


# ---- Pages


POSTED = {
    name: "" if value is None else value
    for name, value in POUR_PLAN.items()
    if name not in ("places", "stops", "read_to")
} | {"places": "KJ: calls the inlets\nMO: scale", "stops": "Clamp before the heel."}


def test_an_empty_page_says_what_is_missing_and_where_it_is_given(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.lead)
    words = client.get(page("pour-plan", berth)).content.decode()
    assert "No resin plan is set" in words
    assert page("plan-set", berth) in words
    assert "draw the first line" in words
    assert page("layout-log", berth) in words


def test_worked_out_it_is_shown_and_nothing_is_stored(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.lead)
    entries = Entry.objects.count()
    answer = client.post(page("pour-plan-read", berth), form(**POSTED, show="yes"))
    assert answer.status_code == 200
    assert "nothing of this is in the book yet" in answer.content.decode()
    assert Entry.objects.count() == entries


def test_read_to_the_crew_it_is_in_the_book(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.lead)
    answer = client.post(page("pour-plan-read", berth), {**form(**POSTED), "read_to": ["MO", "RT"]})
    assert answer.status_code == 302, answer.content.decode()
    words = client.get(page("pour-plan", berth)).content.decode()
    assert "Read to: MO, RT." in words
    assert "both fronts past line 2" in words
    assert "a trial panel of the yard would narrow it" in words
    paper = client.get(page("pour-checklist", berth)).content.decode()
    assert "Clamp before the heel." in paper
    assert "Begin to mix by" in paper


def test_a_plan_that_speaks_against_itself_is_read_only_after_a_yes(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.lead)
    keyed = {**form(**{**POSTED, "gauge_mbar": "3"}), "read_to": ["MO"]}
    answer = client.post(page("pour-plan-read", berth), keyed)
    assert answer.status_code == 422
    assert "the bag is too deep" in answer.content.decode().lower()
    assert not PourPlan.objects.exists()
    answer = client.post(page("pour-plan-read", berth), {**keyed, "answer-plan": "against"})
    assert answer.status_code == 302, answer.content.decode()
    assert "too deep" in PourPlan.objects.get().entry.keyed


def test_what_the_resin_plan_has_beyond_what_is_drawn_is_named_to_the_kilogram(client: Client, berth: Berth) -> None:
    plan = read_plan(berth)
    beside = dict(pour_plan_view(plan).beside_the_bag)
    assert list(beside) == [
        "film left in pails",
        "heel of the last pail",
        "mixing, gel cups and drips",
        "between its likely and its expected",
    ]
    assert plan.total_kg + sum(beside.values()) == pytest.approx(plan.resin_plan.mean_kg, abs=1e-4)
    # pi/4 * 290^2 mm^2 * 20 mm at 1080 kg/m3, by hand: the heel.
    assert beside["heel of the last pail"] == pytest.approx(1.427, abs=1e-3)
    client.force_login(berth.shop.builder)
    words = client.get(page("pour-plan", berth)).content.decode()
    assert "what is drawn, and" in words
    assert f"{plan.resin_plan.mean_kg:.1f}" in words


def test_the_figure_that_opens_a_line_stands_beside_its_words(berth: Berth) -> None:
    openings = pour_plan_view(read_plan(berth)).openings
    assert [one.words for one in openings] == ["at the start", "both fronts past line 2 (820 mm)"]
    assert [one.inlets for one in openings] == ["1", "2, 3"]


def test_a_pail_names_the_inlets_of_the_lines_open_while_it_is_drawn(berth: Berth) -> None:
    view = pour_plan_view(read_plan(berth))
    later = view.openings[1].minute
    for one in view.pails_at_inlets:
        before, after = one.pail.on_min < later, one.pail.empty_min > later
        assert one.inlets == {(True, False): "1", (True, True): "1 then 2, 3", (False, True): "2, 3"}[before, after]
        # Common practice, no source: 0.7 of the earliest gel of a cup, a pail of 12.5 kg taken as quick as that.
        assert one.drawn_empty_by_min == pytest.approx(one.pail.mix_by_min + 0.7 * (view.plan.gel_low_min or 0))


@pytest.mark.parametrize(
    ("coldest", "hottest", "said"),
    [
        (19.0, 21.0, ""),
        (24.0, 26.0, ""),
        (26.0, 28.0, "extrapolated: the sheet gives it from 20.0 to 25.0\u00a0°C"),
        (17.0, 19.0, "extrapolated: the sheet gives it from 20.0 to 25.0\u00a0°C"),
    ],
)
def test_a_viscosity_beyond_the_sheets_own_temperatures_says_so(
    client: Client, berth: Berth, coldest: float, hottest: float, said: str
) -> None:
    plan = read_plan(berth, coldest_c=coldest, hottest_c=hottest)
    assert pour_plan_view(plan).viscosity_words == said
    client.force_login(berth.shop.builder)
    assert ("extrapolated" in client.get(page("pour-plan", berth)).content.decode()) == bool(said)


def test_to_cool_or_to_warm_is_not_advised_without_its_caution(client: Client, berth: Berth) -> None:
    read_plan(berth, medium_to_mm=0.0)
    client.force_login(berth.shop.builder)
    words = client.get(page("pour-plan", berth)).content.decode()
    assert "cool the bay" in words
    assert "Cooler resin is thicker" in words
    assert "warmer, longer gel" in words
    assert "Warmer resin gels sooner and gives off more styrene, which burns" in words
    read_plan(berth)
    assert "Warmer resin" not in client.get(page("pour-plan", berth)).content.decode()


def test_earlier_plans_are_listed_and_can_be_read_as_they_were(client: Client, berth: Berth) -> None:
    first, second = read_plan(berth), read_plan(berth, dose_phr=1.5)
    client.force_login(berth.shop.builder)
    assert page("pour-plan-as-read", berth, 1) in client.get(page("pour-plan", berth)).content.decode()
    words = client.get(page("pour-plan-as-read", berth, 1)).content.decode()
    assert f"entry {first.pk}" in words
    assert "Not in force: plan 2 is." in words
    assert "1.20" in words
    assert page("pour-plan-read", berth) not in words
    assert "Not in force" not in client.get(page("pour-plan-as-read", berth, 2)).content.decode()
    assert client.get(page("pour-plan-as-read", berth, 3)).status_code == 404
    strike_out(entry=second.entry, reason="read out with the wrong dose", told=told())
    words = client.get(page("pour-plan-as-read", berth, 2)).content.decode()
    assert "Struck out. Not in force: plan 1 is." in words


def test_what_is_missing_stands_where_the_key_would(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.lead)
    words = client.get(page("pour-plan", berth)).content.decode()
    assert "Missing before a pour plan can be worked out" in words
    assert page("pour-plan-read", berth) not in words
    set_plan(berth)
    lay_feed_lines(berth)
    words = client.get(page("pour-plan", berth)).content.decode()
    assert page("pour-plan-read", berth) in words


def test_a_gauge_read_the_other_way_is_refused_at_once_and_no_unit_is_offered(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.lead)
    keyed = {**POSTED, "gauge_mbar": 996}
    answer = client.post(page("pour-plan-read", berth), form(**keyed, show="yes"))
    assert answer.status_code == 422
    assert answer.context["form"].questions == []
    assert answer.context["form"].errors["gauge_mbar"] == [
        "996.0\u00a0mbar absolute is next to no pull. "
        "If the gauge reads below the air pressure, choose that: it is then 14.0\u00a0mbar absolute."
    ]
    below = client.post(
        page("pour-plan-read", berth), form(**{**keyed, "gauge_kind": GaugeKind.BELOW_ATMOSPHERE}, show="yes")
    )
    assert below.status_code == 200
    asked = client.post(page("pour-plan-read", berth), form(**{**POSTED, "gauge_mbar": 250}, show="yes"))
    (question,) = asked.context["form"].questions
    assert (question.field, question.likely) == ("gauge_mbar", None)
    panel = {"station_pressure_mbar": 1010, "gauge_mbar": 996, "gauge_kind": GaugeKind.ABSOLUTE}
    refused = client.post(page("trial-panel-log", berth), form(**panel)).context["form"].errors["gauge_mbar"]
    assert "next to no pull" in refused[0]


def test_the_next_one_begins_from_the_last_without_what_is_of_the_day(client: Client, berth: Berth) -> None:
    first = read_plan(berth)
    client.force_login(berth.shop.lead)
    shown = client.get(page("pour-plan-read", berth)).context["form"]
    assert (shown["dose_phr"].value(), shown["coldest_c"].value()) == ("1.2", None)
    assert shown["places"].value().startswith("KJ: calls the inlets")
    assert str(shown["entry_id"].value()) != str(first.pk)
    kept = {name: shown[name].value() for name in shown.fields if shown[name].value() is not None}
    day = {"coldest_c": 20, "hottest_c": 22, "station_pressure_mbar": 1005, "gauge_mbar": 18, "source": "x"}
    day["gauge_kind"] = GaugeKind.ABSOLUTE
    answer = client.post(page("pour-plan-read", berth), {**form(**{**kept, **day}), "read_to": ["MO"]})
    assert answer.status_code == 302, answer.context["form"].errors
    assert PourPlan.objects.count() == 2


def test_a_wrong_place_of_the_crew_is_shown_with_how_to_give_it(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.lead)
    answer = client.post(page("pour-plan-read", berth), form(**{**POSTED, "places": "somebody at the scale"}, show="y"))
    assert answer.status_code == 422
    assert "has no initials" in answer.content.decode()


def test_a_pail_that_would_gel_before_it_is_used_up_is_named(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.lead)
    slow = {**POSTED, "medium_to_mm": "1", "dose_phr": "2"}
    words = client.post(page("pour-plan-read", berth), form(**slow, show="yes", **{"answer-medium_to_mm": "1"}))
    assert "min before it is used up." in words.content.decode()


def test_no_checklist_without_a_plan(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.lead)
    assert client.get(page("pour-checklist", berth)).status_code == 404


def test_cups_and_panels_are_logged_on_pages(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.builder)
    zone = berth.revision.zones.get(name="Bottom")
    lines = "\n".join(f"{minute} {front}" for minute, front in readings(berth, 0.8))
    fields = {
        "zone": zone.pk,
        "medium": berth.shelf.flow_medium.pk,
        "resin_temperature_c": "20",
        "station_pressure_mbar": "1010",
        "gauge_mbar": "20",
        "gauge_kind": GaugeKind.ABSOLUTE.value,
        "readings": lines,
    }
    answer = client.post(page("trial-panel-log", berth), form(**fields))
    assert answer.status_code == 302, answer.content.decode()
    shelf, shop = berth.shelf, berth.shop
    keyed = {"dose_phr": "1.5", "temperature_c": "20", "gel_min": "62", "thermometer": shop.thermometer.pk}
    lots = {"resin_lot": shelf.lot(shelf.resin).pk, "catalyst_lot": shelf.lot(shelf.catalyst).pk}
    calibrated_today(berth)
    answer = client.post(page("gel-cup-log", berth), form(**keyed, **lots))
    assert answer.status_code == 302, answer.content.decode()
    words = client.get(page("tried", berth)).content.decode()
    assert "Laid up as" in words
    assert "62" in words


# ---- The tablet, the dossier


def test_the_tablet_gets_all_it_needs_and_none_without_a_plan() -> None:
    run = running()
    assert pour_sheet(run.pour, MORNING)["pour_plan"] is None
    plan = read_plan(run.day.berth)
    sheet = pour_sheet(run.pour, MORNING)["pour_plan"]
    assert set(sheet) == {
        "number", "read_at", "read_by", "entry", "strips", "pull", "time_band", "gel", "handling_min", "mixing_min",
        "pail_kg", "heel_kg", "released_kg", "kg", "forecast", "styrene", "late_share", "mix_by",
    }  # fmt: skip
    assert sheet["entry"] == plan.pk
    assert [(one["station"], one["side"]) for one in sheet["strips"]] == [
        ("2", "starboard"), ("2", "port"), ("5", "starboard"), ("5", "port")
    ]  # fmt: skip
    kg = sheet["kg"]
    parts = sum(one["kg"] for one in [*kg["zones"], *kg["lines"]]) + kg["end_kg"]
    assert parts == pytest.approx(kg["total_kg"], abs=1e-4)
    hoses = {feed["line"]: feed["hose_resistance_1_m3"] for strip in sheet["strips"] for feed in strip["feeds"]}
    assert hoses[1] == pytest.approx(2 * hoses[2])  # its inlet feeds both sides
    assert {tuple(zone["stations"]) for zone in kg["zones"]} == {("2", "5")}
    assert sheet["released_kg"] == 600.0
    assert sheet["mix_by"][0] == {"pail": 1, "minute": pytest.approx(sheet["mix_by"][0]["minute"])}


def test_the_number_of_queries_for_the_tablet_does_not_grow_with_the_plan() -> None:
    def asked_for(run: Running) -> int:
        with CaptureQueriesContext(connection) as asked:
            pour_sheet(run.pour, MORNING)
        return len(asked)

    run = running()
    read_plan(run.day.berth)
    asked_for(run)  # what the pour itself has fetched stays with it
    few = asked_for(run)
    more = [GivenStation(str(number), 1400.0 + number) for number in range(1, 9)]
    lay_feed_lines(run.day.berth, stations=more)
    read_plan(run.day.berth)
    assert len(pour_sheet(run.pour, MORNING)["pour_plan"]["strips"]) == 16
    assert asked_for(run) == few


def poured(run: Running) -> None:
    mix = run.day.mix(1, minute=2)
    run.inlet(1, 5)
    run.front("5", HullSide.PORT, 820.0, 25)
    run.front("5", HullSide.PORT, 1820.0, 65)
    run.inlet(1, 70, InletMove.SHUT)
    services.log_gel(pour=run.pour, mix=mix, at=GelPlace.PART, place="flange", temperature_c=None, told=run.at(95))


def test_the_dossier_holds_the_plan_and_the_pour_against_it() -> None:
    run = running()
    early = MORNING - dt.timedelta(minutes=20)
    plan = read_plan(run.day.berth, told=told(at=early))
    poured(run)
    text = " ".join(texts(draw_dossier(dossier_content(run.day.berth.hull))))
    assert "pour plan 1, read by KJ" in text
    assert "the front against pour plan 1" in text
    arrival = plan.arrivals.get(station="5", side="port", at="flange")
    assert f"{60 - arrival.minute:.0f}" in text
    assert "Dose planned 1.20" in text
    assert "Gel in the part told 93 min after the first pail" in text
    assert "MO: scale and mixing" in text


def test_every_coefficient_names_its_source(berth: Berth) -> None:
    plan = read_plan(berth)
    assert all(one.source for one in plan.coefficients.all())
    assert SHEET in {one.source for one in plan.coefficients.all()}
    of_cloth = plan.coefficients.filter(material=berth.shelf.biax).values_list("value", flat=True)
    known = MaterialProperty.objects.filter(sheet__material=berth.shelf.biax, name="permeability_um2")
    assert known[0].value in set(of_cloth)


def test_a_builder_looks_and_does_not_read_it_out(client: Client, berth: Berth) -> None:
    client.force_login(berth.shop.builder)
    assert client.get(page("pour-plan", berth)).status_code == 200
    assert client.get(page("pour-plan-read", berth)).status_code == 403
