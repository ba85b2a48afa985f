"""Where a lot went, and what went into a hull: the same entries read from either end."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from hullbook.cure.models import CureReading
from hullbook.hulls.enums import LayingOutcome
from hullbook.hulls.models import CraftNumberGiven, Hull, Laying, LeftYard, Part, RevisionInForce, ScheduleLine
from hullbook.hulls.selectors import same_lines
from hullbook.inspection.models import HardnessSet, Weighing
from hullbook.inspection.selectors import climate_of
from hullbook.materials.enums import LotState, StockUnit
from hullbook.materials.models import Certificate, Lot, LotDecision
from hullbook.materials.selectors import StockSums, as_checked, properties_in_force, stock_sums
from hullbook.pours.enums import ComponentRole
from hullbook.pours.models import Gel, HoldTest, Mix, Pour, Remainder
from hullbook.quantities.showing import show
from hullbook.records.models import Entry
from hullbook.yard.models import Calibration, Instrument, Person

SUMS_AGREE_WITHIN = 1e-3


class NothingBySuchName(LookupError):
    """Nothing in the book goes by this name; the words say what comes nearest."""


# What the answers say: plain values, so that a page and the JSON show the same.


@dataclass(frozen=True)
class LaidUse:
    """A line laid from a lot; `line` is None for what was laid beside the schedule."""

    entry: int
    lot: str
    zone: str
    line: int | None
    quantity: float
    at: dt.datetime
    laid_by: str
    second_person: str


@dataclass(frozen=True)
class PailUse:
    """What one pail took of a lot."""

    entry: int
    lot: str
    pour: int
    pail: int
    what: str
    mass_kg: float
    resin_temperature_c: float
    at: dt.datetime
    mixed_by: str
    second_person: str


@dataclass(frozen=True)
class PartTrace:
    part: str
    quantity: float
    laid: tuple[LaidUse, ...]
    pails: tuple[PailUse, ...]


@dataclass(frozen=True)
class HullOfLot:
    """A hull that a lot went into, and where that hull is now."""

    hull: str
    model: str
    whereabouts: str
    quantity: float
    parts: tuple[PartTrace, ...]


@dataclass(frozen=True)
class SameBatch:
    """Another lot of the same maker's batch and material."""

    lot: str
    received_on: dt.date
    received: float
    hulls: tuple[str, ...]


@dataclass(frozen=True)
class LotTrace:
    """Where one lot went. The balance closes: received = used + discarded + left."""

    lot: str
    material: str
    name: str
    unit: str
    makers_batch: str
    supplier_note: str
    received_on: dt.date
    use_by: dt.date | None
    state: str
    certificates: int
    received: float
    used: float
    discarded: float
    left: float
    hulls: tuple[HullOfLot, ...]
    same_batch: tuple[SameBatch, ...]
    sisters_without: tuple[str, ...]
    holes: tuple[str, ...]

    @property
    def is_whole(self) -> bool:
        return not self.holes


@dataclass(frozen=True)
class BatchTrace:
    """Every lot of one maker's batch."""

    batch: str
    lots: tuple[LotTrace, ...]


@dataclass(frozen=True)
class LotOfHull:
    lot: str
    material: str
    name: str
    kind: str
    makers_batch: str
    has_certificate: bool
    quantity: float
    unit: str
    parts: tuple[str, ...]
    first_used_at: dt.datetime
    last_used_at: dt.datetime


@dataclass(frozen=True)
class GelSeen:
    at: str
    place: str
    minutes_since_mix: float | None


@dataclass(frozen=True)
class PailOfHull:
    entry: int
    part: str
    pour: int
    pail: int
    at: dt.datetime
    inlet: str
    resin_kg: float
    catalyst_kg: float
    dose_phr: float
    resin_temperature_c: float
    mixed_by: str
    second_person: str
    lots: tuple[str, ...]
    gels: tuple[GelSeen, ...]


