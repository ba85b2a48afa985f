"""Laminate schedules: their revisions, what they come to, and what differs between two of them."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any

from django.db.models import QuerySet
from django.http import Http404

from hullbook.calc import laminate
from hullbook.calc.errors import InputRefused
from hullbook.hulls.enums import RevisionState
from hullbook.hulls.models import (
    BoatModel,
    Hull,
    Part,
    RevisionInForce,
    ScheduleLine,
    ScheduleRevision,
    ScheduleSigned,
    Zone,
)
from hullbook.materials.enums import MaterialKind, StockUnit
from hullbook.materials.models import Material
from hullbook.materials.selectors import KnownValue, SheetInForce, properties_in_force, properties_of
from hullbook.quantities.showing import show
from hullbook.yard.models import Person
from hullbook.yard.perms import Act, require


def boat_models() -> QuerySet[BoatModel]:
    return BoatModel.objects.current().order_by("name")


def boat_model_for(person: Person, act: Act, name: str) -> BoatModel:
    require(person, act)
    boat_model = BoatModel.objects.filter(name=name).first()
    if boat_model is None:
        raise Http404(f"No boat model {name} here.")
    return boat_model


def revision_for(person: Person, act: Act, name: str, part_name: str, letter: str) -> ScheduleRevision:
    boat_model = boat_model_for(person, act, name)
    revisions = ScheduleRevision.objects.select_related("boat_model", "signing__entry")
    revision = revisions.filter(boat_model=boat_model, part_name=part_name, letter=letter).first()
    if revision is None:
        raise Http404(f"{name} {part_name} has no rev {letter}.")
    return revision


@dataclass(frozen=True)
class RevisionCard:
    revision: ScheduleRevision
    state: RevisionState
    signed: ScheduleSigned | None


def revisions_of(boat_model: BoatModel) -> dict[str, tuple[RevisionCard, ...]]:
    """Every revision of a model by part name, the newest first."""
    revisions = ScheduleRevision.objects.filter(boat_model=boat_model).select_related("boat_model", "signing__entry")
    by_part: dict[str, list[RevisionCard]] = defaultdict(list)
    newest_signed: dict[str, bool] = {}
    for revision in revisions.order_by("part_name", "-pk"):
        signed: ScheduleSigned | None = getattr(revision, "signing", None)
        state = RevisionState.DRAFT
        if signed:
            state = RevisionState.SUPERSEDED if newest_signed.get(revision.part_name) else RevisionState.SIGNED
            newest_signed[revision.part_name] = True
        by_part[revision.part_name].append(RevisionCard(revision, state, signed))
    return {part: tuple(cards) for part, cards in by_part.items()}


def revision_state(revision: ScheduleRevision) -> RevisionState:
    """Draft until signed; superseded once a later revision of the same schedule is signed."""
    later = ScheduleSigned.objects.filter(
        revision__boat_model=revision.boat_model_id, revision__part_name=revision.part_name
    )
    signed = later.filter(revision=revision).first()
    if signed is None:
        return RevisionState.DRAFT
    return RevisionState.SUPERSEDED if later.filter(revision__pk__gt=revision.pk).exists() else RevisionState.SIGNED


def earlier_revision(revision: ScheduleRevision) -> ScheduleRevision | None:
    """The revision before this one of the same schedule."""
    before = ScheduleRevision.objects.filter(
        boat_model=revision.boat_model_id, part_name=revision.part_name, pk__lt=revision.pk
    )
    return before.select_related("boat_model").order_by("-pk").first()


def revision_in_force(part: Part) -> ScheduleRevision | None:
    taken = RevisionInForce.objects.current().filter(part=part).select_related("revision__boat_model")
    latest = taken.order_by("-pk").first()
    return latest.revision if latest else None


def revisions_in_force(hull: Hull) -> dict[int, ScheduleRevision]:
    """By part: the revision each part of a hull is built to."""
    taken = RevisionInForce.objects.current().filter(part__hull=hull).select_related("revision__boat_model")
    return {row.part_id: row.revision for row in taken.order_by("pk")}


@dataclass(frozen=True)
class PropertyUsed:
    """A value a schedule was worked out with, and where it comes from."""

    material: Material
    name: str
    known: KnownValue

    @property
    def label(self) -> str:
        return properties_of(self.material.kind)[self.name].label

    @property
    def unit(self) -> str:
        return properties_of(self.material.kind)[self.name].unit


@dataclass(frozen=True)
class LineView:
    """A line with its material's sheet and what it comes to. `lacking` says what the sheet leaves open."""

    line: ScheduleLine
    sheet: SheetInForce
    area_m2: float
    area_factor: float
    ply: laminate.Ply | None
    lacking: str = ""
    used: tuple[PropertyUsed, ...] = ()

    @property
    def is_core(self) -> bool:
        return self.line.material.kind == MaterialKind.CORE

    @property
    def laid_area_m2(self) -> float:
        """Area of cloth or core that goes in, laps counted."""
        return self.area_m2 * self.area_factor

    @property
    def areal_weight_kg_m2(self) -> float | None:
        return None if self.is_core else self.sheet.value("areal_weight_kg_m2")

    @property
    def dry_kg(self) -> float | None:
        """Mass of the dry cloth, or of the core."""
        if not self.is_core:
            return None if self.areal_weight_kg_m2 is None else self.areal_weight_kg_m2 * self.laid_area_m2
        thickness_mm, density = self.sheet.value("thickness_mm"), self.sheet.value("density_kg_m3")
        return None if thickness_mm is None or density is None else thickness_mm / 1000 * density * self.laid_area_m2

    @property
    def resin_kg(self) -> float | None:
        return None if self.ply is None else self.ply.resin_kg_m2 * self.laid_area_m2

    @property
    def thickness_mm(self) -> float | None:
        return self.sheet.value("thickness_mm") if self.is_core else (self.ply.thickness_mm if self.ply else None)

    @property
    def planned_quantity(self) -> float | None:
        """In the material's stock unit; None where its sheet does not tell."""
        unit = self.line.material.stock_unit
        if unit == StockUnit.SQUARE_METRE:
            return self.laid_area_m2
        if unit == StockUnit.KILOGRAM:
            return self.dry_kg
        by_unit = {StockUnit.METRE: "roll_width_m", StockUnit.PIECE: "sheet_area_m2"}
        per_unit = self.sheet.value(by_unit[StockUnit(unit)])
        return self.laid_area_m2 / per_unit if per_unit else None


