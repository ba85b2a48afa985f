import datetime as dt

import pytest

from hullbook.hulls.services import release_hold_point
from hullbook.materials import services as store
from hullbook.materials.enums import LotState
from hullbook.materials.models import Lot
from hullbook.materials.selectors import lot_card
from hullbook.pours import services
from hullbook.pours.enums import ComponentRole, GelPlace, RemainderPlace
from hullbook.pours.models import Mix
from hullbook.pours.selectors import pour_view, resin_mixed
from hullbook.pours.services import GivenComponent
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused
from hullbook.yard.enums import LimitName
from hullbook.yard.services import set_limit
from tests.cast import DAY, MORNING, told
from tests.hulls.factories import make_berth
from tests.materials.factories import receive, release
from tests.pours.factories import PourDay, already, begin, hold

pytestmark = pytest.mark.django_db


@pytest.fixture
def day() -> PourDay:
    return begin()


def components(resin: Lot, resin_kg: float, catalyst: Lot, catalyst_g: float) -> list[GivenComponent]:
    return [
        GivenComponent(ComponentRole.RESIN, resin, resin_kg),
        GivenComponent(ComponentRole.CATALYST, catalyst, catalyst_g / 1000),
    ]


def level_of(mix: Mix, code: str) -> list[str]:
    return [one.level for one in mix.entry.judgements.all() if one.code == code]


# ---- Beginning


def test_a_pour_needs_a_plan() -> None:
    with pytest.raises(Refused, match="has no resin plan"):
        services.begin_pour(part=make_berth().part, told=told())


def test_a_pour_begun_before_release_is_kept_as_such(day: PourDay) -> None:
    judgement = day.pour.entry.judgements.get()
    assert (judgement.code, judgement.level) == ("pour.release", "fail")
    assert "begun before release: hold point 5 is not released; no hold test is in the book" in judgement.because


def test_a_pour_begun_after_release_and_a_passed_hold_test_has_nothing_against_it() -> None:
    berth = make_berth()
    set_limit(name=LimitName.HOLD_RISE, low=None, high=5.0, over_minutes=10.0, source="invented LP-2", told=told())
    hold(berth)
    release_hold_point(hull=berth.hull, number=5, words="", missing="", told=told())
    assert begin(berth).pour.entry.judgements.get().level == "pass"


def test_a_second_pour_begins_only_when_the_first_is_closed(day: PourDay) -> None:
    with pytest.raises(Refused, match="Pour 1 .* is under way"):
        services.begin_pour(part=day.berth.part, told=told())
    services.close_pour(pour=day.pour, words="", told=told())
    assert services.begin_pour(part=day.berth.part, told=told()).number == 2


# ---- Mixing


def test_a_dose_is_grams_on_a_hundred_grams_of_resin(day: PourDay) -> None:
    # 60 kg at 1.5 % on resin by weight is 900 g (definition of phr).
    mix = day.mix(resin_kg=60.0, catalyst_g=900.0)
    assert mix.dose_phr == pytest.approx(1.5)
    judgement = mix.entry.judgements.get(code="dose")
    assert (judgement.level, judgement.low, judgement.high, judgement.unit) == ("pass", 1.0, 2.0, "phr")


def test_the_doses_uncertainty_comes_from_the_steps_of_both_scales(day: PourDay) -> None:
    # JCGM 100:2008, F.2.2.1: each net mass carries two roundings; 20 g on 12.5 kg and 1 g on 187.5 g.
    judgement = day.mix().entry.judgements.get(code="dose")
    relative = ((20 / 12_500) ** 2 + (1 / 187.5) ** 2) ** 0.5 * 2**0.5 / 12**0.5
    assert judgement.expanded_uncertainty == pytest.approx(2 * 1.5 * relative, abs=1e-6)


def test_a_weak_dose_about_to_be_mixed_is_stopped_with_the_grams_that_mend_it(day: PourDay) -> None:
    with pytest.raises(Refused) as refused:
        day.mix(resin_kg=25.0, catalyst_g=200.0)
    words = refused.value.problems["catalyst_g"]
    assert "50 g more of the catalyst makes the lowest, 175 g more the middle" in words
    assert "1.00" in words
    assert not Mix.objects.exists()
    assert lot_card(day.berth.shelf.lot(day.berth.shelf.resin).code).used == 0


def test_a_strong_dose_about_to_be_mixed_is_stopped_with_the_resin_that_mends_it(day: PourDay) -> None:
    with pytest.raises(Refused, match=r"2\.50 kg more of the resin"):
        day.mix(resin_kg=12.5, catalyst_g=300.0)


