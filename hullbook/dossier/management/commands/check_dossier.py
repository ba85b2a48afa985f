from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from hullbook.dossier.services import check_dossier


class Command(BaseCommand):
    help = "Say whether a PDF is a dossier this book has issued, and whether the entries inside it are the book's."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        try:
            pdf = path.read_bytes()
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}.") from error
        check = check_dossier(pdf)
        for problem in check.problems:
            self.stderr.write(f"{path}: {problem}.")
        agree = f"The {check.entries} entries inside it are the book's." if not check.problems else ""
        if not check.is_good:
            raise CommandError(f"{path}: {check.words}. {agree}".rstrip())
        self.stdout.write(f"{path}: {check.words}. {agree}")
