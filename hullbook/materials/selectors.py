"""Reading the store: what is known of a material, what each lot's state is, and what is left of it."""

import re
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache

from django.conf import settings
from django.db.models import Exists, OuterRef, QuerySet, Sum
from django.utils import timezone

from hullbook.calc.check_character import check_character
from hullbook.calc.core_uptake import Bend, CoreGeometry, Foam, Grooves, Holes, Kerfs
from hullbook.calc.gel import GelTable
from hullbook.calc.ranges import Range
from hullbook.materials.enums import LotState, MaterialKind, MovementAct
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
)
from hullbook.quantities.reading import own_spelling
from hullbook.quantities.showing import neutral_cell, show
from hullbook.quantities.tables import ranges
from hullbook.records.models import Entry

MATERIALS_CSV_COLUMNS = (
    "code",
    "kind",
    "stock_unit",
    "name",
    "maker",
    "fibre",
    "finish",
    "property",
    "value",
    "unit",
    "source_kind",
    "source",
)


@dataclass(frozen=True)
class PropertyOfKind:
    """A property as a material of one kind has it: its words, its bounds, and whether a sheet must have it."""

    name: str
    label: str
    range_key: str
    required: bool

    @property
    def range(self) -> Range:
        return ranges()[self.range_key]

    @property
    def unit(self) -> str:
        return self.range.unit


@dataclass(frozen=True)
class KnownValue:
    """A value in the unit its name ends with, and where it comes from."""

    value: float
    source_kind: str
    source: str


@dataclass(frozen=True)
class SheetInForce:
    """What counts as known of a material: its latest sheet that nobody has corrected or struck out."""

    material: Material
    sheet: MaterialSheet
    name: str
    fibre: str
    finish: str
    values: dict[str, KnownValue]

    def value(self, name: str) -> float | None:
        known = self.values.get(name)
        return None if known is None else known.value


@dataclass(frozen=True)
class StockSums:
    """What came in of a lot, where it went and what is left; undone lines cancel what they undo."""

    received: float = 0.0
    used: float = 0.0
    discarded: float = 0.0
    left: float = 0.0


@dataclass(frozen=True)
class StockLine:
    """A lot as it stands on a day."""

    lot: Lot
    sheet_name: str
    state: LotState
    received: float
    used: float
    discarded: float
    left: float
    out_of_date: bool
    certificates: int

    @property
    def is_usable(self) -> bool:
        return self.state == LotState.RELEASED and not self.out_of_date and self.left > 0

    @property
    def words(self) -> str:
        """How a list to choose from shows it."""
        use_by = "no use-by by maker" if self.lot.use_by is None else f"use by {self.lot.use_by:%Y-%m-%d}"
        late = ", out of date" if self.out_of_date else ""
        state = "" if self.state == LotState.RELEASED else f", {self.state.label}"
        left = show(self.left, self.lot.material.stock_unit)
        return f"{self.lot.code} {self.sheet_name}, {left} left, {use_by}{late}{state}"


@dataclass(frozen=True)
class MaterialStock:
    """All lots of one material together; `usable` is what is released and in date of what is left."""

    material: Material
    sheet_name: str
    lots: int
    received: float
    used: float
    discarded: float
    left: float
    usable: float


@dataclass(frozen=True)
class MovementLine:
    """A line of a lot's ledger, what was left after it, and the entry that has undone it."""

    movement: StockMovement
    left: float
    undone_by: int | None


@dataclass(frozen=True)
class LotCard:
    """Everything the store knows of one lot."""

    lot: Lot
    sheet_name: str
    state: LotState
    received: float
    used: float
    discarded: float
    left: float
    out_of_date: bool
    certificates: list[Certificate]
    decisions: list[LotDecision]
    movements: list[MovementLine]

    @property
    def overdrawn(self) -> float:
        """How much more was used than received."""
        return max(-self.left, 0.0)


@cache
def properties_of(kind: str) -> dict[str, PropertyOfKind]:
    """The properties a material of this kind may have, by name, in the order of the catalogue."""
    catalogue = tomllib.loads((settings.SHARED / "materials" / "properties.toml").read_text(encoding="utf-8"))
    return {
        name: PropertyOfKind(
            name, entry["label"], entry["kinds"][kind]["range"], entry["kinds"][kind].get("required", False)
        )
        for name, entry in catalogue.items()
        if kind in entry["kinds"]
    }