def _sum(values: Iterable[float | None]) -> float | None:
    """The sum, or None as soon as one part of it is not known."""
    known = list(values)
    return None if None in known else sum(value for value in known if value is not None)


@dataclass(frozen=True)
class ZoneView:
    """A zone with its lines from the mould inwards. Masses are for the whole zone, laps counted; None is not known."""

    zone: Zone
    lines: tuple[LineView, ...]
    stack: laminate.Stack | None

    @property
    def plies(self) -> tuple[LineView, ...]:
        return tuple(line for line in self.lines if not line.is_core)

    @property
    def cores(self) -> tuple[LineView, ...]:
        return tuple(line for line in self.lines if line.is_core)

    @property
    def dry_fibre_kg_m2(self) -> float | None:
        return _sum(line.areal_weight_kg_m2 for line in self.plies)

    @property
    def resin_kg_m2(self) -> float | None:
        return self.stack.resin_kg_m2 if self.stack else None

    @property
    def fibre_mass_fraction(self) -> float | None:
        return self.stack.fibre_mass_fraction if self.stack else None

    @property
    def fibre_volume_fraction(self) -> float | None:
        return self.stack.fibre_volume_fraction if self.stack else None

    @property
    def fibre_kg(self) -> float | None:
        return _sum(line.dry_kg for line in self.plies)

    @property
    def resin_kg(self) -> float | None:
        return _sum(line.resin_kg for line in self.plies)

    @property
    def core_kg(self) -> float | None:
        return _sum(line.dry_kg for line in self.cores)

    @property
    def mass_kg(self) -> float | None:
        """Fibre, resin in the laminate and core; resin taken up by the core is the resin plan's."""
        return _sum((self.fibre_kg, self.resin_kg, self.core_kg))

    @property
    def laminate_thickness_mm(self) -> float | None:
        return _sum(line.thickness_mm for line in self.plies)

    @property
    def thickness_mm(self) -> float | None:
        return _sum(line.thickness_mm for line in self.lines)

    @property
    def lacking(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(line.lacking for line in self.lines if line.lacking))


@dataclass(frozen=True)
class ScheduleView:
    revision: ScheduleRevision
    state: RevisionState
    zones: tuple[ZoneView, ...]
    cured_resin_density_kg_m3: KnownValue | None

    @property
    def lines(self) -> tuple[LineView, ...]:
        """Every line in the order it goes into the mould."""
        return tuple(sorted((line for zone in self.zones for line in zone.lines), key=lambda view: view.line.number))

    @property
    def area_m2(self) -> float:
        return sum(zone.zone.area_m2 for zone in self.zones)

    @property
    def fibre_kg(self) -> float | None:
        return _sum(zone.fibre_kg for zone in self.zones)

    @property
    def resin_kg(self) -> float | None:
        return _sum(zone.resin_kg for zone in self.zones)

    @property
    def core_kg(self) -> float | None:
        return _sum(zone.core_kg for zone in self.zones)

    @property
    def mass_kg(self) -> float | None:
        return _sum(zone.mass_kg for zone in self.zones)

    @property
    def sources(self) -> tuple[PropertyUsed, ...]:
        """Every value the figures rest on, once."""
        used = {(one.material.code, one.name): one for line in self.lines for one in line.used}
        return tuple(used[key] for key in sorted(used))


