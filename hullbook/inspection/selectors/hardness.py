"""Hardness sets as they stand, and what they are held against."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean

from django.utils import timezone

from hullbook.calc.hardness import Discarded, HardnessResult, judge_set
from hullbook.calc.statistics import expanded_uncertainty
from hullbook.calc.verdict import Verdict, no_verdict
from hullbook.drawings.scene import Scene
from hullbook.hulls.models import Part
from hullbook.hulls.selectors import Placed, marks_on_the_girth, skin_places
from hullbook.inspection.enums import Surface
from hullbook.inspection.models import HardnessReading, HardnessSet
from hullbook.materials.selectors import sheet_in_force
from hullbook.pours.models import ResinPlan
from hullbook.quantities.tables import hardness_rows
from hullbook.records.models import Judgement, TypedRow
from hullbook.yard.enums import LimitName
from hullbook.yard.models import Calibration
from hullbook.yard.selectors import InstrumentCard, limit_in_force

HARDNESS_MEAN = "hardness.mean"


@dataclass(frozen=True)
class RequiredHardness:
    """The least mean that is wanted, and where that figure comes from."""

    mean: float
    source: str


@dataclass(frozen=True)
class HardnessView:
    """One set with what its readings say; the judgement is the one given when it was logged."""

    hardness_set: HardnessSet
    readings: tuple[HardnessReading, ...]
    result: HardnessResult
    judgement: Judgement | None
    tester: InstrumentCard
    replaced: str

    @property
    def kept(self) -> list[float]:
        return [reading.value for reading in self.readings if not reading.left_out_because]

    @property
    def disc_is_right(self) -> bool:
        return self.hardness_set.disc_low <= self.hardness_set.disc_reading <= self.hardness_set.disc_high


def required_hardness(part: Part) -> RequiredHardness | None:
    """What the sheet of the planned resin asks for, times the yard's own share where it has set one."""
    plan = ResinPlan.objects.current().filter(part=part).select_related("system__resin").order_by("-pk").first()
    if plan is None:
        return None
    sheet = sheet_in_force(plan.system.resin)
    asked = sheet.values.get("required_hardness")
    if asked is None:
        return None
    source = f"{sheet.name}: {asked.value:g}, {asked.source}"
    share = limit_in_force(LimitName.HARDNESS_SHARE)
    if share is None or share.low is None:
        return RequiredHardness(asked.value, source)
    return RequiredHardness(round(asked.value * share.low / 100, 2), f"{share.low:g} % ({share.source}) of {source}")


def hardness_result(
    hardness_set: HardnessSet, readings: Sequence[tuple[float, str]], tester: InstrumentCard
) -> HardnessResult:
    """The mean, the spread and the verdict of a set; raises InputRefused where the readings are none.

    A laminate is read as a reinforced surface, gelcoat as a homogeneous one. When the check disc read outside the range
    that is marked on it, nothing is judged.
    """
    kept = [value for value, because in readings if not because]
    result = judge_set(
        kept,
        required_mean=hardness_set.required_mean,
        table=hardness_rows(),
        source=hardness_set.required_source,
        reinforced=hardness_set.surface == Surface.LAMINATE,
        discarded=[Discarded(value, because) for value, because in readings if because],
        instrument_expanded_uncertainty=_expanded_uncertainty(tester, kept),
    )
    return replace(result, verdict=_by_the_disc(hardness_set, replace(result.verdict, code=HARDNESS_MEAN)))


def _expanded_uncertainty(tester: InstrumentCard, kept: Sequence[float]) -> float:
    """What the tester's calibration leaves open in the mean; its resolution shows in the spread of the readings."""
    if tester.calibration is None or not kept:
        return 0.0
    return expanded_uncertainty(tester.calibration.standard_uncertainty_percent / 100 * sum(kept) / len(kept))


def _by_the_disc(hardness_set: HardnessSet, verdict: Verdict) -> Verdict:
    low, high, reading = hardness_set.disc_low, hardness_set.disc_high, hardness_set.disc_reading
    if low <= reading <= high:
        return verdict
    because = f"the check disc read {reading:g}, it is marked {low:g} to {high:g}: the set does not count"
    return no_verdict(HARDNESS_MEAN, because, source=hardness_set.required_source)


def hardness_sets(part: Part) -> list[HardnessView]:
    """Every set of a part in the order they were taken, those corrected or struck out too."""
    found = list(
        HardnessSet.objects.filter(part=part)
        .select_related("entry__struck_out", "tester", "corrected_by")
        .prefetch_related("readings", "entry__judgements")
        .order_by("entry__happened_at", "pk")
    )
    testers = {tried.tester_id for tried in found}
    calibrations = list(Calibration.objects.current().filter(instrument__in=testers).order_by("calibrated_on", "pk"))
    return [_view(tried, calibrations) for tried in found]


def _view(hardness_set: HardnessSet, calibrations: Sequence[Calibration]) -> HardnessView:
    readings = tuple(hardness_set.readings.all())
    day = timezone.localdate(hardness_set.entry.happened_at)
    own = [one for one in calibrations if one.instrument_id == hardness_set.tester_id and one.calibrated_on <= day]
    tester = InstrumentCard(hardness_set.tester, own[-1] if own else None, day)
    pairs = [(reading.value, reading.left_out_because) for reading in readings]
    return HardnessView(
        hardness_set=hardness_set,
        readings=readings,
        result=hardness_result(hardness_set, pairs, tester),
        judgement=next((found for found in hardness_set.entry.judgements.all() if found.code == HARDNESS_MEAN), None),
        tester=tester,
        replaced=replaced_words(hardness_set),
    )


def replaced_words(row: TypedRow) -> str:
    """Why a row no longer counts; empty where it does."""
    if hasattr(row.entry, "struck_out"):
        return f"struck out in entry {row.entry.struck_out.pk}: {row.entry.struck_out.reason}"
    if hasattr(row, "corrected_by"):
        return f"corrected in entry {row.corrected_by.pk}: {row.corrected_by.reason}"
    return ""


def hardness_on_the_girth(part: Part, sets: Sequence[HardnessView]) -> Scene | None:
    """The mean of each set where it was tried; a triangle where it is under what was wanted."""
    current = [view for view in sets if not view.replaced and view.kept]
    places = skin_places(view.hardness_set.pk for view in current)
    placed = []
    for view in current:
        if (place := places.get(view.hardness_set.pk)) is not None:
            mean = fmean(view.kept)
            is_enough = mean >= view.hardness_set.required_mean
            placed.append(Placed(place, f"{mean:.0f}", "square" if is_enough else "triangle"))
    return marks_on_the_girth(part, placed, title=f"{part}: mean hardness where it was tried")
