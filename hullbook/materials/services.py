"""What changes the store: materials, sheets, resin systems, lots, certificates, and every line of the ledger."""

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any

from django.core.files.storage import default_storage
from django.utils import timezone
from PIL import Image
from pypdf import PdfReader
from pypdf.generic import ArrayObject, DictionaryObject, IndirectObject

from hullbook.calc.core_uptake import core_uptake
from hullbook.calc.errors import InputRefused
from hullbook.calc.laminate import FRACTIONS_AGREE_WITHIN, fibre_mass_fraction
from hullbook.calc.ranges import check_hard
from hullbook.calc.verdict import Level, Verdict
from hullbook.materials.enums import CoreFinish, LotState, MaterialKind, MovementAct, SourceKind, StockUnit
from hullbook.materials.models import (
    Certificate,
    GelTime,
    Lot,
    LotDecision,
    Material,
    MaterialProperty,
    MaterialSheet,
    ResinSystem,
    StockMovement,
    StoredFile,
)
from hullbook.materials.selectors import (
    KnownValue,
    core_geometry,
    gel_table_of,
    is_out_of_date,
    lot_state,
    properties_of,
    stock_left,
    stock_sums,
)
from hullbook.quantities.showing import show
from hullbook.quantities.tables import ranges
from hullbook.records.models import Entry, StruckOut, TypedRow
from hullbook.records.services import Refused, Told, append, logs, struck_out
from hullbook.yard.enums import Role
from hullbook.yard.selectors import roles_of

CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
ABOUT_TO_SECONDS = 120
SMALLEST_STEP = 1e-6

LARGEST_PDF_BYTES = 25 * 1024 * 1024
LARGEST_PICTURE_BYTES = 15 * 1024 * 1024
LARGEST_PICTURE_PIXELS = 40_000_000
MOST_PDF_PARTS = 50_000
PDF_ACTIONS = ("/JS", "/JavaScript", "/OpenAction", "/AA", "/Launch")
PDF, JPEG, PNG = "application/pdf", "image/jpeg", "image/png"

# What a cut needs to be worked out, and the finishes of a core that have it.
CUTS: dict[str, tuple[tuple[str, ...], tuple[CoreFinish, ...]]] = {
    "groove": (
        ("groove_width_mm", "groove_depth_mm", "groove_pitch_mm", "groove_directions"),
        (CoreFinish.GROOVED, CoreFinish.GROOVED_PERFORATED),
    ),
    "hole": (("hole_diameter_mm", "hole_pitch_mm"), (CoreFinish.PERFORATED, CoreFinish.GROOVED_PERFORATED)),
    "kerf": (
        ("kerf_width_mm", "kerf_depth_mm", "kerf_pitch_mm", "kerf_directions"),
        (CoreFinish.CONTOUR_CUT,),
    ),
}
ANY_LIQUID_DENSITY_KG_M3 = 1080.0


@dataclass(frozen=True)
class GivenProperty:
    """One value of a sheet, in the unit its name ends with, and where it comes from."""

    name: str
    value: float
    source_kind: str
    source: str


@dataclass(frozen=True)
class GivenMaterial:
    """A material with a whole sheet, as an import gives it."""

    code: str
    kind: str
    stock_unit: str
    name: str
    maker: str
    fibre: str
    finish: str
    properties: Sequence[GivenProperty]


@dataclass(frozen=True)
class GivenGelTime:
    """One cell of a maker's gel table."""

    dose_phr: float
    temperature_c: float
    shortest_min: float
    longest_min: float


# ---- Materials and sheets


@logs
def add_material(
    *,
    code: str,
    kind: str,
    stock_unit: str,
    name: str,
    maker: str,
    fibre: str = "",
    finish: str = "",
    properties: Sequence[GivenProperty],
    told: Told,
) -> Material:
    """A new product with its first sheet: two entries of one act."""
    given = GivenMaterial(code, kind, stock_unit, name, maker, fibre, finish, properties)
    if Material.objects.filter(code=code).exists():
        raise Refused({"code": f"{code} is in the store already; write it a new sheet, or give another code."})
    _check_material(given)
    material = append(Material(code=code, kind=kind, stock_unit=stock_unit), told=told)
    _append_sheet(material, given, told=told.also("sheet"))
    return material


