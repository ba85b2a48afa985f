"""Chapters M to R: tests on the part, findings, hold points, and what the book says of itself."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from hullbook.dossier.report.drawn import Drawn
from hullbook.dossier.report.entries import Story, clock, line_of
from hullbook.dossier.report.front import missing_on_page_2, missing_table
from hullbook.dossier.report.paper import ROOM, SMALL, STRONG, SUBHEAD, Block, Column, Line, pairs, table, titled, words
from hullbook.dossier.selectors import DossierContent, EntryTold, PartTold, moment
from hullbook.drawings.dot_plot import DotRow, dot_plot
from hullbook.hulls.enums import HOLD_POINTS
from hullbook.inspection.selectors import HardnessView
from hullbook.quantities.showing import NOT_KNOWN, show, show_number

PLOT = ROOM * 0.7


def tests_on_the_part(content: DossierContent) -> Story:
    story: Story = []
    for part in content.parts:
        if part.hardness:
            story += _hardness(content, part)
        if part.weighings:
            story += _weights(content, part)
    return story


def _hardness(content: DossierContent, part: PartTold) -> Story:
    standing = [view for view in part.hardness if not view.replaced]
    story: Story = []
    if standing:
        wanted = {view.hardness_set.required_mean for view in standing}
        scene = dot_plot(
            [
                DotRow(
                    f"{view.hardness_set.zone_name}, {view.hardness_set.get_surface_display()}",
                    view.kept,
                    [reading.value for reading in view.readings if reading.left_out_because],
                )
                for view in standing
            ],
            x_label="impressor reading",
            title=f"Hardness of {part.part.name}",
            at_least=wanted.pop() if len(wanted) == 1 else None,
        )
        story.append(Block(words(f"{part.part.name}: hardness", SUBHEAD), Drawn(scene, PLOT)))
    if part.hardness_drawn:
        head = words(f"{part.part.name}: mean hardness where it was tried", SUBHEAD)
        story.append(Block(head, Drawn(part.hardness_drawn, PLOT)))
    columns = [
        Column("Zone, place", 26), Column("Surface", 12), Column("n", 5, figures=True), Column("Mean", 9, figures=True),
        Column("s", 7, figures=True), Column("Lowest", 9, figures=True), Column("Wanted mean", 11, figures=True),
        Column("Check disc, marked", 18), Column("Part, °C", 9, figures=True), Column("Time (UTC), by", 20),
        Column("Verdict", 26),
    ]  # fmt: skip
    lines = [_hardness_line(view) for view in part.hardness]
    testers = content.instrument_words(*(view.hardness_set.tester for view in part.hardness))
    story += [table(columns, lines), words(f"Impressor: {testers}.", SMALL)]
    for view in part.hardness:
        read = ", ".join(
            f"{show_number(reading.value, 'barcol')}"
            + (f" (left out: {reading.left_out_because})" if reading.left_out_because else "")
            for reading in view.readings
        )
        named = f"{view.hardness_set.zone_name} {view.hardness_set.place}".strip()
        gone = f", {view.replaced}" if view.replaced else ""
        story.append(words(f"Readings, {named}{gone}: {read}. Wanted: {view.hardness_set.required_source}.", SMALL))
    return story


def _hardness_line(view: HardnessView) -> Line:
    told, result = view.hardness_set, view.result
    verdict = f"{view.judgement.level}; {view.judgement.because}".rstrip("; ") if view.judgement else "not judged"
    return Line(
        (
            f"{told.zone_name}, {told.place}".rstrip(", "),
            told.get_surface_display(),
            result.n,
            show_number(result.mean, "barcol mean"),
            show_number(result.sd, "barcol mean"),
            show_number(result.lowest, "barcol"),
            show_number(told.required_mean, "barcol mean"),
            f"{told.disc_reading:g}, {told.disc_low:g} to {told.disc_high:g}",
            show_number(told.part_temperature_c, "degC"),
            f"{told.entry.happened_at:%Y-%m-%d %H:%M}, {told.entry.person}",
            verdict,
        ),
        struck=bool(view.replaced),
        note=f"Entry {told.pk} {view.replaced}" if view.replaced else "",
    )


def _weights(content: DossierContent, part: PartTold) -> Story:
    columns = [
        Column("What", 40), Column("Mass, kg", 12, figures=True), Column("U (k = 2), kg", 12, figures=True),
        Column("Scale", 10), Column("Source", 36), Column("Time (UTC), by", 24),
    ]  # fmt: skip
    lines = [
        line_of(
            weighing,
            weighing.row.get_what_display(),
            show_number(weighing.row.mass_kg, "kg"),
            show_number(2 * weighing.row.standard_uncertainty_kg, "kg"),
            weighing.row.scale.code if weighing.row.scale else NOT_KNOWN,
            weighing.row.source,
            f"{clock(weighing)}, {weighing.entry.person}",
        )
        for weighing in part.weighings
    ]
    scales = content.instrument_words(*(weighing.row.scale for weighing in part.weighings if weighing.row.scale))
    story = titled(f"{part.part.name}: weights", table(columns, lines), words(f"Scales: {scales or 'none'}.", SMALL))
    fibre = part.used.mass_balance.fibre
    if fibre is None:
        return [*story, words(f"Fibre share of {part.part.name}: not known, {part.used.mass_balance.fibre_why_not}.")]
    facts: list[tuple[str, object]] = [
        ("Fibre by weight", _share(fibre.fibre_mass_fraction, fibre.fibre_mass_fraction_sd)),
        ("Fibre by volume", _share(fibre.fibre_volume_fraction, fibre.fibre_volume_fraction_sd)),
        ("Laminate", f"{show(fibre.laminate_kg, 'kg')} ± {show(2 * fibre.laminate_sd_kg, 'kg')} (k = 2)"),
        ("Resin in it", show(fibre.laminate_resin_kg, "kg")),
        ("From", "; ".join(part.used.mass_balance.fibre_sources)),
    ]
    return [*story, Block(words(f"{part.part.name}: fibre share by weighing", SUBHEAD), pairs(facts))]


def _share(share: float, sd: float) -> str:
    return f"{show(100 * share, '%')} ± {show(200 * sd, '%')} (k = 2)"


def findings(content: DossierContent) -> Story:
    story: Story = []
    if not content.findings:
        return [
            *story,
            words("Nothing was found and nothing was judged outside a limit; and nobody has logged a look."),
        ]
    columns = [
        Column("Entry", 8, figures=True), Column("Time (UTC), by", 20), Column("What", 28), Column("Where", 24),
        Column("Said, or value and limit", 44), Column("Decided", 36),
    ]  # fmt: skip
    lines = []
    for found in content.findings:
        decision = found.decision
        decided = (
            f"{decision.get_decision_display()}: {decision.words} (entry {decision.pk}, {decision.entry.person})"
            if decision
            else found.state
        )
        time_and_person = f"{found.entry.happened_at:%Y-%m-%d %H:%M}, {found.entry.person}"
        lines.append(
            Line(
                (
                    found.entry.number,
                    time_and_person,
                    found.title,
                    found.where,
                    found.words,
                    "" if found.gone else decided,
                ),
                struck=bool(found.gone),
                note=f"Entry {found.entry.number} {found.gone}" if found.gone else "",
            )
        )
    drawn = [Drawn(scene, PLOT) for scene in content.findings_drawn]
    key = "Numbered by their entries. Triangle: open. Diamond: accepted. Ring: decided otherwise, or nothing found."
    return [*story, *drawn, *([words(key, SMALL)] if drawn else []), table(columns, lines)]


def hold_points(content: DossierContent) -> Story:
    story: Story = []
    columns = [
        Column("No.", 5, figures=True), Column("Before", 24), Column("Kind", 7), Column("What must be true", 60),
        Column("Released", 30), Column("Words", 30),
    ]  # fmt: skip
    lines: list[Line | Sequence[object]] = []
    with_missing = []
    for point in HOLD_POINTS:
        releases = [release for release in content.hold_points if release.row.number == point.number]
        first = (point.number, point.before, point.kind.value, point.must_be_true)
        if not releases:
            lines.append((*first, "not released", ""))
        for release in releases:
            by = f"{release.entry.person} {moment(release.entry.happened_at)}"
            lines.append(line_of(release, *first, by, release.row.words))
            if release.row.missing:
                with_missing.append(release)
    story.append(table(columns, lines))
    story.append(words("H: work stops until it is released. W: a surveyor is told before. R: the book is read.", SMALL))
    for release in with_missing:
        story.append(words(f"Missing when hold point {release.row.number} was released:", STRONG))
        story += [words(sentence, SMALL) for sentence in release.row.missing.splitlines() if sentence.strip()]
    return story


def book(content: DossierContent) -> Story:
    story: Story = []
    counted = (
        f"Of {len(content.entries)} entries: logged late {len(content.late)}, corrected or struck out "
        f"{len(content.gone)}; values asked about and answered as right {len(content.asked)}; copied from paper sheets "
        f"{content.from_paper}; told on a tablet whose clock was off {len(content.clock_off)}."
    )
    story.append(words(counted))
    if rest := content.missing[missing_on_page_2(content) :]:
        story += titled(f"Missing, beside what stands on page 2: {len(rest)}", *missing_table(rest))
    for title, told, through in (
        ("Corrected and struck out", content.gone, True),
        ("Logged late, more than two minutes after it happened", content.late, False),
        ("Asked about and answered", content.asked, False),
        ("By a tablet's clock more than half a minute off; logged by the book's", content.clock_off, False),
    ):
        if told:
            story += titled(f"{title}: {len(told)}", _entries(told, through=through))
    story += _attached(content)
    head = content.as_at
    how = (
        f"The book is a chain: each entry's hash is taken over its words and the hash of the entry before. This "
        f"dossier rests on entries up to {head.number}, whose hash is {head.hash}. In the yard's own book, manage.py "
        "check_book walks the whole chain, and manage.py check_dossier FILE says whether this file is one that was "
        "issued and whether the entries inside it are the book's. Without the book: book.json inside this file holds "
        "each entry with its hash and the hash before it; SHA-256 over the words hullbook-entry-1, the 32 bytes of the "
        "hash before, and the entry without those two in canonical JSON gives its hash."
    )
    return [*story, Block(words("How to check the book", SUBHEAD), words(how))]


def _entries(told: Sequence[EntryTold], *, through: bool) -> Flowable:
    columns = [
        Column("Entry", 8, figures=True),
        Column("Logged (UTC)", 22),
        Column("By", 6),
        Column("What", 44 if not through else 106),
    ]
    told_in_cells = [
        (one.entry.number, f"{one.entry.tapped_at:%Y-%m-%d %H:%M}", one.entry.person, one.what) for one in told
    ]
    if through:
        lines = [Line(cells, struck=True, note=one.because) for cells, one in zip(told_in_cells, told, strict=True)]
        return table(columns, lines)
    lines = [Line((*cells, one.because)) for cells, one in zip(told_in_cells, told, strict=True)]
    return table([*columns, Column("Why", 62)], lines)


def _attached(content: DossierContent) -> Story:
    if not content.attachments:
        return []
    columns = [Column("Lot", 10), Column("Name inside this file", 40), Column("What it is", 34), Column("SHA-256", 58)]
    lines = [(one.lot_codes, one.name, one.words, one.sha256) for one in content.attachments]
    return titled("Files inside this dossier, as they were received", table(columns, lines))
