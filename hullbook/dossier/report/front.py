"""The first three pages: whose boat this is, the six answers with what is missing, and the contents."""

from collections.abc import Iterator, Sequence
from typing import cast

from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, LongTable, PageBreak

from hullbook.dossier.report.drawn import Drawn
from hullbook.dossier.report.paper import (
    BIG,
    FRAME_HEIGHT,
    MARK,
    ROOM,
    SMALL,
    SUBHEAD,
    TITLE,
    WORDS,
    Begins,
    Column,
    Layout,
    Line,
    gap,
    height_of,
    pairs,
    table,
    words,
)
from hullbook.dossier.selectors import AS_IT_STANDS, DossierContent, PartTold, moment
from hullbook.drawings.hull_profile import StageState, hull_profile
from hullbook.hulls.enums import HOLD_POINTS
from hullbook.inspection.selectors import Missing, judgement_words
from hullbook.quantities.showing import show, show_number

FOOT_OF_PAGE_2 = 8 * mm

ANSWER_STYLE = ParagraphStyle("answers", parent=SUBHEAD, fontSize=13, leading=17)


def cover(content: DossierContent) -> list[Flowable]:
    hull, yard = content.hull, content.yard
    story: list[Flowable] = [Begins(content.chapter("A")), gap(14), words("Dossier of hull", TITLE)]
    story.append(words(hull.number, BIG))
    if yard and yard.is_invented:
        story.append(words("Invented data: the yard, its people, makers and products do not exist.", MARK))
    if content.as_it_stands:
        story.append(words(AS_IT_STANDS.capitalize(), MARK))
    story += [gap(4), pairs([*_identity(content), *_book(content)])]
    states = [cast(StageState, stage.state) for stage in content.stages]
    story.append(
        Drawn(hull_profile(states, hull=hull.number, model=hull.boat_model.name, lines=content.lines), ROOM * 0.8)
    )
    story.append(
        words("All times are UTC. Every figure carries its unit in the head of its column or beside it.", SMALL)
    )
    return [*story, PageBreak()]


def _identity(content: DossierContent) -> list[tuple[str, object]]:
    hull, yard, model = content.hull, content.yard, content.hull.boat_model
    number = f"{content.craft_number}: {content.craft_number_words}" if content.craft_number else "not given yet"
    corrected = [f"{given.row.number}, {given.gone}" for given in content.craft_numbers if not given.stands]
    left = [
        f"{gone.row.left_on:%Y-%m-%d}{f', to {gone.row.delivered_to}' if gone.row.delivered_to else ''}"
        for gone in content.departures
        if gone.stands
    ]
    return [
        ("Hull number", hull.number),
        ("Identification number", number),
        *(("Identification number before", words_before) for words_before in corrected),
        ("Builder", yard.name if yard else "not named"),
        ("Place of build", f"{yard.place or 'not named'}; {hull.bay.name}" if yard else hull.bay.name),
        ("Model", f"{model.name}, length {show(model.length_m, 'm')}, beam {show(model.beam_m, 'm')}"),
        ("Built under", hull.get_build_regime_display()),
        ("Mould and pull", f"mould {hull.mould}, pull {hull.pull_number}"),
        ("Parts", ", ".join(part.part.name for part in content.parts) or "none"),
        *((("Customer's reference", hull.customer_reference),) if hull.customer_reference else ()),
        ("Laid down", f"{hull.laid_down_on:%Y-%m-%d}"),
        ("Left the yard", left[-1] if left else "not yet"),
    ]


def _book(content: DossierContent) -> list[tuple[str, object]]:
    head = content.as_at
    earlier = [f"{issue.row.number} (entry {issue.row.pk})" for issue in content.issues if issue.stands]
    return [
        ("Issue", content.issue_words),
        ("Issued before", ", ".join(earlier) or "nothing"),
        ("As at", f"entry {head.number} of {moment(head.booked_at)}, the last that this dossier rests on"),
        ("Hash of that entry", head.hash),
        ("Rests on", f"{len(content.entries)} entries of the book"),
    ]


def six_answers(content: DossierContent) -> list[Flowable]:
    fitting = missing_on_page_2(content)
    story = [*_answers(content), *missing_table(content.missing[:fitting])]
    if fitting < len(content.missing):
        story.append(words(f"And {len(content.missing) - fitting} more, which stand in chapter R.", SMALL))
    return [*story, PageBreak()]


def missing_on_page_2(content: DossierContent) -> int:
    """How much of what is missing fits under the six answers."""
    room = FRAME_HEIGHT - FOOT_OF_PAGE_2 - sum(height_of(flowable) for flowable in _answers(content))
    fitting = len(content.missing)
    while fitting and sum(height_of(drawn) for drawn in missing_table(content.missing[:fitting])) > room:
        fitting -= 1
    return fitting


