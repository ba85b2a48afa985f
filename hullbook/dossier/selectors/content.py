"""What a hull's dossier says, and what follows from it: how each chapter stands, and the six answers.

Rows are kept as the book has them, also those corrected or struck out, which say so. A dossier rests on the entries it
shows, so the last of them is the moment it stands for.
"""

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property
from typing import Generic, TypeVar

from hullbook.calc.hull_lines import HullLines
from hullbook.cure.models import CureReading, Demoulded
from hullbook.cure.selectors import CureView
from hullbook.dossier.models import DossierIssue
from hullbook.drawings.scene import Scene
from hullbook.hulls.enums import LayingOutcome
from hullbook.hulls.models import (
    CraftNumberGiven,
    HoldPointRelease,
    Hull,
    Laying,
    LeftYard,
    OffsetTable,
    Part,
    RevisionInForce,
    ScheduleLine,
    ScheduleRevision,
    ScheduleSigned,
)
from hullbook.hulls.selectors import LineView, ZoneView
from hullbook.inspection.enums import Decision
from hullbook.inspection.models import Weighing
from hullbook.inspection.selectors import (
    FindingView,
    HardnessView,
    MassBalance,
    Missing,
    PartUse,
    Stage,
)
from hullbook.materials.models import Certificate, Lot, LotDecision, MaterialProperty, MaterialSheet
from hullbook.pours.models import (
    AlarmTaken,
    FeedInlet,
    FeedLayout,
    FeedLine,
    FrontReached,
    FrontStation,
    Gel,
    HoldReading,
    HoldTest,
    InletMoved,
    Mix,
    MixComponent,
    PailEnd,
    PlanArrival,
    PlanCoefficient,
    PlanFeed,
    PlanInput,
    PlanItem,
    PlanOrder,
    PlanPail,
    PlanSection,
    PlanZoneResin,
    Pour,
    PourAnswer,
    PourClosed,
    PourNote,
    PourPlan,
    PourReading,
    Remainder,
    ResinPlan,
    SoundTest,
    Trouble,
    TroubleMended,
)
from hullbook.quantities import tables
from hullbook.quantities.showing import show, show_number
from hullbook.records.models import Entry, Judgement, TypedRow
from hullbook.yard.models import Calibration, ClimateReading, Instrument, Person, RoleChange, Yard

FORMAT = "hullbook-dossier-1"
NOT_IN_THIS_VERSION = "not in this version"
AS_IT_STANDS = "as it stands, not for acceptance"
NO_VERDICT_YET = "not in this version: no verdict"
CONCESSIONS = (Decision.ACCEPT, Decision.CONCESSION)

CHAPTERS = (
    ("A", "Cover and identity", (1, 2, 3), "photographs of the markings"),
    ("B", "The six answers", (4,), "thickness and ultrasonic"),
    ("C", "Documents in force", (5, 6), "drawings, procedures and makers' data sheets as documents"),
    ("D", "People", (7,), "training"),
    ("E", "Instruments", (8, 9), ""),
    ("F", "Materials and lots", (10, 11, 12, 13, 14, 15), "approvals by class, opening and conditioning"),
    ("G", "Workshop climate", (16, 17, 18), "what was being done at each reading"),
    ("H", "Mould, release, gelcoat, skin coat", (19, 20), ""),
    ("I", "Lay-up as planned and as laid", (21, 22, 23, 24, 25), "stagger, core gaps, inserts and photographs"),
    ("J", "Bag and hold test", (26, 27), "the bag drawing and leak marks"),
    (
        "K",
        "Resin plan and pour",
        (28, 29, 30, 31, 32, 33, 34),
        "pail-to-place map",
    ),
    ("L", "Gel and cure", (35, 36, 37), "post-cure"),
    (
        "M",
        "Hardness, weights and fibre share",
        (38, 39, 40, 41, 42, 43, 44),
        "thickness, panels and coupons, void content, ultrasonic inspection",
    ),
    ("N", "Findings and decisions", (45, 46, 47, 48), "repairs with their own lots and cure"),
    ("O", "Structure after demould", (49,), ""),
    ("P", "Weights and dimensions", (50,), ""),
    ("Q", "Hold points", (51, 52), "the surveyor's visits"),
    (
        "R",
        "Late, corrected and struck-out entries; check of the book",
        (53, 54, 55, 56),
        "the builder's statement of conformity",
    ),
)
LEFT_OUT = {"H", "O", "P"}

