"""What happens to a hull: laid down, numbered, scheduled, laid up, released at its hold points, gone."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.core.exceptions import ValidationError
from django.db import connection, models, transaction
from django.utils import timezone

from hullbook.calc.craft_number import CraftNumber, read_craft_number
from hullbook.calc.errors import InputRefused
from hullbook.hulls.enums import BuildRegime, CraftNumberForm, LayingOutcome, RevisionState, Side
from hullbook.hulls.models import (
    BoatModel,
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
from hullbook.hulls.selectors import (
    craft_number_of,
    departure_of,
    hull_with_craft_number,
    revision_in_force,
    revision_state,
)
from hullbook.materials.enums import MaterialKind
from hullbook.materials.models import Lot, Material
from hullbook.materials.services import lot_use, undo_movements
from hullbook.quantities import tables
from hullbook.records.models import EntryRow
from hullbook.records.services import Refused, Told, append, judgements, logs, refuse_second_correction
from hullbook.records.triggers import lock_book
from hullbook.yard.models import Bay
from hullbook.yard.selectors import crew
from hullbook.yard.services import require_crew

# Revision letters leave out what is misread for a figure or another letter, as ASME Y14.35 does (from memory).
LETTERS = "ABCDEFGHJKLMNPRTUVWY"
ANGLE = re.compile(r"(\+-|[+-])?\d{1,3}(\.\d)?(/(\+-|[+-])?\d{1,3}(\.\d)?)*")
IN_A_SCHEDULE = (MaterialKind.REINFORCEMENT, MaterialKind.CORE)
MOST_LINES = 2000


@dataclass(frozen=True)
class GivenZone:
    name: str
    area_m2: float
    girth_from_mm: float
    girth_to_mm: float
    station_from: float
    station_to: float
    side: str = Side.BOTH


@dataclass(frozen=True)
class GivenLine:
    """One line of a schedule as it is written; `zone` is the zone's name."""

    number: int
    zone: str
    material: Material
    angle_deg: str = ""
    lap_mm: float = 0.0
    is_structural: bool = True


@logs
def add_boat_model(*, name: str, length_m: float, beam_m: float, told: Told) -> BoatModel:
    if BoatModel.objects.filter(name=name).exists():
        raise Refused({"name": f"There is a model {name} already."})
    return append(BoatModel(name=name, length_m=length_m, beam_m=beam_m), told=told)


@logs
def lay_down_hull(
    *,
    number: str,
    boat_model: BoatModel,
    mould: str,
    pull_number: int,
    bay: Bay,
    build_regime: BuildRegime,
    customer_reference: str,
    laid_down_on: date,
    part_names: Sequence[str],
    told: Told,
) -> Hull:
    """Give a hull its number, which it keeps for ever, and name the parts it will have."""
    if Hull.objects.filter(number=number).exists():
        raise Refused({"number": f"{number} is taken; a hull number is given once and never again."})
    if laid_down_on > timezone.localdate(told.tapped_at):
        raise Refused({"laid_down_on": f"{laid_down_on:%Y-%m-%d} lies ahead; give today or earlier."})
    names = [name.strip() for name in part_names if name.strip()]
    if not names:
        raise Refused({"part_names": "Name at least one part, as Hull shell."})
    if twice := [name for name, count in Counter(names).items() if count > 1]:
        raise Refused({"part_names": f"{twice[0]} is named twice; each part has a name of its own."})
    hull = append(
        Hull(
            number=number,
            boat_model=boat_model,
            mould=mould,
            pull_number=pull_number,
            bay=bay,
            build_regime=build_regime,
            customer_reference=customer_reference,
            laid_down_on=laid_down_on,
        ),
        told=told,
        about=number,
    )
    for name in names:
        append(Part(hull=hull, name=name), told=told.also(f"part {name}"), about=number)
    return hull


def read_number_of(hull: Hull, number: str, *, today: date, known_builder_codes: Sequence[str] = ()) -> CraftNumber:
    """Read a craft identification number against the hull's own dates. Raises InputRefused."""
    left = departure_of(hull)
    return read_craft_number(
        number,
        today=today,
        country_codes=tables.countries(),
        laid_down=hull.laid_down_on,
        left_yard=left.left_on if left else None,
        known_builder_codes=known_builder_codes or None,
    )


