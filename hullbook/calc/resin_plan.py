"""How much resin a pour takes, how sure that is, and what to order.

Each part of the plan is an allowance with a low, a likely and a high figure, taken as a triangular distribution.
Independent scatter adds as squares; one wrong developed area is wrong for every part that scales with it, so it
adds straight on the sum of those. The band covers scatter, not what was forgotten.

Source: triangular distribution moments as in scipy.stats.triang; the order is the newsvendor's critical ratio.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt
from statistics import NormalDist

from hullbook.calc.errors import InputRefused, require_fraction, require_not_negative, require_positive

WHOLE_CONTAINER_TOLERANCE = 1e-9
"""Keeps 0.3 kg from filling four pails of 0.1 kg by the last bit of a float."""


@dataclass(frozen=True)
class Allowance:
    """One part of the resin plan in kg: low, likely, high; `area_linked` where it scales with the developed area.

    Raises `negative` for a low below zero and `inconsistent` unless low <= likely <= high.
    """

    name: str
    low_kg: float
    likely_kg: float
    high_kg: float
    area_linked: bool

    def __post_init__(self) -> None:
        require_not_negative("low_kg", self.low_kg, "kg")
        require_not_negative("high_kg", self.high_kg, "kg")
        if not self.low_kg <= self.likely_kg <= self.high_kg:
            given = f"{self.low_kg:g}, {self.likely_kg:g}, {self.high_kg:g} kg for {self.name}"
            raise InputRefused("inconsistent", "likely_kg", given, "give low, likely, high in rising order")

    @property
    def mean_kg(self) -> float:
        """Mean of the triangular distribution."""
        return (self.low_kg + self.likely_kg + self.high_kg) / 3

    @property
    def sd_kg(self) -> float:
        """Standard deviation of the triangular distribution."""
        rise, fall = self.likely_kg - self.low_kg, self.high_kg - self.likely_kg
        return sqrt((rise**2 + rise * fall + fall**2) / 18)


@dataclass(frozen=True)
class TotalBand:
    """The whole pour in kg: sums of lows, likelies and highs, and the mean with its standard deviation."""

    low_kg: float
    likely_kg: float
    high_kg: float
    mean_kg: float
    sd_kg: float
    independent_sd_kg: float
    area_linked_mean_kg: float


def total_band(allowances: Sequence[Allowance], area_relative_sd: float) -> TotalBand:
    """Add allowances: independent scatter as squares, the common area error straight on what scales with area.

    `area_relative_sd` is the relative standard deviation of the developed area, 0..1, in practice 0.01 to 0.03 from
    a mould model or cut files (common practice, no source). Raises `missing` for no allowance, `unit_suspect` for 2
    meaning 2 %, `impossible`.
    """
    if not allowances:
        raise InputRefused("missing", "allowances", "none", "give at least the laminate")
    require_fraction("area_relative_sd", area_relative_sd, zero_allowed=True)
    independent_variance = sum(one.sd_kg**2 for one in allowances)
    area_linked_mean_kg = sum(one.mean_kg for one in allowances if one.area_linked)
    return TotalBand(
        low_kg=sum(one.low_kg for one in allowances),
        likely_kg=sum(one.likely_kg for one in allowances),
        high_kg=sum(one.high_kg for one in allowances),
        mean_kg=sum(one.mean_kg for one in allowances),
        sd_kg=sqrt(independent_variance + (area_relative_sd * area_linked_mean_kg) ** 2),
        independent_sd_kg=sqrt(independent_variance),
        area_linked_mean_kg=area_linked_mean_kg,
    )


@dataclass(frozen=True)
class Order:
    """What to have on the floor: `containers` to mix from, and `contingency_containers` beside them, unmixed."""

    critical_ratio: float
    k: float
    upper_kg: float
    container_kg: float
    containers: int
    kg: float
    contingency_containers: int
    kg_with_contingency: float


def order_quantity(
    band: TotalBand,
    *,
    cost_of_running_out: float,
    cost_of_surplus: float,
    container_kg: float,
    contingency_containers: int,
) -> Order:
    """Whole containers that cover mean + k sd, k the normal quantile of Cu / (Cu + Co).

    Both costs in the same money, above 0; container in kg. Raises `not_positive`, `negative`, and `inconsistent`
    when running out costs less than a surplus: a ruined shell never does, so the two were probably swapped.
    Source: newsvendor critical ratio; k from the normal distribution.
    """
    require_positive("cost_of_running_out", cost_of_running_out)
    require_positive("cost_of_surplus", cost_of_surplus)
    require_not_negative("contingency_containers", contingency_containers)
    if cost_of_running_out < cost_of_surplus:
        accepted = f"give at least the cost of a surplus, {cost_of_surplus:g}"
        raise InputRefused("inconsistent", "cost_of_running_out", cost_of_running_out, accepted)
    critical_ratio = cost_of_running_out / (cost_of_running_out + cost_of_surplus)
    k = NormalDist().inv_cdf(critical_ratio)
    upper_kg = band.mean_kg + k * band.sd_kg
    containers = round_up_to_containers(upper_kg, container_kg)
    return Order(
        critical_ratio=critical_ratio,
        k=k,
        upper_kg=upper_kg,
        container_kg=container_kg,
        containers=containers,
        kg=containers * container_kg,
        contingency_containers=contingency_containers,
        kg_with_contingency=(containers + contingency_containers) * container_kg,
    )


def round_up_to_containers(mass_kg: float, container_kg: float) -> int:
    """How many whole containers hold `mass_kg`. Raises `negative` for the mass, `not_positive` for the container."""
    require_not_negative("mass_kg", mass_kg, "kg")
    require_positive("container_kg", container_kg, "kg")
    return ceil(mass_kg / container_kg - WHOLE_CONTAINER_TOLERANCE)


def fabric_to_cut_m2(zone_area_m2: float, layers: int, overlap_factor: float, waste_fraction: float) -> float:
    """Cloth to cut from the roll for one zone, in m2: area x layers x overlap, and the waste added on top.

    `overlap_factor` as from `laminate.overlap_factor`, 1 or more; `waste_fraction` 0..1 of the laid cloth.
    Raises `not_positive`, `impossible`, `unit_suspect` for waste given in percent.
    """
    require_positive("zone_area_m2", zone_area_m2, "m2")
    require_positive("layers", layers)
    require_fraction("waste_fraction", waste_fraction, zero_allowed=True)
    if not 1 <= overlap_factor < float("inf"):
        raise InputRefused("impossible", "overlap_factor", overlap_factor, "give 1 or more")
    return zone_area_m2 * layers * overlap_factor * (1 + waste_fraction)
