"""Strips filled together: held against the closed forms of one strip, and against what cannot be otherwise."""

from math import log, sqrt
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from hullbook.calc.errors import InputRefused
from hullbook.calc.flow import Feed, Pull, Section
from hullbook.calc.pour_plan import (
    PartResin,
    PlannedPail,
    StripLaid,
    UnderMedium,
    ZoneResin,
    drawn_kg,
    fill_together,
    height_mm_at,
    medium_bays,
    pails_for,
    planned_pails,
    wetted_share,
)

PULL = Pull(95_000.0, 0.2, 1080.0)


def laid(
    station: str,
    *,
    length_m: float = 1.0,
    permeability_m2: float = 1.5e-10,
    second_m: float = 0.0,
    third_m: float = 0.0,
) -> StripLaid:
    sections = (Section("bottom", length_m, 5.0, 0.48, permeability_m2),)
    later = [(number, Feed(at, at)) for number, at in ((2, second_m), (3, third_m)) if at]
    return StripLaid(station, "port", sections, ((1, Feed(0.0, 0.0)), *later))


def resin(kg: float = 10.0, end_kg: float = 0.0) -> PartResin:
    return PartResin((ZoneResin("bottom", "port", 0.0, 1000.0, 0.0, 10.0, kg),), {}, end_kg)


def test_resin_drawn_from_one_even_strip_goes_with_the_root_of_time() -> None:
    """Darcy's law for a straight front: x = sqrt(2 K dp t / (mu eps)), 0.7310 m after 30 min (textbook closed form)."""
    strips = fill_together([laid("5")], PULL)
    assert drawn_kg(strips, resin(), 30.0) == pytest.approx(7.310, rel=1e-3)
    assert drawn_kg(strips, resin(), 7.5) == pytest.approx(7.310 / 2, rel=1e-3)


def test_a_line_opens_everywhere_when_the_slowest_front_has_come() -> None:
    quick, slow = laid("2", permeability_m2=3e-10, second_m=0.5), laid("5", second_m=0.5)
    filled = {one.station: one for one in fill_together([quick, slow], PULL)}
    opened = filled["5"].opened_at(2)
    assert opened == pytest.approx(842.1 / 60, rel=1e-3)  # mu eps x^2 / (2 K dp) at half a metre
    assert filled["2"].opened_at(2) == pytest.approx(opened, rel=1e-9)
    # By then the quick front is past the line by the root of the ratio of the two permeabilities.
    assert filled["2"].strip.feeds[1].opens_front_m == pytest.approx(0.5 * sqrt(2), rel=1e-9)


def test_resin_too_thick_for_one_line_may_still_reach_the_end_by_two() -> None:
    """t = -ln(1 - k t0)/k of the whole fill: 56.1 min for one line does not come through at k = 1/40, 28.1 does."""
    thick = Pull(95_000.0, 0.2, 1080.0, thickening_per_min=1 / 40)
    one_line_min = fill_together([laid("5")], PULL)[0].fill.fill_minutes
    assert one_line_min == pytest.approx(56.13, rel=1e-3)  # mu eps / (2 K dp) at a metre
    with pytest.raises(InputRefused, match="thickens before"):
        fill_together([laid("5")], thick)
    two = fill_together([laid("5", second_m=0.5)], thick)[0]
    assert two.fill.fill_minutes == pytest.approx(-40 * log(1 - one_line_min / 2 / 40), rel=1e-6)
    assert two.opened_at(2) == pytest.approx(-40 * log(1 - one_line_min / 4 / 40), rel=1e-6)


def test_a_line_brings_nothing_to_a_strip_that_is_full_by_then() -> None:
    short, long = laid("2", length_m=0.6, permeability_m2=9e-10, second_m=0.5), laid("5", second_m=0.5)
    filled = {one.station: one for one in fill_together([short, long], PULL)}
    assert filled["2"].line_numbers == (1,)
    assert filled["2"].opened_at(2) is None
    assert filled["5"].line_numbers == (1, 2)


