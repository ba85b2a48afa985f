"""How resin runs through a strip from the keel to the flange: front against time, resin taken, lines opened in turn.

Everything is of a strip one metre wide. A flow resistance is pressure over viscosity and volume flow, in 1/m3: a metre
of a section adds 1 / (permeability x thickness), a hose what `hose_resistance_1_m3` gives. Front places are metres of
girth from the keel; minutes count from the opening of the first line.

The model: Darcy's law (Darcy 1856), a sharp front that leaves the laminate full, a preform that keeps its thickness,
one temperature, constant pressure at the inlets and in the bag. It leaves out race-tracking along core joints and
radii, swelling beside an open inlet, fronts that meet, and what an earlier line still brings once the next is open.

Source: Darcy's law integrated along the strip; each closed form is put to quadrature, to an ODE solver and to finite
elements in the tests.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise
from math import ceil, exp, expm1, log, log1p, pi, radians, sin, sqrt
from typing import NamedTuple

from hullbook.calc.errors import (
    InputRefused,
    require_between,
    require_fraction,
    require_in_unit,
    require_not_negative,
    require_positive,
)
from hullbook.calc.permeability import require_permeability
from hullbook.calc.vacuum import HIGHEST_STATION_MBAR, LOWEST_STATION_MBAR, require_absolute, require_pull
from hullbook.calc.viscosity import require_viscosity

STANDARD_GRAVITY_M_S2 = 9.80665
LIQUID_RESIN_KG_M3 = (900.0, 1500.0)
LINES_LAID_TO_M = 0.01
SERIES_BELOW = 1e-3
"""Where a piece loses less of the pull than this share, (-ln(1 - u) - u)/u^2 is summed as a series, to 15 digits."""


@dataclass(frozen=True)
class Section:
    """A stretch of the strip with one lay-up; permeability in the direction of flow, `rise_m` the height gained."""

    name: str
    length_m: float
    thickness_mm: float
    porosity: float
    permeability_m2: float
    rise_m: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what cannot exist: `not_positive`, `impossible`, `unit_suspect` (percent, darcy)."""
        require_positive("length_m", self.length_m, "m")
        require_positive("thickness_mm", self.thickness_mm, "mm")
        require_fraction("porosity", self.porosity)
        require_permeability("permeability_m2", self.permeability_m2)
        require_between("rise_m", self.rise_m, -self.length_m, self.length_m, "m, no more than the length")


