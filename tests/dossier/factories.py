"""A hull with something in every chapter: laid, held, poured, cured, tried, found, and a few things put right."""

import datetime as dt
from dataclasses import dataclass

from hullbook.cure.services import log_cure_reading, log_demould
from hullbook.hulls.models import Hull, Part
from hullbook.hulls.services import give_craft_number, release_hold_point
from hullbook.inspection.enums import Decision, FindingKind, Surface, Weighed
from hullbook.inspection.services import decide_finding, log_finding, log_hardness, log_weighing
from hullbook.materials.services import strike_out
from hullbook.pours.enums import ComponentRole, GaugeKind, GelPlace, RemainderPlace
from hullbook.pours.models import Mix, Pour
from hullbook.pours.services import (
    GivenComponent,
    begin_pour,
    close_pour,
    log_gel,
    log_hold_test,
    log_mix,
    log_remainder,
    set_resin_plan,
)
from hullbook.yard.services import log_climate
from tests.cast import MORNING, told
from tests.hulls.factories import Berth, make_berth
from tests.inspection.factories import plan_inputs

NASTY = 'wedge of dry cloth, a <b & "c", =1+1, Ωδ ≤ 3 → 4, \u202ereversed, ship \U0001f6a2, line\nend'
POUR_DAY = MORNING + dt.timedelta(days=2)


def at(minutes: float) -> dt.datetime:
    """So many minutes into the day of the pour."""
    return POUR_DAY + dt.timedelta(minutes=minutes)


@dataclass(frozen=True)
class Built:
    berth: Berth
    pour: Pour
    mixes: tuple[Mix, ...]

    @property
    def hull(self) -> Hull:
        return self.berth.hull

    @property
    def part(self) -> Part:
        return self.berth.part


def log_air(berth: Berth, when: dt.datetime, air_c: float = 20.5, humidity: float = 55.0) -> None:
    log_climate(
        bay=berth.shop.bay,
        place="mould, midships",
        air_temperature_c=air_c,
        humidity_percent=humidity,
        surface_temperature_c=air_c - 1.0,
        thermometer=berth.shop.thermometer,
        hygrometer=berth.shop.hygrometer,
        told=told("MO", at=when),
    )


def mix_pail(berth: Berth, pour: Pour, pail_number: int, minutes: float, **changes: object) -> Mix:
    shelf, shop = berth.shelf, berth.shop
    resin_kg = 13.7 + 0.05 * pail_number
    fields: dict[str, object] = {
        "pour": pour,
        "pail_number": pail_number,
        "components": [
            GivenComponent(ComponentRole.RESIN, shelf.lot(shelf.resin), resin_kg),
            GivenComponent(ComponentRole.CATALYST, shelf.lot(shelf.catalyst), resin_kg * 0.015),
        ],
        "resin_temperature_c": 21.4,
        "scale": shop.scale,
        "catalyst_scale": shop.fine_scale,
        "thermometer": shop.thermometer,
        "inlet": "keel 1",
        "mixed_by": "MO",
        "second_person": "RT",
        "told": told("MO", at=at(minutes)),
    }
    return log_mix(**{**fields, **changes})  # type: ignore[arg-type]


