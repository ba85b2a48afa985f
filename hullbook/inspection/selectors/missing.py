"""What a hull's dossier still wants: one small function a check, in one table."""

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from hullbook.cure.models import CureReading, Demoulded
from hullbook.hulls.enums import HOLD_POINTS, BuildRegime, LayingOutcome
from hullbook.hulls.models import (
    CraftNumberGiven,
    HoldPointRelease,
    Hull,
    Laying,
    LeftYard,
    Part,
    RevisionInForce,
    ScheduleLine,
    ScheduleSigned,
)
from hullbook.hulls.selectors import same_lines
from hullbook.inspection.enums import Decision, Weighed
from hullbook.inspection.models import Finding, FindingDecision, HardnessSet, Weighing
from hullbook.inspection.selectors.findings import FindingView, climate_of, findings_of
from hullbook.inspection.selectors.hardness import HARDNESS_MEAN
from hullbook.inspection.selectors.resin import MassBalance, PartUse, planned_against_used
from hullbook.materials.enums import LotState, MaterialKind
from hullbook.materials.models import Certificate, Lot, LotDecision
from hullbook.materials.selectors import StockSums, stock_sums
from hullbook.pours.enums import ComponentRole, GelPlace
from hullbook.pours.models import Gel, HoldTest, Mix, Pour, PourClosed, PourReading, Remainder
from hullbook.quantities.showing import show
from hullbook.records.models import Entry, TypedRow
from hullbook.yard.enums import Role
from hullbook.yard.models import Calibration, ClimateReading, Instrument, RoleChange

NO_ISSUE, AS_LACKING, NOTE = "X", "L", "N"
LEVEL_WORDS = {
    NO_ISSUE: "stops the dossier",
    AS_LACKING: "the dossier says that it is missing",
    NOTE: "a note",
}
BUILDER, LEAD, OFFICE = "builder", "quality lead", "office"
STANDS_AS_IT_IS = (Decision.ACCEPT, Decision.CONCESSION)
DOSES_ALIKE_PHR = 0.1
BALANCE_SHARE, BALANCE_UNITS = 0.02, 1.0
READ_AFTER_PEAK = dt.timedelta(hours=1)
LAST_HOLD_POINT_BEFORE_ISSUE = 11


@dataclass(frozen=True)
class Missing:
    """Something a check did not find: what, where on the hull, who supplies it, and whether that can still be done."""

    check: str
    what: str
    who: str
    where: str
    irrecoverable: bool
    level: str

    @property
    def level_words(self) -> str:
        return LEVEL_WORDS[self.level]


@dataclass(frozen=True)
class Gap:
    """What one check found missing; level and irrecoverable only where they differ from the check's own."""

    where: str
    what: str
    level: str = ""
    irrecoverable: bool | None = None


@dataclass
class PartInBook:
    """The rows about one part that count."""

    part: Part
    use: PartUse
    in_force: list[RevisionInForce] = field(default_factory=list)
    lines: list[ScheduleLine] = field(default_factory=list)
    settled_lines: set[int] = field(default_factory=set)
    layings: list[Laying] = field(default_factory=list)
    hold_tests: list[HoldTest] = field(default_factory=list)
    pours: list[Pour] = field(default_factory=list)
    closings: list[PourClosed] = field(default_factory=list)
    mixes: list[Mix] = field(default_factory=list)
    remainders: list[Remainder] = field(default_factory=list)
    gels: list[Gel] = field(default_factory=list)
    pour_readings: list[PourReading] = field(default_factory=list)
    cure_readings: list[CureReading] = field(default_factory=list)
    demouldings: list[Demoulded] = field(default_factory=list)
    hardness: list[HardnessSet] = field(default_factory=list)
    weighings: list[Weighing] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def name(self) -> str:
        return self.part.name

    @property
    def zones(self) -> list[str]:
        return list(dict.fromkeys(line.zone.name for line in self.lines))

    @property
    def balance(self) -> MassBalance:
        return self.use.mass_balance

    @property
    def gelled_at(self) -> dt.datetime | None:
        return min((gel.entry.happened_at for gel in self.gels if gel.at == GelPlace.PART), default=None)


@dataclass(frozen=True)
class LotUse:
    """A lot going into the hull by one entry."""

    entry: Entry
    lot: Lot
    where: str
    by_the_lead: bool


