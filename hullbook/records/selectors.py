"""Reading the book, and checking that it is whole."""

import json
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from django.apps import apps
from django.db.models import Max, Min, Q, QuerySet

from hullbook.calc import chain
from hullbook.records.models import Entry, EntryRow, TypedRow, entry_row_models

WALKED_AT_ONCE = 500
# A clock measured anew at each sending is never out by more against itself.
ONE_CLOCK_DIFFERS_AT_MOST = timedelta(minutes=5)


@dataclass(frozen=True)
class BookCheck:
    """Whether the book is whole: how far it was walked, its head, and the first bad entry if there is one."""

    entries: int
    head: str
    last_booked_at: datetime | None
    first_bad: int | None = None
    because: str = ""

    @property
    def is_whole(self) -> bool:
        return self.first_bad is None


def rebuilt_body(entry: Entry, row: TypedRow, lines: Iterable[EntryRow]) -> str:
    """What the entry says, made anew from the columns of its rows."""
    by_model: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for line in lines:
        by_model[line._meta.label_lower].append(line.columns())
    body: dict[str, Any] = {
        "about": entry.about,
        "keyed": json.loads(entry.keyed),
        "row": row.columns(),
        "lines": dict(by_model),
    }
    if sealed := row.sealed_content():
        body["sealed"] = sealed
    return chain.canonical(body)


def book_head() -> BookCheck:
    """The last entry, unchecked."""
    last = Entry.objects.order_by("-number").first()
    if last is None:
        return BookCheck(0, chain.GENESIS.hex(), None)
    return BookCheck(last.number, last.hash, last.booked_at)


def checked_book(upto: int | None = None) -> BookCheck:
    """Walk the chain from the first entry, rebuild every body from its rows, and name the first that differs."""
    head, number, booked_at = chain.GENESIS.hex(), 0, None
    while True:
        # By number, not by offset: a hole in the numbers is found, not skipped.
        entries = list(_numbered_from(number, upto)[:WALKED_AT_ONCE])
        if not entries:
            return BookCheck(number, head, booked_at)
        rows, lines = _rows_of(entries), _lines_of(entries)
        for entry in entries:
            because = _what_is_wrong(entry, number + 1, head, rows.get(entry.number), lines[entry.number])
            if because:
                return BookCheck(number, head, booked_at, first_bad=number + 1, because=because)
            head, number, booked_at = entry.hash, entry.number, entry.booked_at


def _numbered_from(number: int, upto: int | None) -> QuerySet[Entry]:
    entries = Entry.objects.filter(number__gt=number).order_by("number")
    return entries if upto is None else entries.filter(number__lte=upto)


def _what_is_wrong(entry: Entry, expected: int, head: str, row: TypedRow | None, lines: list[EntryRow]) -> str:
    if entry.number != expected:
        return f"entry {expected} is not there; the next is {entry.number}"
    if entry.previous_hash != head:
        return "it does not follow the entry before it"
    if row is None:
        return f"its row in {entry.kind} is not there"
    if rebuilt_body(entry, row, lines) != entry.body:
        return "its columns do not say what the entry says"
    if entry.chained_hash() != entry.hash:
        return "its hash is not the hash of what it says"
    return ""


def _rows_of(entries: list[Entry]) -> dict[int, TypedRow]:
    numbers: dict[str, list[int]] = defaultdict(list)
    for entry in entries:
        numbers[entry.kind].append(entry.number)
    found: dict[int, TypedRow] = {}
    for kind, keys in numbers.items():
        found.update(apps.get_model(kind)._default_manager.in_bulk(keys))
    return found


def _lines_of(entries: list[Entry]) -> dict[int, list[EntryRow]]:
    numbers = [entry.number for entry in entries]
    found: dict[int, list[EntryRow]] = defaultdict(list)
    for model in sorted(entry_row_models(), key=lambda model: model._meta.label_lower):
        parent = model.parent_field
        for line in model._default_manager.filter(**{f"{parent}__in": numbers}).order_by(parent, "position"):
            found[getattr(line, f"{parent}_id")].append(line)
    return found


def entries_about(hull_number: str) -> QuerySet[Entry]:
    return Entry.objects.filter(about=hull_number)


# ---- What each tablet numbered


def last_sequence(device: str) -> int:
    """The highest number in the book of those a tablet gave."""
    highest = Entry.objects.filter(device=device).aggregate(highest=Max("device_sequence"))["highest"]
    return int(highest or 0)


def in_own_order(device: str, sequence: int, tapped_at: datetime) -> datetime:
    """A tap's time by the server's clock, moved where it must be so that no tablet's taps change their order.

    Its clock is measured at each sending, to within the way there: a tap is not before one of a lower number, nor after
    one of a higher number that lies just before it.
    """
    just_before = Q(device_sequence__gt=sequence, tapped_at__range=(tapped_at - ONE_CLOCK_DIFFERS_AT_MOST, tapped_at))
    others = Entry.objects.filter(device=device).aggregate(
        not_before=Max("tapped_at", filter=Q(device_sequence__lt=sequence)),
        not_after=Min("tapped_at", filter=just_before),
    )
    latest = others["not_after"] or tapped_at
    return max(others["not_before"] or latest, latest)


def missing_sequences(device: str, since: datetime, until: datetime) -> list[range]:
    """The numbers a tablet gave to taps of this time that are not in the book: gaps, each a range.

    Counted from the last number before `since` (else the first after it) to the first number after `until` (else the
    last before it).
    """
    numbered = Entry.objects.filter(device=device)
    ends = numbered.aggregate(
        last_before=Max("device_sequence", filter=Q(tapped_at__lt=since)),
        first_after=Min("device_sequence", filter=Q(tapped_at__gt=until)),
    )
    if ends["last_before"] is not None:
        numbered = numbered.filter(device_sequence__gte=ends["last_before"])
    if ends["first_after"] is not None:
        numbered = numbered.filter(device_sequence__lte=ends["first_after"])
    there = sorted({number for number in numbered.values_list("device_sequence", flat=True) if number is not None})
    return [range(before + 1, after) for before, after in pairwise(there) if after > before + 1]
