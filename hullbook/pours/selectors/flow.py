"""The pour plan worked out from what is in force, and handed to the tablet as it was read."""

import datetime as dt
import math
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any

from django.utils import timezone

from hullbook.calc.errors import InputRefused
from hullbook.calc.flow import (
    Feed,
    Pull,
    Section,
    driving_pressure_pa,
    greatest_lift_m,
    hose_resistance_1_m3,
    share_of_minutes,
)
from hullbook.calc.gel import GelBand
from hullbook.calc.permeability import through_permeability_m2, time_band
from hullbook.calc.pour_plan import (
    StripFilled,
    StripLaid,
    fill_together,
    height_mm_at,
    pails_for,
    planned_pails,
    stations_off,
)
from hullbook.calc.viscosity import (
    thickening_per_min,
    viscosity_curve,
    viscosity_pa_s_at,
)
from hullbook.hulls.enums import HullSide, Side
from hullbook.hulls.models import Part, Zone
from hullbook.hulls.selectors import ZoneView, lines_of, revision_in_force, schedule_view
from hullbook.materials.enums import SourceKind
from hullbook.materials.models import Material
from hullbook.materials.selectors import (
    SheetInForce,
    properties_in_force,
    properties_of,
    released_stock_by_material,
)
from hullbook.pours.enums import GaugeKind, PlanItemKind, PlanOrderKind
from hullbook.pours.models import (
    PlanArrival,
    PlanCoefficient,
    PlanFeed,
    PlanOrder,
    PlanPail,
    PlanSection,
    PlanZoneResin,
    PourPlan,
    ResinPlan,
)
from hullbook.pours.selectors.day import LayoutView, layout_in_force
from hullbook.pours.selectors.plan import BEST_FIRST, medium_of, plan_in_force, sheet_laid
from hullbook.pours.selectors.pour_plan import (
    LAG_WORDS,
    THROUGH_WORDS,
    PourPlanView,
    StripOfPlan,
    limit,
    pour_plan_in_force,
    pour_plan_view,
    styrene_of,
)
from hullbook.pours.selectors.tried import (
    MEDIUM_WANTS,
    MM,
    UM2_PER_M2,
    VISCOSITY_POINTS,
    StackKind,
    known_gel,
    panel_kind,
    stack_kind,
    stack_way,
    trial_for,
    viscosity_points,
)
from hullbook.quantities import tables
from hullbook.quantities.showing import show, show_number
from hullbook.records.models import EntryRow
from hullbook.records.services import Refused

SHORTEST_MM = 1.0
"""A stretch shorter than this at either end of a strip goes with its neighbour."""
ON_THE_ZONE = frozenset({PlanItemKind.LAMINATE, PlanItemKind.CORE, PlanItemKind.MEDIUM, PlanItemKind.PEEL_PLY})
IN_THE_LINES = frozenset({PlanItemKind.CHANNELS, PlanItemKind.HOSES})
PAST_THE_FLANGE = frozenset({PlanItemKind.BRAKE, PlanItemKind.TRAP})


@dataclass(frozen=True, kw_only=True)
class PourPlanInputs:
    """What a pour plan needs beyond what is in force: the day, the dose, the bag, the crew."""

    dose_phr: float
    coldest_c: float
    hottest_c: float
    station_pressure_mbar: float
    gauge_kind: GaugeKind
    gauge_mbar: float
    pail_below_keel_mm: float
    medium_to_mm: float
    hose_length_m: float
    fed_length_m: float
    handling_min: float
    mixing_min: float
    doubling_min: float | None
    source: str
    places: tuple[tuple[str, str], ...] = ()
    stops: tuple[str, ...] = ()
    read_to: tuple[str, ...] = ()

    @property
    def bag_pressure_mbar_abs(self) -> float:
        """By the gauge and the barometer. Raises as `GaugeKind.absolute_mbar`."""
        return self.gauge_kind.absolute_mbar(self.gauge_mbar, self.station_pressure_mbar)

    def figures(self) -> Iterator[tuple[str, float, str]]:
        """Words, value and unit of each figure keyed."""
        yield "dose", self.dose_phr, "phr"
        yield "coldest expected", self.coldest_c, "degC"
        yield "hottest expected", self.hottest_c, "degC"
        yield "air pressure at the shop", self.station_pressure_mbar, "mbar"
        yield f"gauge on the bag, {self.gauge_kind.label}", self.gauge_mbar, "mbar"
        if self.gauge_kind != GaugeKind.ABSOLUTE:
            yield "bag pressure, absolute", self.bag_pressure_mbar_abs, "mbar"
        yield "resin in the pail below the keel", self.pail_below_keel_mm, "mm"
        yield "flow medium ends, from the keel", self.medium_to_mm, "mm"
        yield "supply hose of one inlet", self.hose_length_m, "m"
        yield "fed by one inlet, along the hull", self.fed_length_m, "m"
        yield "from the dose weighed to the inlet opened", self.handling_min, "min"
        yield "to mix and carry one pail", self.mixing_min, "min"
        if self.doubling_min is not None:
            yield "viscosity doubles in", self.doubling_min, "min"


