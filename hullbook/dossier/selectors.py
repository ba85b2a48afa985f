"""Everything a hull's dossier says, gathered from the book; nothing here draws.

Rows are kept as the book has them, also those corrected or struck out, which say so. What a dossier says follows from
the entries it shows, so the last of them is the moment it stands for.
"""

import datetime as dt
import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, fields, is_dataclass
from decimal import Decimal
from enum import Enum
from functools import cached_property
from typing import Any, Generic, TypeVar, cast

from django.core.files.storage import default_storage
from django.db.models import Model, QuerySet

from hullbook.calc import chain
from hullbook.calc.balance import Balance
from hullbook.calc.craft_number import read_craft_number
from hullbook.calc.errors import InputRefused
from hullbook.calc.laminate import Stack
from hullbook.cure.models import CureReading, Demoulded
from hullbook.dossier.models import DossierIssue
from hullbook.hulls.enums import LayingOutcome
from hullbook.hulls.models import (
    CraftNumberGiven,
    HoldPointRelease,
    Hull,
    Laying,
    LeftYard,
    Part,
    RevisionInForce,
    ScheduleLine,
    ScheduleRevision,
    ScheduleSigned,
    Zone,
)
from hullbook.hulls.selectors import schedule_view
from hullbook.inspection.models import Finding, FindingDecision, HardnessReading, HardnessSet, Weighing
from hullbook.inspection.selectors import Missing, mass_balance_of, planned_against_used, what_is_missing
from hullbook.materials.models import Certificate, Lot, LotDecision, MaterialProperty, MaterialSheet, StockMovement
from hullbook.pours.models import (
    Gel,
    HoldReading,
    HoldTest,
    Mix,
    MixComponent,
    PlanInput,
    PlanItem,
    Pour,
    PourClosed,
    Remainder,
    ResinPlan,
)
from hullbook.quantities import tables
from hullbook.records.models import Entry, EntryRow, Judgement, StruckOut, TypedRow, in_columns
from hullbook.records.selectors import entries_about, rebuilt_body
from hullbook.yard.models import Calibration, ClimateReading, Instrument, Person, RoleChange, Yard
from hullbook.yard.selectors import yard_in_force

FORMAT = "hullbook-dossier-1"
NOT_IN_THIS_VERSION = "not in this version"
AS_IT_STANDS = "as it stands, not for acceptance"
NO_VERDICT_YET = "not in this version: no verdict"

CHAPTERS = (
    ("A", "Cover and identity", (1, 2, 3)),
    ("B", "The six answers", (4,)),
    ("C", "Documents in force", (5, 6)),
    ("D", "People", (7,)),
    ("E", "Instruments", (8, 9)),
    ("F", "Materials and lots", (10, 11, 12, 13, 14, 15)),
    ("G", "Workshop climate", (16, 17, 18)),
    ("H", "Mould, release, gelcoat, skin coat", (19, 20)),
    ("I", "Lay-up as planned and as laid", (21, 22, 23, 24, 25)),
    ("J", "Bag and hold test", (26, 27)),
    ("K", "Resin plan and pour", (28, 29, 30, 31, 32, 33, 34)),
    ("L", "Gel and cure", (35, 36, 37)),
    ("M", "Hardness, weights and fibre share", (38, 39, 40, 41, 42, 43, 44)),
    ("N", "Findings and decisions", (45, 46, 47, 48)),
    ("O", "Structure after demould", (49,)),
    ("P", "Weights and dimensions", (50,)),
    ("Q", "Hold points", (51, 52)),
    ("R", "Deviations, late and struck-out entries, check of the book", (53, 54, 55, 56)),
)
LEFT_OUT = {"H", "O", "P"}

Row = TypeVar("Row", bound=TypedRow)


@dataclass(frozen=True)
class Logged(Generic[Row]):
    """A row as it stands in the book: `gone` says by which entry it was corrected or struck out, and why."""

    row: Row
    gone: str
    judgements: tuple[Judgement, ...]

    @property
    def entry(self) -> Entry:
        return self.row.entry

    @property
    def stands(self) -> bool:
        return not self.gone


@dataclass(frozen=True)
class Answer:
    """One of the six things a surveyor asks first."""

    number: int
    question: str
    verdict: str
    because: str
    chapter: str


@dataclass(frozen=True)
class Chapter:
    letter: str
    title: str
    state: str
    missing: tuple[Missing, ...]
    is_filled: bool


@dataclass(frozen=True)
class Documents:
    """A revision as it came into force for one part."""

    part: Part
    in_force: tuple[Logged[RevisionInForce], ...]
    signed: dict[int, ScheduleSigned]


