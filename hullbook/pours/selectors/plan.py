"""The resin plan: worked out from the schedule in force, or read as it was set."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields

from django.utils import timezone

from hullbook.calc.consumables import (
    bore_section_mm2,
    flange_overrun_kg,
    line_resin_kg,
    medium_uptake,
    pail_film_kg,
    pail_heel_kg,
    resin_brake_kg,
)
from hullbook.calc.core_uptake import core_uptake
from hullbook.calc.dose import BELIEVABLE_PHR, SecondPart
from hullbook.calc.errors import InputRefused
from hullbook.calc.resin_plan import Allowance, order_quantity, round_up_to_containers, total_band
from hullbook.hulls.models import Part, ScheduleRevision
from hullbook.hulls.selectors import ZoneView, revision_in_force, schedule_view
from hullbook.materials.enums import SourceKind, StockUnit
from hullbook.materials.models import Material, ResinSystem
from hullbook.materials.selectors import (
    KnownValue,
    SheetInForce,
    core_geometry,
    properties_in_force,
    properties_of,
    released_stock_by_material,
)
from hullbook.pours.enums import PlanItemKind
from hullbook.pours.models import (
    PlanInput,
    PlanItem,
    ResinPlan,
)
from hullbook.quantities import tables
from hullbook.quantities.showing import show
from hullbook.records.services import Refused

PERCENT = 100.0

BAND_OF = {
    PlanItemKind.LAMINATE: "laminate",
    PlanItemKind.CORE: "core",
    PlanItemKind.MEDIUM: "flow_medium",
    PlanItemKind.PEEL_PLY: "peel_ply",
    PlanItemKind.CHANNELS: "feed_channels",
    PlanItemKind.HOSES: "hoses",
    PlanItemKind.BRAKE: "flange_and_brake",
    PlanItemKind.TRAP: "resin_trap",
    PlanItemKind.PAIL_FILM: "pail_film",
    PlanItemKind.HEEL: "heel",
    PlanItemKind.CUPS: "cups",
}
GOES_WITH_AREA = frozenset({PlanItemKind.LAMINATE, PlanItemKind.CORE, PlanItemKind.MEDIUM, PlanItemKind.PEEL_PLY})
BEST_FIRST = (SourceKind.DATA_SHEET, SourceKind.STANDARD, SourceKind.YARD, SourceKind.HANDBOOK, SourceKind.DEFAULT)

# Values a sheet must give; of several in one row any one will do.
RESIN_WANTS = (("liquid_density_kg_m3",), ("cured_density_kg_m3",))
CORE_WANTS = (("thickness_mm",), ("face_pick_up_kg_m2", "cell_diameter_mm"))
FOAM_WANTS = (("density_kg_m3",), ("polymer_density_kg_m3",))
MESH_WANTS = (("thickness_mm",), ("areal_weight_kg_m2",), ("polymer_density_kg_m3",))
PEEL_PLY_WANTS = (("pick_up_kg_m2",),)
WANTED_OF_SHEETS = {name for wants in (RESIN_WANTS, MESH_WANTS, PEEL_PLY_WANTS) for names in wants for name in names}


@dataclass(frozen=True, kw_only=True)
class ResinPlanInputs:
    """What a plan needs beyond the schedule and the sheets, each figure with where it comes from.

    `medium` and `peel_ply` are None where the part is laid without them, `channel` and `hose` where the store does not
    count them. `pail_kg` is what is mixed at once, `container_kg` what the resin is bought in.
    """

    medium: Material | None
    medium_coverage_m2: KnownValue
    peel_ply: Material | None
    peel_ply_coverage_m2: KnownValue
    channel_length_m: KnownValue
    channel_bore_mm: KnownValue
    hose_length_m: KnownValue
    hose_bore_mm: KnownValue
    flange_length_m: KnownValue
    overrun_m: KnownValue
    brake_width_m: KnownValue
    trap_share_percent: KnownValue
    pail_kg: KnownValue
    pail_diameter_mm: KnownValue
    pail_height_mm: KnownValue
    pail_film_mm: KnownValue
    heel_mm: KnownValue
    cups_per_pail_kg: KnownValue
    waste_fraction: KnownValue
    area_relative_sd: KnownValue
    cost_of_running_out: KnownValue
    cost_of_surplus: KnownValue
    container_kg: KnownValue
    contingency_containers: KnownValue
    channel: Material | None = None
    hose: Material | None = None

    def figures(self) -> Iterator[tuple[str, KnownValue, Material | None]]:
        """Name, value, and the material that is laid over an area or along a length."""
        laid = {
            "medium_coverage_m2": self.medium,
            "peel_ply_coverage_m2": self.peel_ply,
            "channel_length_m": self.channel,
            "hose_length_m": self.hose,
        }
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, KnownValue):
                yield field.name, value, laid.get(field.name)


OWN_FIGURES = {
    "medium_coverage_m2": ("area under flow medium", "m2"),
    "peel_ply_coverage_m2": ("area under peel ply", "m2"),
    "channel_length_m": ("length of feed channels", "m"),
    "channel_bore_mm": ("bore of feed channels", "mm"),
    "hose_length_m": ("length of hoses", "m"),
    "hose_bore_mm": ("bore of hoses", "mm"),
    "flange_length_m": ("length of the flange", "m"),
    "overrun_m": ("laminate past the trim line", "m"),
    "brake_width_m": ("width of the resin brake", "m"),
    "trap_share_percent": ("into the resin trap", "%"),
    "pail_kg": ("mixed at once, one pail", "kg"),
    "pail_diameter_mm": ("diameter of the pail", "mm"),
    "pail_height_mm": ("height of the pail wetted", "mm"),
    "pail_film_mm": ("film left in a pail", "mm"),
    "heel_mm": ("heel in the last pail", "mm"),
    "cups_per_pail_kg": ("cups, stirrers and drips, each pail", "kg"),
    "waste_fraction": ("waste in cutting, of 1", "fraction"),
    "area_relative_sd": ("error of the areas, of 1", "fraction"),
    "cost_of_running_out": ("cost of running out", "1"),
    "cost_of_surplus": ("cost of a surplus, same money", "1"),
    "container_kg": ("bought in containers of", "kg"),
    "contingency_containers": ("containers unmixed beside", "1"),
}
"""The plan's own figures in words, and their units."""


