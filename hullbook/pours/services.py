"""What changes the book about resin: plans set, hold tests, feed lines laid, pours and all that happens in them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from django.utils import timezone

from hullbook.calc.dose import dose_from_masses, dose_uncertainty, judge_dose, mend_dose, require_dose
from hullbook.calc.errors import InputRefused
from hullbook.calc.gel import Cup
from hullbook.calc.statistics import resolution_uncertainty
from hullbook.calc.vacuum import HoldJudgement, fit_rise, judge_hold
from hullbook.calc.verdict import Level, Verdict, no_verdict
from hullbook.hulls.enums import HullSide, Side
from hullbook.hulls.models import Part, Zone
from hullbook.materials.models import Lot, Material, ResinSystem
from hullbook.materials.services import is_about_to, lot_use, require_leads_reason, undo_movements
from hullbook.pours.enums import (
    AlarmRank,
    ComponentRole,
    GaugeKind,
    GelPlace,
    InletMove,
    PailEnded,
    ReadingOf,
    RemainderPlace,
    TroubleKind,
)
from hullbook.pours.models import (
    AlarmTaken,
    FeedInlet,
    FeedLayout,
    FeedLine,
    FrontReached,
    FrontStation,
    Gel,
    GelCup,
    HoldReading,
    HoldTest,
    InletMoved,
    Mix,
    MixComponent,
    PailEnd,
    Pour,
    PourAnswer,
    PourClosed,
    PourNote,
    PourPlan,
    PourReading,
    Remainder,
    ResinPlan,
    SoundTest,
    TrialPanel,
    TrialReading,
    Trouble,
    TroubleMended,
)
from hullbook.pours.selectors import (
    PourPlanView,
    ResinPlanInputs,
    closing_of,
    fitted_panel,
    open_pour,
    plan_in_force,
    pressures_at_start_temperature,
    resolution_in,
    second_part,
    what_has_changed,
    what_speaks_against_pouring,
    worked_out_plan,
)
from hullbook.quantities.showing import show
from hullbook.records.models import EntryRow, TypedRow
from hullbook.records.services import Refused, Told, append, judgements, logs, refuse_second_correction
from hullbook.yard.enums import LimitName
from hullbook.yard.models import Instrument, YardLimit
from hullbook.yard.selectors import calibration_on, limit_in_force
from hullbook.yard.services import require_crew

GRAMS = 1000.0
PERCENT = 100.0
LEAST_TO_FIT = 3
FIELD_OF_ROLE = {
    ComponentRole.RESIN: "resin_lot",
    ComponentRole.CATALYST: "catalyst_lot",
    ComponentRole.ADDITION: "addition_lot",
}


@dataclass(frozen=True)
class GivenComponent:
    """What went into a pail, from one lot. The catalyst is in kg too, as everything in the book."""

    role: ComponentRole
    lot: Lot
    mass_kg: float


DayRow = TypeVar("DayRow", bound=TypedRow)


# ---- Resin plan


@logs
def set_resin_plan(*, part: Part, system: ResinSystem, inputs: ResinPlanInputs, told: Told) -> ResinPlan:
    """Work a plan out and set it: from here on pails are counted against it."""
    worked_out = worked_out_plan(part, system, inputs)
    lines = [*worked_out.inputs, *(view.item for view in worked_out.items)]
    return append(worked_out.plan, lines, told=told, about=part.hull.number)


# ---- Hold test


@logs
def log_hold_test(
    *,
    part: Part,
    gauge: Instrument,
    gauge_kind: GaugeKind,
    readings: Sequence[tuple[float, float]],
    station_pressure_start_mbar: float | None,
    station_pressure_end_mbar: float | None,
    air_temperature_start_c: float,
    air_temperature_end_c: float,
    words: str,
    told: Told,
) -> HoldTest:
    """A hold test with all its readings, as (minute, mbar as the gauge showed it); judged by the yard's own limit.

    A gauge that reads below atmosphere is brought to absolute with the barometer, which is taken as moving evenly from
    start to end; so is the air temperature, by which the pressures are brought to that of the start.
    """
    if not readings:
        raise Refused({"readings": "Give the readings, a minute and what the gauge showed."})
    minutes = [minute for minute, _ in readings]
    stations = _station_pressures(minutes, gauge_kind, station_pressure_start_mbar, station_pressure_end_mbar)
    pressures = [
        gauge_kind.absolute_mbar(shown, station) for (_, shown), station in zip(readings, stations, strict=True)
    ]
    corrected = pressures_at_start_temperature(minutes, pressures, air_temperature_start_c, air_temperature_end_c)
    judged = _judged_hold(minutes, corrected, gauge, told)
    test = HoldTest(
        part=part,
        number=HoldTest.objects.filter(part=part).count() + 1,
        gauge=gauge,
        gauge_kind=gauge_kind,
        station_pressure_start_mbar=station_pressure_start_mbar,
        station_pressure_end_mbar=station_pressure_end_mbar,
        air_temperature_start_c=air_temperature_start_c,
        air_temperature_end_c=air_temperature_end_c,
        rate_mbar_min=judged.rate_mbar_min,
        rate_standard_uncertainty_mbar_min=judged.rate_standard_uncertainty,
        rise_mbar=judged.rise_over_period_mbar,
        rise_expanded_uncertainty_mbar=judged.expanded_uncertainty_mbar,
        words=words.strip(),
    )
    lines = [
        HoldReading(test=test, minute=minute, shown_mbar=shown, bag_pressure_mbar_abs=pressure)
        for (minute, shown), pressure in zip(readings, pressures, strict=True)
    ]
    return append(test, [*lines, *judgements([judged.verdict])], told=told, about=part.hull.number)


def _station_pressures(
    minutes: Sequence[float], gauge_kind: GaugeKind, start_mbar: float | None, end_mbar: float | None
) -> list[float | None]:
    if gauge_kind == GaugeKind.ABSOLUTE:
        return [None] * len(minutes)
    if start_mbar is None or end_mbar is None:
        lacking = "station_pressure_start_mbar" if start_mbar is None else "station_pressure_end_mbar"
        raise Refused({lacking: "A gauge that reads below atmosphere needs the barometer at start and end."})
    span = minutes[-1] - minutes[0] or 1.0
    return [start_mbar + (end_mbar - start_mbar) * (minute - minutes[0]) / span for minute in minutes]


def _judged_hold(minutes: Sequence[float], pressures: Sequence[float], gauge: Instrument, told: Told) -> HoldJudgement:
    limit = limit_in_force(LimitName.HOLD_RISE)
    if limit is None or limit.high is None or limit.over_minutes is None:
        return _unjudged(minutes, pressures, "the yard has set no limit for the rise in a hold test")
    calibration = calibration_on(gauge, timezone.localdate(told.happened_at)).calibration
    judged = judge_hold(
        minutes,
        pressures,
        greatest_rise_mbar=limit.high,
        over_minutes=limit.over_minutes,
        resolution_mbar=resolution_in(gauge, "mbar"),
        relative_span_uncertainty=calibration.standard_uncertainty_percent / PERCENT if calibration else 0.0,
        source=_limit_words(limit),
    )
    because = "; ".join(words for words in (judged.verdict.because, judged.shape) if words)
    return replace(judged, verdict=replace(judged.verdict, code="hold.rise", because=because))


def _limit_words(limit: YardLimit) -> str:
    return f"{limit.source}: at most {limit.high:g} mbar in {limit.over_minutes:g} min"


def _unjudged(minutes: Sequence[float], pressures: Sequence[float], because: str) -> HoldJudgement:
    rise = fit_rise(minutes, pressures) if len(minutes) >= LEAST_TO_FIT else None
    return HoldJudgement(
        verdict=no_verdict("hold.rise", because, unit="mbar"),
        rise_over_period_mbar=None,
        expanded_uncertainty_mbar=None,
        rate_mbar_min=rise.rate_mbar_min if rise else None,
        rate_standard_uncertainty=rise.rate_standard_uncertainty if rise else None,
        judged_on="nothing",
        shape="",
        rise=rise,
        two_phase=None,
    )


# ---- The pour


@logs
def begin_pour(*, part: Part, told: Told) -> Pour:
    """Begin a pour by the plan in force. One begun before its release is kept as such, with an open judgement."""
    plan = plan_in_force(part)
    if plan is None:
        raise Refused(f"{part} has no resin plan; set one first.")
    if (under_way := open_pour(part)) is not None:
        raise Refused(f"Pour {under_way.number} of {part} is under way; go on with it, or close it first.")
    pour = Pour(part=part, number=Pour.objects.filter(part=part).count() + 1, plan=plan)
    return append(pour, judgements([_release_verdict(part)]), told=told, about=part.hull.number)


def _release_verdict(part: Part) -> Verdict:
    source = "hold point 5 and the last hold test"
    against = what_speaks_against_pouring(part)
    because = f"begun before release: {'; '.join(against)}" if against else ""
    level: Level = "fail" if against else "pass"
    return Verdict(level, "pour.release", None, 0.0, None, None, "", source, because)


@logs
def log_mix(
    *,
    pour: Pour,
    pail_number: int,
    components: Sequence[GivenComponent],
    resin_temperature_c: float,
    scale: Instrument,
    catalyst_scale: Instrument,
    thermometer: Instrument,
    inlet: str,
    mixed_by: str,
    second_person: str,
    lead_reason: str = "",
    told: Told,
    corrects: Mix | None = None,
    reason: str = "",
) -> Mix:
    """A pail mixed. Two tablets may log the same pail number: both rows stay, and the pour asks which it was.

    About to mix outside the maker's limits, or from a lot that is not fit for it: refused with what would mend it,
    unless a quality lead gives `lead_reason`. Mixed already: kept with its verdicts.
    """
    _refuse_struck(pour)
    if corrects is not None:
        refuse_second_correction(corrects)
        _refuse_other_pour(pour, corrects)
    require_crew(mixed_by=mixed_by, second_person=second_person)
    resin_kg = _sum_of(components, ComponentRole.RESIN)
    catalyst_kg = _sum_of(components, ComponentRole.CATALYST)
    system = pour.plan.system
    second = second_part(system)
    problems = {}
    if resin_kg <= 0:
        problems["resin_kg"] = "Give the lot and the mass of the resin."
    if catalyst_kg <= 0:
        problems["catalyst_g"] = f"Give the lot and the grams of the {second}; a pail without it is not mixed."
    if problems:
        raise Refused(problems)
    dose_phr = dose_from_masses(resin_kg, GRAMS * catalyst_kg, second)
    dose = _dose_verdict(system, dose_phr, resin_kg, catalyst_kg, scale, catalyst_scale)
    wrong_materials = _wrong_materials(system, components)
    if is_about_to(told):
        problems = {field: f"{verdict.because}; take the right one." for field, verdict in wrong_materials.items()}
        if dose.is_open:
            problems["catalyst_g"] = mending_words(system, resin_kg, catalyst_kg)
        _stop_before_mixing(problems, told, lead_reason)
    verdicts = [dose, *wrong_materials.values()]
    rows: list[EntryRow] = [] if corrects is None else list(undo_movements(corrects.entry))
    mix = Mix(
        pour=pour,
        pail_number=pail_number,
        dose_phr=dose_phr,
        resin_temperature_c=resin_temperature_c,
        scale=scale,
        catalyst_scale=catalyst_scale,
        thermometer=thermometer,
        inlet=inlet.strip(),
        mixed_by=mixed_by,
        second_person=second_person,
        lead=told.person if lead_reason.strip() else "",
        lead_reason=lead_reason.strip(),
        corrects=corrects,
        reason=reason.strip(),
    )
    for given in components:
        rows.append(MixComponent(mix=mix, role=given.role, lot=given.lot, mass_kg=given.mass_kg))
    for given in components:
        movement, verdict = _used(given, told, lead_reason, corrects)
        rows.append(movement)
        verdicts.append(verdict)
    return append(mix, [*rows, *judgements(verdicts)], told=told, about=pour.part.hull.number)


def _sum_of(components: Sequence[GivenComponent], role: ComponentRole) -> float:
    return sum(one.mass_kg for one in components if one.role == role)


def _used(given: GivenComponent, told: Told, lead_reason: str, corrects: Mix | None) -> tuple[EntryRow, Verdict]:
    """What a component takes out of its lot; a refusal names the field of the form it was keyed into."""
    try:
        movement, verdict = lot_use(
            lot=given.lot,
            quantity=given.mass_kg,
            told=told,
            lead_reason=lead_reason,
            instead_of=corrects.entry if corrects else None,
        )
    except Refused as refused:
        field = FIELD_OF_ROLE[ComponentRole(given.role)]
        raise Refused(
            {field if name == "lot" else name: words for name, words in refused.problems.items()}
        ) from refused
    because = f"{given.lot.code}: {verdict.because}" if verdict.because else f"{given.lot.code} was fit for use"
    return movement, replace(verdict, because=because[:400])


def _dose_verdict(
    system: ResinSystem, dose_phr: float, resin_kg: float, catalyst_kg: float, scale: Instrument, fine: Instrument
) -> Verdict:
    uncertainty = dose_uncertainty(
        resin_kg,
        GRAMS * catalyst_kg,
        resin_scale_resolution_g=resolution_in(scale, "g"),
        catalyst_scale_resolution_g=resolution_in(fine, "g"),
    )
    return judge_dose(dose_phr, uncertainty, system.dose_low_phr, system.dose_high_phr, system.source)


def _wrong_materials(system: ResinSystem, components: Sequence[GivenComponent]) -> dict[str, Verdict]:
    """By field: what is not of the plan's system, so that its dose limits and gel table do not hold."""
    wanted = {ComponentRole.RESIN: system.resin, ComponentRole.CATALYST: system.catalyst}
    source = f"resin system {system.code}, {system.source}"[:300]
    return {
        FIELD_OF_ROLE[given.role]: Verdict(
            "fail",
            "mix.material",
            None,
            0.0,
            None,
            None,
            "",
            source,
            f"{given.lot.code} is {given.lot.material.code}, the plan is made for {wanted[given.role].code}",
        )
        for given in components
        if given.role in wanted and given.lot.material_id != wanted[given.role].pk
    }