@logs
def revise_sheet(
    *,
    material: Material,
    name: str,
    maker: str,
    fibre: str = "",
    finish: str = "",
    properties: Sequence[GivenProperty],
    told: Told,
) -> MaterialSheet:
    """A newer sheet takes the place of the one in force; the older stays readable."""
    given = GivenMaterial(material.code, material.kind, material.stock_unit, name, maker, fibre, finish, properties)
    _check_material(given)
    return _append_sheet(material, given, told=told)


@logs
def import_materials(*, materials: Sequence[GivenMaterial], told: Told) -> MaterialSheet:
    """All of them or none; a code that exists gets a new sheet. Gives the first sheet."""
    if not materials:
        raise Refused("There is no material in it.")
    existing = {material.code: material for material in Material.objects.filter(code__in=[m.code for m in materials])}
    sheets: list[MaterialSheet] = []
    for given in materials:
        try:
            _check_material(given)
            material = existing.get(given.code) or append(
                Material(code=given.code, kind=given.kind, stock_unit=given.stock_unit),
                told=told.also(f"material {given.code}"),
            )
            _refuse_other_kind(material, given)
            existing[given.code] = material
            its_entry = told if not sheets else told.also(f"sheet {len(sheets)}")
            sheets.append(_append_sheet(material, given, told=its_entry))
        except Refused as refused:
            raise Refused("; ".join(f"{given.code}: {sentence}" for sentence in refused.problems.values())) from refused
    return sheets[0]


def _append_sheet(material: Material, given: GivenMaterial, *, told: Told) -> MaterialSheet:
    sheet = MaterialSheet(material=material, name=given.name, maker=given.maker, fibre=given.fibre, finish=given.finish)
    lines = [
        MaterialProperty(
            sheet=sheet, name=line.name, value=line.value, source_kind=line.source_kind, source=line.source
        )
        for line in given.properties
    ]
    return append(sheet, lines, told=told)


def _refuse_other_kind(material: Material, given: GivenMaterial) -> None:
    if (material.kind, material.stock_unit) != (given.kind, given.stock_unit):
        raise Refused(
            {
                "kind": f"it is in the store as {material.kind} counted in {material.stock_unit}, "
                f"not as {given.kind} in {given.stock_unit}; give another code."
            }
        )


def _check_material(given: GivenMaterial) -> None:
    """Everything that is wrong with a sheet at once, by the field or property it is about."""
    problems: dict[str, str] = {}
    if not CODE.fullmatch(given.code):
        problems["code"] = f'"{given.code}" is no code; give letters and digits, with . - _ between, as GB-800.'
    if given.kind not in MaterialKind.values:
        problems["kind"] = f'"{given.kind}" is no kind of material; give one of {", ".join(MaterialKind.values)}.'
    if given.stock_unit not in StockUnit.values:
        problems["stock_unit"] = f'"{given.stock_unit}" is not counted in; give one of {", ".join(StockUnit.values)}.'
    if given.kind == MaterialKind.REINFORCEMENT and not given.fibre:
        problems["fibre"] = "Say which fibre it is: glass, carbon, aramid or basalt."
    if given.kind != MaterialKind.REINFORCEMENT and given.fibre:
        problems["fibre"] = f"A {given.kind} has no fibre; leave it empty."
    if given.kind == MaterialKind.CORE and given.finish not in CoreFinish.values:
        problems["finish"] = f"Say how the core is cut: {', '.join(CoreFinish.values)}."
    if given.kind != MaterialKind.CORE and given.finish:
        problems["finish"] = f"A {given.kind} has no cut; leave it empty."
    if "kind" not in problems:
        problems |= _property_problems(given)
    if not problems:
        problems |= _sheet_problems(given)
    if problems:
        raise Refused(problems)


def check_property(kind: str, given: GivenProperty) -> None:
    """Raise InputRefused where a material of this kind does not have the property, or not such a value."""
    its = properties_of(kind).get(given.name)
    if its is None:
        raise InputRefused(
            "impossible", given.name, f"a {kind} with it", f"a {kind} has {', '.join(properties_of(kind))}"
        )
    check_hard(its.label, given.value, its.range)
    if given.source_kind not in SourceKind.values:
        raise InputRefused(
            "missing", "source_kind", f'"{given.source_kind}"', f"give one of {', '.join(SourceKind.values)}"
        )
    if not given.source.strip():
        raise InputRefused("missing", its.label, "no source", "name the sheet or page the value comes from")