def properties_in_force(materials: Iterable[Material]) -> dict[int, SheetInForce]:
    """What is known of each material, by its number; three queries at most, however many there are."""
    by_number = {material.pk: material for material in materials}
    sheets: dict[int, MaterialSheet] = {}
    for sheet in MaterialSheet.objects.current().filter(material__in=by_number).order_by("pk"):
        sheets[sheet.material_id] = sheet
    values: dict[int, dict[str, KnownValue]] = defaultdict(dict)
    for line in MaterialProperty.objects.filter(sheet__in=[sheet.pk for sheet in sheets.values()]):
        values[line.sheet_id][line.name] = KnownValue(line.value, line.source_kind, line.source)
    return {
        number: SheetInForce(by_number[number], sheet, sheet.name, sheet.fibre, sheet.finish, values[sheet.pk])
        for number, sheet in sheets.items()
    }


def sheet_in_force(material: Material) -> SheetInForce:
    return properties_in_force([material])[material.pk]


def materials(kinds: Iterable[MaterialKind] | None = None) -> list[SheetInForce]:
    """All materials with their sheets, in the order of kinds and codes."""
    found = Material.objects.current().order_by("code")
    if kinds is not None:
        found = found.filter(kind__in=list(kinds))
    order = list(MaterialKind)
    sheets = properties_in_force(found).values()
    return sorted(sheets, key=lambda sheet: (order.index(MaterialKind(sheet.material.kind)), sheet.material.code))


def material(code: str) -> Material:
    return Material.objects.current().get(code=code)


def sheets_of(material: Material) -> QuerySet[MaterialSheet]:
    """All sheets there ever were, newest first."""
    return material.sheets.select_related("entry__struck_out", "corrected_by").order_by("-pk")


def known_properties(sheet: SheetInForce) -> list[tuple[PropertyOfKind, KnownValue]]:
    """What a sheet says, each value with its words and unit."""
    properties = properties_of(sheet.material.kind)
    return [(properties[name], known) for name, known in sheet.values.items()]


def materials_csv_rows() -> Iterator[list[str]]:
    """All materials as their sheets stand, one property a line; text that looks like a formula is made neutral."""
    yield list(MATERIALS_CSV_COLUMNS)
    for sheet in materials():
        product = sheet.material
        heads = [
            product.code,
            product.kind,
            product.stock_unit,
            sheet.name,
            sheet.sheet.maker,
            sheet.fibre,
            sheet.finish,
        ]
        heads = [neutral_cell(text) for text in heads]
        properties = properties_of(product.kind)
        for name, known in sheet.values.items():
            value = f"{known.value:.6f}".rstrip("0").rstrip(".")
            unit, source = own_spelling(properties[name].unit), neutral_cell(known.source)
            yield [*heads, name, value, unit, known.source_kind, source]
        if not sheet.values:
            yield [*heads, "", "", "", "", ""]


def core_geometry(
    values: Mapping[str, KnownValue], *, bend: Bend | None = None, cross_bend: Bend | None = None
) -> CoreGeometry:
    """A core's properties as the sums take them; cuts that run two ways are crossed at the same pitch."""

    def value(name: str) -> float | None:
        return values[name].value if name in values else None

    def needed(name: str) -> float:
        return values[name].value

    foam = grooves = holes = kerfs = None
    if "polymer_density_kg_m3" in values and "cell_diameter_mm" in values:
        foam = Foam(needed("density_kg_m3"), needed("polymer_density_kg_m3"), needed("cell_diameter_mm"))
    if "groove_width_mm" in values:
        pitch = needed("groove_pitch_mm")
        crossed = pitch if value("groove_directions") == 2 else None
        grooves = Grooves(needed("groove_width_mm"), needed("groove_depth_mm"), pitch, crossed)
    if "hole_diameter_mm" in values:
        holes = Holes(needed("hole_diameter_mm"), needed("hole_pitch_mm"))
    if "kerf_width_mm" in values:
        pitch = needed("kerf_pitch_mm")
        crossed = pitch if value("kerf_directions") == 2 else None
        kerfs = Kerfs(needed("kerf_width_mm"), needed("kerf_depth_mm"), pitch, crossed, bend, cross_bend)
    return CoreGeometry(
        thickness_mm=needed("thickness_mm"),
        foam=foam,
        face_pick_up_kg_m2=value("face_pick_up_kg_m2"),
        grooves=grooves,
        holes=holes,
        kerfs=kerfs,
    )


def resin_system(code: str) -> ResinSystem:
    return _resin_systems().get(code=code)


def resin_systems() -> list[ResinSystem]:
    return list(_resin_systems())