def squared_way_min(way_m: float, permeability_m2: float, from_m: float = 0.0) -> float:
    """Minutes of Darcy's straight front from one way behind the open line to another, by an ODE solver (scipy)."""

    def speed(_: float, way: np.ndarray) -> np.ndarray:
        return 60 * permeability_m2 * PULL.driving_pressure_pa / (PULL.viscosity_pa_s * 0.48 * way)

    def there(_: float, way: np.ndarray) -> float:
        return float(way[0] - way_m)

    there.terminal = True  # type: ignore[attr-defined]
    start_m = max(from_m, 1e-5)
    return float(solve_ivp(speed, (0.0, 1e4), [start_m], events=there, rtol=1e-9, atol=1e-9).t_events[0][0])


def test_a_line_that_a_front_has_passed_already_is_opened_no_earlier_than_the_one_before_it() -> None:
    """The quick strip stands past both later lines when the slow one, which has no third, lets the second be opened."""
    quick, slow = 9e-10, 1.5e-10
    strips = [
        laid("2", length_m=2.0, permeability_m2=quick, second_m=0.5, third_m=0.9), laid("5", length_m=0.8, second_m=0.5)
    ]  # fmt: skip
    filled = {one.station: one for one in fill_together(strips, PULL)}
    opened = squared_way_min(0.5, slow)
    assert filled["5"].opened_at(2) == pytest.approx(opened, rel=1e-6)
    # Both are opened together there: the one further out feeds it, the other brings nothing.
    assert filled["2"].line_numbers == (1, 3)
    assert filled["2"].opened_at(3) == pytest.approx(opened, rel=1e-6)
    stands_m = 0.5 * sqrt(quick / slow)
    assert filled["2"].strip.feeds[1].opens_front_m == pytest.approx(stands_m, rel=1e-6)
    rest = squared_way_min(2.0 - 0.9, quick, stands_m - 0.9)
    assert filled["2"].fill.fill_minutes == pytest.approx(opened + rest, rel=1e-6)


def test_a_front_past_two_lines_takes_them_as_they_are_opened() -> None:
    """With the slow strip long enough for both lines they are opened one after the other, wherever the quick one is."""
    strips = [
        laid("2", length_m=3.0, permeability_m2=9e-10, second_m=0.5, third_m=0.9),
        laid("5", length_m=1.2, second_m=0.5, third_m=0.9),
    ]
    filled = {one.station: one for one in fill_together(strips, PULL)}
    openings = [filled[station].opened_at(line) for line in (2, 3) for station in ("2", "5")]
    second = squared_way_min(0.5, 1.5e-10)
    third = second + squared_way_min(0.4, 1.5e-10)
    assert openings == pytest.approx([second, second, third, third], rel=1e-6)


@given(st.lists(st.tuples(st.floats(0.3, 3.0), st.floats(-10.5, -8.5), st.booleans()), min_size=1, max_size=5))
def test_however_unlike_the_strips_their_lines_open_one_after_another(strips: list[tuple[float, float, bool]]) -> None:
    made = [
        laid(str(place), length_m=length, permeability_m2=10**power, second_m=0.5 * (length > 0.5),
             third_m=0.9 * (length > 0.9 and has_third))
        for place, (length, power, has_third) in enumerate(strips)
    ]  # fmt: skip
    filled = fill_together(made, PULL)
    for one in filled:
        minutes = [one.opened_at(number) or 0.0 for number in one.line_numbers]
        assert minutes == sorted(minutes)
    for number in (2, 3):
        minutes = [at for one in filled if (at := one.opened_at(number)) is not None]
        assert minutes == pytest.approx(minutes[:1] * len(minutes), rel=1e-5, abs=1e-6)