def _property_problems(given: GivenMaterial) -> dict[str, str]:
    problems: dict[str, str] = {}
    seen: set[str] = set()
    for line in given.properties:
        try:
            check_property(given.kind, line)
        except InputRefused as refused:
            problems[line.name] = str(refused)
        if line.name in seen:
            problems[line.name] = f"{line.name} is given twice; give it once."
        seen.add(line.name)
    for its in properties_of(given.kind).values():
        if its.required and its.name not in seen:
            problems[its.name] = f"The {its.label} is missing; a {given.kind} needs it."
    return problems


def _sheet_problems(given: GivenMaterial) -> dict[str, str]:
    values = {line.name: KnownValue(line.value, line.source_kind, line.source) for line in given.properties}
    if given.kind == MaterialKind.REINFORCEMENT:
        return _fraction_problems(values)
    if given.kind == MaterialKind.CORE:
        return _cut_problems(values, CoreFinish(given.finish)) or _geometry_problems(values)
    return {}


def _fraction_problems(values: dict[str, KnownValue]) -> dict[str, str]:
    """One share of fibre is needed; two must be the same laminate with some resin that there is."""
    by_volume, by_weight = values.get("fibre_volume_fraction"), values.get("fibre_mass_fraction")
    if by_volume is None and by_weight is None:
        return {"fibre_volume_fraction": "Give how much fibre the laminate holds, by volume or by weight."}
    if by_volume is None or by_weight is None:
        return {}
    cured = ranges()["cured_resin_density_kg_m3"]
    density = values["fibre_density_kg_m3"].value
    low, high = (fibre_mass_fraction(by_volume.value, density, resin) for resin in (cured.usual_high, cured.usual_low))
    if low - FRACTIONS_AGREE_WITHIN <= by_weight.value <= high + FRACTIONS_AGREE_WITHIN:
        return {}
    return {
        "fibre_mass_fraction": f"{by_weight.value:g} by weight does not match {by_volume.value:g} by volume, "
        f"which is {low:.3f} to {high:.3f} by weight; give one of the two, or look at the sheet again."
    }


def _cut_problems(values: dict[str, KnownValue], finish: CoreFinish) -> dict[str, str]:
    problems = {}
    for cut, (names, finishes) in CUTS.items():
        there = [name for name in names if name in values]
        if there and finish not in finishes:
            problems[there[0]] = f"A {finish.label} core has no {cut}s; leave it empty, or change how the core is cut."
        if finish in finishes:
            problems |= {
                name: f"A {finish.label} core needs its {name.rsplit('_', 1)[0].replace('_', ' ')}."
                for name in names
                if name not in values
            }
    return problems


def _geometry_problems(values: dict[str, KnownValue]) -> dict[str, str]:
    try:
        core_uptake(geometry=core_geometry(values), liquid_resin_density_kg_m3=ANY_LIQUID_DENSITY_KG_M3)
    except InputRefused as refused:
        name = refused.field.removeprefix("core_")
        return {name if name in properties_of(MaterialKind.CORE) else "": str(refused)}
    return {}


# ---- Resin systems


@logs
def add_resin_system(
    *,
    code: str,
    resin: Material,
    catalyst: Material,
    dose_low_phr: float,
    dose_high_phr: float,
    gel_times: Sequence[GivenGelTime],
    source_kind: str,
    source: str,
    told: Told,
) -> ResinSystem:
    """A resin with one catalyst, the maker's dose limits and, where the maker gives one, the whole gel table."""
    problems: dict[str, str] = {}
    if not CODE.fullmatch(code):
        problems["code"] = f'"{code}" is no code; give letters and digits, with . - _ between, as VE-10.'
    elif ResinSystem.objects.filter(code=code).exists():
        problems["code"] = f"{code} is in the store already; give another code."
    if resin.kind != MaterialKind.RESIN:
        problems["resin"] = f"{resin.code} is a {resin.kind}, not a resin."
    if catalyst.kind != MaterialKind.CATALYST:
        problems["catalyst"] = f"{catalyst.code} is a {catalyst.kind}, not a catalyst or hardener."
    system = ResinSystem(
        code=code,
        resin=resin,
        catalyst=catalyst,
        dose_low_phr=dose_low_phr,
        dose_high_phr=dose_high_phr,
        source_kind=source_kind,
        source=source,
    )
    cells = [
        GelTime(
            system=system,
            dose_phr=cell.dose_phr,
            temperature_c=cell.temperature_c,
            shortest_min=cell.shortest_min,
            longest_min=cell.longest_min,
        )
        for cell in gel_times
    ]
    if len({(cell.dose_phr, cell.temperature_c) for cell in cells}) < len(cells):
        problems["gel_times"] = "A dose and temperature stand in the gel table twice; give each pair once."
    else:
        try:
            gel_table_of(cells)
        except InputRefused as refused:
            problems["gel_times"] = f"Gel table, {refused}"
    if problems:
        raise Refused(problems)
    return append(system, cells, told=told)


