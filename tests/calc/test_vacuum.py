from math import pi, sqrt
from pathlib import Path
from typing import Any

import numpy as np
import pint
import pytest
from fluids.compressible import P_critical_flow, T_critical_flow
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.stats import t as student

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.errors import InputRefused
from hullbook.calc.reference import check_values
from hullbook.calc.vacuum import (
    HoldJudgement,
    absolute_from_gauge,
    bag_volume_m3,
    corrected_to_temperature,
    equivalent_hole_mm,
    fit_rise,
    fit_two_phase,
    gauge_from_absolute,
    judge_hold,
    leak_throughput_pa_m3_s,
    pump_down_seconds,
    rate_uncertainty_from_resolution,
    room_air_l_h,
    standard_atmosphere_mbar,
    station_from_sea_level,
)

SHARED = Path(__file__).parents[2] / "shared"
ROWS = check_values(SHARED, "vacuum")
UNITS: pint.UnitRegistry[Any] = pint.UnitRegistry()

STEADY_MINUTES = tuple(range(11))
STEADY = (18.2, 18.6, 19.1, 19.4, 20.0, 20.3, 20.7, 21.3, 21.6, 22.0, 22.5)
ONE_WRONG = (*STEADY[:6], 26.7, *STEADY[7:])
BENT_MINUTES = tuple(range(31))
BENT = (
    12.0, 13.2, 14.2, 15.0, 15.8, 16.3, 16.9, 17.4, 17.7, 18.1, 18.4, 18.7, 18.9, 19.1, 19.3, 19.5,
    19.6, 19.8, 19.9, 20.1, 20.2, 20.4, 20.5, 20.7, 20.8, 21.0, 21.0, 21.2, 21.3, 21.5, 21.5,
)  # fmt: skip

pressure_series = st.integers(3, 25).flatmap(
    lambda n: st.tuples(
        st.lists(st.floats(0.1, 10), min_size=n, max_size=n).map(lambda gaps: np.cumsum(gaps).tolist()),
        st.lists(st.floats(1, 500), min_size=n, max_size=n),
    )
)


def held(
    pressures: tuple[float, ...],
    *,
    minutes: tuple[float, ...] | None = None,
    greatest_rise_mbar: float = 5.0,
    over_minutes: float = 10.0,
    resolution_mbar: float = 0.1,
    relative_span_uncertainty: float = 0.0,
) -> HoldJudgement:
    return judge_hold(
        tuple(range(len(pressures))) if minutes is None else minutes,
        pressures,
        greatest_rise_mbar=greatest_rise_mbar,
        over_minutes=over_minutes,
        resolution_mbar=resolution_mbar,
        source="infusion procedure of an invented yard",
        relative_span_uncertainty=relative_span_uncertainty,
    )


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['check']} {row['quantity']}")
def test_vacuum_sums_agree_with_the_table(row: dict[str, Any]) -> None:
    value = found(row)
    assert agrees(row, value), value


@pytest.mark.parametrize(
    ("reading", "unit", "station_mbar", "absolute_mbar"),
    [
        (95.0, "kPa", 955.0, 5.0),
        (27.0, "inHg", 1013.25, 98.93),
        (28.5, "inHg", 1013.25, 48.13),
        (29.2, "inHg", 1013.25, 24.42),
        (720.0, "mmHg", 1013.25, 53.33),
    ],
)
def test_a_gauge_in_any_unit_comes_out_absolute(
    reading: float, unit: str, station_mbar: float, absolute_mbar: float
) -> None:
    below = UNITS.Quantity(reading, unit).m_as("mbar")
    assert absolute_from_gauge(below, station_mbar) == pytest.approx(absolute_mbar, abs=0.006)


def test_the_same_gauge_reading_means_other_pressures_in_other_weather() -> None:
    assert [absolute_from_gauge(950, station) for station in (955, 1013.25, 1030)] == [5, 63.25, 80]


def test_a_weather_report_scaled_by_the_standard_atmosphere_comes_near() -> None:
    """The rule of thumb: QNH 1030 at 500 m gives 970.4 by the ratio, 970.6 along the atmosphere."""
    by_ratio = 1030 * standard_atmosphere_mbar(500) / 1013.25
    assert by_ratio == pytest.approx(970.4, rel=1e-4)
    assert station_from_sea_level(1030, 500) - by_ratio == pytest.approx(0.2, abs=0.05)