def test_a_quality_leads_reason_lets_a_dose_through_and_stays_with_it(day: PourDay) -> None:
    mix = day.mix(resin_kg=25.0, catalyst_g=200.0, lead_reason="thick keel, warm shed", told=told("KJ"))
    assert (mix.lead, mix.lead_reason) == ("KJ", "thick keel, warm shed")
    assert level_of(mix, "dose") == ["fail"]


def test_a_builders_reason_does_not_let_a_dose_through(day: PourDay) -> None:
    with pytest.raises(Refused) as refused:
        day.mix(resin_kg=25.0, catalyst_g=200.0, lead_reason="in a hurry")
    assert "only a quality lead" in refused.value.problems["lead_reason"]


def test_a_wrong_dose_already_mixed_is_always_kept_with_its_verdict(day: PourDay) -> None:
    mix = day.mix(resin_kg=25.0, catalyst_g=200.0, told=already())
    assert level_of(mix, "dose") == ["fail"]
    assert mix.lead == ""


def test_grams_keyed_for_kilograms_are_refused_whenever_they_were_mixed(day: PourDay) -> None:
    with pytest.raises(Exception, match="look at kg and g"):
        day.mix(resin_kg=12.5, catalyst_g=1875.0, told=already())
    assert not Mix.objects.exists()


def test_a_pail_needs_resin_and_catalyst(day: PourDay) -> None:
    lot = day.berth.shelf.lot(day.berth.shelf.resin)
    with pytest.raises(Refused) as refused:
        day.mix(components=[GivenComponent(ComponentRole.RESIN, lot, 12.5)])
    assert "is not mixed" in refused.value.problems["catalyst_g"]


def test_a_held_lot_about_to_be_mixed_is_stopped_beside_its_own_field(day: PourDay) -> None:
    shelf = day.berth.shelf
    store.decide_lot(lot=shelf.lot(shelf.catalyst), state=LotState.HELD, words="went dark", told=told())
    with pytest.raises(Refused) as refused:
        day.mix(minute=1)
    assert list(refused.value.problems) == ["catalyst_lot"]


def test_a_held_lot_already_mixed_is_kept_with_its_verdict(day: PourDay) -> None:
    shelf = day.berth.shelf
    store.decide_lot(lot=shelf.lot(shelf.catalyst), state=LotState.HELD, words="went dark", told=told())
    mix = day.mix(told=already())
    assert sorted(level_of(mix, "lot.usable")) == ["fail", "pass"]


def test_a_catalyst_of_another_system_is_stopped_and_kept_once_mixed(day: PourDay) -> None:
    shelf = day.berth.shelf
    other = store.add_material(
        code="P-90", kind="catalyst", stock_unit="kg", name="Another peroxide", maker="", properties=[
            store.GivenProperty("density_kg_m3", 1100, "data sheet", "invented sheet")
        ], told=told(),
    )  # fmt: skip
    lot = release(receive(other, code="R-0099", quantity=5.0, use_by=DAY + dt.timedelta(days=90)))
    given = components(shelf.lot(shelf.resin), 12.5, lot, 187.5)
    with pytest.raises(Refused, match="R-0099 is P-90, the plan is made for P-50"):
        day.mix(components=given)
    assert level_of(day.mix(components=given, told=already()), "mix.material") == ["fail"]


def test_nobodys_initials_and_one_person_twice_are_refused(day: PourDay) -> None:
    with pytest.raises(Refused, match="nobody's initials"):
        day.mix(mixed_by="ZZ")
    with pytest.raises(Refused, match="another than the one who mixed"):
        day.mix(second_person="MO")


# ---- Stock


def test_what_is_mixed_leaves_the_store_to_the_gram(day: PourDay) -> None:
    shelf = day.berth.shelf
    day.mix(1)
    day.mix(2, resin_kg=12.48, catalyst_g=186.0, minute=10)
    resin, catalyst = (lot_card(shelf.lot(one).code) for one in (shelf.resin, shelf.catalyst))
    assert (resin.used, resin.left) == pytest.approx((24.98, 600 - 24.98))
    assert (catalyst.used, catalyst.left) == pytest.approx((0.3735, 20 - 0.3735))


