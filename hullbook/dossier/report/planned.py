"""Chapter K, the pour plan as it was read to the crew, and how the pour went against it."""

from hullbook.dossier.report.entries import Story
from hullbook.dossier.report.paper import SMALL, SUBHEAD, Column, table, titled, words
from hullbook.dossier.selectors import PartTold, PourTold, ReadPlan, moment
from hullbook.materials.enums import SourceKind
from hullbook.pours.enums import GelPlace, PlanOrderKind
from hullbook.quantities.showing import NOT_KNOWN, show, show_number

AT_THE_PLACE_MM = 1.0


def pour_plan(part: PartTold, read: ReadPlan) -> Story:
    """Dose, fill and gel planned, the crew and the stops, and every figure with its source."""
    plan = read.plan.row
    title = (
        f"{part.part.name}: pour plan {plan.number}, read by {read.plan.entry.person} "
        f"{moment(read.plan.entry.happened_at)}"
    )
    if read.plan.gone:
        return [words(f"{title}: {read.plan.gone}", SUBHEAD)]
    gel = plan.gel_words
    if plan.gel_low_min is not None:
        between = f"{show_number(plan.gel_low_min, 'min', 0)} to {show(plan.gel_high_min, 'min', 0)}"
        gel = f"gel {between} by {plan.gel_words},"
    sums = (
        f"{plan.resin_plan.system.code} at {show(plan.dose_phr, 'phr')}; {show(plan.coldest_c, 'degC')} to "
        f"{show(plan.hottest_c, 'degC')} expected; fill {show(plan.fill_min, 'min', 0)}, factors "
        f"{plan.band_low:.2f} to {plan.band_high:.2f}; {gel} at the hottest. Drawn from the "
        f"pails {show(plan.total_kg, 'kg')}. "
        f"Fill against gel: {' / '.join(one.level for one in read.plan.judgements) or 'not judged'}. Left out of the "
        "sum: resin racing along edges and core joints, swelling at inlets."
    )
    places = "; ".join(f"{one.who}: {one.words}" for one in read.orders if one.kind == PlanOrderKind.PLACE)
    stops = " ".join(one.words for one in read.orders if one.kind == PlanOrderKind.STOP)
    read_to = ", ".join(one.who for one in read.orders if one.kind == PlanOrderKind.READ_TO)
    columns = [
        Column("Figure", 40), Column("Of", 12), Column("Value", 16, figures=True), Column("Kind of source", 28),
        Column("Source", 48),
    ]  # fmt: skip
    lines = [
        (
            one.words,
            one.material.code if one.material else "the plan",
            show(one.value, one.unit),
            SourceKind(one.source_kind).label,
            one.source,
        )
        for one in read.coefficients
    ]
    return [
        *titled(title, words(sums)),
        words(f"Crew: {places}. Stop: {stops} Read to: {read_to}.", SMALL),
        *titled(f"{part.part.name}: what pour plan {plan.number} was worked out from", table(columns, lines)),
    ]


def against_the_plan(part: PartTold, pour: PourTold) -> Story:
    """Where the front was to be and when it was told there, of the plan read last before the pour began."""
    before = [
        one for one in part.pour_plans if one.plan.stands and one.plan.entry.happened_at <= pour.pour.entry.happened_at
    ]
    opened = [move for move in pour.day.moves if move.stands and move.row.move == "open"]
    if not before or not opened:
        return []
    read, first = before[-1], min(move.entry.happened_at for move in opened)
    columns = [
        Column("Station", 10), Column("Side", 14), Column("Place", 20), Column("From the keel, mm", 16, figures=True),
        Column("By the plan, min", 16, figures=True), Column("Told, min", 14, figures=True),
        Column("Later, min", 14, figures=True),
    ]  # fmt: skip
    lines = []
    for one in read.arrivals:
        told = [
            (front.entry.happened_at - first).total_seconds() / 60
            for front in pour.day.fronts
            if front.stands
            and (front.row.station, front.row.side) == (one.station, one.side)
            and front.row.girth_mm >= one.girth_mm - AT_THE_PLACE_MM
        ]
        at = min(told, default=None)
        later = NOT_KNOWN if at is None else show_number(at - one.minute, "min", 0)
        cells = show_number(one.girth_mm, "mm", 0), show_number(one.minute, "min", 0), show_number(at, "min", 0)
        lines.append((one.station, one.side, one.at, *cells, later))
    title = f"{part.part.name}, pour {pour.pour.row.number}: the front against pour plan {read.plan.row.number}"
    return titled(title, table(columns, lines), words(_sentence(read, pour), SMALL))


def _sentence(read: ReadPlan, pour: PourTold) -> str:
    plan = read.plan.row
    doses = [pail.mix.row.dose_phr for pail in pour.pails if pail.mix.stands]
    dose = f"Dose planned {show(plan.dose_phr, 'phr')}"
    if doses:
        dose += f", mixed {show_number(min(doses), 'phr')} to {show(max(doses), 'phr')}"
    mixed = [pail.mix.entry.happened_at for pail in pour.pails if pail.mix.stands]
    gelled = [gel.entry.happened_at for gel in pour.gels if gel.stands and gel.row.at == GelPlace.PART]
    gel = ""
    if mixed and gelled and plan.gel_low_min is not None:
        after = (min(gelled) - min(mixed)).total_seconds() / 60
        gel = (
            f" Gel in the part told {show(after, 'min', 0)} after the first pail, planned from "
            f"{show(plan.gel_low_min, 'min', 0)}."
        )
    return f"{dose}. Minutes from the first inlet opened.{gel}"
