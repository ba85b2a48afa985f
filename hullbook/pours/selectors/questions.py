"""What a pour has left open: asked after the clamp, oldest first, never while resin runs."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise

from django.db.models import Max, Min
from django.urls import reverse
from django.utils import timezone

from hullbook.hulls.enums import HullSide
from hullbook.pours.enums import GelPlace, InletMove, PailEnded, ReadingOf, RemainderPlace, TroubleKind
from hullbook.pours.models import Mix, Pour, Trouble
from hullbook.pours.selectors.day import PailOfDay, PourDay
from hullbook.quantities.showing import show
from hullbook.records.models import Entry, TypedRow
from hullbook.records.selectors import missing_sequences
from hullbook.yard.models import TabletEnrolled

READING_EVERY_MIN = 10
READING_OVERDUE = timedelta(minutes=1.5 * READING_EVERY_MIN)
WHY_IS_ASKED_AFTER = timedelta(minutes=30)
WHY_LATE = ("hands full", "tablet away", "copied from paper", "put right after a check")
WHY_NOT_READ = ("hands full", "gauge dead", "on the paper sheet", "nobody looked")
WHAT_OF_A_GAP = ("logged again from memory", "copied from paper", "nothing was lost")


@dataclass(frozen=True)
class Answer:
    """One way to answer: the fields to post to a page; with none, a page to go to.

    `asks` names a page of the pour whose form has more to be keyed than those fields.
    """

    words: str
    url: str
    fields: Mapping[str, str] = field(default_factory=dict)
    asks: str = ""


@dataclass(frozen=True)
class OpenQuestion:
    code: str
    sentence: str
    since: datetime
    answers: tuple[Answer, ...]


def open_questions(day: PourDay) -> list[OpenQuestion]:
    """Everything the book cannot know by itself about a pour, oldest first; what only time tells once it is closed."""
    asking = _Asking(day)
    found = [*asking.same_pails(), *asking.not_weighed(), *asking.too_much_weighed(), *asking.not_mended()]
    found += asking.late()
    if day.closing is not None:
        found += [*asking.not_through(), *asking.never_shut(), *asking.not_read(), *asking.no_gel()]
    answered = {answer.question for answer in day.answers}
    return sorted((one for one in found if one.code not in answered), key=lambda one: (one.since, one.code))


def clock(at: datetime) -> str:
    return f"{timezone.localtime(at):%H:%M}"


class _Asking:
    """The questions of one pour, each with the pages that answer it."""

    def __init__(self, day: PourDay) -> None:
        self.day = day
        self.hull = day.pour.part.hull.number
        self.of_pour = [self.hull, day.pour.part.name, day.pour.number]

    def to(self, page: str, *more: object) -> str:
        return reverse(f"pours:{page}", args=[*self.of_pour, *more])

    def said(self, code: str, *words: str) -> tuple[Answer, ...]:
        return tuple(Answer(one, self.to("answer"), {"question": code, "words": one}) for one in words)

    def keyed(self, words: str, page: str, fields: Mapping[str, str]) -> Answer:
        return Answer(words, self.to(page), fields, asks=page)

    def same_pails(self) -> Iterator[OpenQuestion]:
        for number, pails in self.day.same_number():
            code = f"pail-{number}-{'-'.join(str(pail.mix.pk) for pail in pails)}"
            told = ", ".join(_pail_words(pail) for pail in pails)
            how_often = {2: "twice", 3: "three times"}.get(len(pails), f"{len(pails)} times")
            answers = []
            for pail in pails:
                strike = reverse("hulls:strike-out", args=[self.hull, pail.mix.pk])
                words = f"One pail: strike out {_pail_words(pail)}"
                answers.append(Answer(words, strike, {"reason": f"pail {number} was logged on two tablets"}))
                words = f"Two pails: number {_pail_words(pail)} anew"
                answers.append(Answer(words, self.to("mix-correct", pail.mix.pk)))
            sentence = f"Pail {number} was logged {how_often}: {told}. One pail or two?"
            yield OpenQuestion(code, sentence, max(_at(pail.mix) for pail in pails), tuple(answers))

    def not_weighed(self) -> Iterator[OpenQuestion]:
        in_all = any(row.place == RemainderPlace.PAIL and row.mix_id is None for row in self.day.remainders)
        # What an empty pail keeps is in the plan, and is weighed for all of them together as well.
        empties = self.day.closing is not None and not in_all
        for pail in self.day.pails:
            mix, ended_at = pail.mix, pail.ended_at
            if pail.left_kg is not None or ended_at is None or (pail.state == PailEnded.EMPTY and not empties):
                continue
            code = f"left-{mix.pk}"
            fields = {"place": RemainderPlace.PAIL.value, "mix": str(mix.pk)}
            yield OpenQuestion(
                code,
                f"Pail {mix.pail_number} is {pail.state} since {clock(ended_at)}. What was left in it, weighed?",
                ended_at,
                (
                    self.keyed("Log what was left", "remainder-log", fields),
                    *self.said(code, "it was not weighed"),
                ),
            )

    def too_much_weighed(self) -> Iterator[OpenQuestion]:
        for pail in self.day.pails:
            if pail.left_kg is None or pail.left_kg <= pail.mixed_kg:
                continue
            weighed = [row for row in self.day.remainders if row.place == RemainderPlace.PAIL and row.mix_id]
            rows = [row for row in weighed if row.mix is not None and row.mix.pail_number == pail.mix.pail_number]
            number, left, mixed = pail.mix.pail_number, show(pail.left_kg, "kg"), show(pail.mixed_kg, "kg")
            strike = [
                Answer(
                    f"Strike out {show(row.mass_kg, 'kg')} left",
                    reverse("hulls:strike-out", args=[self.hull, row.pk]),
                    {"reason": f"more than was mixed in pail {number}"},
                )
                for row in rows
            ]
            sentence = f"{left} was left in pail {number}, of {mixed} mixed. Which is wrong?"
            correct = Answer("Put the pail right", self.to("mix-correct", pail.mix.pk))
            yield OpenQuestion(f"over-{pail.mix.pk}", sentence, _at(rows[-1]), (*strike, correct))

    def not_mended(self) -> Iterator[OpenQuestion]:
        for view in self.day.troubles:
            trouble, mended = view.trouble, view.mended
            goes_on = trouble.kind in (TroubleKind.ALL_STOP, TroubleKind.GAUGE_CHANGED, TroubleKind.PAIL_SPOILT)
            if (mended is not None and (mended.words or goes_on)) or trouble.kind == TroubleKind.GAUGE_CHANGED:
                continue
            code = f"trouble-{trouble.pk}"
            where = trouble_place(trouble)
            what = f"{trouble.get_kind_display()}{f', {where}' if where else ''}"
            fields = {"trouble": str(trouble.pk)}
            yield OpenQuestion(
                code,
                f"{what[:1].upper()}{what[1:]}, {clock(_at(trouble))}. What was done about it?",
                _at(trouble),
                (
                    self.keyed("Log what was done", "mended", fields),
                    *self.said(code, "nothing could be done"),
                ),
            )

    def late(self) -> Iterator[OpenQuestion]:
        for row in self.day.rows():
            entry = row.entry
            if row.corrects_id is not None or entry.tapped_at - entry.happened_at <= WHY_IS_ASKED_AFTER:
                continue
            code = f"late-{entry.number}"
            happened, tapped = clock(entry.happened_at), clock(entry.tapped_at)
            sentence = f"{_name(row)}, {happened}, was logged at {tapped} by {entry.person}. Why so late?"
            yield OpenQuestion(code, sentence, entry.happened_at, self.said(code, *WHY_LATE))

    def not_through(self) -> Iterator[OpenQuestion]:
        """Places where the front was not seen at the flange; only where it was logged at all."""
        closing, layout = self.day.closing, self.day.layout
        assert closing is not None  # noqa: S101 - asked of closed pours only
        if layout is None or not self.day.fronts:
            return
        for station in layout.stations:
            for side in HullSide:
                reached = self.day.front_mm[station.name, side]
                if reached >= station.girth_mm:
                    continue
                code = f"front-{station.name}-{side}"
                came = f"last at {show(reached, 'mm', 0)}" if reached else "not logged at all"
                fields = {"station": station.name, "side": side.value}
                yield OpenQuestion(
                    code,
                    f"The front is not logged at the flange of {station}, {side}; {came}. Was it through there?",
                    _at(closing),
                    (
                        self.keyed("Log when it was through", "front-log", fields),
                        *self.said(code, "through, time not known", "not through"),
                    ),
                )

    def never_shut(self) -> Iterator[OpenQuestion]:
        closing = self.day.closing
        assert closing is not None  # noqa: S101 - asked of closed pours only
        last = {move.inlet_number: move for move in self.day.moves}
        for number, move in sorted(last.items()):
            if move.move == InletMove.SHUT:
                continue
            code = f"inlet-{number}"
            fields = {"inlet_number": str(number), "move": InletMove.SHUT.value}
            yield OpenQuestion(
                code,
                f"Inlet {number} was opened at {clock(_at(move))} and never shut by the book. When was it shut?",
                _at(closing),
                (
                    self.keyed("Log when it was shut", "inlet-log", fields),
                    *self.said(code, "shut, nobody knows when"),
                ),
            )

    def not_read(self) -> Iterator[OpenQuestion]:
        """Holes in the bag's pressure between the first inlet and the clamp."""
        closing = self.day.closing
        assert closing is not None  # noqa: S101 - asked of closed pours only
        began = self.day.first_inlet_at or _at(self.day.pour)
        read = [_at(row) for row in self.day.readings if row.what == ReadingOf.BAG_PRESSURE]
        times = [began, *(at for at in read if began < at < _at(closing)), _at(closing)]
        for before, after in pairwise(times):
            if after - before <= READING_OVERDUE:
                continue
            code = f"not-read-{before:%Y%m%dT%H%M%S}"
            words = f"{clock(before)} to {clock(after)}"
            yield OpenQuestion(
                code,
                f"The bag's pressure was not read {words}. Why?",
                before,
                (
                    *self.said(code, *WHY_NOT_READ),
                    self.keyed("Log a reading of then", "reading-log", {"what": ReadingOf.BAG_PRESSURE.value}),
                ),
            )

    def no_gel(self) -> Iterator[OpenQuestion]:
        closing = self.day.closing
        assert closing is not None  # noqa: S101 - asked of closed pours only
        if any(gel.at == GelPlace.PART for gel in self.day.gels):
            return
        page = self.keyed("Log gel", "gel-log", {"at": GelPlace.PART.value})
        answers = (page, *self.said("gel", "nobody looked"))
        yield OpenQuestion("gel", "Gel is not logged anywhere in the part. When did it gel?", _at(closing), answers)


