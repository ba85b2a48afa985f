"""Styrene in a resin under vacuum: its vapour pressure, when it boils, and what it is in the air of the shop.

Pressures in mbar absolute, temperatures in C. The activity of styrene in the resin (0 to 1) is what its vapour pressure
over the resin is of that of pure styrene: about 0.74 to 0.85 for a resin with 35 to 45 % styrene, 1 on the safe side.
Epoxy has none; what its maker says holds there. Nothing here says that air is safe to breathe: limits are the law's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from hullbook.calc.errors import InputRefused, require_between, require_fraction, require_not_negative, require_positive
from hullbook.calc.vacuum import require_absolute
from hullbook.calc.verdict import Level, Verdict

ZERO_CELSIUS_K = 273.15
MOLAR_MASS_G_MOL = 104.149
ANTOINE_A, ANTOINE_B, ANTOINE_C = 21.48733, 3677.235, -49.03
"""ln(P/Pa) = A - B / (T/K + C). Source: Landolt-Boernstein New Series IV/20, as fitted in the data of `chemicals`."""

LOWEST_C, HIGHEST_C = 10.0, 145.0
HIGHEST_BEFORE_GEL_C = 60.0
GAS_CONSTANT_J_MOL_K = 8.314462618


def vapour_pressure_mbar(temperature_c: float) -> float:
    """Vapour pressure of pure styrene in mbar, 10 to 145 C.

    Handbooks lie 3 to 5 % below it at 10 C, within 2 % of it from 30 to 80 C.
    Raises `extrapolated` outside. Source: Antoine form, Landolt-Boernstein New Series IV/20.
    """
    if not LOWEST_C <= temperature_c <= HIGHEST_C:
        accepted = f"the curve covers {LOWEST_C:g} to {HIGHEST_C:g} C"
        raise InputRefused("extrapolated", "temperature_c", temperature_c, accepted)
    return math.exp(ANTOINE_A - ANTOINE_B / (temperature_c + ZERO_CELSIUS_K + ANTOINE_C)) / 100


def boiling_temperature_c(pressure_mbar_abs: float, activity: float = 1.0) -> float:
    """Temperature at which styrene of this activity boils under a pressure in mbar.

    Raises `not_positive`, `impossible` for an activity outside 0 to 1, `extrapolated` outside 10 to 145 C.
    """
    require_positive("pressure_mbar_abs", pressure_mbar_abs, "mbar")
    _require_activity(activity)
    pressure_pa = 100 * pressure_mbar_abs / activity
    found = ANTOINE_B / (ANTOINE_A - math.log(pressure_pa)) - ANTOINE_C - ZERO_CELSIUS_K
    if not LOWEST_C <= found <= HIGHEST_C:
        accepted = f"it boils outside the {LOWEST_C:g} to {HIGHEST_C:g} C the curve covers"
        raise InputRefused("extrapolated", "pressure_mbar_abs", pressure_mbar_abs, accepted)
    return found


def activity_by_raoult(styrene_mass_fraction: float, polymer_molar_mass_g_mol: float) -> float:
    """Mole fraction of styrene in a resin with this share of it by mass. Source: Raoult's law.

    Raises `impossible`, `unit_suspect` (percent), `not_positive`.
    """
    styrene = require_fraction("styrene_mass_fraction", styrene_mass_fraction) / MOLAR_MASS_G_MOL
    polymer = (1 - styrene_mass_fraction) / require_positive("polymer_molar_mass_g_mol", polymer_molar_mass_g_mol)
    return styrene / (styrene + polymer)


def activity_by_flory_huggins(
    styrene_mass_fraction: float,
    polymer_molar_mass_g_mol: float,
    styrene_density_g_cm3: float,
    polymer_density_g_cm3: float,
    chi: float = 0.0,
) -> float:
    """Activity of styrene among chains: ln a = ln f + (1 - f)(1 - 1/r) + chi (1 - f)^2, f by volume, r by molar volume.

    Raises as `activity_by_raoult`. Source: Flory-Huggins solution theory.
    """
    require_positive("polymer_molar_mass_g_mol", polymer_molar_mass_g_mol, "g/mol")
    styrene = require_fraction("styrene_mass_fraction", styrene_mass_fraction) / require_positive(
        "styrene_density_g_cm3", styrene_density_g_cm3, "g/cm3"
    )
    polymer = (1 - styrene_mass_fraction) / require_positive("polymer_density_g_cm3", polymer_density_g_cm3, "g/cm3")
    by_volume = styrene / (styrene + polymer)
    ratio = polymer_molar_mass_g_mol / polymer_density_g_cm3 / (MOLAR_MASS_G_MOL / styrene_density_g_cm3)
    rest = 1 - by_volume
    return by_volume * math.exp(rest * (1 - 1 / ratio) + chi * rest**2)


def least_bag_pressure_mbar(temperature_c: float, activity: float, factor: float) -> float:
    """Bag pressure kept at this many times the boiling pressure of the resin, mbar absolute.

    Raises as `vapour_pressure_mbar`; `impossible` for a factor below 1.
    """
    require_between("factor", factor, 1, 10)
    return factor * _require_activity(activity) * vapour_pressure_mbar(temperature_c)


def judge_boil_margin(
    bag_mbar_abs: float, warmest_c: float, *, activity: float, red: float, amber: float, source: str
) -> Verdict:
    """Hold the bag pressure against the boiling pressure at the warmest resin before gel, in mbar absolute.

    Below `red` times it a fail, below `amber` times a conditional pass. Raises `negative`, `unit_suspect` for a bag
    above 300 mbar, which is usually a gauge reading, `inconsistent` for red above amber, `implausible` above 60 C, and
    as `vapour_pressure_mbar`. Factors are common practice, no source.
    """
    require_not_negative("bag_mbar_abs", bag_mbar_abs, "mbar")
    require_absolute(bag_mbar_abs, "give mbar absolute: station pressure less what a gauge shows")
    if not 1 <= red <= amber:
        raise InputRefused("inconsistent", "red", red, f"give a factor from 1 to {amber:g}")
    if warmest_c > HIGHEST_BEFORE_GEL_C:
        accepted = f"resin above {HIGHEST_BEFORE_GEL_C:g} C has gelled or will at once: look at the thermometer"
        raise InputRefused("implausible", "warmest_c", warmest_c, accepted)
    boils_at_mbar = _require_activity(activity) * vapour_pressure_mbar(warmest_c)
    level: Level = "pass"
    if bag_mbar_abs < amber * boils_at_mbar:
        level = "conditional pass"
    if bag_mbar_abs < red * boils_at_mbar:
        level = "fail"
    because = f"styrene boils at {boils_at_mbar:.1f} mbar in resin of {warmest_c:g} C"
    return Verdict(level, "styrene.boil", bag_mbar_abs, 0.0, red * boils_at_mbar, None, "mbar", source, because)


def mg_m3_from_ppm(ppm: float, temperature_c: float) -> float:
    """Styrene in air at 1013.25 mbar, mg/m3 from parts per million by volume. Raises `negative`, `impossible`."""
    require_between("temperature_c", temperature_c, -40, 80, "C")
    kelvin = temperature_c + ZERO_CELSIUS_K
    return require_not_negative("ppm", ppm) * MOLAR_MASS_G_MOL * 101325 / (GAS_CONSTANT_J_MOL_K * kelvin) / 1000


def time_weighted_ppm(ppm: Sequence[float], hours: Sequence[float], over_hours: float = 8.0) -> float:
    """Mean over a shift of what was breathed: sum of ppm x hours over `over_hours`. Source: EN 689 form.

    Raises `inconsistent` for lists that do not match, `negative` figures.
    """
    if len(ppm) != len(hours):
        raise InputRefused("inconsistent", "hours", len(hours), f"give one for each of {len(ppm)} figures")
    dose = sum(
        require_not_negative("ppm", one) * require_not_negative("hours", h) for one, h in zip(ppm, hours, strict=True)
    )
    return dose / require_positive("over_hours", over_hours, "h")


def saturated_at_c(percent_of_air: float) -> float:
    """Temperature at which air over the liquid holds this share of styrene by volume, at 1013.25 mbar.

    Raises as `boiling_temperature_c`. Source: Dalton's law.
    """
    return boiling_temperature_c(1013.25 * require_positive("percent_of_air", percent_of_air, "%") / 100)


def _require_activity(activity: float) -> float:
    if not 0 < activity <= 1:
        raise InputRefused("impossible", "activity", activity, "give a figure above 0 and up to 1")
    return activity
