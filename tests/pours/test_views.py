import datetime as dt
import uuid

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from hullbook.materials.models import Lot
from hullbook.pours.forms import ReadingsField
from hullbook.pours.models import Gel, HoldTest, Mix, Pour, PourClosed, Remainder, ResinPlan
from hullbook.records.models import Entry
from hullbook.yard.services import calibrate_instrument
from tests.cast import DAY, told
from tests.hulls.factories import Berth, make_berth
from tests.materials.factories import receive, release
from tests.pours.factories import FIGURES, HELD, PourDay, begin, hold, set_plan

pytestmark = pytest.mark.django_db

PLAN_FIELDS = {
    name: str(value)
    for name, value in FIGURES.items()
    if not name.endswith("_bore_mm") and not name.startswith(("channel", "hose"))
} | {"figures_source": "invented bag drawing MB84-B-02", "contingency_containers": "1"}


@pytest.fixture
def day() -> PourDay:
    return begin()


def page(name: str, berth: Berth, *args: object) -> str:
    return reverse(f"pours:{name}", args=[berth.hull.number, berth.part.name, *args])


def form(**fields: object) -> dict[str, str]:
    return {"entry_id": str(uuid.uuid4()), **{name: str(value) for name, value in fields.items()}}


def fresh_lots(berth: Berth) -> tuple[Lot, Lot]:
    """Lots in date on the day the tests run."""
    today = timezone.localdate()
    shelf = berth.shelf
    later = today.replace(year=today.year + 1)
    return (
        release(receive(shelf.resin, code="R-0301", quantity=200.0, use_by=later)),
        release(receive(shelf.catalyst, code="R-0302", quantity=10.0, use_by=later)),
    )


def calibrated_today(berth: Berth) -> None:
    today = timezone.localdate()
    for instrument in (berth.shop.scale, berth.shop.fine_scale, berth.shop.thermometer, berth.shop.gauge):
        calibrate_instrument(
            instrument=instrument,
            calibrated_on=today,
            due_on=today.replace(year=today.year + 1),
            certificate_number=f"C-{instrument.code}-now",
            told=told(),
        )


def pail(day: PourDay, **changes: object) -> dict[str, str]:
    resin, catalyst = (Lot.objects.get(code=code) for code in ("R-0301", "R-0302"))
    shop = day.berth.shop
    fields: dict[str, object] = {
        "pail_number": 1,
        "resin_kg": "12.5",
        "catalyst_g": "187.5",
        "resin_temperature_c": "20",
        "resin_lot": resin.pk,
        "catalyst_lot": catalyst.pk,
        "inlet": "1",
        "mixed_by": "MO",
        "second_person": "RT",
        "scale": shop.scale.pk,
        "catalyst_scale": shop.fine_scale.pk,
        "thermometer": shop.thermometer.pk,
    }
    return form(**{**fields, **changes})


@pytest.fixture
def ready(day: PourDay) -> PourDay:
    fresh_lots(day.berth)
    calibrated_today(day.berth)
    return day


# ---- Reading


def test_every_page_reads_and_writes_nothing(day: PourDay, client: Client) -> None:
    day.mix(1)
    day.mix(1, minute=1)
    hold(day.berth)
    client.force_login(day.berth.shop.office)
    entries = Entry.objects.count()
    for path in (
        page("resin", day.berth),
        page("plan", day.berth),
        page("hold-tests", day.berth),
        page("hold-test", day.berth, 1),
        page("pour", day.berth, 1),
    ):
        assert client.get(path).status_code == 200, path
        assert client.post(path).status_code == 405, path
    assert Entry.objects.count() == entries


def test_pages_of_nothing_yet_say_what_comes_first(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.builder)
    assert b"No plan is set" in client.get(page("plan", berth)).content
    assert b"No hold test is in the book" in client.get(page("hold-tests", berth)).content
    assert client.get(page("hold-test", berth, 1)).status_code == 404
    assert client.get(page("pour", berth, 1)).status_code == 404