@dataclass(frozen=True)
class ClimateMet:
    """Lowest and highest of what was read in the bay while the hull was built; None where nothing was."""

    readings: int
    air_temperature_low_c: float | None
    air_temperature_high_c: float | None
    humidity_low_percent: float | None
    humidity_high_percent: float | None


@dataclass(frozen=True)
class InstrumentMet:
    code: str
    name: str
    uses: int
    in_date: bool
    words: str


@dataclass(frozen=True)
class PersonMet:
    initials: str
    full_name: str
    laid: int
    mixed: int
    second: int
    logged: int


@dataclass(frozen=True)
class HullTrace:
    """What went into one hull and what it met on the way."""

    hull: str
    model: str
    craft_number: str
    laid_down_on: dt.date
    whereabouts: str
    lots: tuple[LotOfHull, ...]
    pails: tuple[PailOfHull, ...]
    climate: ClimateMet
    instruments: tuple[InstrumentMet, ...]
    people: tuple[PersonMet, ...]
    sisters: tuple[str, ...]
    differs_in: tuple[str, ...]
    holes: tuple[str, ...]

    @property
    def is_whole(self) -> bool:
        return not self.holes


@dataclass(frozen=True)
class Found:
    """What a typed name leads to: "lot", "hull" or "batch", and the name as the book has it."""

    kind: str
    name: str


def find(text: str) -> Found:
    """What goes by this name; NothingBySuchName with what comes nearest otherwise."""
    text = text.strip()
    lot = Lot.objects.current().filter(code__iexact=text).first()
    if lot is not None:
        return Found("lot", lot.code)
    hull = Hull.objects.current().filter(number__iexact=text).first()
    if hull is not None:
        return Found("hull", hull.number)
    batch = Lot.objects.current().filter(makers_batch__iexact=text).first()
    if batch is not None:
        return Found("batch", batch.makers_batch)
    wrong = "" if as_checked(text).upper() == text.upper() else " Its last character does not fit the rest."
    nearest = _nearest(text, [*_lot_codes(), *_hulls()])
    raise NothingBySuchName(f"No lot, hull or maker's batch {text} here.{wrong}{nearest}")


NAMES_SHOWN = 60


def names_to_begin_with() -> dict[str, list[str]]:
    """The newest hulls and lots, to choose from."""
    return {
        "hulls": list(_hulls().order_by("-pk")[:NAMES_SHOWN]),
        "lots": list(_lot_codes().order_by("-pk")[:NAMES_SHOWN]),
    }


def _nearest(text: str, names: Iterable[str]) -> str:
    near = get_close_matches(text, list(names), n=3, cutoff=0.4)
    return f" Nearest: {', '.join(near)}." if near else ""


def _lot_codes() -> QuerySet[Any]:
    return Lot.objects.current().values_list("code", flat=True)


def _hulls() -> QuerySet[Any]:
    return Hull.objects.current().values_list("number", flat=True)


# From a lot


def lot_trace(code: str) -> LotTrace:
    """Where a lot went; the number of queries does not grow with the hulls."""
    lots = list(Lot.objects.current().filter(code=code).select_related("material"))
    if not lots:
        raise NothingBySuchName(f"No lot {code} here.{_nearest(code, _lot_codes())}")
    return _lot_traces(lots)[0]


def batch_trace(batch: str) -> BatchTrace:
    """Where every lot of a maker's batch went."""
    lots = list(Lot.objects.current().filter(makers_batch__iexact=batch).select_related("material").order_by("code"))
    if not lots:
        batches = Lot.objects.current().values_list("makers_batch", flat=True).distinct()
        raise NothingBySuchName(f"No maker's batch {batch} here.{_nearest(batch, batches)}")
    return BatchTrace(lots[0].makers_batch, tuple(_lot_traces(lots)))


