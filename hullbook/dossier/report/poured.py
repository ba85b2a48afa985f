"""Chapters J to L: hold tests, resin planned and poured, gel and cure."""

from collections import defaultdict

from reportlab.platypus import Flowable

from hullbook.calc.balance import Weighed
from hullbook.dossier.report.drawn import Drawn
from hullbook.dossier.report.entries import Story, clock, line_of, verdict_words
from hullbook.dossier.report.paper import ROOM, SMALL, SUBHEAD, Block, Column, abreast, pairs, table, titled, words
from hullbook.dossier.report.planned import against_the_plan, pour_plan
from hullbook.dossier.report.running import feed_lines, time_in, while_it_ran
from hullbook.dossier.selectors import DossierContent, HeldTest, PartTold, PourTold, SetPlan, moment
from hullbook.drawings.planned_used import PlannedUsed, planned_used
from hullbook.drawings.series_plot import Series, series_plot
from hullbook.inspection.selectors import judgement_words
from hullbook.materials.enums import SourceKind
from hullbook.pours.enums import ComponentRole
from hullbook.pours.models import HoldTest
from hullbook.pours.selectors import InputView
from hullbook.quantities.showing import NOT_KNOWN, show, show_number

PLOT = ROOM * 0.7


def hold_tests(content: DossierContent) -> Story:
    story: Story = []
    for part in content.parts:
        standing = [held for held in part.hold_tests if held.test.stands and held.readings]
        if standing:
            scene = series_plot(
                [
                    Series(
                        f"test {held.test.row.number}",
                        [(reading.minute, reading.bag_pressure_mbar_abs) for reading in held.readings],
                    )
                    for held in standing
                ],
                x_label="minutes from the start of each test",
                y_label="bag pressure, mbar absolute",
                title=f"Hold tests of {part.part.name}",
            )
            story.append(Block(words(f"{part.part.name}: bag pressure in each hold test", SUBHEAD), Drawn(scene, PLOT)))
        for held in part.hold_tests:
            story += _hold_test(content, part, held)
    return story


def _hold_test(content: DossierContent, part: PartTold, held: HeldTest) -> Story:
    test = held.test.row
    title = (
        f"{part.part.name}, hold test {test.number}, {moment(held.test.entry.happened_at)}, {held.test.entry.person}"
    )
    if held.test.gone:
        title = f"{title}: {held.test.gone}"
    rate = (
        f"{show(test.rate_mbar_min, 'mbar/min')}, standard uncertainty "
        f"{show(test.rate_standard_uncertainty_mbar_min, 'mbar/min')}"
    )
    judged = [f"{judgement.level}; {judgement_words(judgement)}" for judgement in held.test.judgements]
    facts: list[tuple[str, object]] = [
        ("Gauge", f"{content.instrument_words(test.gauge)}; reads {test.get_gauge_kind_display()}"),
        ("Air pressure, start and end", _air_pressure(test)),
        (
            "Air temperature, start and end",
            f"{show(test.air_temperature_start_c, 'degC')}, {show(test.air_temperature_end_c, 'degC')}",
        ),
        ("Rise over the minutes of the limit", f"{show(test.rise_mbar, 'mbar')} ± "
         f"{show(test.rise_expanded_uncertainty_mbar, 'mbar')} (k = 2)"),
        ("Rate", rate),
        ("Verdict", " / ".join(judged) or "not judged"),
        *((("Words", test.words),) if test.words else ()),
    ]  # fmt: skip
    return [
        Block(words(title, SUBHEAD), pairs(facts)),
        abreast(
            ("Minute", "Shown, mbar", "Bag, mbar abs."),
            [
                (
                    show_number(reading.minute, "min"),
                    show_number(reading.shown_mbar, "mbar"),
                    show_number(reading.bag_pressure_mbar_abs, "mbar"),
                )
                for reading in held.readings
            ],
            struck=not held.test.stands,
        ),
    ]


def _air_pressure(test: HoldTest) -> str:
    if test.station_pressure_start_mbar is None:
        return "not wanted: the gauge is absolute"
    return f"{show(test.station_pressure_start_mbar, 'mbar')}, {show(test.station_pressure_end_mbar, 'mbar')}"


def resin(content: DossierContent) -> Story:
    story: Story = []
    for part in content.parts:
        for plan in part.plans:
            story += _plan(part, plan)
        for laid in part.feeds:
            story += feed_lines(part, laid)
        for read in part.pour_plans:
            story += pour_plan(part, read)
        for pour in part.pours:
            story += _pour(content, part, pour)
            story += while_it_ran(content, part, pour)
            story += against_the_plan(part, pour)
        if part.plans or part.pours:
            story += _planned_against_used(part)
    return story