@dataclass(frozen=True)
class InputView:
    """A figure of a plan as a page shows it."""

    line: PlanInput

    @property
    def words(self) -> str:
        return self._words_and_unit[0]

    @property
    def shown(self) -> str:
        return show(self.line.value, self._words_and_unit[1])

    @property
    def _words_and_unit(self) -> tuple[str, str]:
        material = self.line.material
        if self.line.name in OWN_FIGURES or material is None:
            return OWN_FIGURES[self.line.name]
        known = properties_of(material.kind)[self.line.name]
        return known.label, known.unit


@dataclass(frozen=True)
class ItemView:
    """One item of a plan with the moments of its triangle."""

    item: PlanItem
    expected_kg: float
    sd_kg: float


@dataclass(frozen=True)
class ResinSum:
    """Resin for one purpose or in one zone, in kg; by area where there is one."""

    name: str
    low_kg: float
    likely_kg: float
    high_kg: float
    expected_kg: float
    area_m2: float | None = None

    @property
    def likely_kg_m2(self) -> float | None:
        return None if self.area_m2 is None else self.likely_kg / self.area_m2


@dataclass(frozen=True)
class Need:
    """What must lie in the store for this part, against what is released there."""

    material: Material
    what: str
    quantity: float | None
    unit: str
    released: float
    because: str = ""

    @property
    def short_by(self) -> float:
        return max(0.0, (self.quantity or 0.0) - self.released)

    @property
    def is_enough(self) -> bool:
        return self.quantity is not None and self.short_by == 0


@dataclass(frozen=True)
class WorkedOutPlan:
    """A resin plan with its items and inputs: still to be set, or as it was set."""

    plan: ResinPlan
    items: tuple[ItemView, ...]
    inputs: tuple[PlanInput, ...]
    zones: tuple[ResinSum, ...]
    purposes: tuple[ResinSum, ...]
    needs: tuple[Need, ...]
    catalyst_kg: float

    @property
    def input_views(self) -> tuple[InputView, ...]:
        return tuple(InputView(one) for one in self.inputs)

    @property
    def order_kg(self) -> float:
        return self.plan.containers * self.plan.container_kg

    @property
    def order_with_contingency_kg(self) -> float:
        return (self.plan.containers + self.plan.contingency_containers) * self.plan.container_kg

    @property
    def figures(self) -> dict[str, float]:
        """The plan's own inputs by name, without what came off sheets."""
        return {one.name: one.value for one in self.inputs if one.name in OWN_FIGURES}

    @property
    def chance_percent(self) -> float:
        """The chance that the costs ask for, in percent."""
        running_out, surplus = self.figures["cost_of_running_out"], self.figures["cost_of_surplus"]
        return PERCENT * running_out / (running_out + surplus)

    @property
    def k(self) -> float:
        return (self.plan.upper_kg - self.plan.mean_kg) / self.plan.sd_kg if self.plan.sd_kg else 0.0

    @property
    def pails(self) -> int:
        """Pails that hold the likely amount."""
        return round_up_to_containers(self.plan.likely_kg, self.figures["pail_kg"])