def _lot_traces(lots: list[Lot]) -> list[LotTrace]:
    batches = Q()
    for lot in lots:
        batches |= Q(makers_batch__iexact=lot.makers_batch, material=lot.material_id)
    in_batches = list(Lot.objects.current().filter(batches).order_by("code"))
    uses = _Uses(Q(lot__in=[lot.pk for lot in in_batches]), Q(components__lot__in=[lot.pk for lot in in_batches]))
    numbers = [lot.pk for lot in in_batches]
    sums, states, names = stock_sums(numbers), _states(numbers), properties_in_force({lot.material for lot in lots})
    certificates = _counts(Certificate.objects.current().filter(lot__in=numbers).values_list("lot", flat=True))
    hulls = {hull.number: hull for hull in Hull.objects.current().select_related("boat_model", "bay")}
    left = _departures()
    taken = {hulls[number].pk for lot in lots for number in uses.hull_numbers(lot)}
    in_the_yard = {hull.pk for hull in hulls.values() if hull.pk not in left}
    holes_by_material = _unlogged(
        RevisionInForce.objects.current().filter(part__hull__in=taken | in_the_yard),
        {lot.material_id for lot in lots},
    )
    pails_without = _pails_without_a_lot()
    return [
        LotTrace(
            lot=lot.code,
            material=lot.material.code,
            name=names[lot.material_id].name,
            unit=str(lot.material.get_stock_unit_display()),
            makers_batch=lot.makers_batch,
            supplier_note=lot.supplier_note,
            received_on=lot.received_on,
            use_by=lot.use_by,
            state=str(states.get(lot.pk, LotState.RECEIVED).label),
            certificates=certificates[lot.pk],
            received=sums[lot.pk].received,
            used=sums[lot.pk].used,
            discarded=sums[lot.pk].discarded,
            left=sums[lot.pk].left,
            hulls=tuple(uses.hulls_of(lot, hulls, left)),
            same_batch=tuple(_same_batch(lot, in_batches, uses)),
            sisters_without=_sisters_without(uses.hull_numbers(lot), hulls),
            holes=(
                *_balance_holes(lot, sums[lot.pk], uses),
                *pails_without.get(lot.material.kind, ()),
                *holes_by_material.get(lot.material_id, ()),
            ),
        )
        for lot in lots
    ]


class _Uses:
    """Lines laid and pails mixed that count, of some lots or in some hulls."""

    def __init__(self, layings: Q, mixes: Q) -> None:
        laid = Laying.objects.current().filter(layings).exclude(outcome=LayingOutcome.NOT_LAID)
        self.layings = list(
            laid.select_related("entry", "part__hull", "zone", "line", "lot__material").order_by(
                "entry__happened_at", "pk"
            )
        )
        mixed = Mix.objects.current().filter(mixes, pour__in=Pour.objects.current()).distinct()
        self.mixes = list(
            mixed.select_related("entry", "pour__part__hull", "scale", "catalyst_scale", "thermometer")
            .prefetch_related("components__lot__material")
            .order_by("entry__happened_at", "pk")
        )

    def in_lots(self) -> Iterator[tuple[Lot, str, str, LaidUse | PailUse]]:
        """Lot, hull, part and use, one by one."""
        for laying in self.layings:
            if laying.lot is not None:
                yield laying.lot, laying.part.hull.number, laying.part.name, _laid_use(laying, laying.lot)
        for mix in self.mixes:
            for component in mix.components.all():
                part = mix.pour.part
                yield component.lot, part.hull.number, part.name, _pail_use(mix, component)

    def of_lot(self, lot: Lot) -> list[tuple[str, str, LaidUse | PailUse]]:
        return [(hull, part, use) for used, hull, part, use in self.in_lots() if used.pk == lot.pk]

    def hull_numbers(self, lot: Lot) -> set[str]:
        return {hull for hull, _, _ in self.of_lot(lot)}

    def hulls_of(self, lot: Lot, hulls: dict[str, Hull], left: dict[int, LeftYard]) -> Iterator[HullOfLot]:
        by_hull: dict[str, dict[str, list[LaidUse | PailUse]]] = defaultdict(lambda: defaultdict(list))
        for number, part, use in self.of_lot(lot):
            by_hull[number][part].append(use)
        for number in sorted(by_hull):
            parts = tuple(_part_trace(name, uses) for name, uses in by_hull[number].items())
            hull = hulls[number]
            quantity = sum(part.quantity for part in parts)
            yield HullOfLot(number, hull.boat_model.name, _whereabouts(hull, left), quantity, parts)


