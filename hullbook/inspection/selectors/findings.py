"""What was found on a hull, by eye or by a limit, and what was decided about it."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.apps import apps
from django.db.models import QuerySet

from hullbook.cure.models import Demoulded
from hullbook.drawings.half_girth import MarkShape
from hullbook.drawings.scene import Scene
from hullbook.hulls.models import Hull, Laying, LeftYard, Part, SkinPlace
from hullbook.hulls.selectors import Placed, marks_on_the_girth, skin_places
from hullbook.inspection.enums import Decision, FindingKind
from hullbook.inspection.models import Finding, FindingDecision, HardnessSet
from hullbook.pours.models import HoldTest, Mix, Pour
from hullbook.quantities.showing import PLACES as PLACES_OF_UNITS
from hullbook.quantities.showing import show
from hullbook.records.models import Entry, Judgement, StruckOut, TypedRow
from hullbook.records.selectors import entries_about
from hullbook.yard.models import ClimateReading

OPEN_LEVELS = ("fail", "conditional fail")
WHAT_WAS_JUDGED = {
    "dose": "catalyst dose",
    "hardness.mean": "mean hardness",
    "hold.rise": "rise in the hold test",
    "lot.usable": "lot fit for use",
    "mix.material": "material of the mix",
    "pour.release": "pour begun before its release",
}
# Where on the hull an entry of a kind lies, and what must be read with its row to say so.
PLACES: dict[type[TypedRow], tuple[tuple[str, ...], Callable[[Any], str]]] = {
    Laying: (("part", "zone"), lambda row: f"{row.part.name}, {row.zone.name}"),
    HoldTest: (("part",), lambda row: f"{row.part.name}, hold test {row.number}"),
    Pour: (("part",), lambda row: f"{row.part.name}, pour {row.number}"),
    Mix: (("pour__part",), lambda row: f"{row.pour.part.name}, pail {row.pail_number}"),
    HardnessSet: (("part",), lambda row: f"{row.part.name}, {row.zone_name}"),
    ClimateReading: (("bay",), lambda row: row.bay.name),
}


@dataclass(frozen=True)
class FindingView:
    """A finding, or a value outside its limit, with what became of it.

    `code` is what was judged, empty for a finding made by eye; `gone` says by what the entry was replaced.
    """

    entry: Entry
    title: str
    where: str
    words: str
    level: str
    code: str
    decision: FindingDecision | None
    gone: str
    nothing_found: bool = False
    place: SkinPlace | None = None
    part: Part | None = field(default=None, repr=False)

    @property
    def is_open(self) -> bool:
        return not self.gone and not self.nothing_found and self.decision is None

    @property
    def state(self) -> str:
        if self.gone:
            return self.gone
        if self.nothing_found:
            return "nothing found"
        return "decided" if self.decision else "open"


def decision_about(entry: Entry) -> FindingDecision | None:
    return FindingDecision.objects.current().filter(about_entry=entry).order_by("-pk").first()


def open_findings(hull: Hull) -> list[FindingView]:
    """Findings and values outside a limit that still count and that nobody has decided."""
    return [found for found in findings_of(hull) if found.is_open]


def findings_of(hull: Hull) -> list[FindingView]:
    """Everything found on a hull or judged outside a limit, the latest first; replaced ones stay and say so."""
    seen = list(
        Finding.objects.filter(part__hull=hull)
        .select_related("part__hull__boat_model", "entry")
        .order_by("entry__happened_at", "pk")
    )
    judged = list(_judgements(hull))
    entries = {row.entry_id: row.entry for row in (*seen, *judged)}
    gone = gone_entries(entries.values())
    decisions = decisions_about(entries)
    places = _places(row.entry for row in judged)
    on_the_skin = skin_places(finding.entry_id for finding in seen)
    found = [_by_eye(finding, gone, decisions, on_the_skin.get(finding.entry_id)) for finding in seen]
    found += [_by_limit(judgement, places, gone, decisions) for judgement in judged]
    return sorted(found, key=lambda view: (view.entry.happened_at, view.entry.pk), reverse=True)


def finding_about(hull: Hull, entry_number: int) -> FindingView | None:
    """The finding that an entry is, or that its judgement makes."""
    return next((found for found in findings_of(hull) if found.entry.pk == entry_number), None)


def decisions_about(entries: Iterable[int]) -> dict[int, FindingDecision]:
    decisions = FindingDecision.objects.current().filter(about_entry__in=list(entries))
    return {decision.about_entry_id: decision for decision in decisions.select_related("entry").order_by("pk")}


def gone_entries(entries: Iterable[Entry]) -> dict[int, str]:
    """Which of these entries were struck out or corrected, in words; one query a kind of entry."""
    numbers: dict[str, list[int]] = defaultdict(list)
    for entry in entries:
        numbers[entry.kind].append(entry.pk)
    gone: dict[int, str] = {}
    for kind, keys in sorted(numbers.items()):
        for pk, corrected, reason in (
            apps.get_model(kind)._default_manager.filter(corrects__in=keys).values_list("pk", "corrects", "reason")
        ):
            gone[corrected] = f"corrected in entry {pk}: {reason}"
    everything = [key for keys in numbers.values() for key in keys]
    for struck in StruckOut.objects.filter(struck__in=everything):
        gone[struck.struck_id] = f"struck out in entry {struck.pk}: {struck.reason}"
    return gone


def climate_of(hull: Hull, among: QuerySet[ClimateReading] | None = None) -> QuerySet[ClimateReading]:
    """Readings in the hull's bay from the day it was laid down until its last part is out of the mould.

    Those that stand, or those `among` the given.
    """
    readings = ClimateReading.objects.current() if among is None else among
    readings = readings.filter(bay=hull.bay_id, entry__happened_at__date__gte=hull.laid_down_on)
    out_of_mould = Demoulded.objects.current().filter(part__hull=hull).select_related("entry")
    parts_out = {row.part_id: row.entry.happened_at for row in out_of_mould}
    if parts_out and len(parts_out) == hull.parts.count():
        readings = readings.filter(entry__happened_at__lte=max(parts_out.values()))
    elif left := LeftYard.objects.current().filter(hull=hull).first():
        readings = readings.filter(entry__happened_at__date__lte=left.left_on)
    return readings


def waiting_for_decision(hulls: Sequence[Hull]) -> dict[str, int]:
    """How many findings and values outside a limit nobody has decided, by hull number; queries do not grow with hulls.

    Climate of a bay belongs to no one hull and is counted on none.
    """
    seen = Finding.objects.filter(part__hull__in=hulls).exclude(kind=FindingKind.NOTHING).select_related("entry")
    judged = Judgement.objects.filter(entry__about__in=[hull.number for hull in hulls], level__in=OPEN_LEVELS)
    entries = {row.entry_id: row.entry for row in (*seen, *judged.select_related("entry"))}
    settled = {*gone_entries(entries.values()), *decisions_about(entries)}
    waiting: dict[str, int] = defaultdict(int)
    for number, entry in entries.items():
        waiting[entry.about] += number not in settled
    return waiting


def placed_findings(found: Iterable[FindingView], part: Part) -> list[Placed]:
    """The findings of a part that stand and have a place: open a triangle, accepted a diamond, else a ring."""
    return [
        Placed(one.place, str(one.entry.pk), _shape(one))
        for one in found
        if one.place is not None and one.part == part and not one.gone
    ]


def _shape(found: FindingView) -> MarkShape:
    if found.is_open:
        return "triangle"
    accepted = (Decision.ACCEPT, Decision.CONCESSION)
    return "diamond" if found.decision and found.decision.decision in accepted else "ring"


def findings_on_the_girth(found: Sequence[FindingView]) -> list[Scene]:
    """A drawing for each part on which a finding has a place."""
    parts = {one.part.pk: one.part for one in found if one.part is not None and one.place is not None}
    scenes = [
        marks_on_the_girth(part, placed_findings(found, part), title=f"{part}: findings by their entries")
        for part in parts.values()
    ]
    return [scene for scene in scenes if scene is not None]


def _judgements(hull: Hull) -> QuerySet[Judgement]:
    on_the_hull = Judgement.objects.filter(entry__in=entries_about(hull.number), level__in=OPEN_LEVELS)
    in_the_bay = Judgement.objects.filter(entry__in=climate_of(hull).values("pk"), level__in=OPEN_LEVELS)
    return (on_the_hull | in_the_bay).select_related("entry").order_by("entry", "position")


def _places(entries: Iterable[Entry]) -> dict[int, str]:
    numbers: dict[str, list[int]] = defaultdict(list)
    for entry in entries:
        numbers[entry.kind].append(entry.pk)
    places: dict[int, str] = {}
    for model, (related, words) in PLACES.items():
        if keys := numbers.get(model._meta.label_lower):
            rows = model._default_manager.select_related(*related).in_bulk(keys)
            places.update({key: words(row) for key, row in rows.items()})
    return places


def _by_eye(
    finding: Finding, gone: dict[int, str], decisions: dict[int, FindingDecision], at: SkinPlace | None
) -> FindingView:
    size = " by ".join(show(side, "mm", 0) for side in (finding.length_mm, finding.width_mm) if side is not None)
    words = ", ".join(part for part in (size, finding.words) if part)
    return FindingView(
        entry=finding.entry,
        title=str(finding.get_kind_display()),
        where=", ".join(
            place for place in (finding.part.name, finding.zone_name, str(at) if at else "", finding.place) if place
        ),
        words=words,
        level="",
        code="",
        decision=decisions.get(finding.entry_id),
        gone=gone.get(finding.entry_id, ""),
        nothing_found=finding.kind == FindingKind.NOTHING,
        place=at,
        part=finding.part,
    )


def _by_limit(
    judgement: Judgement, places: dict[int, str], gone: dict[int, str], decisions: dict[int, FindingDecision]
) -> FindingView:
    entry = judgement.entry
    return FindingView(
        entry=entry,
        title=WHAT_WAS_JUDGED.get(judgement.code, judgement.code),
        where=places.get(entry.pk, entry.about),
        words=judgement_words(judgement),
        level=judgement.level,
        code=judgement.code,
        decision=decisions.get(entry.pk),
        gone=gone.get(entry.pk, ""),
    )


def judgement_words(judgement: Judgement) -> str:
    """The value, the limit and where the limit comes from, as they were that day."""
    places = None if judgement.unit in PLACES_OF_UNITS else 2
    said = []
    if judgement.value is not None:
        said.append(show(judgement.value, judgement.unit, places))
    bounds = [
        f"{word} {show(bound, judgement.unit, places)}"
        for word, bound in (("at least", judgement.low), ("at most", judgement.high))
        if bound is not None
    ]
    said.append(" and ".join(bounds))
    said += [judgement.because, judgement.source]
    return "; ".join(words for words in said if words)
