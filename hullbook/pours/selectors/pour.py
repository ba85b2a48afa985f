"""The pour: pails with their gel clocks, what was left over, what is asked."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import hypot, sqrt

from django.http import Http404
from django.utils import timezone

from hullbook.calc.balance import Weighed
from hullbook.calc.errors import InputRefused
from hullbook.calc.gel import GelTable, gel_time_along
from hullbook.calc.statistics import resolution_uncertainty
from hullbook.hulls.models import Part
from hullbook.hulls.selectors import part_for
from hullbook.pours.enums import ComponentRole
from hullbook.pours.models import (
    Gel,
    Mix,
    MixComponent,
    Pour,
    PourClosed,
    Remainder,
)
from hullbook.pours.selectors.day import pour_day, with_all
from hullbook.pours.selectors.plan import WorkedOutPlan, plan_view
from hullbook.pours.selectors.tried import gel_table_of_day
from hullbook.quantities.reading import SPELLINGS, convert, own_spelling
from hullbook.quantities.showing import show, show_number
from hullbook.records.models import Judgement
from hullbook.records.services import Refused
from hullbook.yard.models import Instrument, Person
from hullbook.yard.perms import Act


@dataclass(frozen=True)
class GelClock:
    """When a pail will gel by the gel times of the day, counted from its own mixing; `words` where they do not say."""

    low_minutes: float | None
    mid_minutes: float | None
    high_minutes: float | None
    elapsed_minutes: float
    words: str

    @property
    def left_minutes(self) -> float | None:
        """To the earliest gel; below nought when that has passed."""
        return None if self.low_minutes is None else self.low_minutes - self.elapsed_minutes


@dataclass(frozen=True)
class MixView:
    mix: Mix
    resins: tuple[MixComponent, ...]
    catalysts: tuple[MixComponent, ...]
    additions: tuple[MixComponent, ...]
    judgements: tuple[Judgement, ...]
    gel_clock: GelClock
    gels: tuple["GelView", ...]

    @property
    def resin_kg(self) -> float:
        return sum(one.mass_kg for one in self.resins)

    @property
    def catalyst_kg(self) -> float:
        return sum(one.mass_kg for one in self.catalysts)

    @property
    def catalyst_g(self) -> float:
        return 1000 * self.catalyst_kg

    @property
    def mixed_kg(self) -> float:
        return self.resin_kg + self.catalyst_kg + sum(one.mass_kg for one in self.additions)

    @property
    def is_current(self) -> bool:
        return self.mix.is_current

    @property
    def struck_words(self) -> str:
        """Why there is a line through it."""
        if hasattr(self.mix, "corrected_by"):
            return f"put right in entry {self.mix.corrected_by.pk}: {self.mix.corrected_by.reason}"
        return f"struck out: {self.mix.entry.struck_out.reason}" if hasattr(self.mix.entry, "struck_out") else ""

    @property
    def open_judgements(self) -> tuple[Judgement, ...]:
        return tuple(one for one in self.judgements if one.level in ("conditional fail", "fail"))

    @property
    def lots(self) -> tuple[MixComponent, ...]:
        return (*self.resins, *self.catalysts, *self.additions)


@dataclass(frozen=True)
class GelView:
    gel: Gel
    minutes_since_mix: float | None


@dataclass(frozen=True)
class SamePail:
    """One pail number logged more than once: one pail or two?"""

    pail_number: int
    mixes: tuple[MixView, ...]

    @property
    def sentence(self) -> str:
        how_often = {2: "twice", 3: "three times"}.get(len(self.mixes), f"{len(self.mixes)} times")
        told = ", ".join(
            f"{view.mixed_kg:.2f} kg {view.mix.entry.person} {timezone.localtime(view.mix.entry.happened_at):%H:%M:%S}"
            for view in self.mixes
        )
        return f"Pail {self.pail_number} was logged {how_often}: {told}. One pail or two?"


@dataclass(frozen=True)
class PourView:
    pour: Pour
    plan: WorkedOutPlan
    mixes: tuple[MixView, ...]
    remainders: tuple[Remainder, ...]
    gels: tuple[GelView, ...]
    closing: PourClosed | None
    judgements: tuple[Judgement, ...]
    confirmed: tuple[dict[str, str], ...]
    lost_kg: float

    @property
    def current_mixes(self) -> tuple[MixView, ...]:
        return tuple(view for view in self.mixes if view.is_current)

    @property
    def mixed_kg(self) -> float:
        """Everything mixed, the same pail logged twice counted twice until the question is answered."""
        return sum(view.mixed_kg for view in self.current_mixes)

    @property
    def found_kg(self) -> float:
        """Found again outside the part, strippings and pails."""
        return sum(one.mass_kg for one in self.remainders if one.is_current)

    @property
    def left_to_expected_kg(self) -> float:
        """What was weighed back from pails dumped, spoilt or gelled is mixed anew."""
        return max(0.0, self.plan.plan.mean_kg - self.mixed_kg + self.lost_kg)

    @property
    def left_to_enough_kg(self) -> float:
        return max(0.0, self.plan.plan.upper_kg - self.mixed_kg + self.lost_kg)

    @property
    def pail_kg(self) -> float:
        return self.plan.figures["pail_kg"]

    @property
    def next_pail_number(self) -> int:
        return max((view.mix.pail_number for view in self.current_mixes), default=0) + 1

    @property
    def same_pails(self) -> tuple[SamePail, ...]:
        by_number: dict[int, list[MixView]] = defaultdict(list)
        for view in self.current_mixes:
            by_number[view.mix.pail_number].append(view)
        return tuple(SamePail(number, tuple(views)) for number, views in sorted(by_number.items()) if len(views) > 1)

    @property
    def is_open(self) -> bool:
        return self.closing is None


def pour_for(person: Person, act: Act, *, hull: str, part: str, no: int) -> Pour:
    """The pour a person may do this to: 404 where there is none, refused without the right."""
    found = part_for(person, act, hull, part)
    pour = (
        Pour.objects.filter(part=found, number=no)
        .select_related("entry", "part__hull", "plan__revision", "plan__system__resin", "plan__system__catalyst")
        .first()
    )
    if pour is None:
        raise Http404(f"{found} has no pour {no}")
    return pour


def pours_of(part: Part) -> list[Pour]:
    return list(Pour.objects.current().filter(part=part).select_related("entry").order_by("number"))


def open_pour(part: Part) -> Pour | None:
    closed = PourClosed.objects.current().values("pour")
    return Pour.objects.current().filter(part=part).exclude(pk__in=closed).order_by("-number").first()


def pour_view(pour: Pour, now: datetime | None = None) -> PourView:
    """A pour as it stands. Pails that were corrected or struck out stay in the list and out of the sums."""
    now = now or timezone.now()
    day = pour_day(pour)
    closing = day.closing
    table = gel_table_of_day(pour.plan.system, timezone.localdate(pour.entry.happened_at))
    gels = Gel.objects.current().filter(pour=pour).select_related("entry", "mix__entry").order_by("entry__happened_at")
    gel_views = [_gel_view(gel) for gel in gels]
    until = now if closing is None else min(now, closing.entry.happened_at)
    mixes = with_all(Mix.objects.filter(pour=pour))
    remainders = Remainder.objects.filter(pour=pour).select_related(
        "entry", "entry__struck_out", "corrected_by", "mix", "scale"
    )
    return PourView(
        pour=pour,
        plan=plan_view(pour.plan),
        mixes=tuple(_mix_view(mix, table, until, gel_views, day.temperatures_of(mix)) for mix in mixes),
        remainders=tuple(remainders.order_by("pk")),
        gels=tuple(gel_views),
        closing=closing,
        judgements=tuple(pour.entry.judgements.all()),
        confirmed=tuple(pour.entry.confirmed),
        lost_kg=day.lost_kg,
    )


def _gel_view(gel: Gel) -> GelView:
    if gel.mix is None:
        return GelView(gel, None)
    return GelView(gel, (gel.entry.happened_at - gel.mix.entry.happened_at).total_seconds() / 60)


def _mix_view(
    mix: Mix, table: GelTable | str, until: datetime, gels: list[GelView], temperatures: Sequence[tuple[float, float]]
) -> MixView:
    by_role: dict[str, list[MixComponent]] = defaultdict(list)
    for component in mix.components.all():
        by_role[component.role].append(component)
    own_gels = tuple(view for view in gels if view.gel.mix_id == mix.pk)
    gelled_at = min((view.gel.entry.happened_at for view in own_gels), default=until)
    elapsed = max(0.0, (min(until, gelled_at) - mix.entry.happened_at).total_seconds() / 60)
    return MixView(
        mix=mix,
        resins=tuple(by_role[ComponentRole.RESIN]),
        catalysts=tuple(by_role[ComponentRole.CATALYST]),
        additions=tuple(by_role[ComponentRole.ADDITION]),
        judgements=tuple(mix.entry.judgements.all()),
        gel_clock=gel_clock(table, mix.dose_phr, temperatures, elapsed),
        gels=own_gels,
    )


def gel_clock(
    table: GelTable | str, dose_phr: float, temperatures: Sequence[tuple[float, float]], elapsed_minutes: float
) -> GelClock:
    """By the temperature at mixing and those read since, each as (minutes from mixing, °C)."""
    if isinstance(table, str):
        return GelClock(None, None, None, elapsed_minutes, table)
    try:
        minutes, temperatures_c = zip(*temperatures, strict=True)
        time = gel_time_along(table, dose_phr, minutes, temperatures_c)
    except InputRefused:
        return GelClock(None, None, None, elapsed_minutes, _what_it_covers(table))
    words = "a little past the temperatures of the gel table" if time.extrapolated else ""
    return GelClock(time.low_minutes, time.mid_minutes, time.high_minutes, elapsed_minutes, words)


def _what_it_covers(table: GelTable) -> str:
    doses, temperatures = table.doses_phr, table.temperatures_c
    return (
        f"not in the gel table, which covers {show_number(doses[0], 'phr')} to {show(doses[-1], 'phr')} "
        f"at {show_number(temperatures[0], 'degC')} to {show(temperatures[-1], 'degC')}"
    )


def resolution_in(instrument: Instrument, stored_unit: str) -> float:
    """One step of an instrument's display in another unit of the same table; refused where it shows something else."""
    spellings = SPELLINGS[stored_unit]
    if instrument.unit not in spellings:
        accepted = ", ".join(spelling for spelling in spellings if spelling)
        raise Refused(f"{instrument.code} shows {instrument.unit or 'no unit'}; choose an instrument in {accepted}.")
    return convert(instrument.resolution, instrument.unit, own_spelling(stored_unit), stored_unit)


def resin_mixed(part: Part) -> tuple[Weighed, ...]:
    """Every pail mixed for a part, resin, catalyst and additions together, with what its scales can tell apart."""
    mixes = Mix.objects.current().filter(pour__part=part, pour__in=Pour.objects.current())
    return tuple(_weighed(mix) for mix in with_all(mixes))


def _weighed(mix: Mix) -> Weighed:
    scales = {ComponentRole.CATALYST: mix.catalyst_scale}
    components = list(mix.components.all())
    # Net of its tare, each mass carries two roundings of its scale.
    roundings = [
        sqrt(2) * resolution_uncertainty(resolution_in(scales.get(ComponentRole(one.role), mix.scale), "kg"))
        for one in components
    ]
    return Weighed(f"pail {mix.pail_number}", sum(one.mass_kg for one in components), hypot(*roundings))