@dataclass(frozen=True)
class Feed:
    """A feed line across the strip, opened when the front has come to `opens_front_m`."""

    girth_m: float
    opens_front_m: float
    hose_resistance_1_m3: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a line opened ahead of the front (`impossible`: two fronts would trap air), `negative` figures."""
        require_not_negative("girth_m", self.girth_m, "m")
        require_not_negative("hose_resistance_1_m3", self.hose_resistance_1_m3, "1/m3")
        if not self.opens_front_m >= self.girth_m:
            accepted = f"a line is opened when the front has passed it, at {self.girth_m:g} m or later"
            raise InputRefused("impossible", "opens_front_m", self.opens_front_m, accepted)


@dataclass(frozen=True)
class Strip:
    """Sections in series from the keel outwards and the feed lines in the order they are opened."""

    sections: tuple[Section, ...]
    feeds: tuple[Feed, ...]

    def __post_init__(self) -> None:
        """Refuse a strip without sections or lines (`missing`), and lines out of order (`inconsistent`)."""
        for field, rows in (("sections", self.sections), ("feeds", self.feeds)):
            if not rows:
                raise InputRefused("missing", field, "none", "give at least one")
        if self.feeds[0].opens_front_m != 0:
            given, accepted = (
                f"{self.feeds[0].girth_m:g} m",
                "the first line lies at the keel, 0 m, opened at the start",
            )
            raise InputRefused("inconsistent", "feeds", given, accepted)
        for before, after in zip(self.feeds, self.feeds[1:], strict=False):
            if not (before.girth_m < after.girth_m and before.opens_front_m < after.opens_front_m < self.length_m):
                accepted = f"lines lie and are opened one after another, short of {self.length_m:g} m"
                raise InputRefused("inconsistent", "feeds", f"{after.girth_m:g} m", accepted)

    @property
    def section_ends_m(self) -> tuple[float, ...]:
        """Girth at the end of each section."""
        return tuple(accumulate(section.length_m for section in self.sections))

    @property
    def length_m(self) -> float:
        """Girth of the strip."""
        return self.section_ends_m[-1]

    @property
    def bay_ends_m(self) -> tuple[float, ...]:
        """Girth at which the bay of each line ends: at the next line, the last at the end of the strip."""
        return (*(feed.girth_m for feed in self.feeds[1:]), self.length_m)


@dataclass(frozen=True)
class Pull:
    """What drives the resin: pressure at the keel, in Pa, and the resin itself.

    `driving_pressure_pa` holds for a pail whose resin stands as high as the keel; the sections' rise is taken off it.
    `thickening_per_min` is ln 2 over the minutes in which the viscosity doubles, counted from the first mixing.
    """

    driving_pressure_pa: float
    viscosity_pa_s: float
    liquid_resin_density_kg_m3: float
    thickening_per_min: float = 0.0

    def __post_init__(self) -> None:
        """Refuse `not_positive`, `negative`, `impossible` figures, and `unit_suspect` ones (mbar, mPa.s, g/cm3)."""
        require_pull("driving_pressure_pa", self.driving_pressure_pa)
        require_viscosity("viscosity_pa_s", self.viscosity_pa_s)
        density = self.liquid_resin_density_kg_m3
        require_in_unit("liquid_resin_density_kg_m3", density, *LIQUID_RESIN_KG_M3, "kg/m3", {"g/cm3": 1000})
        require_not_negative("thickening_per_min", self.thickening_per_min, "1/min")


class Opening(NamedTuple):
    """When a feed line is opened, counted from 0, and where the front is then."""

    feed: int
    minute: float
    front_m: float


class Piece(NamedTuple):
    """A stretch in one section with one line open: resistance grows, and pull falls, straight with the distance in it.

    `minutes` and `kg` are those at its start, the minutes at constant viscosity; `slowness` is viscosity x porosity x
    thickness in Pa.min m, so that the front takes slowness x resistance / pull minutes for a metre.
    """

    start_m: float
    length_m: float
    minutes: float
    kg: float
    kg_m: float
    slowness: float
    resistance: float
    resistance_per_m: float
    pull_pa: float
    pull_loss_pa_m: float

    def minutes_over(self, distance_m: float) -> float:
        """Minutes for the first metres of the piece: slowness x integral of (A + B s) / (C - D s)."""
        lost = self.pull_loss_pa_m * distance_m / self.pull_pa
        if -SERIES_BELOW < lost < SERIES_BELOW:
            along = 1 / 2 + lost * (1 / 3 + lost * (1 / 4 + lost * (1 / 5 + lost / 6)))
        else:
            along = (-log1p(-lost) / lost - 1) / lost
        against = self.resistance * (1 + lost * along) + self.resistance_per_m * distance_m * along
        return self.slowness * distance_m / self.pull_pa * against

    def distance_in(self, minutes: float) -> float:
        """Metres of the piece wetted in these minutes: the inverse of `minutes_over`."""
        if minutes <= 0:
            return 0.0
        reach = 2 * minutes * self.pull_pa / self.slowness
        distance = min(
            reach / (self.resistance + sqrt(self.resistance**2 + reach * self.resistance_per_m)), self.length_m
        )
        if self.pull_loss_pa_m == 0:
            return distance
        # With height the level way is where Newton's steps begin: the curve bends one way all along the piece, so that
        # from the second step on they come to the root from one side.
        for _ in range(50):
            step = (self.minutes_over(distance) - minutes) / self.minutes_per_m(distance)
            before, distance = distance, min(max(distance - step, 0.0), self.length_m)
            if abs(distance - before) <= 1e-7 * distance:
                break
        return distance

    def minutes_per_m(self, distance_m: float) -> float:
        """Minutes the front takes for a metre, there."""
        resistance = self.resistance + self.resistance_per_m * distance_m
        return self.slowness * resistance / (self.pull_pa - self.pull_loss_pa_m * distance_m)


@dataclass(frozen=True)
class Fill:
    """The front of one strip against time, from the first line opened to the flange wetted."""

    length_m: float
    fill_minutes: float
    openings: tuple[Opening, ...]
    pieces: tuple[Piece, ...]
    thickening_per_min: float

    def minute_at(self, front_m: float) -> float:
        """When the front comes to this girth. Raises `impossible` outside the strip."""
        require_between("front_m", front_m, 0, self.length_m, "m")
        return thickened_minutes(_plain_minutes(self.pieces, front_m), self.thickening_per_min)

    def front_m_at(self, minute: float) -> float:
        """Where the front is at this minute; at the end of the strip from `fill_minutes` on. Raises `negative`."""
        if require_not_negative("minute", minute, "min") >= self.fill_minutes:
            return self.length_m
        piece, distance_m = self._at_minute(minute)
        return piece.start_m + distance_m

    def resin_kg_m(self, front_m: float) -> float:
        """Resin in the wet strip with the front at this girth, kg per metre of width. Raises `impossible` outside."""
        piece, distance_m = _piece_at(self.pieces, require_between("front_m", front_m, 0, self.length_m, "m"))
        return piece.kg + piece.kg_m * distance_m

    def demand_kg_min_m(self, minute: float) -> float:
        """Resin drawn per minute and metre of width; nothing once the strip is full.

        Raises `negative`, and `impossible` for the very moment a line without hose is opened: there is no bound to it.
        """
        if require_not_negative("minute", minute, "min") >= self.fill_minutes:
            return 0.0
        piece, distance_m = self._at_minute(minute)
        minutes_per_m = piece.minutes_per_m(distance_m) * exp(self.thickening_per_min * minute)
        if minutes_per_m == 0:
            raise InputRefused("impossible", "minute", f"{minute:g}", "give a moment after the line was opened")
        return piece.kg_m / minutes_per_m

    def _at_minute(self, minute: float) -> tuple[Piece, float]:
        plain = _plain_until(minute, self.thickening_per_min)
        piece = self.pieces[max(bisect_right(self.pieces, plain, key=lambda piece: piece.minutes) - 1, 0)]
        return piece, piece.distance_in(plain - piece.minutes)


def fill(strip: Strip, pull: Pull) -> Fill:
    """Work out how the front runs through the strip.

    Raises `impossible` where the resin does not reach the end: it stands too high, or the resin has thickened before.
    """
    pieces = _pieces(strip, pull)
    starts = {piece.start_m: piece.minutes for piece in pieces}
    k = pull.thickening_per_min
    plain = _plain_minutes(pieces, strip.length_m)
    if k * plain >= 1:
        stops = next(one for one in reversed(pieces) if k * one.minutes < 1)
        front_m = stops.start_m + stops.distance_in(1 / k - stops.minutes)
        accepted = f"the resin thickens before it gets there and stops at {front_m:.2f} m"
        raise InputRefused("impossible", "strip", f"a front at {strip.length_m:g} m", accepted)
    openings = tuple(
        Opening(place, thickened_minutes(starts[feed.opens_front_m], k), feed.opens_front_m)
        for place, feed in enumerate(strip.feeds)
    )
    return Fill(strip.length_m, thickened_minutes(plain, k), openings, pieces, k)


def thickened_minutes(minutes: float, thickening_per_min: float) -> float:
    """Real minutes for what takes `minutes` at constant viscosity, when it grows as exp(k t): -ln(1 - k t0) / k.

    Raises `impossible` from k t0 = 1 on: the front never gets there.
    """
    reached = thickening_per_min * minutes
    if reached == 0:
        return minutes
    if reached >= 1:
        accepted = f"resin that thickens so flows no further than {1 / thickening_per_min:.4g} min would bring it"
        raise InputRefused("impossible", "minutes", f"{minutes:.4g}", accepted)
    return -log1p(-reached) / thickening_per_min


def hose_shares(strip: Strip) -> tuple[float, ...]:
    """By what share each line's hose lengthens the time of its bay: twice its resistance over that of the bay."""
    ends_m = (0.0, *strip.section_ends_m)
    passed = (0.0, *accumulate(map(_resistance_1_m3, strip.sections)))
    shares = []
    for feed, bay_end_m in zip(strip.feeds, strip.bay_ends_m, strict=True):
        bay = sum(
            (after - before) * max(min(bay_end_m, end_m) - max(feed.girth_m, start_m), 0.0) / (end_m - start_m)
            for (start_m, end_m), (before, after) in zip(pairwise(ends_m), pairwise(passed), strict=True)
        )
        shares.append(2 * feed.hose_resistance_1_m3 / bay)
    return tuple(shares)