def _stop_before_mixing(problems: dict[str, str], told: Told, lead_reason: str) -> None:
    if not problems:
        return
    if not lead_reason.strip():
        raise Refused({field: f"{words} Or let the quality lead give a reason." for field, words in problems.items()})
    require_leads_reason(told, lead_reason, " ".join(problems.values()))


def mending_words(system: ResinSystem, resin_kg: float, catalyst_kg: float) -> str:
    """What is wrong with a dose, and the grams of catalyst or kilograms of resin that would bring it inside."""
    second = second_part(system)
    dose = PERCENT * catalyst_kg / resin_kg
    low, high = system.dose_low_phr, system.dose_high_phr
    limits = f"the maker's limits are {show(low, 'phr')} to {show(high, 'phr')}"
    wants = mend_dose(resin_kg, GRAMS * catalyst_kg, low, high)
    if dose < low:
        mend = (
            f"{wants.catalyst_to_lowest_g:.0f} g more of the {second} makes the lowest, "
            f"{wants.catalyst_to_middle_g:.0f} g more the middle"
        )
    else:
        mend = (
            f"{wants.resin_to_highest_kg:.2f} kg more of the resin makes the highest; "
            f"{second} cannot be taken out again"
        )
    return f"{show(dose, 'phr')}: {limits}. {mend}."


