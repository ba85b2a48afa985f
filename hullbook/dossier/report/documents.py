"""Chapters C to G: documents, people, instruments, materials, and the air of the workshop."""

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence

from reportlab.platypus import Flowable

from hullbook.dossier.report.drawn import Drawn
from hullbook.dossier.report.entries import Story, clock, line_of, verdict_words
from hullbook.dossier.report.paper import ROOM, SMALL, SUBHEAD, Block, Column, table, titled, words
from hullbook.dossier.selectors import DossierContent, Logged, LotUse, moment
from hullbook.drawings.series_plot import Limit, Series, series_plot
from hullbook.materials.enums import SourceKind
from hullbook.materials.selectors import properties_of
from hullbook.quantities.showing import NOT_KNOWN, show, show_number
from hullbook.records.models import Judgement
from hullbook.yard.models import ClimateReading

PLOT = ROOM * 0.7
LONGEST_JOINED = dt.timedelta(hours=12)


def documents(content: DossierContent) -> Story:
    story: Story = []
    columns = [
        Column("Part", 13), Column("Schedule", 23), Column("Drawn by", 9), Column("Signed", 24),
        Column("Follows", 30), Column("In force from", 22),
    ]  # fmt: skip
    lines = []
    for part in content.parts:
        for taken in part.documents.in_force:
            revision = taken.row.revision
            signed = part.documents.signed.get(revision.pk)
            signed_words = f"{signed.entry.person} {moment(signed.entry.happened_at)}" if signed else "not signed"
            lines.append(
                line_of(
                    taken,
                    part.part.name,
                    str(revision),
                    revision.drawn_by,
                    signed_words,
                    signed.approval if signed else NOT_KNOWN,
                    f"entry {taken.row.pk}, {moment(taken.entry.happened_at)}",
                )
            )
    story.append(table(columns, lines) if lines else words("No schedule has been taken into force."))
    story.append(
        words(
            "How limits are judged: with U the expanded uncertainty (k = 2), inside the limit by more than U is a "
            "pass, inside by less a conditional pass, outside by less than U a conditional fail, outside by more a "
            "fail (the four words of ILAC-G8:09/2019, 4.2.3). Each limit is the yard's own or the maker's and is "
            "named beside its verdict; a verdict stays as it was given on its day.",
            SMALL,
        )
    )
    return story


def people(content: DossierContent) -> Story:
    columns = [
        Column("Initials", 10),
        Column("Name", 34),
        Column("Roles, from", 60),
        Column("Entries", 10, figures=True),
    ]
    lines = [
        (
            use.person.initials,
            use.person.full_name,
            "; ".join(
                f"{change.row.get_role_display()} {'from' if change.row.holds else 'until'} {clock(change)[:10]}"
                for change in use.roles
                if change.stands
            ),
            use.entries,
        )
        for use in content.people
    ]
    return [table(columns, lines)]


def instruments(content: DossierContent) -> Story:
    story: Story = []
    if not content.instruments:
        return story
    columns = [
        Column("Id", 9), Column("Instrument", 24), Column("Serial no.", 14), Column("Shows to", 13, figures=True),
        Column("U of reading (k = 2), %", 14, figures=True), Column("Calibrated", 15), Column("Due", 15),
        Column("Certificate", 14), Column("Uses", 8, figures=True), Column("At use", 24),
    ]  # fmt: skip
    lines = []
    for use in content.instruments:
        instrument = use.instrument
        late = ", ".join(str(number) for number in use.out_of_date)
        state = f"out of date at entries {late}" if late else "in date"
        resolution = f"{instrument.resolution:g} {instrument.unit}".strip()
        first = (instrument.code, instrument.name, instrument.serial_number, resolution)
        if not use.calibrations:
            lines.append((*first, NOT_KNOWN, "never", NOT_KNOWN, NOT_KNOWN, str(use.uses), state))
        for number, calibration in enumerate(use.calibrations):
            lines.append(
                (
                    *(first if number == 0 else ("", "", "", "")),
                    show_number(2 * calibration.standard_uncertainty_percent, "%", 2),
                    f"{calibration.calibrated_on:%Y-%m-%d}",
                    f"{calibration.due_on:%Y-%m-%d}",
                    calibration.certificate_number,
                    str(use.uses) if number == 0 else "",
                    state if number == 0 else "",
                )
            )
    return [*story, table(columns, lines)]