def test_a_pail_put_right_takes_its_stock_anew_and_keeps_the_earlier_row(day: PourDay) -> None:
    shelf = day.berth.shelf
    first = day.mix(resin_kg=12.5, catalyst_g=187.5)
    again = day.mix(resin_kg=12.0, catalyst_g=180.0, corrects=first, reason="read the wrong line")
    card = lot_card(shelf.lot(shelf.resin).code)
    assert (card.used, card.left) == pytest.approx((12.0, 588.0))
    view = pour_view(day.pour)
    assert [one.is_current for one in view.mixes] == [False, True]
    assert view.mixes[0].struck_words == f"put right in entry {again.pk}: read the wrong line"
    assert view.mixed_kg == pytest.approx(12.18)
    assert checked_book().is_whole


def test_a_correction_needs_a_reason_and_only_the_newest_can_be_put_right(day: PourDay) -> None:
    first = day.mix()
    with pytest.raises(Refused):
        day.mix(corrects=first, reason="")
    day.mix(corrects=Mix.objects.get(pk=first.pk), reason="wrong pail")
    with pytest.raises(Refused, match="has been corrected"):
        day.mix(corrects=Mix.objects.get(pk=first.pk), reason="again")


def test_putting_right_the_pail_that_emptied_a_lot_does_not_run_short(day: PourDay) -> None:
    shelf = day.berth.shelf
    lot = release(receive(shelf.resin, code="R-0200", quantity=12.5))
    given = components(lot, 12.5, shelf.lot(shelf.catalyst), 187.5)
    first = day.mix(components=given)
    again = day.mix(components=given, inlet="2", corrects=first, reason="inlet 2, not 1")
    assert level_of(again, "lot.usable") == ["pass", "pass"]
    assert lot_card("R-0200").left == 0


def test_a_pail_struck_out_gives_its_stock_back(day: PourDay) -> None:
    mix = day.mix()
    store.strike_out(entry=mix.entry, reason="logged on the wrong hull", told=told())
    assert lot_card(day.berth.shelf.lot(day.berth.shelf.resin).code).left == 600
    assert pour_view(day.pour).mixed_kg == 0


# ---- Two tablets, one pail


def test_a_pail_logged_twice_is_kept_twice_and_asked_about(day: PourDay) -> None:
    day.mix(3, resin_kg=12.5)
    day.mix(3, resin_kg=12.48, told=told("RT", at=MORNING + dt.timedelta(seconds=2)), mixed_by="RT", second_person="")
    view = pour_view(day.pour)
    (same,) = view.same_pails
    assert same.sentence == ("Pail 3 was logged twice: 12.69 kg MO 08:00:00, 12.67 kg RT 08:00:02. One pail or two?")
    assert view.mixed_kg == pytest.approx(12.5 + 12.48 + 2 * 0.1875)


def test_the_question_goes_when_one_is_struck_out_or_numbered_anew(day: PourDay) -> None:
    day.mix(3)
    twin = day.mix(3, minute=1)
    store.strike_out(entry=twin.entry, reason="one pail, logged on two tablets", told=told())
    assert pour_view(day.pour).same_pails == ()
    fourth = day.mix(3, minute=2)
    assert pour_view(day.pour).same_pails
    day.mix(4, minute=2, corrects=fourth, reason="it was pail 4")
    assert pour_view(day.pour).same_pails == ()


# ---- The gel clock


def test_a_pail_has_its_gel_time_from_its_own_dose_and_temperature(day: PourDay) -> None:
    # The table gives 45 min +- 10 % at 23 C and 1.5 %.
    day.mix(resin_temperature_c=23.0)
    clock = pour_view(day.pour, MORNING + dt.timedelta(minutes=12)).mixes[0].gel_clock
    assert (clock.low_minutes, clock.high_minutes) == pytest.approx((40.5, 49.5))
    assert clock.elapsed_minutes == pytest.approx(12.0)
    assert clock.left_minutes == pytest.approx(28.5)


def test_a_pail_outside_the_gel_table_says_so(day: PourDay) -> None:
    day.mix(resin_temperature_c=34.0)
    clock = pour_view(day.pour).mixes[0].gel_clock
    assert clock.low_minutes is None
    assert "not in the gel table, which covers 1.00 to 2.00" in clock.words
    assert "at 18.0 to 28.0" in clock.words


def test_gel_stops_the_clock_of_its_pail_alone(day: PourDay) -> None:
    first, _ = day.mix(1), day.mix(2, minute=5)
    services.log_gel(
        pour=day.pour,
        mix=first,
        at=GelPlace.CUP,
        place="",
        temperature_c=24.0,
        told=told(at=MORNING + dt.timedelta(minutes=52)),
    )
    one, other = pour_view(day.pour, MORNING + dt.timedelta(minutes=60)).mixes
    assert one.gels[0].minutes_since_mix == pytest.approx(52.0)
    assert one.gel_clock.elapsed_minutes == pytest.approx(52.0)
    assert other.gel_clock.elapsed_minutes == pytest.approx(55.0)