@logs
def log_remainder(
    *,
    pour: Pour,
    mix: Mix | None,
    place: RemainderPlace,
    mass_kg: float,
    standard_uncertainty_kg: float | None,
    scale: Instrument | None,
    told: Told,
) -> Remainder:
    """Mixed resin found again outside the part. Without an uncertainty it takes the scale's two roundings."""
    if standard_uncertainty_kg is None:
        if scale is None:
            raise Refused({"standard_uncertainty_kg": "Name the scale, or say how sure the figure is."})
        standard_uncertainty_kg = 2**0.5 * resolution_uncertainty(resolution_in(scale, "kg"))
    _refuse_struck(pour)
    _refuse_other_pour(pour, mix)
    remainder = Remainder(
        pour=pour,
        mix=mix,
        place=place,
        mass_kg=mass_kg,
        standard_uncertainty_kg=standard_uncertainty_kg,
        scale=scale,
    )
    return append(remainder, told=told, about=pour.part.hull.number)


@logs
def log_gel(*, pour: Pour, mix: Mix | None, at: GelPlace, place: str, temperature_c: float | None, told: Told) -> Gel:
    """Gel seen, at the moment it happened."""
    _refuse_struck(pour)
    _refuse_other_pour(pour, mix)
    if mix is not None and told.happened_at < mix.entry.happened_at:
        mixed_at = timezone.localtime(mix.entry.happened_at)
        raise Refused(
            {"happened_at": f"Pail {mix.pail_number} was mixed at {mixed_at:%H:%M:%S}; gel comes after that."}
        )
    gel = Gel(pour=pour, mix=mix, at=at, place=place.strip(), temperature_c=temperature_c)
    return append(gel, told=told, about=pour.part.hull.number)


