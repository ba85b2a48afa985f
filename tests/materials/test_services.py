import datetime as dt
import random
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.db import IntegrityError, connection, transaction
from PIL import Image
from pypdf import PdfWriter
from pypdf.generic import ArrayObject, DictionaryObject, NameObject, TextStringObject

from hullbook.calc.verdict import Verdict
from hullbook.materials import selectors, services
from hullbook.materials.enums import CoreFinish, LotState, MaterialKind, SourceKind
from hullbook.materials.models import (
    Certificate,
    Lot,
    LotDecision,
    Material,
    MaterialSheet,
    StockMovement,
    StoredFile,
)
from hullbook.materials.services import GivenGelTime, GivenMaterial, GivenProperty
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused, append, logs
from tests.cast import DAY, MORNING, Shop, open_shop, told
from tests.materials.factories import (
    SHEET,
    Shelf,
    add,
    add_system,
    certificate_pdf,
    given,
    receive,
    release,
    stock_shelf,
)

pytestmark = pytest.mark.django_db

GLASS = {"areal_weight_kg_m2": 0.8, "fibre_density_kg_m3": 2560, "fibre_volume_fraction": 0.52}
FOAM = {"thickness_mm": 20, "density_kg_m3": 80, "polymer_density_kg_m3": 1400, "cell_diameter_mm": 0.4}
GROOVES = {"groove_width_mm": 2, "groove_depth_mm": 2, "groove_pitch_mm": 20, "groove_directions": 2}


@pytest.fixture
def shop() -> Shop:
    return open_shop()


@pytest.fixture
def shelf(shop: Shop) -> Shelf:
    return stock_shelf(shop)


def _glass(**changes: float | None) -> Material:
    values = {name: value for name, value in {**GLASS, **changes}.items() if value is not None}
    return add("GB-800", MaterialKind.REINFORCEMENT, "m2", "Biaxial glass 800", fibre="glass", **values)


def _core(finish: CoreFinish = CoreFinish.PLAIN, **changes: float | None) -> Material:
    values = {name: value for name, value in {**FOAM, **changes}.items() if value is not None}
    return add("PV-80", MaterialKind.CORE, "m2", "PVC 80", finish=finish, **values)


def _sentence(refused: pytest.ExceptionInfo[Refused], name: str) -> str:
    return refused.value.problems[name]


# ---- Sheets


def test_a_material_and_its_first_sheet_are_two_entries_of_one_act(shop: Shop) -> None:
    before = Entry.objects.count()
    material = _glass()
    assert Entry.objects.count() == before + 2
    sheet = selectors.sheet_in_force(material)
    assert sheet.fibre == "glass"
    assert sheet.values["areal_weight_kg_m2"] == selectors.KnownValue(0.8, "data sheet", SHEET)
    assert checked_book().is_whole


def test_a_code_is_given_once(shop: Shop) -> None:
    _glass()
    with pytest.raises(Refused) as refused:
        _glass()
    assert "GB-800 is in the store already" in _sentence(refused, "code")


@pytest.mark.parametrize("code", ["", "GB 800", "GB/800", "-800", "GB800\n", "=GB"])
def test_a_code_is_made_of_letters_and_digits(shop: Shop, code: str) -> None:
    with pytest.raises(Refused) as refused:
        add(code, MaterialKind.CATALYST, "kg", "Peroxide", density_kg_m3=1160)
    assert "is no code" in _sentence(refused, "code")