def _resin_systems() -> QuerySet[ResinSystem]:
    return ResinSystem.objects.current().select_related("resin", "catalyst", "entry").order_by("code")


def gel_table(system: ResinSystem) -> GelTable | None:
    """The maker's gel table as the sums take it; None where the maker gives none."""
    return gel_table_of(system.gel_times.all())


def gel_table_of(cells: Iterable[GelTime]) -> GelTable | None:
    """Cells as a table; raises InputRefused where a temperature has no time for one of the doses."""
    times = {(cell.temperature_c, cell.dose_phr): cell for cell in cells}
    if not times:
        return None
    temperatures = tuple(sorted({temperature for temperature, _ in times}))
    doses = tuple(sorted({dose_phr for _, dose_phr in times}))
    rows = [[times[t, d] for d in doses if (t, d) in times] for t in temperatures]
    return GelTable(
        temperatures,
        doses,
        tuple(tuple(cell.shortest_min for cell in row) for row in rows),
        tuple(tuple(cell.longest_min for cell in row) for row in rows),
    )


def gel_rows(table: GelTable) -> list[tuple[float, list[tuple[float, float]]]]:
    """Each temperature of a gel table with its shortest and longest minutes, dose by dose."""
    cells = [list(zip(low, high, strict=True)) for low, high in zip(table.low_minutes, table.high_minutes, strict=True)]
    return list(zip(table.temperatures_c, cells, strict=True))


def lot(code: str) -> Lot:
    return Lot.objects.current().select_related("material", "entry").get(code=code)


# The yard's own running lot codes: R-0412, or with its check character R-0412-7.
OWN_LOT_CODE = re.compile(r"(R-([0-9]{4,}))(-[0-9A-Z])?")
# Not read for sure beside figures, or not taken in a code.
NO_CHECK_CHARACTERS = "IOQSZ*"


def next_lot_code() -> str:
    """The yard's own running code for the next lot, with its check character; a number that has none of use is left."""
    matches = map(OWN_LOT_CODE.fullmatch, Lot.objects.filter(code__startswith="R-").values_list("code", flat=True))
    number = max((int(match[2]) for match in matches if match), default=0) + 1
    while check_character(f"R-{number:04}") in NO_CHECK_CHARACTERS:
        number += 1
    return f"R-{number:04}-{check_character(f'R-{number:04}')}"


def as_checked(code: str) -> str:
    """A lot code with the check character that fits, where it carries one; any other code as it is."""
    match = OWN_LOT_CODE.fullmatch(code.upper())
    return f"{match[1]}-{check_character(match[1])}" if match and match[3] else code


def earlier_lots_of(makers_batch: str, material: Material) -> QuerySet[Lot]:
    """Lots of the same maker's batch that came before."""
    return Lot.objects.current().filter(makers_batch__iexact=makers_batch, material=material).order_by("received_on")


def lot_state(lot: Lot, at: datetime | None = None) -> LotState:
    """What was decided about a lot by a moment, or by now."""
    return _states([lot.pk], at).get(lot.pk, LotState.RECEIVED)


def _states(lots: Iterable[int], at: datetime | None = None) -> dict[int, LotState]:
    decisions = LotDecision.objects.current().filter(lot__in=lots)
    if at is not None:
        decisions = decisions.filter(entry__happened_at__lte=at)
    in_order = decisions.order_by("entry__happened_at", "pk").values_list("lot", "state")
    return {number: LotState(state) for number, state in in_order}


def is_out_of_date(lot: Lot, on: date) -> bool:
    return lot.use_by is not None and lot.use_by < on


def stock_sums(lots: Iterable[int]) -> dict[int, StockSums]:
    """The ledger of each lot in four sums that close: received = used + discarded + left."""
    undone = Exists(StockMovement.objects.filter(undoes=OuterRef("entry"), lot=OuterRef("lot")))
    lines = StockMovement.objects.filter(lot__in=lots).annotate(is_undone=undone).order_by()
    sums: dict[int, dict[str, float]] = defaultdict(lambda: defaultdict(float))
    for line in lines.values("lot", "act", "is_undone").annotate(total=Sum("quantity")):
        by_act = sums[line["lot"]]
        by_act["left"] += line["total"]
        if not line["is_undone"]:
            by_act[line["act"]] += line["total"]
    return {
        number: StockSums(
            received=by_act[MovementAct.RECEIVED],
            used=abs(by_act[MovementAct.USED]),
            discarded=abs(by_act[MovementAct.DISCARDED]),
            left=round(by_act["left"], 6),
        )
        for number, by_act in sums.items()
    }


