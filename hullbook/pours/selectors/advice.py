"""What the figures of a pour plan say beyond the plan: spacing of lines, the dose of the day, boiling, lag, hose."""

from collections.abc import Callable
from dataclasses import dataclass

from hullbook.calc.dose import SecondPart, catalyst_grams
from hullbook.calc.errors import InputRefused
from hullbook.calc.exotherm import adiabatic_rise_k
from hullbook.calc.flow import (
    Pull,
    Section,
    Strip,
    best_feeds,
    equal_feeds,
    fill,
    hose_shares,
    lines_enough,
)
from hullbook.calc.gel import DoseWindow, dose_window
from hullbook.calc.pour_plan import StripFilled, medium_bays
from hullbook.calc.styrene import judge_boil_margin
from hullbook.calc.verdict import Verdict, no_verdict
from hullbook.pours.models import (
    PourPlan,
)
from hullbook.pours.selectors.plan import medium_of, second_part
from hullbook.pours.selectors.pour_plan import (
    PourPlanView,
    limit,
    styrene_of,
)
from hullbook.pours.selectors.tried import (
    MM,
    KnownGel,
    known_gel,
)
from hullbook.quantities import tables

MOST_LINES = 8


@dataclass(frozen=True)
class Spacing:
    """Feed lines along the slowest strip by one rule: where they lie, and how long the fill takes."""

    words: str
    girths_mm: tuple[float, ...]
    minutes: float


@dataclass(frozen=True)
class DoseWindowView:
    """The doses of the day, in grams on a pail of the plan."""

    window: DoseWindow
    known: KnownGel
    plan: PourPlan
    second: SecondPart
    latest_min: float

    def _grams(self, dose_phr: float) -> float:
        return catalyst_grams(self.plan.pail_kg, dose_phr, self.second)

    @property
    def low_g(self) -> float:
        return self._grams(self.window.low_phr)

    @property
    def high_g(self) -> float:
        return self._grams(self.window.high_phr)

    @property
    def is_planned_inside(self) -> bool:
        return self.window.low_phr <= self.plan.dose_phr <= self.window.high_phr


@dataclass(frozen=True)
class PourPlanAdvice:
    """What the plan's figures say beyond the plan: line spacing, lines enough, hose, lag of the medium."""

    spacings: tuple[Spacing, ...]
    limit_min: float | None
    lines_enough: int | None
    hose_words: str
    lag_words: str
    medium_words: str
    window: DoseWindowView | str
    boil: Verdict | None
    thick_words: str
    warms_by_k: float


def pour_plan_advice(view: PourPlanView) -> PourPlanAdvice:
    """Worked out anew from the plan's own figures."""
    plan, strip = view.plan, view.slowest.filled.strip
    lines = len(strip.feeds)
    limit_min = (
        None
        if plan.gel_low_min is None
        else max(0.0, limit("gel_share_fraction") * (plan.gel_low_min - plan.handling_min))
    )
    spacings = (
        _spacing("as laid", lambda: strip, view.pull),
        _spacing("evenly spaced", lambda: equal_feeds(strip, lines), view.pull),
        _spacing("best places", lambda: best_feeds(strip, view.pull, lines), view.pull),
    )
    return PourPlanAdvice(
        spacings=tuple(one for one in spacings if one is not None),
        limit_min=limit_min,
        lines_enough=None if not limit_min else lines_enough(strip, view.pull, limit_min, MOST_LINES),
        hose_words=_hose_words(view.slowest.filled),
        lag_words=_lag_words(view),
        medium_words=_medium_words(view),
        window=_dose_window(view),
        boil=_boil_margin(view),
        thick_words=_thick_words(view),
        warms_by_k=_adiabatic_rise_k(),
    )


def what_speaks_against(view: PourPlanView) -> list[str]:
    """What in a plan is outside its limits, in words; empty where nothing is."""
    window, boil, against = _dose_window(view), _boil_margin(view), []
    if view.verdict.level == "fail":
        against.append("the fill takes more of the gel time than it may")
    if boil is not None and boil.level == "fail":
        against.append(f"the bag is too deep: {boil.because}")
    if isinstance(window, DoseWindowView) and not window.is_planned_inside:
        against.append("the dose is outside what the day allows")
    return [*against, *(pail.words for pail in view.late_pails)]


def _dose_window(view: PourPlanView) -> DoseWindowView | str:
    """The doses the day leaves, or a sentence why that cannot be said."""
    plan = view.plan
    known = known_gel(view.system, view.day, before=plan.pk)
    if isinstance(known, str):
        return f"No dose is advised: {known}."
    try:
        window = dose_window(
            known.law,
            handling_min=plan.handling_min,
            fill_min=plan.fill_min,
            share=limit("gel_share_fraction"),
            hottest_c=plan.hottest_c,
            coldest_c=plan.coldest_c,
            latest_min=limit("latest_gel_min"),
            maker_low_phr=view.system.dose_low_phr,
            maker_high_phr=view.system.dose_high_phr,
            law_low_phr=known.low_phr,
            law_high_phr=known.high_phr,
        )
    except InputRefused as refused:
        return f"No dose is advised: {refused.accepted}."
    return DoseWindowView(window, known, plan, second_part(view.system), limit("latest_gel_min"))


