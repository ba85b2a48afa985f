"""What happened while resin ran: inlets, the front, readings, trouble, how each pail ended."""

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from django.db.models import Prefetch

from hullbook.hulls.enums import HullSide, Side
from hullbook.hulls.models import Part
from hullbook.pours.enums import GelPlace, InletMove, ReadingOf, RemainderPlace, TroubleKind
from hullbook.pours.models import (
    AlarmTaken,
    FeedInlet,
    FeedLayout,
    FeedLine,
    FrontReached,
    FrontStation,
    Gel,
    InletMoved,
    Mix,
    MixComponent,
    PailEnd,
    Pour,
    PourAnswer,
    PourClosed,
    PourNote,
    PourReading,
    Remainder,
    SoundTest,
    Trouble,
    TroubleMended,
)

PAIL_NAMED = re.compile(r"pail (\d+)", re.IGNORECASE)


@dataclass(frozen=True)
class LayoutView:
    """The feed lines, inlets and stations of a part as they were last logged."""

    layout: FeedLayout
    lines: tuple[FeedLine, ...]
    inlets: tuple[FeedInlet, ...]
    stations: tuple[FrontStation, ...]

    @property
    def flange_mm(self) -> float:
        """How far it is from keel to flange at the widest station."""
        return max(station.girth_mm for station in self.stations)

    def line(self, number: int) -> FeedLine:
        return next(line for line in self.lines if line.number == number)


def when_it_opens(line: FeedLine) -> str:
    """In the words of the layout, else by the front that opens it."""
    if line.opens_front_mm is None:
        return line.opens_words or "at the start"
    which = "both fronts are" if line.side == Side.BOTH else "the front is"
    return line.opens_words or f"{which} past {line.opens_front_mm:.0f} mm at every station"


def layout_in_force(part: Part) -> LayoutView | None:
    """The latest feed layout of a part that nobody has corrected or struck out."""
    found = FeedLayout.objects.current().filter(part=part).select_related("entry")
    layout = found.prefetch_related("lines", "inlets", "stations").order_by("-pk").first()
    if layout is None:
        return None
    return LayoutView(layout, tuple(layout.lines.all()), tuple(layout.inlets.all()), tuple(layout.stations.all()))


@dataclass(frozen=True)
class PailOfDay:
    """A pail as it stands: still fed from, empty, dumped, spoilt or gelled, and what was weighed back of it."""

    mix: Mix
    components: tuple[MixComponent, ...]
    ended: PailEnd | None
    spoilt: Trouble | None
    gel: Gel | None
    left_kg: float | None

    @property
    def mixed_kg(self) -> float:
        return sum(component.mass_kg for component in self.components)

    @property
    def state(self) -> str:
        if self.spoilt is not None:
            return "spoilt"
        if self.ended is not None:
            return self.ended.how
        return "gelled" if self.gel is not None else "feeding"

    @property
    def ended_at(self) -> datetime | None:
        """When its gel clock stopped to matter."""
        rows = (row for row in (self.spoilt, self.ended, self.gel) if row is not None)
        return min((row.entry.happened_at for row in rows), default=None)

    @property
    def is_lost(self) -> bool:
        """What is left in it goes into no part: it is mixed anew."""
        gelled = self.state == "gelled" and self.gel is not None and self.gel.at == GelPlace.PAIL
        return gelled or self.state in ("dumped", "spoilt")


@dataclass(frozen=True)
class TroubleView:
    trouble: Trouble
    mended: TroubleMended | None


@dataclass(frozen=True)
class InletState:
    number: int
    line: FeedLine
    side: str
    state: str
    since: datetime | None
    entry: int | None
    was_opened: bool


