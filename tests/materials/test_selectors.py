import datetime as dt
from typing import Any

import pytest

from hullbook.calc.core_uptake import core_uptake
from hullbook.materials import selectors, services
from hullbook.materials.enums import LotState, MaterialKind
from hullbook.quantities.tables import ranges
from hullbook.records.services import append, logs
from tests.cast import DAY, MORNING, Shop, open_shop, told
from tests.materials.factories import Shelf, add, given, receive, release, stock_shelf

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop() -> Shop:
    return open_shop()


@pytest.fixture
def shelf(shop: Shop) -> Shelf:
    return stock_shelf(shop)


@pytest.mark.parametrize("kind", MaterialKind.values)
def test_every_property_of_the_catalogue_has_bounds_to_be_checked_against(kind: str) -> None:
    properties = selectors.properties_of(kind)
    assert properties
    assert all(its.range_key in ranges() for its in properties.values())


def test_the_latest_sheet_is_in_force_and_the_older_stays(shelf: Shelf) -> None:
    services.revise_sheet(
        material=shelf.catalyst,
        name="Peroxide catalyst",
        maker="Tarn Mills (invented)",
        properties=given(density_kg_m3=1170),
        told=told(),
    )
    sheet = selectors.sheet_in_force(shelf.catalyst)
    assert sheet.value("density_kg_m3") == 1170
    assert sheet.value("shelf_life_days") is None
    assert selectors.sheets_of(shelf.catalyst).count() == 2


def test_a_sheet_struck_out_gives_way_to_the_one_before(shelf: Shelf) -> None:
    newer = services.revise_sheet(
        material=shelf.catalyst, name="Wrong", maker="", properties=given(density_kg_m3=1000), told=told()
    )
    services.strike_out(entry=newer.entry, reason="another product's sheet", told=told())
    assert selectors.sheet_in_force(shelf.catalyst).value("density_kg_m3") == 1160


def test_a_grooved_and_perforated_core_is_worked_out_from_its_sheet(shelf: Shelf) -> None:
    """Plane geometry of 20 mm PVC 80, grooves 2 x 2 mm both ways at 20 mm, holes 2 mm at 20 mm (worked by hand)."""
    geometry = selectors.core_geometry(selectors.sheet_in_force(shelf.core).values)
    uptake = core_uptake(geometry=geometry, liquid_resin_density_kg_m3=1080)
    assert uptake.total.kg_m2 == pytest.approx(1.133, rel=1e-3)


def test_a_contour_cut_core_has_kerfs_both_ways(shelf: Shelf) -> None:
    kerfs = selectors.core_geometry(selectors.sheet_in_force(shelf.contour_core).values).kerfs
    assert kerfs is not None
    assert (kerfs.pitch_mm, kerfs.cross_pitch_mm) == (30, 30)


def test_the_gel_table_stands_as_the_maker_gives_it(shelf: Shelf) -> None:
    table = selectors.gel_table(shelf.system)
    assert table is not None
    assert table.doses_phr == (1.0, 1.5, 2.0)
    assert table.temperatures_c == (18.0, 23.0, 28.0)
    assert table.low_minutes[0][0] == pytest.approx(85.5)
    assert selectors.gel_rows(table)[2][1][2] == pytest.approx((19.8, 24.2))


def test_the_next_lot_code_runs_on_from_the_highest(shelf: Shelf) -> None:
    assert selectors.next_lot_code() == "R-0014-D"
    receive(shelf.hose, code="H-99")
    assert selectors.next_lot_code() == "R-0014-D"
    receive(shelf.hose, code="R-0014-D")
    assert selectors.next_lot_code() == "R-0015-B"


def test_the_first_lot_is_r_0001(shop: Shop) -> None:
    assert selectors.next_lot_code() == "R-0001-N"


def test_a_number_whose_check_character_is_easily_misread_is_left_out(shelf: Shelf) -> None:
    given = set()
    for number in range(100, 1000):
        if selectors.check_character(f"R-{number:04}") in selectors.NO_CHECK_CHARACTERS:
            given.add(number)
    assert given
    left_out = min(given)
    receive(shelf.hose, code=f"R-{left_out - 1:04}")
    assert selectors.next_lot_code().startswith(f"R-{left_out + 1:04}-")


def test_the_lot_to_run_out_of_date_first_is_offered_first(shelf: Shelf) -> None:
    release(receive(shelf.resin, code="R-0100", use_by=dt.date(2026, 7, 1)))
    release(receive(shelf.resin, code="R-0101", use_by=dt.date(2026, 12, 1)))
    offered = [line.lot.code for line in selectors.usable_lots(shelf.resin, DAY)]
    assert offered == ["R-0100", "R-0007", "R-0101"]