def _plan(part: PartTold, set_plan: SetPlan) -> Story:
    plan = set_plan.plan.row
    title = (
        f"{part.part.name}: resin plan set by {set_plan.plan.entry.person} {moment(set_plan.plan.entry.happened_at)}"
    )
    if set_plan.plan.gone:
        return [words(f"{title}: {set_plan.plan.gone}", SUBHEAD)]
    sums = (
        f"For {plan.revision} with {plan.system.code}. Low {show(plan.low_kg, 'kg')}, likely "
        f"{show(plan.likely_kg, 'kg')}, high {show(plan.high_kg, 'kg')}; expected {show(plan.mean_kg, 'kg')} with a "
        f"standard deviation of "
        f"{show(plan.sd_kg, 'kg')}; enough at the chance the costs ask for {show(plan.upper_kg, 'kg')}. To have there: "
        f"{plan.containers} containers of {show(plan.container_kg, 'kg')} and {plan.contingency_containers} in reserve."
    )
    columns = [
        Column("For", 22), Column("Zone", 16), Column("Low, kg", 10, figures=True),
        Column("Likely, kg", 10, figures=True), Column("High, kg", 10, figures=True), Column("Kind of source", 18),
        Column("How it was worked out", 48),
    ]  # fmt: skip
    lines = [
        (
            item.get_kind_display(),
            item.zone_name,
            show_number(item.low_kg, "kg"),
            show_number(item.likely_kg, "kg"),
            show_number(item.high_kg, "kg"),
            SourceKind(item.source_kind).label,
            item.source,
        )
        for item in set_plan.items
    ]
    inputs = [
        (
            InputView(one).words,
            InputView(one).shown,
            one.material.code if one.material else "",
            SourceKind(one.source_kind).label,
            one.source,
        )
        for one in set_plan.inputs
    ]
    input_columns = [
        Column("Figure", 28), Column("Value", 16, figures=True), Column("Material", 12), Column("Kind of source", 36),
        Column("Source", 40),
    ]  # fmt: skip
    return [
        *titled(title, words(sums), table(columns, lines)),
        *titled(f"{part.part.name}: what the plan was worked out from", table(input_columns, inputs)),
    ]


def _pour(content: DossierContent, part: PartTold, pour: PourTold) -> Story:
    begun = pour.pour
    title = (
        f"{part.part.name}, pour {begun.row.number}, begun by {begun.entry.person} {moment(begun.entry.happened_at)}"
    )
    story: Story = titled(f"{title}: {begun.gone}" if begun.gone else title)
    if begun.judgements and verdict_words(begun.judgements) != "pass":
        judged = "; ".join(f"{judgement.level}: {judgement_words(judgement)}" for judgement in begun.judgements)
        story.append(words(f"Begun, {judged}."))
    columns = [
        Column("Pail", 6, figures=True), Column("Time (UTC)", 15), Column("Resin, kg", 9, figures=True),
        Column("Catalyst, kg", 10, figures=True), Column("Other, kg", 8, figures=True),
        Column("Dose, % by weight", 10, figures=True), Column("Resin, °C", 8, figures=True), Column("Lots", 21),
        Column("Inlet", 11), Column("Mixed by", 8), Column("Second", 9), Column("Left over, kg", 9, figures=True),
        Column("Verdict", 18),
    ]  # fmt: skip
    lines = []
    left = _left_over(pour)
    for pail in pour.pails:
        mix = pail.mix.row
        lots = ", ".join(component.lot.code for component in pail.components)
        verdict = verdict_words(pail.mix.judgements)
        reason = f"; {mix.lead}: {mix.lead_reason}" if mix.lead_reason else ""
        addition = pail.mass_of(ComponentRole.ADDITION)
        lines.append(
            line_of(
                pail.mix,
                mix.pail_number,
                time_in(pour, pail.mix),
                show_number(pail.mass_of(ComponentRole.RESIN), "kg"),
                show_number(pail.mass_of(ComponentRole.CATALYST), "kg", 3),
                show_number(addition, "kg", 3) if addition else NOT_KNOWN,
                show_number(mix.dose_phr, "phr"),
                show_number(mix.resin_temperature_c, "degC"),
                lots,
                mix.inlet,
                mix.mixed_by,
                mix.second_person or NOT_KNOWN,
                show_number(left.get(mix.pk), "kg"),
                f"{verdict}{reason}",
            )
        )
    standing = sum(pail.mix.stands for pail in pour.pails)
    total = f"Mixed: {standing} pails, {show(pour.mixed_kg, 'kg')} in all, pails that no longer stand left out."
    for number, entries in pour.logged_twice.items():
        told_by = ", ".join(str(entry) for entry in entries)
        total += f" Pail {number} is logged in entries {told_by}: until the yard says which stands, all of them count."
    used = [
        instrument
        for pail in pour.pails
        for instrument in (pail.mix.row.scale, pail.mix.row.catalyst_scale, pail.mix.row.thermometer)
    ]
    story += [table(columns, lines), words(f"{total} Instruments: {content.instrument_words(*used)}.", SMALL)]
    if pour.remainders:
        story += titled(f"{part.part.name}, pour {begun.row.number}: found again outside the part", _remainders(pour))
    for closing in pour.closings:
        said = f": {closing.row.words}" if closing.row.words else ""
        gone = f" ({closing.gone})" if closing.gone else ""
        story.append(words(f"Closed by {closing.entry.person} {moment(closing.entry.happened_at)}{said}{gone}."))
    return story