@dataclass(frozen=True)
class PersonUse:
    person: Person
    roles: tuple[Logged[RoleChange], ...]
    entries: int


@dataclass(frozen=True)
class InstrumentUse:
    """An instrument this hull was measured with, its calibrations that counted, and the uses outside them."""

    instrument: Instrument
    calibrations: tuple[Calibration, ...]
    uses: int
    out_of_date: tuple[int, ...]

    @property
    def words(self) -> str:
        """As it stands beside a table: the id and the due dates that counted."""
        due = ", ".join(f"{calibration.due_on:%Y-%m-%d}" for calibration in self.calibrations)
        return f"{self.instrument.code}, due {due}" if due else f"{self.instrument.code}, never calibrated"


@dataclass(frozen=True)
class LotUse:
    lot: Logged[Lot]
    sheet: MaterialSheet | None
    properties: tuple[MaterialProperty, ...]
    decisions: tuple[Logged[LotDecision], ...]
    certificates: tuple[Logged[Certificate], ...]
    used_here: float

    @property
    def state(self) -> str:
        standing = [decision.row for decision in self.decisions if decision.stands]
        return str(standing[-1].get_state_display()) if standing else "received"


@dataclass(frozen=True)
class ZoneStack:
    """A zone of the schedule in force with its lines, the sheets they were counted by, and what they add up to."""

    zone: Zone
    lines: tuple[ScheduleLine, ...]
    sheet_names: dict[int, str]
    stack: Stack | None
    layers: tuple[tuple[str, float], ...]
    core: str


@dataclass(frozen=True)
class LayUp:
    part: Part
    revision: ScheduleRevision | None
    zones: tuple[ZoneStack, ...]
    layings: tuple[Logged[Laying], ...]

    def of_line(self, line: ScheduleLine) -> tuple[Logged[Laying], ...]:
        return tuple(laying for laying in self.layings if laying.row.line_id == line.pk)

    @property
    def beside_the_schedule(self) -> tuple[Logged[Laying], ...]:
        planned = {line.pk for zone in self.zones for line in zone.lines}
        return tuple(laying for laying in self.layings if laying.row.line_id not in planned)

    @property
    def lines(self) -> int:
        return sum(len(zone.lines) for zone in self.zones)

    @property
    def laid(self) -> int:
        done = {laying.row.line_id for laying in self.layings if laying.stands}
        return sum(line.pk in done for zone in self.zones for line in zone.lines)

    @property
    def deviations(self) -> tuple[Logged[Laying], ...]:
        return tuple(found for found in self.layings if found.stands and found.row.outcome != LayingOutcome.LAID)


@dataclass(frozen=True)
class HeldTest:
    test: Logged[HoldTest]
    readings: tuple[HoldReading, ...]


@dataclass(frozen=True)
class SetPlan:
    plan: Logged[ResinPlan]
    items: tuple[PlanItem, ...]
    inputs: tuple[PlanInput, ...]


@dataclass(frozen=True)
class Pail:
    mix: Logged[Mix]
    components: tuple[MixComponent, ...]

    @property
    def mass_kg(self) -> float:
        return sum(component.mass_kg for component in self.components)

    def mass_of(self, role: str) -> float:
        return sum(component.mass_kg for component in self.components if component.role == role)


@dataclass(frozen=True)
class PourTold:
    pour: Logged[Pour]
    pails: tuple[Pail, ...]
    remainders: tuple[Logged[Remainder], ...]
    gels: tuple[Logged[Gel], ...]
    closings: tuple[Logged[PourClosed], ...]

    @property
    def mixed_kg(self) -> float:
        return sum(pail.mass_kg for pail in self.pails if pail.mix.stands)


@dataclass(frozen=True)
class HardnessTold:
    hardness: Logged[HardnessSet]
    readings: tuple[HardnessReading, ...]


@dataclass(frozen=True)
class FindingTold:
    finding: Logged[Finding]
    decisions: tuple[Logged[FindingDecision], ...]


@dataclass(frozen=True)
class OutsideLimit:
    """An entry judged outside a limit, and what was decided about it."""

    entry: Entry
    what: str
    judgement: Judgement
    decisions: tuple[Logged[FindingDecision], ...]


@dataclass(frozen=True)
class PartTold:
    """Everything about one part from its lay-up to its weights."""

    part: Part
    documents: Documents
    lay_up: LayUp
    hold_tests: tuple[HeldTest, ...]
    plans: tuple[SetPlan, ...]
    pours: tuple[PourTold, ...]
    cure_readings: tuple[Logged[CureReading], ...]
    demouldings: tuple[Logged[Demoulded], ...]
    hardness: tuple[HardnessTold, ...]
    weighings: tuple[Logged[Weighing], ...]
    findings: tuple[FindingTold, ...]
    used: tuple[tuple[str, float, float], ...]
    balance: Balance | None