def _laid_use(laying: Laying, lot: Lot) -> LaidUse:
    return LaidUse(
        entry=laying.pk,
        lot=lot.code,
        zone=laying.zone.name,
        line=laying.line.number if laying.line else None,
        quantity=laying.quantity,
        at=laying.entry.happened_at,
        laid_by=laying.laid_by,
        second_person=laying.second_person,
    )


def _pail_use(mix: Mix, component: Any) -> PailUse:
    return PailUse(
        entry=mix.pk,
        lot=component.lot.code,
        pour=mix.pour.number,
        pail=mix.pail_number,
        what=str(component.get_role_display()),
        mass_kg=component.mass_kg,
        resin_temperature_c=mix.resin_temperature_c,
        at=mix.entry.happened_at,
        mixed_by=mix.mixed_by,
        second_person=mix.second_person,
    )


def _quantity(use: LaidUse | PailUse) -> float:
    return use.quantity if isinstance(use, LaidUse) else use.mass_kg


def _part_trace(name: str, uses: list[LaidUse | PailUse]) -> PartTrace:
    return PartTrace(
        part=name,
        quantity=sum(_quantity(use) for use in uses),
        laid=tuple(use for use in uses if isinstance(use, LaidUse)),
        pails=tuple(use for use in uses if isinstance(use, PailUse)),
    )


def _same_batch(lot: Lot, lots: list[Lot], uses: _Uses) -> Iterator[SameBatch]:
    for other in lots:
        alike = other.material_id == lot.material_id and other.makers_batch.lower() == lot.makers_batch.lower()
        if alike and other.pk != lot.pk:
            hulls = tuple(sorted(uses.hull_numbers(other)))
            yield SameBatch(other.code, other.received_on, other.received_quantity, hulls)


def _sisters_without(taken: set[str], hulls: dict[str, Hull]) -> tuple[str, ...]:
    """Hulls of the same models that took none of it."""
    models = {hulls[number].boat_model_id for number in taken}
    return tuple(sorted(n for n, hull in hulls.items() if hull.boat_model_id in models and n not in taken))


def _states(lots: list[int]) -> dict[int, LotState]:
    decisions = LotDecision.objects.current().filter(lot__in=lots).order_by("entry__happened_at", "pk")
    return {lot: LotState(state) for lot, state in decisions.values_list("lot", "state")}


def _counts(values: Iterable[int]) -> dict[int, int]:
    counts: dict[int, int] = defaultdict(int)
    for value in values:
        counts[value] += 1
    return counts


def _departures() -> dict[int, LeftYard]:
    return {row.hull_id: row for row in LeftYard.objects.current()}


def _whereabouts(hull: Hull, left: dict[int, LeftYard]) -> str:
    gone = left.get(hull.pk)
    if gone is None:
        return f"in {hull.bay.name}"
    to = f", delivered to {gone.delivered_to}" if gone.delivered_to else ""
    return f"left the yard on {gone.left_on:%Y-%m-%d}{to}"


def _balance_holes(lot: Lot, sums: StockSums, uses: _Uses) -> Iterator[str]:
    unit = StockUnit(lot.material.stock_unit)
    if sums.left < -SUMS_AGREE_WITHIN:
        yield f"{show(-sums.left, unit)} more of {lot.code} is logged as used than was received"
    in_hulls = sum(_quantity(use) for _, _, use in uses.of_lot(lot))
    if abs(in_hulls - sums.used) > SUMS_AGREE_WITHIN:
        yield f"the store counts {show(sums.used, unit)} of {lot.code} as used, the hulls {show(in_hulls, unit)}"


