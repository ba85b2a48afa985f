"""Gathering a dossier from the book."""

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable
from typing import Any

from django.core.files.storage import default_storage
from django.db.models import QuerySet
from django.utils import timezone

from hullbook.calc.craft_number import read_craft_number
from hullbook.calc.errors import InputRefused
from hullbook.cure.models import CureReading, Demoulded
from hullbook.cure.selectors import cure_view, probes_on_the_girth
from hullbook.dossier.models import DossierIssue
from hullbook.dossier.selectors.content import (
    Attachment,
    DayTold,
    Documents,
    DossierContent,
    EntryTold,
    HeldTest,
    InstrumentUse,
    LaidFeed,
    LayUp,
    Logged,
    LotUse,
    Pail,
    PartTold,
    PersonUse,
    PourTold,
    ReadPlan,
    SetPlan,
    TroubleTold,
    moment,
)
from hullbook.dossier.selectors.telling import walked
from hullbook.hulls.models import (
    CraftNumberGiven,
    HoldPointRelease,
    Hull,
    Laying,
    LeftYard,
    Part,
    RevisionInForce,
    ScheduleSigned,
)
from hullbook.hulls.selectors import entries_in_words, lines_of, offsets_in_force, schedule_view
from hullbook.inspection.models import Weighing
from hullbook.inspection.selectors import (
    climate_of,
    findings_of,
    findings_on_the_girth,
    gone_entries,
    hardness_on_the_girth,
    hardness_sets,
    hull_stages,
    planned_against_used,
    what_is_missing,
)
from hullbook.materials.models import Certificate, Lot, LotDecision, MaterialProperty, MaterialSheet, StockMovement
from hullbook.materials.selectors import properties_in_force
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
from hullbook.records.models import Entry, TypedRow
from hullbook.records.selectors import entries_about
from hullbook.yard.models import Calibration, ClimateReading, Instrument, Person, RoleChange
from hullbook.yard.selectors import yard_in_force

ISSUE_KIND = DossierIssue._meta.label_lower


def dossier_content(hull: Hull, *, issue_number: int | None = None) -> DossierContent:
    """The hull as the book tells it now; `issue_number` where it is about to be issued."""
    with timezone.override(dt.UTC):
        return _content(Hull.objects.select_related("boat_model", "bay", "entry").get(pk=hull.pk), issue_number)


def _content(hull: Hull, issue_number: int | None) -> DossierContent:
    own = list(entries_about(hull.number))
    last_work = max((entry for entry in own if entry.kind != ISSUE_KIND), key=lambda entry: entry.number)
    parts, climate, lots = _parts(hull), _climate(hull, last_work), _lots(hull, last_work)
    craft_numbers = _logged(CraftNumberGiven.objects.filter(hull=hull))
    findings = tuple(reversed(findings_of(hull)))
    told: dict[str, Any] = {
        "hull": hull,
        "yard": yard_in_force(),
        "lines": lines_of(hull.boat_model),
        "offsets": offsets_in_force(hull.boat_model),
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
        "findings": findings,
        "findings_drawn": tuple(findings_on_the_girth(findings)),
        "hold_points": _logged(HoldPointRelease.objects.filter(hull=hull)),
        "attachments": _attachments(lots),
    }
    logged = [found for found in walked(told) if isinstance(found, Logged)]
    rows = {row.pk for row in walked(told) if isinstance(row, TypedRow)}
    shown = {entry.number for entry in own} | rows | {found.gone_by for found in logged if found.gone_by}
    entries = tuple(Entry.objects.filter(number__in=shown).order_by("number"))
    gone = gone_entries(entries)
    on_their_own = [
        entry for entry in entries if entry.told_late or entry.confirmed or entry.clock_ahead or entry.number in gone
    ]
    words = {one.entry.number: f"{one.what}: {one.in_short}" for one in entries_in_words(on_their_own)}
    return DossierContent(
        **told,
        entries=entries,
        late=tuple(
            EntryTold(entry, words[entry.number], f"happened {moment(entry.happened_at)}")
            for entry in entries
            if entry.told_late
        ),
        asked=tuple(
            EntryTold(entry, words[entry.number], f"{asked['question']} Asked, confirmed: {asked['given']}.")
            for entry in entries
            for asked in entry.confirmed
        ),
        clock_off=tuple(
            EntryTold(entry, words[entry.number], _clock_words(entry.tablet_showed, entry.clock_ahead))
            for entry in entries
            if entry.tablet_showed and entry.clock_ahead
        ),
        gone=tuple(
            EntryTold(entry, words[entry.number], gone[entry.number]) for entry in entries if entry.number in gone
        ),
    )