@dataclass(frozen=True)
class PourDay:
    """Everything that stands in the book about a pour, each list in the order it happened."""

    pour: Pour
    closing: PourClosed | None
    layout: LayoutView | None
    pails: tuple[PailOfDay, ...]
    moves: tuple[InletMoved, ...]
    fronts: tuple[FrontReached, ...]
    readings: tuple[PourReading, ...]
    troubles: tuple[TroubleView, ...]
    remainders: tuple[Remainder, ...]
    gels: tuple[Gel, ...]
    notes: tuple[PourNote, ...]
    sound: SoundTest | None
    alarms: tuple[AlarmTaken, ...]
    answers: tuple[PourAnswer, ...]

    @property
    def first_inlet_at(self) -> datetime | None:
        return min((move.entry.happened_at for move in self.moves if move.move == InletMove.OPENED), default=None)

    @property
    def stopped(self) -> Trouble | None:
        """All stop, until it is logged that the pour goes on."""
        stops = [view for view in self.troubles if view.trouble.kind == TroubleKind.ALL_STOP and view.mended is None]
        return stops[-1].trouble if stops else None

    @cached_property
    def inlets(self) -> tuple[InletState, ...]:
        if self.layout is None:
            return ()
        return tuple(self._inlet(inlet, self.layout.line(inlet.line_number)) for inlet in self.layout.inlets)

    def _inlet(self, inlet: FeedInlet, line: FeedLine) -> InletState:
        moves = [move for move in self.moves if move.inlet_number == inlet.number]
        blocked = [
            view.trouble
            for view in self.troubles
            if view.trouble.kind == TroubleKind.INLET_BLOCKED
            and view.trouble.inlet_number == inlet.number
            and view.mended is None
        ]
        last: InletMoved | Trouble | None = blocked[-1] if blocked else moves[-1] if moves else None
        state = "blocked" if blocked else moves[-1].move if moves else InletMove.SHUT.value
        return InletState(
            number=inlet.number,
            line=line,
            side=inlet.side,
            state=str(state),
            since=last.entry.happened_at if last else None,
            entry=last.pk if last else None,
            was_opened=any(move.move == InletMove.OPENED for move in moves),
        )

    @cached_property
    def front_mm(self) -> dict[tuple[str, str], float]:
        """The furthest front by station and side; 0 where none is logged."""
        found: dict[tuple[str, str], float] = defaultdict(float)
        for front in self.fronts:
            at = (front.station, front.side)
            found[at] = max(found[at], front.girth_mm)
        return found

    def has_come(self, girth_mm: float, side: str) -> bool:
        """Whether the front is logged so far from the keel at every station, on one side or on both."""
        if self.layout is None:
            return False
        sides = HullSide.values if side == Side.BOTH else [side]
        return all(
            self.front_mm[station.name, one] >= min(girth_mm, station.girth_mm)
            for station in self.layout.stations
            for one in sides
        )

    @property
    def is_through(self) -> bool:
        """The front is at the flange at every station, both sides."""
        return self.layout is not None and self.has_come(self.layout.flange_mm, Side.BOTH)

    def may_open(self, line: FeedLine) -> bool:
        """Whether a feed line opens at the start, or the front it waits for has come."""
        return line.opens_front_mm is None or self.has_come(line.opens_front_mm, line.side)

    @property
    def mixed_kg(self) -> float:
        """Everything mixed, the same pail logged twice counted twice until that is answered."""
        return sum(pail.mixed_kg for pail in self.pails)

    @property
    def lost_kg(self) -> float:
        """Weighed back from pails that were dumped, spoilt or gelled; mixed, and in no part."""
        return sum(pail.left_kg or 0.0 for pail in self.pails if pail.is_lost)

    @property
    def left_to_mix_kg(self) -> float:
        """By the plan; what was lost is mixed anew."""
        return max(0.0, self.pour.plan.mean_kg - self.mixed_kg + self.lost_kg)

    @property
    def next_pail_number(self) -> int:
        return max((pail.mix.pail_number for pail in self.pails), default=0) + 1

    def temperatures_of(self, mix: Mix) -> tuple[tuple[float, float], ...]:
        """Of the resin in a pail, as (minutes from mixing, °C): at mixing, then as it was read."""
        mixed_at = mix.entry.happened_at
        read = [
            ((row.entry.happened_at - mixed_at).total_seconds() / 60, row.temperature_c)
            for row in self.readings
            if row.what == ReadingOf.RESIN
            and row.entry.happened_at > mixed_at
            and self._pail_read(row) == mix.pail_number
        ]
        return ((0.0, mix.resin_temperature_c), *read)

    def _pail_read(self, row: PourReading) -> int | None:
        """The pail that a temperature was read in: the one its place names, else the only one that stood then."""
        if named := PAIL_NAMED.search(row.place):
            return int(named[1])
        at = row.entry.happened_at
        stood = {
            pail.mix.pail_number
            for pail in self.pails
            if pail.mix.entry.happened_at <= at and (pail.ended_at is None or at < pail.ended_at)
        }
        return stood.pop() if len(stood) == 1 else None

    def same_number(self) -> Iterator[tuple[int, list[PailOfDay]]]:
        """Pail numbers that stand more than once, with their pails."""
        by_number: dict[int, list[PailOfDay]] = defaultdict(list)
        for pail in self.pails:
            by_number[pail.mix.pail_number].append(pail)
        return ((number, pails) for number, pails in sorted(by_number.items()) if len(pails) > 1)

    def rows(self) -> Iterator[Any]:
        """Every row that was logged for this pour while it ran, pails too."""
        yield from (pail.mix for pail in self.pails)
        for rows in (self.moves, self.fronts, self.readings, self.remainders, self.gels, self.notes):
            yield from rows
        for view in self.troubles:
            yield view.trouble
            if view.mended is not None:
                yield view.mended
        yield from (pail.ended for pail in self.pails if pail.ended is not None)


def closing_of(pour: Pour) -> PourClosed | None:
    return PourClosed.objects.current().filter(pour=pour).select_related("entry").order_by("-pk").first()


