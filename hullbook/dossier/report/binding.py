"""The pages bound into one file: certificates and book.json inside it, and the reading copy for the desk."""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from io import BytesIO

from pypdf import PageObject, PdfReader, PdfWriter, Transformation
from pypdf.errors import PyPdfError
from pypdf.generic import ArrayObject, ByteStringObject, NameObject, NumberObject, TextStringObject
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from hullbook.dossier.report import documents, front, laid, poured, tried
from hullbook.dossier.report.lettering import BOLD, REGULAR, shortened
from hullbook.dossier.report.paper import MARGIN, PAGE_HEIGHT, PAGE_WIDTH, ROOM, Layout, Paper, opened
from hullbook.dossier.selectors import Attachment, DossierContent, book_of

RECORD = "book.json"
PDF, JPEG, PNG = "application/pdf", "image/jpeg", "image/png"
STAMP = 12.0
MOST_PASSES = 4
CHAPTERS = {
    "C": documents.documents,
    "D": documents.people,
    "E": documents.instruments,
    "F": documents.lots,
    "G": documents.climate,
    "I": laid.lay_up,
    "J": poured.hold_tests,
    "K": poured.resin,
    "L": poured.cure,
    "M": tried.tests_on_the_part,
    "N": tried.findings,
    "Q": tried.hold_points,
    "R": tried.book,
}


@dataclass(frozen=True)
class Inside:
    """A file that travels inside the PDF."""

    name: str
    media_type: str
    relationship: str
    words: str
    content: bytes


def draw_dossier(content: DossierContent) -> bytes:
    """The dossier as a PDF. The same content gives the same bytes, whenever and wherever it is drawn."""
    record = Inside(RECORD, "application/json", "Data", "what this dossier says", book_of(content).encode())
    certificates = (_certificate(attachment) for attachment in content.attachments)
    writer = PdfWriter(clone_from=BytesIO(_pages(content)))
    return _bound(writer, content, [record, *certificates])


def reading_copy(content: DossierContent, dossier: bytes) -> bytes:
    """The pages of a dossier with those of its certificates behind, each with hull number and lot on it.

    The files themselves are not inside, so this copy is for reading; the dossier is what was issued.
    """
    writer = PdfWriter()
    for page in PdfReader(BytesIO(dossier)).pages:
        writer.add_page(page)
    for attachment in content.attachments:
        pages = _pages_of(attachment)
        for number, page in enumerate(pages, start=1):
            mark = (
                f"Hull {content.hull.number}, lot {attachment.lot_codes}: {attachment.words}, "
                f"page {number} of {len(pages)}, file {attachment.sha256[:16]}"
            )
            _add_stamped(writer, page, mark)
    return _bound(writer, content, [])


def record_inside(pdf: bytes) -> str | None:
    """The book.json inside a PDF; None where there is none, or where this is no PDF."""
    try:
        for file in PdfReader(BytesIO(pdf)).attachment_list:
            if file.name == RECORD:
                return file.content.decode("utf-8")
    except (PyPdfError, ValueError, KeyError):
        return None
    return None


def _pages(content: DossierContent) -> bytes:
    """Drawn until the pages are where the contents say they are."""
    known = Layout()
    for _ in range(MOST_PASSES):
        target = BytesIO()
        paper = Paper(target, content, known)
        paper.build(_story(content, known))
        if paper.learnt == known:
            return target.getvalue()
        known = paper.learnt
    raise RuntimeError("The pages of this dossier do not come to rest.")


def _story(content: DossierContent, known: Layout) -> list[Flowable]:
    story = [*front.cover(content), *front.six_answers(content), *front.contents(content, known)]
    for letter, chapter in CHAPTERS.items():
        story += opened(content.chapter(letter), chapter(content))
    return story


def _certificate(attachment: Attachment) -> Inside:
    return Inside(
        attachment.name,
        attachment.media_type,
        "Supplement",
        f"lot {attachment.lot_codes}: {attachment.words}",
        attachment.content,
    )