def lots(content: DossierContent) -> Story:
    story: Story = []
    if not content.lots:
        return story
    story += titled("Lots that went into this hull", _lot_table(content.lots))
    story += titled("Where each lot went", _lot_places(content))
    certificates = [(lot, certificate) for lot in content.lots for certificate in lot.certificates]
    columns = [
        Column("Lot", 10), Column("Certificate", 28), Column("Number", 20), Column("Dated", 12),
        Column("SHA-256 of the file as received", 52),
    ]  # fmt: skip
    lines = [
        line_of(
            certificate,
            lot.lot.row.code,
            certificate.row.kind,
            certificate.row.number,
            f"{certificate.row.dated_on:%Y-%m-%d}",
            certificate.row.file.sha256,
        )
        for lot, certificate in certificates
    ]
    story += titled("Certificates", table(columns, lines) if lines else words("None is in the book."))
    return [*story, *titled("Properties used, and where they come from", _property_table(content.lots))]


def _lot_places(content: DossierContent) -> Flowable:
    """From a lot to every place of it: the lines it was laid to, the pails it was mixed in."""
    columns = [Column("Lot", 10), Column("Laid", 70), Column("Mixed", 40)]
    rows = []
    for lot in content.lots:
        laid: dict[str, list[str]] = defaultdict(list)
        mixed: dict[str, list[str]] = defaultdict(list)
        for part in content.parts:
            for laying in part.lay_up.layings:
                if laying.stands and laying.row.lot_id == lot.lot.row.pk:
                    line = str(laying.row.line.number) if laying.row.line else "beside the schedule"
                    laid[f"{part.part.name}, {laying.row.zone.name}"].append(line)
            for pour in part.pours:
                for pail in pour.pails:
                    if pail.mix.stands and lot.lot.row.pk in {one.lot_id for one in pail.components}:
                        mixed[f"{part.part.name}, pour {pour.pour.row.number}"].append(str(pail.mix.row.pail_number))
        rows.append(
            (
                lot.lot.row.code,
                "; ".join(f"{place}: line {', '.join(lines)}" for place, lines in laid.items()) or NOT_KNOWN,
                "; ".join(f"{place}: pail {', '.join(pails)}" for place, pails in mixed.items()) or NOT_KNOWN,
            )
        )
    return table(columns, rows)


def _lot_table(lots_used: Sequence[LotUse]) -> Flowable:
    columns = [
        Column("Lot", 9), Column("Material and maker", 30), Column("Maker's batch", 17), Column("Received", 13),
        Column("Use by", 13), Column("Came in", 13, figures=True), Column("Used here", 13, figures=True),
        Column("State; decided", 30),
    ]  # fmt: skip
    lines = []
    for use in lots_used:
        lot, unit = use.lot.row, use.lot.row.material.stock_unit
        name = f"{use.sheet.name}, {use.sheet.maker}".rstrip(", ") if use.sheet else lot.material.code
        decided = "; ".join(
            f"{decision.row.get_state_display()} {decision.entry.person} {clock(decision)[:10]}"
            + (f", {decision.row.words}" if decision.row.words else "")
            + (" (no longer stands)" if decision.gone else "")
            for decision in use.decisions
        )
        lines.append(
            line_of(
                use.lot,
                lot.code,
                name,
                lot.makers_batch,
                f"{lot.received_on:%Y-%m-%d}",
                f"{lot.use_by:%Y-%m-%d}" if lot.use_by else "none by maker",
                show(lot.received_quantity, unit),
                show(use.used_here, unit),
                decided or "received, not decided",
            )
        )
    return table(columns, lines)


