"""What the pages of plan and hold test show as drawings."""

from collections.abc import Sequence
from typing import cast

from hullbook.calc.flow import driving_pressure_pa, fill_constant_min_m2, front_1d_m
from hullbook.drawings.axes import round_step
from hullbook.drawings.half_girth import (
    Arrival,
    FeedLine,
    GirthStation,
    GirthZone,
    Side,
    Sides,
    arrivals_on_half_girth,
    half_girth,
    zones_on_half_girth,
)
from hullbook.drawings.planned_used import PlannedUsed, planned_used
from hullbook.drawings.scene import Scene
from hullbook.drawings.series_plot import Limit, Series, series_plot
from hullbook.drawings.time_bar import PailBar, Step, time_bar
from hullbook.hulls.selectors import lines_of, widest_half_girth
from hullbook.pours.models import TrialPanel
from hullbook.pours.selectors.day import LayoutView
from hullbook.pours.selectors.hold import HoldTestView
from hullbook.pours.selectors.plan import WorkedOutPlan
from hullbook.pours.selectors.pour_plan import PourPlanView
from hullbook.pours.selectors.tried import MM, UM2_PER_M2

CONTOURS = 8


def plan_on_the_girth(view: WorkedOutPlan) -> Scene:
    """Each zone where it lies, as high as its resin by area, laminate and core together."""
    resin = {one.name: one.likely_kg_m2 for one in view.zones}
    zones = [
        GirthZone(zone.name, zone.girth_from_mm, zone.girth_to_mm, resin.get(zone.name), cast(Sides, zone.side))
        for zone in view.plan.revision.zones.order_by("position")
    ]
    widest = widest_half_girth(lines_of(view.plan.revision.boat_model))
    return zones_on_half_girth(
        zones,
        title="Resin in laminate and core, by zone",
        landmarks=widest.landmarks if widest else (),
        flange_mm=widest.flange_mm if widest else None,
    )


def ground_of_the_pour(layout: LayoutView, known: Sequence[GirthStation]) -> Scene:
    """The half-girth with what is laid, all of it dry: the page of the day draws the front over it.

    Places that people know, as the chine, are those of the boat's lines at the same station.
    """
    landmarks = {station.name: station.landmarks for station in known}
    stations = [
        GirthStation(station.name, station.girth_mm, landmarks.get(station.name, ())) for station in layout.stations
    ]
    lines = [FeedLine(line.number, line.girth_mm, cast(Sides, line.side)) for line in layout.lines]
    return half_girth(stations, title="The front, keel to flange", feed_lines=lines, width=760.0, row=30.0)


def pour_plan_on_the_girth(view: PourPlanView) -> Scene:
    """Where the front is to be, every so many minutes, at each station told."""
    layout = view.plan.layout
    stations = [GirthStation(one.name, one.girth_mm) for one in layout.stations.all()]
    lines = [FeedLine(line.number, line.girth_mm, cast(Sides, line.side)) for line in layout.lines.all()]
    step = round_step(view.plan.fill_min, CONTOURS)
    arrivals = []
    for strip in view.strips:
        side = cast(Side, strip.side)
        minutes = [step * n for n in range(1, int(strip.fill.fill_minutes / step) + 1)]
        arrivals += [Arrival(strip.station, side, strip.filled.front_mm_at(minute), minute) for minute in minutes]
        arrivals.append(Arrival(strip.station, side, strip.filled.length_mm, strip.fill.fill_minutes))
    return arrivals_on_half_girth(stations, arrivals, title="The front by the plan, minutes", feed_lines=lines)


def pour_plan_bar(view: PourPlanView) -> Scene:
    """Pails from mixed to gel, and feed lines as they open."""
    gel = view.plan.gel_low_min
    pails = [
        PailBar(one.number, one.mix_by_min, one.on_min, one.empty_min, None if gel is None else one.mix_by_min + gel)
        for one in view.pails
    ]
    steps = [Step(f"line {one.line.number}", one.minute) for one in view.openings]
    return time_bar(pails, steps, view.plan.fill_min, title="Pails and feed lines by the plan")


def panel_plot(panel: TrialPanel) -> Scene:
    """The front of a trial panel as read, and by the permeability fitted to it."""
    read = [(row.minute, row.front_mm) for row in panel.readings.all()]
    last = read[-1][0]
    constant = fill_constant_min_m2(
        panel.viscosity_pa_s,
        panel.porosity,
        panel.permeability_um2 / UM2_PER_M2,
        driving_pressure_pa(panel.station_pressure_mbar, panel.bag_pressure_mbar_abs),
    )
    minutes = [last * n / 40 for n in range(41)]
    fitted = [(minute, MM * front_1d_m(constant, minute)) for minute in minutes]
    return series_plot(
        [Series("read", read, drawn="points"), Series("fitted", fitted, drawn="planned")],
        x_label="minutes since the first resin in the panel",
        y_label="front, mm from the inlet",
        title=f"Trial panel, entry {panel.pk}",
    )


def plan_by_purpose(view: WorkedOutPlan, mixed_kg: float | None = None) -> Scene:
    """Every purpose with its band, and the whole against what was mixed."""
    rows = [PlannedUsed(one.name, one.low_kg, one.expected_kg, one.high_kg) for one in view.purposes]
    plan = view.plan
    rows.append(PlannedUsed("in all", plan.low_kg, plan.mean_kg, plan.high_kg, mixed_kg))
    return planned_used(rows, unit="kg", title="Resin by purpose")


def one_hold_test_plot(view: HoldTestView) -> Scene:
    """Readings of one test, the line through them, and the pressure the limit allows at its end."""
    series = [Series(f"test {view.test.number}", _points(view), drawn="points")]
    if view.rise is not None:
        ends = (view.readings[0].minute, view.readings[-1].minute)
        fit = [(minute, view.rise.intercept_mbar + view.rise.rate_mbar_min * minute) for minute in ends]
        series.append(Series("fit", fit, drawn="planned"))
    return series_plot(
        series,
        x_label="minutes since the bag was isolated",
        y_label="bag pressure, mbar absolute",
        title=f"Hold test {view.test.number}",
        limits=_limits(view),
    )


def hold_tests_plot(views: Sequence[HoldTestView]) -> Scene:
    """The tests of a part in one frame; of many, the last four."""
    shown = list(views)[-4:]
    return series_plot(
        [Series(f"test {view.test.number}", _points(view)) for view in shown],
        x_label="minutes since the bag was isolated",
        y_label="bag pressure, mbar absolute",
        title="Hold tests",
    )


def _points(view: HoldTestView) -> list[tuple[float, float | None]]:
    return [
        (reading.minute, pressure) for reading, pressure in zip(view.readings, view.corrected_mbar_abs, strict=True)
    ]


def _limits(view: HoldTestView) -> list[Limit]:
    judgement = view.judgement
    if judgement is None or judgement.high is None:
        return []
    start = view.rise.intercept_mbar if view.rise else view.corrected_mbar_abs[0]
    return [Limit(start + judgement.high, f"+{judgement.high:g} mbar")]