def test_a_barometer_that_moves_shows_as_a_leak_on_a_gauge() -> None:
    """Weather falling 2 mbar in an hour, a tight bag at 20 mbar, the station read once: 0.03333 mbar/min."""
    minutes = list(range(0, 61, 10))
    shown = [gauge_from_absolute(20.0, 1013.25 - 2 * minute / 60) for minute in minutes]
    taken = [absolute_from_gauge(gauge, 1013.25) for gauge in shown]
    assert fit_rise(minutes, taken).rate_mbar_min == pytest.approx(0.03333, rel=1e-3)


def test_half_an_atmosphere_is_where_the_standard_atmosphere_has_it() -> None:
    # Usual statement of the 1976 standard atmosphere: half of sea-level pressure at about 5.5 km.
    assert standard_atmosphere_mbar(5477) == pytest.approx(1013.25 / 2, rel=1e-3)


@pytest.mark.parametrize(
    ("gauge", "station", "key"),
    [(1000, 990, "impossible"), (-95, 1013, "negative"), (950, 1100, "impossible"), (10, 499, "impossible")],
)
def test_a_gauge_that_cannot_be_is_refused(gauge: float, station: float, key: str) -> None:
    with pytest.raises(InputRefused) as refused:
        absolute_from_gauge(gauge, station)
    assert refused.value.key == key


@pytest.mark.parametrize(("qnh", "altitude"), [(700, 0), (1013, 6000), (1085, -500), (float("nan"), 0)])
def test_weather_that_cannot_be_is_refused(qnh: float, altitude: float) -> None:
    with pytest.raises(InputRefused) as refused:
        station_from_sea_level(qnh, altitude)
    assert refused.value.key == "impossible"


@given(st.floats(500, 1085), st.floats(0, 1))
def test_gauge_and_absolute_go_there_and_back(station: float, share: float) -> None:
    pressure = share * station
    assert absolute_from_gauge(gauge_from_absolute(pressure, station), station) == pytest.approx(pressure, abs=1e-9)


@given(st.floats(0, 3000))
def test_a_shop_higher_up_in_standard_weather_has_the_standard_pressure(altitude: float) -> None:
    assert station_from_sea_level(1013.25, altitude) == pytest.approx(standard_atmosphere_mbar(altitude), rel=1e-12)


def test_gas_that_warmed_by_three_degrees_is_brought_back() -> None:
    # 24.0 mbar at 23 C is 23.757 mbar at 20 C: ideal gas law.
    start, end = corrected_to_temperature((20.0, 24.0), (20.0, 23.0), 20.0)
    assert end - start == pytest.approx(3.757, abs=5e-4)


def test_one_temperature_for_two_readings_is_refused() -> None:
    with pytest.raises(InputRefused) as refused:
        corrected_to_temperature((20.0, 24.0), (20.0,), 20.0)
    assert refused.value.key == "inconsistent"


@given(st.floats(0.05, 1.0), st.floats(4, 100), st.floats(5, 500))
def test_a_pump_empties_a_bag_as_an_ode_solver_says(volume_m3: float, pump_m3_h: float, to_mbar: float) -> None:
    """scipy.integrate.solve_ivp of V dp/dt = -S (p - pu) with 2 mbar as the ultimate."""
    seconds = pump_down_seconds(
        volume_m3=volume_m3, pump_m3_h=pump_m3_h, from_mbar_abs=1013.25, to_mbar_abs=to_mbar, ultimate_mbar_abs=2.0
    )
    solved = solve_ivp(
        lambda _, p: -pump_m3_h / 3600 / volume_m3 * (p - 2.0), (0, seconds), [1013.25], rtol=1e-9, atol=1e-9
    )
    assert solved.y[0, -1] == pytest.approx(to_mbar, rel=1e-5)


def test_a_pump_never_draws_below_its_ultimate() -> None:
    with pytest.raises(InputRefused, match="more than the 2 mbar the pump reaches"):
        pump_down_seconds(volume_m3=0.2, pump_m3_h=16, from_mbar_abs=1013.25, to_mbar_abs=2.0, ultimate_mbar_abs=2.0)