def _unlogged(taken: QuerySet[RevisionInForce], materials: set[int] | None) -> dict[int, list[str]]:
    """By material: lines that are wanted in a hull and not logged, so that no lot is named for them."""
    in_force = {row.part_id: row for row in taken.select_related("part__hull").order_by("pk")}
    laid = Laying.objects.current().filter(part__in=in_force, line__isnull=False)
    laid_lines = list(laid.values_list("part", "line", "line__revision"))
    revisions = {row.revision_id for row in in_force.values()} | {revision for _, _, revision in laid_lines}
    lines: dict[int, list[ScheduleLine]] = defaultdict(list)
    for line in (
        ScheduleLine.objects.filter(revision__in=revisions).select_related("zone", "material").order_by("number")
    ):
        lines[line.revision_id].append(line)
    settled: dict[int, set[int]] = defaultdict(set)
    for part, line_number, revision in laid_lines:
        now = in_force[part].revision_id
        same = same_lines(lines[revision], lines[now]) if revision != now else {}
        settled[part].add(same.get(line_number, line_number))
    holes: dict[int, list[str]] = defaultdict(list)
    for part, row in in_force.items():
        for line in lines[row.revision_id]:
            if line.pk not in settled[part] and (materials is None or line.material_id in materials):
                words = f"{row.part.hull.number} {row.part.name}: line {line.number} wants {line.material.code}"
                holes[line.material_id].append(f"{words} and is not logged")
    return holes


def _pails_without_a_lot(hull: Hull | None = None) -> dict[str, list[str]]:
    """By kind of material: pails that name no lot of it."""
    mixes = Mix.objects.current().filter(pour__in=Pour.objects.current())
    if hull is not None:
        mixes = mixes.filter(pour__part__hull=hull)
    holes: dict[str, list[str]] = defaultdict(list)
    for role in (ComponentRole.RESIN, ComponentRole.CATALYST):
        bare = mixes.exclude(components__role=role).select_related("pour__part__hull").order_by("pk")
        for mix in bare:
            holes[role].append(f"{mix.pour.part}: pail {mix.pail_number} names no {role} lot")
    return holes


# From a hull


def hull_trace(number: str) -> HullTrace:
    """What went into a hull; the number of queries does not grow with the pails."""
    hull = Hull.objects.current().select_related("boat_model", "bay", "entry").filter(number=number).first()
    if hull is None:
        raise NothingBySuchName(f"No hull {number} here.{_nearest(number, _hulls())}")
    uses = _Uses(Q(part__hull=hull), Q(pour__part__hull=hull))
    lots = {lot.pk: lot for lot, _, _, _ in uses.in_lots()}
    names = properties_in_force({lot.material for lot in lots.values()})
    certified = set(Certificate.objects.current().filter(lot__in=lots).values_list("lot", flat=True))
    craft_number = CraftNumberGiven.objects.current().filter(hull=hull).order_by("-pk").first()
    sisters = list(Hull.objects.current().filter(boat_model=hull.boat_model_id).exclude(pk=hull.pk).order_by("number"))
    unlogged = _unlogged(RevisionInForce.objects.current().filter(part__hull=hull), None)
    return HullTrace(
        hull=hull.number,
        model=hull.boat_model.name,
        craft_number=craft_number.number if craft_number else "",
        laid_down_on=hull.laid_down_on,
        whereabouts=_whereabouts(hull, _departures()),
        lots=tuple(_lots_of_hull(uses, lots, names, certified)),
        pails=tuple(_pails_of_hull(uses, hull)),
        climate=_climate_met(hull),
        instruments=tuple(_instruments_met(uses, hull)),
        people=tuple(_people_met(uses, hull)),
        sisters=tuple(sister.number for sister in sisters),
        differs_in=tuple(_differs_in(lots.values(), sisters)),
        holes=(
            *(hole for holes in _pails_without_a_lot(hull).values() for hole in holes),
            *(hole for holes in unlogged.values() for hole in holes),
            *_parts_without_schedule(hull),
        ),
    )