def share_of_minutes(strip: Strip, pull: Pull, names: Collection[str]) -> float:
    """What share of the fill's minutes the sections of these names answer for, with their lines where they are.

    At constant viscosity: minutes grow straight with each resistance, so that what halving their permeability adds is
    what they take. Raises as `fill` where the head is too high.
    """
    halved = [
        replace(one, permeability_m2=one.permeability_m2 / 2) if one.name in names else one for one in strip.sections
    ]
    plain, slowed = (
        _plain_minutes(_pieces(one, pull), one.length_m) for one in (strip, replace(strip, sections=tuple(halved)))
    )
    return min(slowed / plain - 1, 1.0)  # the last digit of a whole may lie above it


def equal_feeds(strip: Strip, lines: int) -> Strip:
    """Lay this many lines at equal bays, each opened as the front comes to it.

    Each has the hose that the strip's line in that place has, past the last of them the last one's.
    Raises `not_positive` for no line, `impossible` for a part of one.
    """
    _require_lines("lines", lines)
    return _fed(strip, [strip.length_m * place / lines for place in range(lines)])


def best_feeds(strip: Strip, pull: Pull, lines: int) -> Strip:
    """Lay this many lines where the fill takes least time, to a centimetre, each as in `equal_feeds`.

    Never slower than equal bays. Every way of laying them on the centimetres of the strip is looked at, by the least
    time to each place with one line, then two, and so on (Bellman 1957): unlike sections have many places that are
    only best near by. Raises as `fill` where the head is too high, `impossible` for more lines than centimetres.
    """
    import numpy as np

    equal = equal_feeds(strip, lines)
    places = np.linspace(0, strip.length_m, ceil(strip.length_m / LINES_LAID_TO_M) + 1)
    require_between("lines", lines, 1, len(places) - 1)
    resistances = accumulate(map(_resistance_1_m3, strip.sections))
    passed = np.interp(places, (0.0, *strip.section_ends_m), (0.0, *resistances))

    def minutes_to_places(hose_resistance: float) -> np.ndarray:
        pieces = _pieces(replace(strip, feeds=(Feed(0.0, 0.0, hose_resistance),)), pull)
        return np.array([_plain_minutes(pieces, place) for place in places.tolist()])

    from_keel = minutes_to_places(0.0)
    for_resistance = (minutes_to_places(passed[-1]) - from_keel) / passed[-1]  # minutes against one 1/m3 all along
    ahead = for_resistance - for_resistance[:, None]
    bays = from_keel - from_keel[:, None] - passed[:, None] * ahead  # without hose
    bays[np.tril_indices(len(places))] = np.inf  # from the line in the row to the front in the column
    first, *others = _hoses(strip, lines)
    soonest, lines_before = (bays + first * ahead)[0], []
    for hose in others:
        through = soonest[:, None] + bays + hose * ahead
        lines_before.append(through.argmin(axis=0))
        soonest = through.min(axis=0)
    place, girths_m = len(places) - 1, []
    for before in reversed(lines_before):
        place = before[place]
        girths_m.append(float(places[place]))
    best = _fed(strip, [0.0, *reversed(girths_m)])
    return min(equal, best, key=lambda one: _plain_minutes(_pieces(one, pull), one.length_m))


