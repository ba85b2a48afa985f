"""A pour plan as it is seen: still to be read to the crew, or as it was read."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby
from typing import Any, cast

from django.utils import timezone

from hullbook.calc.dose import catalyst_grams
from hullbook.calc.flow import (
    Feed,
    Fill,
    Pull,
    Section,
    Strip,
    fill,
)
from hullbook.calc.gel import pot_life_min
from hullbook.calc.pour_plan import (
    PartResin,
    PlannedPail,
    StripFilled,
    UnderMedium,
    ZoneResin,
    drawn_kg,
)
from hullbook.calc.styrene import activity_by_raoult
from hullbook.calc.verdict import Verdict, judge, no_verdict
from hullbook.hulls.models import Part
from hullbook.materials.models import ResinSystem
from hullbook.materials.selectors import (
    properties_in_force,
    properties_of,
)
from hullbook.pours.enums import PlanItemKind, PlanOrderKind
from hullbook.pours.models import (
    FeedLine,
    PlanArrival,
    PlanCoefficient,
    PlanFeed,
    PlanOrder,
    PlanPail,
    PlanSection,
    PlanZoneResin,
    PourPlan,
    TrialPanel,
)
from hullbook.pours.selectors.day import LayoutView, layout_in_force, when_it_opens
from hullbook.pours.selectors.plan import plan_in_force, second_part
from hullbook.pours.selectors.tried import (
    MM,
    UM2_PER_M2,
    VISCOSITY_POINTS,
    trial_for,
)
from hullbook.quantities import tables
from hullbook.quantities.showing import show, show_number
from hullbook.records.models import EntryRow

THROUGH_WORDS = "permeability through what lies under the medium, "
LAG_WORDS = "medium ahead of the lower skin, "
OUTSIDE_THE_BAG = (PlanItemKind.PAIL_FILM, PlanItemKind.HEEL, PlanItemKind.CUPS)
"""What a resin plan has that the part draws from no pail."""


def limit(name: str) -> float:
    """A figure of the pour plan's own table."""
    return tables.start_values("pour_plan")[name].value


@dataclass(frozen=True)
class StripOfPlan:
    """A strip of a plan: its figures, and the curve through them."""

    station: str
    side: str
    filled: StripFilled
    arrivals: tuple[PlanArrival, ...]
    at_lines: tuple[float | None, ...]

    def comes_to(self, line_number: int) -> float | None:
        """The minute the front comes to a line; None where the strip has none there."""
        if line_number not in self.filled.line_numbers:
            return None
        feed = self.filled.strip.feeds[self.filled.line_numbers.index(line_number)]
        return self.fill.minute_at(feed.girth_m)

    @property
    def fill(self) -> Fill:
        return self.filled.fill

    @property
    def place(self) -> str:
        return f"station {self.station} {self.side}"


@dataclass(frozen=True)
class LineOpening:
    """A feed line and the minute it opens by the plan."""

    line: FeedLine
    minute: float
    inlets: str

    @property
    def words(self) -> str:
        """In the words of the layout, with the figure beside them that the page of the day opens it by."""
        line, words = self.line, when_it_opens(self.line)
        return f"{words} ({line.opens_front_mm:.0f} mm)" if line.opens_words and line.opens_front_mm else words


@dataclass(frozen=True)
class PailAtInlets:
    """A planned pail, the inlets it feeds, and how long it may stand mixed; None where the gel time is not known."""

    pail: PlannedPail
    inlets: str
    pot_life_min: float | None

    @property
    def drawn_empty_by_min(self) -> float | None:
        return None if self.pot_life_min is None else self.pail.mix_by_min + self.pot_life_min


