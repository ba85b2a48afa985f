"""`manage.py trace lot R-0007`, `trace hull MB84-01`, `trace batch VE-10-26-04`: the answer as JSON."""

import datetime as dt
import json
import sys
from argparse import ArgumentParser
from dataclasses import asdict
from typing import Any

from django.core.management.base import BaseCommand

from hullbook.trace.selectors import NothingBySuchName, batch_trace, hull_trace, lot_trace

TRACES = {"lot": lot_trace, "hull": hull_trace, "batch": batch_trace}


def plain(value: Any) -> Any:
    """Times in UTC, days as they are."""
    if isinstance(value, dt.datetime):
        return value.astimezone(dt.UTC).isoformat().replace("+00:00", "Z")
    return value.isoformat()


class Command(BaseCommand):
    help = "Where a lot or a maker's batch went, or what went into a hull, as JSON."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=sorted(TRACES))
        parser.add_argument("name", help="the lot's code, the hull's number or the maker's batch")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            found = TRACES[options["what"]](options["name"])
        except NothingBySuchName as nothing:
            self.stderr.write(str(nothing))
            sys.exit(1)
        answer = {**asdict(found), "whole": found.is_whole} if options["what"] != "batch" else asdict(found)
        self.stdout.write(json.dumps(answer, default=plain, sort_keys=True, indent=2, ensure_ascii=False))
