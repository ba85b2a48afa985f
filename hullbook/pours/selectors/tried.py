"""What the yard knows of cloth and resin, by sheets and by its own trials: stacks as a way for resin, panels, cups."""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import cast

from django.utils import timezone

from hullbook.calc.errors import InputRefused
from hullbook.calc.flow import driving_pressure_pa
from hullbook.calc.gel import (
    Cup,
    GelBand,
    GelFit,
    GelLaw,
    GelTable,
    band_of_table,
    day_factor,
    fit_cups,
    law_of_table,
    outlying_cups,
    with_prior,
)
from hullbook.calc.permeability import (
    Crossed,
    Layer,
    Trial,
    effective_medium,
    fit_trial,
    lag_length_m,
    medium_layer,
)
from hullbook.calc.verdict import Level, Verdict
from hullbook.calc.viscosity import ViscosityPoint, viscosity_curve, viscosity_pa_s_at
from hullbook.hulls.models import Zone
from hullbook.hulls.selectors import LineView, ZoneView, schedule_view
from hullbook.materials.enums import MaterialKind
from hullbook.materials.models import Material, ResinSystem
from hullbook.materials.selectors import KnownValue, SheetInForce, gel_table, properties_in_force
from hullbook.pours.enums import GaugeKind
from hullbook.pours.models import GelCup, ResinPlan, TrialPanel
from hullbook.quantities import tables
from hullbook.quantities.showing import show, show_number
from hullbook.records.models import Entry

UM2_PER_M2 = 1e12
MM = 1000.0
VISCOSITY_POINTS = (
    ("viscosity_pa_s", "viscosity_at_c"),
    ("second_viscosity_pa_s", "second_viscosity_at_c"),
    ("third_viscosity_pa_s", "third_viscosity_at_c"),
)

START_CODE = "trial.start"
MEDIUM_WANTS = ("thickness_mm", "areal_weight_kg_m2", "polymer_density_kg_m3", "permeability_um2")
"""What a flow medium is a layer by, in the order in which `medium_layer` takes it."""


def viscosity_points(sheet: SheetInForce) -> list[ViscosityPoint]:
    """The viscosities a resin's sheet gives together with their temperatures."""
    return [
        ViscosityPoint(sheet.values[at].value, sheet.values[viscosity].value)
        for viscosity, at in VISCOSITY_POINTS
        if viscosity in sheet.values and at in sheet.values
    ]


# ---- The stack as a way for the resin


@dataclass(frozen=True)
class StackKind:
    """What a stack is laid of, by material: a trial panel speaks for stacks of what it had itself."""

    medium: int | None
    cores: frozenset[int]
    cloths: frozenset[int]

    def is_tried_by(self, panel: "StackKind") -> bool:
        """Under the same medium, on the same core, of no cloth that the panel did not have."""
        return (self.medium, self.cores) == (panel.medium, panel.cores) and self.cloths <= panel.cloths


def stack_kind(materials: Iterable[Material], medium: int | None) -> StackKind:
    """The kind of a stack of these cloths and cores, under a flow medium of this id."""
    laid = list(materials)
    cores = frozenset(one.pk for one in laid if one.kind == MaterialKind.CORE)
    return StackKind(medium, cores, frozenset(one.pk for one in laid) - cores)


def panel_kind(panel: TrialPanel) -> StackKind:
    """The kind of stack a trial panel was of."""
    return stack_kind((line.material for line in panel.zone.lines.all()), panel.medium_id)


@dataclass(frozen=True)
class StackWay:
    """A zone's plies and what lies over them as one layer along the flow, and the figures behind it.

    `crossed` is what resin crosses from the medium to the lower face; empty without medium, and while a sheet does not
    give how permeable it is that way.
    """

    layer: Layer
    laminate: Layer
    medium: Layer | None
    crossed: tuple[Crossed, ...]
    used: tuple[tuple[Material, str, KnownValue], ...]

    @property
    def lag_m(self) -> float | None:
        """How far the medium runs ahead; None where that is not known."""
        if self.medium is None or not self.crossed:
            return None
        return lag_length_m(self.medium, self.laminate.porosity, self.crossed)


