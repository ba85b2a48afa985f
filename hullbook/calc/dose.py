"""How much catalyst or hardener goes to the resin, and what dose was really given.

"phr" is parts by weight on a hundred parts of resin, which is what makers' sheets mean when they say nothing else
(common practice, no source). A volume is only ever turned into a dose with the density of that lot.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from hullbook.calc.errors import InputRefused, require_between, require_not_negative, require_positive
from hullbook.calc.statistics import expanded_uncertainty, resolution_uncertainty
from hullbook.calc.verdict import Verdict, judge

SecondPart = Literal["catalyst", "hardener"]
GRAMS = 1000.0
INDEX_THAT_CURES = (0.9, 1.1)
"""Outside this share of the hardener that just meets the resin a mix is not poured (common practice, no source)."""

BELIEVABLE_PHR: dict[SecondPart, tuple[float, float]] = {"catalyst": (0.05, 10.0), "hardener": (1.0, 200.0)}
"""Outside these a unit was mixed up (grams for kilograms); they are no limits of use (common practice, no source)."""


def catalyst_grams(resin_kg: float, dose_phr: float, part: SecondPart = "catalyst") -> float:
    """Give the grams of catalyst (or hardener) for `resin_kg` at `dose_phr`.

    Raises `not_positive` for the resin, `unit_suspect` for a dose no such material has. Source: definition of phr.
    """
    require_positive("resin_kg", resin_kg, "kg")
    return resin_kg * require_dose(dose_phr, part) * 10


def dose_from_masses(resin_kg: float, catalyst_g: float, part: SecondPart = "catalyst") -> float:
    """Give the dose in phr that was weighed out.

    Raises `not_positive` for either mass, `unit_suspect` for a dose no such material has. Source: definition of phr.
    """
    require_positive("resin_kg", resin_kg, "kg")
    require_positive("catalyst_g", catalyst_g, "g")
    return require_dose(catalyst_g / (resin_kg * 10), part)


def millilitres(grams: float, density_g_cm3: float) -> float:
    """Give the volume in mL of a liquid weighed in grams.

    Raises `negative` for the grams, `not_positive` for the density, `unit_suspect` for a density above 5 (kg/m3).
    """
    return require_not_negative("grams", grams, "g") / require_density("density_g_cm3", density_g_cm3)


def grams(millilitres_measured: float, density_g_cm3: float) -> float:
    """Give the grams of a liquid measured in mL. Errors as millilitres."""
    require_not_negative("millilitres_measured", millilitres_measured, "mL")
    return millilitres_measured * require_density("density_g_cm3", density_g_cm3)


def percent_of_mix(dose_phr: float) -> float:
    """Give the share of the finished mixture in % by weight, 100 p/(100 + p). Raises `negative` below zero."""
    require_not_negative("dose_phr", dose_phr, "phr")
    return 100 * dose_phr / (100 + dose_phr)


def dose_from_percent_of_mix(percent: float) -> float:
    """Give the dose in phr of a share of the finished mixture, 100 q/(100 - q); 0 to 99 %, else `impossible`."""
    require_between("percent_of_mix", percent, 0, 99, "%")
    return 100 * percent / (100 - percent)


def volume_ratio(dose_phr: float, resin_density_g_cm3: float, catalyst_density_g_cm3: float) -> float:
    """Give the mL on 100 mL of resin that carry `dose_phr`.

    Raises `negative` for the dose, `not_positive` and `unit_suspect` for densities. Source: definition of density.
    """
    require_not_negative("dose_phr", dose_phr, "phr")
    resin = require_density("resin_density_g_cm3", resin_density_g_cm3)
    return dose_phr * resin / require_density("catalyst_density_g_cm3", catalyst_density_g_cm3)


def dose_from_volume_ratio(ratio: float, resin_density_g_cm3: float, catalyst_density_g_cm3: float) -> float:
    """Give the dose in phr of `ratio` mL on 100 mL of resin. Errors as volume_ratio."""
    require_not_negative("volume_ratio", ratio, "mL on 100 mL")
    catalyst = require_density("catalyst_density_g_cm3", catalyst_density_g_cm3)
    return ratio * catalyst / require_density("resin_density_g_cm3", resin_density_g_cm3)


def hardener_phr(epoxide_equivalent_g_mol: float, amine_equivalent_g_mol: float) -> float:
    """Give the phr of hardener that just meets the resin: 100 AHEW/EEW, both in g per equivalent.

    Raises `not_positive`. Source: makers' stoichiometry sheets for epoxy and amine; EEW 209 with AHEW 43 is printed
    as 20.6.
    """
    require_positive("amine_equivalent_g_mol", amine_equivalent_g_mol, "g/eq")
    return 100 * amine_equivalent_g_mol / require_positive("epoxide_equivalent_g_mol", epoxide_equivalent_g_mol, "g/eq")


def epoxy_index(
    resin_kg: float, hardener_kg: float, epoxide_equivalent_g_mol: float, amine_equivalent_g_mol: float
) -> float:
    """Give the amine hydrogens for each epoxide group in the mix: 1 when they just meet.

    Raises `not_positive`, and `inconsistent` outside 0.9 to 1.1: such a mix is not poured (common practice, no source).
    Source: as hardener_phr.
    """
    require_positive("hardener_kg", hardener_kg, "kg")
    dose = 100 * hardener_kg / require_positive("resin_kg", resin_kg, "kg")
    index = dose / hardener_phr(epoxide_equivalent_g_mol, amine_equivalent_g_mol)
    low, high = INDEX_THAT_CURES
    if not low <= index <= high:
        given = f"{hardener_kg:g} kg to {resin_kg:g} kg, {index:.4g} of what just meets the resin,"
        accepted = f"do not pour it: {low:g} to {high:g} of that cures"
        raise InputRefused("inconsistent", "hardener_kg", given, accepted)
    return index


@dataclass(frozen=True)
class Mending:
    """What brings a pail inside limits while it is not mixed; what it does not want is 0.

    Grams of catalyst to the lowest dose and to the middle, or kilograms of resin to the highest.
    """

    catalyst_to_lowest_g: float
    catalyst_to_middle_g: float
    resin_to_highest_kg: float


def mend_dose(resin_kg: float, catalyst_g: float, low_phr: float, high_phr: float) -> Mending:
    """Give what to add to a pail outside `low_phr` to `high_phr`; nothing is ever taken out of one.

    Raises `not_positive` for the resin, `negative` for the catalyst, `inconsistent` for limits out of order. Source:
    definition of the dose.
    """
    resin_g = GRAMS * require_positive("resin_kg", resin_kg, "kg")
    dose_phr = 100 * require_not_negative("catalyst_g", catalyst_g, "g") / resin_g
    if not 0 < low_phr <= high_phr:
        raise InputRefused("inconsistent", "high_phr", high_phr, f"give at least the lowest, {low_phr:g} phr")
    if dose_phr < low_phr:
        lowest_g, middle_g = resin_g * low_phr / 100, resin_g * (low_phr + high_phr) / 200
        return Mending(lowest_g - catalyst_g, middle_g - catalyst_g, 0.0)
    return Mending(0.0, 0.0, max(0.0, 100 * catalyst_g / high_phr - resin_g) / GRAMS)


def dose_uncertainty(
    resin_kg: float, catalyst_g: float, *, resin_scale_resolution_g: float, catalyst_scale_resolution_g: float
) -> float:
    """Give the expanded uncertainty (k = 2) of a weighed dose in phr, from what the two scales can show.

    Each mass is net of its tare, so each carries two roundings of its scale. What the calibration certificates add is
    left out. Raises `not_positive` for masses, `negative` for resolutions. Source: JCGM 100:2008, 5.1.6 and F.2.2.1.
    """
    dose = 100 * require_positive("catalyst_g", catalyst_g, "g") / (1000 * require_positive("resin_kg", resin_kg, "kg"))
    return expanded_uncertainty(
        dose * math.sqrt(2) * resolution_uncertainty(resin_scale_resolution_g) / (1000 * resin_kg),
        dose * math.sqrt(2) * resolution_uncertainty(catalyst_scale_resolution_g) / catalyst_g,
    )


def judge_dose(
    dose_phr: float,
    expanded_uncertainty_phr: float,
    sheet_low_phr: float | None,
    sheet_high_phr: float | None,
    source: str,
) -> Verdict:
    """Judge a dose against the maker's limits for this resin with this catalyst, all in phr.

    Errors as hullbook.calc.verdict.judge; `not_positive` for the dose. `source` names the sheet and its revision.
    """
    return judge(
        "dose",
        require_positive("dose_phr", dose_phr, "phr"),
        low=sheet_low_phr,
        high=sheet_high_phr,
        expanded_uncertainty=expanded_uncertainty_phr,
        unit="phr",
        source=source,
    )


def require_dose(dose_phr: float, part: SecondPart = "catalyst") -> float:
    """Give back a dose such a material can have, else refuse it: `not_positive`, or `unit_suspect` far outside."""
    require_positive("dose_phr", dose_phr, "phr")
    low, high = BELIEVABLE_PHR[part]
    if not low <= dose_phr <= high:
        accepted = f"a {part} has {low:g} to {high:g} phr: look at kg and g"
        raise InputRefused("unit_suspect", "dose_phr", f"{dose_phr:.4g} phr", accepted)
    return dose_phr


def require_density(field: str, density_g_cm3: float) -> float:
    """Give back a density in g/cm3, else refuse it: `not_positive`, or `unit_suspect` above 5 (kg/m3 typed)."""
    require_positive(field, density_g_cm3, "g/cm3")
    if density_g_cm3 > 5:
        accepted = f"give g/cm3: {density_g_cm3 / 1000:g} may be meant"
        raise InputRefused("unit_suspect", field, density_g_cm3, accepted)
    return density_g_cm3