def lines_enough(strip: Strip, pull: Pull, limit_minutes: float, most: int) -> int | None:
    """Fewest lines at equal bays that fill the strip within the limit, None where `most` are not enough.

    Raises as `fill` where the head is too high, `not_positive` for the limit, as `equal_feeds` for `most`.
    """
    require_positive("limit_minutes", limit_minutes, "min")
    _require_lines("most", most)
    allowed = _plain_until(limit_minutes, pull.thickening_per_min)
    for lines in range(1, most + 1):
        if _plain_minutes(_pieces(equal_feeds(strip, lines), pull), strip.length_m) <= allowed:
            return lines
    return None


def _require_lines(field: str, lines: int) -> None:
    if require_positive(field, lines) != int(lines):
        raise InputRefused("impossible", field, lines, "give a whole number of lines")


def _fed(strip: Strip, girths_m: Sequence[float]) -> Strip:
    hoses = zip(girths_m, _hoses(strip, len(girths_m)), strict=True)
    return replace(strip, feeds=tuple(Feed(girth_m, girth_m, hose) for girth_m, hose in hoses))


def _hoses(strip: Strip, lines: int) -> list[float]:
    """Resistance of the hose of each of so many lines: as the strip has them, past its last line that one's."""
    hoses = [feed.hose_resistance_1_m3 for feed in strip.feeds]
    return [hoses[min(place, len(hoses) - 1)] for place in range(lines)]