@logs
def close_pour(*, pour: Pour, words: str, told: Told) -> PourClosed:
    """The front is through everywhere and the last inlet is shut."""
    _refuse_struck(pour)
    if closing_of(pour) is not None:
        raise Refused(f"Pour {pour.number} is closed already.")
    return append(PourClosed(pour=pour, words=words.strip()), told=told, about=pour.part.hull.number)


# ---- What is laid under the bag


@dataclass(frozen=True)
class GivenLine:
    """A feed line: where it lies, and the front that opens it; `opens_after` is None where it opens at the start.

    `opens_front_mm` None is the line's own place: it opens once that front has come to it.
    """

    number: int
    name: str
    girth_mm: float
    side: Side
    opens_after: int | None = None
    opens_front_mm: float | None = None
    opens_words: str = ""


@dataclass(frozen=True)
class GivenInlet:
    number: int
    line_number: int
    side: Side


@dataclass(frozen=True)
class GivenStation:
    """A station at which the front is told; how far it is there from keel to flange."""

    name: str
    girth_mm: float


@logs
def log_feed_layout(
    *,
    part: Part,
    lines: Sequence[GivenLine],
    inlets: Sequence[GivenInlet],
    stations: Sequence[GivenStation],
    words: str,
    told: Told,
) -> FeedLayout:
    """Where feed lines and inlets lie and where the front is told; from here on it is the one in force."""
    _refuse_layout_that_cannot_be(lines, inlets, stations)
    layout = FeedLayout(part=part, words=words.strip())
    rows: list[EntryRow] = []
    for line in lines:
        own = line.girth_mm if line.opens_front_mm is None else line.opens_front_mm
        rows.append(
            FeedLine(
                layout=layout,
                number=line.number,
                name=line.name,
                girth_mm=line.girth_mm,
                side=line.side,
                opens_after=line.opens_after,
                opens_front_mm=None if line.opens_after is None else own,
                opens_words=line.opens_words,
            )
        )
    for inlet in inlets:
        rows.append(FeedInlet(layout=layout, number=inlet.number, line_number=inlet.line_number, side=inlet.side))
    for station in stations:
        rows.append(FrontStation(layout=layout, name=station.name, girth_mm=station.girth_mm))
    return append(layout, rows, told=told, about=part.hull.number)


