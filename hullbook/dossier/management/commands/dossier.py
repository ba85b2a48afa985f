import hashlib
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from hullbook.dossier.report import draw_dossier, reading_copy
from hullbook.dossier.selectors import AS_IT_STANDS, dossier_content, moment
from hullbook.hulls.models import Hull


class Command(BaseCommand):
    help = "Draw the dossier of a hull as at its last entry. The same book gives the same bytes; nothing is issued."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("hull", help="the hull number, as MB84-01")
        parser.add_argument("--out", type=Path, required=True, help="the PDF to write")
        parser.add_argument("--reading-copy", type=Path, help="a second PDF, with the certificates' pages behind")

    def handle(self, *args: Any, **options: Any) -> None:
        hull = Hull.objects.filter(number=options["hull"]).first()
        if hull is None:
            numbers = ", ".join(Hull.objects.order_by("number").values_list("number", flat=True)) or "none"
            raise CommandError(f"No hull {options['hull']} in this book; it has {numbers}.")
        content = dossier_content(hull)
        dossier = draw_dossier(content)
        self._write(options["out"], dossier)
        if options["reading_copy"]:
            self._write(options["reading_copy"], reading_copy(content, dossier))
        state = f"{AS_IT_STANDS}, {len(content.missing)} missing" if content.as_it_stands else "whole"
        self.stdout.write(
            f"Hull {hull.number} as at entry {content.as_at.number} of {moment(content.as_at.booked_at)}: {state}. "
            f"{options['out']}, SHA-256 {hashlib.sha256(dossier).hexdigest()}"
        )

    def _write(self, path: Path, content: bytes) -> None:
        try:
            path.write_bytes(content)
        except OSError as error:
            raise CommandError(f"{path} cannot be written: {error.strerror}.") from error
