"""Adding to the book. Every service that logs something comes through `logs` and `append`."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import wraps
from typing import Any, ParamSpec, TypeVar
from uuid import UUID, uuid5

from django.core.exceptions import ValidationError
from django.db import connection, transaction
from django.db.models import UniqueConstraint
from django.utils import timezone

from hullbook.calc import chain
from hullbook.calc.verdict import Verdict
from hullbook.quantities import tables
from hullbook.records.models import Entry, EntryRow, Judgement, StruckOut, TypedRow
from hullbook.records.selectors import rebuilt_body
from hullbook.records.triggers import lock_book


@dataclass(frozen=True, kw_only=True)
class Told:
    """Who logged it, on which device, when, and what was keyed to the letter.

    `paper_sheet` numbers the hull's paper sheet it was copied from. Times are by the server's clock; what a
    tablet's own clock said, and how far it was ahead, stands in `tablet_clock`. `booked_at` is now unless a whole
    book is being retold, as the demo yard is.
    """

    entry_id: UUID
    fingerprint: str
    person: str
    account: str
    device: str
    tapped_at: datetime
    happened_at: datetime
    device_sequence: int | None = None
    keyed: Mapping[str, str] = field(default_factory=dict)
    confirmed: tuple[Mapping[str, str], ...] = ()
    tablet_clock: Mapping[str, str] = field(default_factory=dict)
    paper_sheet: int | None = None
    booked_at: datetime | None = None

    def also(self, name: str) -> "Told":
        """The same act's second entry, of the same tap: its id follows from the first, so that a repeat finds both."""
        return replace(self, entry_id=uuid5(self.entry_id, name), keyed={}, confirmed=(), tablet_clock={})


class Refused(Exception):
    """Something a service does not take: sentences by field name, "" where no one field is to blame."""

    def __init__(self, problems: dict[str, str] | str) -> None:
        self.problems = {"": problems} if isinstance(problems, str) else problems
        super().__init__("; ".join(self.problems.values()))


class SameIdOtherWords(Exception):
    """An entry with this id is in the book already, and says something else."""

    def __init__(self, earlier: Entry) -> None:
        self.earlier = earlier
        super().__init__(f"This form is in the book already as entry {earlier.number}, with other values.")


CLOCKS_DIFFER_AT_MOST = timedelta(minutes=5)

P = ParamSpec("P")
Row = TypeVar("Row", bound=TypedRow)


def logs(service: Callable[P, Row]) -> Callable[P, Row]:
    """Make a service one act: one transaction, one writer at a time, and once only for the same entry id.

    The service takes a keyword argument `told`. The same id with the same fingerprint gives the first answer again; the
    same id with another fingerprint raises SameIdOtherWords.
    """

    @wraps(service)
    def act(*args: P.args, **kwargs: P.kwargs) -> Row:
        told = kwargs["told"]
        assert isinstance(told, Told)  # noqa: S101 - a programming error, not a person's
        with transaction.atomic():
            lock_book(connection)
            earlier = Entry.objects.filter(entry_id=told.entry_id).first()
            if earlier is None:
                return service(*args, **kwargs)
            if earlier.fingerprint != told.fingerprint:
                raise SameIdOtherWords(earlier)
            return earlier.typed_row()  # type: ignore[return-value]

    return act


def append(row: Row, rows: Iterable[EntryRow] = (), *, told: Told, about: str = "") -> Row:
    """Add one entry with its typed row and the lines that came with it. Call it inside a service marked `logs`.

    Model constraints are checked first and come back as `Refused` sentences by field.
    """
    rows = list(rows)
    if told.happened_at > told.tapped_at + CLOCKS_DIFFER_AT_MOST:
        raise Refused({"happened_at": f"{told.happened_at:%Y-%m-%d %H:%M} lies ahead; give now or earlier."})
    if row.corrects is not None and row.corrects.entry.about != about:
        raise Refused(f"Entry {row.corrects.pk} is about {row.corrects.entry.about or 'the yard'}; correct it there.")
    last = Entry.objects.order_by("-number").first()
    number = last.number + 1 if last else 1
    row.entry_id = number
    _number_lines(number, row, rows)
    _check(row, rows)
    entry = Entry(
        number=number,
        kind=row._meta.label_lower,
        entry_id=told.entry_id,
        device=told.device,
        device_sequence=told.device_sequence,
        person=told.person,
        account=told.account,
        tapped_at=told.tapped_at,
        happened_at=told.happened_at,
        booked_at=told.booked_at or timezone.now(),
        about=about,
        keyed=chain.canonical(_keyed(told)),
        fingerprint=told.fingerprint,
        previous_hash=last.hash if last else chain.GENESIS.hex(),
    )
    entry.body = rebuilt_body(entry, row, rows)
    entry.hash = entry.chained_hash()
    entry.save(force_insert=True)
    row.save(force_insert=True)
    for line in rows:
        line.save(force_insert=True)
    row.entry = entry
    return row


