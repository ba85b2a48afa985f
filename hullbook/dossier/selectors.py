"""Everything a hull's dossier says, gathered from the book; nothing here draws.

Rows are kept as the book has them, also those corrected or struck out, which say so. What a dossier says follows from
the entries it shows, so the last of them is the moment it stands for.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, fields, is_dataclass
from decimal import Decimal
from enum import Enum
from functools import cached_property
from typing import Any, Generic, TypeVar

from django.core.files.storage import default_storage
from django.db.models import Model, QuerySet

from hullbook.calc import chain
from hullbook.calc.craft_number import read_craft_number
from hullbook.calc.errors import InputRefused
from hullbook.cure.models import CureReading, Demoulded
from hullbook.cure.selectors import CureView, cure_view
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
from hullbook.hulls.selectors import ZoneView, schedule_view
from hullbook.inspection.models import Weighing
from hullbook.inspection.selectors import (
    FindingView,
    HardnessView,
    MassBalance,
    Missing,
    PartUse,
    Stage,
    findings_of,
    gone_entries,
    hardness_sets,
    hull_stages,
    planned_against_used,
    what_is_missing,
)
from hullbook.materials.models import Certificate, Lot, LotDecision, MaterialProperty, MaterialSheet, StockMovement
from hullbook.materials.selectors import properties_in_force
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
from hullbook.quantities.showing import show_number
from hullbook.records.models import Entry, EntryRow, Judgement, TypedRow, in_columns
from hullbook.records.selectors import entries_about
from hullbook.yard.models import Calibration, ClimateReading, Instrument, Person, RoleChange, Yard
from hullbook.yard.selectors import yard_in_force

FORMAT = "hullbook-dossier-1"
NOT_IN_THIS_VERSION = "not in this version"
AS_IT_STANDS = "as it stands, not for acceptance"
NO_VERDICT_YET = "not in this version: no verdict"

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
        "front positions, inlets opened and closed, vacuum log, pail-to-place map",
    ),
    ("L", "Gel and cure", (35, 36, 37), "the probe map and post-cure"),
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
class PartTold:
    """Everything about one part from its lay-up to its weights."""

    part: Part
    documents: Documents
    lay_up: LayUp
    hold_tests: tuple[HeldTest, ...]
    plans: tuple[SetPlan, ...]
    pours: tuple[PourTold, ...]
    cure: CureView
    cure_readings: tuple[Logged[CureReading], ...]
    demouldings: tuple[Logged[Demoulded], ...]
    hardness: tuple[HardnessView, ...]
    weighings: tuple[Logged[Weighing], ...]
    used: PartUse


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
    hold_points: tuple[Logged[HoldPointRelease], ...]
    entries: tuple[Entry, ...]
    late: tuple[EntryTold, ...]
    asked: tuple[EntryTold, ...]
    gone: tuple[EntryTold, ...]
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
        return tuple(self._chapter(*chapter) for chapter in CHAPTERS)

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
        question, balances = "Resin and glass content", [part.used.mass_balance for part in self.parts]
        words = "; ".join(_content_words(balance) for balance in balances)
        if not balances or any(balance.fibre is None or balance.closes is None for balance in balances):
            return Answer(5, question, "no verdict", words or "the hull has no part", "M")
        if missing := self._missing_words("K", "M"):
            return Answer(5, question, "no verdict", f"{words}; {missing}", "M")
        return Answer(5, question, "pass" if all(balance.closes for balance in balances) else "fail", words, "M")

    def _built_to_plans(self) -> Answer:
        question = "Built to the plans"
        deviations = [found for part in self.parts for found in part.lay_up.deviations]
        if not any(part.lay_up.lines for part in self.parts):
            return Answer(6, question, "no verdict", "no schedule is in force", "C, I")
        if missing := self._missing_words("C", "I"):
            return Answer(6, question, "no verdict", f"{len(deviations)} deviations; {missing}", "C, I")
        if deviations:
            return Answer(
                6, question, "conditional pass", f"{len(deviations)} deviations, each with its reason", "C, I"
            )
        return Answer(6, question, "pass", "every line laid as the signed schedule says", "C, I")

    def _worst(self, code: str, otherwise: str) -> tuple[str, str]:
        found = [one for one in self.findings if one.code == code and not one.gone]
        if not found:
            return "pass", otherwise
        undecided = [one for one in found if one.is_open]
        worst = "fail" if undecided else "conditional pass"
        return worst, f"{otherwise}; {len(found)} uses judged outside, {len(undecided)} of them undecided"


def dossier_content(hull: Hull, *, issue_number: int | None = None) -> DossierContent:
    """The hull as the book tells it now; `issue_number` where it is about to be issued."""
    hull = Hull.objects.select_related("boat_model", "bay", "entry").get(pk=hull.pk)
    own = list(entries_about(hull.number))
    parts, climate, lots = _parts(hull), _climate(hull, own), _lots(hull)
    craft_numbers = _logged(CraftNumberGiven.objects.filter(hull=hull))
    told: dict[str, Any] = {
        "hull": hull,
        "yard": yard_in_force(),
        "stages": tuple(hull_stages(hull)),
        "issue_number": issue_number,
        "issues": _logged(DossierIssue.objects.filter(hull=hull).select_related("file")),
        "craft_numbers": craft_numbers,
        "craft_number_words": _craft_number_words(craft_numbers),
        "departures": _logged(LeftYard.objects.filter(hull=hull)),
        "missing": tuple(what_is_missing(hull)),
        "people": _people(own, parts),
        "instruments": _instruments(parts, climate),
        "lots": lots,
        "climate": climate,
        "parts": parts,
        "findings": tuple(reversed(findings_of(hull))),
        "hold_points": _logged(HoldPointRelease.objects.filter(hull=hull)),
        "attachments": _attachments(lots),
    }
    logged = [found for found in _walked(told) if isinstance(found, Logged)]
    rows = {row.pk: row for row in _walked(told) if isinstance(row, TypedRow)}
    shown = {entry.number for entry in own} | set(rows) | {found.gone_by for found in logged if found.gone_by}
    entries = tuple(Entry.objects.filter(number__in=shown).order_by("number"))
    words = {entry.number: _what(entry, rows) for entry in entries}
    gone = gone_entries(entries)
    return DossierContent(
        **told,
        entries=entries,
        late=tuple(
            EntryTold(entry, words[entry.number], f"happened {moment(entry.happened_at)}")
            for entry in entries
            if entry.told_late
        ),
        asked=tuple(
            EntryTold(entry, words[entry.number], f"{asked['question']} Answered: {asked['given']}, right as given.")
            for entry in entries
            for asked in entry.confirmed
        ),
        gone=tuple(
            EntryTold(entry, words[entry.number], gone[entry.number]) for entry in entries if entry.number in gone
        ),
    )


def book_of(content: DossierContent) -> str:
    """What the dossier says, and every entry it rests on with its hash, as one canonical JSON text."""
    return chain.canonical(
        {
            "format": FORMAT,
            "hull": content.hull.number,
            "as_at": {"entry": content.as_at.number, "hash": content.as_at.hash, "booked_at": content.as_at.booked_at},
            "issue": content.issue_number,
            "as_it_stands": content.as_it_stands,
            "answers": _in_json(content.answers),
            "chapters": _in_json(content.chapters),
            "content": _in_json(content),
            "entries": [
                {**entry.envelope(), "previous_hash": entry.previous_hash, "hash": entry.hash}
                for entry in content.entries
            ],
        }
    )


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


def _logged(rows: QuerySet[Any], order: str = "entry__happened_at") -> tuple[Logged[Any], ...]:
    related = rows.select_related("entry__struck_out__entry", "corrected_by__entry")
    return tuple(_standing(row) for row in related.prefetch_related("entry__judgements").order_by(order, "pk"))


def _standing(row: Any) -> Logged[Any]:
    gone, gone_by = "", None
    if hasattr(row, "corrected_by"):
        gone_by, gone = row.corrected_by.entry, f"corrected: {row.corrected_by.reason}"
    elif hasattr(row.entry, "struck_out"):
        gone_by, gone = row.entry.struck_out.entry, f"struck out: {row.entry.struck_out.reason}"
    judgements = tuple(row.entry.judgements.all())
    if gone_by is None:
        return Logged(row, "", None, judgements)
    return Logged(
        row,
        f"{gone} (entry {gone_by.number}, {gone_by.person} {moment(gone_by.booked_at)})",
        gone_by.number,
        judgements,
    )


def _lines(rows: QuerySet[Any], parent: str) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for line in rows.order_by(parent, "position"):
        found[getattr(line, f"{parent}_id")].append(line)
    return found


def _by(rows: Iterable[Logged[Any]], column: str) -> dict[int, tuple[Logged[Any], ...]]:
    found: dict[int, list[Logged[Any]]] = defaultdict(list)
    for logged in rows:
        found[getattr(logged.row, column)].append(logged)
    return defaultdict(tuple, {key: tuple(members) for key, members in found.items()})


def _craft_number_words(given: tuple[Logged[CraftNumberGiven], ...]) -> str:
    standing = [logged for logged in given if logged.stands]
    if not standing:
        return ""
    number, on = standing[-1].row.number, standing[-1].entry.happened_at.date()
    country = number[:2] if number[2:3] == "-" else "US"
    try:
        return read_craft_number(number, today=on, country_codes={country}).in_words
    except InputRefused as refused:
        return str(refused)


def _parts(hull: Hull) -> tuple[PartTold, ...]:
    in_force = _logged(
        RevisionInForce.objects.filter(part__hull=hull).select_related("part__hull", "revision__boat_model"), "pk"
    )
    revisions = [logged.row.revision_id for logged in in_force]
    signed = {
        row.revision_id: row
        for row in ScheduleSigned.objects.filter(revision__in=revisions).select_related("entry", "revision__boat_model")
    }
    of = {"part__hull": hull}
    by_part = {
        "in_force": _by(in_force, "part_id"),
        "layings": _by(
            _logged(
                Laying.objects.filter(**of).select_related("part__hull", "zone", "line__material", "lot__material")
            ),
            "part_id",
        ),
        "hold_tests": _by(_logged(HoldTest.objects.filter(**of).select_related("part__hull", "gauge")), "part_id"),
        "plans": _by(
            _logged(
                ResinPlan.objects.filter(**of).select_related(
                    "part__hull", "system__resin", "system__catalyst", "revision__boat_model"
                )
            ),
            "part_id",
        ),
        "pours": _by(_logged(Pour.objects.filter(**of).select_related("part__hull", "plan")), "part_id"),
        "cure_readings": _by(
            _logged(CureReading.objects.filter(**of).select_related("part__hull", "thermometer")), "part_id"
        ),
        "demouldings": _by(_logged(Demoulded.objects.filter(**of).select_related("part__hull")), "part_id"),
        "weighings": _by(_logged(Weighing.objects.filter(**of).select_related("part__hull", "scale")), "part_id"),
    }
    hold_readings = _lines(HoldReading.objects.filter(test__part__hull=hull), "test")
    plan_items = _lines(PlanItem.objects.filter(plan__part__hull=hull), "plan")
    plan_inputs = _lines(PlanInput.objects.filter(plan__part__hull=hull), "plan")
    pour_told = _pours(hull, by_part["pours"])
    return tuple(
        PartTold(
            part=part,
            documents=Documents(part, by_part["in_force"][part.pk], signed),
            lay_up=_lay_up(part, by_part["in_force"][part.pk], by_part["layings"][part.pk], by_part["plans"][part.pk]),
            hold_tests=tuple(
                HeldTest(test, tuple(hold_readings[test.row.pk])) for test in by_part["hold_tests"][part.pk]
            ),
            plans=tuple(
                SetPlan(plan, tuple(plan_items[plan.row.pk]), tuple(plan_inputs[plan.row.pk]))
                for plan in by_part["plans"][part.pk]
            ),
            pours=pour_told[part.pk],
            cure=cure_view(part),
            cure_readings=by_part["cure_readings"][part.pk],
            demouldings=by_part["demouldings"][part.pk],
            hardness=tuple(hardness_sets(part)),
            weighings=by_part["weighings"][part.pk],
            used=planned_against_used(part),
        )
        for part in Part.objects.filter(hull=hull).select_related("hull", "entry").order_by("pk")
    )


def _lay_up(
    part: Part,
    in_force: tuple[Logged[RevisionInForce], ...],
    layings: tuple[Logged[Laying], ...],
    plans: tuple[Logged[ResinPlan], ...],
) -> LayUp:
    revisions = [logged.row.revision for logged in in_force if logged.stands]
    resins = [logged.row.system.resin for logged in plans if logged.stands]
    density = properties_in_force(resins[-1:])[resins[-1].pk].values.get("cured_density_kg_m3") if resins else None
    zones = schedule_view(revisions[-1], density).zones if revisions else ()
    return LayUp(part, revisions[-1] if revisions else None, zones, layings)


def _pours(hull: Hull, pours: dict[int, tuple[Logged[Pour], ...]]) -> dict[int, tuple[PourTold, ...]]:
    of = {"pour__part__hull": hull}
    whole = "pour__part__hull"
    mixes = _by(
        _logged(Mix.objects.filter(**of).select_related(whole, "scale", "catalyst_scale", "thermometer")), "pour_id"
    )
    components = _lines(MixComponent.objects.filter(mix__pour__part__hull=hull).select_related("lot__material"), "mix")
    remainders = _by(_logged(Remainder.objects.filter(**of).select_related(whole, "scale", "mix")), "pour_id")
    gels = _by(_logged(Gel.objects.filter(**of).select_related(whole, "mix")), "pour_id")
    closings = _by(_logged(PourClosed.objects.filter(**of).select_related(whole)), "pour_id")
    return defaultdict(
        tuple,
        {
            part: tuple(
                PourTold(
                    pour=pour,
                    pails=tuple(Pail(mix, tuple(components[mix.row.pk])) for mix in mixes[pour.row.pk]),
                    remainders=remainders[pour.row.pk],
                    gels=gels[pour.row.pk],
                    closings=closings[pour.row.pk],
                )
                for pour in told
            )
            for part, told in pours.items()
        },
    )


def _lots(hull: Hull) -> tuple[LotUse, ...]:
    used: dict[int, float] = defaultdict(float)
    for movement in StockMovement.objects.filter(entry__about=hull.number).order_by("pk"):
        used[movement.lot_id] -= movement.quantity
    own_last = max(entries_about(hull.number).values_list("number", flat=True), default=0)
    lots = _logged(Lot.objects.filter(pk__in=used).select_related("material"), "material__kind")
    decisions = _by(_logged(LotDecision.objects.filter(lot__in=used).select_related("lot")), "lot_id")
    certificates = _by(_logged(Certificate.objects.filter(lot__in=used).select_related("lot", "file")), "lot_id")
    sheets = {
        sheet.material_id: sheet
        for sheet in MaterialSheet.objects.current()
        .filter(material__in=[lot.row.material_id for lot in lots], pk__lte=own_last)
        .order_by("pk")
    }
    properties = _lines(MaterialProperty.objects.filter(sheet__in=[sheet.pk for sheet in sheets.values()]), "sheet")
    return tuple(
        LotUse(
            lot=lot,
            sheet=(sheet := sheets.get(lot.row.material_id)),
            properties=tuple(properties[sheet.pk]) if sheet else (),
            decisions=decisions[lot.row.pk],
            certificates=certificates[lot.row.pk],
            used_here=used[lot.row.pk],
        )
        for lot in lots
    )


def _climate(hull: Hull, own: list[Entry]) -> tuple[Logged[ClimateReading], ...]:
    """The air of the hull's bay from laying down to the last work on it."""
    issue = DossierIssue._meta.label_lower
    last = max(entry.happened_at for entry in own if entry.kind != issue)
    first = dt.datetime.combine(hull.laid_down_on, dt.time(), tzinfo=dt.UTC)
    readings = ClimateReading.objects.filter(bay=hull.bay, entry__happened_at__gte=first, entry__happened_at__lte=last)
    return _logged(readings.select_related("bay", "thermometer", "hygrometer"))