@dataclass(frozen=True)
class _Taken:
    """An amount of resin, the figures behind it, and how it was worked out."""

    kg: float
    behind: tuple[KnownValue, ...]
    words: str


def second_part(system: ResinSystem) -> SecondPart:
    """What the second part of a system is called: a catalyst in a few percent, a hardener in tens of percent."""
    return "hardener" if system.dose_high_phr > BELIEVABLE_PHR["catalyst"][1] else "catalyst"


def worked_out_plan(part: Part, system: ResinSystem, inputs: ResinPlanInputs) -> WorkedOutPlan:
    """Work a plan out from the revision in force. Refused with all that is missing, by zone and material."""
    revision = revision_in_force(part)
    if revision is None:
        raise Refused("No revision is in force for this part: sign a schedule, then take it into force.")
    sheets = properties_in_force([one for one in (system.resin, inputs.medium, inputs.peel_ply) if one is not None])
    zones = schedule_view(revision, sheets[system.resin_id].values.get("cured_density_kg_m3")).zones
    if lacking := _what_is_lacking(zones, system, inputs, sheets):
        raise Refused(" ".join(lacking))
    items = _plan_items(zones, system, inputs, sheets)
    allowances = [_allowance(item) for item in items]
    band = total_band(allowances, inputs.area_relative_sd.value)
    order = order_quantity(
        band,
        cost_of_running_out=inputs.cost_of_running_out.value,
        cost_of_surplus=inputs.cost_of_surplus.value,
        container_kg=inputs.container_kg.value,
        contingency_containers=int(inputs.contingency_containers.value),
    )
    plan = ResinPlan(
        part=part,
        revision=revision,
        system=system,
        area_relative_sd=inputs.area_relative_sd.value,
        low_kg=band.low_kg,
        likely_kg=band.likely_kg,
        high_kg=band.high_kg,
        mean_kg=band.mean_kg,
        sd_kg=band.sd_kg,
        upper_kg=order.upper_kg,
        container_kg=order.container_kg,
        containers=order.containers,
        contingency_containers=order.contingency_containers,
        tables_digest=tables.digest(),
    )
    return _shown(plan, items, _plan_inputs(inputs, zones, sheets), zones)


def plan_view(plan: ResinPlan) -> WorkedOutPlan:
    """A plan as it was set, against the stock of today."""
    zones = schedule_view(plan.revision).zones
    inputs = list(plan.inputs.select_related("material"))
    return _shown(plan, list(plan.items.all()), inputs, zones)


def plan_in_force(part: Part) -> ResinPlan | None:
    plans = ResinPlan.objects.current().filter(part=part)
    return plans.select_related("entry", "revision", "system__resin", "system__catalyst").order_by("-pk").first()


def sheet_laid(plan: ResinPlan, name: str) -> SheetInForce | None:
    """The sheet in force of what a resin plan lays, by the name of its figure; None where nothing is laid."""
    line = plan.inputs.select_related("material").get(name=name)
    return None if line.material is None else properties_in_force([line.material])[line.material.pk]


def medium_of(plan: ResinPlan) -> SheetInForce | None:
    """The flow medium a resin plan is made with, if any."""
    return sheet_laid(plan, "medium_coverage_m2")


def _shown(
    plan: ResinPlan, items: list[PlanItem], inputs: list[PlanInput], zones: tuple[ZoneView, ...]
) -> WorkedOutPlan:
    views = tuple(_item_view(item) for item in items)
    areas = {view.zone.name: view.zone.area_m2 for view in zones}
    by_zone = [view for view in views if view.item.zone_name]
    order_kg = (plan.containers + plan.contingency_containers) * plan.container_kg
    catalyst_kg = order_kg * plan.system.dose_high_phr / PERCENT
    return WorkedOutPlan(
        plan=plan,
        items=views,
        inputs=tuple(inputs),
        zones=tuple(
            _summed(name, [view for view in by_zone if view.item.zone_name == name], area)
            for name, area in areas.items()
        ),
        purposes=tuple(
            _summed(kind.label, of_kind)
            for kind in PlanItemKind
            if (of_kind := [view for view in views if view.item.kind == kind])
        ),
        needs=tuple(_needs(plan, inputs, zones, order_kg, catalyst_kg)),
        catalyst_kg=catalyst_kg,
    )


