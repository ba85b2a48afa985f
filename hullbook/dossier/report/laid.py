"""Chapter I: each zone as it was planned, drawn in section, and as it was laid."""

from collections.abc import Sequence
from typing import Any

from hullbook.dossier.report.drawn import Drawn
from hullbook.dossier.report.entries import Story, clock, line_of
from hullbook.dossier.report.paper import SMALL, SUBHEAD, Block, Column, Line, table, titled, words
from hullbook.dossier.selectors import DossierContent, LayUp, Logged
from hullbook.drawings.stack_section import Layer, stack_section
from hullbook.hulls.selectors import LineView, ZoneView
from hullbook.quantities.showing import NOT_KNOWN, show, show_number


def lay_up(content: DossierContent) -> Story:
    story: Story = []
    for part in content.parts:
        if part.lay_up.revision is None:
            continue
        for zone in part.lay_up.zones:
            story += _zone(part.lay_up, zone)
        logged = f"{part.part.name}: {part.lay_up.laid} of {part.lay_up.lines} lines of {part.lay_up.revision} logged."
        story.append(words(logged))
        if part.lay_up.beside_the_schedule:
            lines = [_laying_line(laying, "", laying.row.zone.name, "") for laying in part.lay_up.beside_the_schedule]
            beside = f"{part.part.name}: laid beside the schedule, or to an earlier revision"
            story += titled(beside, table(LAYING_COLUMNS, lines))
    return story


LAYING_COLUMNS = [
    Column("Line", 7, figures=True), Column("Planned", 34), Column("Angle", 9), Column("Laid", 20), Column("Lot", 10),
    Column("Quantity", 14, figures=True), Column("Time (UTC)", 18), Column("By", 6), Column("Second", 9),
    Column("Why otherwise", 27),
]  # fmt: skip


def _zone(laid: LayUp, zone: ZoneView) -> Story:
    outline = zone.zone
    lines: list[Line | tuple[object, ...]] = []
    for view in zone.lines:
        planned = f"{view.line.material.code} {view.sheet.name}{'' if view.line.is_structural else ', not structural'}"
        if view.line.lap_mm:
            planned = f"{planned}, lap {show(view.line.lap_mm, 'mm', 0)}"
        layings = laid.of_line(view.line)
        if not layings:
            lines.append((view.line.number, planned, view.line.angle_words, "not logged", "", "", "", "", "", ""))
        lines += [_laying_line(laying, view.line.number, planned, view.line.angle_words) for laying in layings]
    place = (
        f"half-girth {show(outline.girth_from_mm, 'mm', 0)} to {show(outline.girth_to_mm, 'mm', 0)}, "
        f"stations {outline.station_from:g} to {outline.station_to:g}, {outline.get_side_display()}"
    )
    sums = (
        f"Area {show(outline.area_m2, 'm2')}; as planned: dry fibre {show(zone.fibre_kg, 'kg')}, "
        f"resin in the laminate {show(zone.resin_kg, 'kg')}, core {show(zone.core_kg, 'kg')}, "
        f"thickness {show(zone.thickness_mm, 'mm')}"
    )
    share = f", fibre {show_number(100 * zone.stack.fibre_mass_fraction, '%')} % by weight" if zone.stack else ""
    head: Story = [words(f"{laid.part.name}, {outline.name}", SUBHEAD), words(f"{place}. {sums}{share}.", SMALL)]
    if layers := _layers(zone.lines):
        scene = stack_section(layers, title=f"Stack of {outline.name} as planned")
        return [Block(*head, Drawn(scene)), table(LAYING_COLUMNS, lines)]
    return [Block(*head), table(LAYING_COLUMNS, lines)]


def _layers(views: Sequence[LineView]) -> list[Layer]:
    """None where a sheet leaves a thickness open: half a section would mislead."""
    layers = []
    for view in views:
        if view.thickness_mm is None:
            return []
        layers.append(
            Layer(
                number=view.line.number,
                material=view.line.material.code,
                thickness_mm=view.thickness_mm,
                kind="core" if view.is_core else "ply",
                angle=view.line.angle_deg,
            )
        )
    return layers


def _laying_line(laying: Logged[Any], number: object, planned: str, angle: str) -> Line:
    row = laying.row
    unit = row.lot.material.stock_unit if row.lot else ""
    why = "; ".join(part for part in (row.deviation, row.lead_reason and f"{row.lead}: {row.lead_reason}") if part)
    return line_of(
        laying,
        number,
        planned,
        angle,
        row.get_outcome_display(),
        row.lot.code if row.lot else NOT_KNOWN,
        show(row.quantity, unit) if row.lot else NOT_KNOWN,
        clock(laying),
        row.laid_by,
        row.second_person or NOT_KNOWN,
        why,
    )