def _resistance_1_m3(section: Section) -> float:
    return 1000 * section.length_m / (section.permeability_m2 * section.thickness_mm)


def _piece_at(pieces: Sequence[Piece], front_m: float) -> tuple[Piece, float]:
    piece = pieces[max(bisect_right(pieces, front_m, key=lambda piece: piece.start_m) - 1, 0)]
    return piece, front_m - piece.start_m


def _plain_minutes(pieces: Sequence[Piece], front_m: float) -> float:
    """Minutes at constant viscosity until the front comes to this girth."""
    piece, distance_m = _piece_at(pieces, front_m)
    return piece.minutes + piece.minutes_over(distance_m)


def _plain_until(minute: float, thickening_per_min: float) -> float:
    """Minutes at constant viscosity that do what resin that thickens has done by then; undoes `thickened_minutes`."""
    return -expm1(-thickening_per_min * minute) / thickening_per_min if thickening_per_min else minute


def _pieces(strip: Strip, pull: Pull) -> tuple[Piece, ...]:
    """Cut the strip at its joints and lines, and run the front through the pieces at constant viscosity."""
    pieces = []
    opened = {feed.opens_front_m: feed for feed in strip.feeds}
    cuts = sorted({place for feed in strip.feeds for place in (feed.girth_m, feed.opens_front_m)})
    passed: dict[float, float] = {}  # flow resistance of the laminate from the keel, at each cut
    start_m = minutes = kg = resistance = fed_from = 0.0
    pull_pa, density, viscosity_pa_min = (
        pull.driving_pressure_pa,
        pull.liquid_resin_density_kg_m3,
        pull.viscosity_pa_s / 60,
    )
    for section, section_end_m in zip(strip.sections, strip.section_ends_m, strict=True):
        volume = section.porosity * section.thickness_mm / 1000
        kg_m = density * volume
        slowness = viscosity_pa_min * volume
        resistance_per_m = 1000 / (section.permeability_m2 * section.thickness_mm)
        loss_pa_m = density * STANDARD_GRAVITY_M_S2 * section.rise_m / section.length_m
        for end_m in (*cuts[bisect_right(cuts, start_m) : bisect_left(cuts, section_end_m)], section_end_m):
            passed[start_m] = resistance
            if feed := opened.get(start_m):
                fed_from = passed[feed.girth_m] - feed.hose_resistance_1_m3
            length_m = end_m - start_m
            against = resistance - fed_from
            piece = Piece(start_m, length_m, minutes, kg, kg_m, slowness, against, resistance_per_m, pull_pa, loss_pa_m)
            pull_pa -= loss_pa_m * length_m
            if pull_pa <= 0:
                lift_m = greatest_lift_m(pull.driving_pressure_pa, density)
                accepted = f"the resin will not reach this height; this pull lifts it {lift_m:.2f} m at most"
                raise InputRefused("impossible", "rise_m", f"{section.name}, {end_m:g} m along", accepted)
            pieces.append(piece)
            minutes += piece.minutes_over(length_m)
            kg += kg_m * length_m
            resistance += resistance_per_m * length_m
            start_m = end_m
    return tuple(pieces)


def driving_pressure_pa(station_mbar: float, bag_mbar_abs: float) -> float:
    """Pressure that drives the resin at the height of the pail, in Pa: station pressure less bag pressure, both mbar.

    Station 500 to 1085 mbar. Raises `impossible` outside it or with a bag no lower than the air, `negative` for a bag
    below 0, `unit_suspect` for a bag above 300 mbar, which is usually a gauge reading.
    """
    require_between("station_mbar", station_mbar, LOWEST_STATION_MBAR, HIGHEST_STATION_MBAR, "mbar")
    require_not_negative("bag_mbar_abs", bag_mbar_abs, "mbar absolute")
    if bag_mbar_abs >= station_mbar:
        raise InputRefused("impossible", "bag_mbar_abs", bag_mbar_abs, "the bag stands no lower than the air around it")
    left_mbar = station_mbar - bag_mbar_abs
    require_absolute(bag_mbar_abs, f"give mbar absolute; a gauge that shows {bag_mbar_abs:g} leaves {left_mbar:g}")
    return 100 * left_mbar