def stack_way(zone: ZoneView, medium: SheetInForce | None, peel_ply: SheetInForce | None) -> StackWay:
    """Plies of both skins and the flow medium side by side, weighted by thickness; a core's own grooves are left out.

    Raises InputRefused where a sheet lacks a value.
    """
    used: list[tuple[Material, str, KnownValue]] = []
    plies = [_ply_layer(line, used) for line in zone.plies]
    laminate = effective_medium(plies)
    if medium is None:
        return StackWay(laminate, laminate, None, (), tuple(used))
    thickness_mm, weight, density, permeability = (_known(medium, name, used) for name in MEDIUM_WANTS)
    over = medium_layer(thickness_mm, weight, density, permeability / UM2_PER_M2)
    crossed = _crossed(zone.plies, peel_ply, used)
    return StackWay(effective_medium([over, laminate]), laminate, over, crossed, tuple(used))


def _ply_layer(line: LineView, used: list[tuple[Material, str, KnownValue]]) -> Layer:
    if line.ply is None:
        raise InputRefused("missing", line.line.material.code, "no thickness", line.lacking or "look at its sheet")
    permeability = _known(line.sheet, "permeability_um2", used)
    return Layer(line.ply.thickness_mm, 1 - line.ply.fibre_volume_fraction, permeability / UM2_PER_M2)


def _known(sheet: SheetInForce, name: str, used: list[tuple[Material, str, KnownValue]]) -> float:
    known = sheet.values.get(name)
    if known is None:
        raise InputRefused("missing", sheet.material.code, f"no {name}", "give it in a newer sheet")
    used.append((sheet.material, name, known))
    return known.value


def _crossed(
    plies: Sequence[LineView], peel_ply: SheetInForce | None, used: list[tuple[Material, str, KnownValue]]
) -> tuple[Crossed, ...]:
    """Plies and peel ply as resin crosses them; empty while a sheet does not give how."""
    name = "permeability_through_um2"
    wanted = [(line.sheet, line.ply.thickness_mm) for line in plies if line.ply is not None]
    if peel_ply is not None:
        wanted.append((peel_ply, peel_ply.value("thickness_mm") or 0.0))
    if any(name not in sheet.values or not thickness_mm for sheet, thickness_mm in wanted):
        return ()
    if peel_ply is not None:
        _known(peel_ply, "thickness_mm", used)
    return tuple(Crossed(thickness_mm, _known(sheet, name, used) / UM2_PER_M2) for sheet, thickness_mm in wanted)


# ---- Trial panels


@dataclass(frozen=True)
class FittedPanel:
    """A trial panel's readings fitted: the row to be logged, and what else the fit says."""

    panel: TrialPanel
    trial: Trial

    @property
    def start_verdict(self) -> Verdict:
        """Whether the front starts ahead further than chance would have it."""
        start, chance = tables.start_values("flow")["intercept_significance"], self.trial.intercept_p
        raced = chance < start.value
        because = "the front starts ahead: resin raced along an edge, or the clock was started late" if raced else ""
        level: Level = "conditional fail" if raced else "pass"
        source = f"{start.source} ({start.status})"[:300]
        return Verdict(level, START_CODE, chance, 0.0, start.value, None, "fraction", source, because)


def fitted_panel(
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
) -> FittedPanel:
    """Fit a panel laid up as a zone, its porosity and thickness worked out as the plan does. Raises InputRefused."""
    resin = properties_in_force([system.resin])[system.resin_id]
    zones = schedule_view(zone.revision, resin.values.get("cured_density_kg_m3")).zones
    view = next(one for one in zones if one.zone.pk == zone.pk)
    sheet = None if medium is None else properties_in_force([medium])[medium.pk]
    layer = stack_way(view, sheet, None).layer
    viscosity = viscosity_pa_s_at(viscosity_curve(viscosity_points(resin)), resin_temperature_c)
    bag_pressure_mbar_abs = gauge_kind.absolute_mbar(gauge_mbar, station_pressure_mbar)
    trial = fit_trial(
        [minute for minute, _ in readings],
        [front_mm / MM for _, front_mm in readings],
        viscosity_pa_s=viscosity,
        porosity=layer.porosity,
        driving_pressure_pa=driving_pressure_pa(station_pressure_mbar, bag_pressure_mbar_abs),
        hull_against_panel_sd=tables.start_values("flow")["hull_against_panel_sd"].value,
    )
    panel = TrialPanel(
        zone=zone,
        medium=medium,
        system=system,
        resin_temperature_c=resin_temperature_c,
        viscosity_pa_s=viscosity,
        station_pressure_mbar=station_pressure_mbar,
        bag_pressure_mbar_abs=bag_pressure_mbar_abs,
        thickness_mm=layer.thickness_mm,
        porosity=layer.porosity,
        by_sheets_um2=layer.permeability_m2 * UM2_PER_M2,
        permeability_um2=trial.permeability_m2 * UM2_PER_M2,
        relative_sd=trial.relative_sd,
        words=words,
    )
    return FittedPanel(panel, trial)