def test_the_plan_page_shows_band_order_and_source_of_every_item(day: PourDay, client: Client) -> None:
    client.force_login(day.berth.shop.builder)
    shown = client.get(page("plan", day.berth)).content.decode()
    for words in ("low", "expected", "high", "Order", "With contingency", "short by", "from memory", "common practice"):
        assert words in shown, words
    assert f"{day.plan.mean_kg:.2f}" in shown


def test_the_pour_page_asks_about_a_pail_logged_twice(day: PourDay, client: Client) -> None:
    day.mix(3)
    day.mix(3, minute=1)
    client.force_login(day.berth.shop.builder)
    shown = client.get(page("pour", day.berth, 1)).content.decode()
    assert "Pail 3 was logged twice" in shown
    assert "One pail or two?" in shown
    twin = Mix.objects.order_by("-pk")[0]
    assert reverse("hulls:strike-out", args=[day.berth.hull.number, twin.pk]) in shown
    assert page("mix-correct", day.berth, 1, twin.pk) in shown
    assert "safety data sheets govern" in shown


# ---- Rights


def test_only_the_quality_lead_sets_a_plan(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.builder)
    assert client.get(page("plan-set", berth)).status_code == 403
    client.force_login(berth.shop.lead)
    assert client.get(page("plan-set", berth)).status_code == 200


def test_the_office_does_not_begin_or_close_a_pour(day: PourDay, client: Client) -> None:
    client.force_login(day.berth.shop.office)
    assert client.post(page("begin", day.berth), form()).status_code == 403
    assert client.post(page("close", day.berth, 1), form()).status_code == 403
    assert not PourClosed.objects.exists()


def test_nobody_comes_in_without_signing_in(day: PourDay, client: Client) -> None:
    assert client.get(page("pour", day.berth, 1)).status_code == 302


# ---- Setting a plan


def plan_form(berth: Berth, **changes: object) -> dict[str, str]:
    laid = {
        "system": berth.shelf.system.pk,
        "medium": berth.shelf.flow_medium.pk,
        "peel_ply": berth.shelf.peel_ply.pk,
        "channel": berth.shelf.spiral.pk,
        "channel_length_m": 20,
        "hose": berth.shelf.hose.pk,
        "hose_length_m": 12,
    }
    return form(**{**PLAN_FIELDS, **laid, **changes})


def test_a_plan_is_worked_out_to_look_at_and_then_set(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.lead)
    keyed = plan_form(berth)
    looked = client.post(page("plan-set", berth), {**keyed, "show": "yes"})
    assert looked.status_code == 200
    assert b"Worked out and not set" in looked.content
    assert not ResinPlan.objects.exists()
    assert client.post(page("plan-set", berth), keyed).status_code == 302
    plan = ResinPlan.objects.get()
    assert plan.inputs.get(name="overrun_m").source_kind == "default"
    assert plan.inputs.get(name="flange_length_m").source == "invented bag drawing MB84-B-02"
    assert plan.inputs.get(name="hose_bore_mm").source_kind == "data sheet"


def test_start_values_stand_beside_empty_fields_and_are_not_taken_unkeyed(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.lead)
    empty = client.get(page("plan-set", berth)).content.decode()
    assert "Start value 0.06: laminate laid past the trim line (common practice)" in empty
    answer = client.post(page("plan-set", berth), plan_form(berth, overrun_m=""))
    assert answer.status_code == 422
    assert "overrun_m" in answer.context["form"].errors
    assert 'value="18.0"' in answer.content.decode()
    assert not ResinPlan.objects.exists()


def test_an_area_without_its_material_is_asked_for(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.lead)
    answer = client.post(page("plan-set", berth), plan_form(berth, medium=""))
    assert "both, or neither" in answer.content.decode()
    assert answer.status_code == 422


