"""Paper sheets of a hull: which were printed, and what was copied from each."""

from dataclasses import dataclass

from hullbook.hulls.models import Hull, PaperSheet
from hullbook.records.models import Entry
from hullbook.records.selectors import entries_about


@dataclass(frozen=True)
class PaperSheetCard:
    """A sheet with the entries copied from it. Struck out, it was not used."""

    sheet: PaperSheet
    copied: tuple[Entry, ...]
    is_struck: bool


@dataclass(frozen=True)
class PaperOfHull:
    """Every sheet printed for a hull, and numbers that entries name though no such sheet was printed."""

    cards: tuple[PaperSheetCard, ...]
    never_printed: tuple[int, ...]

    @property
    def open_count(self) -> int:
        """Sheets that are out: nothing was copied from them, and nobody has said that they were not used."""
        return sum(1 for card in self.cards if not card.copied and not card.is_struck)


def paper_of(hull: Hull) -> PaperOfHull:
    sheets = list(
        PaperSheet.objects.filter(part__hull=hull)
        .select_related("entry", "entry__struck_out", "part", "part__hull", "part__hull__boat_model")
        .order_by("number")
    )
    copied: dict[int, list[Entry]] = {}
    for entry in entries_about(hull.number).filter(keyed__contains='"paper_sheet":').order_by("number"):
        if entry.paper_sheet:
            copied.setdefault(entry.paper_sheet, []).append(entry)
    cards = tuple(
        PaperSheetCard(sheet, tuple(copied.get(sheet.number, ())), hasattr(sheet.entry, "struck_out"))
        for sheet in sheets
    )
    printed = {sheet.number for sheet in sheets}
    return PaperOfHull(cards, tuple(sorted(number for number in copied if number not in printed)))