def _allowance(item: PlanItem) -> Allowance:
    return Allowance(
        f"{item.kind} {item.zone_name}".strip(), item.low_kg, item.likely_kg, item.high_kg, item.goes_with_area
    )


def _item_view(item: PlanItem) -> ItemView:
    allowance = _allowance(item)
    return ItemView(item, allowance.mean_kg, allowance.sd_kg)


def _summed(name: str, views: list[ItemView], area_m2: float | None = None) -> ResinSum:
    return ResinSum(
        name,
        sum(view.item.low_kg for view in views),
        sum(view.item.likely_kg for view in views),
        sum(view.item.high_kg for view in views),
        sum(view.expected_kg for view in views),
        area_m2,
    )


def _what_is_lacking(
    zones: tuple[ZoneView, ...], system: ResinSystem, inputs: ResinPlanInputs, sheets: Mapping[int, SheetInForce]
) -> list[str]:
    """Sentences: which sheet lacks which value, which zone has nothing to wet."""
    lacking: dict[str, None] = {}

    def want(sheet: SheetInForce, wants: Iterable[tuple[str, ...]]) -> None:
        labels = properties_of(sheet.material.kind)
        for names in wants:
            if not any(name in sheet.values for name in names):
                words = " or ".join(labels[name].label for name in names)
                lacking[f"Not in the sheet: {words} of {sheet.material.code}."] = None

    want(sheets[system.resin_id], RESIN_WANTS)
    for zone in zones:
        if not zone.lines:
            lacking[f"Zone {zone.zone.name} has no line."] = None
        for line in zone.lines:
            if line.is_core:
                weighed = "face_pick_up_kg_m2" in line.sheet.values
                want(line.sheet, CORE_WANTS if weighed else (*CORE_WANTS, *FOAM_WANTS))
            elif line.lacking:
                lacking[line.lacking] = None
    if inputs.medium is not None:
        want(sheets[inputs.medium.pk], MESH_WANTS)
    if inputs.peel_ply is not None:
        want(sheets[inputs.peel_ply.pk], PEEL_PLY_WANTS)
    return list(lacking)


def _laminate(zone: ZoneView) -> _Taken:
    behind = tuple(one.known for line in zone.plies for one in line.used)
    return _Taken(zone.resin_kg or 0.0, behind, "cloth laid, laps counted, at its fibre share")


def _core(zone: ZoneView, liquid_density: float) -> _Taken:
    kg = sum(
        core_uptake(geometry=core_geometry(core.sheet.values), liquid_resin_density_kg_m3=liquid_density).total.kg_m2
        * core.laid_area_m2
        for core in zone.cores
    )
    behind = tuple(known for core in zone.cores for known in core.sheet.values.values())
    codes = ", ".join(core.line.material.code for core in zone.cores)
    return _Taken(kg, behind, f"{codes} by its geometry, both faces, as laid flat: no kerf opened or closed by a bend")


def _peel_ply_pick_up(inputs: ResinPlanInputs, sheets: Mapping[int, SheetInForce]) -> KnownValue | None:
    return None if inputs.peel_ply is None else sheets[inputs.peel_ply.pk].values["pick_up_kg_m2"]


def _plan_items(
    zones: tuple[ZoneView, ...], system: ResinSystem, inputs: ResinPlanInputs, sheets: Mapping[int, SheetInForce]
) -> list[PlanItem]:
    liquid_density = sheets[system.resin_id].values["liquid_density_kg_m3"].value
    items: list[PlanItem] = []
    for zone in zones:
        if zone.plies:
            items.append(_item(PlanItemKind.LAMINATE, _laminate(zone), zone.zone.name))
        if zone.cores:
            items.append(_item(PlanItemKind.CORE, _core(zone, liquid_density), zone.zone.name))
    laminate_kg = sum(item.likely_kg for item in items if item.kind == PlanItemKind.LAMINATE)
    mean_laminate_kg_m2 = laminate_kg / sum(zone.zone.area_m2 for zone in zones)
    items += _bag_items(mean_laminate_kg_m2, liquid_density, inputs, sheets)
    in_the_bag_kg = sum(item.likely_kg for item in items)
    return [*items, *_pail_items(in_the_bag_kg, liquid_density, inputs)]