@dataclass(frozen=True)
class Attachment:
    """A file that travels inside the dossier, as it was received."""

    name: str
    sha256: str
    media_type: str
    lot_code: str
    words: str
    content: bytes = field(repr=False)


@dataclass(frozen=True)
class EntryTold:
    """An entry that wants saying on its own: late, asked about, corrected or struck out."""

    entry: Entry
    what: str
    because: str


@dataclass(frozen=True)
class DossierContent:
    hull: Hull
    yard: Yard | None
    issue_number: int | None
    issues: tuple[Logged[DossierIssue], ...]
    craft_numbers: tuple[Logged[CraftNumberGiven], ...]
    craft_number_words: str
    departures: tuple[Logged[LeftYard], ...]
    missing: tuple[Missing, ...]
    people: tuple[PersonUse, ...]
    instruments: tuple[InstrumentUse, ...]
    lots: tuple[LotUse, ...]
    climate: tuple[Logged[ClimateReading], ...]
    parts: tuple[PartTold, ...]
    outside_limits: tuple[OutsideLimit, ...]
    hold_points: tuple[Logged[HoldPointRelease], ...]
    entries: tuple[Entry, ...]
    late: tuple[EntryTold, ...]
    asked: tuple[EntryTold, ...]
    corrected: tuple[EntryTold, ...]
    struck: tuple[EntryTold, ...]
    attachments: tuple[Attachment, ...]

    @property
    def as_at(self) -> Entry:
        """The last entry this dossier shows: its moment and its hash are the dossier's."""
        return self.entries[-1]

    @property
    def craft_number(self) -> str:
        standing = [given.row.number for given in self.craft_numbers if given.stands]
        return standing[-1] if standing else ""

    @property
    def as_it_stands(self) -> bool:
        return bool(self.missing) or any(not chapter.is_filled for chapter in self.chapters)

    @property
    def issue_words(self) -> str:
        return f"issue {self.issue_number}" if self.issue_number else "drawn, not issued"

    @cached_property
    def chapters(self) -> tuple[Chapter, ...]:
        return tuple(self._chapter(letter, title, checks) for letter, title, checks in CHAPTERS)

    def chapter(self, letter: str) -> Chapter:
        return next(chapter for chapter in self.chapters if chapter.letter == letter)

    @cached_property
    def answers(self) -> tuple[Answer, ...]:
        return (
            self._material_certification(),
            self._laminating_record(),
            Answer(3, "Thickness test", "no verdict", NO_VERDICT_YET, "M"),
            Answer(4, "Ultrasonic record", "no verdict", NO_VERDICT_YET, "M"),
            self._resin_content(),
            self._built_to_plans(),
        )

    def instrument_words(self, *instruments: Instrument) -> str:
        """The instruments of one table with their due dates, each once."""
        wanted = {instrument.pk for instrument in instruments}
        return "; ".join(use.words for use in self.instruments if use.instrument.pk in wanted)

    def _chapter(self, letter: str, title: str, checks: tuple[int, ...]) -> Chapter:
        if letter in LEFT_OUT:
            return Chapter(letter, title, NOT_IN_THIS_VERSION, (), is_filled=False)
        missing = tuple(found for found in self.missing if int(found.check.lstrip("C")) in checks)
        if missing:
            state = f"missing: {len(missing)}"
        elif letter in self._not_wanted:
            state = f"not wanted, because {self._not_wanted[letter]}"
        else:
            state = "complete"
        return Chapter(letter, title, state, missing, is_filled=True)

    @cached_property
    def _not_wanted(self) -> dict[str, str]:
        """Chapters that nothing belongs into, and why."""
        nothing = {
            "E": (self.instruments, "nothing has been measured on this hull"),
            "F": (self.lots, "nothing from any lot has gone into this hull"),
            "G": (self.climate, "no climate was logged in its bay while it was built"),
            "I": ([part for part in self.parts if part.lay_up.revision], "no schedule is in force"),
            "J": ([part for part in self.parts if part.hold_tests], "no hold test was made"),
            "K": ([part for part in self.parts if part.plans], "no resin plan was set"),
            "L": ([part for part in self.parts if part.cure_readings or part.pours], "nothing was poured"),
            "M": ([part for part in self.parts if part.hardness or part.weighings], "nothing was tried or weighed"),
        }
        return {letter: because for letter, (rows, because) in nothing.items() if not rows}

    def _missing_words(self, *letters: str) -> str:
        count = sum(len(self.chapter(letter).missing) for letter in letters)
        return f"{count} missing, listed below" if count else ""

    def _material_certification(self) -> Answer:
        question, certified = "Material certification", [lot for lot in self.lots if lot.certificates]
        counted = f"{len(certified)} of {len(self.lots)} lots with certificate"
        if not self.lots:
            return Answer(1, question, "no verdict", "nothing from any lot has gone into this hull", "F")
        if missing := self._missing_words("F"):
            return Answer(1, question, "no verdict", f"{counted}; {missing}", "F")
        return Answer(1, question, *self._worst("lot.usable", counted), "F")

    def _laminating_record(self) -> Answer:
        question = "Daily laminating record"
        lines, laid = sum(part.lay_up.lines for part in self.parts), sum(part.lay_up.laid for part in self.parts)
        counted = f"{laid} of {lines} schedule lines logged"
        if not lines:
            return Answer(2, question, "no verdict", "no schedule is in force", "I")
        if missing := self._missing_words("C", "D", "I"):
            return Answer(2, question, "no verdict", f"{counted}; {missing}", "I")
        return Answer(2, question, "pass", counted, "I")

    def _resin_content(self) -> Answer:
        question, balances = "Resin and glass content", [part.balance for part in self.parts if part.balance]
        if len(balances) < len(self.parts) or not balances:
            return Answer(5, question, "no verdict", "not every part has its weights", "M")
        words = "; ".join(f"{balance.unaccounted_percent:.1f} % of the mixed resin not found again" for balance in balances)
        if missing := self._missing_words("K", "M"):
            return Answer(5, question, "no verdict", f"{words}; {missing}", "M")
        closes = all(balance.closes for balance in balances)
        return Answer(5, question, "pass" if closes else "fail", words, "M")

    def _built_to_plans(self) -> Answer:
        question = "Built to the plans"
        deviations = [found for part in self.parts for found in part.lay_up.deviations]
        if not any(part.lay_up.lines for part in self.parts):
            return Answer(6, question, "no verdict", "no schedule is in force", "C, I")
        if missing := self._missing_words("C", "I"):
            return Answer(6, question, "no verdict", f"{len(deviations)} deviations; {missing}", "C, I")
        if deviations:
            return Answer(6, question, "conditional pass", f"{len(deviations)} deviations, each with its reason", "C, I")
        return Answer(6, question, "pass", "every line laid as the signed schedule says", "C, I")

    def _worst(self, code: str, otherwise: str) -> tuple[str, str]:
        found = [one for one in self.outside_limits if one.judgement.code == code]
        if not found:
            return "pass", otherwise
        undecided = [one for one in found if not any(decision.stands for decision in one.decisions)]
        worst = "fail" if undecided else "conditional pass"
        return worst, f"{otherwise}; {len(found)} uses judged outside, {len(undecided)} of them undecided"