def _people(own: list[Entry], parts: tuple[PartTold, ...]) -> tuple[PersonUse, ...]:
    named: dict[str, int] = defaultdict(int)
    for entry in own:
        named[entry.person] += 1
    hands = [
        *(initials for part in parts for logged in part.lay_up.layings for initials in _hands(logged.row, "laid_by")),
        *(
            initials
            for part in parts
            for pour in part.pours
            for pail in pour.pails
            for initials in _hands(pail.mix.row, "mixed_by")
        ),
    ]
    for initials in hands:
        named[initials] += 0
    roles = _by(
        _logged(RoleChange.objects.filter(person__initials__in=named).select_related("person"), "pk"), "person_id"
    )
    people = Person.objects.filter(initials__in=named).order_by("initials")
    return tuple(PersonUse(person, roles[person.pk], named[person.initials]) for person in people)


def _hands(row: Any, column: str) -> list[str]:
    return [initials for initials in (getattr(row, column), row.second_person, row.lead) if initials]


def _instruments(parts: tuple[PartTold, ...], climate: tuple[Logged[ClimateReading], ...]) -> tuple[InstrumentUse, ...]:
    uses: dict[int, list[Entry]] = defaultdict(list)
    for row in (found for found in _walked((parts, climate)) if isinstance(found, TypedRow)):
        for instrument in _instruments_of(row):
            uses[instrument].append(row.entry)
    calibrations: dict[int, list[Calibration]] = defaultdict(list)
    for calibration in Calibration.objects.current().filter(instrument__in=uses).order_by("calibrated_on", "pk"):
        calibrations[calibration.instrument_id].append(calibration)
    return tuple(
        _instrument_use(instrument, uses[instrument.pk], calibrations[instrument.pk])
        for instrument in Instrument.objects.filter(pk__in=uses).select_related("entry").order_by("kind", "code")
    )