def _lots_of_hull(uses: _Uses, lots: dict[int, Lot], names: dict[int, Any], certified: set[int]) -> Iterator[LotOfHull]:
    by_lot: dict[int, list[tuple[str, LaidUse | PailUse]]] = defaultdict(list)
    for lot, _, part, use in uses.in_lots():
        by_lot[lot.pk].append((part, use))
    for lot in sorted(lots.values(), key=lambda one: one.code):
        used = by_lot[lot.pk]
        yield LotOfHull(
            lot=lot.code,
            material=lot.material.code,
            name=names[lot.material_id].name,
            kind=str(lot.material.get_kind_display()),
            makers_batch=lot.makers_batch,
            has_certificate=lot.pk in certified,
            quantity=sum(_quantity(use) for _, use in used),
            unit=str(lot.material.get_stock_unit_display()),
            parts=tuple(dict.fromkeys(part for part, _ in used)),
            first_used_at=min(use.at for _, use in used),
            last_used_at=max(use.at for _, use in used),
        )


def _pails_of_hull(uses: _Uses, hull: Hull) -> Iterator[PailOfHull]:
    gels: dict[int, list[GelSeen]] = defaultdict(list)
    mixed_at = {mix.pk: mix.entry.happened_at for mix in uses.mixes}
    seen = Gel.objects.current().filter(mix__in=mixed_at).select_related("entry").order_by("entry__happened_at", "pk")
    for gel in seen:
        minutes = (gel.entry.happened_at - mixed_at[gel.mix_id]).total_seconds() / 60
        gels[gel.mix_id].append(GelSeen(str(gel.get_at_display()), gel.place, minutes))
    for mix in uses.mixes:
        components = mix.components.all()
        yield PailOfHull(
            entry=mix.pk,
            part=mix.pour.part.name,
            pour=mix.pour.number,
            pail=mix.pail_number,
            at=mix.entry.happened_at,
            inlet=mix.inlet,
            resin_kg=sum(one.mass_kg for one in components if one.role == ComponentRole.RESIN),
            catalyst_kg=sum(one.mass_kg for one in components if one.role == ComponentRole.CATALYST),
            dose_phr=mix.dose_phr,
            resin_temperature_c=mix.resin_temperature_c,
            mixed_by=mix.mixed_by,
            second_person=mix.second_person,
            lots=tuple(one.lot.code for one in components),
            gels=tuple(gels[mix.pk]),
        )


def _climate_met(hull: Hull) -> ClimateMet:
    readings = list(climate_of(hull))
    air = [reading.air_temperature_c for reading in readings]
    humidity = [reading.humidity_percent for reading in readings]
    return ClimateMet(
        readings=len(readings),
        air_temperature_low_c=min(air, default=None),
        air_temperature_high_c=max(air, default=None),
        humidity_low_percent=min(humidity, default=None),
        humidity_high_percent=max(humidity, default=None),
    )


def _instruments_met(uses: _Uses, hull: Hull) -> Iterator[InstrumentMet]:
    used: dict[Instrument, list[dt.date]] = defaultdict(list)
    for entry, instrument in _measured(uses, hull):
        if instrument is not None:
            used[instrument].append(timezone.localdate(entry.happened_at))
    calibrations: dict[int, list[Calibration]] = defaultdict(list)
    for calibration in Calibration.objects.current().filter(instrument__in=used).order_by("calibrated_on", "pk"):
        calibrations[calibration.instrument_id].append(calibration)
    for instrument in sorted(used, key=lambda one: one.code):
        late = sorted({day for day in used[instrument] if not _in_date(calibrations[instrument.pk], day)})
        yield InstrumentMet(
            code=instrument.code,
            name=instrument.name,
            uses=len(used[instrument]),
            in_date=not late,
            words=f"out of date on {', '.join(f'{day:%Y-%m-%d}' for day in late)}" if late else "in date at every use",
        )


