"""The eleven stages of a hull, read from the book each time."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from hullbook.cure.models import CureReading, Demoulded
from hullbook.hulls.models import HoldPointRelease, Hull, Laying, LeftYard, Part, RevisionInForce, ScheduleLine
from hullbook.hulls.selectors import same_lines, standing_hulls
from hullbook.inspection.models import HardnessSet
from hullbook.materials.enums import MaterialKind
from hullbook.pours.enums import GelPlace
from hullbook.pours.models import Gel, HoldTest, Pour, PourClosed
from hullbook.records.models import TypedRow

STAGE_NAMES = ("Mould", "Skin", "Core", "Bag", "Hold", "Pour", "Gel", "Cure", "Hardness", "Demould", "Survey")
NOT_BEGUN, UNDER_WAY, DONE = "not begun", "under way", "done"
PASSING = ("pass", "conditional pass")


@dataclass(frozen=True)
class Stage:
    number: int
    name: str
    state: str


@dataclass
class PartFacts:
    """What the book holds about one part, as far as the stages ask."""

    lines: list[ScheduleLine] = field(default_factory=list)
    laid: set[int] = field(default_factory=set)
    hold_tests: list[bool] = field(default_factory=list)
    pours: list[bool] = field(default_factory=list)
    gelled_at: set[str] = field(default_factory=set)
    has_cure_reading: bool = False
    is_demoulded: bool = False
    hardness_by_zone: dict[str, bool] = field(default_factory=dict)

    @property
    def skin_and_core(self) -> tuple[list[int], list[int]]:
        """Lines that lie before the first core of their zone, and the others; a zone without core is all skin."""
        cored: set[int] = set()
        skin: list[int] = []
        core: list[int] = []
        for line in self.lines:
            if line.material.kind == MaterialKind.CORE:
                cored.add(line.zone_id)
            (core if line.zone_id in cored else skin).append(line.pk)
        return skin, core


@dataclass(frozen=True)
class HullFacts:
    """What the book holds about one hull, as far as the stages ask."""

    hull: Hull
    parts: dict[str, PartFacts]
    released: frozenset[int]
    has_left: bool

    @property
    def stages(self) -> list[Stage]:
        return _stages(list(self.parts.values()), self.released, self.has_left)

    @property
    def stage_by_part(self) -> dict[str, Stage]:
        """The stage each part is at: the first from skin to demould that is not done, or the last."""
        return {name: _at(_part_states(facts, self.released)) for name, facts in self.parts.items()}

    @property
    def is_pouring(self) -> bool:
        return any(not closed for facts in self.parts.values() for closed in facts.pours)

    @property
    def is_out_of_its_mould(self) -> bool:
        return bool(self.parts) and all(facts.is_demoulded for facts in self.parts.values())


def hull_stages(hull: Hull) -> list[Stage]:
    """The eleven stages of one hull."""
    return shed_stages([hull])[hull.number]


def shed_stages(hulls: Iterable[Hull] | None = None) -> dict[str, list[Stage]]:
    """The eleven stages by hull number, of these hulls or of all that have not left the yard; queries do not grow."""
    return {facts.hull.number: facts.stages for facts in hull_facts(standing_hulls() if hulls is None else hulls)}


def hull_facts(hulls: Iterable[Hull]) -> list[HullFacts]:
    """The facts of each of these hulls; queries do not grow with them."""
    hulls = list(hulls)
    releases: dict[int, set[int]] = defaultdict(set)
    for hull, number in HoldPointRelease.objects.current().filter(hull__in=hulls).values_list("hull", "number"):
        releases[hull].add(number)
    left = set(LeftYard.objects.current().filter(hull__in=hulls).values_list("hull", flat=True))
    parts: dict[int, dict[str, PartFacts]] = defaultdict(dict)
    for hull, name, facts in _parts_of(hulls):
        parts[hull][name] = facts
    return [HullFacts(hull, parts[hull.pk], frozenset(releases[hull.pk]), hull.pk in left) for hull in hulls]


def _parts_of(hulls: list[Hull]) -> list[tuple[int, str, PartFacts]]:
    rows = list(Part.objects.current().filter(hull__in=hulls).order_by("pk").values_list("pk", "hull", "name"))
    part_hulls = {part: hull for part, hull, _ in rows}
    facts = {part: PartFacts() for part in part_hulls}

    def of_parts(model: type[TypedRow]) -> Iterable[TypedRow]:
        rows = model.objects.current().filter(part__in=part_hulls)
        return rows.select_related("entry").order_by("entry__happened_at", "pk")

    in_force = {row.part_id: row.revision_id for row in of_parts(RevisionInForce)}  # type: ignore[attr-defined]
    layings = Laying.objects.current().filter(part__in=part_hulls, line__isnull=False)
    laid = list(layings.values_list("part", "line", "line__revision").order_by("pk"))
    revisions = {*in_force.values(), *(revision for _, _, revision in laid)}
    lines: dict[int, list[ScheduleLine]] = defaultdict(list)
    for line in (
        ScheduleLine.objects.filter(revision__in=revisions).select_related("material", "zone").order_by("number")
    ):
        lines[line.revision_id].append(line)
    for part, line_number, revision in laid:
        now = in_force.get(part)
        same = same_lines(lines[revision], lines[now]) if now is not None and now != revision else {}
        facts[part].laid.add(same.get(line_number, line_number))
    for part, revision in in_force.items():
        facts[part].lines = lines[revision]
    for test in (
        HoldTest.objects.current()
        .filter(part__in=part_hulls)
        .prefetch_related("entry__judgements")
        .order_by("number")
        .select_related("entry")
    ):
        levels = [judgement.level for judgement in test.entry.judgements.all()]
        facts[test.part_id].hold_tests.append(bool(levels) and all(level in PASSING for level in levels))
    closed = set(PourClosed.objects.current().filter(pour__part__in=part_hulls).values_list("pour", flat=True))
    for pour, part in Pour.objects.current().filter(part__in=part_hulls).values_list("pk", "part"):
        facts[part].pours.append(pour in closed)
    for part, at in Gel.objects.current().filter(pour__part__in=part_hulls).values_list("pour__part", "at"):
        facts[part].gelled_at.add(at)
    read = CureReading.objects.current().filter(part__in=part_hulls).order_by()
    for part in read.values_list("part", flat=True).distinct():
        facts[part].has_cure_reading = True
    for part in Demoulded.objects.current().filter(part__in=part_hulls).values_list("part", flat=True):
        facts[part].is_demoulded = True
    sets = HardnessSet.objects.current().filter(part__in=part_hulls).select_related("entry")
    for row in sets.prefetch_related("entry__judgements").order_by("entry__happened_at", "pk"):
        levels = [judgement.level for judgement in row.entry.judgements.all()]
        facts[row.part_id].hardness_by_zone[row.zone_name] = all(level in PASSING for level in levels)
    return [(hull, name, facts[part]) for part, hull, name in rows]


def _stages(parts: list[PartFacts], released: frozenset[int], has_left: bool) -> list[Stage]:
    by_part = [_part_states(part, released) for part in parts]
    states = [DONE if 2 in released else UNDER_WAY]
    states += [_together(in_parts) for in_parts in zip(*by_part, strict=True)]
    states.append(DONE if has_left or 12 in released else UNDER_WAY if 9 in released else NOT_BEGUN)
    return [Stage(number, name, state) for number, (name, state) in enumerate(zip(STAGE_NAMES, states, strict=True))]


def _together(states: tuple[str, ...]) -> str:
    """A hull's stage is done when it is done for every part."""
    return states[0] if len(set(states)) == 1 else UNDER_WAY