@dataclass(frozen=True)
class Lacking:
    """What a pour plan cannot do without, and the page where it is given."""

    words: str
    route: str
    args: tuple[str, ...]


def what_a_pour_plan_lacks(part: Part) -> list[Lacking]:
    """Everything that must be there before a pour plan can be worked out; empty where all is."""
    here = (part.hull.number, part.name)
    lacking = []
    plan, layout = plan_in_force(part), layout_in_force(part)
    if plan is None:
        lacking.append(Lacking("No resin plan is set: it says how much resin goes where.", "pours:plan-set", here))
    if layout is None:
        words = "No feed lines are logged: draw the first line, with its inlet and the stations."
        lacking.append(Lacking(words, "pours:layout-log", here))
    else:
        lacking += [Lacking(words, "pours:layout-log", here) for words in _lines_that_do_not_begin_at_the_keel(layout)]
    if plan is None:
        return lacking
    resin = properties_in_force([plan.system.resin])[plan.system.resin_id]
    if len(viscosity_points(resin)) < 2:
        words = f"Not in the sheet of {resin.material.code}: its viscosity at two temperatures."
        lacking.append(Lacking(words, "materials:sheet-revise", (resin.material.code,)))
    if not plan.system.gel_times.exists():
        words = f"{plan.system.code} has no gel table: enter the system with the maker's table."
        lacking.append(Lacking(words, "materials:system-add", ()))
    for material, labels in _missing_in_sheets(plan):
        words = f"Not in the sheet of {material.code}: its {', its '.join(labels)}."
        lacking.append(Lacking(words, "materials:sheet-revise", (material.code,)))
    return lacking


def _lines_that_do_not_begin_at_the_keel(layout: LayoutView) -> Iterator[str]:
    """A strip is worked out from the keel outwards: sentences that name what begins elsewhere, or not at all."""
    first = [line for line in layout.lines if line.opens_after is None]
    for line in first:
        if line.girth_mm > 0:
            yield (
                f"Feed line {line.number} ({line.name}) is opened at the start {line.girth_mm:g} mm from the keel: "
                "resin would run both ways from it, which no plan works out. Lay it at the keel, 0 mm, or say whose "
                "front opens it."
            )
    for side in HullSide:
        if not any(line.side in (Side.BOTH, side) for line in first):
            yield f"No feed line is opened at the start on {side}: give one at the keel, 0 mm."


def _missing_in_sheets(plan: ResinPlan) -> Iterator[tuple[Material, list[str]]]:
    """What the cloths and the flow medium are to be known by, and are not, by its label."""
    zones, medium = schedule_view(plan.revision).zones, medium_of(plan)
    wanted: dict[Material, tuple[SheetInForce, tuple[str, ...]]]
    wanted = {line.line.material: (line.sheet, ("permeability_um2",)) for zone in zones for line in zone.plies}
    if medium is not None:
        wanted[medium.material] = (medium, MEDIUM_WANTS)
    for material, (sheet, names) in wanted.items():
        if labels := [properties_of(material.kind)[name].label for name in names if name not in sheet.values]:
            yield material, labels


# ---- Working it out


