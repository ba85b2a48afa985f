"""A resin plan, a hold test and a pour on the invented tender."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.utils import timezone

from hullbook.hulls.enums import HullSide, Side
from hullbook.materials.enums import SourceKind
from hullbook.materials.selectors import KnownValue
from hullbook.pours import services
from hullbook.pours.enums import ComponentRole, GaugeKind, InletMove, PailEnded, RemainderPlace, TroubleKind
from hullbook.pours.models import (
    FeedLayout,
    FrontReached,
    GelCup,
    HoldTest,
    InletMoved,
    Mix,
    PailEnd,
    Pour,
    PourClosed,
    PourPlan,
    PourReading,
    Remainder,
    ResinPlan,
    SoundTest,
    Trouble,
    TroubleMended,
)
from hullbook.pours.selectors import PourPlanInputs, ResinPlanInputs, worked_out_pour_plan
from hullbook.pours.services import GivenComponent, GivenInlet, GivenLine, GivenStation
from tests.cast import MORNING, told
from tests.hulls.factories import Berth, make_berth
from tests.materials.factories import Shelf

# A steady rise read each minute, mbar absolute: 0.4282 mbar/min by scipy's least squares.
HELD = (18.2, 18.6, 19.1, 19.4, 20.0, 20.3, 20.7, 21.3, 21.6, 22.0, 22.5)

FIGURES: dict[str, float] = {
    "medium_coverage_m2": 20.0,
    "peel_ply_coverage_m2": 24.0,
    "channel_length_m": 20.0,
    "channel_bore_mm": 14.0,
    "hose_length_m": 12.0,
    "hose_bore_mm": 12.0,
    "flange_length_m": 18.0,
    "overrun_m": 0.06,
    "brake_width_m": 0.12,
    "trap_share_percent": 1.0,
    "pail_kg": 12.5,
    "pail_diameter_mm": 290.0,
    "pail_height_mm": 360.0,
    "pail_film_mm": 0.2,
    "heel_mm": 20.0,
    "cups_per_pail_kg": 0.2,
    "waste_fraction": 0.1,
    "area_relative_sd": 0.02,
    "cost_of_running_out": 20_000.0,
    "cost_of_surplus": 200.0,
    "container_kg": 25.0,
    "contingency_containers": 1.0,
}


def plan_inputs(shelf: Shelf, **changes: Any) -> ResinPlanInputs:
    figures = {**FIGURES, **{name: value for name, value in changes.items() if name in FIGURES}}
    laid = {"medium": shelf.flow_medium, "peel_ply": shelf.peel_ply, "channel": None, "hose": None}
    laid |= {name: value for name, value in changes.items() if name in laid}
    known = {
        name: KnownValue(value, SourceKind.YARD, "invented bag drawing MB84-B-02") for name, value in figures.items()
    }
    return ResinPlanInputs(**laid, **known)  # type: ignore[arg-type]


def set_plan(berth: Berth, **changes: Any) -> ResinPlan:
    return services.set_resin_plan(
        part=berth.part, system=berth.shelf.system, inputs=plan_inputs(berth.shelf, **changes), told=told()
    )


def hold(berth: Berth, readings: list[tuple[float, float]] | None = None, **changes: Any) -> HoldTest:
    fields: dict[str, Any] = {
        "part": berth.part,
        "gauge": berth.shop.gauge,
        "gauge_kind": GaugeKind.ABSOLUTE,
        "readings": readings if readings is not None else list(enumerate(HELD)),
        "station_pressure_start_mbar": None,
        "station_pressure_end_mbar": None,
        "air_temperature_start_c": 20.0,
        "air_temperature_end_c": 20.0,
        "words": "",
        "told": told("MO"),
    }
    return services.log_hold_test(**{**fields, **changes})


POUR_PLAN: dict[str, Any] = {
    "dose_phr": 1.2,
    "coldest_c": 19.0,
    "hottest_c": 21.0,
    "station_pressure_mbar": 1010.0,
    "gauge_kind": GaugeKind.ABSOLUTE,
    "gauge_mbar": 20.0,
    "pail_below_keel_mm": 100.0,
    "medium_to_mm": 1700.0,
    "hose_length_m": 3.0,
    "fed_length_m": 4.0,
    "handling_min": 5.0,
    "mixing_min": 4.0,
    "doubling_min": None,
    "source": "invented bag drawing MB84-B-02",
    "places": (("KJ", "calls the inlets"), ("MO", "scale and mixing"), ("RT", "inlets and clamps")),
    "stops": ("Clamp an inlet before its pail runs below the heel.",),
    "read_to": ("KJ", "MO", "RT"),
}


def read_plan(berth: Berth, **changes: Any) -> PourPlan:
    """A pour plan read to the crew; `told` may be among the changes."""
    fields = {"told": told(), **changes}
    said = fields.pop("told")
    inputs = PourPlanInputs(**{**POUR_PLAN, **fields})
    view = worked_out_pour_plan(berth.part, inputs, timezone.localdate(said.happened_at))
    return services.read_pour_plan(view=view, told=said)


def panel_fields(berth: Berth) -> dict[str, Any]:
    return {
        "zone": berth.revision.zones.get(name="Bottom"),
        "medium": berth.shelf.flow_medium,
        "system": berth.shelf.system,
        "resin_temperature_c": 20.0,
        "station_pressure_mbar": 1010.0,
        "gauge_kind": GaugeKind.ABSOLUTE,
        "gauge_mbar": 20.0,
        "words": "invented panel TP-1",
    }


def log_cup(berth: Berth, **changes: Any) -> GelCup:
    shelf = berth.shelf
    fields = {
        "system": shelf.system,
        "resin_lot": shelf.lot(shelf.resin),
        "catalyst_lot": shelf.lot(shelf.catalyst),
        "dose_phr": 1.5,
        "temperature_c": 20.0,
        "gel_min": 62.0,
        "thermometer": berth.shop.thermometer,
        "told": told("MO"),
    }
    return services.log_gel_cup(**{**fields, **changes})


@dataclass(frozen=True)
class PourDay:
    """A berth with its plan, and a pour begun."""

    berth: Berth
    plan: ResinPlan
    pour: Pour

    def mix(
        self, pail: int = 1, *, resin_kg: float = 12.5, catalyst_g: float = 187.5, minute: int = 0, **changes: Any
    ) -> Mix:
        """A pail mixed about now, at a minute of the morning."""
        shelf, shop = self.berth.shelf, self.berth.shop
        at = MORNING + dt.timedelta(minutes=minute)
        fields: dict[str, Any] = {
            "pour": self.pour,
            "pail_number": pail,
            "components": [
                GivenComponent(ComponentRole.RESIN, shelf.lot(shelf.resin), resin_kg),
                GivenComponent(ComponentRole.CATALYST, shelf.lot(shelf.catalyst), catalyst_g / 1000),
            ],
            "resin_temperature_c": 20.0,
            "scale": shop.scale,
            "catalyst_scale": shop.fine_scale,
            "thermometer": shop.thermometer,
            "inlet": "1",
            "mixed_by": "MO",
            "second_person": "RT",
            "told": told("MO", at=at),
        }
        return services.log_mix(**{**fields, **changes})


def begin(berth: Berth | None = None) -> PourDay:
    berth = berth or make_berth()
    plan = set_plan(berth)
    return PourDay(berth, plan, services.begin_pour(part=berth.part, told=told()))


def already(minutes: int = 30, person: str = "MO") -> Any:
    """Told later: it was done half an hour before it was logged."""
    return told(person, happened_at=MORNING, tapped_at=MORNING + dt.timedelta(minutes=minutes))


LINES = (
    GivenLine(1, "keel", 0.0, Side.BOTH),
    GivenLine(2, "chine", 820.0, Side.BOTH, opens_after=1, opens_words="both fronts past line 2"),
)
INLETS = (
    GivenInlet(1, 1, Side.BOTH),
    GivenInlet(2, 2, Side.STARBOARD),
    GivenInlet(3, 2, Side.PORT),
)
STATIONS = (GivenStation("2", 1400.0), GivenStation("5", 1820.0))


def lay_feed_lines(berth: Berth, **changes: Any) -> FeedLayout:
    fields: dict[str, Any] = {
        "part": berth.part,
        "lines": LINES,
        "inlets": INLETS,
        "stations": STATIONS,
        "words": "invented drawing FL-84-2",
        "told": told("MO"),
    }
    return services.log_feed_layout(**{**fields, **changes})


@dataclass(frozen=True)
class Running:
    """A pour with its feed lines laid, and a word for each thing that happens in it, at a minute of the morning."""

    day: PourDay

    @property
    def pour(self) -> Pour:
        return self.day.pour

    @staticmethod
    def at(minute: float, person: str = "MO", **changes: Any) -> Any:
        return told(person, at=MORNING + dt.timedelta(minutes=minute), **changes)

    def sound(self, minute: float = 0, heard: bool = True) -> SoundTest:
        return services.try_sound(pour=self.pour, heard=heard, told=self.at(minute))

    def inlet(self, number: int, minute: float, move: InletMove = InletMove.OPENED) -> InletMoved:
        return services.move_inlet(pour=self.pour, inlet_number=number, move=move, told=self.at(minute))

    def front(self, station: str, side: HullSide, girth_mm: float, minute: float, **changes: Any) -> FrontReached:
        return services.log_front(
            pour=self.pour, station=station, side=side, girth_mm=girth_mm, landmark="", told=self.at(minute, **changes)
        )

    def fronts(self, girth_mm: float, minute: float) -> None:
        """So far at every station and side, or to the flange where that is nearer."""
        for station in STATIONS:
            for side in HullSide:
                self.front(station.name, side, min(girth_mm, station.girth_mm), minute)

    def pressure(self, shown: float, minute: float, **changes: Any) -> PourReading:
        fields: dict[str, Any] = {
            "pour": self.pour,
            "gauge": self.day.berth.shop.gauge,
            "gauge_kind": GaugeKind.ABSOLUTE,
            "gauge_mbar": shown,
            "station_pressure_mbar": None,
            "place": "",
            "told": self.at(minute),
        }
        return services.log_bag_pressure(**{**fields, **changes})

    def trouble(self, kind: TroubleKind, minute: float, **changes: Any) -> Trouble:
        return services.log_trouble(pour=self.pour, kind=kind, **{"told": self.at(minute), **changes})

    def mend(self, trouble: Trouble, minute: float, words: str = "") -> TroubleMended:
        return services.mend_trouble(trouble=trouble, words=words, told=self.at(minute))

    def end(self, mix: Mix, minute: float, how: PailEnded = PailEnded.EMPTY) -> PailEnd:
        return services.end_pail(mix=mix, how=how, told=self.at(minute))

    def left(self, mix: Mix, mass_kg: float, minute: float) -> Remainder:
        return services.log_remainder(
            pour=self.pour,
            mix=mix,
            place=RemainderPlace.PAIL,
            mass_kg=mass_kg,
            standard_uncertainty_kg=None,
            scale=self.day.berth.shop.scale,
            told=self.at(minute),
        )

    def close(self, minute: float) -> PourClosed:
        return services.close_pour(pour=self.pour, words="", told=self.at(minute, "KJ"))


def running(berth: Berth | None = None) -> Running:
    berth = berth or make_berth()
    lay_feed_lines(berth)
    return Running(begin(berth))
