"""Reading a dossier back, by a reader that is not the writer."""

from dataclasses import dataclass

import pypdfium2 as pdfium


@dataclass(frozen=True)
class Box:
    left: float
    bottom: float
    right: float
    top: float


def texts(pdf: bytes) -> list[str]:
    """The words of each page, blanks and line ends evened out."""
    document = pdfium.PdfDocument(pdf)
    try:
        found = []
        for page in document:
            text = page.get_textpage()
            found.append(" ".join(text.get_text_range().replace("\u00a0", " ").split()))
            text.close()
            page.close()
        return found
    finally:
        document.close()


def boxes(pdf: bytes) -> list[list[Box]]:
    """The rectangles that text takes on each page, in points from the lower left corner."""
    document = pdfium.PdfDocument(pdf)
    try:
        found = []
        for page in document:
            text = page.get_textpage()
            found.append([Box(*text.get_rect(index)) for index in range(text.count_rects())])
            text.close()
            page.close()
        return found
    finally:
        document.close()