@dataclass
class HullInBook:
    """Everything the checks look at, read once."""

    hull: Hull
    parts: list[PartInBook]
    hold_points: list[HoldPointRelease]
    craft_numbers: list[CraftNumberGiven]
    departures: list[LeftYard]
    signings: list[ScheduleSigned]
    roles: list[RoleChange]
    climate: list[ClimateReading]
    calibrations: dict[int, list[Calibration]]
    lot_decisions: dict[int, list[LotDecision]]
    certificates: dict[int, list[Certificate]]
    stock: dict[int, StockSums]
    findings: list[FindingView]
    decisions: dict[int, FindingDecision]

    def lot_uses(self) -> Iterator[LotUse]:
        for part in self.parts:
            for laying in part.layings:
                if laying.lot is not None:
                    where = f"{part.name}, {laying.zone.name}"
                    yield LotUse(laying.entry, laying.lot, where, bool(laying.lead_reason))
            for mix in part.mixes:
                for component in mix.components.all():
                    where = f"{part.name}, pail {mix.pail_number}"
                    yield LotUse(mix.entry, component.lot, where, bool(mix.lead_reason))

    def is_decided(self, entry: Entry) -> bool:
        return entry.pk in self.decisions

    def stands_as_it_is(self, entry: Entry) -> bool:
        decision = self.decisions.get(entry.pk)
        return decision is not None and decision.decision in STANDS_AS_IT_IS

    def held_role(self, initials: str, role: Role, at: dt.datetime) -> bool:
        held = False
        for change in self.roles:
            if change.person.initials == initials and change.role == role and change.entry.happened_at <= at:
                held = change.holds
        return held

    def not_released(self) -> Iterator[LotUse]:
        for use in self.lot_uses():
            states = [
                decision.state
                for decision in self.lot_decisions.get(use.lot.pk, [])
                if decision.entry.happened_at <= use.entry.happened_at
            ]
            if (
                not (states and states[-1] == LotState.RELEASED)
                and not use.by_the_lead
                and not self.is_decided(use.entry)
            ):
                yield use

    def out_of_date(self) -> Iterator[LotUse]:
        for use in self.lot_uses():
            late = use.lot.use_by is not None and use.lot.use_by < timezone.localdate(use.entry.happened_at)
            if late and not use.by_the_lead and not self.is_decided(use.entry):
                yield use


@dataclass(frozen=True)
class Check:
    """One thing a dossier wants: when it is wanted, what finds it missing, who supplies it, and how grave it is."""

    id: str
    words: str
    gaps: Callable[[HullInBook], Iterable[Gap]]
    who: str
    level: str
    irrecoverable: bool = False
    wanted: Callable[[HullInBook], bool] = lambda book: True

    def missing(self, book: HullInBook) -> Iterator[Missing]:
        if not self.wanted(book):
            return
        for gap in self.gaps(book):
            irrecoverable = self.irrecoverable if gap.irrecoverable is None else gap.irrecoverable
            yield Missing(self.id, gap.what, self.who, gap.where, irrecoverable, gap.level or self.level)


# ---- Identity and documents


def is_recreational(book: HullInBook) -> bool:
    return book.hull.build_regime == BuildRegime.RECREATIONAL


def has_left(book: HullInBook) -> bool:
    return bool(book.departures)


def no_craft_number(book: HullInBook) -> Iterator[Gap]:
    if not book.craft_numbers:
        level = NO_ISSUE if has_left(book) else ""
        yield Gap(book.hull.number, "no craft identification number is given", level)