@given(st.floats(500, 1085), st.floats(-10, 45), st.floats(1e-3, 5))
def test_air_goes_through_a_hole_at_the_speed_of_sound(
    station_mbar: float, celsius: float, leak_pa_m3_s: float
) -> None:
    """Critical pressure and temperature in the throat from the library `fluids`, air as an ideal gas of ratio 1.4."""
    kelvin = celsius + 273.15
    throat_pa, throat_k = P_critical_flow(100 * station_mbar, 1.4), T_critical_flow(kelvin, 1.4)
    sound_m_s = sqrt(1.4 * 8.314462618 / 0.0289644 * throat_k)
    through_1_m2 = throat_pa * sound_m_s * kelvin / throat_k
    hole_mm = equivalent_hole_mm(leak_pa_m3_s, station_mbar, celsius)
    assert pi / 4 * (hole_mm / 1000) ** 2 * through_1_m2 == pytest.approx(leak_pa_m3_s)


def test_a_bag_without_hose_or_pot_is_its_stack_alone() -> None:
    assert bag_volume_m3(area_m2=10, stack_mm=4, stack_solid_fraction=0.5) == pytest.approx(0.02)
    with pytest.raises(InputRefused):
        bag_volume_m3(area_m2=10, stack_mm=4, stack_solid_fraction=50)


@given(pressure_series)
def test_the_fitted_line_is_the_one_numpy_fits(series: tuple[list[float], list[float]]) -> None:
    minutes, pressures = series
    rise = fit_rise(minutes, pressures)
    slope, intercept = np.polyfit(minutes, pressures, 1)
    assert rise.rate_mbar_min == pytest.approx(slope, rel=1e-6, abs=1e-6)
    assert rise.intercept_mbar == pytest.approx(intercept, rel=1e-6, abs=1e-5)


@given(pressure_series)
def test_the_robust_rate_is_the_median_of_all_pair_slopes(series: tuple[list[float], list[float]]) -> None:
    minutes, pressures = series
    pairs = [(i, j) for j in range(len(minutes)) for i in range(j)]
    slopes = [(pressures[j] - pressures[i]) / (minutes[j] - minutes[i]) for i, j in pairs]
    rise = fit_rise(minutes, pressures)
    assert rise.theil_sen_mbar_min == pytest.approx(float(np.median(slopes)), rel=1e-9, abs=1e-9)
    assert rise.theil_sen_low <= rise.theil_sen_mbar_min <= rise.theil_sen_high


@given(pressure_series, st.floats(0, 500))
def test_a_gauge_that_shows_too_much_everywhere_does_not_change_the_rate(
    series: tuple[list[float], list[float]], offset: float
) -> None:
    minutes, pressures = series
    true, shifted = fit_rise(minutes, pressures), fit_rise(minutes, [pressure + offset for pressure in pressures])
    assert shifted.rate_mbar_min == pytest.approx(true.rate_mbar_min, rel=1e-6, abs=1e-6)
    assert shifted.theil_sen_mbar_min == pytest.approx(true.theil_sen_mbar_min, rel=1e-6, abs=1e-6)


def test_the_uncertainty_of_the_rate_is_the_textbook_one() -> None:
    # numpy's covariance of a straight line, scaled by the residual variance.
    _, covariance = np.polyfit(STEADY_MINUTES, STEADY, 1, cov=True)
    assert fit_rise(STEADY_MINUTES, STEADY).rate_standard_uncertainty == pytest.approx(covariance[0, 0] ** 0.5)


def test_the_true_rate_lies_within_its_interval_of_95_percent() -> None:
    """0.4141 to 0.4422 mbar/min, as statsmodels gives it (recomputed): t of 9 degrees of freedom by scipy."""
    rise = fit_rise(STEADY_MINUTES, STEADY)
    low, high = student(9, rise.rate_mbar_min, rise.rate_standard_uncertainty).interval(0.95)
    assert (low, high) == pytest.approx((0.4141, 0.4422), rel=1e-3)


def test_a_leak_swells_in_the_bag() -> None:
    """Boyle: 0.1649 Pa m3/s from the room are 4.947 L/min of bubbles in wet laminate at 20 mbar (recomputed)."""
    leak = leak_throughput_pa_m3_s(0.4282, 0.231)
    assert room_air_l_h(leak) / 60 * 1013.25 / 20 == pytest.approx(4.947, rel=1e-3)


def test_a_published_drop_test_is_bent() -> None:
    """Inches of mercury minute by minute from a materials distributor's page: 3.048 mbar in all, ever less of it."""
    inches = (29.20, 29.17, 29.15, 29.13, 29.12, 29.11)
    bag = [absolute_from_gauge(UNITS.Quantity(one, "inHg").m_as("mbar"), 1013.25) for one in inches]
    assert bag[-1] - bag[0] == pytest.approx(3.048, rel=1e-3)
    assert (bag[1] - bag[0], bag[-1] - bag[-2]) == pytest.approx((1.016, 0.3386), rel=1e-3)
    assert held(tuple(bag), over_minutes=5, resolution_mbar=0.1).shape.startswith("bent: it rises more slowly")


