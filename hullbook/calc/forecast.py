"""What a running pour will still want, and when it will be through: the plan, put right by what was told so far.

Masses in kg, times in min. A ratio of told to planned is shrunk toward 1 by how sure either side is: the spread of such
ratios from hull to hull against the error with which a front is read (two independent normal errors, weighted by their
precisions). The tablet does the same sums in static/js/forecast.js.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from hullbook.calc.errors import InputRefused, require_between, require_not_negative, require_positive


@dataclass(frozen=True)
class Shrunk:
    """A ratio of told to planned: as it is, how far it counts (0 to 1), drawn toward 1, and its standard deviation."""

    ratio: float
    weight: float
    drawn_in: float
    sd: float


@dataclass(frozen=True)
class ResinSpread:
    """Relative standard deviations of used against planned resin, and how many of them are kept in hand.

    `sd_hull` from hull to hull, `sd_reading` of the ratio as the front is read, `sd_local` of what is still dry.
    """

    sd_hull: float
    sd_reading: float
    sd_local: float
    k: float

    def __post_init__(self) -> None:
        """Refuse `not_positive` spreads and a `negative` k."""
        for name in ("sd_hull", "sd_reading", "sd_local"):
            require_positive(name, getattr(self, name))
        require_not_negative("k", self.k)


@dataclass(frozen=True)
class Remaining:
    """What the part still draws, and what is to be mixed for it.

    `upper_kg` is `remaining_kg` and k standard deviations; `to_mix_kg` covers it and the heel beyond what stands mixed.
    Below 0 that much more is mixed than can be wanted: the last pail is mixed.
    """

    ratio: Shrunk
    remaining_kg: float
    sd_kg: float
    upper_kg: float
    to_mix_kg: float
    forecast_used_kg: float

    @property
    def is_enough(self) -> bool:
        """Whether nothing more is to be mixed."""
        return self.to_mix_kg <= 0

    def pails(self, pail_kg: float) -> int:
        """Whole pails still to be mixed. Raises `not_positive`."""
        return max(0, math.ceil(self.to_mix_kg / require_positive("pail_kg", pail_kg, "kg")))

    def short_kg(self, in_the_shop_kg: float) -> float:
        """How much is wanting when this much released resin is left unmixed; 0 where it is enough."""
        return max(0.0, self.to_mix_kg - require_not_negative("in_the_shop_kg", in_the_shop_kg, "kg"))


@dataclass(frozen=True)
class Arrival:
    """When a front comes to the end of its strip: the minute, and k standard deviations either way."""

    minute: float
    low_minute: float
    high_minute: float


def shrunk_ratio(told: float, planned: float, *, sd_between: float, sd_reading: float) -> Shrunk:
    """Draw told / planned toward 1: 1 + g (ratio - 1), g = (1/sd_reading^2) / (1/sd_reading^2 + 1/sd_between^2).

    Both in one unit. Raises `negative` for told, `not_positive` for the rest. Source: mean of two normal estimates
    weighted by their precisions.
    """
    ratio = require_not_negative("told", told) / require_positive("planned", planned)
    reading = 1 / require_positive("sd_reading", sd_reading) ** 2
    precision = reading + 1 / require_positive("sd_between", sd_between) ** 2
    weight = reading / precision
    return Shrunk(ratio, weight, 1 + weight * (ratio - 1), precision**-0.5)


def remaining_to_mix(
    *,
    plan_total_kg: float,
    plan_so_far_kg: float,
    used_kg: float,
    mixed_kg: float,
    heel_kg: float,
    spread: ResinSpread,
) -> Remaining:
    """Forecast what is still to be mixed, from what the part has drawn where the plan has it at `plan_so_far_kg`.

    Raises `not_positive` or `negative` figures, `inconsistent` where more was used than mixed or more is wet than there
    is. Source: ratio estimate with a prior; the errors of ratio and of the dry rest are independent.
    """
    require_positive("plan_total_kg", plan_total_kg, "kg")
    require_not_negative("heel_kg", heel_kg, "kg")
    if plan_so_far_kg > plan_total_kg:
        raise InputRefused("inconsistent", "plan_so_far_kg", plan_so_far_kg, f"the plan is {plan_total_kg:g} kg in all")
    if used_kg > mixed_kg:
        raise InputRefused("inconsistent", "used_kg", used_kg, f"no more than the {mixed_kg:g} kg mixed can be used")
    ratio = shrunk_ratio(used_kg, plan_so_far_kg, sd_between=spread.sd_hull, sd_reading=spread.sd_reading)
    dry_kg = plan_total_kg - plan_so_far_kg
    remaining_kg = ratio.drawn_in * dry_kg
    sd_kg = dry_kg * math.hypot(ratio.sd, spread.sd_local)
    upper_kg = remaining_kg + spread.k * sd_kg
    to_mix_kg = upper_kg + heel_kg - (mixed_kg - used_kg)
    return Remaining(ratio, remaining_kg, sd_kg, upper_kg, to_mix_kg, used_kg + remaining_kg)


def minutes_to_next_call(*, pail_left_kg: float, heel_kg: float, rate_kg_min: float, mixing_min: float) -> float:
    """Minutes until the next pail must be begun, so that it is there before this one is down to its heel.

    0 or less: begin now. Raises `negative`, `not_positive`.
    """
    require_not_negative("mixing_min", mixing_min, "min")
    left_kg = require_not_negative("pail_left_kg", pail_left_kg, "kg") - require_not_negative("heel_kg", heel_kg, "kg")
    return left_kg / require_positive("rate_kg_min", rate_kg_min, "kg/min") - mixing_min


def arrival(
    *,
    told_minute: float,
    told_since_opening_min: float,
    planned_since_opening_min: float,
    planned_here_min: float,
    planned_later_min: float,
    sd_plan: float,
    sd_reading: float,
    k: float,
) -> Arrival:
    """When the front will be through, from how long it took since its line was opened against the plan.

    `planned_here_min` is the plan's way from the told place on by the line that feeds it, `planned_later_min` that by
    the lines to come, of which nothing was seen yet: it goes on at that pace, with the whole spread of the plan.
    `sd_plan` is the relative standard deviation of planned times, `sd_reading` that of the told one. Raises `negative`,
    `not_positive`.
    """
    require_not_negative("told_minute", told_minute, "min")
    here = require_not_negative("planned_here_min", planned_here_min, "min")
    later = require_not_negative("planned_later_min", planned_later_min, "min")
    pace = shrunk_ratio(told_since_opening_min, planned_since_opening_min, sd_between=sd_plan, sd_reading=sd_reading)
    still = pace.drawn_in * (here + later)
    either_way = require_not_negative("k", k) * math.hypot(pace.sd * here, sd_plan * later)
    return Arrival(told_minute + still, told_minute + max(0.0, still - either_way), told_minute + still + either_way)


def relative_sd_of_band(low: float, high: float) -> float:
    """Relative standard deviation that a band of factors about 1 stands for, taken as two sds either way of ln.

    Raises `impossible` unless 0 < low < 1 < high. Source: log-normal reading of a band of about 95 %.
    """
    require_between("low", low, 1e-9, 1)
    require_between("high", high, 1, 100)
    if low == high:
        raise InputRefused("impossible", "high", high, "give a band about 1")
    return math.log(high / low) / 4