def _boil_margin(view: PourPlanView) -> Verdict | None:
    styrene = styrene_of(view.system)
    if styrene is None:
        return None
    start = tables.start_values("styrene")["red_factor"]
    source = f"{start.source} ({start.status}); {styrene.words}"
    plan = view.plan
    try:
        return judge_boil_margin(plan.bag_pressure_mbar_abs, plan.hottest_c, source=source, **styrene.given())
    except InputRefused as refused:
        return no_verdict("styrene.boil", f"not known: {refused.accepted}", unit="mbar", source=source)


def _thick_words(view: PourPlanView) -> str:
    start = tables.start_values("gel")["thick_laminate_mm"]
    thickest = max((one for strip in view.strips for one in strip.filled.strip.sections), key=_thickness)
    if thickest.thickness_mm <= start.value:
        return ""
    return f"{thickest.name} is {thickest.thickness_mm:.0f} mm thick. {start.source[:1].upper()}{start.source[1:]}."


def _thickness(section: Section) -> float:
    return section.thickness_mm


def _adiabatic_rise_k() -> float:
    start = tables.start_values("gel")
    names = ("heat_of_cure_kj_kg", "resin_heat_capacity_kj_kg_k", "fibre_heat_capacity_kj_kg_k")
    return adiabatic_rise_k(1.0, **{name: start[name].value for name in names})


def _spacing(words: str, with_lines: Callable[[], Strip], pull: Pull) -> Spacing | None:
    """None where resin that thickens would not come through by it."""
    try:
        strip = with_lines()
        return Spacing(words, tuple(MM * feed.girth_m for feed in strip.feeds), fill(strip, pull).fill_minutes)
    except InputRefused:
        return None


def _hose_words(filled: StripFilled) -> str:
    """Where the supply hose costs a share of the time worth naming."""
    start = tables.start_values("flow")["hose_share_of_bay"]
    for number, share in zip(filled.line_numbers, hose_shares(filled.strip), strict=True):
        if share > start.value:
            return (
                f"The supply hose of line {number} adds {100 * share:.0f} % to the time of its bay: "
                "shorten or widen it."
            )
    return ""


def _lag_words(view: PourPlanView) -> str:
    lag_m = view.plan.lag_m
    if medium_of(view.plan.resin_plan) is None:
        return "No flow medium is laid."
    if lag_m is None:
        return (
            "The lag of the lower skin is not known, nor whether flow medium and laminate fill as one: a sheet lacks "
            "the permeability through the plies."
        )
    left_mm = min(max(strip.filled.length_mm - view.plan.medium_to_mm, 0.0) for strip in view.strips)
    said = f"The flow medium runs up to {MM * lag_m:.0f} mm ahead of the lower skin"
    if MM * lag_m > left_mm:
        return (
            f"{said}, but ends {left_mm:.0f} mm before the flange: end it sooner, or the vent fills with the skin dry."
        )
    return f"{said} and ends {left_mm:.0f} mm before the flange."


def _medium_words(view: PourPlanView) -> str:
    """Where flow medium and laminate may not be taken for one layer; nothing where they may, or it is not known."""
    start = tables.start_values("flow")
    share, least = start["lag_share_of_way"].value, start["through_against_along"].value
    end_m = view.plan.medium_to_mm / MM
    ways = [bay for one in view.strips for bay in medium_bays(one.filled, end_m, view.under_medium)]
    parted = [bay for bay in ways if not bay.is_one(lag_share=share, least_through=least)]
    if not parted:
        return ""
    worst = min(parted, key=lambda bay: bay.way_m)
    others = len(parted) - 1
    more = f" and on {others} more such way{'' if others == 1 else 's'}" if others else ""
    runs_mm, accepted_mm = MM * worst.lag_m, MM * share * worst.way_m
    why = f"over {MM * worst.way_m:.0f} mm the medium runs up to {runs_mm:.0f} mm ahead, {accepted_mm:.0f} are accepted"
    if runs_mm < accepted_mm:
        why = f"it is wet through {worst.through:.1f} times sooner than along, {least:g} are wanted"
    return (
        f"Flow medium and laminate do not fill as one from feed line {worst.line_number} at station {worst.station} "
        f"{worst.side}{more}: {why}. The lower skin is wet later than these times say: end the medium sooner, or feed "
        "more slowly."
    )
