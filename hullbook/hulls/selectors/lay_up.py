"""What was laid of a part, against the revision it is built to."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from django.http import Http404

from hullbook.hulls.enums import LayingOutcome
from hullbook.hulls.models import Laying, Part, ScheduleLine, ScheduleRevision
from hullbook.hulls.selectors.schedules import LineView, revision_in_force, same_lines, schedule_view


@dataclass(frozen=True)
class LaidLine:
    """A line of the revision in force and what was logged for it, the struck-through ones too."""

    view: LineView
    layings: tuple[Laying, ...]
    struck: tuple[Laying, ...]

    @property
    def line(self) -> ScheduleLine:
        return self.view.line

    @property
    def state(self) -> str:
        """How the line stands: "" for not logged yet, or the gravest outcome logged."""
        outcomes = {laying.outcome for laying in self.layings}
        gravest = (LayingOutcome.NOT_LAID, LayingOutcome.OTHERWISE, LayingOutcome.LAID)
        return next((outcome.value for outcome in gravest if outcome in outcomes), "")

    @property
    def state_words(self) -> str:
        return LayingOutcome(self.state).label if self.state else "not logged yet"

    @property
    def is_settled(self) -> bool:
        return bool(self.layings)

    @property
    def quantity(self) -> float:
        return sum(laying.quantity for laying in self.layings)


@dataclass(frozen=True)
class LayUp:
    """The lay-up of a part against the revision in force.

    `beside` was laid beside the schedule; `earlier` was laid to a line that the revision in force no longer has.
    """

    part: Part
    revision: ScheduleRevision | None
    lines: tuple[LaidLine, ...]
    beside: tuple[Laying, ...]
    earlier: tuple[Laying, ...]

    @property
    def total_count(self) -> int:
        return len(self.lines)

    @property
    def settled_count(self) -> int:
        """Lines laid, laid otherwise, or left out with a reason."""
        return sum(1 for line in self.lines if line.is_settled)

    @property
    def laid_count(self) -> int:
        return sum(1 for line in self.lines if line.state in (LayingOutcome.LAID, LayingOutcome.OTHERWISE))

    @property
    def deviations(self) -> tuple[Laying, ...]:
        layings = (*(one for line in self.lines for one in line.layings), *self.beside)
        return tuple(one for one in layings if one.outcome != LayingOutcome.LAID)

    @property
    def next_line(self) -> LaidLine | None:
        return next((line for line in self.lines if not line.is_settled), None)


def lay_up(part: Part) -> LayUp:
    """What is laid of a part. A laying to an earlier revision counts where the line says the same now."""
    revision = revision_in_force(part)
    layings = list(
        Laying.objects.filter(part=part)
        .select_related(
            "entry__struck_out__entry", "corrected_by__entry", "lot__material", "zone", "line__zone", "line__material"
        )
        .prefetch_related("entry__judgements")
        .order_by("entry__happened_at", "pk")
    )
    if revision is None:
        return LayUp(part, None, (), (), tuple(layings))
    view = schedule_view(revision)
    now = _line_now(layings, revision, [one.line for one in view.lines])
    by_line: dict[int, list[Laying]] = defaultdict(list)
    beside, earlier = [], []
    for laying in layings:
        if laying.line_id is None:
            beside.append(laying)
        elif laying.line_id in now:
            by_line[now[laying.line_id]].append(laying)
        else:
            earlier.append(laying)
    lines = (
        LaidLine(
            one,
            tuple(laying for laying in by_line[one.line.pk] if laying.is_current),
            tuple(laying for laying in by_line[one.line.pk] if not laying.is_current),
        )
        for one in view.lines
    )
    return LayUp(part, revision, tuple(lines), tuple(beside), tuple(earlier))


def _line_now(layings: Sequence[Laying], revision: ScheduleRevision, lines: Sequence[ScheduleLine]) -> dict[int, int]:
    """For each line that was laid to, the line of the revision in force that says the same."""
    now = {line.pk: line.pk for line in lines}
    earlier = {laying.line.revision_id for laying in layings if laying.line is not None} - {revision.pk}
    by_revision: dict[int, list[ScheduleLine]] = defaultdict(list)
    if earlier:
        for line in ScheduleLine.objects.filter(revision__in=earlier).select_related("zone").order_by("number"):
            by_revision[line.revision_id].append(line)
    for old_lines in by_revision.values():
        now |= same_lines(old_lines, lines)
    return now


def laying_for(part: Part, number: int) -> Laying:
    """A laying that can still be corrected."""
    laying = (
        Laying.objects.current()
        .filter(part=part, pk=number)
        .select_related("entry", "zone", "line__material", "lot__material")
        .first()
    )
    if laying is None:
        raise Http404(f"Entry {number} is no laying of {part} that can be corrected.")
    return laying
