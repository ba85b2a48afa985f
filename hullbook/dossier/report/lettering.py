"""Every word that goes on a page: the two faces, their coverage, and user text made safe.

The PDF writer drops a character that its face lacks, without a word. So every string passes one of two doors: `plain`
for text drawn as it is, `markup` for text inside a paragraph; both refuse what the face cannot show.
"""

import unicodedata
from functools import cache
from html import escape
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR, BOLD = "HullbookSans", "HullbookSans-Bold"
FILES = {REGULAR: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
FOLDER = Path(__file__).resolve().parents[1] / "fonts"

# Seen as nothing or as a blank on paper, though a face may have a glyph for them.
UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
LINE_END = "↵"


class MissingGlyph(ValueError):
    """A text that the face cannot show whole."""


@cache
def register_faces() -> None:
    for name, file in FILES.items():
        pdfmetrics.registerFont(TTFont(name, str(FOLDER / file)))
    pdfmetrics.registerFontFamily(REGULAR, normal=REGULAR, bold=BOLD, italic=REGULAR, boldItalic=BOLD)


@cache
def _covered(face: str) -> frozenset[int]:
    register_faces()
    return frozenset(pdfmetrics.getFont(face).face.charToGlyph)  # type: ignore[attr-defined]


def text_ok(text: str, face: str = REGULAR) -> str:
    """Give the text back, or raise MissingGlyph, naming it, where the face would lose a character of it."""
    covered = _covered(face)
    lost = [character for character in text if ord(character) not in covered or _is_unseen(character)]
    if lost:
        codes = ", ".join(f"U+{ord(character):04X}" for character in dict.fromkeys(lost))
        raise MissingGlyph(f"{text!r} has characters that {FILES[face]} cannot show: {codes}.")
    return text


def plain(text: object, face: str = REGULAR) -> str:
    """Text for a page, with everything that would be lost or unseen written as its code, as [U+0007]."""
    covered = _covered(face)
    shown = unicodedata.normalize("NFC", str(text)).replace("\r\n", "\n").replace("\t", " ").replace("\n", LINE_END)
    return text_ok(
        "".join(
            character if ord(character) in covered and not _is_unseen(character) else f"[U+{ord(character):04X}]"
            for character in shown
        ),
        face,
    )


def markup(text: object) -> str:
    """Text for inside a paragraph: as `plain`, and no character of it is taken for markup."""
    return escape(plain(plain(text), BOLD), quote=False)


def width(text: str, size: float, face: str = REGULAR) -> float:
    register_faces()
    return pdfmetrics.stringWidth(text, face, size)


def shortened(text: object, room: float, size: float, face: str = REGULAR) -> str:
    """The text cut to the room it has, ending in … where it was cut."""
    whole = plain(text, face)
    if width(whole, size, face) <= room:
        return whole
    while whole and width(whole + "…", size, face) > room:
        whole = whole[:-1]
    return whole.rstrip() + "…"


def _is_unseen(character: str) -> bool:
    return unicodedata.category(character) in UNSEEN