def schedule_view(revision: ScheduleRevision, cured_resin_density_kg_m3: KnownValue | None = None) -> ScheduleView:
    """A revision worked out with the sheets in force. Without a resin's density there is fibre, but no resin."""
    lines = list(revision.lines.select_related("material").order_by("number"))
    sheets = properties_in_force({line.material for line in lines})
    zones = list(revision.zones.order_by("position"))
    by_zone: dict[int, list[LineView]] = defaultdict(list)
    zone_of = {zone.pk: zone for zone in zones}
    for line in lines:
        line.zone = zone_of[line.zone_id]
        by_zone[line.zone_id].append(_line_view(line, sheets[line.material_id], cured_resin_density_kg_m3))
    return ScheduleView(
        revision=revision,
        state=revision_state(revision),
        zones=tuple(_zone_view(zone, tuple(by_zone[zone.pk])) for zone in zones),
        cured_resin_density_kg_m3=cured_resin_density_kg_m3,
    )


def _zone_view(zone: Zone, lines: tuple[LineView, ...]) -> ZoneView:
    plies = [line.ply for line in lines if not line.is_core]
    known = [ply for ply in plies if ply is not None]
    return ZoneView(zone, lines, laminate.stack(known) if known and len(known) == len(plies) else None)


CORE_PROPERTIES = ("thickness_mm", "density_kg_m3")
FIBRE_PROPERTIES = ("areal_weight_kg_m2", "fibre_density_kg_m3")
FIBRE_SHARES = ("fibre_mass_fraction", "fibre_volume_fraction")


def _line_view(line: ScheduleLine, sheet: SheetInForce, cured_resin_density: KnownValue | None) -> LineView:
    is_core = line.material.kind == MaterialKind.CORE
    wanted = CORE_PROPERTIES if is_core else FIBRE_PROPERTIES
    lacking = [name for name in wanted if name not in sheet.values]
    if not is_core and line.lap_mm and "roll_width_m" not in sheet.values:
        lacking.append("roll_width_m")
    labels = properties_of(line.material.kind)
    problems = [f"{line.material.code}: {labels[name].label} is not in its sheet." for name in lacking]
    ply, factor = None, 1.0
    try:
        if not is_core and line.lap_mm and (roll_width_m := sheet.value("roll_width_m")):
            factor = laminate.overlap_factor(roll_width_m, line.lap_mm / 1000)
        if not is_core and sheet.values.keys() >= set(wanted) and cured_resin_density is not None:
            ply = _ply(sheet, cured_resin_density.value)
    except InputRefused as refused:
        problems.append(f"{line.material.code}: {refused}.")
    used = wanted if is_core else (*wanted, *FIBRE_SHARES, *(("roll_width_m",) if line.lap_mm else ()))
    return LineView(
        line=line,
        sheet=sheet,
        area_m2=line.zone.area_m2,
        area_factor=factor,
        ply=ply,
        lacking=" ".join(problems),
        used=tuple(PropertyUsed(line.material, name, sheet.values[name]) for name in used if name in sheet.values),
    )


def _ply(sheet: SheetInForce, cured_resin_density_kg_m3: float) -> laminate.Ply:
    shares = {name: sheet.values[name].value for name in FIBRE_SHARES if name in sheet.values}
    return laminate.ply(
        areal_weight_kg_m2=sheet.values["areal_weight_kg_m2"].value,
        fibre_density_kg_m3=sheet.values["fibre_density_kg_m3"].value,
        cured_resin_density_kg_m3=cured_resin_density_kg_m3,
        **shares,
    )


@dataclass(frozen=True)
class FieldChange:
    words: str
    before: str
    after: str


@dataclass(frozen=True)
class LineChange:
    """A line added, taken out, or changed field by field."""

    before: ScheduleLine | None
    after: ScheduleLine | None
    fields: tuple[FieldChange, ...] = ()

    @property
    def kind(self) -> str:
        if self.before is None:
            return "added"
        return "taken out" if self.after is None else "changed"


