"""Chapter K, while resin ran: feed lines and inlets, the front, readings, what went wrong and what was done."""

from collections import Counter
from collections.abc import Iterable
from typing import Any

from hullbook.dossier.report.drawn import Drawn
from hullbook.dossier.report.entries import Story, clock, line_of
from hullbook.dossier.report.paper import (
    ROOM,
    SMALL,
    SUBHEAD,
    Block,
    Column,
    abreast,
    table,
    titled,
    words,
)
from hullbook.dossier.selectors import DossierContent, LaidFeed, Logged, PartTold, PourTold, TroubleTold, moment
from hullbook.drawings.series_plot import Series, series_plot
from hullbook.pours.enums import AlarmRank, ReadingOf
from hullbook.pours.selectors import trouble_place
from hullbook.quantities.showing import NOT_KNOWN, show, show_number

PLOT = ROOM * 0.7
FRONTS_ABREAST = 3


def feed_lines(part: PartTold, laid: LaidFeed) -> Story:
    """Feed lines with their inlets, and the stations the front is logged at."""
    layout = laid.layout
    title = f"{part.part.name}: feed lines, logged by {layout.entry.person} {moment(layout.entry.happened_at)}"
    if layout.gone:
        return [words(f"{title}: {layout.gone}", SUBHEAD)]
    columns = [
        Column("Feed line", 8, figures=True), Column("Name", 20), Column("From the keel, mm", 14, figures=True),
        Column("Side", 12), Column("Opens", 44), Column("Inlets", 30),
    ]  # fmt: skip
    inlets = {
        line.number: ", ".join(
            f"{one.number} {one.get_side_display()}" for one in laid.inlets if one.line_number == line.number
        )
        for line in laid.lines
    }
    lines = [
        (
            line.number,
            line.name,
            show_number(line.girth_mm, "mm", 0),
            line.get_side_display(),
            _opens(line.opens_after, line.opens_front_mm, line.opens_words),
            inlets[line.number] or "none",
        )
        for line in laid.lines
    ]
    stations = "; ".join(f"{one.name}: {show(one.girth_mm, 'mm', 0)}" for one in laid.stations)
    said = f" {layout.row.words}." if layout.row.words else ""
    note = f"From keel to flange, by station: {stations}.{said}"
    return titled(title, table(columns, lines), words(note, SMALL))


def _opens(after: int | None, front_mm: float | None, said: str) -> str:
    if after is None:
        return said or "at the start"
    when = f"when the front of feed line {after} is at {show(front_mm, 'mm', 0)}"
    return f"{when}: {said}" if said else when


def while_it_ran(content: DossierContent, part: PartTold, pour: PourTold) -> Story:
    """Everything of a pour that was logged beside its pails; empty where it was not logged minute by minute."""
    day, name = pour.day, f"{part.part.name}, pour {pour.pour.row.number}"
    story: Story = []
    if day.moves:
        story += titled(f"{name}: inlets opened and shut", _moves(pour))
    if day.fronts:
        story += _fronts(name, pour)
    if day.readings:
        story += _readings(content, name, pour)
    if day.troubles:
        story += titled(f"{name}: what went wrong, and what was done", _troubles(day.troubles))
    story += [words(sentence, SMALL) for sentence in _sentences(pour)]
    if day.answers:
        story += titled(f"{name}: asked after the clamp", _answers(pour))
    return story


def _moves(pour: PourTold) -> Any:
    columns = [Column("Inlet", 10, figures=True), Column("It was", 20), Column("Time (UTC)", 24), Column("By", 10)]
    lines = [
        line_of(
            move,
            move.row.inlet_number,
            "opened" if move.row.move == "open" else "shut",
            time_in(pour, move),
            move.entry.person,
        )
        for move in pour.day.moves
    ]
    return table(columns, lines, ROOM * 0.5)


def _fronts(name: str, pour: PourTold) -> Story:
    """By station and side, in the order of time; those struck out apart, with a line through them."""
    heads = ("Station", "From the keel, mm", "Time (UTC)")
    by_place = sorted(pour.day.fronts, key=lambda one: (one.row.station, one.row.side, one.entry.happened_at))
    standing, gone = _front_cells(pour, by_place, stands=True), _front_cells(pour, by_place, stands=False)
    logged_by = ", ".join(sorted({front.entry.person for front in pour.day.fronts}))
    count = f"{len(standing)} places logged by {logged_by}."
    story = titled(f"{name}: where the front was", abreast(heads, standing, most=FRONTS_ABREAST), words(count, SMALL))
    if gone:
        story.append(abreast(heads, gone, struck=True, most=FRONTS_ABREAST))
    return story


def _front_cells(pour: PourTold, fronts: Iterable[Logged[Any]], *, stands: bool) -> list[tuple[str, ...]]:
    return [
        (
            f"{front.row.station} {front.row.side}",
            show_number(front.row.girth_mm, "mm", 0),
            time_in(pour, front),
        )
        for front in fronts
        if front.stands == stands
    ]


