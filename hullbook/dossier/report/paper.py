"""The paper a dossier is printed on: A4 with its head and foot, chapters with their one line, tables."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from reportlab.lib.colors import HexColor, black
from reportlab.lib.enums import TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    LongTable,
    PageTemplate,
    Paragraph,
    Spacer,
    TableStyle,
)

from hullbook.dossier.report.lettering import BOLD, REGULAR, markup, plain, register_faces, shortened, width
from hullbook.dossier.selectors import AS_IT_STANDS, Chapter, DossierContent, moment

GREY = HexColor(0x767F7D)
PALE = HexColor(0xE4E6E5)
MARGIN = 15 * mm
PAGE_WIDTH, PAGE_HEIGHT = A4
HEAD, FOOT = 17 * mm, 11 * mm
ROOM = PAGE_WIDTH - 2 * MARGIN
FRAME_HEIGHT = PAGE_HEIGHT - 2 * MARGIN - HEAD - FOOT
PAD = 1.2 * mm
FIGURES = 7.6
LONGEST_WORD = 14
SHORT_TABLE = 70 * mm

register_faces()


def _style(name: str, size: float, face: str = REGULAR, **more: Any) -> ParagraphStyle:
    return ParagraphStyle(name, fontName=face, fontSize=size, leading=more.pop("leading", size * 1.32), **more)


WORDS = _style("words", 8.8, spaceAfter=1.6 * mm)
SMALL = _style("small", 7.4, textColor=HexColor(0x414C53), spaceAfter=1.2 * mm)
STRONG = _style("strong", 8.8, BOLD, spaceAfter=1 * mm)
SUBHEAD = _style("subhead", 10, BOLD, spaceBefore=3.2 * mm, spaceAfter=1.4 * mm)
STATE = _style("state", 8.8, spaceAfter=2.4 * mm)
CELL = _style("cell", FIGURES, leading=9.4)
CELL_RIGHT = _style("cell right", FIGURES, leading=9.4, alignment=TA_RIGHT)
CELL_HEAD = _style("cell head", 7.2, BOLD, leading=8.8)
CELL_HEAD_RIGHT = _style("cell head right", 7.2, BOLD, leading=8.8, alignment=TA_RIGHT)
BIG = _style("big", 40, BOLD, leading=46, spaceAfter=3 * mm)
TITLE = _style("title", 15, BOLD, leading=20, spaceAfter=4 * mm)
MARK = _style("mark", 10, BOLD, leading=14, spaceAfter=2 * mm)


def words(text: object, style: ParagraphStyle = WORDS) -> Paragraph:
    return Paragraph(markup(text), style)


@dataclass(frozen=True)
class Column:
    """A column of fixed share of the width; figures stand to the right."""

    head: str
    share: float
    figures: bool = False


@dataclass(frozen=True)
class Line:
    """A row of a table. One that no longer stands is printed with a line through it, and `note` below says why."""

    cells: Sequence[object]
    struck: bool = False
    strong: bool = False
    note: str = ""


def table(columns: Sequence[Column], lines: Sequence[Line | Sequence[object]], room: float = ROOM) -> LongTable:
    """A table whose head comes again on each page and whose rows are never split."""
    told = [line if isinstance(line, Line) else Line(line) for line in lines]
    widths = _widths(columns, told, room)
    style: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), PAD),
        ("RIGHTPADDING", (0, 0), (-1, -1), PAD),
        ("TOPPADDING", (0, 0), (-1, -1), 0.8 * mm),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.9 * mm),
        ("FONT", (0, 0), (-1, -1), REGULAR, FIGURES, 9.4),
        ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
        ("LINEABOVE", (0, 0), (-1, 0), 0.9, black),
        ("LINEBELOW", (0, 0), (-1, 0), 0.9, black),
        *(("ALIGN", (place, 1), (place, -1), "RIGHT") for place, column in enumerate(columns) if column.figures),
    ]
    rows: list[list[str | Paragraph]] = [
        [Paragraph(markup(column.head), CELL_HEAD_RIGHT if column.figures else CELL_HEAD) for column in columns]
    ]
    for row in told:
        at = len(rows)
        cells = zip(row.cells, columns, widths, strict=True)
        rows.append([_cell(cell, column, column_width, row) for cell, column, column_width in cells])
        if row.strong:
            style.append(("FONT", (0, at), (-1, at), BOLD, FIGURES, 9.4))
        if row.note:
            rows.append([Paragraph(markup(row.note), CELL), *[""] * (len(columns) - 1)])
            style += [("SPAN", (0, at + 1), (-1, at + 1)), ("NOSPLIT", (0, at), (0, at + 1))]
            style.append(("ALIGN", (0, at + 1), (-1, at + 1), "LEFT"))
        style.append(("LINEBELOW", (0, len(rows) - 1), (-1, len(rows) - 1), 0.25, GREY))
    drawn = LongTable(rows, colWidths=widths, repeatRows=1, splitByRow=1, splitInRow=0)
    drawn.setStyle(TableStyle(style))
    drawn.hAlign, drawn.spaceAfter = "LEFT", 2 * mm
    return drawn


def _widths(columns: Sequence[Column], lines: Sequence[Line], room: float) -> list[float]:
    """By their shares, but wide enough that a word of a head, a date or a lot code is not cut in two."""
    least = [
        2 * PAD
        + 1
        + max(
            [
                *(width(plain(word, BOLD), 7.2, BOLD) for word in column.head.split(" ")),
                *(
                    width(plain(word), FIGURES)
                    for line in lines
                    for word in str(line.cells[place]).split(" ")
                    if len(word) <= LONGEST_WORD
                ),
            ]
        )
        for place, column in enumerate(columns)
    ]
    if sum(least) >= room:
        return [room * one / sum(least) for one in least]
    widths = [0.0] * len(columns)
    sharing = set(range(len(columns)))
    while sharing:
        left = room - sum(widths[place] for place in range(len(columns)) if place not in sharing)
        shares = sum(columns[place].share for place in sharing)
        narrow = {place for place in sharing if left * columns[place].share / shares < least[place]}
        for place in narrow or sharing:
            widths[place] = least[place] if narrow else left * columns[place].share / shares
        sharing = sharing - narrow if narrow else set()
    return widths


def _cell(content: object, column: Column, column_width: float, row: Line) -> str | Paragraph:
    face = BOLD if row.strong else REGULAR
    text = plain(content, face)
    if not row.struck and width(text, FIGURES, face) <= column_width - 2 * PAD - 0.2:
        return text
    inside = markup(content)
    inside = f"<strike>{inside}</strike>" if row.struck else f"<b>{inside}</b>" if row.strong else inside
    return Paragraph(inside, CELL_RIGHT if column.figures else CELL)


def abreast(
    heads: Sequence[str], readings: Sequence[tuple[str, ...]], *, struck: bool = False, most: int = 4
) -> LongTable:
    """Short figures several to a row, read downwards column by column."""
    columns_of = min(most, max(1, len(readings)))
    deep = -(-len(readings) // columns_of)
    blank = tuple("" for _ in heads)
    columns = [Column(head, 10, figures=True) for _ in range(columns_of) for head in heads]
    lines = []
    for row in range(deep):
        places = [row + deep * place for place in range(columns_of)]
        cells = [readings[at] if at < len(readings) else blank for at in places]
        lines.append(Line([cell for group in cells for cell in group], struck=struck))
    return table(columns, lines, ROOM * columns_of / most)


def pairs(lines: Sequence[tuple[str, object]], first_share: float = 0.3) -> LongTable:
    """Names and what they stand for, without a head."""
    drawn = LongTable(
        [[words(name, CELL_HEAD), words(value, CELL)] for name, value in lines],
        colWidths=[ROOM * first_share, ROOM * (1 - first_share)],
    )
    drawn.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), PAD),
                ("TOPPADDING", (0, 0), (-1, -1), 0.7 * mm),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 0.8 * mm),
                ("LINEBELOW", (0, 0), (-1, -1), 0.25, GREY),
            ]
        )
    )
    drawn.hAlign, drawn.spaceAfter = "LEFT", 2 * mm
    return drawn


@dataclass
class Layout:
    """Where each chapter begins and how many pages there are; learnt by drawing once, used by drawing again."""

    starts: dict[str, int] = field(default_factory=dict)
    on_top: dict[str, bool] = field(default_factory=dict)
    pages: int = 0

    def on_page(self, page: int) -> list[str]:
        """The chapters that stand on a page: the one that runs on from before, and those that begin there."""
        beginning = [letter for letter, start in self.starts.items() if start == page]
        before = [letter for letter, start in self.starts.items() if start < page]
        runs_on = [] if beginning and self.on_top[beginning[0]] else before[-1:]
        return [*runs_on, *beginning]


class Begins(Flowable):
    """A chapter begins here; nothing is drawn."""

    def __init__(self, chapter: Chapter) -> None:
        super().__init__()
        self.chapter = chapter

    def wrap(self, room: float, height: float) -> tuple[float, float]:
        self.width = room
        return room, 0

    def draw(self) -> None:
        self.canv.bookmarkPage(self.chapter.letter)
        title = plain(f"{self.chapter.letter}  {self.chapter.title}")
        self.canv.addOutlineEntry(title, self.chapter.letter, 0)


class ChapterHead(Begins):
    """The letter and the title of a chapter over a rule."""

    def wrap(self, room: float, height: float) -> tuple[float, float]:
        self.width = room
        return room, 11 * mm

    def getSpaceBefore(self) -> float:  # noqa: N802 - reportlab's own name
        return 5 * mm

    def draw(self) -> None:
        super().draw()
        canvas = self.canv
        canvas.setFont(BOLD, 13)
        canvas.drawString(0, 3.6 * mm, plain(self.chapter.letter, BOLD))
        canvas.drawString(9 * mm, 3.6 * mm, shortened(self.chapter.title, self.width - 9 * mm, 13, BOLD))
        canvas.setLineWidth(0.5 * mm)
        canvas.line(0, 1.4 * mm, self.width, 1.4 * mm)


class Block(KeepTogether):
    """Flowables that stand on one page together."""

    def __init__(self, *inside: Flowable) -> None:
        super().__init__(list(inside))
        self.inside = inside


def opened(chapter: Chapter, story: list[Flowable]) -> list[Flowable]:
    """A chapter under its head, which never stands alone at the foot of a page."""
    state = f"{chapter.state[0].upper()}{chapter.state[1:]}."
    head: list[Flowable] = [ChapterHead(chapter), words(state, STATE)]
    if story and isinstance(story[0], Block):
        return [Block(*head, *story[0].inside), *story[1:]]
    return [CondPageBreak(_needed([*head, *story])), *head, *story]


def titled(title: str, *flowables: Flowable) -> list[Flowable]:
    """A sub-head on a page with room for the beginning of what it stands over."""
    head = words(title, SUBHEAD)
    return [CondPageBreak(_needed([head, *flowables])), head, *flowables]


def height_of(flowable: Flowable) -> float:
    height = flowable.wrap(ROOM, FRAME_HEIGHT)[1]
    return float(height) + flowable.getSpaceBefore() + flowable.getSpaceAfter()


def _needed(story: Sequence[Flowable]) -> float:
    """The height up to and with the first table, if that is short, else with its first two rows."""
    needed = 0.0
    for flowable in story:
        if isinstance(flowable, LongTable):
            height = flowable.wrap(ROOM, FRAME_HEIGHT)[1]
            needed += height if height <= SHORT_TABLE else sum(flowable._rowHeights[:3])  # type: ignore[attr-defined]
            return min(FRAME_HEIGHT, needed)
        if not isinstance(flowable, CondPageBreak):
            needed += height_of(flowable)
    return min(FRAME_HEIGHT, needed)


class Paper(BaseDocTemplate):
    """A4 with the hull's number, chapter, issue mark and page x of y on every page."""

    def __init__(self, target: Any, content: DossierContent, known: Layout) -> None:
        super().__init__(
            target,
            pagesize=A4,
            leftMargin=MARGIN,
            rightMargin=MARGIN,
            topMargin=MARGIN,
            bottomMargin=MARGIN,
            title=f"Dossier of hull {content.hull.number}",
            author=content.yard.name if content.yard else "",
            subject=content.issue_words,
            creator="hullbook",
            lang="en-GB",
            invariant=1,
            initialFontName=REGULAR,
        )
        self.content, self.known, self.learnt = content, known, Layout()
        room = Frame(
            MARGIN, MARGIN + FOOT, ROOM, FRAME_HEIGHT,
            leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0, id="room",
        )  # fmt: skip
        self.addPageTemplates([PageTemplate(id="page", frames=[room], onPageEnd=self._head_and_foot)])

    def afterFlowable(self, flowable: Flowable) -> None:  # noqa: N802 - reportlab's own name
        if isinstance(flowable, Begins):
            letter = flowable.chapter.letter
            self.learnt.starts[letter] = self.page
            frame: Any = self.frame
            self.learnt.on_top[letter] = frame._y > frame._y2 - 14 * mm
        self.learnt.pages = self.page

    def _head_and_foot(self, canvas: Canvas, _: BaseDocTemplate) -> None:
        content, page = self.content, canvas.getPageNumber()
        top, right = PAGE_HEIGHT - MARGIN, PAGE_WIDTH - MARGIN
        canvas.saveState()
        canvas.setTitle(f"Dossier of hull {content.hull.number}")
        canvas.setFont(BOLD, 11)
        canvas.drawString(MARGIN, top - 4 * mm, shortened(f"Hull {content.hull.number}", ROOM * 0.4, 11, BOLD))
        canvas.setFont(REGULAR, 8)
        if content.craft_number:
            after = MARGIN + width(f"Hull {content.hull.number}   ", 11, BOLD)
            canvas.drawString(after, top - 4 * mm, plain(content.craft_number))
        canvas.setFont(BOLD, 8)
        mark = AS_IT_STANDS if content.as_it_stands else "whole"
        canvas.drawRightString(right, top - 4 * mm, plain(f"{content.issue_words}: {mark}", BOLD))
        canvas.setFont(REGULAR, 8)
        canvas.drawString(MARGIN, top - 8.6 * mm, shortened(self._chapter_words(page), ROOM * 0.7, 8))
        if content.yard:
            invented = f"{content.yard.name}: invented data" if content.yard.is_invented else content.yard.name
            canvas.drawRightString(right, top - 8.6 * mm, shortened(invented, ROOM * 0.4, 8))
        self._station_rule(canvas, top - 11.5 * mm)
        canvas.setFont(REGULAR, 7)
        canvas.setFillColor(black)
        foot = (
            f"{content.hull.number}, as at entry {content.as_at.number} of {moment(content.as_at.booked_at)}, "
            f"{content.as_at.hash[:16]}; struck-out entries are shown"
        )
        canvas.setStrokeColor(GREY)
        canvas.setLineWidth(0.25)
        canvas.line(MARGIN, MARGIN + 6 * mm, right, MARGIN + 6 * mm)
        canvas.drawString(MARGIN, MARGIN + 2 * mm, shortened(foot, ROOM * 0.82, 7))
        canvas.setFont(BOLD, 8)
        canvas.drawRightString(right, MARGIN + 2 * mm, f"page {page} of {self.known.pages or page}")
        canvas.restoreState()

    def _chapter_words(self, page: int) -> str:
        letters = self.known.on_page(page)
        if page == 3:
            return "Contents"
        if len(letters) == 1:
            chapter = self.content.chapter(letters[0])
            return f"{chapter.letter}  {chapter.title}"
        return f"Chapters {', '.join(letters)}" if letters else ""

    def _station_rule(self, canvas: Canvas, at: float) -> None:
        """The line across the head, ticked at eleven stations as a hull is on the loft floor."""
        canvas.setStrokeColor(black)
        canvas.setLineWidth(0.5 * mm)
        canvas.line(MARGIN, at, MARGIN + ROOM, at)
        canvas.setLineWidth(0.4)
        for station in range(11):
            across = MARGIN + ROOM * station / 10
            canvas.line(across, at, across, at - 1.4 * mm)


def gap(height_mm: float) -> Spacer:
    return Spacer(1, height_mm * mm)