def _at(states: list[str]) -> Stage:
    place = next((place for place, state in enumerate(states) if state != DONE), len(states) - 1)
    return Stage(place + 1, STAGE_NAMES[place + 1], states[place])


def _part_states(part: PartFacts, released: frozenset[int]) -> list[str]:
    """Skin to Demould of one part."""
    skin, core = part.skin_and_core
    skin_state = _share(sum(line in part.laid for line in skin), len(skin))
    core_state = _share(sum(line in part.laid for line in core), len(core)) if core else skin_state
    is_laid_up = skin_state == core_state == DONE
    bag = _state(4 in released or bool(part.hold_tests), begun=is_laid_up)
    hold = _state(bool(part.hold_tests) and part.hold_tests[-1], begun=bool(part.hold_tests))
    pour = _state(bool(part.pours) and all(part.pours), begun=bool(part.pours))
    gel = _state(GelPlace.PART in part.gelled_at, begun=bool(part.gelled_at))
    cure = _state(part.has_cure_reading and part.is_demoulded, begun=part.has_cure_reading or part.is_demoulded)
    zones = {line.zone.name for line in part.lines}
    tried = part.hardness_by_zone
    hardness = _state(bool(zones) and all(tried.get(zone) for zone in zones), begun=bool(tried))
    return [skin_state, core_state, bag, hold, pour, gel, cure, hardness, DONE if part.is_demoulded else NOT_BEGUN]


def _state(done: bool, *, begun: bool) -> str:
    if done:
        return DONE
    return UNDER_WAY if begun else NOT_BEGUN


def _share(count: int, of: int) -> str:
    return _state(bool(of) and count == of, begun=count > 0)