def _property_table(lots_used: Sequence[LotUse]) -> Flowable:
    columns = [
        Column("Material", 24), Column("Property", 36), Column("Value", 18, figures=True), Column("Kind of source", 20),
        Column("Source", 42),
    ]  # fmt: skip
    lines = []
    for sheet, properties in {use.sheet: use.properties for use in lots_used if use.sheet}.items():
        known = properties_of(sheet.material.kind)
        for number, one in enumerate(properties):
            kind = known.get(one.name)
            label, unit = (kind.label, kind.unit) if kind else (one.name, "")
            source_kind = SourceKind(one.source_kind).label
            value = show(one.value, unit) if unit else f"{one.value:g}"
            lines.append((sheet.name if number == 0 else "", label, value, source_kind, one.source))
    return table(columns, lines)


def climate(content: DossierContent) -> Story:
    story: Story = []
    if not content.climate:
        return story
    standing = [reading for reading in content.climate if reading.stands]
    if standing:
        story += _climate_plots(standing)
    columns = [
        Column("Time (UTC)", 18), Column("Place", 16), Column("Air, °C", 9, figures=True),
        Column("Humidity, %", 11, figures=True), Column("Surface, °C", 10, figures=True),
        Column("Dew point, °C", 10, figures=True), Column("Instruments", 15), Column("By", 6), Column("Verdict", 33),
    ]  # fmt: skip
    lines = [
        line_of(
            reading,
            clock(reading),
            reading.row.place or reading.row.bay.name,
            show_number(reading.row.air_temperature_c, "degC"),
            show_number(reading.row.humidity_percent, "%"),
            show_number(reading.row.surface_temperature_c, "degC"),
            show_number(reading.row.dew_point_c, "degC"),
            f"{reading.row.thermometer.code}, {reading.row.hygrometer.code}",
            reading.entry.person,
            verdict_words(reading.judgements),
        )
        for reading in content.climate
    ]
    used = [found for reading in content.climate for found in (reading.row.thermometer, reading.row.hygrometer)]
    return [*story, table(columns, lines), words(f"Instruments: {content.instrument_words(*used)}.", SMALL)]


def _climate_plots(standing: Sequence[Logged[ClimateReading]]) -> Story:
    start = standing[0].entry.happened_at
    x_label = f"days from {moment(start)}"
    limits = {judgement.code: judgement for reading in standing for judgement in reading.judgements}
    temperatures = series_plot(
        [
            Series("air", _over_time(standing, "air_temperature_c")),
            *_if_read("surface", _over_time(standing, "surface_temperature_c")),
            Series("dew point", _over_time(standing, "dew_point_c")),
        ],
        x_label=x_label,
        y_label="°C",
        title="Air, surface and dew point",
        limits=_limits(limits.get("air temperature"), "air"),
    )
    humidity = series_plot(
        [Series("humidity", _over_time(standing, "humidity_percent"))],
        x_label=x_label,
        y_label="% relative humidity",
        title="Humidity",
        limits=_limits(limits.get("air humidity"), "air"),
    )
    caption = (
        f"{len(standing)} readings; lines are left open where more than {LONGEST_JOINED.seconds // 3600} h lie between "
        "two of them. Limits are the yard's own as they were on the last day."
    )
    return [
        Block(words("Air, surface and dew point", SUBHEAD), Drawn(temperatures, PLOT)),
        Block(words("Relative humidity", SUBHEAD), Drawn(humidity, PLOT), words(caption, SMALL)),
    ]


def _over_time(standing: Sequence[Logged[ClimateReading]], column: str) -> list[tuple[float, float | None]]:
    start, before = standing[0].entry.happened_at, standing[0].entry.happened_at
    points: list[tuple[float, float | None]] = []
    for reading in standing:
        at = reading.entry.happened_at
        days = (at - start).total_seconds() / 86_400
        if at - before > LONGEST_JOINED:
            points.append((days, None))
        points.append((days, getattr(reading.row, column)))
        before = at
    return points


def _if_read(name: str, points: list[tuple[float, float | None]]) -> list[Series]:
    return [Series(name, points)] if any(value is not None for _, value in points) else []


def _limits(judgement: Judgement | None, what: str) -> list[Limit]:
    if judgement is None:
        return []
    low = [Limit(judgement.low, f"{what} at least {judgement.low:g}", "below")] if judgement.low is not None else []
    high = [Limit(judgement.high, f"{what} at most {judgement.high:g}", "above")] if judgement.high is not None else []
    return [*low, *high]