def laid_to_no_schedule(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        if not part.in_force:
            yield Gap(part.name, "no signed schedule is in force")
            continue
        for laying in part.layings:
            if laying.line is None:
                continue
            then = [row for row in part.in_force if row.entry.happened_at <= laying.entry.happened_at]
            if not then or then[-1].revision_id != laying.line.revision_id:
                yield Gap(
                    f"{part.name}, {laying.zone.name}",
                    f"line {laying.line.number} was laid (entry {laying.pk}) to a schedule that was not in force then",
                )


def signed_without_the_role(book: HullInBook) -> Iterator[Gap]:
    signed: list[tuple[TypedRow, str]] = [
        *((row, f"hold point {row.number}") for row in book.hold_points),
        *((row, str(row.revision)) for row in book.signings),
        *((row, f"the decision on entry {row.about_entry_id}") for row in book.decisions.values()),
    ]
    for decisions in book.lot_decisions.values():
        signed += [(row, f"the release of {row.lot.code}") for row in decisions if row.state == LotState.RELEASED]
    for row, what in signed:
        entry = row.entry
        if not book.held_role(entry.person, Role.QUALITY_LEAD, entry.happened_at):
            yield Gap(
                book.hull.number, f"{entry.person} signed {what} (entry {entry.pk}) without being quality lead then"
            )


# ---- Instruments


def measured_with_nothing(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        for row in part.remainders:
            if row.scale is None and row.mass_kg:
                yield Gap(part.name, f"{row.get_place_display()}, {show(row.mass_kg, 'kg')}: no scale is named")


def instrument_out_of_date(book: HullInBook) -> Iterator[Gap]:
    for entry, what, instrument, is_grave in _measurements(book):
        if instrument is None or _in_date(book, instrument, entry) or book.is_decided(entry):
            continue
        yield Gap(
            what,
            f"{instrument.code} was out of date when it was used (entry {entry.pk})",
            NO_ISSUE if is_grave else "",
        )


def _measurements(book: HullInBook) -> Iterator[tuple[Entry, str, Instrument | None, bool]]:
    """Entry, where, the instrument, and whether the dossier stops where it is out of date."""
    for part in book.parts:
        for test in part.hold_tests:
            yield test.entry, f"{part.name}, hold test {test.number}", test.gauge, True
        for mix in part.mixes:
            pail = f"{part.name}, pail {mix.pail_number}"
            yield mix.entry, pail, mix.scale, True
            yield mix.entry, pail, mix.catalyst_scale, True
            yield mix.entry, pail, mix.thermometer, False
        for remainder in part.remainders:
            yield remainder.entry, f"{part.name}, {remainder.get_place_display()}", remainder.scale, True
        for read in part.pour_readings:
            yield read.entry, f"{part.name}, {read.what} while resin ran", read.instrument, False
        for reading in part.cure_readings:
            yield reading.entry, f"{part.name}, {reading.place}", reading.thermometer, False
        for tried in part.hardness:
            yield tried.entry, f"{part.name}, {tried.zone_name}", tried.tester, True
        for weighing in part.weighings:
            yield weighing.entry, f"{part.name}, {weighing.get_what_display()}", weighing.scale, True
    for climate in book.climate:
        yield climate.entry, "the bay", climate.thermometer, False
        yield climate.entry, "the bay", climate.hygrometer, False


def _in_date(book: HullInBook, instrument: Instrument, entry: Entry) -> bool:
    day = timezone.localdate(entry.happened_at)
    known = [one for one in book.calibrations.get(instrument.pk, []) if one.calibrated_on <= day]
    latest = max(known, key=lambda one: (one.calibrated_on, one.pk), default=None)
    return latest is not None and day <= latest.due_on


# ---- Lots


def used_before_release(book: HullInBook) -> Iterator[Gap]:
    for use in book.not_released():
        yield Gap(use.where, f"{use.lot.code} was not released when it was used (entry {use.entry.pk})")


def used_out_of_date(book: HullInBook) -> Iterator[Gap]:
    for use in book.out_of_date():
        yield Gap(use.where, f"{use.lot.code} was past its use-by {use.lot.use_by:%Y-%m-%d} (entry {use.entry.pk})")


CERTIFICATE_WANTED = {
    MaterialKind.RESIN: NO_ISSUE,
    MaterialKind.CORE: NO_ISSUE,
    MaterialKind.REINFORCEMENT: AS_LACKING,
    MaterialKind.GELCOAT: AS_LACKING,
}


def no_certificate(book: HullInBook) -> Iterator[Gap]:
    for lot in _lots(book):
        level = CERTIFICATE_WANTED.get(MaterialKind(lot.material.kind))
        if level and not book.certificates.get(lot.pk):
            yield Gap(lot.code, f"no certificate with {lot.code}, {lot.material.code}", level)


def lot_does_not_balance(book: HullInBook) -> Iterator[Gap]:
    for lot in _lots(book):
        sums = book.stock.get(lot.pk, StockSums())
        if sums.left < -max(BALANCE_SHARE * sums.received, BALANCE_UNITS):
            more = show(-sums.left, lot.material.stock_unit)
            yield Gap(lot.code, f"{more} more of {lot.code} is logged as used than was received")


def _lots(book: HullInBook) -> list[Lot]:
    return list({use.lot.pk: use.lot for use in book.lot_uses()}.values())


# ---- Climate


def day_without_climate(book: HullInBook) -> Iterator[Gap]:
    read = {timezone.localdate(reading.entry.happened_at) for reading in book.climate}
    for day in sorted(_days_of_work(book) - read):
        yield Gap("the bay", f"no climate reading on {day:%Y-%m-%d}, a day on which work was logged")


def _days_of_work(book: HullInBook) -> set[dt.date]:
    entries = [laying.entry for part in book.parts for laying in part.layings if laying.lot_id is not None]
    entries += [mix.entry for part in book.parts for mix in part.mixes]
    return {timezone.localdate(entry.happened_at) for entry in entries}


def climate_not_judged(book: HullInBook) -> Iterator[Gap]:
    for found in book.findings:
        if found.is_open and found.entry.kind == ClimateReading._meta.label_lower:
            yield Gap(found.where, f"{found.title}: {found.level} (entry {found.entry.pk}), {found.words}")


# ---- Lay-up


def line_not_laid(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        for line in part.lines:
            if line.pk not in part.settled_lines:
                yield Gap(
                    f"{part.name}, {line.zone.name}",
                    f"line {line.number} is not logged as laid, nor left out with a reason",
                )


def no_second_person(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        for laying in part.layings:
            is_laid = laying.outcome != LayingOutcome.NOT_LAID
            if is_laid and laying.line is not None and laying.line.is_structural and not laying.second_person:
                yield Gap(
                    f"{part.name}, {laying.zone.name}",
                    f"nobody but {laying.laid_by} looked at line {laying.line.number} (entry {laying.pk})",
                )


# ---- Bag and pour


def no_hold_test_passed(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        poured_at = min((pour.entry.happened_at for pour in part.pours), default=None)
        before = [test for test in part.hold_tests if poured_at is None or test.entry.happened_at <= poured_at]
        if not before:
            yield Gap(part.name, "no hold test is logged before the pour", irrecoverable=poured_at is not None)
        elif not _passes(before[-1]) and not book.stands_as_it_is(before[-1].entry):
            yield Gap(
                part.name,
                f"the last hold test before the pour, {before[-1].number}, is no pass (entry {before[-1].pk})",
                irrecoverable=poured_at is not None,
            )


def _passes(test: HoldTest) -> bool:
    levels = [judgement.level for judgement in test.entry.judgements.all()]
    return bool(levels) and all(level in ("pass", "conditional pass") for level in levels)


def pail_not_whole(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        if not part.mixes:
            yield Gap(part.name, "no pail is logged", irrecoverable=bool(part.closings))
        for mix in part.mixes:
            where = f"{part.name}, pail {mix.pail_number}"
            roles = {component.role for component in mix.components.all()}
            for role in (ComponentRole.RESIN, ComponentRole.CATALYST):
                if role not in roles:
                    yield Gap(where, f"no {role.label} is named (entry {mix.pk})")
            if not mix.second_person:
                yield Gap(where, f"no second person stood by (entry {mix.pk})")
    for found in book.findings:
        if found.is_open and found.entry.kind == Mix._meta.label_lower and not found.code.startswith("lot."):
            because = f"{found.title}: {found.level} (entry {found.entry.pk}), {found.words}"
            yield Gap(found.where, because, irrecoverable=False)


def no_gel_cup(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        cups = {gel.mix_id for gel in part.gels if gel.at == GelPlace.CUP}
        tried = [mix for mix in part.mixes if mix.pk in cups]
        untried = [mix for mix in part.mixes if not any(_are_alike(mix, other) for other in tried)]
        named: list[Mix] = []
        for mix in untried:
            if any(_are_alike(mix, other) for other in named):
                continue
            named.append(mix)
            lots = " and ".join(sorted(_resin_lots(mix)))
            yield Gap(
                f"{part.name}, pail {mix.pail_number}",
                f"no gel cup is logged for {lots or 'a pail without a resin lot'} at {show(mix.dose_phr, 'phr')}",
                irrecoverable=bool(part.closings),
            )


def _are_alike(mix: Mix, other: Mix) -> bool:
    return _resin_lots(mix) == _resin_lots(other) and abs(mix.dose_phr - other.dose_phr) <= DOSES_ALIKE_PHR


def _resin_lots(mix: Mix) -> set[str]:
    return {one.lot.code for one in mix.components.all() if one.role == ComponentRole.RESIN}


def weights_do_not_close(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        closed = part.balance.balance
        if closed is None or part.balance.closes:
            continue
        shell = [row for row in part.weighings if row.what == Weighed.SHELL]
        if not any(book.is_decided(row.entry) for row in shell):
            off = f"{show(closed.unaccounted_kg, 'kg')} ({show(closed.unaccounted_percent, '%')}) not found again"
            yield Gap(part.name, f"{off}: {part.balance.words}")


def used_is_not_planned(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        comparison = part.use.comparison
        if comparison is None or not part.use.is_closed or comparison.reading == "as planned":
            continue
        if not any(book.is_decided(row.entry) for row in part.closings):
            yield Gap(part.name, f"used over planned {comparison.ratio:.3f}: {comparison.reading}")


# ---- Gel and cure


def gel_and_cure_not_followed(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        over = bool(part.demouldings)
        if part.gelled_at is None:
            yield Gap(part.name, "gel in the part is not logged", irrecoverable=over)
            continue
        after = [row for row in part.cure_readings if row.entry.happened_at >= part.gelled_at]
        if not after:
            yield Gap(part.name, "no temperature is logged after gel", irrecoverable=over)
        elif not any(_followed_past_its_peak(rows) for rows in _by_place(after).values()):
            yield Gap(part.name, "no place was read until an hour after its peak", irrecoverable=over)


def _by_place(readings: Iterable[CureReading]) -> dict[str, list[CureReading]]:
    found: dict[str, list[CureReading]] = defaultdict(list)
    for reading in readings:
        found[reading.place].append(reading)
    return found


def _followed_past_its_peak(readings: list[CureReading]) -> bool:
    peak = max(readings, key=lambda row: row.temperature_c)
    last = max(row.entry.happened_at for row in readings)
    return last - peak.entry.happened_at >= READ_AFTER_PEAK


def demould_not_after_gel(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        if not part.demouldings:
            yield Gap(part.name, "the demould is not logged")
        elif part.gelled_at is not None and part.demouldings[-1].entry.happened_at < part.gelled_at:
            yield Gap(part.name, "the demould is logged before gel in the part")


# ---- Hardness, weights, fibre


def hardness_not_tried(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        by_zone = {tried.zone_name: tried for tried in part.hardness if _hardness_level(tried) != "no verdict"}
        without = {tried.zone_name: tried for tried in part.hardness}
        for zone in part.zones:
            if zone in by_zone:
                continue
            because = _hardness_because(without[zone]) if zone in without else "hardness is not tried"
            yield Gap(f"{part.name}, {zone}", because)


def hardness_not_reached(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        latest = {(tried.zone_name, tried.surface): tried for tried in part.hardness}
        for tried in latest.values():
            level = _hardness_level(tried)
            fails = level == "fail" and not book.stands_as_it_is(tried.entry)
            in_doubt = level == "conditional fail" and not book.is_decided(tried.entry)
            if fails or in_doubt:
                yield Gap(
                    f"{part.name}, {tried.zone_name}",
                    f"the hardness there does not reach what is wanted (entry {tried.pk})",
                )


def _hardness_level(tried: HardnessSet) -> str:
    return next((one.level for one in tried.entry.judgements.all() if one.code == HARDNESS_MEAN), "no verdict")


def _hardness_because(tried: HardnessSet) -> str:
    because = next((one.because for one in tried.entry.judgements.all() if one.code == HARDNESS_MEAN), "not judged")
    return f"no verdict on hardness (entry {tried.pk}): {because}"


def no_fibre_share(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        is_weighed = any(row.what == Weighed.SHELL for row in part.weighings)
        if is_weighed and part.balance.fibre is None:
            yield Gap(part.name, f"no fibre share: {part.balance.fibre_why_not}")


def no_shell_weight(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        shell = [row for row in part.weighings if row.what == Weighed.SHELL]
        if not shell:
            yield Gap(part.name, "the part is not weighed")
        elif shell[-1].scale is None:
            yield Gap(part.name, "the weight of the part names no scale")


# ---- Findings and hold points


def zone_not_looked_at(book: HullInBook) -> Iterator[Gap]:
    for part in book.parts:
        looked_at = {finding.zone_name for finding in part.findings}
        for zone in part.zones:
            if zone not in looked_at:
                yield Gap(f"{part.name}, {zone}", 'no finding, and no "looked, nothing found"')


def finding_open(book: HullInBook) -> Iterator[Gap]:
    of_lots = {use.entry.pk for use in (*book.not_released(), *book.out_of_date())}
    told_elsewhere = {model._meta.label_lower for model in (ClimateReading, HardnessSet, HoldTest)}
    for found in book.findings:
        kind = found.entry.kind
        is_dose = kind == Mix._meta.label_lower and not found.code.startswith("lot.")
        if not found.is_open or kind in told_elsewhere or is_dose or (found.code and found.entry.pk in of_lots):
            continue
        yield Gap(found.where, f"{found.title} (entry {found.entry.pk}) is not decided")


def hold_point_not_released(book: HullInBook) -> Iterator[Gap]:
    released = {row.number: row for row in book.hold_points}
    latest: dt.datetime | None = None
    for point in HOLD_POINTS[: LAST_HOLD_POINT_BEFORE_ISSUE + 1]:
        row = released.get(point.number)
        if row is None:
            yield Gap(book.hull.number, f"hold point {point.number}, before {point.before}, is not released")
            continue
        if latest is not None and row.entry.happened_at < latest:
            yield Gap(
                book.hull.number, f"hold point {point.number} was released before the one before it", irrecoverable=True
            )
        latest = max(latest or row.entry.happened_at, row.entry.happened_at)


CHECKS = (
    Check("C2", "craft identification number", no_craft_number, OFFICE, AS_LACKING, wanted=is_recreational),
    Check("C5", "every line laid to a signed schedule in force then", laid_to_no_schedule, LEAD, NO_ISSUE),
    Check("C7", "every signer held the role then", signed_without_the_role, LEAD, NO_ISSUE, irrecoverable=True),
    Check("C8", "every weight names its scale", measured_with_nothing, BUILDER, AS_LACKING),
    Check("C9", "instruments in date when used, or judged", instrument_out_of_date, LEAD, AS_LACKING),
    Check("C11", "lots released before they were used", used_before_release, LEAD, NO_ISSUE),
    Check("C12", "certificate with each lot", no_certificate, OFFICE, AS_LACKING),
    Check("C14", "nothing used past its use-by without a decision", used_out_of_date, LEAD, NO_ISSUE),
    Check("C15", "no more used of a lot than was received", lot_does_not_balance, LEAD, AS_LACKING),
    Check("C16", "climate read on every day of work", day_without_climate, BUILDER, AS_LACKING, irrecoverable=True),
    Check("C18", "climate outside its limits is judged", climate_not_judged, LEAD, NO_ISSUE),
    Check("C21", "every line laid, or left out with a reason", line_not_laid, BUILDER, NO_ISSUE),
    Check("C22", "second person at every structural line", no_second_person, BUILDER, NO_ISSUE, irrecoverable=True),
    Check("C26", "last hold test before the pour is a pass", no_hold_test_passed, BUILDER, NO_ISSUE),
    Check("C28", "every pail whole: lots, dose, persons", pail_not_whole, BUILDER, NO_ISSUE, irrecoverable=True),
    Check("C31", "gel cup for each resin lot and dose", no_gel_cup, BUILDER, AS_LACKING),
    Check("C32", "the weights close", weights_do_not_close, LEAD, AS_LACKING),
    Check("C33", "resin used as planned, or judged", used_is_not_planned, LEAD, NOTE),
    Check(
        "C35",
        "gel logged, temperature read to an hour past the peak",
        gel_and_cure_not_followed,
        BUILDER,
        AS_LACKING,
    ),
    Check("C37", "demould logged, after gel", demould_not_after_gel, BUILDER, NO_ISSUE),
    Check("C38", "hardness tried in every zone, disc right, readings enough", hardness_not_tried, BUILDER, NO_ISSUE),
    Check("C39", "hardness reached, or judged", hardness_not_reached, LEAD, NO_ISSUE),
    Check("C42", "fibre share from the weights", no_fibre_share, BUILDER, AS_LACKING),
    Check("C45", "every zone looked at", zone_not_looked_at, BUILDER, NO_ISSUE),
    Check("C46", "no finding left open", finding_open, LEAD, NO_ISSUE),
    Check("C50", "weight of the part, with its scale", no_shell_weight, BUILDER, AS_LACKING),
    Check("C51", "hold points released, in order", hold_point_not_released, LEAD, NO_ISSUE),
)


@dataclass(frozen=True)
class Unjudged:
    """A check that this version does not judge here, and why."""

    check: str
    words: str
    because: str


BY_THE_BOOK = "the book takes no entry without it"
BY_THE_DOSSIER = "the dossier sees to it as it is drawn"
NOT_KEPT = "not kept in this version"
ASKED_AFTER_THE_CLAMP = "shown as it was logged while resin ran; asked about after the clamp"

NOT_JUDGED = (
    Unjudged("C1", "hull number, model, mould, day laid down", BY_THE_BOOK),
    Unjudged("C3", "the issue before is named", BY_THE_DOSSIER),
    Unjudged("C4", "the six answers have a verdict", BY_THE_DOSSIER),
    Unjudged("C6", "plan approval matches the drawings", "the approval is named; drawing lists are not kept"),
    Unjudged("C10", "everything laid or mixed names a lot", BY_THE_BOOK),
    Unjudged("C13", "type approvals valid on the day of use", NOT_KEPT),
    Unjudged("C17", "temperature for 24 h before lay-up and pour", "readings by hand are too far apart to show it"),
    Unjudged("C19", "gelcoat film", NOT_KEPT),
    Unjudged("C20", "skin coat cured before lay-up", NOT_KEPT),
    Unjudged("C23", "stagger and laps", NOT_KEPT),
    Unjudged("C24", "core: age, gaps, bond", NOT_KEPT),
    Unjudged("C25", "inserts", NOT_KEPT),
    Unjudged("C27", "leaks found and closed", ASKED_AFTER_THE_CLAMP),
    Unjudged("C29", "front through everywhere", ASKED_AFTER_THE_CLAMP),
    Unjudged("C30", "vacuum from pump to gel", ASKED_AFTER_THE_CLAMP),
    Unjudged("C34", "pails to places", NOT_KEPT),
    Unjudged("C36", "post-cure", NOT_KEPT),
    Unjudged("C40", "thickness, how many points", NOT_KEPT),
    Unjudged("C41", "thickness against the design", NOT_KEPT),
    Unjudged("C43", "test panels", NOT_KEPT),
    Unjudged("C44", "non-destructive inspection", NOT_KEPT),
    Unjudged("C47", "repairs", "decided as a finding; a repair's own lots and cure are not kept"),
    Unjudged("C48", "concessions", "decided with words; whether the customer was told is not kept"),
    Unjudged("C49", "structure after demould", NOT_KEPT),
    Unjudged("C52", "surveyor's observations", NOT_KEPT),
    Unjudged("C53", "builder's statement signed", NOT_KEPT),
    Unjudged("C54", "the book is whole", BY_THE_DOSSIER),
    Unjudged("C55", "every attachment is there, unchanged", BY_THE_DOSSIER),
    Unjudged("C56", "late, struck-out and confirmed entries counted", BY_THE_DOSSIER),
)


def what_is_missing(hull: Hull) -> list[Missing]:
    """Everything the checks find missing, in their order."""
    return missing_in(hull_in_book(hull))


def missing_in(book: HullInBook) -> list[Missing]:
    return [missing for check in CHECKS for missing in check.missing(book)]


# ---- Reading it all, once


def hull_in_book(hull: Hull) -> HullInBook:
    parts = {part.pk: PartInBook(part, planned_against_used(part)) for part in _parts(hull)}
    _read_parts(parts)
    findings = findings_of(hull)
    entries = {row.entry_id for part in parts.values() for row in _entries_of(part)}
    book = HullInBook(
        hull=hull,
        parts=list(parts.values()),
        hold_points=_in_order(HoldPointRelease.objects.current().filter(hull=hull), "number"),
        craft_numbers=list(CraftNumberGiven.objects.current().filter(hull=hull)),
        departures=list(LeftYard.objects.current().filter(hull=hull)),
        signings=_signings(parts.values()),
        roles=_in_order(RoleChange.objects.current().select_related("person")),
        climate=_in_order(climate_of(hull).select_related("thermometer", "hygrometer")),
        calibrations=_by(Calibration.objects.current().order_by("pk"), "instrument_id"),
        lot_decisions={},
        certificates={},
        stock={},
        findings=findings,
        decisions={},
    )
    lots = [lot.pk for lot in _lots(book)]
    decisions = LotDecision.objects.current().filter(lot__in=lots).select_related("lot")
    book.lot_decisions = _by(_in_order(decisions), "lot_id")
    book.certificates = _by(Certificate.objects.current().filter(lot__in=lots), "lot_id")
    book.stock = stock_sums(lots)
    entries |= {found.entry.pk for found in findings} | {row.entry_id for row in book.climate}
    decided = FindingDecision.objects.current().filter(about_entry__in=entries).select_related("entry")
    book.decisions = {row.about_entry_id: row for row in decided.order_by("pk")}
    return book


def _parts(hull: Hull) -> QuerySet[Part]:
    return Part.objects.current().filter(hull=hull).select_related("hull").order_by("pk")


def _in_order(rows: QuerySet[Any], *fields: str) -> list[Any]:
    return list(rows.select_related("entry").order_by(*fields, "entry__happened_at", "pk"))


def _by(rows: Iterable[Any], name: str) -> dict[int, list[Any]]:
    found: dict[int, list[Any]] = defaultdict(list)
    for row in rows:
        found[getattr(row, name)].append(row)
    return found


def _read_parts(parts: dict[int, PartInBook]) -> None:
    def read(model: type[TypedRow], into: str, *related: str, through: str = "part") -> None:
        rows = model.objects.current().filter(**{f"{through}__in": parts})
        for row in _in_order(rows.select_related(*related) if related else rows):
            owner = row.part_id if through == "part" else row.pour.part_id
            getattr(parts[owner], into).append(row)

    read(RevisionInForce, "in_force", "revision")
    read(Laying, "layings", "zone", "line", "lot__material")
    read(Pour, "pours")
    read(PourClosed, "closings", "pour", through="pour__part")
    read(Remainder, "remainders", "pour", "scale", through="pour__part")
    read(Gel, "gels", "pour", through="pour__part")
    read(PourReading, "pour_readings", "pour", "instrument", through="pour__part")
    read(CureReading, "cure_readings", "thermometer")
    read(Demoulded, "demouldings")
    read(Weighing, "weighings", "scale")
    read(Finding, "findings")
    for test in _in_order(_judged(HoldTest, parts).select_related("gauge"), "number"):
        parts[test.part_id].hold_tests.append(test)
    for tried in _in_order(_judged(HardnessSet, parts).select_related("tester")):
        parts[tried.part_id].hardness.append(tried)
    mixes = Mix.objects.current().filter(pour__part__in=parts, pour__in=Pour.objects.current())
    mixes = mixes.select_related("pour", "scale", "catalyst_scale", "thermometer")
    for mix in _in_order(mixes.prefetch_related("components__lot__material")):
        parts[mix.pour.part_id].mixes.append(mix)
    _settle_lines(parts.values())


def _judged(model: type[TypedRow], parts: dict[int, PartInBook]) -> QuerySet[Any]:
    return model.objects.current().filter(part__in=parts).prefetch_related("entry__judgements")


def _settle_lines(parts: Iterable[PartInBook]) -> None:
    """The lines of the revision in force, and which of them are laid or left out, to it or to an earlier one."""
    parts = list(parts)
    revisions = {row.revision_id for part in parts for row in part.in_force}
    revisions |= {laying.line.revision_id for part in parts for laying in part.layings if laying.line is not None}
    lines = _by(
        ScheduleLine.objects.filter(revision__in=revisions).select_related("zone").order_by("number"), "revision_id"
    )
    for part in parts:
        if not part.in_force:
            continue
        now = max(part.in_force, key=lambda row: row.pk).revision_id
        part.lines = lines[now]
        for laying in part.layings:
            if laying.line is None or laying.line_id is None:
                continue
            earlier = laying.line.revision_id
            same = same_lines(lines[earlier], lines[now]) if earlier != now else {}
            part.settled_lines.add(same.get(laying.line_id, laying.line_id))


def _signings(parts: Iterable[PartInBook]) -> list[ScheduleSigned]:
    revisions = {row.revision_id for part in parts for row in part.in_force}
    signed = ScheduleSigned.objects.current().filter(revision__in=revisions)
    return _in_order(signed.select_related("revision__boat_model"))


def _entries_of(part: PartInBook) -> Iterator[TypedRow]:
    yield from (*part.layings, *part.hold_tests, *part.pours, *part.closings, *part.mixes, *part.remainders)
    yield from (*part.pour_readings, *part.cure_readings, *part.hardness, *part.weighings, *part.findings)