def build_hull(*, pails: int = 5, number: str = "MB84-01") -> Built:
    """From laying down to the last look.

    One pail is corrected, one entry late, copied from a paper sheet on a tablet two minutes ahead, one struck out.
    """
    berth = make_berth(number=number)
    part, shop = berth.part, berth.shop
    for hours in (-30, -24, -20, -6, 0, 3, 6):
        log_air(berth, at(60 * hours))
    log_air(berth, at(60 * 9), air_c=17.0)
    give_craft_number(hull=berth.hull, number="GB-MWB00101E626", told=told("KJ", at=MORNING))
    for line in range(1, 6):
        berth.lay(line, told=told("MO", at=MORNING + dt.timedelta(minutes=30 * line)))
    late = MORNING + dt.timedelta(hours=4)
    clock = {"tapped_at": f"{late + dt.timedelta(seconds=125):%Y-%m-%dT%H:%M:%SZ}", "ahead_s": "125.000"}
    by_hand = {"happened_at": late - dt.timedelta(hours=1), "paper_sheet": 1, "tablet_clock": clock}
    berth.lay(6, told=told("MO", at=late, **by_hand))
    set_resin_plan(part=part, system=berth.shelf.system, inputs=plan_inputs(berth.shelf), told=told("KJ", at=at(-60)))
    log_hold_test(
        part=part,
        gauge=shop.gauge,
        gauge_kind=GaugeKind.ABSOLUTE,
        readings=[(2.0 * step, 8.0 + 0.25 * step + (0.1 if step % 3 else 0.0)) for step in range(11)],
        station_pressure_start_mbar=None,
        station_pressure_end_mbar=None,
        air_temperature_start_c=20.4,
        air_temperature_end_c=20.6,
        words="",
        told=told("KJ", at=at(-30)),
    )
    for point in range(6):
        words = "surveyor told, did not come" if point in (3, 4) else ""
        release_hold_point(hull=berth.hull, number=point, words=words, missing="", told=told("KJ", at=at(-20 + point)))
    pour = begin_pour(part=part, told=told("KJ", at=at(0)))
    mixes = [mix_pail(berth, pour, pail, 4.0 * pail) for pail in range(1, pails + 1)]
    corrected = mix_pail(
        berth, pour, 2, 8.0, corrects=mixes[1], reason="inlet misread", inlet="keel 2",
        told=told("MO", at=at(30), happened_at=at(8)),
    )  # fmt: skip
    extra = mix_pail(berth, pour, pails + 1, 4.0 * pails + 2)
    strike_out(entry=extra.entry, reason="never mixed, keyed for practice", told=told("MO", at=at(40)))
    close_pour(pour=pour, words="front through at the transom", told=told("KJ", at=at(60)))
    for place, mass in ((RemainderPlace.TRAP, 1.1), (RemainderPlace.MEDIUM, 17.4), (RemainderPlace.FLANGE, 1.9)):
        log_remainder(
            pour=pour, mix=None, place=place, mass_kg=mass, standard_uncertainty_kg=0.1, scale=shop.scale,
            told=told("RT", at=at(600)),
        )  # fmt: skip
    log_remainder(
        pour=pour, mix=mixes[-1], place=RemainderPlace.PAIL, mass_kg=0.84, standard_uncertainty_kg=0.02,
        scale=shop.scale, told=told("RT", at=at(610)),
    )  # fmt: skip
    log_gel(pour=pour, mix=mixes[0], at=GelPlace.CUP, place="", temperature_c=22.0, told=told("RT", at=at(58)))
    log_gel(pour=pour, mix=None, at=GelPlace.PART, place="transom", temperature_c=24.0, told=told("RT", at=at(95)))
    for step in range(14):
        log_cure_reading(
            part=part,
            place="keel, station 5",
            temperature_c=22.0 + (9.5 * step if step < 6 else max(2.0, 57.0 - 6.0 * (step - 5))),
            thermometer=shop.thermometer,
            told=told("RT", at=at(96 + 12 * step)),
        )
    log_hardness(
        part=part,
        zone_name="Bottom",
        place="station 4, port",
        surface=Surface.LAMINATE,
        tester=shop.impressor,
        disc_low=85.0,
        disc_high=87.0,
        disc_reading=86.0,
        part_temperature_c=21.0,
        required_mean=31.5,
        required_source="90 % of the sheet's 35 (invented)",
        readings=[(36.0 + (step * 7) % 5, "") for step in range(15)] + [(12.0, "edge of a void")],
        told=told("KJ", at=at(1500)),
    )
    log_demould(part=part, words="released without wedges", told=told("KJ", at=at(1510)))
    for what, mass in (
        (Weighed.SHELL, 190.0), (Weighed.GELCOAT, 22.0), (Weighed.FIBRE, 66.0), (Weighed.CORE, 30.0),
        (Weighed.INSERTS, 3.0),
    ):  # fmt: skip
        log_weighing(
            part=part, what=what, mass_kg=mass, standard_uncertainty_kg=0.3, scale=shop.scale, source="",
            told=told("KJ", at=at(1520)),
        )  # fmt: skip
    found = log_finding(
        part=part, kind=FindingKind.DRY_SPOT, zone_name="Bottom", place="station 7, starboard, 900 mm from keel",
        length_mm=40.0, width_mm=25.0, words=NASTY, told=told("KJ", at=at(1530)),
    )  # fmt: skip
    decide_finding(
        about_entry=found.entry, decision=Decision.REPAIR, words="inject, then look again", told=told("KJ", at=at(1540))
    )
    log_finding(
        part=part, kind=FindingKind.NOTHING, zone_name="Keel", place="", length_mm=None, width_mm=None, words="",
        told=told("KJ", at=at(1550), confirmed=({"field": "place", "given": "1540", "question": "Is 1540 right?"},)),
    )  # fmt: skip
    standing = [mixes[0], corrected, *mixes[2:]]
    return Built(berth, pour, tuple(standing))