Row = TypeVar("Row", bound=TypedRow)


@dataclass(frozen=True)
class Logged(Generic[Row]):
    """A row as it stands in the book: `gone` says why it no longer does, `gone_by` is the entry that says so."""

    row: Row
    gone: str
    gone_by: int | None
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
class LayUp:
    """The schedule in force worked out by zone, and everything that was logged as laid."""

    part: Part
    revision: ScheduleRevision | None
    zones: tuple[ZoneView, ...]
    layings: tuple[Logged[Laying], ...]

    def of_line(self, line: ScheduleLine) -> tuple[Logged[Laying], ...]:
        return tuple(laying for laying in self.layings if laying.row.line_id == line.pk)

    @property
    def beside_the_schedule(self) -> tuple[Logged[Laying], ...]:
        planned = {view.line.pk for zone in self.zones for view in zone.lines}
        return tuple(laying for laying in self.layings if laying.row.line_id not in planned)

    @property
    def lines(self) -> int:
        return sum(len(zone.lines) for zone in self.zones)

    @property
    def laid(self) -> int:
        done = {laying.row.line_id for laying in self.layings if laying.stands}
        return sum(view.line.pk in done for zone in self.zones for view in zone.lines)

    @property
    def deviations(self) -> tuple[Logged[Laying], ...]:
        return tuple(found for found in self.layings if found.stands and found.row.outcome != LayingOutcome.LAID)

    @property
    def laid_short(self) -> tuple[str, ...]:
        """Lines logged as laid with less than the share of what they ask for that nobody asks about."""
        share = tables.start_values("lay_up")["least_share_of_line"]
        short = []
        for view in (view for zone in self.zones for view in zone.lines):
            laid = self._laid_as_asked(view)
            if laid is not None and view.planned_quantity and laid < share.value * view.planned_quantity:
                unit = view.line.material.stock_unit
                short.append(f"line {view.line.number} {show(laid, unit)} of {show(view.planned_quantity, unit)}")
        if short:
            short[-1] += f", less than {show(100 * share.value, '%', 0)} ({share.status})"
        return tuple(short)

    def _laid_as_asked(self, view: LineView) -> float | None:
        """How much was laid to a line; None where nothing was, or where some of it was laid otherwise."""
        standing = [laying.row for laying in self.of_line(view.line) if laying.stands]
        if not standing or any(row.outcome != LayingOutcome.LAID for row in standing):
            return None
        return sum(row.quantity or 0.0 for row in standing)

    @property
    def planned_fibre_share(self) -> float | None:
        """Fibre by weight of all its laminate as the schedule has it; None where a sheet lacks a value."""
        masses = [(zone.fibre_kg, zone.resin_kg) for zone in self.zones]
        fibre = sum(kg or 0.0 for kg, _ in masses)
        if not fibre or any(kg is None for pair in masses for kg in pair):
            return None
        return fibre / sum((fibre_kg or 0.0) + (resin_kg or 0.0) for fibre_kg, resin_kg in masses)


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
class LaidFeed:
    """Feed lines, inlets and stations as they were logged."""

    layout: Logged[FeedLayout]
    lines: tuple[FeedLine, ...]
    inlets: tuple[FeedInlet, ...]
    stations: tuple[FrontStation, ...]


@dataclass(frozen=True)
class ReadPlan:
    """A pour plan as it was read to the crew."""

    plan: Logged[PourPlan]
    sections: tuple[PlanSection, ...]
    feeds: tuple[PlanFeed, ...]
    arrivals: tuple[PlanArrival, ...]
    pails: tuple[PlanPail, ...]
    resin: tuple[PlanZoneResin, ...]
    coefficients: tuple[PlanCoefficient, ...]
    orders: tuple[PlanOrder, ...]


@dataclass(frozen=True)
class TroubleTold:
    trouble: Logged[Trouble]
    mendings: tuple[Logged[TroubleMended], ...]


@dataclass(frozen=True)
class DayTold:
    """What was logged while resin ran."""

    moves: tuple[Logged[InletMoved], ...]
    fronts: tuple[Logged[FrontReached], ...]
    readings: tuple[Logged[PourReading], ...]
    troubles: tuple[TroubleTold, ...]
    ends: tuple[Logged[PailEnd], ...]
    notes: tuple[Logged[PourNote], ...]
    sounds: tuple[Logged[SoundTest], ...]
    alarms: tuple[Logged[AlarmTaken], ...]
    answers: tuple[Logged[PourAnswer], ...]


