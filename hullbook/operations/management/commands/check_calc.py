from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from hullbook.calc.check_rows import agrees, found
from hullbook.calc.reference import check_values

# Identification numbers and the chain have tables of another form; the tests read them.
TABLES = (
    "laminate",
    "core_uptake",
    "consumables",
    "resin_plan",
    "balance",
    "vacuum",
    "climate",
    "dose",
    "cure",
    "flow",
    "permeability",
    "viscosity",
    "gel",
    "exotherm",
    "styrene",
    "forecast",
    "hardness",
    "statistics",
)


class Command(BaseCommand):
    help = "Work out every check value again and print it beside the published one. Ends with 1 where one differs."

    def handle(self, *args: Any, **options: Any) -> None:
        differing = total = 0
        for table in TABLES:
            for row in check_values(settings.SHARED, table):
                value = found(row)
                total += 1
                good = agrees(row, value)
                differing += not good
                self.stdout.write(
                    f"{'agrees ' if good else 'DIFFERS'}  {row['check']} {row['quantity']}: {value:.6g}, "
                    f"wanted {row['expected']:.6g} ({row['source']}; {row['status']})"
                )
        if differing:
            raise CommandError(f"{differing} of {total} check values differ.")
        self.stdout.write(f"All {total} check values agree.")