def dossier_content(hull: Hull, *, issue_number: int | None = None) -> DossierContent:
    """The hull as the book tells it now; `issue_number` where it is about to be issued."""
    hull = Hull.objects.select_related("boat_model", "bay", "entry").get(pk=hull.pk)
    own = list(entries_about(hull.number).order_by("number"))
    parts = _parts(hull)
    lots = _lots(hull)
    climate = _climate(hull, own)
    shown = _Shown(hull, own, parts, lots, climate)
    people, instruments = _people(own), _instruments(parts, climate)
    departures = _logged(LeftYard.objects.filter(hull=hull))
    craft_numbers = _logged(CraftNumberGiven.objects.filter(hull=hull))
    hold_points = _logged(HoldPointRelease.objects.filter(hull=hull))
    issues = _logged(DossierIssue.objects.filter(hull=hull).select_related("file"))
    yard = yard_in_force()
    entries = shown.entries(people, instruments, departures, craft_numbers, hold_points, issues, yard)
    return DossierContent(
        hull=hull,
        yard=yard,
        issue_number=issue_number,
        issues=issues,
        craft_numbers=craft_numbers,
        craft_number_words=_craft_number_words(craft_numbers),
        departures=departures,
        missing=tuple(what_is_missing(hull)),
        people=people,
        instruments=instruments,
        lots=lots,
        climate=climate,
        parts=parts,
        outside_limits=_outside_limits(shown, entries),
        hold_points=hold_points,
        entries=entries,
        late=(),
        asked=(),
        corrected=(),
        struck=(),
        attachments=_attachments(lots),
    )