def trial_for(plan: ResinPlan) -> TrialPanel | None:
    """The latest sound trial panel of a plan's resin system that speaks for a zone of it under the plan's medium.

    A panel whose front started ahead says how resin races, not how it runs.
    """
    medium = plan.inputs.get(name="medium_coverage_m2").material_id
    zones = plan.revision.zones.prefetch_related("lines__material")
    kinds = [stack_kind((line.material for line in zone.lines.all()), medium) for zone in zones]
    sound = TrialPanel.objects.current().filter(
        system=plan.system, medium=medium, entry__judgements__code=START_CODE, entry__judgements__level="pass"
    )
    related = sound.select_related("entry", "zone__revision__boat_model", "medium")
    latest = related.prefetch_related("zone__lines__material").order_by("-pk")
    kind_of = ((panel, panel_kind(panel)) for panel in latest)
    return next((panel for panel, had in kind_of if any(kind.is_tried_by(had) for kind in kinds)), None)


# ---- Gel


@dataclass(frozen=True)
class KnownGel:
    """Gel times of a system: by the maker's table, drawn toward the yard's cups, or by the cups alone.

    Known at these temperatures and doses and between them; doses outside are not asked for.
    """

    law: GelLaw
    temperatures_c: tuple[float, ...]
    doses_phr: tuple[float, ...]
    words: str

    @property
    def low_phr(self) -> float:
        return self.doses_phr[0]

    @property
    def high_phr(self) -> float:
        return self.doses_phr[-1]

    def at(self, dose_phr: float, temperature_c: float) -> GelBand:
        """Band at a dose and a temperature. Raises `extrapolated` outside what it rests on."""
        if not self.low_phr <= dose_phr <= self.high_phr:
            accepted = f"gel times are known for {self.low_phr:g} to {self.high_phr:g} phr"
            raise InputRefused("extrapolated", "dose_phr", dose_phr, accepted)
        return self.law(dose_phr, temperature_c)

    @property
    def table(self) -> GelTable:
        """As a table: the law is straight between its cells, so that a clock read from them follows it."""
        bands = [[self.law(dose, temperature) for dose in self.doses_phr] for temperature in self.temperatures_c]
        return GelTable(
            self.temperatures_c,
            self.doses_phr,
            tuple(tuple(band.low for band in row) for row in bands),
            tuple(tuple(band.high for band in row) for row in bands),
        )


def gel_table_or_why(system: ResinSystem) -> GelTable | str:
    """The maker's gel table, or why there is none to read."""
    try:
        table = gel_table(system)
    except InputRefused as refused:
        return f"the gel table of {system.code} cannot be read: {refused.accepted}"
    return table or f"no gel table is kept for {system.code}"


def gel_table_of_day(system: ResinSystem, day: dt.date) -> GelTable | str:
    """What the clocks of a day's pails go by: the gel times then known, as a table; else why none are."""
    known = known_gel(system, day)
    return known if isinstance(known, str) else known.table


def known_gel(system: ResinSystem, on: dt.date | None = None, before: int | None = None) -> KnownGel | str:
    """What is known of the gel of a system, the yard's own cups before all; else why nothing is.

    `on` is the day of a pour, later cups left out: the latest of that day is held against the others, and their times
    are taken by it. `before` is an entry: what was known when it was made.
    """
    table = gel_table_or_why(system)
    if isinstance(table, str):
        return table
    rows = [row for row in gel_cups(system) if before is None or row.pk < before]
    if on is not None:
        rows = [row for row in rows if _day_of(row) <= on]
    of_the_day = next((row for row in rows if _day_of(row) == on), None)
    known = _known_by(table, cups_of([row for row in rows if row is not of_the_day]))
    return known if of_the_day is None else _by_the_days_cup(known, of_the_day)


def _day_of(row: GelCup) -> dt.date:
    return timezone.localdate(row.entry.happened_at)


def _by_the_days_cup(known: KnownGel, cup: GelCup) -> KnownGel | str:
    start = tables.start_values("gel")["day_cup_ask_beyond_ln"]
    try:
        expected = known.at(cup.dose_phr, cup.temperature_c)
    except InputRefused as refused:
        words = f"{known.words}; the cup of the day, entry {cup.pk}, says nothing of it: {refused.accepted}"
        return replace(known, words=words)
    try:
        factor = day_factor(cup.gel_min, expected.mid, ask_beyond_ln=start.value)
    except InputRefused as refused:
        return f"the cup of the day, entry {cup.pk}, gelled in {show(cup.gel_min, 'min', 0)}; {refused.accepted}"
    return replace(
        known,
        law=lambda dose_phr, temperature_c: GelBand(*(factor * one for one in known.law(dose_phr, temperature_c))),
        words=f"{known.words}; times {show_number(factor, 'ratio', 2)} by the cup of the day, entry {cup.pk}",
    )