def _at(row: TypedRow) -> datetime:
    return row.entry.happened_at


def _name(row: TypedRow) -> str:
    name = str(row._meta.verbose_name)
    return f"Pail {row.pail_number}" if isinstance(row, Mix) else f"{name[:1].upper()}{name[1:]}"


def _pail_words(pail: PailOfDay) -> str:
    entry = pail.mix.entry
    return f"{show(pail.mixed_kg, 'kg')} {entry.person} {timezone.localtime(entry.happened_at):%H:%M:%S}"


def trouble_place(trouble: Trouble) -> str:
    """Where it was, in words, as far as it was told."""
    places = [
        f"station {trouble.station}" if trouble.station else "",
        trouble.side,
        f"{trouble.girth_mm:.0f} mm from the keel" if trouble.girth_mm is not None else "",
        f"inlet {trouble.inlet_number}" if trouble.inlet_number else "",
        f"pail {trouble.mix.pail_number}" if trouble.mix else "",
        f"now {trouble.gauge.code}" if trouble.gauge else "",
    ]
    return ", ".join(place for place in places if place)


# ---- What a tablet numbered and the book has not


@dataclass(frozen=True)
class NumberGap:
    """Numbers a tablet gave on the day of a pour that are not in the book: on the tablet still, or lost with it."""

    device: str
    name: str
    first: int
    last: int
    last_seen_at: datetime

    @property
    def code(self) -> str:
        return f"gap-{self.device}-{self.first}-{self.last}"

    @property
    def count(self) -> int:
        return self.last - self.first + 1

    @property
    def sentence(self) -> str:
        numbers = f"{self.first}" if self.count == 1 else f"{self.first} to {self.last}"
        return f"Number {numbers} of {self.name} is not in the book. What was logged there, from memory or from paper?"


def number_gaps(pour: Pour) -> list[NumberGap]:
    """What is missing, by number, of every device that logged for this hull on the day of the pour."""
    own = Entry.objects.filter(about=pour.part.hull.number)
    since = pour.entry.happened_at - timedelta(hours=6)
    until = pour.entry.happened_at + timedelta(hours=18)
    on_the_day = own.filter(tapped_at__range=(since, until), device_sequence__isnull=False)
    devices = on_the_day.values("device").annotate(first=Min("tapped_at"), last=Max("tapped_at")).order_by("device")
    names = dict(TabletEnrolled.objects.values_list("device__code", "name"))
    return [
        NumberGap(one["device"], names.get(one["device"], one["device"]), gap.start, gap.stop - 1, one["last"])
        for one in devices
        for gap in missing_sequences(one["device"], since, until)
    ]


def gap_questions(day: PourDay) -> list[OpenQuestion]:
    """The same as open questions, those answered left out."""
    asking = _Asking(day)
    answered = {answer.question for answer in day.answers}
    return [
        OpenQuestion(gap.code, gap.sentence, gap.last_seen_at, asking.said(gap.code, *WHAT_OF_A_GAP))
        for gap in number_gaps(day.pour)
        if gap.code not in answered
    ]