def test_rounding_to_a_coarse_gauge_scatters_the_rate_as_much_as_foretold() -> None:
    # Trial with 4000 steady rises over many divisions, each reading rounded to whole mbar.
    dice = np.random.default_rng(7)
    minutes = np.arange(11.0)
    slopes = 3 + dice.random(4000)
    starts = 20 + 7 * dice.random(4000)
    readings = np.round(starts[:, None] + slopes[:, None] * minutes)
    errors = np.polyfit(minutes, readings.T, 1)[0] - slopes
    assert rate_uncertainty_from_resolution(STEADY_MINUTES, 1.0) == pytest.approx(float(errors.std()), rel=0.1)


def test_the_two_phase_curve_is_the_one_a_search_over_its_time_constant_finds() -> None:
    minutes, pressures = np.array(BENT_MINUTES, dtype=float), np.array(BENT)

    def left_over(time_constant: float) -> float:
        columns = np.column_stack([np.ones(31), minutes, 1 - np.exp(-minutes / time_constant)])
        return float(np.linalg.lstsq(columns, pressures, rcond=None)[1][0])

    best = min(np.arange(3.0, 8.0, 0.001), key=left_over)
    fitted = fit_two_phase(BENT_MINUTES, BENT)
    assert fitted is not None
    assert fitted.time_constant_min == pytest.approx(best, abs=0.002)
    assert fitted.residual_sd_mbar == pytest.approx((left_over(best) / 27) ** 0.5, rel=1e-4)


def test_the_curve_does_not_depend_on_when_the_clock_was_started() -> None:
    late = fit_two_phase(tuple(minute + 500 for minute in BENT_MINUTES), BENT)
    fitted = fit_two_phase(BENT_MINUTES, BENT)
    assert late is not None
    assert fitted is not None
    assert late.rate_mbar_min == pytest.approx(fitted.rate_mbar_min, rel=1e-4)
    assert late.start_mbar == pytest.approx(fitted.start_mbar, rel=1e-5)


def test_a_steady_leak_is_not_taken_for_two_phases() -> None:
    fitted = fit_two_phase(STEADY_MINUTES, STEADY)
    assert fitted is None or fitted.aicc_gain < 0


def test_a_tight_bag_passes() -> None:
    result = held(STEADY)
    assert result.verdict.level == "pass"
    assert result.judged_on == "whole test"
    assert result.rate_mbar_min == pytest.approx(0.4282, rel=1e-3)
    assert result.shape == "straight: a steady rise, as a leak gives"


def test_a_bag_that_rises_too_fast_fails() -> None:
    assert held(STEADY, greatest_rise_mbar=3.0).verdict.level == "fail"


def test_a_bag_near_the_limit_passes_or_fails_only_conditionally() -> None:
    # Rise 4.282 mbar in 10 min with U = 0.136.
    assert held(STEADY, greatest_rise_mbar=4.35).verdict.level == "conditional pass"
    assert held(STEADY, greatest_rise_mbar=4.20).verdict.level == "conditional fail"


def test_a_limit_over_another_time_is_judged_on_the_rise_over_that_time() -> None:
    result = held(STEADY, greatest_rise_mbar=2.5, over_minutes=5)
    assert result.rise_over_period_mbar == pytest.approx(2.141, rel=1e-3)
    assert result.verdict.level == "pass"


def test_a_gauge_whose_span_is_doubtful_widens_the_judgement() -> None:
    sure, doubtful = held(STEADY), held(STEADY, relative_span_uncertainty=0.05)
    assert sure.expanded_uncertainty_mbar is not None
    assert doubtful.expanded_uncertainty_mbar is not None
    expected = (sure.expanded_uncertainty_mbar**2 + (2 * 0.05 * 4.2818) ** 2) ** 0.5
    assert doubtful.expanded_uncertainty_mbar == pytest.approx(expected, rel=1e-4)


def test_a_bag_that_only_gives_off_moisture_at_first_is_judged_on_its_straight_part() -> None:
    result = held(BENT, greatest_rise_mbar=2.0)
    assert result.verdict.level == "pass"
    assert result.judged_on == "straight part"
    assert result.rise_over_period_mbar == pytest.approx(1.194, rel=1e-2)
    assert "straight part" in result.verdict.because
    assert result.shape.startswith("bent: an early rise of 6.0 mbar")