def with_all(mixes: Any) -> Any:
    """Mixes with their components, instruments, verdicts and what became of their rows, in the order of time."""
    components = MixComponent.objects.select_related("lot__material").order_by("position")
    related = mixes.select_related(
        "entry", "entry__struck_out", "corrected_by", "corrects", "pour", "scale", "catalyst_scale", "thermometer"
    )
    return related.prefetch_related(Prefetch("components", components), "entry__judgements").order_by(
        "entry__happened_at", "pk"
    )


def pour_day(pour: Pour) -> PourDay:
    """A pour as it stands, without what was corrected or struck out; the number of queries does not grow with it."""
    mixes = list(with_all(Mix.objects.filter(pour=pour)))
    newest = _newest(mixes)
    remainders = _current(Remainder.objects.filter(pour=pour), "scale")
    gels = _current(Gel.objects.filter(pour=pour), "mix")
    troubles = _current(Trouble.objects.filter(pour=pour).prefetch_related(_mendings()), "gauge", "mix")
    ends = _current(PailEnd.objects.filter(mix__pour=pour), "mix")
    sounds = _current(SoundTest.objects.filter(pour=pour))
    of_pail = _OfPails(newest, remainders, gels, troubles, ends)
    return PourDay(
        pour=pour,
        closing=closing_of(pour),
        layout=layout_in_force(pour.part),
        pails=tuple(of_pail.pail(mix) for mix in mixes if mix.is_current),
        moves=_current(InletMoved.objects.filter(pour=pour)),
        fronts=_current(FrontReached.objects.filter(pour=pour)),
        readings=_current(PourReading.objects.filter(pour=pour), "instrument"),
        troubles=tuple(_trouble_view(trouble) for trouble in troubles),
        remainders=remainders,
        gels=gels,
        notes=_current(PourNote.objects.filter(pour=pour)),
        sound=sounds[-1] if sounds else None,
        alarms=_current(AlarmTaken.objects.filter(pour=pour)),
        answers=_current(PourAnswer.objects.filter(pour=pour)),
    )


def _current(rows: Any, *related: str) -> tuple[Any, ...]:
    standing = rows.current().select_related("entry", *related)
    return tuple(standing.order_by("entry__happened_at", "pk"))


def _mendings() -> Prefetch:  # type: ignore[type-arg]
    current = TroubleMended.objects.current().select_related("entry").order_by("entry__happened_at", "pk")
    return Prefetch("mendings", current, to_attr="current_mendings")


def _trouble_view(trouble: Any) -> TroubleView:
    return TroubleView(trouble, trouble.current_mendings[-1] if trouble.current_mendings else None)


def _newest(mixes: Iterable[Mix]) -> dict[int, int]:
    """By entry of a mix: the entry it was put right in, at the end of however many."""
    corrected_by = {mix.corrects_id: mix.pk for mix in mixes if mix.corrects_id is not None}
    newest = {}
    for mix in mixes:
        newest[mix.pk] = mix.pk
        while newest[mix.pk] in corrected_by:
            newest[mix.pk] = corrected_by[newest[mix.pk]]
    return newest


@dataclass(frozen=True)
class _OfPails:
    """What was logged about pails; told of an earlier row, it belongs to the one that row was put right in."""

    newest: dict[int, int]
    remainders: tuple[Remainder, ...]
    gels: tuple[Gel, ...]
    troubles: tuple[Trouble, ...]
    ends: tuple[PailEnd, ...]

    def pail(self, mix: Mix) -> PailOfDay:
        ends, spoilt = self._of(self.ends, mix), self._of(self.troubles, mix)
        left = [row.mass_kg for row in self._of(self.remainders, mix) if row.place == RemainderPlace.PAIL]
        return PailOfDay(
            mix=mix,
            components=tuple(mix.components.all()),
            ended=ends[-1] if ends else None,
            spoilt=next((trouble for trouble in spoilt if trouble.kind == TroubleKind.PAIL_SPOILT), None),
            gel=next((gel for gel in self._of(self.gels, mix) if gel.at != GelPlace.PART), None),
            left_kg=sum(left) if left else None,
        )

    def _of(self, rows: tuple[Any, ...], mix: Mix) -> list[Any]:
        return [row for row in rows if row.mix_id is not None and self.newest[row.mix_id] == mix.pk]


def last_reading(pour: Pour, what: str, place: str, before: datetime) -> PourReading | None:
    """The reading of one kind, at the same place, that comes before a moment."""
    readings = PourReading.objects.current().filter(
        pour=pour, what=what, place=place.strip(), entry__happened_at__lte=before
    )
    return readings.select_related("entry", "instrument").order_by("-entry__happened_at", "-pk").first()


def furthest_front(pour: Pour, station: str, side: str, before: datetime) -> FrontReached | None:
    """The furthest that the front was told to have come at a station and side before a moment."""
    fronts = FrontReached.objects.current().filter(
        pour=pour, station=station, side=side, entry__happened_at__lte=before
    )
    return fronts.select_related("entry").order_by("-girth_mm", "entry__happened_at").first()
