"""Three sisters of one model: two poured, from different resin lots of one maker's batch, and one only begun."""

import datetime as dt

from hullbook.pours.enums import ComponentRole, GelPlace
from hullbook.pours.services import GivenComponent, begin_pour, log_gel, set_resin_plan
from tests.cast import MORNING, open_shop, told
from tests.inspection.factories import POUR_DAY, Sheltered, complete_hull, hours, plan_inputs, sheltered
from tests.materials.factories import receive, release, stock_shelf

FIRST, SECOND, THIRD = "MB84-01", "MB84-02", "MB84-03"
SECOND_RESIN_LOT = "R-0101"


def three_hulls() -> dict[str, Sheltered]:
    shop = open_shop()
    shelf = stock_shelf(shop)
    first = complete_hull(shop, shelf, FIRST)
    second = sheltered(shop, shelf, SECOND)
    third = sheltered(shop, shelf, THIRD)
    later = release(receive(shelf.resin, code=SECOND_RESIN_LOT, quantity=60.0, use_by=dt.date(2026, 10, 31)))
    for line in range(1, 7):
        second.lay(line, hours(MORNING, 2 + line / 10))
    third.lay(1, hours(MORNING, 3))
    set_resin_plan(part=second.part, system=shelf.system, inputs=plan_inputs(shelf), told=told(at=hours(POUR_DAY, 5)))
    pour = begin_pour(part=second.part, told=told(at=hours(POUR_DAY, 6)))
    for pail in (1, 2):
        mix = second.mix(
            pour,
            pail,
            hours(POUR_DAY, 6 + pail / 10),
            12.0,
            components=[
                GivenComponent(ComponentRole.RESIN, later, 12.0),
                GivenComponent(ComponentRole.CATALYST, shelf.lot(shelf.catalyst), 0.18),
            ],
        )
        log_gel(
            pour=pour,
            mix=mix,
            at=GelPlace.CUP,
            place="",
            temperature_c=22.0,
            told=told("MO", at=hours(mix.entry.happened_at, 0.5)),
        )
    return {FIRST: first, SECOND: second, THIRD: third}