def _instruments_of(row: TypedRow) -> set[int]:
    if isinstance(row, Calibration):
        return set()
    columns = [column for column in row._meta.concrete_fields if column.related_model is Instrument]
    return {key for column in columns if (key := getattr(row, column.attname)) is not None}


def _instrument_use(instrument: Instrument, uses: list[Entry], calibrations: list[Calibration]) -> InstrumentUse:
    """A later calibration does not better what was measured before it."""
    counted: dict[int, Calibration] = {}
    out_of_date = set()
    for entry in uses:
        on = entry.happened_at.date()
        before = [calibration for calibration in calibrations if calibration.calibrated_on <= on]
        if before:
            counted[before[-1].pk] = before[-1]
        if not before or before[-1].due_on < on:
            out_of_date.add(entry.number)
    numbers = {entry.number for entry in uses}
    return InstrumentUse(instrument, tuple(counted.values()), len(numbers), tuple(sorted(out_of_date)))


def _attachments(lots: tuple[LotUse, ...]) -> tuple[Attachment, ...]:
    found: dict[str, Attachment] = {}
    for lot in lots:
        for certificate in (logged.row for logged in lot.certificates if logged.stands):
            file = certificate.file
            with default_storage.open(file.path) as stored:
                content = stored.read()
            words = f"{certificate.kind} {certificate.number}, {certificate.dated_on:%Y-%m-%d}"
            found.setdefault(
                file.sha256,
                Attachment(
                    name=f"{lot.lot.row.code} {file.sent_name}",
                    sha256=file.sha256,
                    media_type=file.media_type,
                    lot_code=lot.lot.row.code,
                    words=words,
                    content=content,
                ),
            )
    return tuple(found.values())