def _refuse_layout_that_cannot_be(
    lines: Sequence[GivenLine], inlets: Sequence[GivenInlet], stations: Sequence[GivenStation]
) -> None:
    by_number = {line.number: line for line in lines}
    flange_mm = max((station.girth_mm for station in stations), default=0.0)
    problems = {
        "lines": _twice([line.number for line in lines], "feed line") or _wrong_line(lines, by_number, flange_mm),
        "inlets": _twice([inlet.number for inlet in inlets], "inlet") or _wrong_inlet(inlets, by_number),
        "stations": _twice([station.name for station in stations], "station"),
    }
    for field, given in (("lines", lines), ("inlets", inlets), ("stations", stations)):
        if not given:
            problems[field] = "Give one at the least."
    problems = {field: sentence for field, sentence in problems.items() if sentence}
    if problems:
        raise Refused(problems)


def _twice(names: Sequence[object], what: str) -> str:
    return next((f"There are two of {what} {name}; give each once." for name in names if names.count(name) > 1), "")


def _wrong_line(lines: Sequence[GivenLine], by_number: dict[int, GivenLine], flange_mm: float) -> str:
    for line in lines:
        if line.girth_mm > flange_mm:
            return f"Feed line {line.number} lies past the flange: {line.girth_mm:g} of {flange_mm:g} mm from the keel."
        seen = {line.number}
        before = line.opens_after
        while before is not None:
            if before not in by_number:
                return f"Feed line {line.number} opens after feed line {before}, which is not there."
            if before in seen:
                return f"Feed line {line.number} would wait for itself; one line must open at the start."
            seen.add(before)
            before = by_number[before].opens_after
    return ""