def _bound(writer: PdfWriter, content: DossierContent, inside: list[Inside]) -> bytes:
    """Everything a PDF writer would take from the clock or from chance is taken from the content instead."""
    files = ArrayObject()
    for file in inside:
        embedded = writer.add_attachment(file.name, file.content)
        embedded.alternative_name = TextStringObject(file.name)
        embedded.description = TextStringObject(file.words)
        embedded.associated_file_relationship = NameObject(f"/{file.relationship}")
        embedded.subtype = NameObject(f"/{file.media_type}")
        embedded.size = NumberObject(len(file.content))
        embedded.checksum = ByteStringObject(hashlib.md5(file.content, usedforsecurity=False).digest())
        files.append(embedded.pdf_object.indirect_reference)
    if inside:
        writer.root_object[NameObject("/AF")] = files
    at = f"{content.as_at.booked_at:D:%Y%m%d%H%M%S}+00'00'"
    writer.metadata = {
        "/Title": f"Dossier of hull {content.hull.number}",
        "/Author": content.yard.name if content.yard else "",
        "/Subject": content.issue_words,
        "/Creator": "hullbook",
        "/Producer": "hullbook",
        "/CreationDate": at,
        "/ModDate": at,
    }
    fixed = ByteStringObject(hashlib.sha256(book_of(content).encode()).digest()[:16])
    writer._ID = ArrayObject((fixed, fixed))
    target = BytesIO()
    writer.write(target)
    return target.getvalue()


def _pages_of(attachment: Attachment) -> list[PageObject]:
    """A certificate as pages; one page that says so where it cannot be shown."""
    try:
        if attachment.media_type == PDF:
            pages = list(PdfWriter(clone_from=BytesIO(attachment.content)).pages)
            for page in pages:
                page.transfer_rotation_to_content()
            return pages
        if attachment.media_type in (JPEG, PNG):
            return [_picture(attachment.content)]
    except (PyPdfError, OSError, ValueError):
        pass
    return [_one_page(lambda canvas: _say(canvas, "This file cannot be shown as pages; it is inside the dossier."))]


def _picture(content: bytes) -> PageObject:
    picture = ImageReader(BytesIO(content))
    wide, high = picture.getSize()
    room_high = PAGE_HEIGHT - 2 * MARGIN - 2 * STAMP
    scale = min(ROOM / wide, room_high / high)
    size = wide * scale, high * scale
    at = MARGIN + (ROOM - size[0]) / 2, MARGIN + (room_high - size[1]) / 2
    return _one_page(lambda canvas: canvas.drawImage(picture, *at, *size))


def _say(canvas: Canvas, sentence: str) -> None:
    canvas.setFont(REGULAR, 9)
    canvas.drawString(MARGIN, PAGE_HEIGHT - 3 * MARGIN, sentence)


def _one_page(draw: Callable[[Canvas], object]) -> PageObject:
    target = BytesIO()
    size = (PAGE_WIDTH, PAGE_HEIGHT)
    canvas = Canvas(target, pagesize=size, invariant=1, initialFontName=REGULAR)  # type: ignore[arg-type]
    draw(canvas)
    canvas.showPage()
    canvas.save()
    return PdfReader(target).pages[0]


def _add_stamped(writer: PdfWriter, page: PageObject, mark: str) -> None:
    """The page made to fit A4 under a line that says whose it is."""
    box = page.mediabox
    room_high = PAGE_HEIGHT - MARGIN - 2 * STAMP
    scale = min(PAGE_WIDTH / float(box.width), room_high / float(box.height), 1.0)
    across = (PAGE_WIDTH - float(box.width) * scale) / 2

    def write(canvas: Canvas) -> None:
        canvas.setFont(BOLD, 7.5)
        canvas.drawString(MARGIN, PAGE_HEIGHT - MARGIN, shortened(mark, ROOM, 7.5, BOLD))

    place = Transformation().translate(-float(box.left), -float(box.bottom)).scale(scale).translate(across, STAMP)
    writer.add_page(_one_page(write)).merge_transformed_page(page, place)