# ---- Lots


@logs
def receive_lot(
    *,
    code: str,
    material: Material,
    makers_batch: str,
    supplier_note: str,
    received_quantity: float,
    received_on: date,
    made_on: date | None,
    use_by: date | None,
    no_use_by: bool,
    storage_place: str,
    told: Told,
) -> Lot:
    """One delivery of one maker's batch comes in; it waits, received, until it is released."""
    problems: dict[str, str] = {}
    if not CODE.fullmatch(code):
        problems["code"] = f'"{code}" is no lot code; give letters and digits, with . - _ between, as R-0001.'
    elif Lot.objects.filter(code=code).exists():
        problems["code"] = f"{code} is a lot already, and lot codes are never given twice."
    if received_on > timezone.localdate(told.tapped_at):
        problems["received_on"] = f"{received_on} lies ahead; give the day it came."
    if made_on is not None and made_on > received_on:
        problems["made_on"] = f"Made on {made_on}, after it came on {received_on}; look at the label again."
    if use_by is not None and made_on is not None and use_by <= made_on:
        problems["use_by"] = f"Use by {use_by}, not after it was made on {made_on}; look at the label again."
    if problems:
        raise Refused(problems)
    lot = Lot(
        code=code,
        material=material,
        makers_batch=makers_batch,
        supplier_note=supplier_note,
        received_quantity=received_quantity,
        received_on=received_on,
        made_on=made_on,
        use_by=use_by,
        no_use_by=no_use_by,
        storage_place=storage_place,
    )
    came_in = StockMovement(lot=lot, act=MovementAct.RECEIVED, quantity=received_quantity)
    return append(lot, [came_in] if received_quantity > 0 else [], told=told)


@logs
def decide_lot(*, lot: Lot, state: str, words: str, told: Told) -> LotDecision:
    """Release, hold or reject a lot, or tell that it is used up: what the book still shows is then written off."""
    state, before = LotState(state), lot_state(lot)
    if state == LotState.RECEIVED:
        raise Refused({"state": "A lot is received once; release, hold or reject it, or tell that it is used up."})
    if before == state:
        raise Refused({"state": f"{lot.code} is {state.label} already."})
    if before == LotState.USED_UP:
        raise Refused({"state": f"{lot.code} is used up; strike that out first if it is not so."})
    if state in (LotState.HELD, LotState.REJECTED) and not words.strip():
        raise Refused({"words": f"Say why it is {state.label}."})
    written_off = []
    if state == LotState.USED_UP and (left := stock_left(lot)) >= SMALLEST_STEP:
        written_off = [StockMovement(lot=lot, act=MovementAct.DISCARDED, quantity=-left)]
    return append(LotDecision(lot=lot, state=state, words=words.strip()), written_off, told=told)


def lot_use(
    *, lot: Lot, quantity: float, told: Told, lead_reason: str = "", instead_of: Entry | None = None
) -> tuple[StockMovement, Verdict]:
    """What a use takes out of a lot, and whether the lot was fit for it on the day; the caller appends both.

    Somebody about to use a lot that is not released or out of date is stopped, unless a quality lead gives a reason.
    What is done already is always stored. `instead_of` is the entry that this use corrects: what that one took is back.
    """
    if not 0 < quantity < float("inf"):
        raise Refused({"quantity": f"{quantity:g} is not accepted; give a quantity above 0."})
    why_not = _why_not_usable(lot, told.happened_at)
    if why_not and is_about_to(told):
        require_leads_reason(told, lead_reason, why_not)
        why_not = f"{why_not}; {told.person} gave the reason: {lead_reason.strip()}"
    elif lead_reason.strip() and Role.QUALITY_LEAD not in roles_of(told.person):
        raise Refused({"lead_reason": "Only a quality lead's reason stands here; leave it empty."})
    because = [why_not] if why_not else []
    over = quantity - stock_left(lot, without=instead_of)
    if over >= SMALLEST_STEP:
        because.append(f"{show(over, lot.material.stock_unit)} more used than received")
    level: Level = "fail" if why_not else "conditional fail" if because else "pass"
    movement = StockMovement(lot=lot, act=MovementAct.USED, quantity=-quantity)
    source = "the lot's release, use-by date and stock ledger"
    return movement, Verdict(level, "lot.usable", None, 0.0, None, None, "", source, "; ".join(because)[:400])