def test_held_empty_and_out_of_date_lots_are_not_offered(shelf: Shelf) -> None:
    receive(shelf.resin, code="R-0100")
    held = release(receive(shelf.resin, code="R-0101"))
    services.decide_lot(lot=held, state=LotState.HELD, words="drum dented", told=told())
    late = release(receive(shelf.resin, code="R-0102", use_by=DAY - dt.timedelta(days=1)))
    empty = release(receive(shelf.resin, code="R-0103"))
    services.decide_lot(lot=empty, state=LotState.USED_UP, words="", told=told())
    assert [line.lot.code for line in selectors.usable_lots(shelf.resin, DAY)] == ["R-0007"]
    assert late.code in [line.lot.code for line in selectors.usable_lots(shelf.resin, DAY - dt.timedelta(days=1))]
    assert selectors.released_stock_by_material(DAY)[shelf.resin.pk] == 600


def test_a_lot_may_be_used_on_its_last_day(shelf: Shelf) -> None:
    last_day = release(receive(shelf.resin, code="R-0100", use_by=DAY))
    assert not selectors.is_out_of_date(last_day, DAY)
    assert selectors.is_out_of_date(last_day, DAY + dt.timedelta(days=1))


def test_what_a_lot_was_at_a_past_moment_can_be_told(shelf: Shelf) -> None:
    lot = receive(shelf.resin, code="R-0100")
    for hours, state in ((1, LotState.RELEASED), (3, LotState.HELD)):
        at = MORNING + dt.timedelta(hours=hours)
        services.decide_lot(lot=lot, state=state, words="as told", told=told(at=at))
    hour = dt.timedelta(hours=1)
    states = [selectors.lot_state(lot, MORNING + hour * hours) for hours in (0, 1, 2, 3)]
    assert states == [LotState.RECEIVED, LotState.RELEASED, LotState.RELEASED, LotState.HELD]
    assert selectors.lot_state(lot) == LotState.HELD


def test_a_decision_struck_out_no_longer_counts(shelf: Shelf) -> None:
    lot = shelf.lot(shelf.resin)
    held = services.decide_lot(lot=lot, state=LotState.HELD, words="wrong lot", told=told())
    services.strike_out(entry=held.entry, reason="meant R-0008", told=told())
    assert selectors.lot_state(lot) == LotState.RELEASED


def test_the_ledger_of_a_lot_shows_every_line_and_which_are_undone(shelf: Shelf) -> None:
    lot = shelf.lot(shelf.resin)
    use = _use(lot, 12.5)
    services.strike_out(entry=use.entry, reason="another lot", told=told())
    card = selectors.lot_card(lot.code, DAY)
    assert [(line.movement.quantity, line.left) for line in card.movements] == [(600, 600), (-12.5, 587.5), (12.5, 600)]
    assert [line.undone_by is not None for line in card.movements] == [False, True, False]
    assert (card.received, card.used, card.discarded, card.left) == (600, 0, 0, 600)


def test_the_stock_takes_the_same_number_of_queries_for_one_lot_as_for_many(
    shelf: Shelf, django_assert_max_num_queries: Any
) -> None:
    for number in range(30):
        release(receive(add(f"X-{number}", "consumable", "m", f"Hose {number}"), code=f"X-{number}"))
    with django_assert_max_num_queries(7):
        lines = selectors.stock(DAY)
    assert len(lines) == 43


def test_the_materials_take_a_fixed_number_of_queries(shelf: Shelf, django_assert_max_num_queries: Any) -> None:
    with django_assert_max_num_queries(3):
        found = selectors.materials()
    assert [sheet.material.code for sheet in found][:5] == ["GB-800", "GM-225", "GQ-1200", "GU-600", "PV-80-20"]


def _use(lot: Any, quantity: float, **changes: Any) -> Any:
    """A decision row stands in for the mix or ply that a higher app logs; what counts here is its stock line."""

    @logs
    def log(*, told: Any) -> Any:
        movement, _ = services.lot_use(lot=lot, quantity=quantity, told=told)
        return append(services.Certificate(**_certificate(lot)), [movement], told=told)

    return log(told=told(**changes))


def _certificate(lot: Any) -> dict[str, Any]:
    first = lot.certificates.first()
    return {"lot": lot, "kind": "stand-in", "number": "1", "dated_on": DAY, "file": first.file}