@logs
def give_craft_number(
    *, hull: Hull, number: str, told: Told, corrects: CraftNumberGiven | None = None, reason: str = ""
) -> CraftNumberGiven:
    """Give a hull its craft identification number. Another one later is a correction, with its reason."""
    try:
        read = read_number_of(hull, number, today=timezone.localdate(told.tapped_at))
    except InputRefused as refused:
        raise Refused({"number": str(refused)}) from refused
    now = craft_number_of(hull)
    if corrects is None and now is not None:
        raise Refused({"number": f"{hull.number} has the number {now.number}; a change is a correction with a reason."})
    if corrects is not None:
        refuse_second_correction(corrects)
    other = hull_with_craft_number(read.text_tidied)
    if other is not None and other.pk != hull.pk:
        raise Refused({"number": f"{read.text_tidied} is the number of hull {other.number}; no two hulls share one."})
    form = CraftNumberForm.ISO if read.form == "ISO 10087" else CraftNumberForm.US
    given = CraftNumberGiven(hull=hull, number=read.text_tidied, form=form, corrects=corrects, reason=reason.strip())
    return append(given, told=told, about=hull.number)


def begin_revision(
    *,
    boat_model: BoatModel,
    part_name: str,
    based_on: ScheduleRevision | None = None,
    drawn_by: str,
    at: datetime,
) -> ScheduleRevision:
    """A new draft with the next letter, empty or with the zones and lines of another revision."""
    require_crew(drawn_by=drawn_by)
    with transaction.atomic():
        lock_book(connection)
        earlier = list(ScheduleRevision.objects.filter(boat_model=boat_model, part_name=part_name).order_by("pk"))
        if earlier and revision_state(earlier[-1]) == RevisionState.DRAFT:
            raise Refused(f"Rev {earlier[-1].letter} is a draft already; go on with it.")
        revision = ScheduleRevision(
            boat_model=boat_model,
            part_name=part_name,
            letter=_letter(len(earlier)),
            drawn_by=drawn_by,
            drawn_at=at,
        )
        _require_clean(revision, "")
        revision.save(force_insert=True)
        if based_on is not None:
            zones = [
                GivenZone(z.name, z.area_m2, z.girth_from_mm, z.girth_to_mm, z.station_from, z.station_to, z.side)
                for z in based_on.zones.all()
            ]
            lines = [
                GivenLine(i.number, i.zone.name, i.material, i.angle_deg, i.lap_mm, i.is_structural)
                for i in based_on.lines.select_related("zone", "material")
            ]
            _put_in(revision, zones, lines)
        return revision


def write_revision(*, revision: ScheduleRevision, zones: Sequence[GivenZone], lines: Sequence[GivenLine]) -> None:
    """Put these zones and lines in the place of what a draft held, all of them or none."""
    with transaction.atomic():
        lock_book(connection)
        _refuse_signed(revision)
        revision.lines.all().delete()
        revision.zones.all().delete()
        _put_in(revision, zones, lines)


def _put_in(revision: ScheduleRevision, zones: Sequence[GivenZone], lines: Sequence[GivenLine]) -> None:
    _refuse_muddle(zones, lines)
    by_name = {}
    for position, given in enumerate(zones, start=1):
        zone = Zone(
            revision=revision,
            position=position,
            name=given.name,
            area_m2=given.area_m2,
            girth_from_mm=given.girth_from_mm,
            girth_to_mm=given.girth_to_mm,
            station_from=given.station_from,
            station_to=given.station_to,
            side=given.side,
        )
        _require_clean(zone, f"Zone {given.name}")
        zone.save(force_insert=True)
        by_name[given.name] = zone
    for line in lines:
        row = ScheduleLine(
            revision=revision,
            number=line.number,
            zone=by_name[line.zone],
            material=line.material,
            angle_deg=read_angle(line.angle_deg, f"Line {line.number}"),
            lap_mm=line.lap_mm,
            is_structural=line.is_structural,
        )
        _require_clean(row, f"Line {line.number}")
        row.save(force_insert=True)


def read_angle(text: str, where: str) -> str:
    """An angle to the hull's long axis as it stands in the book: 0, 90, +-45, 0/90; nothing for core and mat."""
    angle = text.replace("±", "+-").replace(" ", "").removesuffix("°")
    if angle and not ANGLE.fullmatch(angle):
        raise Refused(
            {where: f'{where}: the angle "{text}" is not accepted; give 0, 90, +-45 or 0/90, or leave it empty.'}
        )
    return angle