def _wrong_inlet(inlets: Sequence[GivenInlet], by_number: dict[int, GivenLine]) -> str:
    for inlet in inlets:
        line = by_number.get(inlet.line_number)
        if line is None:
            return f"Inlet {inlet.number} feeds line {inlet.line_number}, which is not there."
        if Side.BOTH not in (line.side, inlet.side) and line.side != inlet.side:
            return f"Inlet {inlet.number} is {inlet.side}; feed line {line.number} lies {line.side}."
    return ""


# ---- While resin runs. Whatever was done is stored: nothing here asks whether it should have been.


@logs
def move_inlet(*, pour: Pour, inlet_number: int, move: InletMove, told: Told) -> InletMoved:
    """An inlet opened or shut."""
    _refuse_struck(pour)
    return _of_the_day(InletMoved(pour=pour, inlet_number=inlet_number, move=move), pour, told)


@logs
def log_front(*, pour: Pour, station: str, side: HullSide, girth_mm: float, landmark: str, told: Told) -> FrontReached:
    """How far the front has come from the keel, at one station and side."""
    _refuse_struck(pour)
    front = FrontReached(pour=pour, station=station.strip(), side=side, girth_mm=girth_mm, landmark=landmark.strip())
    return _of_the_day(front, pour, told)


@logs
def log_bag_pressure(
    *,
    pour: Pour,
    gauge: Instrument,
    gauge_kind: GaugeKind,
    gauge_mbar: float,
    station_pressure_mbar: float | None,
    place: str,
    told: Told,
) -> PourReading:
    """What a gauge shows while resin runs, kept as shown and in mbar absolute, and held against the yard's limit."""
    _refuse_struck(pour)
    if gauge_kind == GaugeKind.BELOW_ATMOSPHERE and station_pressure_mbar is None:
        raise Refused({"station_pressure_mbar": "A gauge that reads below atmosphere needs the barometer."})
    reading = PourReading(
        pour=pour,
        what=ReadingOf.BAG_PRESSURE,
        place=place.strip(),
        instrument=gauge,
        gauge_kind=gauge_kind,
        gauge_mbar=gauge_mbar,
        station_pressure_mbar=station_pressure_mbar,
        bag_pressure_mbar_abs=gauge_kind.absolute_mbar(gauge_mbar, station_pressure_mbar),
    )
    return _of_the_day(reading, pour, told)