def head_mbar(height_m: float, liquid_resin_density_kg_m3: float) -> float:
    """Pressure of a column of resin of this height in m, in mbar. Raises `negative`, `not_positive`."""
    require_not_negative("height_m", height_m, "m")
    require_positive("liquid_resin_density_kg_m3", liquid_resin_density_kg_m3, "kg/m3")
    return liquid_resin_density_kg_m3 * STANDARD_GRAVITY_M_S2 * height_m / 100


def greatest_lift_m(driving_pressure_pa: float, liquid_resin_density_kg_m3: float) -> float:
    """Height above the resin in the pail at which the pull, in Pa, is used up, in m. Raises `not_positive`."""
    require_positive("driving_pressure_pa", driving_pressure_pa, "Pa")
    require_positive("liquid_resin_density_kg_m3", liquid_resin_density_kg_m3, "kg/m3")
    return driving_pressure_pa / (liquid_resin_density_kg_m3 * STANDARD_GRAVITY_M_S2)


def hose_resistance_1_m3(hose_length_m: float, bore_mm: float, fed_width_m: float) -> float:
    """Flow resistance of a supply hose to a strip one metre wide: 128 L / (pi D^4), once for each metre of width fed.

    The width is all that draws through the hose: of both sides together where its inlet feeds both.
    Raises `not_positive`. Source: Hagen-Poiseuille, laminar flow in a round pipe.
    """
    require_positive("hose_length_m", hose_length_m, "m")
    require_positive("bore_mm", bore_mm, "mm")
    require_positive("fed_width_m", fed_width_m, "m")
    return 128 * hose_length_m * fed_width_m / (pi * (bore_mm / 1000) ** 4)


def hose_loss_mbar(
    flow_kg_min: float,
    hose_length_m: float,
    bore_mm: float,
    *,
    viscosity_pa_s: float,
    liquid_resin_density_kg_m3: float,
) -> float:
    """Pressure lost in a supply hose that carries this much resin, in mbar. Raises `negative`, `not_positive`.

    A channel that gives off its resin evenly along its length loses half of it. Source: Hagen-Poiseuille.
    """
    require_not_negative("flow_kg_min", flow_kg_min, "kg/min")
    require_positive("viscosity_pa_s", viscosity_pa_s, "Pa.s")
    require_positive("liquid_resin_density_kg_m3", liquid_resin_density_kg_m3, "kg/m3")
    flow_m3_s = flow_kg_min / 60 / liquid_resin_density_kg_m3
    return viscosity_pa_s * flow_m3_s * hose_resistance_1_m3(hose_length_m, bore_mm, 1) / 100


# ---- Closed forms of plain shapes: what `fill` is held against, and what a person can work out on paper.


def fill_constant_min_m2(
    viscosity_pa_s: float, porosity: float, permeability_m2: float, driving_pressure_pa: float
) -> float:
    """Minutes for the first metre of one even section fed from a line: viscosity porosity / (2 K pull), in min/m2.

    Raises `not_positive`, `impossible`, `unit_suspect`. Source: Darcy's law for one straight front.
    """
    require_positive("viscosity_pa_s", viscosity_pa_s, "Pa.s")
    require_fraction("porosity", porosity)
    require_permeability("permeability_m2", permeability_m2)
    require_positive("driving_pressure_pa", driving_pressure_pa, "Pa")
    return viscosity_pa_s * porosity / (2 * permeability_m2 * driving_pressure_pa) / 60


def fill_1d_minutes(constant_min_m2: float, distance_m: float) -> float:
    """Minutes to wet a level way fed from a line: c x^2. Raises `not_positive`, `negative`."""
    require_positive("constant_min_m2", constant_min_m2, "min/m2")
    return constant_min_m2 * require_not_negative("distance_m", distance_m, "m") ** 2