def stock_left(lot: Lot, *, without: Entry | None = None) -> float:
    """What is left of a lot by the book, or would be if one entry had not been made."""
    lines = StockMovement.objects.filter(lot=lot)
    if without is not None:
        lines = lines.exclude(entry=without)
    return round(lines.aggregate(total=Sum("quantity"))["total"] or 0.0, 6)


def stock(on: date, *, material: Material | None = None) -> list[StockLine]:
    """Every lot there is, the first to run out of date first."""
    found = Lot.objects.current().select_related("material")
    if material is not None:
        found = found.filter(material=material)
    return _stock_lines(found, on)


def stock_by_material(lines: Iterable[StockLine]) -> list[MaterialStock]:
    """The ledger of each material over all its lots."""
    by_material: dict[int, list[StockLine]] = defaultdict(list)
    for line in lines:
        by_material[line.lot.material_id].append(line)
    return [
        MaterialStock(
            material=its[0].lot.material,
            sheet_name=its[0].sheet_name,
            lots=len(its),
            received=sum(line.received for line in its),
            used=sum(line.used for line in its),
            discarded=sum(line.discarded for line in its),
            left=sum(line.left for line in its),
            usable=sum(line.left for line in its if line.is_usable),
        )
        for its in sorted(by_material.values(), key=lambda its: its[0].lot.material.code)
    ]


def usable_lots(material: Material, on: date) -> list[StockLine]:
    """Lots to take from: released, in date and not empty, the oldest use-by first."""
    return [line for line in stock(on, material=material) if line.is_usable]


def released_stock_by_material(on: date) -> dict[int, float]:
    """What may be used on a day, by the number of the material, in its stock unit."""
    totals: dict[int, float] = defaultdict(float)
    for line in stock(on):
        if line.is_usable:
            totals[line.lot.material_id] += line.left
    return dict(totals)


def _stock_lines(lots: QuerySet[Lot], on: date) -> list[StockLine]:
    in_order = sorted(lots, key=lambda lot: (lot.use_by or date.max, lot.received_on, lot.pk))
    numbers = [lot.pk for lot in in_order]
    states, sums = _states(numbers), stock_sums(numbers)
    names = {number: sheet.name for number, sheet in properties_in_force({lot.material for lot in in_order}).items()}
    certificates: dict[int, int] = defaultdict(int)
    for number in Certificate.objects.current().filter(lot__in=numbers).values_list("lot", flat=True):
        certificates[number] += 1
    return [
        StockLine(
            lot=lot,
            sheet_name=names[lot.material_id],
            state=states.get(lot.pk, LotState.RECEIVED),
            received=sums[lot.pk].received,
            used=sums[lot.pk].used,
            discarded=sums[lot.pk].discarded,
            left=sums[lot.pk].left,
            out_of_date=is_out_of_date(lot, on),
            certificates=certificates[lot.pk],
        )
        for lot in in_order
    ]


def lot_card(code: str, on: date | None = None) -> LotCard:
    """One lot with its certificates, decisions and ledger; raises Lot.DoesNotExist."""
    found = lot(code)
    sums = stock_sums([found.pk])[found.pk]
    return LotCard(
        lot=found,
        sheet_name=sheet_in_force(found.material).name,
        state=lot_state(found),
        received=sums.received,
        used=sums.used,
        discarded=sums.discarded,
        left=sums.left,
        out_of_date=is_out_of_date(found, on or timezone.localdate()),
        certificates=list(
            Certificate.objects.current().filter(lot=found).select_related("file", "entry").order_by("pk")
        ),
        decisions=list(found.decisions.select_related("entry__struck_out", "corrected_by").order_by("pk")),
        movements=_movement_lines(found),
    )


def _movement_lines(lot: Lot) -> list[MovementLine]:
    movements = list(lot.movements.select_related("entry").order_by("entry", "position"))
    undone_by = {movement.undoes_id: movement.entry_id for movement in movements if movement.undoes_id}
    lines, left = [], 0.0
    for movement in movements:
        left = round(left + movement.quantity, 6)
        lines.append(MovementLine(movement, left, undone_by.get(movement.entry_id)))
    return lines


def certificate(lot_code: str, number: int) -> Certificate:
    """A certificate of a lot by the number of its entry; raises Certificate.DoesNotExist."""
    return Certificate.objects.current().select_related("file", "lot").get(pk=number, lot__code=lot_code)