def worked_out_pour_plan(part: Part, inputs: PourPlanInputs, on: dt.date) -> PourPlanView:
    """Work a pour plan out from what is in force, for the day it is read on.

    Refused with all that is missing, with a dose outside the maker's limits, and where a sum refuses.
    """
    if lacking := what_a_pour_plan_lacks(part):
        raise Refused(" ".join(one.words for one in lacking))
    resin_plan, layout, revision = plan_in_force(part), layout_in_force(part), revision_in_force(part)
    if resin_plan is None or layout is None or revision is None or revision.pk != resin_plan.revision_id:
        raise Refused("The resin plan in force was made for another revision of the schedule; set it anew first.")
    system, dose_phr = resin_plan.system, inputs.dose_phr
    if not system.dose_low_phr <= dose_phr <= system.dose_high_phr:
        limits = f"{show_number(system.dose_low_phr, 'phr')} to {show(system.dose_high_phr, 'phr')}"
        raise Refused({"dose_phr": f"{show(dose_phr, 'phr')} is not accepted; the maker's limits are {limits}."})
    try:
        return _Working(part, resin_plan, layout, inputs, on).view()
    except InputRefused as refused:
        raise Refused({_field_of(refused.field): f"{refused}."}) from refused


def _field_of(field_name: str) -> str:
    return {
        "station_mbar": "station_pressure_mbar",
        "bag_mbar_abs": "gauge_mbar",
        "gauge_mbar_below": "gauge_mbar",
    }.get(field_name, field_name)