def _left_over(pour: PourTold) -> dict[int, float]:
    """What was left in each pail, told of the mix that stands where an earlier one was corrected."""
    newer = {pail.mix.row.corrects_id: pail.mix.row.pk for pail in pour.pails if pail.mix.row.corrects_id}
    left: dict[int, float] = defaultdict(float)
    for remainder in pour.remainders:
        mix = remainder.row.mix_id
        while mix in newer:
            mix = newer[mix]
        if remainder.stands and mix is not None:
            left[mix] += remainder.row.mass_kg
    return left


def _remainders(pour: PourTold) -> Flowable:
    columns = [
        Column("Where", 46), Column("Pail", 8, figures=True), Column("Mass, kg", 12, figures=True),
        Column("U (k = 2), kg", 12, figures=True), Column("Scale", 12), Column("Time (UTC)", 20), Column("By", 8),
    ]  # fmt: skip
    lines = [
        line_of(
            remainder,
            remainder.row.get_place_display(),
            remainder.row.mix.pail_number if remainder.row.mix else "",
            show_number(remainder.row.mass_kg, "kg"),
            show_number(2 * remainder.row.standard_uncertainty_kg, "kg"),
            remainder.row.scale.code if remainder.row.scale else NOT_KNOWN,
            clock(remainder),
            remainder.entry.person,
        )
        for remainder in pour.remainders
    ]
    return table(columns, lines)


def _planned_against_used(part: PartTold) -> Story:
    use = part.used
    planned = f"{show(use.planned_kg, 'kg')} ± {show(use.band_kg, 'kg')} (two standard deviations)"
    found = "; ".join(f"{one.name}: {_weighed(one)}" for one in use.found)
    facts: list[tuple[str, object]] = [
        ("Planned, without what stays in pails", planned),
        ("Mixed", _weighed(use.mixed)),
        ("Left in pails", _weighed(use.left_in_pails)),
        ("Used", _weighed(use.used)),
        ("Found again outside the part", found or "nothing logged"),
        ("Planned against used", use.words),
    ]
    if use.comparison is not None:
        facts.append(("Used over planned", show_number(use.comparison.ratio, "ratio")))
    closed = use.mass_balance
    facts.append(("Mass balance", closed.words))
    if closed.balance is not None:
        share = show(closed.balance.unaccounted_percent, "%", 2)
        uncertainty = show(2 * closed.balance.closure_sd_kg, "kg")
        less = f"{show(closed.balance.unaccounted_kg, 'kg')}, {share} of mixed, U (k = 2) {uncertainty}"
        facts.append(("Mixed less found", less))
    if closed.limit is not None:
        bounds = f"{show(closed.limit.low, '%')} to {show(closed.limit.high, '%')}"
        facts.append(("The yard's limit for it", f"{bounds}; {closed.limit.source}"))
    title = f"{part.part.name}: planned against used, and the mass balance"
    story: Story = [Block(words(title, SUBHEAD), pairs(facts))]
    if use.planned_kg is not None and use.band_kg is not None:
        row = PlannedUsed(
            part.part.name,
            use.planned_kg - use.band_kg,
            use.planned_kg,
            use.planned_kg + use.band_kg,
            use.used.mass_kg if use.used else None,
        )
        story.append(Drawn(planned_used([row], unit="kg", title=f"Resin planned and used, {part.part.name}"), PLOT))
    if use.zones:
        columns = [
            Column("Zone", 26), Column("Material", 44), Column("Planned", 18, figures=True),
            Column("Laid", 18, figures=True), Column("Laid over planned", 14, figures=True),
        ]  # fmt: skip
        lines = [
            (
                zone.zone_name,
                zone.name,
                show(zone.planned, zone.unit),
                show(zone.used, zone.unit),
                show_number(zone.ratio, "ratio"),
            )
            for zone in use.zones
        ]
        story += titled(f"{part.part.name}: cloth and core by zone", table(columns, lines))
    return story


