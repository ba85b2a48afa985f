"""Where every hull stands, what it wants next and who is waited for; what stops its next step."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import Max

from hullbook.calc.hull_lines import SHEER, HullLines, faired_line
from hullbook.drawings.scene import Scene
from hullbook.drawings.shed_plan import (
    PLAIN_OUTLINE,
    PlacedBay,
    PlacedHull,
    PlacedMould,
    PlacedThing,
    PlanOutline,
    bay_at,
    shed_plan,
)
from hullbook.hulls.enums import HOLD_POINTS, HoldPoint, InShed
from hullbook.hulls.models import HoldPointRelease, Hull, Part, ShedPlace
from hullbook.hulls.selectors import (
    lines_of_models,
    parts_of,
    revisions_in_force,
    shed_places,
    standing_hulls,
)
from hullbook.inspection.selectors.findings import open_findings, waiting_for_decision
from hullbook.inspection.selectors.stages import DONE, NOT_BEGUN, UNDER_WAY, HullFacts, Stage, hull_facts
from hullbook.materials.selectors import released_stock_by_material
from hullbook.pours.models import Pour, ResinPlan
from hullbook.pours.selectors import last_hold_test
from hullbook.yard.enums import Role
from hullbook.yard.models import Bay
from hullbook.yard.selectors import people

MOULD, SKIN, CORE, BAG, HOLD, POUR, GEL, CURE, HARDNESS, DEMOULD, SURVEY = range(11)
# The hold points that stand before each stage of work; common practice of yards that build under survey.
POINTS_BEFORE = {
    MOULD: (0, 1, 2),
    SKIN: (0, 1, 2),
    CORE: (3,),
    BAG: (4,),
    POUR: (5,),
    HARDNESS: (6,),
    DEMOULD: (7,),
    SURVEY: (8, 9, 10, 11, 12),
}
OUTLINE_STEPS = 30


@dataclass(frozen=True)
class Standing:
    """One hull: its stages, the next thing it wants, and who is waited for, where it is somebody's word."""

    facts: HullFacts
    stages: tuple[Stage, ...]
    wanted: str
    waits_for: str
    to_decide: int = 0
    # By the plan of the shed, where it has a place in it; else the bay in which it was laid down.
    where: str = ""

    @property
    def hull(self) -> Hull:
        return self.facts.hull

    @property
    def done(self) -> float:
        """Stages done, one under way counted half."""
        return sum({DONE: 1.0, UNDER_WAY: 0.5, NOT_BEGUN: 0.0}[stage.state] for stage in self.stages)


def next_stage(stages: Sequence[Stage]) -> Stage | None:
    """The first stage that is not done."""
    return next((stage for stage in stages if stage.state != DONE), None)


def next_point(stage: Stage, released: frozenset[int]) -> HoldPoint | None:
    """The hold point that stops this stage from going on, if one does."""
    if stage.state != NOT_BEGUN and stage.number not in (MOULD, SURVEY):
        return None
    return next((HOLD_POINTS[number] for number in POINTS_BEFORE.get(stage.number, ()) if number not in released), None)


def standings() -> list[Standing]:
    """Every hull in the yard; queries do not grow with them."""
    lead = quality_lead()
    found = hull_facts(standing_hulls())
    to_decide = waiting_for_decision([facts.hull for facts in found])
    return [_standing(facts, lead, to_decide.get(facts.hull.number, 0)) for facts in found]


def _standing(facts: HullFacts, lead: str, to_decide: int) -> Standing:
    stages = facts.stages
    stage = next_stage(stages)
    point = None if stage is None else next_point(stage, facts.released)
    if stage is None:
        wanted = "leaves the yard"
    elif point is not None:
        wanted = f"hold point {point.number}, before {point.before}"
    else:
        wanted = stage.name.lower() + ("" if stage.state == NOT_BEGUN else f", {stage.state}")
    return Standing(facts, tuple(stages), wanted, lead if point is not None or to_decide else "", to_decide)


def quality_lead() -> str:
    """Who signs: the one person who may, or the role where there are several or none."""
    leads = [card.person for card in people() if Role.QUALITY_LEAD in card.roles and card.person.is_active]
    return leads[0].full_name if len(leads) == 1 else str(Role.QUALITY_LEAD.label)


# ---- The plan


@dataclass(frozen=True)
class ShedView:
    standings: tuple[Standing, ...]
    plan: Scene | None
    not_placed: tuple[Hull, ...]


def shed_view(hrefs: dict[str, str], standing: Sequence[Standing]) -> ShedView:
    """The shed to scale, as far as places were said; `hrefs` is where each hull, by number, leads to."""
    places = shed_places()
    bays = {bay.code: bay.name for bay in Bay.objects.current()}
    lines = lines_of_models({one.hull.boat_model_id for one in standing})
    placed_bays = [
        PlacedBay(bays.get(name, name), _thing(place)) for (what, name), place in places.items() if what == InShed.BAY
    ]
    hulls: list[PlacedHull] = []
    not_placed: list[Hull] = []
    listed: list[Standing] = []
    for one in standing:
        place = _place_of(one, places)
        where = one.hull.bay.name
        if place is not None and placed_bays:
            where = bay_at(place, placed_bays) or "outside the bays"
        listed.append(replace(one, where=where))
        if place is None:
            not_placed.append(one.hull)
            continue
        hulls.append(
            PlacedHull(
                number=one.hull.number,
                place=place,
                outline=_outline(lines.get(one.hull.boat_model_id)),
                done=one.done,
                wanted=one.wanted,
                flag=one.waits_for,
                is_pouring=one.facts.is_pouring,
                href=hrefs.get(one.hull.number, ""),
            )
        )
    moulds = [PlacedMould(name, _thing(place)) for (what, name), place in places.items() if what == InShed.MOULD]
    plan = shed_plan(placed_bays, moulds, hulls) if placed_bays or moulds or hulls else None
    return ShedView(tuple(listed), plan, tuple(not_placed))


