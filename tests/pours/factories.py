"""A resin plan, a hold test and a pour on the invented tender."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from hullbook.materials.enums import SourceKind
from hullbook.materials.selectors import KnownValue
from hullbook.pours import services
from hullbook.pours.enums import ComponentRole, GaugeKind
from hullbook.pours.models import HoldTest, Mix, Pour, ResinPlan
from hullbook.pours.selectors import ResinPlanInputs
from hullbook.pours.services import GivenComponent
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