@dataclass(frozen=True)
class PourPlanView:
    """A pour plan with its lines: still to be read, or as it was read to the crew."""

    plan: PourPlan
    rows: tuple[EntryRow, ...]

    def _of(self, kind: type[Any]) -> tuple[Any, ...]:
        return tuple(row for row in self.rows if isinstance(row, kind))

    @property
    def coefficients(self) -> tuple[PlanCoefficient, ...]:
        return self._of(PlanCoefficient)

    @property
    def under_medium(self) -> dict[str, UnderMedium]:
        """What lies under flow medium, by zone; empty where that is not known."""
        figures = {one.words: one.value for one in self.coefficients}
        zones = [words.removeprefix(LAG_WORDS) for words in figures if words.startswith(LAG_WORDS)]
        return {
            zone: UnderMedium(figures[THROUGH_WORDS + zone] / UM2_PER_M2, figures[LAG_WORDS + zone] / MM)
            for zone in zones
        }

    @property
    def pails(self) -> tuple[PlannedPail, ...]:
        """Each put on when the one before is empty."""
        rows: tuple[PlanPail, ...] = self._of(PlanPail)
        return tuple(PlannedPail(row.number, row.mix_by_min, row.on_min, row.empty_min) for row in rows)

    @property
    def places(self) -> tuple[PlanOrder, ...]:
        return self._orders(PlanOrderKind.PLACE)

    @property
    def stops(self) -> tuple[PlanOrder, ...]:
        return self._orders(PlanOrderKind.STOP)

    @property
    def read_to(self) -> tuple[PlanOrder, ...]:
        return self._orders(PlanOrderKind.READ_TO)

    def _orders(self, kind: PlanOrderKind) -> tuple[PlanOrder, ...]:
        orders: tuple[PlanOrder, ...] = self._of(PlanOrder)
        return tuple(order for order in orders if order.kind == kind)

    @property
    def day(self) -> dt.date:
        """When it was read; today while it is not."""
        read_at = self.plan.entry.happened_at if self.plan.entry_id else timezone.now()
        return timezone.localdate(read_at)

    @property
    def pull(self) -> Pull:
        plan = self.plan
        return Pull(
            plan.driving_pressure_pa, plan.viscosity_pa_s, plan.liquid_resin_density_kg_m3, plan.thickening_per_min
        )

    @cached_property
    def resin(self) -> PartResin:
        rows: tuple[PlanZoneResin, ...] = self._of(PlanZoneResin)
        laid = {zone.name: zone for zone in self.plan.resin_plan.revision.zones.all()}
        zones = tuple(
            ZoneResin(
                name=row.name,
                side=row.side,
                from_mm=cast(float, row.from_mm),
                to_mm=cast(float, row.to_mm),
                station_from=laid[row.name].station_from,
                station_to=laid[row.name].station_to,
                kg=row.kg,
            )
            for row in rows
            if row.line_number is None
        )
        lines = {row.line_number: row.kg for row in rows if row.line_number is not None}
        return PartResin(zones, lines, self.plan.end_kg)

    @cached_property
    def strips(self) -> tuple[StripOfPlan, ...]:
        """In the order of the stations, starboard before port, as they were reckoned with."""
        found = []
        sections: tuple[PlanSection, ...] = self._of(PlanSection)
        for (station, side), rows in groupby(sections, key=lambda row: (row.station, row.side)):
            feeds = [row for row in self._of(PlanFeed) if (row.station, row.side) == (station, side)]
            strip = Strip(tuple(_section_of(row) for row in rows), tuple(_feed_of(row) for row in feeds))
            numbers = tuple(row.line_number for row in feeds)
            filled = StripFilled(station, side, numbers, strip, fill(strip, self.pull))
            arrivals = tuple(row for row in self._of(PlanArrival) if (row.station, row.side) == (station, side))
            found.append(StripOfPlan(station, side, filled, arrivals, ()))
        later = _later_lines(one.filled for one in found)
        return tuple(replace(one, at_lines=tuple(one.comes_to(number) for number in later)) for one in found)

    @property
    def later_lines(self) -> list[int]:
        """Numbers of the feed lines that the front comes to before they are opened, as `at_lines` has them."""
        return _later_lines(one.filled for one in self.strips)

    @property
    def slowest(self) -> StripOfPlan:
        return max(self.strips, key=lambda one: one.fill.fill_minutes)

    def drawn_kg(self, minute: float) -> float:
        return drawn_kg([one.filled for one in self.strips], self.resin, minute)

    @property
    def system(self) -> ResinSystem:
        return self.plan.resin_plan.system

    @property
    def grams_per_pail(self) -> float:
        return catalyst_grams(self.plan.pail_kg, self.plan.dose_phr, second_part(self.system))

    @property
    def pull_mbar(self) -> float:
        return self.plan.driving_pressure_pa / 100

    @property
    def band_words(self) -> str:
        """How sure the time is, and why."""
        plan = self.plan
        factors = f"{plan.band_low:.2f} to {plan.band_high:.2f} of the likely"
        if plan.trial_id is None:
            return f"{factors}: permeability from sheets and handbooks; a trial panel of the yard would narrow it"
        return (
            f"{factors}: by the yard's trial panel, entry {plan.trial_id}, where it is laid alike; by sheets elsewhere"
        )

    @property
    def openings(self) -> tuple["LineOpening", ...]:
        """Each feed line in the order they open, the last strip deciding."""
        layout = LayoutView(
            self.plan.layout,
            tuple(self.plan.layout.lines.all()),
            tuple(self.plan.layout.inlets.all()),
            tuple(self.plan.layout.stations.all()),
        )
        minutes: dict[int, float] = {}
        for strip in self.strips:
            for number in strip.filled.line_numbers:
                minutes[number] = max(minutes.get(number, 0.0), strip.filled.opened_at(number) or 0.0)
        inlets = {
            number: ", ".join(str(inlet.number) for inlet in layout.inlets if inlet.line_number == number)
            for number in minutes
        }
        opened = [LineOpening(layout.line(number), minute, inlets[number]) for number, minute in minutes.items()]
        return tuple(sorted(opened, key=lambda one: one.minute))

    @cached_property
    def pails_at_inlets(self) -> tuple["PailAtInlets", ...]:
        """Each pail with the inlets it feeds: those of the line last opened, and of the next that opens meanwhile."""
        opened = self.openings
        ends = [*(one.minute for one in opened[1:]), float("inf")]
        feeds = list(zip(opened, ends, strict=True))

        def inlets_of(pail: PlannedPail) -> str:
            its = (one.inlets for one, end in feeds if one.minute < pail.empty_min and pail.on_min < end)
            return " then ".join(its)

        return tuple(PailAtInlets(pail, inlets_of(pail), self.pot_life_min) for pail in self.pails)

    @cached_property
    def beside_the_bag(self) -> tuple[tuple[str, float], ...]:
        """What the resin plan expects beyond what is drawn from the pails, by what it is for, in kg."""
        resin_plan, items = self.plan.resin_plan, list(self.plan.resin_plan.items.all())
        likely = [
            (kind.label, sum(item.likely_kg for item in items if item.kind == kind))
            for kind in OUTSIDE_THE_BAG
            if any(item.kind == kind for item in items)
        ]
        return (*likely, ("between its likely and its expected", resin_plan.mean_kg - resin_plan.likely_kg))

    @property
    def viscosity_words(self) -> str:
        """Where the middle of the day's temperatures lies outside those the resin's sheet gave; else empty."""
        kind = properties_of(self.system.resin.kind)
        at = {kind[name].label for _, name in VISCOSITY_POINTS}
        of_resin = (one for one in self.coefficients if one.material_id == self.system.resin_id)
        given = sorted(one.value for one in of_resin if one.words in at)
        middle_c = (self.plan.coldest_c + self.plan.hottest_c) / 2
        if not given or given[0] <= middle_c <= given[-1]:
            return ""
        return f"extrapolated: the sheet gives it from {show_number(given[0], 'degC')} to {show(given[-1], 'degC')}"

    @property
    def fastest_min(self) -> float:
        return self.plan.fill_min * self.plan.band_low

    @property
    def longest_min(self) -> float:
        return self.plan.fill_min * self.plan.band_high

    @property
    def verdict(self) -> Verdict:
        """The fill against the share of the earliest gel it may take; how sure the time is counts."""
        return fill_verdict(self.plan)

    @property
    def pot_life_min(self) -> float | None:
        """How old a pail may be while it is drawn from; None where gel is not known."""
        gel_min, share = self.plan.gel_low_min, limit("gel_share_fraction")
        return None if gel_min is None else pot_life_min(gel_min, share=share, pail_kg=self.plan.pail_kg)

    @property
    def late_pails(self) -> tuple["LatePail", ...]:
        """Pails that would be drawn from past their pot life."""
        gel_min, life_min = self.plan.gel_low_min, self.pot_life_min
        if gel_min is None or life_min is None:
            return ()
        each = (LatePail(one.number, one.drawn_past_min(life_min), one.drawn_past_min(gel_min)) for one in self.pails)
        return tuple(one for one in each if one.past_pot_life_min > 0)