def _readings(content: DossierContent, name: str, pour: PourTold) -> Story:
    columns = [
        Column("Time (UTC)", 18), Column("What", 20), Column("Place", 26), Column("Shown", 14, figures=True),
        Column("Bag, mbar abs.", 14, figures=True), Column("Temperature, °C", 14, figures=True),
        Column("Instrument", 14), Column("By", 8),
    ]  # fmt: skip
    lines = [
        line_of(
            reading,
            time_in(pour, reading),
            reading.row.get_what_display(),
            reading.row.place or NOT_KNOWN,
            show_number(reading.row.gauge_mbar, "mbar"),
            show_number(reading.row.bag_pressure_mbar_abs, "mbar"),
            show_number(reading.row.temperature_c, "degC"),
            reading.row.instrument.code,
            reading.entry.person,
        )
        for reading in pour.day.readings
    ]
    used = content.instrument_words(*(reading.row.instrument for reading in pour.day.readings))
    story = titled(f"{name}: read while resin ran", table(columns, lines), words(f"Instruments: {used}.", SMALL))
    pressures = [
        (_minutes(pour, one), one.row.bag_pressure_mbar_abs)
        for one in pour.day.readings
        if one.stands and one.row.what == ReadingOf.BAG_PRESSURE
    ]
    changes = [
        (_minutes(pour, one.trouble), one.trouble.row.new_gauge_mbar_abs)
        for one in pour.day.troubles
        if one.trouble.stands and one.trouble.row.new_gauge_mbar_abs is not None
    ]
    if len(pressures) > 1:
        series = [Series("bag pressure", pressures)]
        if changes:
            series.append(Series("gauge changed", changes, drawn="points"))
        scene = series_plot(
            series,
            x_label="minutes since the pour was begun",
            y_label="bag pressure, mbar absolute",
            title=f"Bag pressure, {name}",
        )
        story.append(Block(words(f"{name}: bag pressure", SUBHEAD), Drawn(scene, PLOT)))
    return story


def _troubles(troubles: Iterable[TroubleTold]) -> Any:
    columns = [
        Column("Time (UTC)", 20), Column("What", 24), Column("Where", 34), Column("By", 8), Column("Done about it", 44),
    ]  # fmt: skip
    lines = []
    for told in troubles:
        row = told.trouble.row
        done = [
            f"{clock(mending)} {mending.entry.person}: {mending.row.words or 'going on'}"
            for mending in told.mendings
            if mending.stands
        ]
        lines.append(
            line_of(
                told.trouble,
                clock(told.trouble),
                f"{row.get_kind_display()}{f': {row.words}' if row.words else ''}",
                trouble_place(row) or NOT_KNOWN,
                told.trouble.entry.person,
                "; ".join(done) or "nothing logged",
            )
        )
    return table(columns, lines)


def _sentences(pour: PourTold) -> list[str]:
    """What one line tells: sound test, alarms counted, pails ended, notes."""
    day, said = pour.day, []
    for sound in day.sounds:
        heard = "heard" if sound.row.heard else "not heard: alarms were by the screen alone"
        said.append(f"Sound test {time_in(pour, sound)}, {sound.entry.person}: {heard}{_gone(sound)}.")
    taken = [alarm for alarm in day.alarms if alarm.stands]
    if taken:
        ranks = Counter(alarm.row.rank for alarm in taken)
        count = ", ".join(f"{ranks[rank]} {rank.label}" for rank in AlarmRank)
        codes = ", ".join(f"{code} ({many})" for code, many in sorted(Counter(one.row.code for one in taken).items()))
        said.append(f"Alarms somebody took: {count}: {codes}.")
    ends = [f"{end.row.mix.pail_number} {end.row.how} {time_in(pour, end)}{_gone(end)}" for end in day.ends]
    if ends:
        said.append(f"Pails: {'; '.join(ends)}.")
    said += [f"Note {time_in(pour, note)}, {note.entry.person}: {note.row.words}{_gone(note)}" for note in day.notes]
    return said


def _answers(pour: PourTold) -> Any:
    columns = [Column("Question", 40), Column("Answer", 60), Column("Time (UTC)", 20), Column("By", 8)]
    lines = [line_of(one, one.row.question, one.row.words, clock(one), one.entry.person) for one in pour.day.answers]
    return table(columns, lines)


def _gone(logged: Logged[Any]) -> str:
    return f" ({logged.gone})" if logged.gone else ""


def time_in(pour: PourTold, logged: Logged[Any]) -> str:
    """The time of day; with its date where that is not the day the pour began."""
    began, at = pour.pour.entry.happened_at, logged.entry.happened_at
    return f"{at:%H:%M:%S}" if at.date() == began.date() else f"{at:%Y-%m-%d %H:%M:%S}"


def _minutes(pour: PourTold, logged: Logged[Any]) -> float:
    return (logged.entry.happened_at - pour.pour.entry.happened_at).total_seconds() / 60