@logs
def log_pour_temperature(
    *, pour: Pour, what: ReadingOf, thermometer: Instrument, temperature_c: float, place: str, told: Told
) -> PourReading:
    """How warm the resin or the laminate is while resin runs."""
    _refuse_struck(pour)
    reading = PourReading(
        pour=pour, what=what, place=place.strip(), instrument=thermometer, temperature_c=temperature_c
    )
    return _of_the_day(reading, pour, told)


@logs
def log_trouble(
    *,
    pour: Pour,
    kind: TroubleKind,
    words: str = "",
    station: str = "",
    side: HullSide | None = None,
    girth_mm: float | None = None,
    inlet_number: int | None = None,
    mix: Mix | None = None,
    gauge: Instrument | None = None,
    old_gauge_mbar_abs: float | None = None,
    new_gauge_mbar_abs: float | None = None,
    told: Told,
) -> Trouble:
    """Something went wrong; where, as far as there was time to say it. What was done about it comes later."""
    _refuse_struck(pour)
    _refuse_other_pour(pour, mix)
    trouble = Trouble(
        pour=pour,
        kind=kind,
        words=words.strip(),
        station=station.strip(),
        side=side or "",
        girth_mm=girth_mm,
        inlet_number=inlet_number,
        mix=mix,
        gauge=gauge,
        old_gauge_mbar_abs=old_gauge_mbar_abs,
        new_gauge_mbar_abs=new_gauge_mbar_abs,
    )
    return _of_the_day(trouble, pour, told)


@logs
def mend_trouble(*, trouble: Trouble, words: str, told: Told) -> TroubleMended:
    """What was done about it; after all stop, that the pour goes on."""
    _refuse_struck(trouble.pour)
    if told.happened_at < trouble.entry.happened_at:
        began = timezone.localtime(trouble.entry.happened_at)
        raise Refused({"happened_at": f"That was logged for {began:%H:%M:%S}; what was done about it comes after."})
    return _of_the_day(TroubleMended(trouble=trouble, words=words.strip()), trouble.pour, told)


@logs
def end_pail(*, mix: Mix, how: PailEnded, told: Told) -> PailEnd:
    """A pail is empty, or what is left of it was dumped; how much that was is weighed later, as a remainder."""
    _refuse_struck(mix.pour)
    if told.happened_at < mix.entry.happened_at:
        mixed_at = timezone.localtime(mix.entry.happened_at)
        raise Refused({"happened_at": f"Pail {mix.pail_number} was mixed at {mixed_at:%H:%M:%S}; give a later time."})
    return _of_the_day(PailEnd(mix=mix, how=how), mix.pour, told)


@logs
def note_in_pour(*, pour: Pour, words: str, told: Told) -> PourNote:
    """Anything worth keeping that no other key fits."""
    _refuse_struck(pour)
    return _of_the_day(PourNote(pour=pour, words=words.strip()), pour, told)


@logs
def try_sound(*, pour: Pour, heard: bool, told: Told) -> SoundTest:
    """Whether the knocks of an alarm are heard over the shed."""
    _refuse_struck(pour)
    return _of_the_day(SoundTest(pour=pour, heard=heard), pour, told)


@logs
def take_alarm(*, pour: Pour, code: str, rank: AlarmRank, told: Told) -> AlarmTaken:
    """Somebody has an alarm in hand; it is silent from here on every tablet, and not closed by that."""
    _refuse_struck(pour)
    return _of_the_day(AlarmTaken(pour=pour, code=code, rank=rank), pour, told)