def _bag_items(
    mean_laminate_kg_m2: float, liquid_density: float, inputs: ResinPlanInputs, sheets: Mapping[int, SheetInForce]
) -> Iterator[PlanItem]:
    if inputs.medium is not None:
        behind = sheets[inputs.medium.pk].values
        taken = medium_uptake(
            thickness_under_vacuum_mm=behind["thickness_mm"].value,
            dry_areal_weight_kg_m2=behind["areal_weight_kg_m2"].value,
            polymer_density_kg_m3=behind["polymer_density_kg_m3"].value,
            liquid_resin_density_kg_m3=liquid_density,
        )
        kg = taken.kg_m2 * inputs.medium_coverage_m2.value
        words = f"{inputs.medium.code}: thickness under vacuum less its own solid, {taken.kg_m2:.3f} kg/m², times area"
        yield _item(PlanItemKind.MEDIUM, _Taken(kg, (*behind.values(), inputs.medium_coverage_m2), words))
    pick_up = _peel_ply_pick_up(inputs, sheets)
    if inputs.peel_ply is not None and pick_up is not None:
        kg = pick_up.value * inputs.peel_ply_coverage_m2.value
        words = f"{inputs.peel_ply.code}: pick-up of its sheet, {pick_up.value:.3f} kg/m², times area"
        yield _item(PlanItemKind.PEEL_PLY, _Taken(kg, (pick_up, inputs.peel_ply_coverage_m2), words))
    for kind, length, bore in (
        (PlanItemKind.CHANNELS, inputs.channel_length_m, inputs.channel_bore_mm),
        (PlanItemKind.HOSES, inputs.hose_length_m, inputs.hose_bore_mm),
    ):
        kg = line_resin_kg(
            section_mm2=bore_section_mm2(bore.value), length_m=length.value, liquid_resin_density_kg_m3=liquid_density
        )
        yield _item(kind, _Taken(kg, (length, bore), "bore section times length"))
    overrun_kg = flange_overrun_kg(
        flange_length_m=inputs.flange_length_m.value,
        overrun_m=inputs.overrun_m.value,
        laminate_resin_kg_m2=mean_laminate_kg_m2,
    )
    brake_kg = resin_brake_kg(
        flange_length_m=inputs.flange_length_m.value,
        brake_width_m=inputs.brake_width_m.value,
        peel_ply_pick_up_kg_m2=0.0 if pick_up is None else pick_up.value,
    )
    words = (
        f"overrun at the part's mean laminate resin, {mean_laminate_kg_m2:.3f} kg/m², and the brake as bare peel ply"
    )
    behind_flange = (inputs.flange_length_m, inputs.overrun_m, inputs.brake_width_m)
    yield _item(PlanItemKind.BRAKE, _Taken(overrun_kg + brake_kg, behind_flange, words))


def _pail_items(in_the_bag_kg: float, liquid_density: float, inputs: ResinPlanInputs) -> Iterator[PlanItem]:
    """What stays outside the bag. Each pail gives what is mixed in it, less its film and its cups."""
    trap_kg = in_the_bag_kg * inputs.trap_share_percent.value / PERCENT
    yield _item(
        PlanItemKind.TRAP,
        _Taken(
            trap_kg, (inputs.trap_share_percent,), f"{inputs.trap_share_percent.value:g} % of what goes into the bag"
        ),
    )
    film_kg = pail_film_kg(
        pails=1,
        pail_diameter_mm=inputs.pail_diameter_mm.value,
        wetted_height_mm=inputs.pail_height_mm.value,
        film_mm=inputs.pail_film_mm.value,
        liquid_resin_density_kg_m3=liquid_density,
    )
    heel_kg = pail_heel_kg(
        pail_diameter_mm=inputs.pail_diameter_mm.value,
        heel_mm=inputs.heel_mm.value,
        liquid_resin_density_kg_m3=liquid_density,
    )
    cups_kg = inputs.cups_per_pail_kg.value
    given_kg = inputs.pail_kg.value - film_kg - cups_kg
    if given_kg <= 0:
        accepted = f"give more than what each pail loses, {film_kg + cups_kg:.2f} kg in film and cups"
        raise InputRefused("impossible", "pail_kg", inputs.pail_kg.value, accepted)
    pails = round_up_to_containers(in_the_bag_kg + trap_kg + heel_kg, given_kg)
    pail = (inputs.pail_kg, inputs.pail_diameter_mm, inputs.pail_height_mm, inputs.pail_film_mm)
    yield _item(PlanItemKind.PAIL_FILM, _Taken(pails * film_kg, pail, f"film on wall and bottom of {pails} pails"))
    heel = (inputs.pail_diameter_mm, inputs.heel_mm)
    yield _item(PlanItemKind.HEEL, _Taken(heel_kg, heel, "keeps the hose tip of the last pail covered"))
    cups = (inputs.pail_kg, inputs.cups_per_pail_kg)
    yield _item(PlanItemKind.CUPS, _Taken(pails * cups_kg, cups, f"gel cups, stirrers and drips of {pails} pails"))


