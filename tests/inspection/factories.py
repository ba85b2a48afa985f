"""A hull with nothing missing, told through the services; each fact can be left out by the name of its act."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass

from hullbook.cure.services import log_cure_reading, log_demould
from hullbook.hulls.enums import BuildRegime, LayingOutcome
from hullbook.hulls.models import Hull, Laying, Part, ScheduleRevision
from hullbook.hulls.services import give_craft_number, log_laying, release_hold_point, take_into_force
from hullbook.inspection.enums import FindingKind, Surface, Weighed
from hullbook.inspection.models import HardnessSet
from hullbook.inspection.selectors import planned_against_used
from hullbook.inspection.services import log_finding, log_hardness, log_weighing
from hullbook.materials.enums import SourceKind
from hullbook.materials.selectors import KnownValue
from hullbook.pours.enums import ComponentRole, GaugeKind, GelPlace, RemainderPlace
from hullbook.pours.models import Mix, Pour
from hullbook.pours.selectors import ResinPlanInputs, plan_in_force
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
from tests.cast import MORNING, Shop, told
from tests.hulls.factories import add_tender, draft, lay_down, sign
from tests.materials.factories import Shelf

POUR_DAY = MORNING + dt.timedelta(days=1)
LAST_DAY = MORNING + dt.timedelta(days=3)
SOURCE = "invented yard trials, sheet 4"
HARD_ENOUGH = [46, 48, 44, 47, 45, 49, 43, 46, 47, 45, 48, 44, 46, 47, 45, 46, 48, 44, 47, 46]


def hours(day: dt.datetime, count: float) -> dt.datetime:
    return day + dt.timedelta(hours=count)


def plan_inputs(shelf: Shelf) -> ResinPlanInputs:
    figures = {
        "medium_coverage_m2": 20.0,
        "peel_ply_coverage_m2": 22.0,
        "channel_length_m": 18.0,
        "channel_bore_mm": 12.0,
        "hose_length_m": 10.0,
        "hose_bore_mm": 12.0,
        "flange_length_m": 18.0,
        "overrun_m": 0.05,
        "brake_width_m": 0.08,
        "trap_share_percent": 2.0,
        "pail_kg": 15.0,
        "pail_diameter_mm": 280.0,
        "pail_height_mm": 250.0,
        "pail_film_mm": 0.3,
        "heel_mm": 15.0,
        "cups_per_pail_kg": 0.1,
        "waste_fraction": 0.05,
        "area_relative_sd": 0.03,
        "cost_of_running_out": 20.0,
        "cost_of_surplus": 1.0,
        "container_kg": 25.0,
        "contingency_containers": 1.0,
    }
    known = {name: KnownValue(value, SourceKind.YARD, SOURCE) for name, value in figures.items()}
    return ResinPlanInputs(medium=shelf.flow_medium, peel_ply=shelf.peel_ply, **known)


@dataclass(frozen=True)
class Sheltered:
    """A hull in the shop with its one part and the schedule that part is built to."""

    shop: Shop
    shelf: Shelf
    hull: Hull
    part: Part
    revision: ScheduleRevision

    def climate(self, at: dt.datetime, air_c: float = 20.5) -> None:
        log_climate(
            bay=self.shop.bay,
            place="mould, midships",
            air_temperature_c=air_c,
            humidity_percent=55.0,
            surface_temperature_c=air_c - 1.0,
            thermometer=self.shop.thermometer,
            hygrometer=self.shop.hygrometer,
            told=told("MO", at=at),
        )

    def release(self, number: int, at: dt.datetime) -> None:
        release_hold_point(hull=self.hull, number=number, words="", missing="", told=told(at=at))

    def lay(self, number: int, at: dt.datetime, **changes: object) -> Laying:
        line = self.revision.lines.select_related("zone", "material").get(number=number)
        fields: dict[str, object] = {
            "part": self.part,
            "zone": line.zone,
            "line": line,
            "outcome": LayingOutcome.LAID,
            "lot": self.shelf.lot(line.material),
            "quantity": 4.0,
            "laid_by": "MO",
            "second_person": "RT",
            "deviation": "",
            "told": told("MO", at=at),
        }
        return log_laying(**{**fields, **changes})  # type: ignore[arg-type]

    def mix(self, pour: Pour, number: int, at: dt.datetime, resin_kg: float, **changes: object) -> Mix:
        fields: dict[str, object] = {
            "pour": pour,
            "pail_number": number,
            "components": [
                GivenComponent(ComponentRole.RESIN, self.shelf.lot(self.shelf.resin), resin_kg),
                GivenComponent(ComponentRole.CATALYST, self.shelf.lot(self.shelf.catalyst), round(resin_kg * 0.015, 4)),
            ],
            "resin_temperature_c": 21.0,
            "scale": self.shop.scale,
            "catalyst_scale": self.shop.fine_scale,
            "thermometer": self.shop.thermometer,
            "inlet": "inlet 1",
            "mixed_by": "MO",
            "second_person": "RT",
            "told": told("MO", at=at),
        }
        return log_mix(**{**fields, **changes})  # type: ignore[arg-type]

    def hold_test(self, at: dt.datetime, rise_mbar_min: float = 0.05) -> None:
        log_hold_test(
            part=self.part,
            gauge=self.shop.gauge,
            gauge_kind=GaugeKind.ABSOLUTE,
            readings=[(float(minute), round(8.0 + rise_mbar_min * minute, 1)) for minute in range(0, 31, 2)],
            station_pressure_start_mbar=None,
            station_pressure_end_mbar=None,
            air_temperature_start_c=20.5,
            air_temperature_end_c=20.5,
            words="",
            told=told("MO", at=at),
        )

    def try_hardness(
        self, zone: str, at: dt.datetime, hardnesses: Collection[float] = HARD_ENOUGH, **changes: object
    ) -> HardnessSet:
        fields: dict[str, object] = {
            "part": self.part,
            "zone_name": zone,
            "place": "",
            "surface": Surface.LAMINATE,
            "tester": self.shop.impressor,
            "disc_low": 85.0,
            "disc_high": 87.0,
            "disc_reading": 86.0,
            "part_temperature_c": 22.0,
            "required_mean": 35.0,
            "required_source": "invented data sheet, edition 2",
            "readings": [(float(reading), "") for reading in hardnesses],
            "told": told("MO", at=at),
        }
        return log_hardness(**{**fields, **changes})  # type: ignore[arg-type]

    def weigh(self, what: Weighed, mass_kg: float, uncertainty_kg: float, at: dt.datetime) -> None:
        log_weighing(
            part=self.part,
            what=what,
            mass_kg=mass_kg,
            standard_uncertainty_kg=uncertainty_kg,
            scale=self.shop.scale if what == Weighed.SHELL else None,
            source="" if what == Weighed.SHELL else "invented cut lists",
            told=told("MO", at=at),
        )


def sheltered(shop: Shop, shelf: Shelf, number: str = "MB84-01", **changes: object) -> Sheltered:
    """A hull laid down, built to a signed schedule, with nothing done yet. A second one shares model and schedule."""
    hull_model = Hull.objects.select_related("boat_model").first()
    model = hull_model.boat_model if hull_model else add_tender()
    revision = ScheduleRevision.objects.first() or sign(draft(model, shelf))
    fields: dict[str, object] = {"build_regime": BuildRegime.RECREATIONAL, **changes}
    hull = lay_down(model, shop, number, **fields)
    part = Part.objects.select_related("hull").get(hull=hull)
    take_into_force(part=part, revision=revision, told=told())
    return Sheltered(shop, shelf, hull, part, revision)


def poured(berth: Sheltered, at: dt.datetime = POUR_DAY) -> Pour:
    """A plan, a hold test that passes, and a pour of what the plan expects; closed, with its remainders weighed."""
    set_resin_plan(
        part=berth.part, system=berth.shelf.system, inputs=plan_inputs(berth.shelf), told=told(at=hours(at, 0))
    )
    berth.hold_test(hours(at, 0.5))
    berth.release(5, hours(at, 0.6))
    pour = begin_pour(part=berth.part, told=told(at=hours(at, 1)))
    plan = plan_in_force(berth.part)
    assert plan is not None
    pails = 5
    mixes = [
        berth.mix(pour, number, hours(at, 1 + number / 10), round(plan.mean_kg / pails / 1.015, 2))
        for number in range(1, pails + 1)
    ]
    for mix in mixes:
        log_gel(
            pour=pour,
            mix=mix,
            at=GelPlace.CUP,
            place="",
            temperature_c=22.0,
            told=told("MO", at=hours(mix.entry.happened_at, 1)),
        )
    close_pour(pour=pour, words="", told=told(at=hours(at, 2)))
    for place, mass_kg, uncertainty_kg in (
        (RemainderPlace.PAIL, 1.2, 0.1),
        (RemainderPlace.MEDIUM, 12.0, 0.5),
        (RemainderPlace.HOSES, 1.6, 0.2),
        (RemainderPlace.FLANGE, 0.9, 0.2),
        (RemainderPlace.TRAP, 0.6, 0.1),
        (RemainderPlace.CUPS, 0.5, 0.1),
    ):
        log_remainder(
            pour=pour,
            mix=None,
            place=place,
            mass_kg=mass_kg,
            standard_uncertainty_kg=uncertainty_kg,
            scale=berth.shop.scale,
            told=told("MO", at=hours(at, 3)),
        )
    return pour


def complete_hull(shop: Shop, shelf: Shelf, number: str = "MB84-01") -> Sheltered:
    """Laid down, laid up, held, poured, cured, demoulded, tried, weighed, looked at: nothing is missing."""
    berth = sheltered(shop, shelf, number)
    give_craft_number(hull=berth.hull, number="GB-MWB00101E626", told=told(at=hours(MORNING, 0.1)))
    for day in (MORNING, POUR_DAY, LAST_DAY):
        berth.climate(hours(day, 0.2))
    for point in (0, 1, 2):
        berth.release(point, hours(MORNING, 0.3 + point / 10))
    for line in range(1, 7):
        berth.lay(line, hours(MORNING, 1 + line / 2))
    for point in (3, 4):
        berth.release(point, hours(MORNING, 5 + point / 10))
    pour = poured(berth)
    log_gel(
        pour=pour,
        mix=None,
        at=GelPlace.PART,
        place="flange, port",
        temperature_c=24.0,
        told=told("MO", at=hours(POUR_DAY, 4)),
    )
    for step, temperature_c in ((4.5, 31.0), (5.0, 38.0), (5.5, 41.0), (6.0, 36.0), (7.0, 29.0)):
        log_cure_reading(
            part=berth.part,
            place="keel, station 5",
            temperature_c=temperature_c,
            thermometer=shop.thermometer,
            told=told("MO", at=hours(POUR_DAY, step)),
        )
    for point in (6, 7, 8):
        berth.release(point, hours(LAST_DAY, point / 10))
    log_demould(part=berth.part, words="", told=told("MO", at=hours(LAST_DAY, 1)))
    for zone in ("Keel", "Bottom"):
        berth.try_hardness(zone, hours(LAST_DAY, 2))
        log_finding(
            part=berth.part,
            kind=FindingKind.NOTHING,
            zone_name=zone,
            place="inside and outside",
            length_mm=None,
            width_mm=None,
            words="",
            told=told("RT", at=hours(LAST_DAY, 2.5)),
        )
    weigh_all(berth, hours(LAST_DAY, 3))
    for point in (9, 10, 11):
        berth.release(point, hours(LAST_DAY, 3 + point / 10))
    return berth


def weigh_all(berth: Sheltered, at: dt.datetime) -> None:
    """Weights by which the resin in the part is what the pour leaves for it, 0.3 kg short."""
    use = planned_against_used(berth.part)
    assert use.in_part is not None
    others = {Weighed.GELCOAT: 14.0, Weighed.FIBRE: 38.0, Weighed.CORE: 29.0, Weighed.INSERTS: 0.0}
    for what, mass_kg in others.items():
        berth.weigh(what, mass_kg, 0.4, at)
    berth.weigh(Weighed.SHELL, round(use.in_part.mass_kg + sum(others.values()) - 0.3, 2), 0.5, at)