def test_grams_keyed_for_kilograms_are_offered_as_what_they_are(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        _glass(areal_weight_kg_m2=800)
    assert "800 g/m2 is 0.8 kg/m²" in _sentence(refused, "areal_weight_kg_m2")
    assert not Material.objects.exists()


def test_a_percentage_for_a_fraction_is_offered_as_a_fraction(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        _glass(fibre_volume_fraction=52)
    assert "52 % is 0.52" in _sentence(refused, "fibre_volume_fraction")


def test_a_property_that_a_kind_does_not_have_is_named_with_those_it_has(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        _glass(cell_diameter_mm=0.4)
    sentence = _sentence(refused, "cell_diameter_mm")
    assert "a reinforcement with it is not accepted" in sentence
    assert "areal_weight_kg_m2" in sentence


def test_everything_wrong_with_a_sheet_is_said_at_once(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        _glass(areal_weight_kg_m2=None, fibre_density_kg_m3=2.56)
    assert "is missing" in _sentence(refused, "areal_weight_kg_m2")
    assert "2.56 g/cm3 is 2560" in _sentence(refused, "fibre_density_kg_m3")


def test_a_reinforcement_needs_its_fibre_and_a_share_of_it(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        add("GB-1", MaterialKind.REINFORCEMENT, "m2", "Glass", **GLASS)
    assert "which fibre" in _sentence(refused, "fibre")
    with pytest.raises(Refused) as refused:
        _glass(fibre_volume_fraction=None)
    assert "by volume or by weight" in _sentence(refused, "fibre_volume_fraction")


def test_two_shares_of_the_same_laminate_are_taken(shop: Shop) -> None:
    """0.52 by volume of E-glass (2560) in a resin of 1140 is 0.7087 by weight: 0.52*2560/(0.52*2560 + 0.48*1140)."""
    sheet = selectors.sheet_in_force(_glass(fibre_mass_fraction=0.709))
    assert sheet.value("fibre_mass_fraction") == 0.709


@pytest.mark.parametrize("by_weight", [0.52, 0.65, 0.75])
def test_two_shares_that_do_not_match_are_refused(shop: Shop, by_weight: float) -> None:
    with pytest.raises(Refused) as refused:
        _glass(fibre_mass_fraction=by_weight)
    assert "does not match 0.52 by volume" in _sentence(refused, "fibre_mass_fraction")


@pytest.mark.parametrize(("value", "words"), [(float("nan"), "nan"), (float("inf"), "inf"), (1e308, "1e+308")])
def test_what_is_no_number_of_the_trade_is_refused(shop: Shop, value: float, words: str) -> None:
    with pytest.raises(Refused) as refused:
        _glass(areal_weight_kg_m2=value)
    assert words in _sentence(refused, "areal_weight_kg_m2")


def test_a_value_without_a_source_is_refused(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        services.add_material(
            code="P-50",
            kind=MaterialKind.CATALYST,
            stock_unit="kg",
            name="Peroxide",
            maker="",
            properties=[GivenProperty("density_kg_m3", 1160, SourceKind.DATA_SHEET, " ")],
            told=told(),
        )
    assert "no source" in _sentence(refused, "density_kg_m3")


def test_a_grooved_core_needs_its_grooves(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        _core(CoreFinish.GROOVED, groove_width_mm=2)
    assert set(refused.value.problems) == {"groove_depth_mm", "groove_pitch_mm", "groove_directions"}
    assert _core(CoreFinish.GROOVED, **GROOVES).code == "PV-80"


def test_a_plain_core_has_no_grooves(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        _core(**GROOVES)
    assert "A plain core has no grooves" in _sentence(refused, "groove_width_mm")


def test_a_groove_deeper_than_its_core_is_refused(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        _core(CoreFinish.GROOVED, **{**GROOVES, "groove_depth_mm": 25})
    assert "at most the core thickness" in _sentence(refused, "groove_depth_mm")


def test_a_core_needs_its_cells_or_a_weighed_pick_up(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        _core(cell_diameter_mm=None)
    assert "weighed pick-up" in _sentence(refused, "face_pick_up_kg_m2")
    assert _core(cell_diameter_mm=None, polymer_density_kg_m3=None, face_pick_up_kg_m2=0.2).code == "PV-80"


def test_a_foam_as_dense_as_its_polymer_is_refused_at_its_own_field(shop: Shop) -> None:
    with pytest.raises(Refused) as refused:
        _core(density_kg_m3=500, polymer_density_kg_m3=800, cell_diameter_mm=20)
    assert "cell_diameter_mm" in refused.value.problems


# ---- Tables of materials


def _given(code: str, **changes: Any) -> GivenMaterial:
    fields = {
        "code": code,
        "kind": "catalyst",
        "stock_unit": "kg",
        "name": f"Peroxide {code}",
        "maker": "",
        "fibre": "",
        "finish": "",
        "properties": given(density_kg_m3=1160),
    }
    return GivenMaterial(**{**fields, **changes})


def test_a_table_of_materials_is_taken_in_whole(shop: Shop) -> None:
    once = told()
    first = services.import_materials(materials=[_given("P-1"), _given("P-2")], told=once)
    assert first.material.code == "P-1"
    assert Material.objects.count() == 2
    assert services.import_materials(materials=[_given("P-1"), _given("P-2")], told=once) == first
    assert MaterialSheet.objects.count() == 2
    assert checked_book().is_whole


def test_one_bad_material_and_none_is_taken(shop: Shop) -> None:
    before = Entry.objects.count()
    with pytest.raises(Refused, match="P-2: The density is missing"):
        services.import_materials(materials=[_given("P-1"), _given("P-2", properties=[])], told=told())
    assert Entry.objects.count() == before
    assert not Material.objects.exists()


def test_a_material_that_is_there_gets_a_newer_sheet(shelf: Shelf) -> None:
    services.import_materials(materials=[_given("P-50", properties=given(density_kg_m3=1150))], told=told())
    assert selectors.sheet_in_force(shelf.catalyst).value("density_kg_m3") == 1150
    assert shelf.catalyst.sheets.count() == 2


def test_a_code_of_another_kind_is_refused(shelf: Shelf) -> None:
    with pytest.raises(Refused, match="VE-10: it is in the store as resin counted in kg, not as catalyst"):
        services.import_materials(materials=[_given("VE-10")], told=told())


def test_an_empty_table_is_refused(shop: Shop) -> None:
    with pytest.raises(Refused, match="no material"):
        services.import_materials(materials=[], told=told())


# ---- Resin systems


def test_a_resin_system_takes_a_resin_and_a_catalyst(shelf: Shelf) -> None:
    with pytest.raises(Refused) as refused:
        add_system(shelf.catalyst, shelf.resin, code="X")
    assert _sentence(refused, "resin") == "P-50 is a catalyst, not a resin."
    assert "VE-10 is a resin" in _sentence(refused, "catalyst")


def test_the_lowest_dose_is_not_above_the_highest(shelf: Shelf) -> None:
    with pytest.raises(Refused, match="lowest dose"):
        _system(shelf, dose_low_phr=2.0, dose_high_phr=1.0)


def test_a_gel_table_with_a_hole_is_refused(shelf: Shelf) -> None:
    times = [GivenGelTime(d, t, 30, 40) for d, t in ((1.0, 18.0), (2.0, 18.0), (1.0, 23.0))]
    with pytest.raises(Refused) as refused:
        _system(shelf, gel_times=times)
    assert "one time for each dose" in _sentence(refused, "gel_times")


def test_a_gel_time_given_twice_is_refused(shelf: Shelf) -> None:
    times = [GivenGelTime(d, t, 30, 40) for d in (1.0, 2.0) for t in (18.0, 23.0)]
    with pytest.raises(Refused) as refused:
        _system(shelf, gel_times=[*times, GivenGelTime(1.0, 18.0, 31, 41)])
    assert "twice" in _sentence(refused, "gel_times")


def test_a_system_may_come_without_a_gel_table(shelf: Shelf) -> None:
    assert selectors.gel_table(_system(shelf, gel_times=[])) is None


def _system(shelf: Shelf, **changes: Any) -> Any:
    fields: dict[str, Any] = {
        "code": "X-1",
        "resin": shelf.resin,
        "catalyst": shelf.catalyst,
        "dose_low_phr": 1.0,
        "dose_high_phr": 2.0,
        "gel_times": [],
        "source_kind": SourceKind.DATA_SHEET,
        "source": SHEET,
        "told": told(),
    }
    return services.add_resin_system(**{**fields, **changes})


# ---- Lots


def test_a_lot_comes_in_with_its_first_line_of_the_ledger(shelf: Shelf) -> None:
    lot = receive(shelf.resin, code="R-0100", quantity=220)
    [movement] = lot.movements.all()
    assert (movement.act, movement.quantity, movement.entry_id) == ("received", 220, lot.pk)
    assert selectors.lot_state(lot) == LotState.RECEIVED
    assert checked_book().is_whole


@pytest.mark.parametrize(
    ("changes", "field", "words"),
    [
        ({"code": "R-0001"}, "code", "never given twice"),
        ({"code": "R 1"}, "code", "is no lot code"),
        ({"received_on": dt.date(2026, 5, 13)}, "received_on", "lies ahead"),
        ({"made_on": dt.date(2026, 5, 1)}, "made_on", "after it came"),
        ({"use_by": dt.date(2026, 1, 1)}, "use_by", "not after it was made"),
        ({"quantity": 0.0}, "", "above nought"),
        ({"quantity": -3.0}, "", "above nought"),
        ({"makers_batch": ""}, "makers_batch", "blank"),
        ({"no_use_by": True}, "", "not both"),
        ({"use_by": None, "no_use_by": False}, "", "Give the use-by date"),
    ],
)
def test_a_delivery_that_cannot_be_is_refused_and_leaves_nothing(
    shelf: Shelf, changes: dict[str, Any], field: str, words: str
) -> None:
    before = Entry.objects.count()
    with pytest.raises(Refused) as refused:
        receive(shelf.resin, **{"code": "R-0100", **changes})
    assert words in _sentence(refused, field)
    assert Entry.objects.count() == before


def test_two_deliveries_of_one_makers_batch_stay_two_lots(shelf: Shelf) -> None:
    receive(shelf.resin, code="R-0100", makers_batch="88123")
    receive(shelf.resin, code="R-0101", makers_batch="88123")
    assert [lot.code for lot in selectors.earlier_lots_of("88123", shelf.resin)] == ["R-0100", "R-0101"]


def test_holding_or_rejecting_a_lot_needs_words(shelf: Shelf) -> None:
    lot = shelf.lot(shelf.resin)
    for state in (LotState.HELD, LotState.REJECTED):
        with pytest.raises(Refused) as refused:
            services.decide_lot(lot=lot, state=state, words="  ", told=told())
        assert "Say why" in _sentence(refused, "words")


def test_a_lot_is_not_released_twice(shelf: Shelf) -> None:
    with pytest.raises(Refused, match="released already"):
        services.decide_lot(lot=shelf.lot(shelf.resin), state=LotState.RELEASED, words="", told=told())


def test_a_lot_used_up_writes_off_what_the_book_still_shows(shelf: Shelf) -> None:
    lot = shelf.lot(shelf.hose)
    services.decide_lot(lot=lot, state=LotState.USED_UP, words="", told=told())
    card = selectors.lot_card(lot.code, DAY)
    assert (card.received, card.used, card.discarded, card.left) == (100, 0, 100, 0)
    with pytest.raises(Refused, match="strike that out first"):
        services.decide_lot(lot=lot, state=LotState.RELEASED, words="", told=told())


def test_a_write_off_struck_out_is_back_on_the_shelf(shelf: Shelf) -> None:
    lot = shelf.lot(shelf.hose)
    gone = services.decide_lot(lot=lot, state=LotState.USED_UP, words="", told=told())
    services.strike_out(entry=gone.entry, reason="found behind the rack", told=told())
    card = selectors.lot_card(lot.code, DAY)
    assert (card.state, card.discarded, card.left) == (LotState.RELEASED, 0, 100)


# ---- Using a lot


def _use(
    lot: Lot, quantity: float, *, at: dt.datetime = MORNING, logged: dt.datetime | None = None, **changes: Any
) -> tuple[StockMovement, Verdict]:
    person = changes.pop("person", "MO")
    return services.lot_use(lot=lot, quantity=quantity, told=told(person, at=at, tapped_at=logged or at), **changes)


def test_a_released_lot_in_date_passes(shelf: Shelf) -> None:
    movement, verdict = _use(shelf.lot(shelf.resin), 25.0)
    assert (movement.act, movement.quantity) == ("used", -25.0)
    assert (verdict.code, verdict.level, verdict.because) == ("lot.usable", "pass", "")


@pytest.mark.parametrize("state", [None, LotState.HELD, LotState.REJECTED, LotState.USED_UP])
def test_somebody_about_to_use_a_lot_that_is_not_released_is_stopped(shelf: Shelf, state: LotState | None) -> None:
    lot = receive(shelf.resin, code="R-0100")
    if state:
        services.decide_lot(lot=lot, state=state, words="why", told=told())
    with pytest.raises(Refused) as refused:
        _use(lot, 5.0)
    words = "not released yet" if state is None else state.label
    assert f"R-0100 is {words}" in _sentence(refused, "lot")


def test_somebody_about_to_use_a_lot_out_of_date_is_stopped(shelf: Shelf) -> None:
    lot = release(receive(shelf.resin, code="R-0100", use_by=DAY - dt.timedelta(days=1)))
    with pytest.raises(Refused) as refused:
        _use(lot, 5.0)
    assert "out of date since 2026-05-11" in _sentence(refused, "lot")


@pytest.mark.parametrize(("minutes", "stopped"), [(0, True), (2, True), (2.1, False), (600, False)])
def test_what_was_done_more_than_two_minutes_ago_is_always_stored(shelf: Shelf, minutes: float, stopped: bool) -> None:
    lot = receive(shelf.resin, code="R-0100")
    logged = MORNING + dt.timedelta(minutes=minutes)
    if stopped:
        with pytest.raises(Refused):
            _use(lot, 5.0, logged=logged)
    else:
        movement, verdict = _use(lot, 5.0, logged=logged)
        assert movement.quantity == -5.0
        assert (verdict.level, verdict.because) == ("fail", "R-0100 is not released yet")


def test_a_quality_leads_reason_lifts_the_stop_but_not_the_verdict(shelf: Shelf) -> None:
    lot = receive(shelf.resin, code="R-0100")
    _, verdict = _use(lot, 5.0, person="KJ", lead_reason="certificate seen, to follow by post")
    assert verdict.level == "fail"
    assert verdict.because == "R-0100 is not released yet; KJ gave the reason: certificate seen, to follow by post"


def test_a_builders_reason_lifts_nothing(shelf: Shelf) -> None:
    lot = receive(shelf.resin, code="R-0100")
    with pytest.raises(Refused) as refused:
        _use(lot, 5.0, lead_reason="we need it")
    assert "only a quality lead's reason" in _sentence(refused, "lead_reason")


def test_a_builder_does_not_give_the_quality_leads_reason_for_what_is_done_either(shelf: Shelf) -> None:
    with pytest.raises(Refused) as refused:
        _use(shelf.lot(shelf.resin), 5.0, lead_reason="we needed it", logged=MORNING + dt.timedelta(hours=3))
    assert "Only a quality lead's reason" in _sentence(refused, "lead_reason")


def test_more_used_than_left_is_told_and_never_refused(shelf: Shelf) -> None:
    movement, verdict = _use(shelf.lot(shelf.catalyst), 32.0)
    assert movement.quantity == -32.0
    assert (verdict.level, verdict.because) == ("conditional fail", "12.00\N{NO-BREAK SPACE}kg more used than received")


@pytest.mark.parametrize("quantity", [0.0, -1.0, float("nan"), float("inf")])
def test_a_use_takes_something_out(shelf: Shelf, quantity: float) -> None:
    with pytest.raises(Refused, match="above 0"):
        _use(shelf.lot(shelf.resin), quantity)


def test_a_corrected_use_is_judged_without_the_one_it_corrects(shelf: Shelf) -> None:
    lot = shelf.lot(shelf.catalyst)
    first = _log_use(lot, 20.0)
    _, verdict = services.lot_use(lot=lot, quantity=19.0, told=told(), instead_of=first.entry)
    assert verdict.level == "pass"
    _, verdict = services.lot_use(lot=lot, quantity=19.0, told=told())
    assert verdict.level == "conditional fail"


@logs
def _logged(*, row: Any, lines: list[Any], told: Any) -> Any:
    return append(row, lines, told=told)


def _log_use(lot: Lot, quantity: float, lines: Any = (), **changes: Any) -> Any:
    """A row of this app stands in for the mix or ply of a higher one; what counts here is the stock line it carries."""
    movement, _ = services.lot_use(lot=lot, quantity=quantity, told=told())
    row = LotDecision(lot=lot, state=LotState.RELEASED, words="stands in for a use", **changes)
    return _logged(row=row, lines=[movement, *lines], told=told())


def test_a_correction_takes_back_and_takes_anew_in_one_entry(shelf: Shelf) -> None:
    lot = shelf.lot(shelf.resin)
    first = _log_use(lot, 25.0)
    second = _log_use(lot, 52.0, services.undo_movements(first.entry), corrects=first, reason="digits swapped")
    assert [line.quantity for line in second.entry.stock_movements.all()] == [-52.0, 25.0]
    card = selectors.lot_card(lot.code, DAY)
    assert (card.used, card.left) == (52.0, 548.0)
    services.strike_out(entry=second.entry, reason="never happened", told=told())
    card = selectors.lot_card(lot.code, DAY)
    assert (card.used, card.left) == (0.0, 600.0)
    assert checked_book().is_whole


def test_an_entry_is_struck_out_once_and_with_a_reason(shelf: Shelf) -> None:
    use = _log_use(shelf.lot(shelf.resin), 25.0)
    with pytest.raises(Refused) as refused:
        services.strike_out(entry=use.entry, reason=" ", told=told())
    assert "Say why" in _sentence(refused, "reason")
    strike = services.strike_out(entry=use.entry, reason="another lot", told=told())
    with pytest.raises(Refused, match="struck out already"):
        services.strike_out(entry=use.entry, reason="again", told=told())
    with pytest.raises(Refused, match="a strike-out itself"):
        services.strike_out(entry=strike.entry, reason="back again", told=told())


def test_a_receipt_is_not_struck_out_while_the_lot_has_been_used(shelf: Shelf) -> None:
    lot = shelf.lot(shelf.resin)
    use = _log_use(lot, 25.0)
    with pytest.raises(Refused, match="R-0007 has been used"):
        services.strike_out(entry=lot.entry, reason="never came", told=told())
    services.strike_out(entry=use.entry, reason="another lot", told=told())
    services.strike_out(entry=lot.entry, reason="never came", told=told())
    assert selectors.stock_left(lot) == 0
    assert "R-0007" not in [line.lot.code for line in selectors.stock(DAY)]


def test_a_material_and_its_only_sheet_are_not_struck_out(shelf: Shelf) -> None:
    for entry in (shelf.hose.entry, selectors.sheet_in_force(shelf.hose).sheet.entry):
        with pytest.raises(Refused, match="cannot be struck out"):
            services.strike_out(entry=entry, reason="wrong", told=told())


def test_the_ledger_closes_over_two_hundred_random_histories(shelf: Shelf) -> None:
    """Received = used + discarded + left, with every sum kept apart beside the book."""
    generator = random.Random(2612)  # noqa: S311 - a series of events, not a secret
    for number in range(200):
        received = round(generator.uniform(0.001, 900.0), 6)
        lot = receive(shelf.resin, code=f"L-{number}", quantity=received)
        used: dict[Any, float] = {}
        discarded = 0.0
        for _ in range(generator.randrange(5)):
            if used and generator.random() < 0.4:
                row = generator.choice(list(used))
                used.pop(row)
                services.strike_out(entry=row.entry, reason="another lot", told=told())
            else:
                quantity = round(generator.uniform(0.000001, 300.0), 6)
                movement = StockMovement(lot=lot, act="used", quantity=-quantity)
                row = LotDecision(lot=lot, state=LotState.RELEASED, words="stands in for a use")
                used[_logged(row=row, lines=[movement], told=told())] = quantity
        left = received - sum(used.values())
        if left > 0 and generator.random() < 0.3:
            services.decide_lot(lot=lot, state=LotState.USED_UP, words="", told=told())
            discarded = left
        sums = selectors.stock_sums([lot.pk])[lot.pk]
        assert sums.received == pytest.approx(received, abs=1e-9)
        assert sums.used == pytest.approx(sum(used.values()), abs=1e-9)
        assert sums.discarded == pytest.approx(discarded, abs=1e-9)
        assert sums.received - sums.used - sums.discarded - sums.left == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("sql", ["UPDATE {t} SET quantity = 1", "DELETE FROM {t}"])
def test_a_line_of_the_ledger_cannot_be_changed_by_sql(shelf: Shelf, sql: str) -> None:
    statement = sql.format(t=StockMovement._meta.db_table)
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


def test_a_use_that_brings_in_is_refused_by_the_book_itself(shelf: Shelf) -> None:
    lot = shelf.lot(shelf.resin)
    row = LotDecision(lot=lot, state=LotState.HELD, words="stands in for a use")
    with pytest.raises(Refused, match="sign"):
        _logged(row=row, lines=[StockMovement(lot=lot, act="used", quantity=5.0)], told=told())


# ---- Certificates


def _attach(lot: Lot, content: bytes, **changes: Any) -> Certificate:
    fields: dict[str, Any] = {
        "lot": lot,
        "kind": "inspection certificate 3.1",
        "number": "C-1",
        "dated_on": DAY,
        "content": content,
        "sent_name": "from the maker.pdf",
        "told": told(),
    }
    return services.attach_certificate(**{**fields, **changes})


def _picture(form: str = "JPEG", size: tuple[int, int] = (60, 40)) -> bytes:
    content = BytesIO()
    Image.new("RGB", size, "white").save(content, form)
    return content.getvalue()


def _pdf(change: Any) -> bytes:
    writer = PdfWriter()
    writer.add_blank_page(210, 297)
    change(writer)
    content = BytesIO()
    writer.write(content)
    return content.getvalue()


def test_a_certificate_is_kept_as_it_came_under_the_hash_of_its_bytes(shelf: Shelf) -> None:
    content = certificate_pdf("as it came")
    file = _attach(shelf.lot(shelf.resin), content).file
    assert file.media_type == "application/pdf"
    assert file.size_bytes == len(content)
    with default_storage.open(file.path) as kept:
        assert kept.read() == content
    assert file.path == f"{file.sha256[:2]}/{file.sha256}"


def test_the_same_file_for_two_lots_is_kept_once(shelf: Shelf) -> None:
    before = StoredFile.objects.count()
    first = _attach(shelf.lot(shelf.resin), certificate_pdf("twice"))
    second = _attach(shelf.lot(shelf.catalyst), certificate_pdf("twice"), sent_name="again.pdf")
    assert first.file == second.file
    assert StoredFile.objects.count() == before + 1
    folder = Path(default_storage.path(first.file.path)).parent
    assert all(len(kept.name) == 64 for kept in folder.iterdir())


@pytest.mark.parametrize(("form", "media_type"), [("JPEG", "image/jpeg"), ("PNG", "image/png")])
def test_a_picture_of_a_certificate_is_taken(shelf: Shelf, form: str, media_type: str) -> None:
    assert _attach(shelf.lot(shelf.resin), _picture(form)).file.media_type == media_type


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "neither a PDF nor"),
        (b"<html><script>alert(1)</script></html>", "neither a PDF nor"),
        (b"GIF89a\x01\x00\x01\x00", "neither a PDF nor"),
        (b"MZ\x90\x00", "neither a PDF nor"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "neither a PDF nor"),
        (b"%PDF-1.7\nnothing more", "does not open"),
        (certificate_pdf()[: len(certificate_pdf()) // 3], "does not open"),
        (_picture("JPEG", (900, 900))[:-400], "does not open"),
        (_picture("PNG")[:60], "does not open"),
        (b"\xff\xd8\xff\xe0" + b"\0" * 100, "does not open"),
        (_pdf(lambda pdf: pdf.encrypt("secret")), "locked with a password"),
        (_picture("PNG", (6500, 6500)), "more than 40 million points"),
        (_picture("PNG", (10000, 10000)), "more than 40 million points"),
    ],
    ids=[
        "empty", "html", "gif", "program", "svg", "no pdf", "cut pdf", "cut jpeg", "cut png", "no jpeg", "locked",
        "42 million points", "100 million points",
    ],
)  # fmt: skip
def test_a_file_that_is_no_plain_certificate_is_refused(shelf: Shelf, content: bytes, words: str) -> None:
    before = (Entry.objects.count(), StoredFile.objects.count())
    with pytest.raises(Refused) as refused:
        _attach(shelf.lot(shelf.resin), content)
    assert words in _sentence(refused, "file")
    assert (Entry.objects.count(), StoredFile.objects.count()) == before


def test_a_pdf_that_opens_something_is_refused_wherever_it_is_hidden(shelf: Shelf) -> None:
    action = DictionaryObject(
        {NameObject("/S"): NameObject("/JavaScript"), NameObject("/JS"): TextStringObject("app.alert(1)")}
    )

    def open_action(pdf: PdfWriter) -> None:
        pdf._root_object[NameObject("/OpenAction")] = action

    def page_action(pdf: PdfWriter) -> None:
        pdf.pages[0][NameObject("/AA")] = DictionaryObject({NameObject("/O"): pdf._add_object(action)})

    def link_action(pdf: PdfWriter) -> None:
        link = DictionaryObject(
            {NameObject("/Subtype"): NameObject("/Link"), NameObject("/A"): pdf._add_object(action)}
        )
        pdf.pages[0][NameObject("/Annots")] = ArrayObject([pdf._add_object(link)])

    for hide in (open_action, page_action, link_action):
        with pytest.raises(Refused) as refused:
            _attach(shelf.lot(shelf.resin), _pdf(hide))
        assert "does something when it is opened" in _sentence(refused, "file")


@pytest.mark.parametrize(
    ("start", "limit", "what"),
    [(b"%PDF-1.7\n", services.LARGEST_PDF_BYTES, "25 MB"), (b"\xff\xd8\xff", services.LARGEST_PICTURE_BYTES, "15 MB")],
)
def test_a_file_above_its_limit_is_refused_unopened(shelf: Shelf, start: bytes, limit: int, what: str) -> None:
    with pytest.raises(Refused) as refused:
        _attach(shelf.lot(shelf.resin), start + b"\0" * limit)
    assert f"give at most {what}" in _sentence(refused, "file")


def test_a_certificate_is_not_dated_ahead(shelf: Shelf) -> None:
    with pytest.raises(Refused) as refused:
        _attach(shelf.lot(shelf.resin), certificate_pdf(), dated_on=DAY + dt.timedelta(days=1))
    assert "lies ahead" in _sentence(refused, "dated_on")


def test_the_name_a_file_was_sent_under_keeps_no_folder(shelf: Shelf) -> None:
    file = services.store_file(content=certificate_pdf("named"), sent_name="..\\..\\etc/passwd.pdf")
    assert file.sent_name == "passwd.pdf"
