"""Strips filled together: held against the closed forms of one strip, and against what cannot be otherwise."""

from math import log, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.errors import InputRefused
from hullbook.calc.flow import Feed, Pull, Section
from hullbook.calc.pour_plan import (
    PartResin,
    PlannedPail,
    StripLaid,
    ZoneResin,
    drawn_kg,
    fill_together,
    planned_pails,
    wetted_share,
)

PULL = Pull(95_000.0, 0.2, 1080.0)


def laid(station: str, *, length_m: float = 1.0, permeability_m2: float = 1.5e-10, second_m: float = 0.0) -> StripLaid:
    sections = (Section("bottom", length_m, 5.0, 0.48, permeability_m2),)
    lines = [(1, Feed(0.0, 0.0))]
    if second_m:
        lines.append((2, Feed(second_m, second_m)))
    return StripLaid(station, "port", sections, tuple(lines))


def resin(kg: float = 10.0, end_kg: float = 0.0) -> PartResin:
    return PartResin((ZoneResin("bottom", "port", 0.0, 1000.0, kg),), {}, end_kg)


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


def test_a_strip_that_cannot_fill_is_named() -> None:
    sections = (Section("topsides", 9.5, 5.0, 0.48, 1.5e-10, 9.5),)
    with pytest.raises(InputRefused, match="station 5 port") as refused:
        fill_together([StripLaid("5", "port", sections, ((1, Feed(0.0, 0.0)),))], PULL)
    assert refused.value.key == "impossible"


def test_no_strip_is_refused() -> None:
    with pytest.raises(InputRefused) as refused:
        fill_together([], PULL)
    assert refused.value.key == "missing"


@pytest.mark.parametrize(("front_mm", "share"), [(0, 0.0), (300, 0.0), (500, 0.2), (1300, 1.0), (1400, 1.0)])
def test_a_zone_is_wet_behind_the_front(front_mm: float, share: float) -> None:
    assert wetted_share(300, 1300, front_mm, 2000) == pytest.approx(share)


def test_a_zone_is_clipped_to_the_strip_and_one_past_it_fills_with_the_flange() -> None:
    assert wetted_share(300, 2000, 650, 1000) == pytest.approx(0.5)
    assert wetted_share(1200, 1500, 1000, 1000) is None
    past_the_flange = PartResin((ZoneResin("bulwark", "port", 1200.0, 1500.0, 10.0),), {}, 0.0)
    strips = fill_together([laid("5")], PULL)
    assert drawn_kg(strips, past_the_flange, 30.0) == 0.0
    assert drawn_kg(strips, past_the_flange, 60.0) == 10.0


@given(st.lists(st.floats(0, 90), min_size=2, max_size=12))
def test_resin_drawn_never_falls_and_ends_at_the_total(minutes: list[float]) -> None:
    strips = fill_together([laid("2", second_m=0.4), laid("5", permeability_m2=2e-10, second_m=0.4)], PULL)
    part = PartResin((ZoneResin("bottom", "port", 0.0, 1000.0, 8.0),), {1: 0.5, 2: 0.7}, 1.1)
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