def test_a_first_line_off_the_keel_is_refused_by_name() -> None:
    sections = (Section("bottom", 1.0, 5.0, 0.48, 1.5e-10),)
    with pytest.raises(InputRefused, match=r"station 5 port, feed line 4: 0\.3 m .* at the keel, 0 m") as refused:
        fill_together([StripLaid("5", "port", sections, ((4, Feed(0.3, 0.3)), (5, Feed(0.6, 0.6))))], PULL)
    assert refused.value.key == "inconsistent"


def test_a_strip_that_cannot_fill_is_named() -> None:
    sections = (Section("topsides", 9.5, 5.0, 0.48, 1.5e-10, 9.5),)
    with pytest.raises(InputRefused, match="station 5 port") as refused:
        fill_together([StripLaid("5", "port", sections, ((1, Feed(0.0, 0.0)),))], PULL)
    assert refused.value.key == "impossible"


def test_no_strip_is_refused() -> None:
    with pytest.raises(InputRefused) as refused:
        fill_together([], PULL)
    assert refused.value.key == "missing"


@given(st.lists(st.floats(0, 2000), min_size=1, max_size=6, unique_by=round), st.floats(-100, 2500), st.randoms())
def test_height_goes_straight_from_line_to_line(girths: list[float], girth_mm: float, chance: Any) -> None:
    """numpy's interp, which also stays level outside."""
    kinks = [(girth, chance.uniform(-200, 1200)) for girth in sorted(girths)]
    assert height_mm_at(kinks, girth_mm) == pytest.approx(np.interp(girth_mm, *zip(*kinks, strict=True)), abs=1e-6)
    assert height_mm_at((), girth_mm) == 0.0


@pytest.mark.parametrize(("kg", "pails"), [(0.0, 1), (12.5, 1), (12.6, 2), (0.3 / 0.1 * 12.5, 3), (100.0, 8)])
def test_pails_hold_what_is_drawn_one_at_the_least(kg: float, pails: int) -> None:
    assert pails_for(kg, 12.5) == pails


def test_ways_under_flow_medium_end_at_the_next_line_at_the_flange_and_with_the_medium() -> None:
    """Kz x^2 / (K H^2) by hand: 2e-12 x 0.25 / (8e-10 x 3.6e-5) = 17.36 over half a metre."""
    sections = (Section("bottom", 1.3, 6.0, 0.5, 8e-10), Section("bare", 0.7, 5.0, 0.48, 1e-10))
    lines = ((1, Feed(0.0, 0.0)), (4, Feed(0.5, 0.5)), (5, Feed(1.5, 1.5)))
    (filled,) = fill_together([StripLaid("5", "port", sections, lines)], PULL)
    bays = medium_bays(filled, 1.3, {"bottom": UnderMedium(2e-12, 0.12)})
    assert [(bay.line_number, bay.way_m) for bay in bays] == [(1, 0.5), (4, pytest.approx(0.8))]
    assert [bay.through for bay in bays] == pytest.approx([17.36, 17.36 * 0.64 / 0.25], rel=1e-3)
    accepted = {"lag_share": 0.2, "least_through": 10}
    assert [bay.is_one(**accepted) for bay in bays] == [False, True]
    assert not bays[1].is_one(lag_share=0.2, least_through=50)
    assert medium_bays(filled, 1.3, {}) == ()


@pytest.mark.parametrize(("front_mm", "share"), [(0, 0.0), (300, 0.0), (500, 0.2), (1300, 1.0), (1400, 1.0)])
def test_a_zone_is_wet_behind_the_front(front_mm: float, share: float) -> None:
    assert wetted_share(300, 1300, front_mm, 2000) == pytest.approx(share)


def test_a_zone_is_clipped_to_the_strip_and_one_past_it_fills_with_the_flange() -> None:
    assert wetted_share(300, 2000, 650, 1000) == pytest.approx(0.5)
    assert wetted_share(1200, 1500, 1000, 1000) is None
    past_the_flange = PartResin((ZoneResin("bulwark", "port", 1200.0, 1500.0, 0.0, 10.0, 10.0),), {}, 0.0)
    strips = fill_together([laid("5")], PULL)
    assert drawn_kg(strips, past_the_flange, 30.0) == 0.0
    assert drawn_kg(strips, past_the_flange, 60.0) == 10.0