class _Working:
    """One pour plan in the making."""

    def __init__(
        self, part: Part, resin_plan: ResinPlan, layout: LayoutView, inputs: PourPlanInputs, on: dt.date
    ) -> None:
        self.part, self.resin_plan, self.layout, self.inputs, self.on = part, resin_plan, layout, inputs, on
        self.system = resin_plan.system
        self.trial = trial_for(resin_plan)
        resin_sheet = properties_in_force([self.system.resin])[self.system.resin_id]
        self.resin_sheet = resin_sheet
        self.density = resin_sheet.values["liquid_density_kg_m3"].value
        self.zones = schedule_view(resin_plan.revision, resin_sheet.values.get("cured_density_kg_m3")).zones
        self.medium, self.peel_ply = medium_of(resin_plan), sheet_laid(resin_plan, "peel_ply_coverage_m2")
        self.ways = {zone.zone.pk: stack_way(zone, self.medium, self.peel_ply) for zone in self.zones if zone.plies}
        self.tried = set() if self.trial is None else set(self._tried_sections(panel_kind(self.trial)))
        self.own = {one.name: one for one in resin_plan.inputs.all()}
        self.heights = _heights(part)

    def view(self) -> PourPlanView:
        resin_rows = list(self._resin_rows())
        plan = self._plan()
        rows: list[EntryRow] = []
        for strip in self.strips:
            rows += _strip_rows(strip)
        rows += resin_rows
        view = PourPlanView(plan, tuple(rows))
        pail_kg = self.own["pail_kg"].value
        outside_kg = self._item_kg(PlanItemKind.CUPS, PlanItemKind.PAIL_FILM)
        given_kg = pail_kg - outside_kg / pails_for(self.resin_plan.likely_kg, pail_kg)
        pails = planned_pails(
            self.strips,
            view.resin,
            pail_kg=given_kg,
            mixing_min=self.inputs.mixing_min,
            handling_min=self.inputs.handling_min,
        )
        rows += [PlanPail(**asdict(one)) for one in pails]
        rows += self._coefficients()
        rows += [PlanOrder(kind=PlanOrderKind.PLACE, who=who, words=words) for who, words in self.inputs.places]
        rows += [PlanOrder(kind=PlanOrderKind.STOP, words=words) for words in self.inputs.stops]
        rows += [PlanOrder(kind=PlanOrderKind.READ_TO, who=who) for who in self.inputs.read_to]
        for row in rows:
            row.plan = plan  # type: ignore[attr-defined]
        return PourPlanView(plan, tuple(rows))

    @cached_property
    def pull(self) -> Pull:
        """At the middle of the coldest and the hottest expected, less the height of the keel over the pail."""
        inputs = self.inputs
        full = driving_pressure_pa(inputs.station_pressure_mbar, inputs.bag_pressure_mbar_abs)
        lift_m = greatest_lift_m(full, self.density)
        below_m = inputs.pail_below_keel_mm / MM
        if below_m >= lift_m:
            accepted = f"this pull lifts resin {lift_m:.2f} m at most"
            raise InputRefused("impossible", "pail_below_keel_mm", f"{below_m:g} m", accepted)
        pull = full * (1 - below_m / lift_m)
        middle_c = (inputs.coldest_c + inputs.hottest_c) / 2
        curve = viscosity_curve(viscosity_points(self.resin_sheet))
        thickening = 0.0 if inputs.doubling_min is None else thickening_per_min(inputs.doubling_min)
        # It thickens from the dose on, not only from the inlet.
        viscosity = viscosity_pa_s_at(curve, middle_c) * math.exp(thickening * inputs.handling_min)
        return Pull(pull, viscosity, self.density, thickening)

    @property
    def factor(self) -> float:
        """What the trial panel gave over what its sheets make of the same lay-up."""
        return 1.0 if self.trial is None else self.trial.permeability_um2 / self.trial.by_sheets_um2

    def _tried_sections(self, panel: StackKind) -> Iterator[str]:
        for zone in self.zones:
            bare = stack_kind((line.line.material for line in zone.lines), None)
            covered = bare if self.medium is None else replace(bare, medium=self.medium.material.pk)
            for kind, is_covered in ((covered, True), (bare, False)):
                if kind.is_tried_by(panel):
                    yield self._section_name(zone.zone, is_covered=is_covered)

    def _section_name(self, zone: Zone, *, is_covered: bool) -> str:
        return zone.name if is_covered or self.medium is None else f"{zone.name}, no flow medium"

    @cached_property
    def strips(self) -> tuple[StripFilled, ...]:
        return fill_together(tuple(self._laid()), self.pull)

    @cached_property
    def by_sheets(self) -> set[str]:
        """Sections of which the trial panel says nothing."""
        return {one.name for strip in self.strips for one in strip.strip.sections} - self.tried

    @cached_property
    def share_by_sheets(self) -> float:
        """What share of the slowest fill those take."""
        slowest = max(self.strips, key=lambda one: one.fill.fill_minutes)
        return share_of_minutes(slowest.strip, self.pull, self.by_sheets)

    # ---- Strips

    def _laid(self) -> Iterator[StripLaid]:
        for station in self.layout.stations:
            for side in HullSide:
                sections = tuple(self._sections(station.name, side, station.girth_mm))
                lines = tuple(self._feeds(side, station.girth_mm))
                yield StripLaid(station.name, side, sections, lines)

    def _sections(self, station: str, side: HullSide, girth_mm: float) -> Iterator[Section]:
        zones = [zone for zone in self.zones if _is_there(zone.zone, station, side)]
        kinks = self.heights.get(station, ())
        ends = {end for zone in zones for end in (zone.zone.girth_from_mm, zone.zone.girth_to_mm)}
        ends |= {at for at, _ in kinks} | ({self.inputs.medium_to_mm} if self.medium else set())
        cuts = [0.0, *sorted(end for end in ends if SHORTEST_MM < end < girth_mm - SHORTEST_MM), girth_mm]
        for start, end in zip(cuts, cuts[1:], strict=False):
            zone = _zone_over(zones, (start + end) / 2)
            if zone is None:
                place = f"station {station} {side}, {start:g} to {end:g} mm from the keel"
                raise Refused(f"No zone of the schedule with plies lies at {place}.")
            way = self.ways[zone.zone.pk]
            is_covered = way.medium is not None and end <= self.inputs.medium_to_mm
            layer = way.layer if is_covered else way.laminate
            name = self._section_name(zone.zone, is_covered=is_covered)
            rise_m = (height_mm_at(kinks, end) - height_mm_at(kinks, start)) / MM
            length_m = (end - start) / MM
            yield Section(
                name=name,
                length_m=length_m,
                thickness_mm=layer.thickness_mm,
                porosity=layer.porosity,
                permeability_m2=layer.permeability_m2 * (self.factor if name in self.tried else 1.0),
                rise_m=min(max(rise_m, -length_m), length_m),
            )

    def _feeds(self, side: HullSide, girth_mm: float) -> Iterator[tuple[int, Feed]]:
        hose_length_m, bore_mm = self.inputs.hose_length_m, self.own["hose_bore_mm"].value
        lines = [line for line in self.layout.lines if line.side in (Side.BOTH, side) and line.girth_mm < girth_mm]
        for line in sorted(lines, key=lambda one: one.girth_mm):
            opens_mm = 0.0 if line.opens_after is None else max(line.opens_front_mm or 0.0, line.girth_mm)
            if opens_mm < girth_mm:
                fed_m = self.inputs.fed_length_m * self.layout.sides_of_an_inlet(line)
                resistance = hose_resistance_1_m3(hose_length_m, bore_mm, fed_m)
                yield line.number, Feed(line.girth_mm / MM, opens_mm / MM, resistance)

    # ---- Resin, and the plan itself

    def _item_kg(self, *kinds: PlanItemKind) -> float:
        return sum(item.likely_kg for item in self.resin_plan.items.all() if item.kind in kinds)

    def _resin_rows(self) -> Iterator[PlanZoneResin]:
        area_m2 = sum(zone.zone.area_m2 for zone in self.zones)
        over_all_kg = self._item_kg(PlanItemKind.MEDIUM, PlanItemKind.PEEL_PLY)
        items = [item for item in self.resin_plan.items.all() if item.zone_name]
        for zone in (view.zone for view in self.zones):
            kg = sum(item.likely_kg for item in items if item.zone_name == zone.name)
            kg += over_all_kg * zone.area_m2 / area_m2
            sides = list(HullSide) if zone.side == Side.BOTH else [HullSide(zone.side)]
            for side in sides:
                yield PlanZoneResin(
                    name=zone.name,
                    side=side,
                    from_mm=zone.girth_from_mm,
                    to_mm=zone.girth_to_mm,
                    kg=kg / len(sides),
                )
        lines_kg = self._item_kg(*IN_THE_LINES)
        for line in self.layout.lines:
            name = f"feed line {line.number}"
            yield PlanZoneResin(name=name, line_number=line.number, kg=lines_kg / len(self.layout.lines))

    def _plan(self) -> PourPlan:
        inputs, pull = self.inputs, self.pull
        gel, words = self._gel()
        share = None if self.trial is None else self.trial.relative_sd
        without = tables.bands("flow")["fill_time_without_trial"]
        low, high = time_band(share, (without.low, without.high), self.share_by_sheets)
        end_kg = self._item_kg(*PAST_THE_FLANGE)
        return PourPlan(
            part=self.part,
            number=PourPlan.objects.filter(part=self.part).count() + 1,
            resin_plan=self.resin_plan,
            layout=self.layout.layout,
            trial=self.trial,
            dose_phr=inputs.dose_phr,
            coldest_c=inputs.coldest_c,
            hottest_c=inputs.hottest_c,
            station_pressure_mbar=inputs.station_pressure_mbar,
            bag_pressure_mbar_abs=inputs.bag_pressure_mbar_abs,
            pail_below_keel_mm=inputs.pail_below_keel_mm,
            medium_to_mm=inputs.medium_to_mm,
            hose_length_m=inputs.hose_length_m,
            fed_length_m=inputs.fed_length_m,
            handling_min=inputs.handling_min,
            mixing_min=inputs.mixing_min,
            driving_pressure_pa=pull.driving_pressure_pa,
            viscosity_pa_s=pull.viscosity_pa_s,
            liquid_resin_density_kg_m3=pull.liquid_resin_density_kg_m3,
            thickening_per_min=pull.thickening_per_min,
            band_low=low,
            band_high=high,
            fill_min=max(one.fill.fill_minutes for one in self.strips),
            lag_m=self._lag_m(),
            gel_low_min=gel.low if gel else None,
            gel_mid_min=gel.mid if gel else None,
            gel_high_min=gel.high if gel else None,
            gel_words=words,
            pail_kg=self.own["pail_kg"].value,
            heel_kg=self._item_kg(PlanItemKind.HEEL),
            end_kg=end_kg,
            total_kg=self._item_kg(*ON_THE_ZONE, *IN_THE_LINES) + end_kg,
            tables_digest=tables.digest(),
        )

    def _lag_m(self) -> float | None:
        """The longest of any zone under flow medium; None without medium, or where a sheet does not give it."""
        lags = [way.lag_m for way in self.ways.values() if way.medium is not None]
        return None if None in lags else max((lag for lag in lags if lag is not None), default=None)

    def _gel(self) -> tuple[GelBand | None, str]:
        """At the hottest expected and what it rests on; else why it is not known."""
        known = known_gel(self.system, self.on)
        if isinstance(known, str):
            return None, known
        try:
            return known.at(self.inputs.dose_phr, self.inputs.hottest_c), known.words
        except InputRefused as refused:
            return None, f"not known: {refused.accepted}"

    def _coefficients(self) -> Iterator[PlanCoefficient]:
        for words, value, unit in self.inputs.figures():
            yield PlanCoefficient(
                words=words, value=value, unit=unit, source_kind=SourceKind.YARD, source=self.inputs.source
            )
        used = {
            (material.pk, name): (material, name, known)
            for way in self.ways.values()
            for material, name, known in way.used
        }
        resin = self.resin_sheet
        for viscosity, at in VISCOSITY_POINTS:
            if viscosity in resin.values and at in resin.values:
                used |= {
                    (resin.material.pk, name): (resin.material, name, resin.values[name]) for name in (viscosity, at)
                }
        name = "liquid_density_kg_m3"
        used[resin.material.pk, name] = (resin.material, name, resin.values[name])
        for material, name, known in used.values():
            its = properties_of(material.kind)[name]
            yield PlanCoefficient(
                words=its.label,
                material=material,
                value=known.value,
                unit=its.unit,
                source_kind=known.source_kind,
                source=known.source,
            )
        yield from self._under_medium()
        yield from self._tried()

    def _under_medium(self) -> Iterator[PlanCoefficient]:
        for zone in self.zones:
            way = self.ways.get(zone.zone.pk)
            if way is None or way.lag_m is None:
                continue
            kinds = [known.source_kind for _, name, known in way.used if name == "permeability_through_um2"]
            through_um2, source = (
                UM2_PER_M2 * through_permeability_m2(way.crossed),
                "plies and peel ply by their sheets",
            )
            for words, value, unit, how in (
                (THROUGH_WORDS, through_um2, "um2", "crossed one after another"),
                (LAG_WORDS, MM * way.lag_m, "mm", "an upper estimate"),
            ):
                yield PlanCoefficient(
                    words=f"{words}{zone.zone.name}",
                    value=value,
                    unit=unit,
                    source_kind=max(kinds, key=BEST_FIRST.index),
                    source=f"{source}, {how}",
                )

    def _tried(self) -> Iterator[PlanCoefficient]:
        if self.trial is None:
            return
        where = "under the same medium, on the same core, of cloths it had"
        yield PlanCoefficient(
            words="permeability of the trial panel over that by the sheets",
            value=self.factor,
            unit="ratio",
            source_kind=SourceKind.YARD,
            source=f"{self.trial}, entry {self.trial.pk}; taken for what is laid {where}",
        )
        others = "; ".join(sorted(self.by_sheets))
        yield PlanCoefficient(
            words="share of the slowest fill that goes by sheets, not by the trial panel",
            value=100 * self.share_by_sheets,
            unit="%",
            source_kind=SourceKind.YARD,
            source=f"not laid as the panel: {others}"[:300] if others else "everything is laid as the panel",
        )