def _why_not_usable(lot: Lot, at: datetime) -> str:
    state, day = lot_state(lot, at), timezone.localdate(at)
    reasons = []
    if state == LotState.RECEIVED:
        reasons.append("not released yet")
    elif state != LotState.RELEASED:
        reasons.append(state.label)
    if is_out_of_date(lot, day):
        reasons.append(f"out of date since {lot.use_by}")
    return f"{lot.code} is {' and '.join(reasons)}" if reasons else ""


def is_about_to(told: Told) -> bool:
    return abs((told.tapped_at - told.happened_at).total_seconds()) <= ABOUT_TO_SECONDS


def require_leads_reason(told: Told, lead_reason: str, why_not: str) -> None:
    if not lead_reason.strip():
        raise Refused({"lot": f"{why_not}; take a released lot in date, or let the quality lead give a reason."})
    if Role.QUALITY_LEAD not in roles_of(told.person):
        raise Refused({"lead_reason": f"{why_not}; only a quality lead's reason lifts that."})
    if len(lead_reason) > 200:
        raise Refused({"lead_reason": "Give the reason in at most 200 letters."})


def undo_movements(entry: Entry) -> list[StockMovement]:
    """The lines that take back what an entry moved; append them with the correction or the strike-out."""
    return [
        StockMovement(lot=movement.lot, act=MovementAct.UNDONE, quantity=-movement.quantity, undoes=entry)
        for movement in entry.stock_movements.exclude(act=MovementAct.UNDONE).select_related("lot__material")
    ]


@logs
def strike_out(*, entry: Entry, reason: str, told: Told) -> StruckOut:
    """Strike an entry out and take back what it moved; refused while something else rests on it."""
    row = entry.typed_row()
    if rests_on_it := _what_rests_on(row) or _what_points_at(row):
        raise Refused(f"Entry {entry.number} cannot be struck out: {rests_on_it}.")
    return struck_out(entry, reason, undo_movements(entry), told=told)


def _what_rests_on(row: TypedRow) -> str:
    if isinstance(row, StruckOut):
        return "it is a strike-out itself; log the thing again instead"
    if isinstance(row, Lot):
        sums = stock_sums([row.pk])[row.pk]
        return f"{row.code} has been used" if sums.used or sums.discarded else ""
    if isinstance(row, Material):
        return f"{row.code} has a sheet; strike nothing out, give it a newer sheet"
    if isinstance(row, MaterialSheet):
        others = MaterialSheet.objects.current().filter(material=row.material).exclude(pk=row.pk)
        return "" if others.exists() else f"it is the only sheet of {row.material.code}; write a newer one first"
    return ""


def _what_points_at(row: TypedRow) -> str:
    """An entry that still counts and is about this one, of whatever kind: a pail of a pour, a pour of a part.

    What came in the same act, as parts come with their hull, counts by what rests on it in turn.
    """
    if isinstance(row, Lot | Material | MaterialSheet):
        return ""
    for relation in row._meta.related_objects:
        model = relation.related_model
        if issubclass(model, TypedRow) and relation.field.name not in {"corrects", *model.outlives}:
            for pointing in model.objects.current().filter(**{relation.field.name: row}).select_related("entry"):
                if not _of_one_act(row.entry, pointing.entry):
                    return f"entry {pointing.pk} rests on it ({model._meta.verbose_name}); strike that out first"
                if further := _what_points_at(pointing):
                    return further
    return ""


def _of_one_act(entry: Entry, other: Entry) -> bool:
    return (entry.tapped_at, entry.device, entry.account) == (other.tapped_at, other.device, other.account)


# ---- Certificates


@logs
def attach_certificate(
    *, lot: Lot, kind: str, number: str, dated_on: date, content: bytes, sent_name: str, told: Told
) -> Certificate:
    """A certificate as it came, kept for ever; a PDF or a picture that opens, and nothing that acts by itself."""
    if dated_on > timezone.localdate(told.tapped_at):
        raise Refused({"dated_on": f"{dated_on} lies ahead; give the date on the certificate."})
    file = store_file(content=content, sent_name=sent_name)
    return append(Certificate(lot=lot, kind=kind, number=number, dated_on=dated_on, file=file), told=told)