def _clock_words(showed: dt.datetime, ahead: dt.timedelta) -> str:
    minutes, seconds = divmod(round(abs(ahead.total_seconds())), 60)
    which = "ahead of" if ahead > dt.timedelta(0) else "behind"
    return (
        f"the tablet showed {showed.astimezone(dt.UTC):%Y-%m-%d %H:%M:%S}: {minutes} min {seconds} s {which} the book"
    )


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
    plan_inputs = _lines(PlanInput.objects.filter(plan__part__hull=hull).select_related("material"), "plan")
    pour_told = _pours(hull, by_part["pours"])
    feeds = _feeds(hull)
    pour_plans = _pour_plans(hull)
    parts = Part.objects.filter(hull=hull).select_related("hull__boat_model", "entry").order_by("pk")
    cures = {part.pk: cure_view(part) for part in parts}
    tried = {part.pk: tuple(hardness_sets(part)) for part in parts}
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
            feeds=feeds[part.pk],
            pour_plans=pour_plans[part.pk],
            pours=pour_told[part.pk],
            cure=cures[part.pk],
            probes_drawn=probes_on_the_girth(cures[part.pk]),
            cure_readings=by_part["cure_readings"][part.pk],
            demouldings=by_part["demouldings"][part.pk],
            hardness=tried[part.pk],
            hardness_drawn=hardness_on_the_girth(part, tried[part.pk]),
            weighings=by_part["weighings"][part.pk],
            used=planned_against_used(part),
        )
        for part in parts
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
    days = _days(hull)
    return defaultdict(
        tuple,
        {
            part: tuple(
                PourTold(
                    pour=pour,
                    day=days(pour.row.pk),
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


def _feeds(hull: Hull) -> dict[int, tuple[LaidFeed, ...]]:
    of = {"layout__part__hull": hull}
    lines, inlets, stations = (
        _lines(model.objects.filter(**of), "layout") for model in (FeedLine, FeedInlet, FrontStation)
    )
    layouts = _by(_logged(FeedLayout.objects.filter(part__hull=hull).select_related("part__hull")), "part_id")
    return defaultdict(
        tuple,
        {
            part: tuple(
                LaidFeed(
                    layout, tuple(lines[layout.row.pk]), tuple(inlets[layout.row.pk]), tuple(stations[layout.row.pk])
                )
                for layout in told
            )
            for part, told in layouts.items()
        },
    )


def _pour_plans(hull: Hull) -> dict[int, tuple[ReadPlan, ...]]:
    of = {"plan__part__hull": hull}
    models = (PlanSection, PlanFeed, PlanArrival, PlanPail, PlanZoneResin, PlanCoefficient, PlanOrder)
    lines = [_lines(model.objects.filter(**of), "plan") for model in models]
    plans = PourPlan.objects.filter(part__hull=hull).select_related(
        "part__hull", "trial", "layout__part__hull", "resin_plan__revision__boat_model", "resin_plan__system"
    )
    read = _by(_logged(plans), "part_id")
    return defaultdict(
        tuple,
        {
            part: tuple(ReadPlan(plan, *(tuple(its[plan.row.pk]) for its in lines)) for plan in told)
            for part, told in read.items()
        },
    )


def _days(hull: Hull) -> Callable[[int], DayTold]:
    """What was logged while resin ran, of each pour by its number in the book."""
    whole = "pour__part__hull"

    def of_pours(model: Any, *related: str) -> dict[int, tuple[Logged[Any], ...]]:
        return _by(_logged(model.objects.filter(**{whole: hull}).select_related(whole, *related)), "pour_id")

    mended = _logged(TroubleMended.objects.filter(trouble__pour__part__hull=hull).select_related("trouble"))
    mendings = _by(mended, "trouble_id")
    ends: dict[int, list[Logged[Any]]] = defaultdict(list)
    for end in _logged(PailEnd.objects.filter(mix__pour__part__hull=hull).select_related("mix")):
        ends[end.row.mix.pour_id].append(end)
    troubles = of_pours(Trouble, "mix", "gauge")
    moves, fronts, readings = of_pours(InletMoved), of_pours(FrontReached), of_pours(PourReading, "instrument")
    notes, sounds, alarms = of_pours(PourNote), of_pours(SoundTest), of_pours(AlarmTaken)
    answers = of_pours(PourAnswer)
    return lambda pour: DayTold(
        moves=moves[pour],
        fronts=fronts[pour],
        readings=readings[pour],
        troubles=tuple(TroubleTold(trouble, mendings[trouble.row.pk]) for trouble in troubles[pour]),
        ends=tuple(ends[pour]),
        notes=notes[pour],
        sounds=sounds[pour],
        alarms=alarms[pour],
        answers=answers[pour],
    )


def _lots(hull: Hull, last_work: Entry) -> tuple[LotUse, ...]:
    """What went into the hull, by the sheets that were in force when it was last worked on."""
    used: dict[int, float] = defaultdict(float)
    for movement in StockMovement.objects.filter(entry__about=hull.number).order_by("pk"):
        used[movement.lot_id] -= movement.quantity
    lots = _logged(Lot.objects.filter(pk__in=used).select_related("material"), "material__kind")
    decisions = _by(_logged(LotDecision.objects.filter(lot__in=used).select_related("lot")), "lot_id")
    certificates = _by(_logged(Certificate.objects.filter(lot__in=used).select_related("lot", "file")), "lot_id")
    sheets = {
        sheet.material_id: sheet
        for sheet in MaterialSheet.objects.current()
        .filter(material__in=[lot.row.material_id for lot in lots], pk__lte=last_work.number)
        .select_related("material")
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


def _climate(hull: Hull, last_work: Entry) -> tuple[Logged[ClimateReading], ...]:
    """The air of the hull's bay from laying down until it is out of the mould, or to the last work on it."""
    until_now = ClimateReading.objects.filter(entry__happened_at__lte=last_work.happened_at)
    readings = climate_of(hull, until_now)
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
    for row in (found for found in walked((parts, climate)) if isinstance(found, TypedRow)):
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
    """Each file once, though it may be the certificate of several lots; each under a name of its own."""
    certificates: dict[str, list[Certificate]] = defaultdict(list)
    for lot in lots:
        for certificate in (logged.row for logged in lot.certificates if logged.stands):
            certificates[certificate.file_id].append(certificate)
    named: dict[str, Attachment] = {}
    for sha256, rows in certificates.items():
        file, codes = rows[0].file, ", ".join(dict.fromkeys(row.lot.code for row in rows))
        name = f"{rows[0].lot.code} {file.sent_name}"
        if name in named:
            name = f"{rows[0].lot.code} {sha256[:8]} {file.sent_name}"
        with default_storage.open(file.path) as stored:
            content = stored.read()
        named[name] = Attachment(
            name=name,
            sha256=sha256,
            media_type=file.media_type,
            lot_codes=codes,
            words=f"{rows[0].kind} {rows[0].number}, {rows[0].dated_on:%Y-%m-%d}",
            content=content,
        )
    return tuple(named.values())