def _is_there(zone: Zone, station: str, side: HullSide) -> bool:
    return zone.side in (Side.BOTH, side) and stations_off(station, zone.station_from, zone.station_to) == 0


def _zone_over(zones: Iterable[ZoneView], girth_mm: float) -> ZoneView | None:
    """The first zone with plies there; past the end of all of them, up to the flange, the last goes on."""
    with_plies = [zone for zone in zones if zone.plies]
    for zone in with_plies:
        if zone.zone.girth_from_mm <= girth_mm <= zone.zone.girth_to_mm:
            return zone
    last = max(with_plies, key=lambda zone: zone.zone.girth_to_mm, default=None)
    return last if last is not None and last.zone.girth_to_mm < girth_mm else None


def _heights(part: Part) -> dict[str, tuple[tuple[float, float], ...]]:
    """By station: girth and height of each line of the hull, mm; empty while the model has no lines."""
    lines = lines_of(part.hull.boat_model)
    if lines is None:
        return {}
    return {
        section.station: tuple((section.girth_to(point.line), point.height_mm) for point in section.points)
        for section in lines.sections
    }


def _strip_rows(strip: StripFilled) -> Iterator[EntryRow]:
    where = {"station": strip.station, "side": strip.side}
    for section in strip.strip.sections:
        yield PlanSection(
            **where,
            name=section.name,
            length_m=section.length_m,
            thickness_mm=section.thickness_mm,
            porosity=section.porosity,
            permeability_um2=section.permeability_m2 * UM2_PER_M2,
            rise_m=section.rise_m,
        )
    for number, feed, opening in zip(strip.line_numbers, strip.strip.feeds, strip.fill.openings, strict=True):
        yield PlanFeed(
            **where,
            line_number=number,
            girth_m=feed.girth_m,
            opens_front_m=feed.opens_front_m,
            hose_resistance_1_m3=feed.hose_resistance_1_m3,
            minute=opening.minute,
        )
    for number, feed in zip(strip.line_numbers, strip.strip.feeds, strict=True):
        if feed.girth_m > 0:
            minute = strip.fill.minute_at(feed.girth_m)
            yield PlanArrival(**where, girth_mm=MM * feed.girth_m, at=f"feed line {number}", minute=minute)
    yield PlanArrival(**where, girth_mm=strip.length_mm, at="flange", minute=strip.fill.fill_minutes)


