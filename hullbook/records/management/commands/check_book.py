from typing import Any

from django.core.management.base import BaseCommand, CommandError

from hullbook.records.guards import missing_guards
from hullbook.records.selectors import checked_book


class Command(BaseCommand):
    help = "Walk the book: numbers, chain, and every entry against its rows. Ends with 1 at the first bad entry."

    def handle(self, *args: Any, **options: Any) -> None:
        if missing := missing_guards():
            raise CommandError(f"The book is not guarded against change: {', '.join(missing)} missing. Run migrate.")
        check = checked_book()
        if not check.is_whole:
            raise CommandError(f"Entry {check.first_bad} is not as it was told: {check.because}.")
        self.stdout.write(f"The book is whole: {check.entries} entries, head {check.head}")