def _item(kind: PlanItemKind, taken: _Taken, zone_name: str = "") -> PlanItem:
    band = tables.bands("allowances")[BAND_OF[kind]]
    return PlanItem(
        kind=kind,
        zone_name=zone_name,
        low_kg=taken.kg * band.low,
        likely_kg=taken.kg,
        high_kg=taken.kg * band.high,
        goes_with_area=kind in GOES_WITH_AREA,
        source_kind=max((one.source_kind for one in taken.behind), key=BEST_FIRST.index, default=SourceKind.DEFAULT),
        source=f"{taken.words}; band {band.low:g} to {band.high:g} of likely: {band.source} ({band.status})",
    )


def _plan_inputs(
    inputs: ResinPlanInputs, zones: tuple[ZoneView, ...], sheets: Mapping[int, SheetInForce]
) -> list[PlanInput]:
    """The plan's own figures, then every value of a sheet that it was worked out from, once."""
    found = [(name, material, known) for name, known, material in inputs.figures()]
    of_sheets = {
        (sheet.material.pk, name): (sheet.material, known)
        for sheet in sheets.values()
        for name, known in sheet.values.items()
        if name in WANTED_OF_SHEETS
    }
    for line in (line for zone in zones for line in zone.lines):
        names = line.sheet.values if line.is_core else [one.name for one in line.used]
        of_sheets |= {(line.line.material_id, name): (line.line.material, line.sheet.values[name]) for name in names}
    found += [(name, material, known) for (_, name), (material, known) in of_sheets.items()]
    return [
        PlanInput(name=name, material=material, value=known.value, source_kind=known.source_kind, source=known.source)
        for name, material, known in found
    ]


def _needs(
    plan: ResinPlan, inputs: list[PlanInput], zones: tuple[ZoneView, ...], order_kg: float, catalyst_kg: float
) -> Iterator[Need]:
    released = released_stock_by_material(timezone.localdate())
    own = {one.name: one for one in inputs if one.name in OWN_FIGURES}
    with_waste = 1 + own["waste_fraction"].value
    system = plan.system
    yield _need(system.resin, "all containers", order_kg, StockUnit.KILOGRAM, released)
    yield _need(system.catalyst, "for all containers at the highest dose", catalyst_kg, StockUnit.KILOGRAM, released)
    cut: dict[Material, list[float | None]] = defaultdict(list)
    for line in (line for zone in zones for line in zone.lines):
        cut[line.line.material].append(line.planned_quantity)
    for material, quantities in cut.items():
        known = [one for one in quantities if one is not None]
        wanted = sum(known) * with_waste if len(known) == len(quantities) else None
        yield _need(material, "to cut, waste counted", wanted, material.stock_unit, released)
    for name in ("channel_length_m", "hose_length_m"):
        if (laid := own[name].material) is not None:
            yield _need(laid, "to lay", own[name].value, StockUnit.METRE, released)
    for name in ("medium_coverage_m2", "peel_ply_coverage_m2"):
        if (laid := own[name].material) is not None:
            yield _need(laid, "to cut, waste counted", own[name].value * with_waste, StockUnit.SQUARE_METRE, released)


def _need(material: Material, what: str, quantity: float | None, unit: str, released: Mapping[int, float]) -> Need:
    in_store = released.get(material.pk, 0.0)
    if quantity is not None and material.stock_unit == unit:
        return Need(material, what, quantity, unit, in_store)
    wanted = "its sheet does not tell how much" if quantity is None else f"{show(quantity, unit)} wanted"
    because = f"{wanted}; the store counts it in {material.get_stock_unit_display()}"
    return Need(material, what, None, material.stock_unit, in_store, because)


def revision_of_plan_is_in_force(plan: ResinPlan) -> bool:
    """False where another revision was taken into force since the plan was set."""
    revision: ScheduleRevision | None = revision_in_force(plan.part)
    return revision is not None and revision.pk == plan.revision_id