def _answers(content: DossierContent) -> list[Flowable]:
    story: list[Flowable] = [Begins(content.chapter("B")), words("The six answers", ANSWER_STYLE)]
    columns = [
        Column("", 4, figures=True), Column("Asked", 26), Column("Verdict", 16), Column("Because", 48),
        Column("Chapter", 9),
    ]  # fmt: skip
    story.append(
        table(
            columns,
            [(found.number, found.question, found.verdict, found.because, found.chapter) for found in content.answers],
        )
    )
    story.append(
        words(
            "Verdicts are pass, conditional pass, conditional fail, fail, or no verdict with its reason. "
            "Nothing is called a pass while something it rests on is missing.",
            SMALL,
        )
    )
    story += [words("What to look at first", SUBHEAD), pairs(list(_first_look(content)), 0.2)]
    story.append(words(f"What is missing: {len(content.missing) or 'nothing'}", SUBHEAD))
    return story


def _first_look(content: DossierContent) -> Iterator[tuple[str, object]]:
    """What a surveyor turns to first, each in one line: the worst figures, and what is open."""
    released = {release.row.number for release in content.hold_points if release.stands}
    yield "Hold points", f"{len(released)} of {len(HOLD_POINTS)} released; chapter Q"
    standing = [found for found in content.findings if not found.gone]
    looked = sum(found.nothing_found for found in standing)
    undecided = "; ".join(f"{found.title}, {found.where}" for found in standing if found.is_open)
    yield (
        "Findings",
        f"{len(standing) - looked}; looked and nothing found {looked} times; undecided: {undecided or 'none'}; "
        "chapter N",
    )
    air = [reading.row for reading in content.climate if reading.stands]
    if air:
        temperatures, humidities = (
            [row.air_temperature_c for row in air],
            [row.humidity_percent for row in air],
        )
        yield (
            "Climate",
            f"air {show_number(min(temperatures), 'degC')} to {show(max(temperatures), 'degC')}, humidity at most "
            f"{show(max(humidities), '%')}, {len(air)} readings; chapter G",
        )
    for part in content.parts:
        yield from _first_look_at(part)
    yield (
        "Entries",
        f"{len(content.late)} logged late, {len(content.gone)} corrected or struck out, {len(content.asked)} asked "
        "about and answered; chapter R",
    )


def _first_look_at(part: PartTold) -> Iterator[tuple[str, object]]:
    name = part.part.name
    held = [held.test for held in part.hold_tests if held.test.stands]
    if held:
        judged = "; ".join(f"{one.level}: {judgement_words(one)}" for one in held[-1].judgements) or "not judged"
        yield f"Hold test, {name}", f"the last of {len(held)}, {moment(held[-1].entry.happened_at)}: {judged}"
    for pour in part.pours:
        if pour.pour.stands:
            poured = f"pour {pour.pour.row.number} begun {moment(pour.pour.entry.happened_at)}"
            is_closed = any(closing.stands for closing in pour.closings)
            twice = "".join(f"; pail {number} is logged more than once" for number in pour.logged_twice)
            mixed = f"{show(pour.mixed_kg, 'kg')} mixed{'' if is_closed else ', not closed'}"
            yield f"Pour, {name}", f"{poured}, {mixed}{twice}; chapter K"
    if part.used.comparison:
        yield (
            f"Resin, {name}",
            f"used over planned {show_number(part.used.comparison.ratio, 'ratio')}: {part.used.words}; chapter K",
        )
    tried = [view for view in part.hardness if not view.replaced]
    if tried:
        lowest = min(tried, key=lambda view: view.result.mean)
        verdict = f": {lowest.judgement.level}" if lowest.judgement else ""
        yield (
            f"Hardness, {name}",
            f"lowest mean {show_number(lowest.result.mean, 'barcol mean')} at {lowest.hardness_set.zone_name}, "
            f"{show_number(lowest.hardness_set.required_mean, 'barcol mean')} wanted{verdict}; chapter M",
        )


def missing_table(missing: Sequence[Missing]) -> list[Flowable]:
    if not missing:
        return []
    columns = [
        Column("Check", 8), Column("What", 48), Column("Where", 18), Column("Who can supply it", 15),
        Column("Made good?", 14), Column("Left open", 20),
    ]  # fmt: skip
    lines = [
        (
            one.check,
            one.what,
            one.where,
            one.who,
            "no longer possible" if one.irrecoverable else "possible",
            one.level_words,
        )
        for one in missing
    ]
    return [table(columns, lines)]


def contents(content: DossierContent, known: Layout) -> list[Flowable]:
    columns = [Column("", 5), Column("Chapter", 46), Column("How it stands", 40), Column("Page", 8, figures=True)]
    lines = [
        Line(
            (
                chapter.letter,
                chapter.title,
                chapter.state,
                known.starts.get(chapter.letter, "") if chapter.is_filled else "none",
            )
        )
        for chapter in content.chapters
    ]
    drawn: LongTable = table(columns, lines)
    return [
        words("Contents", ANSWER_STYLE),
        drawn,
        words(
            f"Inside this file: book.json with everything printed here and the {len(content.entries)} entries it "
            f"rests on, and {len(content.attachments)} certificates as they were received.",
            WORDS,
        ),
        PageBreak(),
    ]