# ---- For the tablet


def pour_plan_sheet(part: Part, now: dt.datetime) -> dict[str, Any] | None:
    """The pour plan in force as the tablet works with it; None while none was read."""
    plan = pour_plan_in_force(part)
    if plan is None:
        return None
    view = pour_plan_view(plan)
    released = released_stock_by_material(timezone.localdate(now))
    return {
        "number": plan.number,
        "read_at": plan.entry.happened_at.astimezone(dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z"),
        "read_by": plan.entry.person,
        "entry": plan.pk,
        "strips": [_strip_data(strip) for strip in view.strips],
        "pull": {
            "driving_pressure_pa": plan.driving_pressure_pa,
            "viscosity_pa_s": plan.viscosity_pa_s,
            "liquid_resin_density_kg_m3": plan.liquid_resin_density_kg_m3,
            "thickening_per_min": plan.thickening_per_min,
        },
        "time_band": [plan.band_low, plan.band_high],
        "gel": {
            "low_min": plan.gel_low_min,
            "mid_min": plan.gel_mid_min,
            "high_min": plan.gel_high_min,
            "dose_phr": plan.dose_phr,
            "hottest_c": plan.hottest_c,
            "coldest_c": plan.coldest_c,
        },
        "handling_min": plan.handling_min,
        "mixing_min": plan.mixing_min,
        "pail_kg": plan.pail_kg,
        "heel_kg": plan.heel_kg,
        "released_kg": released.get(view.system.resin_id, 0.0),
        "kg": {
            "zones": [
                {
                    "name": zone.name,
                    "side": zone.side,
                    "from_mm": zone.from_mm,
                    "to_mm": zone.to_mm,
                    "stations": zone.seen_at([one.station for one in view.strips]),
                    "kg": zone.kg,
                }
                for zone in view.resin.zones
            ],
            "lines": [{"line": number, "kg": kg} for number, kg in view.resin.lines.items()],
            "end_kg": plan.end_kg,
            "total_kg": plan.total_kg,
        },
        "forecast": {
            "sd_hull": limit("sd_hull"),
            "sd_reading": limit("sd_reading"),
            "sd_local": limit("sd_local"),
            "sd_pace": limit("sd_pace"),
            "k": _enough_k(plan.resin_plan),
            "from_share": limit("from_share_fraction"),
        },
        "styrene": None if (styrene := styrene_of(view.system)) is None else styrene.given(),
        "late_share": limit("late_share_fraction"),
        "mix_by": [{"pail": pail.number, "minute": pail.mix_by_min} for pail in view.pails],
    }


def _strip_data(strip: StripOfPlan) -> dict[str, Any]:
    made = strip.filled.strip
    return {
        "station": strip.station,
        "side": strip.side,
        "sections": [
            {
                "name": one.name,
                "length_m": one.length_m,
                "thickness_mm": one.thickness_mm,
                "porosity": one.porosity,
                "permeability_m2": one.permeability_m2,
                "rise_m": one.rise_m,
            }
            for one in made.sections
        ],
        "feeds": [
            {
                "line": number,
                "girth_m": feed.girth_m,
                "opens_front_m": feed.opens_front_m,
                "hose_resistance_1_m3": feed.hose_resistance_1_m3,
            }
            for number, feed in zip(strip.filled.line_numbers, made.feeds, strict=True)
        ],
    }


def _enough_k(plan: ResinPlan) -> float:
    """How many deviations the resin plan's two costs ask for."""
    return (plan.upper_kg - plan.mean_kg) / plan.sd_kg if plan.sd_kg else 0.0