def _refuse_muddle(zones: Sequence[GivenZone], lines: Sequence[GivenLine]) -> None:
    if len(lines) > MOST_LINES or len(zones) > MOST_LINES:
        raise Refused(f"A schedule holds at most {MOST_LINES} lines; {max(len(lines), len(zones))} were given.")
    problems = {}
    for name, count in Counter(zone.name for zone in zones).items():
        if count > 1:
            problems[f"zone {name}"] = f"Zone {name} is named {count} times; each zone has a name of its own."
    for number, count in Counter(line.number for line in lines).items():
        if count > 1:
            problems[f"line {number}"] = f"Line {number} is there {count} times; each line has a number of its own."
    names = {zone.name for zone in zones}
    for line in lines:
        if line.zone not in names:
            problems[f"line {line.number} zone"] = f'Line {line.number}: there is no zone "{line.zone}".'
        if line.material.kind not in IN_A_SCHEDULE:
            problems[f"line {line.number} material"] = (
                f"Line {line.number}: {line.material.code} is {line.material.get_kind_display()}; "
                "a line is a reinforcement or a core."
            )
    if problems:
        raise Refused(problems)


def _require_clean(row: models.Model, where: str) -> None:
    try:
        row.full_clean(validate_unique=False, exclude={"revision", "zone"})
    except ValidationError as error:
        raise Refused(
            {
                f"{where} {name}": ": ".join(
                    (*filter(None, (where, "" if name == "__all__" else name.replace("_", " "))), " ".join(texts))
                )
                for name, texts in error.message_dict.items()
            }
        ) from error


def _letter(place: int) -> str:
    rounds, letter = divmod(place, len(LETTERS))
    return (LETTERS[rounds - 1] if rounds else "") + LETTERS[letter]


def _refuse_signed(revision: ScheduleRevision) -> None:
    if ScheduleSigned.objects.filter(revision=revision).exists():
        following = _letter(
            ScheduleRevision.objects.filter(boat_model=revision.boat_model_id, part_name=revision.part_name).count()
        )
        raise Refused(f"Rev {revision.letter} is signed. Begin rev {following}.")


@logs
def sign_revision(*, revision: ScheduleRevision, approval: str, told: Told) -> ScheduleSigned:
    """Freeze a revision: from here on the database refuses any change to its zones and lines."""
    _refuse_signed(revision)
    if not approval.strip():
        raise Refused({"approval": "Name the designer's drawing or the approval letter it follows."})
    bare = [zone.name for zone in revision.zones.filter(lines__isnull=True)]
    if bare:
        raise Refused(f"Zone {bare[0]} has no line; give it one or take the zone out.")
    if not revision.lines.exists():
        raise Refused(f"Rev {revision.letter} has no line yet; there is nothing to sign.")
    return append(ScheduleSigned(revision=revision, approval=approval.strip()), told=told)


@logs
def take_into_force(*, part: Part, revision: ScheduleRevision, told: Told) -> RevisionInForce:
    """From here on the part is built to this revision."""
    if revision_state(revision) == RevisionState.DRAFT:
        raise Refused({"revision": f"Rev {revision.letter} is a draft; only a signed revision is built to."})
    if (revision.boat_model_id, revision.part_name) != (part.hull.boat_model_id, part.name):
        raise Refused({"revision": f"{revision} is no schedule of {part.hull.boat_model.name} {part.name}."})
    if revision_in_force(part) == revision:
        raise Refused({"revision": f"Rev {revision.letter} is in force for {part} already."})
    return append(RevisionInForce(part=part, revision=revision), told=told, about=part.hull.number)