def test_gel_comes_after_mixing_and_a_cup_belongs_to_a_pail(day: PourDay) -> None:
    mix = day.mix(minute=30)
    with pytest.raises(Refused, match="gel comes after that"):
        services.log_gel(pour=day.pour, mix=mix, at=GelPlace.CUP, place="", temperature_c=None, told=told())
    with pytest.raises(Refused, match="belongs to a mix"):
        services.log_gel(pour=day.pour, mix=None, at=GelPlace.CUP, place="", temperature_c=None, told=told())


# ---- Sums and the end


def test_what_is_left_by_the_plan_is_plan_less_mixed(day: PourDay) -> None:
    day.mix(1)
    view = pour_view(day.pour)
    assert view.left_to_expected_kg == pytest.approx(day.plan.mean_kg - 12.6875, abs=1e-5)
    assert view.left_to_enough_kg == pytest.approx(day.plan.upper_kg - 12.6875, abs=1e-5)
    assert view.next_pail_number == 2


def test_every_pail_is_weighed_with_what_its_scales_can_tell(day: PourDay) -> None:
    day.mix(1)
    (pail,) = resin_mixed(day.berth.part)
    assert pail.mass_kg == pytest.approx(12.6875)
    # Two roundings of 20 g and two of 1 g (JCGM 100:2008, F.2.2.1).
    assert pail.standard_uncertainty_kg == pytest.approx((2 * (0.02**2 + 0.001**2) / 12) ** 0.5)


def test_a_remainder_takes_its_uncertainty_from_the_scale_or_from_who_judged_it(day: PourDay) -> None:
    weighed = services.log_remainder(
        pour=day.pour, mix=None, place=RemainderPlace.TRAP, mass_kg=0.6, standard_uncertainty_kg=None,
        scale=day.berth.shop.scale, told=told(),
    )  # fmt: skip
    assert weighed.standard_uncertainty_kg == pytest.approx(0.02 / 6**0.5, abs=1e-6)
    with pytest.raises(Refused, match="how sure the figure is"):
        services.log_remainder(
            pour=day.pour, mix=None, place=RemainderPlace.HOSES, mass_kg=1.3, standard_uncertainty_kg=None, scale=None,
            told=told(),
        )  # fmt: skip
    assert pour_view(day.pour).found_kg == pytest.approx(0.6)


def test_a_pour_is_closed_once_and_takes_what_was_mixed_before(day: PourDay) -> None:
    services.close_pour(pour=day.pour, words="front through at all stations", told=told())
    with pytest.raises(Refused, match="closed already"):
        services.close_pour(pour=day.pour, words="", told=told())
    day.mix(1, told=already())
    assert len(pour_view(day.pour).mixes) == 1
    assert not pour_view(day.pour).is_open


def test_the_number_of_queries_does_not_grow_with_the_pails(
    day: PourDay, django_assert_max_num_queries: object
) -> None:
    day.mix(1)
    with django_assert_max_num_queries(60) as first:  # type: ignore[operator]
        pour_view(day.pour)
    for pail in range(2, 6):
        day.mix(pail, minute=pail)
    with django_assert_max_num_queries(len(first.captured_queries)):  # type: ignore[operator]
        assert len(pour_view(day.pour).mixes) == 5
    with django_assert_max_num_queries(4):  # type: ignore[operator]
        assert len(resin_mixed(day.berth.part)) == 5


def test_a_book_with_a_pour_is_whole(day: PourDay) -> None:
    mix = day.mix(1)
    services.log_gel(
        pour=day.pour,
        mix=mix,
        at=GelPlace.PAIL,
        place="",
        temperature_c=None,
        told=told(at=MORNING + dt.timedelta(hours=1)),
    )
    services.close_pour(pour=day.pour, words="", told=told())
    assert checked_book().is_whole
    assert Entry.objects.filter(about=day.berth.hull.number, kind="pours.mix").count() == 1


# ---- A pour that is struck out


def test_nothing_is_logged_in_a_pour_that_is_struck_out(day: PourDay) -> None:
    store.strike_out(entry=day.pour.entry, reason="begun by mistake", told=told())
    for log in (
        lambda: day.mix(),
        lambda: services.log_gel(pour=day.pour, mix=None, at=GelPlace.PART, place="", temperature_c=None, told=told()),
        lambda: services.close_pour(pour=day.pour, words="", told=told()),
    ):
        with pytest.raises(Refused, match="struck out; nothing is logged in it"):
            log()