def _known_by(table: GelTable, cups: list[Cup]) -> KnownGel:
    if not cups:
        words = "the maker's table alone; no cup of the yard yet"
        return KnownGel(band_of_table(table), table.temperatures_c, table.doses_phr, words)
    count = f"{len(cups)} cup{'' if len(cups) == 1 else 's'} of the yard"
    fit = _drawn_in(law_of_table(table), cups)
    temperatures_c = tuple(sorted({fit.coldest_c, *table.temperatures_c, fit.warmest_c}))
    known = KnownGel(fit.band, temperatures_c, table.doses_phr, f"the maker's table drawn toward {count}")
    try:
        alone = fit_cups(cups)
    except InputRefused:
        return known
    doses = [cup.dose_phr for cup in cups]
    least, most = min(doses), max(doses)

    def law(dose_phr: float, temperature_c: float) -> GelBand:
        is_tried = least <= dose_phr <= most and alone.coldest_c <= temperature_c <= alone.warmest_c
        return alone.band(dose_phr, temperature_c) if is_tried else fit.band(dose_phr, temperature_c)

    words = f"{count}, enough to stand by themselves from {show_number(least, 'phr')} to {show(most, 'phr')}"
    return replace(known, law=law, words=words)


def _drawn_in(law: GelFit, cups: Sequence[Cup]) -> GelFit:
    start = tables.start_values("gel")
    prior_sd = tuple(start[name].value for name in ("prior_sd_ln_time", "prior_sd_b_k", "prior_sd_c"))
    drawn_in = with_prior(
        cups,
        prior=(law.a, law.b_k, law.c),
        prior_sd=cast(tuple[float, float, float], prior_sd),
        scatter=start["cup_scatter_ln_time"].value,
    )
    # What the maker's table covers stays known, however few the cups.
    coldest_c, warmest_c = min(law.coldest_c, drawn_in.coldest_c), max(law.warmest_c, drawn_in.warmest_c)
    return replace(drawn_in, coldest_c=coldest_c, warmest_c=warmest_c)


def cups_of(rows: Sequence[GelCup]) -> list[Cup]:
    """Gel cups as the sums take them."""
    return [Cup(row.dose_phr, row.temperature_c, row.gel_min) for row in rows]


@dataclass(frozen=True)
class CupView:
    """A gel cup with what would have been expected of it, and whether it lies too far off."""

    cup: GelCup
    expected: GelBand | None
    is_off: bool


def cup_views(system: ResinSystem) -> list[CupView]:
    """Every current cup against what is known of the system, the newest first."""
    rows, known = gel_cups(system), known_gel(system)
    try:
        off = set(outlying_cups(cups_of(rows)))
    except InputRefused:
        off = set()
    return [CupView(row, _expected(known, row), place in off) for place, row in enumerate(rows)]


def _expected(known: KnownGel | str, row: GelCup) -> GelBand | None:
    if isinstance(known, str):
        return None
    try:
        return known.at(row.dose_phr, row.temperature_c)
    except InputRefused:
        return None


def gel_cups(system: ResinSystem) -> list[GelCup]:
    """Every current cup of a system, the newest first."""
    cups = GelCup.objects.current().filter(system=system)
    return list(cups.select_related("entry", "resin_lot", "catalyst_lot", "thermometer").order_by("-pk"))


def tried_entry(system: ResinSystem, number: int) -> Entry | None:
    """The entry of a cup or a panel of a system, while it counts."""
    kinds: tuple[type[GelCup | TrialPanel], ...] = (GelCup, TrialPanel)
    found = (kind.objects.current().filter(system=system, pk=number).select_related("entry").first() for kind in kinds)
    return next((row.entry for row in found if row is not None), None)


def panels(system: ResinSystem) -> list[TrialPanel]:
    """Every current trial panel of a system, the newest first."""
    found = TrialPanel.objects.current().filter(system=system)
    return list(
        found.select_related("entry", "zone__revision", "medium")
        .prefetch_related("readings", "entry__judgements")
        .order_by("-pk")
    )