@dataclass(frozen=True)
class PourTold:
    pour: Logged[Pour]
    day: DayTold
    pails: tuple[Pail, ...]
    remainders: tuple[Logged[Remainder], ...]
    gels: tuple[Logged[Gel], ...]
    closings: tuple[Logged[PourClosed], ...]

    @property
    def mixed_kg(self) -> float:
        return sum(pail.mass_kg for pail in self.pails if pail.mix.stands)

    @property
    def logged_twice(self) -> dict[int, list[int]]:
        """By pail number, the entries of a pail that stands more than once."""
        entries: dict[int, list[int]] = defaultdict(list)
        for pail in self.pails:
            if pail.mix.stands:
                entries[pail.mix.row.pail_number].append(pail.mix.row.pk)
        return {number: told for number, told in entries.items() if len(told) > 1}


@dataclass(frozen=True)
class PartTold:
    """Everything about one part from its lay-up to its weights."""

    part: Part
    documents: Documents
    lay_up: LayUp
    hold_tests: tuple[HeldTest, ...]
    plans: tuple[SetPlan, ...]
    feeds: tuple[LaidFeed, ...]
    pour_plans: tuple[ReadPlan, ...]
    pours: tuple[PourTold, ...]
    cure: CureView
    cure_readings: tuple[Logged[CureReading], ...]
    demouldings: tuple[Logged[Demoulded], ...]
    hardness: tuple[HardnessView, ...]
    weighings: tuple[Logged[Weighing], ...]
    used: PartUse
    probes_drawn: Scene | None = field(repr=False)
    hardness_drawn: Scene | None = field(repr=False)


@dataclass(frozen=True)
class Attachment:
    """A file that travels inside the dossier, as it was received."""

    name: str
    sha256: str
    media_type: str
    lot_codes: str
    words: str
    content: bytes = field(repr=False)


@dataclass(frozen=True)
class EntryTold:
    """An entry that wants saying on its own: late, asked about, by a clock that was off, corrected or struck out."""

    entry: Entry
    what: str
    because: str