def _what(entry: Entry, rows: dict[int, TypedRow]) -> str:
    row = rows.get(entry.number)
    if row is not None:
        return str(row)
    return str(entry.kind.partition(".")[2])


def _walked(value: Any) -> Iterator[Any]:
    """Every row and every dataclass inside, the outer before the inner."""
    if isinstance(value, Model):
        yield value
    elif is_dataclass(value):
        yield value
        for one in fields(value):
            yield from _walked(getattr(value, one.name))
    elif isinstance(value, dict):
        for member in value.values():
            yield from _walked(member)
    elif isinstance(value, list | tuple):
        for member in value:
            yield from _walked(member)


def _in_json(value: Any) -> Any:
    """The same walk, into what canonical JSON takes: rows by their columns, floats as decimals."""
    match value:
        case Enum():
            return value.value
        case None | bool() | int() | str() | Decimal() | dt.date():
            return value
        case float():
            return Decimal(repr(value))
        case Person():
            return {"initials": value.initials, "full_name": value.full_name}
        case Entry():
            return value.number
        case TypedRow():
            return {"entry": value.pk, **value.columns()}
        case EntryRow():
            return value.columns()
        case Zone() | ScheduleLine() | ScheduleRevision():
            return in_columns(value, frozenset())
        case dict():
            return {str(key): _in_json(member) for key, member in value.items()}
        case list() | tuple():
            return [_in_json(member) for member in value]
        case _ if is_dataclass(value):
            return {one.name: _in_json(getattr(value, one.name)) for one in fields(value) if one.repr}
        case _:
            raise TypeError(f"{type(value).__name__} has no place in a dossier")