@logs
def answer_question(*, pour: Pour, question: str, words: str, told: Told) -> PourAnswer:
    """An answer in words to something the pour has left open."""
    _refuse_struck(pour)
    return _of_the_day(PourAnswer(pour=pour, question=question, words=words.strip()), pour, told)


def _of_the_day(row: DayRow, pour: Pour, told: Told) -> DayRow:
    return append(row, told=told, about=pour.part.hull.number)


def _refuse_struck(pour: Pour) -> None:
    if not Pour.objects.current().filter(pk=pour.pk).exists():
        raise Refused(f"Pour {pour.number} of {pour.part} is struck out; nothing is logged in it.")


def _refuse_other_pour(pour: Pour, mix: Mix | None) -> None:
    if mix is not None and mix.pour_id != pour.pk:
        raise Refused({"mix": f"Pail {mix.pail_number} was mixed for another pour."})


# ---- What the yard has tried, and the pour plan


@logs
def log_gel_cup(
    *,
    system: ResinSystem,
    resin_lot: Lot,
    catalyst_lot: Lot,
    dose_phr: float,
    temperature_c: float,
    gel_min: float,
    thermometer: Instrument,
    told: Told,
) -> GelCup:
    """A cup of the yard's own: what it was mixed of, how warm it stood, and when it gelled."""
    problems = {
        field: f"{lot.code} is {lot.material.code}, not the {material.code} of {system.code}."
        for field, lot, material in (
            ("resin_lot", resin_lot, system.resin),
            ("catalyst_lot", catalyst_lot, system.catalyst),
        )
        if lot.material_id != material.pk
    }
    if problems:
        raise Refused(problems)
    require_dose(dose_phr, second_part(system))
    try:
        Cup(dose_phr, temperature_c, gel_min)  # what no fit could be made with does not go into the book
    except InputRefused as refused:
        raise Refused({"gel_min" if refused.field == "minutes" else refused.field: f"{refused}."}) from refused
    cup = GelCup(
        system=system,
        resin_lot=resin_lot,
        catalyst_lot=catalyst_lot,
        dose_phr=dose_phr,
        temperature_c=temperature_c,
        gel_min=gel_min,
        thermometer=thermometer,
    )
    return append(cup, told=told)


@logs
def log_trial_panel(
    *,
    zone: Zone,
    medium: Material | None,
    system: ResinSystem,
    resin_temperature_c: float,
    station_pressure_mbar: float,
    gauge_kind: GaugeKind,
    gauge_mbar: float,
    readings: Sequence[tuple[float, float]],
    words: str,
    told: Told,
) -> TrialPanel:
    """A panel filled from one edge, as (minute, mm of the front); its permeability is fitted and kept with it."""
    fitted = fitted_panel(
        zone=zone,
        medium=medium,
        system=system,
        resin_temperature_c=resin_temperature_c,
        station_pressure_mbar=station_pressure_mbar,
        gauge_kind=gauge_kind,
        gauge_mbar=gauge_mbar,
        readings=readings,
        words=words.strip(),
    )
    lines = [TrialReading(panel=fitted.panel, minute=minute, front_mm=front_mm) for minute, front_mm in readings]
    return append(fitted.panel, [*lines, *judgements([fitted.start_verdict])], told=told)


@logs
def read_pour_plan(*, view: PourPlanView, told: Told) -> PourPlan:
    """Keep a pour plan just worked out as it was read to the crew: from here on the pour is held against it."""
    if not view.read_to:
        raise Refused({"read_to": "Say who was there when it was read."})
    read_to = {f"read_to {one.who}": one.who for one in view.read_to}
    require_crew(**read_to, **{f"places {one.who}": one.who for one in view.places})
    if changed := what_has_changed(view):
        raise Refused(f"{' '.join(changed)} Work the plan out anew.")
    plan = view.plan
    plan.number = PourPlan.objects.filter(part=plan.part).count() + 1
    return append(plan, [*view.rows, *judgements([view.verdict])], told=told, about=plan.part.hull.number)