@dataclass(frozen=True)
class DossierContent:
    hull: Hull
    yard: Yard | None
    lines: HullLines | None
    offsets: OffsetTable | None
    stages: tuple[Stage, ...]
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
    findings: tuple[FindingView, ...]
    findings_drawn: tuple[Scene, ...] = field(repr=False)
    hold_points: tuple[Logged[HoldPointRelease], ...]
    entries: tuple[Entry, ...]
    late: tuple[EntryTold, ...]
    asked: tuple[EntryTold, ...]
    clock_off: tuple[EntryTold, ...]
    gone: tuple[EntryTold, ...]
    attachments: tuple[Attachment, ...]

    @property
    def from_paper(self) -> int:
        """How many entries were copied from paper sheets."""
        return sum(entry.paper_sheet is not None for entry in self.entries)

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
        return tuple(self._chapter(*chapter) for chapter in CHAPTERS)

    def chapter(self, letter: str) -> Chapter:
        return next(chapter for chapter in self.chapters if chapter.letter == letter)

    @cached_property
    def answers(self) -> tuple[Answer, ...]:
        return (
            self._material_certification(),
            self._laminating_log(),
            Answer(3, "Thickness test", "no verdict", NO_VERDICT_YET, "M"),
            Answer(4, "Ultrasonic test", "no verdict", NO_VERDICT_YET, "M"),
            self._resin_content(),
            self._built_to_plans(),
        )

    def instrument_words(self, *instruments: Instrument) -> str:
        """The instruments of one table with their due dates, each once."""
        wanted = {instrument.pk for instrument in instruments}
        return "; ".join(use.words for use in self.instruments if use.instrument.pk in wanted)

    def _chapter(self, letter: str, title: str, checks: tuple[int, ...], beside: str) -> Chapter:
        if letter in LEFT_OUT:
            return Chapter(letter, title, NOT_IN_THIS_VERSION, (), is_filled=False)
        missing = tuple(found for found in self.missing if int(found.check.lstrip("C")) in checks)
        if missing:
            state = f"missing: {len(missing)}"
        elif letter in self._not_wanted:
            state = f"not wanted, because {self._not_wanted[letter]}"
        else:
            state = "complete"
        if beside:
            state = f"{state}; {NOT_IN_THIS_VERSION}: {beside}"
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

    def _laminating_log(self) -> Answer:
        question = "Daily laminating log"
        lines, laid = sum(part.lay_up.lines for part in self.parts), sum(part.lay_up.laid for part in self.parts)
        counted = f"{laid} of {lines} schedule lines logged"
        if not lines:
            return Answer(2, question, "no verdict", "no schedule is in force", "I")
        if missing := self._missing_words("C", "D", "I"):
            return Answer(2, question, "no verdict", f"{counted}; {missing}", "I")
        if self._laid_short:
            return Answer(2, question, "conditional pass", f"{counted}; {self._laid_short}", "I")
        return Answer(2, question, "pass", counted, "I")

    def _resin_content(self) -> Answer:
        question, balances = "Resin and glass content", [part.used.mass_balance for part in self.parts]
        words = "; ".join(_content_words(balance) for balance in balances)
        if not balances or any(balance.fibre is None or balance.closes is None for balance in balances):
            return Answer(5, question, "no verdict", words or "the hull has no part", "M")
        if missing := self._missing_words("K", "M"):
            return Answer(5, question, "no verdict", f"{words}; {missing}", "M")
        if not all(balance.closes for balance in balances):
            return Answer(5, question, "fail", words, "M")
        against_plan = [_share_against_plan(part) for part in self.parts]
        words = f"{words}; {'; '.join(found for found, _ in against_plan)}"
        return Answer(5, question, "pass" if all(met for _, met in against_plan) else "no verdict", words, "M")

    def _built_to_plans(self) -> Answer:
        question = "Built to the plans"
        deviations = [found for part in self.parts for found in part.lay_up.deviations]
        if not any(part.lay_up.lines for part in self.parts):
            return Answer(6, question, "no verdict", "no schedule is in force", "C, I")
        chapters = "C, I, N, Q"
        conceded = [found for found in self.findings if found.decision and found.decision.decision in CONCESSIONS]
        otherwise = [
            *([f"{len(deviations)} deviations, each with its reason"] if deviations else []),
            *([self._laid_short] if self._laid_short else []),
            *([f"{len(conceded)} findings accepted, see N"] if conceded else []),
        ]
        words = "; ".join(otherwise) or "what is laid is laid as the signed schedule says"
        if missing := self._missing_words("C", "I", "N", "Q"):
            return Answer(6, question, "no verdict", f"{words}; {missing}", chapters)
        return Answer(6, question, "conditional pass" if otherwise else "pass", words, chapters)

    @cached_property
    def _laid_short(self) -> str:
        return "; ".join(short for part in self.parts for short in part.lay_up.laid_short)

    def _worst(self, code: str, otherwise: str) -> tuple[str, str]:
        found = [one for one in self.findings if one.code == code and not one.gone]
        if not found:
            return "pass", otherwise
        undecided = [one for one in found if one.is_open]
        worst = "fail" if undecided else "conditional pass"
        return worst, f"{otherwise}; {len(found)} uses judged outside, {len(undecided)} of them undecided"


def _share_against_plan(part: PartTold) -> tuple[str, bool]:
    """The found fibre share against the schedule's, in words, and whether they agree within U (k = 2)."""
    fibre, planned = part.used.mass_balance.fibre, part.lay_up.planned_fibre_share
    if fibre is None or planned is None:
        return f"{part.part.name}: no share planned to hold it against", False
    words = f"planned {show(100 * planned, '%')}"
    if abs(fibre.fibre_mass_fraction - planned) <= 2 * fibre.fibre_mass_fraction_sd:
        return words, True
    return f"{words}, further off than its uncertainty and no limit set: for the designer to judge", False


def _content_words(balance: MassBalance) -> str:
    if balance.fibre is None:
        return f"{balance.part.name}: {balance.fibre_why_not}"
    share, two_sd = (
        show_number(100 * part, "%")
        for part in (balance.fibre.fibre_mass_fraction, 2 * balance.fibre.fibre_mass_fraction_sd)
    )
    return f"{balance.part.name}: fibre {share} ± {two_sd} % by weight (k = 2), {balance.words}"


def moment(at: dt.datetime) -> str:
    """A time as the dossier prints it: always UTC, so that it reads the same wherever it is drawn."""
    return f"{at.astimezone(dt.UTC):%Y-%m-%d %H:%M} UTC"