@logs
def log_laying(
    *,
    part: Part,
    zone: Zone,
    line: ScheduleLine | None,
    outcome: LayingOutcome,
    lot: Lot | None,
    quantity: float,
    laid_by: str,
    second_person: str,
    deviation: str,
    lead_reason: str = "",
    told: Told,
    corrects: Laying | None = None,
    reason: str = "",
) -> Laying:
    """A line laid, laid otherwise or not laid, or something laid beside the schedule.

    `quantity` is in the stock unit of the lot's material. Using a lot about to be used that is not released or out of
    date is refused unless the quality lead gives `lead_reason`; one already used is kept with its verdict.
    """
    if corrects is not None:
        refuse_second_correction(corrects)
    _refuse_laying(part, zone, line, outcome, lot, quantity, laid_by, second_person, deviation)
    laying = Laying(
        part=part,
        zone=zone,
        line=line,
        outcome=outcome,
        lot=lot,
        quantity=quantity,
        laid_by=laid_by,
        second_person=second_person,
        deviation=deviation.strip(),
        lead=told.person if lead_reason.strip() else "",
        lead_reason=lead_reason.strip(),
        corrects=corrects,
        reason=reason.strip(),
    )
    rows: list[EntryRow] = [] if corrects is None else [*undo_movements(corrects.entry)]
    if lot is not None:
        movement, verdict = lot_use(
            lot=lot,
            quantity=quantity,
            told=told,
            lead_reason=lead_reason,
            instead_of=corrects.entry if corrects else None,
        )
        rows += [movement, *judgements([verdict])]
    return append(laying, rows, told=told, about=part.hull.number)


def _refuse_laying(
    part: Part,
    zone: Zone,
    line: ScheduleLine | None,
    outcome: LayingOutcome,
    lot: Lot | None,
    quantity: float,
    laid_by: str,
    second_person: str,
    deviation: str,
) -> None:
    require_crew(laid_by=laid_by, second_person=second_person)
    problems = {}
    in_force = revision_in_force(part)
    if in_force is None:
        raise Refused(f"No revision is in force for {part}; take one into force first.")
    if zone.revision_id != in_force.pk or (line is not None and line.revision_id != in_force.pk):
        raise Refused(f"{in_force} is in force for {part}; the line given is of another revision.")
    if line is not None and line.zone_id != zone.pk:
        problems["zone"] = f"Line {line.number} lies in zone {line.zone.name}."
    is_laid = outcome != LayingOutcome.NOT_LAID
    if is_laid and lot is None:
        problems["lot"] = "Name the lot it came from."
    if is_laid and quantity <= 0:
        problems["quantity"] = "Give how much was laid, above nought."
    if not is_laid and lot is not None:
        problems["lot"] = "What is not laid comes from no lot; leave it empty."
    if not is_laid and quantity:
        problems["quantity"] = "What is not laid has no quantity; leave it empty."
    if outcome == LayingOutcome.LAID and line is not None and lot is not None and lot.material_id != line.material_id:
        problems["lot"] = (
            f"{lot.code} is {lot.material.code}, line {line.number} wants {line.material.code}; "
            "log it as laid otherwise, with the reason."
        )
    if outcome != LayingOutcome.LAID and not deviation.strip():
        problems["deviation"] = "Say why it was not laid as the line says."
    if second_person and second_person == laid_by:
        problems["second_person"] = "The second person is another than the one who laid it."
    if is_laid and line is not None and line.is_structural and not second_person and len(crew()) > 1:
        problems["second_person"] = f"Line {line.number} is structural: name the second person who looked at it."
    if problems:
        raise Refused(problems)


@logs
def release_hold_point(*, hull: Hull, number: int, words: str, missing: str, told: Told) -> HoldPointRelease:
    """Release a hold point; what was missing at that moment stays in the entry."""
    earlier = HoldPointRelease.objects.current().filter(hull=hull, number=number).first()
    if earlier is not None:
        raise Refused(f"Hold point {number} of {hull.number} is released already, in entry {earlier.pk}.")
    release = HoldPointRelease(hull=hull, number=number, words=words.strip(), missing=missing.strip())
    return append(release, told=told, about=hull.number)


@logs
def leave_yard(*, hull: Hull, left_on: date, delivered_to: str, told: Told) -> LeftYard:
    earlier = departure_of(hull)
    if earlier is not None:
        raise Refused(f"{hull.number} left the yard on {earlier.left_on:%Y-%m-%d}, entry {earlier.pk}.")
    if left_on < hull.laid_down_on:
        raise Refused(
            {"left_on": f"{hull.number} was laid down on {hull.laid_down_on:%Y-%m-%d}; it left later than that."}
        )
    if left_on > timezone.localdate(told.tapped_at):
        raise Refused({"left_on": f"{left_on:%Y-%m-%d} lies ahead; give today or earlier."})
    return append(LeftYard(hull=hull, left_on=left_on, delivered_to=delivered_to.strip()), told=told, about=hull.number)