def _weighed(weighed: Weighed | None) -> str:
    if weighed is None:
        return "not logged"
    return f"{show(weighed.mass_kg, 'kg')} ± {show(2 * weighed.standard_uncertainty_kg, 'kg')} (k = 2)"


def cure(content: DossierContent) -> Story:
    story: Story = []
    for part in content.parts:
        gels = [gel for pour in part.pours for gel in pour.gels]
        if gels:
            story += titled(f"{part.part.name}: gel", _gels(part))
        if part.cure_readings:
            story += _cure_curves(content, part)
        for demoulding in part.demouldings:
            said = f": {demoulding.row.words}" if demoulding.row.words else ""
            gone = f" ({demoulding.gone})" if demoulding.gone else ""
            when = moment(demoulding.entry.happened_at)
            after = part.cure.hours_to_demould
            hours = f", {show(after, 'h')} after {part.cure.started_by}" if after is not None and not gone else ""
            story.append(words(f"{part.part.name} demoulded by {demoulding.entry.person} {when}{hours}{said}{gone}."))
    return story


def _gels(part: PartTold) -> Flowable:
    columns = [
        Column("Seen", 16), Column("Place", 24), Column("Pail", 8, figures=True), Column("Time (UTC)", 20),
        Column("Minutes from mixing", 16, figures=True), Column("Temperature, °C", 16, figures=True), Column("By", 8),
    ]  # fmt: skip
    mixed_at = {pail.mix.row.pk: pail.mix.entry.happened_at for pour in part.pours for pail in pour.pails}
    lines = []
    for gel in (gel for pour in part.pours for gel in pour.gels):
        start = mixed_at.get(gel.row.mix_id)
        minutes = None if start is None else (gel.entry.happened_at - start).total_seconds() / 60
        lines.append(
            line_of(
                gel,
                gel.row.get_at_display(),
                gel.row.place,
                gel.row.mix.pail_number if gel.row.mix else "",
                clock(gel),
                show_number(minutes, "min"),
                show_number(gel.row.temperature_c, "degC"),
                gel.entry.person,
            )
        )
    return table(columns, lines)


def _cure_curves(content: DossierContent, part: PartTold) -> Story:
    story: Story = []
    if part.cure.curves:
        scene = series_plot(
            [
                Series(curve.place, list(zip(curve.hours, curve.temperatures_c, strict=True)))
                for curve in part.cure.curves
            ],
            x_label="hours",
            y_label="°C",
            title=f"Temperatures of {part.part.name} after gel",
        )
        columns = [
            Column("Place", 26), Column("Readings", 10, figures=True), Column("Highest read, °C", 14, figures=True),
            Column("Peak, °C", 10, figures=True), Column("Peak at, h", 10, figures=True),
            Column("Time above, h", 12, figures=True), Column("Said of it", 44),
        ]  # fmt: skip
        lines = [
            (
                curve.place,
                len(curve.readings),
                show_number(curve.highest.temperature_c, "degC"),
                show_number(curve.exotherm.peak_c if curve.exotherm else None, "degC"),
                show_number(curve.peak_hours, "h"),
                show_number(curve.hours_above, "h"),
                curve.because or ("" if curve.exotherm and curve.exotherm.peak_passed else "the peak is not passed"),
            )
            for curve in part.cure.curves
        ]
        story += [
            Block(words(f"{part.part.name}: temperatures after gel", SUBHEAD), Drawn(scene, PLOT)),
            table(columns, lines),
        ]
        if part.probes_drawn:
            story.append(Block(words(f"{part.part.name}: where it was read", SUBHEAD), Drawn(part.probes_drawn, PLOT)))
            named = ", ".join(f"{number} {curve.place}" for number, curve in enumerate(part.cure.curves, start=1))
            story.append(words(f"Places: {named}.", SMALL))
        if part.cure.started_at:
            start = f"Hours count from {moment(part.cure.started_at)}: {part.cure.started_by}."
            story.append(words(start, SMALL))
        if part.cure.warmth:
            above = f"Time above: at or above {show(part.cure.warmth.above_c, 'degC')}, {part.cure.warmth.source}."
            story.append(words(above, SMALL))
    columns = [
        Column("Time (UTC)", 20), Column("Place", 36), Column("Temperature, °C", 16, figures=True),
        Column("Thermometer", 14), Column("By", 8),
    ]  # fmt: skip
    read = [
        line_of(
            reading,
            clock(reading),
            reading.row.place,
            show_number(reading.row.temperature_c, "degC"),
            reading.row.thermometer.code,
            reading.entry.person,
        )
        for reading in part.cure_readings
    ]
    used = content.instrument_words(*(reading.row.thermometer for reading in part.cure_readings))
    return [*story, table(columns, read, ROOM * 0.75), words(f"Instruments: {used}.", SMALL)]