def _in_date(calibrations: list[Calibration], day: dt.date) -> bool:
    known = [calibration for calibration in calibrations if calibration.calibrated_on <= day]
    return bool(known) and day <= known[-1].due_on


def _measured(uses: _Uses, hull: Hull) -> Iterator[tuple[Entry, Instrument | None]]:
    for mix in uses.mixes:
        for instrument in (mix.scale, mix.catalyst_scale, mix.thermometer):
            yield mix.entry, instrument
    for test in HoldTest.objects.current().filter(part__hull=hull).select_related("entry", "gauge"):
        yield test.entry, test.gauge
    for remainder in Remainder.objects.current().filter(pour__part__hull=hull).select_related("entry", "scale"):
        yield remainder.entry, remainder.scale
    for reading in CureReading.objects.current().filter(part__hull=hull).select_related("entry", "thermometer"):
        yield reading.entry, reading.thermometer
    for tried in HardnessSet.objects.current().filter(part__hull=hull).select_related("entry", "tester"):
        yield tried.entry, tried.tester
    for weighing in Weighing.objects.current().filter(part__hull=hull).select_related("entry", "scale"):
        yield weighing.entry, weighing.scale
    for climate in climate_of(hull).select_related("entry", "thermometer", "hygrometer"):
        yield climate.entry, climate.thermometer
        yield climate.entry, climate.hygrometer


def _people_met(uses: _Uses, hull: Hull) -> Iterator[PersonMet]:
    laid = _tally(laying.laid_by for laying in uses.layings)
    mixed = _tally(mix.mixed_by for mix in uses.mixes)
    second = _tally(row.second_person for row in (*uses.layings, *uses.mixes))
    logged = _tally(Entry.objects.filter(about=hull.number).values_list("person", flat=True))
    names = dict(Person.objects.values_list("initials", "full_name"))
    for initials in sorted({*laid, *mixed, *second, *logged} - {""}):
        yield PersonMet(
            initials=initials,
            full_name=names.get(initials, ""),
            laid=laid[initials],
            mixed=mixed[initials],
            second=second[initials],
            logged=logged[initials],
        )


def _tally(names: Iterable[str]) -> dict[str, int]:
    tally: dict[str, int] = defaultdict(int)
    for name in names:
        tally[name] += 1
    return tally


def _differs_in(lots: Iterable[Lot], sisters: list[Hull]) -> Iterator[str]:
    """What this hull has that no sister has; what follows from that is for people to say."""
    if not sisters:
        return
    in_sisters = _Uses(Q(part__hull__in=sisters), Q(pour__part__hull__in=sisters))
    theirs: dict[int, set[str]] = defaultdict(set)
    for lot, _, _, _ in in_sisters.in_lots():
        theirs[lot.material_id].add(lot.code)
    own: dict[int, list[Lot]] = defaultdict(list)
    for lot in lots:
        own[lot.material_id].append(lot)
    for material, mine in sorted(own.items(), key=lambda pair: pair[1][0].material.code):
        alone = sorted(lot.code for lot in mine if lot.code not in theirs[material])
        if alone and theirs[material]:
            yield (
                f"differs in {mine[0].material.code}: {', '.join(alone)} here; "
                f"{', '.join(sorted(theirs[material]))} in its sisters"
            )


def _parts_without_schedule(hull: Hull) -> Iterator[str]:
    taken = RevisionInForce.objects.current().values("part")
    for part in Part.objects.current().filter(hull=hull).exclude(pk__in=taken).order_by("pk"):
        yield f"{part.name}: no schedule is in force, so the book cannot say what should have been laid"
