"""Resin planned against used, the mass balance of a part, and the fibre share that its weight tells."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot

from hullbook.calc import balance
from hullbook.calc.balance import Balance, PlannedAgainstUsed, ShellFibre, ShellWeights
from hullbook.calc.errors import InputRefused
from hullbook.calc.resin_plan import Allowance
from hullbook.hulls.models import Laying, Part
from hullbook.hulls.selectors import ScheduleView, revision_in_force, schedule_view
from hullbook.inspection.enums import Weighed
from hullbook.inspection.models import Weighing
from hullbook.inspection.selectors.hardness import replaced_words
from hullbook.materials.selectors import sheet_in_force
from hullbook.pours.enums import PlanItemKind, RemainderPlace
from hullbook.pours.models import PlanItem, Pour, PourClosed, Remainder, ResinPlan
from hullbook.pours.selectors import plan_in_force, resin_mixed
from hullbook.yard.enums import LimitName
from hullbook.yard.models import YardLimit
from hullbook.yard.selectors import limit_in_force

LEFT_IN_PAILS = (PlanItemKind.PAIL_FILM, PlanItemKind.HEEL)
NOT_BY_ZONE = (
    "Resin cannot be split by zone: a pail is weighed when it is mixed, not where its resin comes to rest. "
    "What was laid is known by zone, and stands here."
)


@dataclass(frozen=True)
class WeighingView:
    weighing: Weighing
    replaced: str


@dataclass(frozen=True)
class ZoneUse:
    """One material in one zone, planned by the schedule in force and as laid, in its stock unit."""

    zone_name: str
    material: str
    name: str
    unit: str
    planned: float | None
    used: float

    @property
    def difference(self) -> float | None:
        return None if self.planned is None else self.used - self.planned

    @property
    def ratio(self) -> float | None:
        return self.used / self.planned if self.planned else None


@dataclass(frozen=True)
class MassBalance:
    """Mixed resin against what was found of it. `why_not` says exactly what is missing where there is no balance.

    `closes` holds the balance against the yard's own limit, and is None where it has set none.
    """

    part: Part
    balance: Balance | None
    why_not: str
    limit: YardLimit | None
    closes: bool | None
    weights: tuple[Weighing, ...]
    fibre: ShellFibre | None
    fibre_why_not: str
    fibre_sources: tuple[str, ...]

    @property
    def words(self) -> str:
        if self.balance is None:
            return self.why_not
        if self.closes is None:
            return "no verdict: the yard has set no limit for resin not found again"
        return self.balance.reading if self.closes == self.balance.closes else self._by_the_limit()

    def _by_the_limit(self) -> str:
        return "the weights close within the yard's limit" if self.closes else "outside the yard's limit"


@dataclass(frozen=True)
class PartUse:
    """Resin of one part: planned with its band, mixed, found again, and so in the part by difference; masses in kg.

    `planned_kg` is the plan's mean less what it leaves in pails, so that it stands against `used`: mixed less what was
    left in pails. The band is two standard deviations either side.
    """

    part: Part
    plan: ResinPlan | None
    planned_kg: float | None
    planned_in_pails_kg: float
    mixed: balance.Weighed | None
    pails: int
    found: tuple[balance.Weighed, ...]
    left_in_pails: balance.Weighed | None
    used: balance.Weighed | None
    in_part: balance.Weighed | None
    comparison: PlannedAgainstUsed | None
    is_closed: bool
    zones: tuple[ZoneUse, ...]
    mass_balance: MassBalance

    @property
    def band_kg(self) -> float | None:
        return None if self.plan is None else 2 * self.plan.sd_kg

    @property
    def ratio_band(self) -> float | None:
        """Two standard deviations of used over planned: of the plan and of the weighing together."""
        if self.plan is None or self.used is None or self.comparison is None or not self.planned_kg:
            return None
        relative = hypot(self.plan.sd_kg / self.planned_kg, self.used.standard_uncertainty_kg / self.used.mass_kg)
        return 2 * self.comparison.ratio * relative

    @property
    def words(self) -> str:
        """The verdict, or why there is none yet."""
        if self.plan is None:
            return "no resin plan is set for this part"
        if self.used is None or self.comparison is None:
            return "no pail is in the book yet"
        said: str = self.comparison.reading
        if not self.is_closed:
            said += "; the pour is not closed, so far"
        if self.left_in_pails is None:
            said += "; what was left in the pails is not logged, so this is the most it can be"
        return said


def weighings(part: Part) -> list[WeighingView]:
    """Every weight of a part, those corrected or struck out too."""
    found = Weighing.objects.filter(part=part).select_related("entry__struck_out", "corrected_by", "scale")
    return [WeighingView(weighing, replaced_words(weighing)) for weighing in found.order_by("entry__happened_at", "pk")]


def planned_against_used(part: Part) -> PartUse:
    """What a part was planned to take and what it took; the number of queries does not grow with the pails."""
    plan = plan_in_force(part)
    pails = resin_mixed(part)
    remainders = _remainders(part)
    found = tuple(_in_one(place.label, rows) for place in RemainderPlace if (rows := _at(remainders, place)))
    in_pails = _at(remainders, RemainderPlace.PAIL)
    mixed = _total("mixed", pails)
    left_in_pails = _in_one("left in pails", in_pails) if in_pails else None
    used = _less("used", mixed, [left_in_pails] if left_in_pails else [])
    planned_in_pails_kg = sum(_allowance(item).mean_kg for item in _plan_items(plan) if item.kind in LEFT_IN_PAILS)
    planned_kg = plan.mean_kg - planned_in_pails_kg if plan else None
    return PartUse(
        part=part,
        plan=plan,
        planned_kg=planned_kg,
        planned_in_pails_kg=planned_in_pails_kg,
        mixed=mixed,
        pails=len(pails),
        found=found,
        left_in_pails=left_in_pails,
        used=used,
        in_part=_less("in the part", mixed, found),
        comparison=_compared(plan, planned_kg, used),
        is_closed=_is_closed(part),
        zones=_zone_uses(part),
        mass_balance=_mass_balance(part, plan, pails, remainders),
    )


def mass_balance_of(part: Part) -> MassBalance:
    return _mass_balance(part, plan_in_force(part), resin_mixed(part), _remainders(part))


def _remainders(part: Part) -> list[Remainder]:
    current = Remainder.objects.current().filter(pour__part=part, pour__in=Pour.objects.current())
    return list(current.order_by("pk"))


def _at(remainders: Sequence[Remainder], place: RemainderPlace) -> list[balance.Weighed]:
    return [_found(row) for row in remainders if row.place == place]


def _found(row: Remainder) -> balance.Weighed:
    return balance.Weighed(str(row.get_place_display()), row.mass_kg, row.standard_uncertainty_kg)


def _in_one(name: str, rows: Sequence[balance.Weighed]) -> balance.Weighed:
    return balance.Weighed(
        name, sum(row.mass_kg for row in rows), hypot(*(row.standard_uncertainty_kg for row in rows))
    )


def _total(name: str, rows: Sequence[balance.Weighed]) -> balance.Weighed | None:
    return _in_one(name, rows) if rows else None


def _less(name: str, whole: balance.Weighed | None, parts: Sequence[balance.Weighed]) -> balance.Weighed | None:
    """What is left of a whole; None where more was taken away than there was."""
    if whole is None:
        return None
    left_kg = whole.mass_kg - sum(part.mass_kg for part in parts)
    if left_kg < 0:
        return None
    uncertainties = [part.standard_uncertainty_kg for part in (whole, *parts)]
    return balance.Weighed(name, left_kg, hypot(*uncertainties))


def _plan_items(plan: ResinPlan | None) -> list[PlanItem]:
    return list(plan.items.all()) if plan else []


def _allowance(item: PlanItem) -> Allowance:
    return Allowance(item.kind, item.low_kg, item.likely_kg, item.high_kg, item.goes_with_area)


def _compared(
    plan: ResinPlan | None, planned_kg: float | None, used: balance.Weighed | None
) -> PlannedAgainstUsed | None:
    if plan is None or planned_kg is None or used is None or not used.mass_kg:
        return None
    return balance.planned_against_used(
        planned_mean_kg=planned_kg,
        planned_sd_kg=plan.sd_kg,
        used_kg=used.mass_kg,
        used_sd_kg=used.standard_uncertainty_kg,
    )


def _is_closed(part: Part) -> bool:
    pours = set(Pour.objects.current().filter(part=part).values_list("pk", flat=True))
    closed = set(PourClosed.objects.current().filter(pour__in=pours).values_list("pour", flat=True))
    return bool(pours) and pours == closed


def _zone_uses(part: Part) -> tuple[ZoneUse, ...]:
    """Cloth and core by zone: planned by the schedule in force, and as laid to it or to an earlier one."""
    revision = revision_in_force(part)
    if revision is None:
        return ()
    planned: dict[tuple[str, str], list[float | None]] = defaultdict(list)
    names: dict[str, tuple[str, str]] = {}
    view = schedule_view(revision)
    for zone in view.zones:
        for line in zone.lines:
            material = line.line.material
            planned[zone.zone.name, material.code].append(line.planned_quantity)
            names[material.code] = (line.sheet.name, material.stock_unit)
    used: dict[tuple[str, str], float] = defaultdict(float)
    laid = Laying.objects.current().filter(part=part, lot__isnull=False).select_related("zone", "lot__material")
    for laying in laid:
        material = laying.lot.material
        used[laying.zone.name, material.code] += laying.quantity
        names.setdefault(material.code, (material.code, material.stock_unit))
    return tuple(
        ZoneUse(
            zone_name=zone,
            material=material,
            name=names[material][0],
            unit=names[material][1],
            planned=_sum(planned.get((zone, material), [])),
            used=used.get((zone, material), 0.0),
        )
        for zone, material in dict.fromkeys([*planned, *used])
    )


def _sum(values: Sequence[float | None]) -> float | None:
    return None if None in values else sum(value for value in values if value is not None)


def _mass_balance(
    part: Part, plan: ResinPlan | None, pails: Sequence[balance.Weighed], remainders: Sequence[Remainder]
) -> MassBalance:
    rows = list(
        Weighing.objects.current()
        .filter(part=part)
        .select_related("entry", "scale")
        .order_by("entry__happened_at", "pk")
    )
    latest = {row.what: row for row in rows}
    weights = _shell_weights(latest)
    limit = limit_in_force(LimitName.CLOSURE)
    why_not = _what_is_not_weighed(latest) or ("" if pails else "no pail is in the book")
    closed: Balance | None = None
    if not why_not:
        try:
            closed = balance.mass_balance(mixed=pails, part=weights, found=[_found(row) for row in remainders])
        except InputRefused as refused:
            why_not = str(refused)
    fibre, fibre_why_not, sources = _fibre(part, plan, latest, weights)
    return MassBalance(
        part=part,
        balance=closed,
        why_not=why_not,
        limit=limit,
        closes=None if closed is None or limit is None else _closes(closed, limit),
        weights=tuple(latest[what] for what in Weighed if what in latest),
        fibre=fibre,
        fibre_why_not=fibre_why_not,
        fibre_sources=sources,
    )


def _closes(closed: Balance, limit: YardLimit) -> bool:
    low = float("-inf") if limit.low is None else limit.low
    high = float("inf") if limit.high is None else limit.high
    return abs(closed.z) < balance.CLOSES_BELOW_Z and low <= closed.unaccounted_percent <= high


def _shell_weights(latest: dict[str, Weighing]) -> ShellWeights:
    def weight(what: Weighed) -> balance.Weighed | None:
        row = latest.get(what)
        return None if row is None else balance.Weighed(str(what.label), row.mass_kg, row.standard_uncertainty_kg)

    return ShellWeights(
        shell=weight(Weighed.SHELL),
        gelcoat=weight(Weighed.GELCOAT),
        fibre=weight(Weighed.FIBRE),
        core=weight(Weighed.CORE),
        inserts=weight(Weighed.INSERTS),
    )


def _what_is_not_weighed(latest: dict[str, Weighing]) -> str:
    lacking = [str(what.label) for what in Weighed if what not in latest]
    if not lacking:
        return ""
    return f"not weighed yet: {'; '.join(lacking)}. Where there is none of it, give 0 kg."


def _fibre(
    part: Part, plan: ResinPlan | None, latest: dict[str, Weighing], weights: ShellWeights
) -> tuple[ShellFibre | None, str, tuple[str, ...]]:
    """The fibre share by weight and volume, or why it cannot be had, and where its other figures come from."""
    if why_not := _what_is_not_weighed(latest):
        return None, why_not, ()
    if plan is None:
        return None, "no resin plan is set, so the resin in the core is not known", ()
    sheet = sheet_in_force(plan.system.resin)
    cured = sheet.values.get("cured_density_kg_m3")
    if cured is None:
        return None, f"the sheet of {sheet.name} gives no density, cured", ()
    fibre_density = _fibre_density(schedule_view(plan.revision, cured))
    if fibre_density is None:
        return None, f"a sheet lacks the fibre density or the areal weight of {plan.revision}", ()
    core = [_allowance(item) for item in plan.items.all() if item.kind == PlanItemKind.CORE]
    in_core = balance.Weighed(
        "resin in core", sum(item.mean_kg for item in core), hypot(*(item.sd_kg for item in core), 0.0)
    )
    try:
        fibre = balance.fibre_fraction_from_shell(
            weights=weights,
            resin_in_core=in_core,
            fibre_density_kg_m3=fibre_density,
            cured_resin_density_kg_m3=cured.value,
        )
    except InputRefused as refused:
        return None, str(refused), ()
    return (
        fibre,
        "",
        (
            f"resin in core {in_core.mass_kg:.1f} kg, sd {in_core.standard_uncertainty_kg:.1f} kg: the resin plan",
            f"fibre {fibre_density:.0f} kg/m³: the sheets of {plan.revision}",
            f"cured resin {cured.value:.0f} kg/m³: {cured.source}",
        ),
    )


def _fibre_density(view: ScheduleView) -> float | None:
    """Of all the cloth of a schedule together: its mass over its volume."""
    mass = volume = 0.0
    for line in (line for zone in view.zones for line in zone.plies):
        density = line.sheet.value("fibre_density_kg_m3")
        if line.dry_kg is None or density is None:
            return None
        mass, volume = mass + line.dry_kg, volume + line.dry_kg / density
    return mass / volume if volume else None
