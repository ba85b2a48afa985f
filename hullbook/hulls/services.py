"""What happens to a hull: laid down, numbered, scheduled, laid up, released at its hold points, gone."""

import re
import shutil
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256
from io import BytesIO
from pathlib import Path

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import connection, models, transaction
from django.db.models import Max
from django.utils import timezone
from PIL import Image, ImageOps

from hullbook.calc.craft_number import CraftNumber, read_craft_number
from hullbook.calc.errors import InputRefused
from hullbook.calc.hull_lines import Offset, hull_lines
from hullbook.hulls.enums import BuildRegime, CraftNumberForm, InShed, LayingOutcome, PaperKind, RevisionState, Side
from hullbook.hulls.models import (
    BoatModel,
    CraftNumberGiven,
    HoldPointRelease,
    Hull,
    Laying,
    LeftYard,
    OffsetPoint,
    OffsetTable,
    PaperSheet,
    Part,
    Photo,
    RevisionInForce,
    ScheduleLine,
    ScheduleRevision,
    ScheduleSigned,
    ShedPlace,
    SkinPlace,
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
from hullbook.materials.services import (
    LARGEST_PICTURE_BYTES,
    LARGEST_PICTURE_PIXELS,
    keep_file,
    lot_use,
    undo_movements,
)
from hullbook.quantities import tables
from hullbook.records.models import Entry, EntryRow
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
MOST_OFFSETS = 1000
STATION_NAME = re.compile(r"[0-9A-Za-z][0-9A-Za-z.+-]{0,9}")


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
def give_offsets(*, boat_model: BoatModel, lines_plan: str, offsets: Sequence[Offset], told: Told) -> OffsetTable:
    """Give a model its lines; from here on they stand in the place of those given before."""
    if not lines_plan.strip():
        raise Refused({"lines_plan": "Name the lines plan the offsets were read from."})
    if len(offsets) > MOST_OFFSETS:
        raise Refused({"file": f"A table holds at most {MOST_OFFSETS} offsets; {len(offsets)} were given."})
    if strange := next((one.station for one in offsets if not STATION_NAME.fullmatch(one.station)), None):
        raise Refused({"file": f'A station is named by letters and figures, as 5 or 7.5, not "{strange[:20]}".'})
    try:
        lines = hull_lines(offsets)
    except InputRefused as refused:
        raise Refused({"file": f"{refused}."}) from refused
    points = [
        OffsetPoint(
            station=point.station,
            x_mm=point.x_mm,
            line=point.line,
            half_breadth_mm=point.half_breadth_mm,
            height_mm=point.height_mm,
        )
        for section in lines.sections
        for point in section.points
    ]
    return append(OffsetTable(boat_model=boat_model, lines_plan=lines_plan.strip()), points, told=told)


@logs
def place_in_shed(
    *,
    what: InShed,
    name: str,
    x_m: float,
    y_m: float,
    length_m: float,
    width_m: float,
    heading_deg: float,
    told: Told,
) -> ShedPlace:
    """Say where a bay, a mould or a hull out of its mould lies in the plan; the last said holds."""
    name = name.strip()
    if not name:
        raise Refused({"name": "Name the bay, the mould or the hull."})
    # A mould may stand empty before its first hull; bays and hulls are known.
    if what == InShed.BAY and not Bay.objects.current().filter(code=name).exists():
        raise Refused({"name": f'There is no bay "{name}".'})
    if what == InShed.HULL and not Hull.objects.current().filter(number=name).exists():
        raise Refused({"name": f'There is no hull "{name}".'})
    place = ShedPlace(
        what=what, name=name, x_m=x_m, y_m=y_m, length_m=length_m, width_m=width_m, heading_deg=heading_deg
    )
    return append(place, told=told, about=name if what == InShed.HULL else "")


@dataclass(frozen=True)
class GivenPlace:
    """Where on the skin something is: the side, the station, and mm from the keel along the half-girth."""

    side: str
    station: str
    girth_mm: float


def skin_place(given: GivenPlace | None) -> list[SkinPlace]:
    """The line that goes with an entry whose place on the skin was said; none where it was not."""
    if given is None:
        return []
    if not STATION_NAME.fullmatch(given.station):
        raise Refused({"station": f'"{given.station[:20]}" is no station; give one as 5 or 7.5.'})
    return [SkinPlace(side=given.side, station=given.station, girth_mm=given.girth_mm)]


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


# ---- Photos

LONGEST_EDGE_PX = 2560
PHOTO_QUALITY = 85
PIECE_BYTES = 256 * 1024
MOST_PIECES = -(-LARGEST_PICTURE_BYTES // PIECE_BYTES)
MOST_PHOTOS_AN_HOUR = 200
PIECES_KEPT = timedelta(days=7)
TAKEN_AT, TAKEN_ZONE, CAMERA_WORDS = 0x9003, 0x9011, 0x8769  # Exif 2.32: DateTimeOriginal, OffsetTimeOriginal, Exif IFD


class NotYet(Exception):
    """Something a photo needs is not there yet: the entry it is of, or some of its pieces."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(why)


class TooMany(Exception):
    """A device has brought as many photos as an hour allows."""


@dataclass(frozen=True)
class MadeAnew:
    """A picture as it is kept: turned upright, within the longest edge, without what its camera wrote into it."""

    content: bytes
    width_px: int
    height_px: int
    taken_at: datetime | None


def _pieces_folder(device: str, digest: str) -> Path:
    return Path(default_storage.path(f"pieces/{device}/{digest}"))


def pieces_held(device: str, digest: str) -> list[int]:
    folder = _pieces_folder(device, digest)
    return sorted(int(path.name) for path in folder.iterdir() if path.name.isdigit()) if folder.exists() else []


def keep_piece(*, device: str, digest: str, number: int, size_bytes: int, content: bytes) -> None:
    """Keep one piece of a photo that is being sent, in whatever order they come; the same piece may come twice."""
    if not 0 < size_bytes <= LARGEST_PICTURE_BYTES:
        raise Refused(
            f"The photo has {size_bytes / 1024**2:.1f} MB; give at most {LARGEST_PICTURE_BYTES // 1024**2} MB."
        )
    wanted = min(PIECE_BYTES, size_bytes - number * PIECE_BYTES)
    if len(content) != wanted:
        raise Refused(f"Piece {number} of this photo has {max(wanted, 0)} bytes, not {len(content)}.")
    folder = _pieces_folder(device, digest)
    if not folder.exists():
        _sweep_pieces()
        _refuse_too_many(device)
    keep_file(f"pieces/{device}/{digest}/{number}", content)


def _refuse_too_many(device: str) -> None:
    hour_ago = timezone.now() - timedelta(hours=1)
    brought = Photo.objects.filter(entry__device=device, entry__booked_at__gte=hour_ago).count()
    under_way = Path(default_storage.path(f"pieces/{device}"))
    begun = sum(1 for _ in under_way.iterdir()) if under_way.exists() else 0
    if brought + begun >= MOST_PHOTOS_AN_HOUR:
        raise TooMany


def _sweep_pieces() -> None:
    """Let go of what was begun and never ended."""
    too_old = (timezone.now() - PIECES_KEPT).timestamp()
    for folder in Path(default_storage.path("pieces")).glob("*/*"):
        if folder.stat().st_mtime < too_old:
            shutil.rmtree(folder, ignore_errors=True)


def drop_pieces(device: str, digest: str) -> None:
    shutil.rmtree(_pieces_folder(device, digest), ignore_errors=True)


def photo_from_pieces(*, device: str, digest: str, size_bytes: int) -> MadeAnew:
    """The whole picture, by the hash it was announced under, made anew; what is not a picture is let go of at once."""
    if not 0 < size_bytes <= LARGEST_PICTURE_BYTES:
        raise Refused(f"Give a photo of at most {LARGEST_PICTURE_BYTES // 1024**2} MB.")
    numbers = range(-(-size_bytes // PIECE_BYTES))
    if pieces_held(device, digest)[: len(numbers)] != list(numbers):
        raise NotYet("pieces")
    folder = _pieces_folder(device, digest)
    content = b"".join((folder / str(number)).read_bytes() for number in numbers)
    if len(content) != size_bytes or sha256(content).hexdigest() != digest:
        drop_pieces(device, digest)
        raise NotYet("pieces")
    try:
        return _made_anew(content)
    except Refused:
        drop_pieces(device, digest)
        raise


def _made_anew(content: bytes) -> MadeAnew:
    pixels = 0
    try:
        with Image.open(BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as picture:
            pixels = picture.width * picture.height
            if pixels <= LARGEST_PICTURE_PIXELS:
                taken_at = _taken_at(picture)
                picture.draft("RGB", (LONGEST_EDGE_PX, LONGEST_EDGE_PX))
                upright = ImageOps.exif_transpose(picture).convert("RGB")
                upright.thumbnail((LONGEST_EDGE_PX, LONGEST_EDGE_PX))
                written = BytesIO()
                upright.save(written, "JPEG", quality=PHOTO_QUALITY, exif=b"")
                return MadeAnew(written.getvalue(), upright.width, upright.height, taken_at)
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        pixels = LARGEST_PICTURE_PIXELS + 1
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise Refused("This does not open as a JPEG, PNG or WebP picture; take it again.") from error
    raise Refused(
        f"The photo has {pixels / 1e6:.0f} million points; give at most {LARGEST_PICTURE_PIXELS // 10**6} million."
    )


def _taken_at(picture: Image.Image) -> datetime | None:
    """What the camera says of when, only where it names its zone: else it is the wall time of an unset clock."""
    words = picture.getexif().get_ifd(CAMERA_WORDS)
    try:
        return datetime.strptime(f"{words[TAKEN_AT]} {words[TAKEN_ZONE]}", "%Y:%m:%d %H:%M:%S %z")
    except (KeyError, ValueError):
        return None


@logs
def log_photo(
    *,
    of: Entry,
    made: MadeAnew,
    sent_sha256: str,
    original_sha256: str,
    claimed_at: datetime | None,
    told: Told,
) -> Photo:
    """A photo of what an entry about a hull tells. Its file is whole on the disk before the entry names it."""
    if not of.about:
        raise Refused(f"Entry {of.number} is about no hull; a photo belongs to one.")
    photo = Photo(
        of=of,
        kept_sha256=sha256(made.content).hexdigest(),
        sent_sha256=sent_sha256,
        original_sha256=original_sha256 or sent_sha256,
        width_px=made.width_px,
        height_px=made.height_px,
        size_bytes=len(made.content),
        claimed_at=made.taken_at or claimed_at,
    )
    keep_file(photo.path, made.content)
    return append(photo, told=told, about=of.about)


# ---- Paper


@logs
def print_paper_sheet(*, part: Part, kind: PaperKind, told: Told) -> PaperSheet:
    """A dry sheet goes out; the book gives it its number, one up for each sheet of the hull."""
    highest = PaperSheet.objects.filter(part__hull=part.hull).aggregate(highest=Max("number"))["highest"]
    sheet = PaperSheet(part=part, kind=kind, number=(highest or 0) + 1)
    return append(sheet, told=told, about=part.hull.number)