def _keyed(told: Told) -> dict[str, Any]:
    clock = {"tablet_clock": dict(told.tablet_clock)} if told.tablet_clock else {}
    paper = {"paper_sheet": told.paper_sheet} if told.paper_sheet else {}
    return {"fields": dict(told.keyed), "confirmed": [dict(asked) for asked in told.confirmed], **clock, **paper}


def judgements(verdicts: Iterable[Verdict]) -> list[Judgement]:
    """Verdicts as lines to append with the entry they judge."""
    return [
        Judgement(
            code=verdict.code,
            level=verdict.level,
            value=verdict.value,
            expanded_uncertainty=verdict.expanded_uncertainty,
            low=verdict.low,
            high=verdict.high,
            unit=verdict.unit,
            source=verdict.source,
            because=verdict.because,
            tables_digest=tables.digest(),
        )
        for verdict in verdicts
    ]


def refuse_second_correction(row: TypedRow) -> None:
    # The book is asked anew: the row may have been read before it was this writer's turn.
    if not type(row).objects.current().filter(pk=row.pk).exists():
        raise Refused(f"Entry {row.pk} has been corrected or struck out already; go on from the newer one.")


def struck_out(entry: Entry, reason: str, rows: Iterable[EntryRow] = (), *, told: Told) -> StruckOut:
    """Strike an entry out; call it inside a service marked `logs`, with the lines that undo what the entry moved."""
    if not reason.strip():
        raise Refused({"reason": "Say why the entry is struck out."})
    refuse_second_correction(entry.typed_row())
    return append(StruckOut(struck=entry, reason=reason.strip()), rows, told=told, about=entry.about)


def _number_lines(number: int, row: TypedRow, rows: list[EntryRow]) -> None:
    counts: dict[type[EntryRow], int] = {}
    for line in rows:
        counts[type(line)] = line.position = counts.get(type(line), 0) + 1
        # A line may also point at the row it comes with, as a lot's receipt does at its lot.
        for name in _pointing_at(row, line):
            setattr(line, name, row)
        setattr(line, f"{line.parent_field}_id", number)


def _pointing_at(row: TypedRow, line: EntryRow) -> set[str]:
    return {name for name, related in line._state.fields_cache.items() if related is row}


def _check(row: TypedRow, rows: list[EntryRow]) -> None:
    written: list[TypedRow | EntryRow] = [row, *rows]
    for one in written:
        if nul := next((name for name, value in one.columns().items() if isinstance(value, str) and "\0" in value), ""):
            raise Refused({nul: "There is a NUL character in it; give letters, digits and marks."})
    try:
        row.full_clean(exclude={"entry"}, validate_unique=False)
        for line in rows:
            line.full_clean(exclude={line.parent_field, *_pointing_at(row, line)}, validate_unique=False)
    except ValidationError as error:
        problems = error.message_dict if hasattr(error, "error_dict") else {"__all__": error.messages}
        raise Refused(
            {"" if name == "__all__" else name: " ".join(texts) for name, texts in problems.items()}
        ) from error
    for model in {type(line) for line in rows}:
        _refuse_twice(model, [line for line in rows if type(line) is model])


def _refuse_twice(model: type[EntryRow], lines: list[EntryRow]) -> None:
    """What one entry may hold once; its lines being new with it, nothing else of the book is asked."""
    for constraint in model._meta.constraints:
        if not isinstance(constraint, UniqueConstraint) or model.parent_field not in constraint.fields:
            continue
        names = [name for name in constraint.fields if name != model.parent_field]
        given = [tuple(line.columns()[name] for name in names) for line in lines]
        whole = [one for one in given if None not in one]
        if len(set(whole)) < len(whole):
            raise Refused(str(constraint.get_violation_error_message()))