def test_a_zone_wets_by_the_fronts_at_its_own_stations() -> None:
    """Darcy's closed form at either end: the quick front wets 0.7310 of its metre in 7.5 min, the slow one 0.3655."""
    strips = fill_together([laid("2", permeability_m2=6e-10), laid("8")], PULL)

    def drawn_at(station_from: float, station_to: float) -> float:
        zone = ZoneResin("bow", "port", 0.0, 1000.0, station_from, station_to, 10.0)
        return drawn_kg(strips, PartResin((zone,), {}, 0.0), 7.5)

    assert drawn_at(0.0, 4.0) == pytest.approx(7.310, rel=1e-3)
    assert drawn_at(7.0, 10.0) == pytest.approx(3.655, rel=1e-3)
    assert drawn_at(0.0, 10.0) == pytest.approx((7.310 + 3.655) / 2, rel=1e-3)
    assert drawn_at(9.5, 10.0) == pytest.approx(3.655, rel=1e-3)  # no station lies in it: the nearest
    assert ZoneResin("all", "port", 0.0, 1.0, 3.0, 4.0, 1.0).seen_at(["bow", "2", "8"]) == ("bow",)


@given(st.lists(st.floats(0, 90), min_size=2, max_size=12))
def test_resin_drawn_never_falls_and_ends_at_the_total(minutes: list[float]) -> None:
    strips = fill_together([laid("2", second_m=0.4), laid("5", permeability_m2=2e-10, second_m=0.4)], PULL)
    part = PartResin((ZoneResin("bottom", "port", 0.0, 1000.0, 0.0, 10.0, 8.0),), {1: 0.5, 2: 0.7}, 1.1)
    drawn = [drawn_kg(strips, part, minute) for minute in sorted(minutes)]
    assert all(before <= after + 1e-9 for before, after in zip(drawn, drawn[1:], strict=False))
    end = max(one.fill.fill_minutes for one in strips)
    assert drawn_kg(strips, part, end) == pytest.approx(part.total_kg) == pytest.approx(10.3)


def test_pails_follow_each_other_and_hold_the_whole() -> None:
    strips = fill_together([laid("5")], PULL)
    pails = planned_pails(strips, resin(10.0), pail_kg=4.0, mixing_min=4.0, handling_min=6.0)
    assert [pail.number for pail in pails] == [1, 2, 3]
    assert [pail.on_min for pail in pails[1:]] == [pail.empty_min for pail in pails[:-1]]
    # 4 and 8 kg are drawn when the front is at 0.4 and 0.8 m: the square of the way, by Darcy's law.
    full = pails[-1].empty_min
    assert [pail.empty_min / full for pail in pails] == pytest.approx([0.16, 0.64, 1.0], rel=1e-6)
    assert pails[0].mix_by_min == pytest.approx(-6.0)
    assert pails[1].mix_by_min == pytest.approx(pails[1].on_min - 4.0)


def test_one_pail_is_mixed_at_a_time() -> None:
    strips = fill_together([laid("5")], PULL)
    pails = planned_pails(strips, resin(10.0), pail_kg=1.0, mixing_min=4.0, handling_min=6.0)
    begun = [pail.mix_by_min for pail in pails]
    assert all(after - before >= 4.0 - 1e-9 for before, after in zip(begun, begun[1:], strict=False))
    assert all(pail.mix_by_min + 4.0 <= pail.on_min + 1e-9 for pail in pails)


def test_a_pail_drawn_from_past_its_gel_says_by_how_much() -> None:
    pail = PlannedPail(9, 40.0, 44.0, 84.0)
    assert pail.drawn_past_min(40.0) == pytest.approx(4.0)
    assert pail.drawn_past_min(60.0) == pytest.approx(-16.0)