def test_more_flow_medium_than_there_is_part_is_asked_about(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.lead)
    keyed = plan_form(berth, medium_coverage_m2="40")
    answer = client.post(page("plan-set", berth), keyed)
    assert "40.00\u00a0m² over a part of 22.00\u00a0m² is much" in answer.content.decode()
    assert client.post(page("plan-set", berth), {**keyed, "answer-medium_coverage_m2": "40"}).status_code == 302
    assert ResinPlan.objects.get().entry.confirmed[0]["given"] == "40"


# ---- Hold test


def hold_form(berth: Berth, **changes: object) -> dict[str, str]:
    fields: dict[str, object] = {
        "gauge": berth.shop.gauge.pk,
        "gauge_kind": "absolute",
        "readings": "\n".join(f"{minute} {shown}" for minute, shown in enumerate(HELD)),
        "air_temperature_start_c": "20",
        "air_temperature_end_c": "20.5",
    }
    return form(**{**fields, **changes})


def test_a_hold_test_is_logged_from_lines_of_minute_and_reading(client: Client) -> None:
    berth = make_berth()
    calibrated_today(berth)
    client.force_login(berth.shop.builder)
    answer = client.post(page("hold-test-log", berth), hold_form(berth))
    assert answer.status_code == 302
    assert answer["Location"] == page("hold-test", berth, 1)
    assert HoldTest.objects.get().readings.count() == 11


def test_a_bad_line_is_named_and_what_was_keyed_stays(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.builder)
    keyed = hold_form(berth, readings="0 18.2\n1 l8.6\n3 19\n2 20")
    answer = client.post(page("hold-test-log", berth), keyed)
    assert answer.status_code == 422
    (bad, order) = answer.context["form"].errors["readings"]
    assert bad.startswith('Line 2: "1 l8.6" is not a minute and a reading')
    assert order == "Line 4: 2 min comes after 3 min; minutes only rise."
    assert "1 l8.6" in answer.content.decode()
    assert not HoldTest.objects.exists()


@pytest.mark.parametrize(
    "text", ["", "   \n ", "0", "0 18.2 19", "0 18.2\n0 18.3", "a b", "0 1e9", "0 nan", "1;", "0 18,2,1"]
)
def test_readings_that_are_none_are_refused(text: str) -> None:
    with pytest.raises(ValidationError):
        ReadingsField().clean(text)


def test_readings_take_a_comma_a_tab_and_units() -> None:
    assert ReadingsField().clean("0 18,2\n1\t18.6\n\n2 min 19.1 mbar\n3; 19.4") == [
        (0, 18.2),
        (1, 18.6),
        (2, 19.1),
        (3, 19.4),
    ]


def test_a_gauge_out_of_date_is_asked_about_and_kept(client: Client) -> None:
    berth = make_berth()
    client.force_login(berth.shop.builder)
    calibrate_instrument(
        instrument=berth.shop.gauge,
        calibrated_on=DAY,
        due_on=DAY.replace(day=13),
        certificate_number="C-2",
        told=told(),
    )
    keyed = hold_form(berth)
    answer = client.post(page("hold-test-log", berth), keyed)
    assert answer.status_code == 422
    assert b"out of date" in answer.content
    again = {**keyed, "answer-gauge": str(berth.shop.gauge.pk)}
    assert client.post(page("hold-test-log", berth), again).status_code == 302
    assert "out of date" in HoldTest.objects.get().entry.confirmed[0]["question"]


def test_a_pressure_that_falls_is_refused_in_words(client: Client) -> None:
    berth = make_berth()
    calibrated_today(berth)
    client.force_login(berth.shop.builder)
    falling = "\n".join(f"{minute} {40 - minute}" for minute in range(21))
    answer = client.post(page("hold-test-log", berth), hold_form(berth, readings=falling))
    assert answer.status_code == 422
    assert b"was the pump not isolated" in answer.content


# ---- Pour


def test_a_pour_before_release_is_asked_about_and_the_answer_kept(client: Client) -> None:
    berth = make_berth()
    set_plan(berth)
    client.force_login(berth.shop.builder)
    keyed = form()
    answer = client.post(page("begin", berth), keyed)
    assert answer.status_code == 422
    assert b"Hold point 5 is not released; no hold test is in the book. Begin all the same?" in answer.content
    again = {**keyed, "answer-release": "begun before release"}
    assert client.post(page("begin", berth), again).headers["Location"] == page("day", berth, 1)
    assert Pour.objects.get().entry.confirmed[0]["given"] == "begun before release"