def store_file(*, content: bytes, sent_name: str) -> StoredFile:
    """Keep a file under the SHA-256 of its bytes; the same bytes are kept once, under the name they first came by."""
    media_type = _media_type(content)
    digest = sha256(content).hexdigest()
    known = StoredFile.objects.filter(pk=digest).first()
    name = Path(sent_name.replace("\\", "/").replace("\0", "")).name[-200:] or "certificate"
    file = known or StoredFile(sha256=digest, media_type=media_type, size_bytes=len(content), sent_name=name)
    keep_file(file.path, content)
    if known is None:
        file.save(force_insert=True)
    return file


def keep_file(path: str, content: bytes) -> None:
    """Whole or not at all, also when the power fails; call it before the entry that names the file."""
    if default_storage.exists(path):
        return
    final = Path(default_storage.path(path))
    final.parent.mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=final.parent, delete=False) as written:
        written.write(content)
        written.flush()
        os.fsync(written.fileno())
    os.replace(written.name, final)
    if os.name == "posix":  # elsewhere a folder cannot be opened, and its journal sees to it
        folder = os.open(final.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def _media_type(content: bytes) -> str:
    """What the bytes are, whatever the file was called; refuses what is neither or does not open."""
    if content.startswith(b"%PDF-"):
        _refuse_above(LARGEST_PDF_BYTES, content, "PDF")
        _check_pdf(content)
        return PDF
    if content.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")):
        _refuse_above(LARGEST_PICTURE_BYTES, content, "picture")
        _check_picture(content)
        return JPEG if content.startswith(b"\xff\xd8\xff") else PNG
    raise Refused({"file": "This is neither a PDF nor a JPEG or PNG picture; give one of these."})


def _refuse_above(limit: int, content: bytes, what: str) -> None:
    if len(content) > limit:
        megabytes = 1024 * 1024
        raise Refused(
            {"file": f"The {what} has {len(content) / megabytes:.1f} MB; give at most {limit // megabytes} MB."}
        )


def _check_picture(content: bytes) -> None:
    try:
        with Image.open(BytesIO(content), formats=("JPEG", "PNG")) as picture:
            pixels = picture.width * picture.height
            if pixels <= LARGEST_PICTURE_PIXELS:
                picture.load()
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        pixels = LARGEST_PICTURE_PIXELS + 1
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise Refused({"file": "The picture does not open; it may be cut short. Take it again."}) from error
    if pixels > LARGEST_PICTURE_PIXELS:
        raise Refused({"file": "The picture has more than 40 million points; give a smaller one."})


def _check_pdf(content: bytes) -> None:
    try:
        reader = PdfReader(BytesIO(content))
        acts = None if reader.is_encrypted else _first_action(reader)
        pages = 0 if reader.is_encrypted else len(reader.pages)
    except Exception as error:  # a broken PDF fails in more ways than its reader has names for
        raise Refused({"file": "The PDF does not open; it may be cut short. Ask for it again."}) from error
    if reader.is_encrypted:
        raise Refused({"file": "The PDF is locked with a password; give one that opens without."})
    if acts:
        raise Refused({"file": f"The PDF does something when it is opened ({acts}); print it to a plain PDF first."})
    if not pages:
        raise Refused({"file": "The PDF has no page."})


def _first_action(reader: PdfReader) -> str | None:
    """The first thing in a PDF that acts by itself, looked for in every part it holds."""
    waiting: list[Any] = [reader.trailer]
    seen: set[tuple[int, int]] = set()
    for _ in range(MOST_PDF_PARTS):
        if not waiting:
            return None
        part = waiting.pop()
        if isinstance(part, IndirectObject):
            if (part.idnum, part.generation) in seen:
                continue
            seen.add((part.idnum, part.generation))
            part = part.get_object()
        if isinstance(part, DictionaryObject):
            if found := _named_action(part.keys()) or _named_action([part.get("/S")]):
                return found
            waiting += [part.raw_get(key) for key in part]
        elif isinstance(part, ArrayObject):
            waiting += list.__iter__(part)
    return "more parts than a certificate has"


def _named_action(names: Iterable[object]) -> str | None:
    return next((str(name) for name in names if name in PDF_ACTIONS), None)