@dataclass(frozen=True)
class ZoneChange:
    """A zone whose outline or mass differs. Mass is fibre, resin and core; None where not known."""

    name: str
    before: ZoneView | None
    after: ZoneView | None
    fields: tuple[FieldChange, ...]

    @property
    def kind(self) -> str:
        if self.before is None:
            return "added"
        return "taken out" if self.after is None else "changed"

    @property
    def before_kg(self) -> float | None:
        return self.before.mass_kg if self.before else 0.0

    @property
    def after_kg(self) -> float | None:
        return self.after.mass_kg if self.after else 0.0

    @property
    def mass_change_kg(self) -> float | None:
        return None if self.before_kg is None or self.after_kg is None else self.after_kg - self.before_kg

    @property
    def differs(self) -> bool:
        return self.kind != "changed" or bool(self.fields) or abs(self.mass_change_kg or 0.0) > 1e-9


@dataclass(frozen=True)
class RevisionDifference:
    before: ScheduleView
    after: ScheduleView
    lines: tuple[LineChange, ...]
    zones: tuple[ZoneChange, ...]


def revision_difference(
    before: ScheduleRevision, after: ScheduleRevision, cured_resin_density_kg_m3: KnownValue | None = None
) -> RevisionDifference:
    """What was added, taken out or changed from one revision to another; a line that only moved down is the same."""
    old, new = (schedule_view(one, cured_resin_density_kg_m3) for one in (before, after))
    pairs = matched_lines([view.line for view in old.lines], [view.line for view in new.lines])
    changes = (LineChange(a, b, _line_fields(a, b) if a and b else ()) for a, b in pairs)
    old_zones, new_zones = ({zone.zone.name: zone for zone in view.zones} for view in (old, new))
    zones = (
        ZoneChange(name, a, b, _zone_fields(a.zone, b.zone) if a and b else ())
        for name in {**old_zones, **new_zones}
        for a, b in [(old_zones.get(name), new_zones.get(name))]
    )
    return RevisionDifference(
        before=old,
        after=new,
        lines=tuple(change for change in changes if change.kind != "changed" or change.fields),
        zones=tuple(zone for zone in zones if zone.differs),
    )


LinePair = tuple[ScheduleLine | None, ScheduleLine | None]


def matched_lines(before: Sequence[ScheduleLine], after: Sequence[ScheduleLine]) -> list[LinePair]:
    """Pair the lines of two revisions by what they say and in what order, not by their number."""
    keys = [[what_a_line_says(line) for line in lines] for lines in (before, after)]
    pairs: list[LinePair] = []
    for _, a_from, a_to, b_from, b_to in SequenceMatcher(None, keys[0], keys[1], autojunk=False).get_opcodes():
        if keys[0][a_from:a_to] == keys[1][b_from:b_to]:
            pairs += zip(before[a_from:a_to], after[b_from:b_to], strict=True)
            continue
        remaining = list(after[b_from:b_to])
        for old in before[a_from:a_to]:
            same_zone = [line for line in remaining if line.zone.name == old.zone.name]
            new = same_zone[0] if same_zone else None
            if new is not None:
                remaining.remove(new)
            pairs.append((old, new))
        pairs += [(None, line) for line in remaining]
    return pairs


def same_lines(before: Sequence[ScheduleLine], after: Sequence[ScheduleLine]) -> dict[int, int]:
    """For each line of one revision, the line of another that says the same."""
    pairs = [(old, new) for old, new in matched_lines(before, after) if old and new]
    return {old.pk: new.pk for old, new in pairs if what_a_line_says(old) == what_a_line_says(new)}


def what_a_line_says(line: ScheduleLine) -> tuple[Any, ...]:
    return line.zone.name, line.material_id, line.angle_deg, line.lap_mm, line.is_structural


def _line_fields(before: ScheduleLine, after: ScheduleLine) -> tuple[FieldChange, ...]:
    values = (
        ("zone", before.zone.name, after.zone.name),
        ("material", before.material.code, after.material.code),
        ("angle", before.angle_words, after.angle_words),
        ("lap", show(before.lap_mm, "mm", 1), show(after.lap_mm, "mm", 1)),
        ("structural", _yes_or_no(before.is_structural), _yes_or_no(after.is_structural)),
    )
    return tuple(FieldChange(words, a or "none", b or "none") for words, a, b in values if a != b)


def _zone_fields(before: Zone, after: Zone) -> tuple[FieldChange, ...]:
    values = (
        ("area", *(show(zone.area_m2, "m2", 3) for zone in (before, after))),
        ("from", *(show(zone.girth_from_mm, "mm", 0) for zone in (before, after))),
        ("to", *(show(zone.girth_to_mm, "mm", 0) for zone in (before, after))),
        ("from station", *(f"{zone.station_from:g}" for zone in (before, after))),
        ("to station", *(f"{zone.station_to:g}" for zone in (before, after))),
        ("side", *(zone.get_side_display() for zone in (before, after))),
    )
    return tuple(FieldChange(words, a, b) for words, a, b in values if a != b)


def _yes_or_no(value: bool) -> str:
    return "yes" if value else "no"