@dataclass(frozen=True)
class LatePail:
    """A pail still drawn from past the share of its gel time that it may stand, and how long past gel itself."""

    number: int
    past_pot_life_min: float
    past_gel_min: float

    @property
    def is_gelled(self) -> bool:
        return self.past_gel_min > 0

    @property
    def words(self) -> str:
        if self.is_gelled:
            return f"pail {self.number} would gel {show(self.past_gel_min, 'min', 0)} before it is used up"
        past = show(self.past_pot_life_min, "min", 0)
        return f"pail {self.number} is drawn from {past} past its pot life: mix smaller pails"


def _later_lines(strips: Iterable[StripFilled]) -> list[int]:
    return sorted({number for one in strips for number in one.line_numbers if one.opened_at(number)})


def _section_of(row: PlanSection) -> Section:
    return Section(
        row.name, row.length_m, row.thickness_mm, row.porosity, row.permeability_um2 / UM2_PER_M2, row.rise_m
    )


def _feed_of(row: PlanFeed) -> Feed:
    return Feed(row.girth_m, row.opens_front_m, row.hose_resistance_1_m3)


def fill_verdict(plan: PourPlan) -> Verdict:
    """A likely fill beyond its share of what handling leaves of the earliest gel is outside; else the band counts."""
    if plan.gel_low_min is None:
        return no_verdict("pour.fill", plan.gel_words)
    start = tables.start_values("pour_plan")["gel_share_fraction"]
    if plan.handling_min >= plan.gel_low_min:
        because = "it gels before the inlet is opened"
        return Verdict("fail", "pour.fill", None, 0.0, None, start.value, "fraction", start.source, because)
    share = plan.fill_min / (plan.gel_low_min - plan.handling_min)
    verdict = judge(
        "pour.fill",
        share,
        high=start.value,
        expanded_uncertainty=share * (plan.band_high - 1),
        unit="fraction",
        source=f"{start.source} ({start.status})",
    )
    # How unsure the time is excuses nothing: a fill that is likely to take more is outside.
    return replace(verdict, level="fail") if share > start.value else verdict