def front_1d_m(constant_min_m2: float, minutes: float) -> float:
    """Way wetted in these minutes: sqrt(t / c), in m; the inverse of `fill_1d_minutes`. Raises as it does."""
    require_positive("constant_min_m2", constant_min_m2, "min/m2")
    return sqrt(require_not_negative("minutes", minutes, "min") / constant_min_m2)


def fill_inclined_minutes(constant_min_m2: float, distance_m: float, lift_m: float, angle_deg: float) -> float:
    """Minutes to wet a way uphill at an angle above 0 to 90 degrees, fed at its foot.

    `lift_m` is the greatest lift of the pull. Raises `not_positive`, `impossible` for an angle or a way too high.
    """
    require_between("angle_deg", angle_deg, 0, 90, "deg")
    reach_m = lift_m / sin(radians(require_positive("angle_deg", angle_deg, "deg")))
    if distance_m >= reach_m:
        raise InputRefused("impossible", "distance_m", distance_m, f"the resin will not reach {reach_m:.2f} m uphill")
    share = distance_m / reach_m
    return 2 * fill_1d_minutes(constant_min_m2, reach_m) * (-log1p(-share) - share)


def fill_series_minutes(sections: Sequence[Section], pull: Pull, hose_resistance_1_m3: float = 0.0) -> float:
    """Minutes to wet sections one after another from one line, all level: their rise must be 0, else `impossible`.

    Raises `not_positive` for no section.
    """
    require_positive("sections", len(sections))
    minutes, resistance = 0.0, hose_resistance_1_m3
    for section in sections:
        require_between("rise_m", section.rise_m, 0, 0, "m: this form is of level sections")
        thickness_m = section.thickness_mm / 1000
        own = section.length_m / (section.permeability_m2 * thickness_m)
        held_m2 = section.porosity * thickness_m * section.length_m
        minutes += pull.viscosity_pa_s * held_m2 / pull.driving_pressure_pa / 60 * (resistance + own / 2)
        resistance += own
    return minutes


def fill_radial_minutes(constant_min_m2: float, from_radius_m: float, to_radius_m: float) -> float:
    """Minutes for a round front from one radius to another, outwards from a point inlet or inwards from a ring.

    Raises `not_positive`. Source: Darcy's law for a round front.
    """
    require_positive("constant_min_m2", constant_min_m2, "min/m2")
    start = require_positive("from_radius_m", from_radius_m, "m")
    end = require_positive("to_radius_m", to_radius_m, "m")
    return constant_min_m2 / 2 * (end**2 * (2 * log(end / start) - 1) + start**2)


def staged_minutes(constant_min_m2: float, length_m: float, lines: int, late_m: float = 0.0) -> float:
    """Minutes to wet an even level strip with lines at equal bays, each opened when the front is `late_m` past it.

    Raises `not_positive`, `negative`, and `impossible` where the front would be past the next line already, or for a
    part of a line.
    """
    _require_lines("lines", lines)
    bay_m = require_positive("length_m", length_m, "m") / lines
    require_between("late_m", late_m, 0, bay_m, "m, no more than a bay")
    return lines * fill_1d_minutes(constant_min_m2, bay_m) * (1 + 2 * (lines - 1) * late_m / length_m)


def staged_front_m(constant_min_m2: float, length_m: float, lines: int, minutes: float) -> float:
    """Where the front of such a strip is after these minutes, with each line opened as the front comes to it, in m.

    At the end of the strip once it is wet. Raises as `staged_minutes`, `negative` for the minutes.
    """
    bay_minutes = staged_minutes(constant_min_m2, length_m, lines) / lines
    bay_m = length_m / lines
    full, left = divmod(require_not_negative("minutes", minutes, "min"), bay_minutes)
    return min(full * bay_m + front_1d_m(constant_min_m2, left), length_m)


@dataclass(frozen=True)
class Bays:
    """Lengths between feed lines, keel outwards, and the minutes they take together."""

    lengths_m: tuple[float, ...]
    minutes: float


def best_bays(length_m: float, constants_min_m2: Sequence[float]) -> Bays:
    """Bays of unlike resistance that fill soonest: length x constant is the same in each. Raises `not_positive`."""
    require_positive("length_m", length_m, "m")
    easy = [1 / require_positive("constants_min_m2", constant, "min/m2") for constant in constants_min_m2]
    share = length_m / require_positive("bays", sum(easy))
    return Bays(tuple(share * one for one in easy), length_m * share)
