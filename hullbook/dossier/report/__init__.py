"""The dossier as a PDF. Only this package knows the PDF writer."""

from hullbook.dossier.report.binding import draw_dossier, reading_copy, record_inside

__all__ = ["draw_dossier", "reading_copy", "record_inside"]