def test_a_bent_rise_cut_short_is_judged_whole() -> None:
    result = held(BENT[:11], greatest_rise_mbar=5.0)
    assert result.judged_on == "whole test"
    assert result.verdict.level == "fail"
    assert "had not died away" in result.verdict.because


def test_one_wrong_reading_is_pointed_out() -> None:
    result = held(ONE_WRONG)
    assert result.shape == "one reading stands apart: 26.7 mbar at 6 min"
    assert result.verdict.level == "conditional pass"


def test_a_rise_that_grows_is_pointed_out() -> None:
    assert held(tuple(20 + 0.05 * minute**2 for minute in range(11))).shape.startswith("steepening")


def test_a_rise_that_slows_with_too_few_readings_for_a_curve_is_pointed_out() -> None:
    result = held((20.0, 24.0, 26.0, 27.0, 27.5, 27.7, 27.8), over_minutes=6)
    assert result.two_phase is None
    assert result.shape.startswith("bent")


def test_a_coarse_dial_that_does_not_move_proves_little() -> None:
    # 15 min on a dial of 10 mbar divisions: the two-reading form gives U = 2 x 15 x 10/sqrt(6)/15 = 8.16 mbar.
    result = held((20.0,) * 16, greatest_rise_mbar=7.5, over_minutes=15, resolution_mbar=10)
    assert result.verdict.level == "conditional pass"
    assert result.expanded_uncertainty_mbar == pytest.approx(8.165, rel=1e-3)
    assert result.shape == "hardly any rise that this gauge can show"


def test_five_readings_give_no_verdict_but_a_rate() -> None:
    result = held(STEADY[:5], over_minutes=4)
    assert result.verdict.level == "no verdict"
    assert result.verdict.because == "5 of at least 6 readings"
    assert result.rate_mbar_min is not None


def test_two_readings_give_neither() -> None:
    result = held(STEADY[:2], over_minutes=1)
    assert result.verdict.level == "no verdict"
    assert result.rate_mbar_min is None


def test_a_test_shorter_than_the_limit_is_stated_for_gives_no_verdict() -> None:
    result = held(STEADY, over_minutes=15)
    assert result.verdict.level == "no verdict"
    assert result.verdict.because == "held for 10 min, the limit is stated over 15 min"


def test_a_bag_still_on_the_pump_is_asked_about() -> None:
    with pytest.raises(InputRefused, match="was the pump not isolated") as refused:
        held(tuple(reversed(STEADY)))
    assert refused.value.key == "inconsistent"


def test_a_fall_of_a_few_divisions_is_taken_as_reading_error() -> None:
    assert held((20.0, 20.0, 19.9, 19.9, 19.8, 19.8, 19.8), over_minutes=6).verdict.level == "pass"


@pytest.mark.parametrize(
    ("minutes", "pressures", "key"),
    [
        ((0, 1, 1, 2, 3, 4), (20, 21, 22, 23, 24, 25), "inconsistent"),
        ((0, 2, 1, 3, 4, 5), (20, 21, 22, 23, 24, 25), "inconsistent"),
        ((0, 1, 2, 3, 4), (20, 21, 22, 23, 24, 25), "inconsistent"),
        ((0, 1, 2, 3, 4, 5), (2000, 2010, 2020, 2030, 2040, 2050), "unit_suspect"),
        ((0, 1, 2, 3, 4, 5), (-1, 0, 1, 2, 3, 4), "negative"),
        ((0, 1, 2, 3, 4, 5), (20, 21, float("nan"), 23, 24, 25), "not_a_number"),
        ((), (), "insufficient_data"),
    ],
)
def test_readings_that_cannot_be_worked_with_are_refused(
    minutes: tuple[float, ...], pressures: tuple[float, ...], key: str
) -> None:
    with pytest.raises(InputRefused) as refused:
        held(pressures, minutes=minutes, over_minutes=5)
    assert refused.value.key == key


@pytest.mark.parametrize("wrong", [{"greatest_rise_mbar": 0.0}, {"over_minutes": 0.0}, {"resolution_mbar": 0.0}])
def test_a_limit_without_size_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(InputRefused) as refused:
        held(STEADY, **wrong)
    assert refused.value.key == "not_positive"