def pour_plans(part: Part) -> list[PourPlan]:
    """Every pour plan read for a part, the newest first, also those struck out."""
    plans = PourPlan.objects.filter(part=part).select_related("entry", "entry__struck_out", "corrected_by")
    return list(plans.order_by("-number"))


def pour_plan_in_force(part: Part) -> PourPlan | None:
    return _with_all(PourPlan.objects.current().filter(part=part)).order_by("-pk").first()


def pour_plan_numbered(part: Part, number: int) -> PourPlan | None:
    """One of the pour plans read for a part, also one struck out."""
    return _with_all(PourPlan.objects.filter(part=part, number=number)).first()


def _with_all(plans: Any) -> Any:
    return plans.select_related(
        "entry", "entry__struck_out", "corrected_by", "part__hull", "layout__entry", "trial__entry",
        "resin_plan__revision", "resin_plan__system__resin", "resin_plan__system__catalyst",
    )  # fmt: skip


def pour_plan_view(plan: PourPlan) -> PourPlanView:
    """A pour plan as it was read."""
    of_plan = ("sections", "feeds", "arrivals", "resin", "pails", "orders")
    rows = [row for name in of_plan for row in getattr(plan, name).all()]
    return PourPlanView(plan, (*rows, *plan.coefficients.select_related("material")))


@dataclass(frozen=True)
class StyreneOver:
    """Styrene over a resin: its activity, why that, and the factors of its boiling pressure."""

    activity: float
    words: str

    def given(self) -> dict[str, float]:
        """As the judgement and the tablet take it."""
        start = tables.start_values("styrene")
        return {
            "activity": self.activity,
            "red": start["red_factor"].value,
            "amber": start["amber_factor"].value,
        }


def styrene_of(system: ResinSystem) -> StyreneOver | None:
    """Styrene over a resin by its sheet; None where it holds none.

    Where the sheet does not say, a resin cured by a catalyst is taken for one with styrene, on the safe side; one with
    a hardener, epoxy, has none.
    """
    share = properties_in_force([system.resin])[system.resin_id].value("styrene_mass_fraction")
    start = tables.start_values("styrene")
    if share:
        by_raoult = activity_by_raoult(share, start["polymer_molar_mass_g_mol"].value)
        return StyreneOver(by_raoult, f"activity {by_raoult:.2f} by Raoult's law")
    if share is None and second_part(system) == "catalyst":
        safe = start["activity_fraction"]
        said = (
            f"activity {safe.value:.2f}, as the sheet of {system.resin.code} does not give its styrene: {safe.source}"
        )
        return StyreneOver(safe.value, f"{said} ({safe.status})")
    return None


def what_has_changed(view: PourPlanView) -> list[str]:
    """Why the plan that was read no longer fits what is in force; empty while it does."""
    plan, changed = view.plan, []
    layout, resin_plan = layout_in_force(plan.part), plan_in_force(plan.part)
    if layout is None or layout.layout.pk != plan.layout_id:
        changed.append("Other feed lines are logged since.")
    if resin_plan is None or resin_plan.pk != plan.resin_plan_id:
        changed.append("Another resin plan is set since.")
    trial = trial_for(plan.resin_plan)
    if (trial.pk if trial else None) != plan.trial_id:
        struck = plan.trial_id and not TrialPanel.objects.current().filter(pk=plan.trial_id).exists()
        words = f"The trial panel it rests on, entry {plan.trial_id}, is struck out since."
        changed.append(words if struck else "Another trial panel counts since.")
    if plan.tables_digest != tables.digest():
        changed.append("The reference tables have changed since; the limits shown are today's.")
    return changed