def test_a_pail_is_logged_once_however_often_it_is_sent(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    keyed = pail(ready)
    first = client.post(page("mix-log", ready.berth, 1), keyed)
    again = client.post(page("mix-log", ready.berth, 1), keyed)
    assert first.status_code == again.status_code == 302
    assert first["HB-Entry"] == again["HB-Entry"]
    mix = Mix.objects.get()
    assert (mix.dose_phr, mix.second_person) == (1.5, "RT")


def test_masses_are_never_filled_in_beforehand_lots_and_scales_are(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    client.post(page("mix-log", ready.berth, 1), pail(ready, inlet="2"))
    blank = client.get(page("mix-log", ready.berth, 1)).context["form"]
    assert (blank["resin_kg"].value(), blank["catalyst_g"].value()) == (None, None)
    assert (blank["pail_number"].value(), blank["inlet"].value()) == (2, "2")
    assert blank["resin_lot"].value() == Lot.objects.get(code="R-0301").pk


def test_who_read_the_scale_is_said_anew_for_each_pail_and_stays_when_one_is_put_right(
    ready: PourDay, client: Client
) -> None:
    client.force_login(ready.berth.shop.builder)
    client.post(page("mix-log", ready.berth, 1), pail(ready))
    blank = client.get(page("mix-log", ready.berth, 1)).context["form"]
    assert not blank["second_person"].value()
    mix = Mix.objects.get()
    again = client.get(page("mix-correct", ready.berth, 1, mix.pk)).context["form"]
    assert again["second_person"].value() == "RT"


@pytest.mark.parametrize(
    ("field", "keyed", "likely"),
    [("resin_kg", "1.25", "12.5"), ("resin_kg", "125", "12.5"), ("catalyst_g", "18.8", "188")],
)
def test_a_point_in_the_wrong_place_is_asked_about_with_the_likely_value(
    ready: PourDay, client: Client, field: str, keyed: str, likely: str
) -> None:
    client.force_login(ready.berth.shop.builder)
    answer = client.post(page("mix-log", ready.berth, 1), pail(ready, **{field: keyed}))
    assert answer.status_code == 422
    (question,) = answer.context["form"].questions
    assert (question.field, question.given, question.likely) == (field, keyed, likely)
    taken = client.post(page("mix-log", ready.berth, 1), {**pail(ready, **{field: keyed}), f"instead-{field}": likely})
    assert taken.status_code == 302


def test_a_last_pail_far_from_the_plan_is_asked_about_and_kept_as_it_is(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    keyed = pail(ready, resin_kg="6", catalyst_g="90")
    answer = client.post(page("mix-log", ready.berth, 1), keyed)
    assert answer.status_code == 422
    (question,) = answer.context["form"].questions
    assert question.sentence == (
        "Resin: 6\u00a0kg is far from the plan (12.5\u00a0kg); mostly it is 11.25 to 13.75\u00a0kg."
    )
    assert client.post(page("mix-log", ready.berth, 1), {**keyed, "answer-resin_kg": "6"}).status_code == 302
    assert Mix.objects.get().entry.confirmed[0]["given"] == "6"


def test_an_honest_pail_is_not_asked_about(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    assert client.post(page("mix-log", ready.berth, 1), pail(ready, resin_kg="12.48")).status_code == 302


def test_the_next_pail_is_held_against_the_dose_of_the_pail_before(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    weaker = {**pail(ready, catalyst_g="150"), "answer-catalyst_g": "150"}
    assert client.post(page("mix-log", ready.berth, 1), weaker).status_code == 302
    second = pail(ready, pail_number=2, catalyst_g="151")
    assert client.post(page("mix-log", ready.berth, 1), second).status_code == 302


def test_a_weak_dose_now_is_refused_with_its_grams_and_nothing_is_lost(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    weak = {"catalyst_g": "100", "answer-catalyst_g": "100"}
    answer = client.post(page("mix-log", ready.berth, 1), pail(ready, **weak))
    shown = answer.content.decode()
    assert answer.status_code == 422
    assert "25 g more of the catalyst makes the lowest" in shown
    assert 'value="12.5"' in shown
    lead = pail(ready, **weak, lead_reason="cold night, slow gel wanted")
    assert client.post(page("mix-log", ready.berth, 1), lead).status_code == 422
    client.force_login(ready.berth.shop.lead)
    assert client.post(page("mix-log", ready.berth, 1), {**lead, "entry_id": str(uuid.uuid4())}).status_code == 302


def test_a_weak_dose_of_an_hour_ago_is_logged_as_it_was(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    earlier = timezone.localtime(timezone.now() - dt.timedelta(hours=1)).strftime("%Y-%m-%d %H:%M")
    keyed = pail(ready, catalyst_g="100", happened_at=earlier)
    assert client.post(page("mix-log", ready.berth, 1), keyed).status_code == 422
    answer = client.post(page("mix-log", ready.berth, 1), {**keyed, "answer-catalyst_g": "100"})
    assert answer.status_code == 302
    assert Mix.objects.get().entry.judgements.get(code="dose").level == "fail"


def test_two_resin_lots_and_an_addition_go_into_one_pail(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    drum = release(receive(ready.berth.shelf.resin, code="R-0303", quantity=50.0, use_by=timezone.localdate()))
    keyed = pail(ready, resin_kg="8", second_resin_lot=drum.pk, second_resin_kg="4.5", catalyst_g="187.5")
    assert client.post(page("mix-log", ready.berth, 1), keyed).status_code == 302
    assert Mix.objects.get().dose_phr == pytest.approx(1.5)
    half = pail(ready, second_resin_lot=drum.pk)
    assert b"or neither" in client.post(page("mix-log", ready.berth, 1), half).content


def test_a_pail_is_put_right_with_a_reason(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    client.post(page("mix-log", ready.berth, 1), pail(ready))
    wrong = Mix.objects.get()
    to = page("mix-correct", ready.berth, 1, wrong.pk)
    logged = client.get(to).context["form"]
    assert (logged["resin_kg"].value(), logged["catalyst_g"].value()) == ("12.5", "187.5")
    assert client.post(to, pail(ready, pail_number=2)).status_code == 422
    assert client.post(to, pail(ready, pail_number=2, reason="it was pail 2")).status_code == 302
    shown = client.get(page("pour", ready.berth, 1)).content.decode()
    assert "it was pail 2" in shown
    assert f'<tr id="mix-{wrong.pk}" class="struck">' in shown


def test_gel_and_what_was_left_and_the_end_are_logged(ready: PourDay, client: Client) -> None:
    client.force_login(ready.berth.shop.builder)
    client.post(page("mix-log", ready.berth, 1), pail(ready))
    mix = Mix.objects.get()
    gel = form(at="cup", mix=mix.pk, temperature_c="24")
    assert client.post(page("gel-log", ready.berth, 1), gel).status_code == 302
    left = form(place="resin trap", mass_kg="0.6", scale=ready.berth.shop.scale.pk)
    assert client.post(page("remainder-log", ready.berth, 1), left).status_code == 302
    wrong = form(place="resin trap", mass_kg="0.6", scale=ready.berth.shop.scale.pk, mix=mix.pk)
    assert client.post(page("remainder-log", ready.berth, 1), wrong).status_code == 422
    assert client.post(page("close", ready.berth, 1), form(words="front through")).status_code == 302
    assert (Gel.objects.count(), Remainder.objects.count(), PourClosed.objects.count()) == (1, 1, 1)
    late = client.post(page("mix-log", ready.berth, 1), pail(ready, pail_number=2))
    assert b"Was the pail mixed after that?" in late.content