def _place_of(one: Standing, places: dict[tuple[InShed, str], ShedPlace]) -> PlacedThing | None:
    """Its own place once it is out of the mould, else the mould's; as long and wide as its model."""
    own = places.get((InShed.HULL, one.hull.number))
    mould = places.get((InShed.MOULD, one.hull.mould))
    place = own if one.facts.is_out_of_its_mould else mould or own
    if place is None:
        return None
    model = one.hull.boat_model
    return PlacedThing(place.x_m, place.y_m, model.length_m, model.beam_m, place.heading_deg)


def _thing(place: ShedPlace) -> PlacedThing:
    return PlacedThing(place.x_m, place.y_m, place.length_m, place.width_m, place.heading_deg)


def _outline(lines: HullLines | None) -> PlanOutline:
    """The sheer in plan, as shares of the length and of the greatest half-breadth."""
    if lines is None:
        return PLAIN_OUTLINE
    curve = faired_line(lines.points(SHEER), OUTLINE_STEPS, half_breadth=True)
    widest = max(out for _, out in curve) or 1.0
    start = curve[0][0]
    return [((x - start) / lines.length_mm, out / widest) for x, out in curve]


# ---- One hull now


@dataclass(frozen=True)
class Stop:
    """One thing that must be so before the next step: crossed by the book or by a person, or not yet."""

    words: str
    is_crossed: bool
    crossed_by: str = ""


@dataclass(frozen=True)
class HullNow:
    """What is being done to a hull, and what stops its next step."""

    standing: Standing
    stage: Stage | None
    stops: tuple[Stop, ...]
    parts: tuple[tuple[Part, Stage], ...]
    part: Part | None

    @property
    def open_stops(self) -> int:
        return sum(not stop.is_crossed for stop in self.stops)


def hull_now(hull: Hull, today: date) -> HullNow:
    facts = hull_facts([hull])[0]
    standing = _standing(facts, quality_lead(), waiting_for_decision([hull]).get(hull.number, 0))
    stage = next_stage(standing.stages)
    by_part = facts.stage_by_part
    parts = tuple((part, by_part[part.name]) for part in parts_of(hull))
    lagging = min(parts, key=lambda one: one[1].number, default=None)
    part = lagging[0] if lagging else None
    stops = [] if stage is None else [*_book_stops(hull, part, stage, today), *_released(hull, _before(stage))]
    return HullNow(standing, stage, tuple(stops), parts, part)


def _before(stage: Stage) -> tuple[int, ...]:
    """The hold points before this stage, or, where it has none, before the first later one that has."""
    later = (POINTS_BEFORE[number] for number in range(stage.number, SURVEY + 1) if number in POINTS_BEFORE)
    return next(later, ())


def _released(hull: Hull, numbers: Sequence[int]) -> list[Stop]:
    releases = HoldPointRelease.objects.current().filter(hull=hull, number__in=numbers).select_related("entry")
    by_number = {release.number: release for release in releases}
    stops = []
    for number in numbers:
        release = by_number.get(number)
        by = f"{release.entry.person} {release.entry.happened_at:%-d %b}" if release else ""
        stops.append(Stop(f"Hold point {number}, before {HOLD_POINTS[number].before}", release is not None, by))
    return stops


def _book_stops(hull: Hull, part: Part | None, stage: Stage, today: date) -> list[Stop]:
    """What the book itself can cross before the next step."""
    if part is None:
        return []
    stops = [_schedule_stop(hull, part)] if stage.number <= POUR else []
    if HOLD <= stage.number <= POUR:
        stops += [_hold_stop(part), *_resin_stops(part, today)]
    if stage.number == SURVEY:
        count = len(open_findings(hull))
        stops.append(Stop("No finding open" if not count else f"Findings decided, {count} open", not count, "book"))
    return stops


def _schedule_stop(hull: Hull, part: Part) -> Stop:
    revision = revisions_in_force(hull).get(part.pk)
    if revision is None:
        return Stop(f"A signed schedule in force for {part.name}", False)
    return Stop(f"Schedule rev {revision.letter} in force for {part.name}", True, "book")


def _hold_stop(part: Part) -> Stop:
    test = last_hold_test(part)
    if test is None:
        return Stop("A hold test within its limit", False)
    level = next((one.level for one in test.entry.judgements.all()), "no verdict")
    return Stop(f"Hold test {test.number}: {level}", level in ("pass", "conditional pass"), "book")


def _resin_stops(part: Part, today: date) -> list[Stop]:
    plan = ResinPlan.objects.current().filter(part=part).select_related("system").order_by("-pk").first()
    if plan is None:
        return [Stop("A resin plan set", False)]
    there = released_stock_by_material(today).get(plan.system.resin_id, 0.0)
    is_poured = Pour.objects.current().filter(part=part).aggregate(last=Max("pk"))["last"] is not None
    words = f"Resin released in the store {there:.0f} kg, the plan may want {plan.upper_kg:.0f} kg mixed"
    return [
        Stop(f"Resin plan set, {plan.mean_kg:.0f} kg expected", True, "book"),
        Stop(words, is_poured or there >= plan.upper_kg, "book"),
    ]
