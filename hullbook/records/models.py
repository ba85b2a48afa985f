"""The book: numbered, chained entries, and the typed rows that say in columns what each entry says."""

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any, ClassVar, Self

from django.apps import apps
from django.core.validators import MinLengthValidator
from django.db import models
from django.db.models import F, Q

from hullbook.calc import chain
from hullbook.quantities.fields import MeasuredField

FORMAT_VERSION = 1
CLOCK_IS_OFF = timedelta(seconds=30)


class Entry(models.Model):
    """One thing logged: who, on which device, when, and what, chained to the entry before."""

    number = models.BigIntegerField(primary_key=True)
    format_version = models.PositiveSmallIntegerField(default=FORMAT_VERSION)
    kind = models.CharField(max_length=60, db_index=True)
    entry_id = models.UUIDField(unique=True)
    device = models.CharField(max_length=40)
    # The tablet's own number for what was tapped on it, so that a lost one is missed; none for what the server made.
    device_sequence = models.PositiveBigIntegerField(null=True)
    person = models.CharField(max_length=12)
    account = models.CharField(max_length=60)
    tapped_at = models.DateTimeField()
    happened_at = models.DateTimeField()
    booked_at = models.DateTimeField()
    about = models.CharField(max_length=20, blank=True, db_index=True)
    keyed = models.TextField()
    body = models.TextField()
    fingerprint = models.CharField(max_length=64)
    previous_hash = models.CharField(max_length=64, unique=True, validators=[MinLengthValidator(64)])
    hash = models.CharField(max_length=64, unique=True, validators=[MinLengthValidator(64)])

    class Meta:
        ordering: ClassVar = ["number"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(number__gt=0),
                name="entry_number_above_zero",
                violation_error_message="Entries count from 1.",
            ),
        ]
        indexes: ClassVar = [models.Index(fields=["device", "device_sequence"], name="entry_by_device_and_sequence")]

    def __str__(self) -> str:
        return f"entry {self.number}"

    def envelope(self) -> dict[str, Any]:
        """What the hash is taken over."""
        return {
            "version": self.format_version,
            "number": self.number,
            "kind": self.kind,
            "entry_id": self.entry_id,
            "device": self.device,
            "device_sequence": self.device_sequence,
            "person": self.person,
            "account": self.account,
            "tapped_at": self.tapped_at,
            "happened_at": self.happened_at,
            "booked_at": self.booked_at,
            "body": json.loads(self.body),
        }

    def chained_hash(self) -> str:
        return chain.link_hash(bytes.fromhex(self.previous_hash), chain.canonical(self.envelope())).hex()

    def typed_row(self) -> "TypedRow":
        model = apps.get_model(self.kind)
        row: TypedRow = model._default_manager.get(pk=self.number)
        return row

    @property
    def confirmed(self) -> list[dict[str, str]]:
        """Questions that were asked about unlikely values, and answered "right as given"."""
        asked: list[dict[str, str]] = json.loads(self.keyed).get("confirmed", [])
        return asked

    @property
    def paper_sheet(self) -> int | None:
        """The number of the hull's paper sheet that it was copied from."""
        number: int | None = json.loads(self.keyed).get("paper_sheet")
        return number

    @property
    def clock_ahead(self) -> timedelta | None:
        """How far the tablet's own clock was ahead of the book's, where it was off by more than half a minute."""
        ahead_s: str | None = self._tablet_clock.get("ahead_s")
        ahead = None if ahead_s is None else timedelta(seconds=float(ahead_s))
        return ahead if ahead is not None and abs(ahead) > CLOCK_IS_OFF else None

    @property
    def tablet_showed(self) -> datetime | None:
        """When it was tapped by the tablet's own clock."""
        shown: str | None = self._tablet_clock.get("tapped_at")
        return None if shown is None else datetime.fromisoformat(shown)

    @property
    def _tablet_clock(self) -> dict[str, str]:
        clock: dict[str, str] = json.loads(self.keyed).get("tablet_clock", {})
        return clock

    @property
    def told_late(self) -> bool:
        """Logged more than two minutes after it happened."""
        return (self.tapped_at - self.happened_at).total_seconds() > 120


class TypedRowQuerySet(models.QuerySet[Any]):
    def current(self) -> Self:
        """Rows that nobody has corrected or struck out."""
        return self.filter(corrected_by__isnull=True, entry__struck_out__isnull=True)


def in_columns(row: models.Model, leave_out: frozenset[str]) -> dict[str, Any]:
    """A row's columns as the book writes them: decimals with all their places, everything else as it is."""
    columns: dict[str, Any] = {}
    for field in row._meta.concrete_fields:
        if field.name in leave_out:
            continue
        value = getattr(row, field.attname)
        if isinstance(field, MeasuredField) and value is not None:
            value = field.as_decimal(value)
        columns[field.name] = value
    return columns


class TypedRow(models.Model):
    """One kind of entry in columns. Added with its entry, never changed."""

    entry = models.OneToOneField(
        Entry, primary_key=True, on_delete=models.PROTECT, related_name="%(app_label)s_%(class)s"
    )
    corrects = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by"
    )
    reason = models.CharField(max_length=400, blank=True)

    # Relations to rows that may be struck out under it: this one then says so where it is shown.
    outlives: ClassVar[frozenset[str]] = frozenset()

    objects = TypedRowQuerySet.as_manager()

    class Meta:
        abstract = True
        ordering: ClassVar = ["pk"]
        constraints: ClassVar = [
            models.CheckConstraint(
                condition=Q(corrects__isnull=True) | ~Q(reason=""),
                name="%(class)s_correction_has_reason",
                violation_error_message="Say why the earlier entry was wrong.",
            )
        ]

    @property
    def is_current(self) -> bool:
        return not hasattr(self, "corrected_by") and not hasattr(self.entry, "struck_out")

    def columns(self) -> dict[str, Any]:
        return in_columns(self, frozenset({"entry"}))

    def sealed_content(self) -> dict[str, Any]:
        """What this row signs for beyond its own columns; it goes into the entry's body."""
        return {}


class EntryRow(models.Model):
    """One line of a list that came with an entry (a reading, a component of a mix). Never changed either."""

    position = models.PositiveSmallIntegerField()
    parent_field: ClassVar[str] = "entry"

    class Meta:
        abstract = True

    def columns(self) -> dict[str, Any]:
        return in_columns(self, frozenset({"id", self.parent_field}))


class LogRow(models.Model):
    """Kept append-only like the book, but outside its chain: sign-ins, and the files that certificates point at."""

    class Meta:
        abstract = True


class StruckOut(TypedRow):
    """An entry that should not have been made; it stays readable, with one line through it."""

    struck = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="struck_out")

    class Meta(TypedRow.Meta):
        constraints: ClassVar = [
            *TypedRow.Meta.constraints,
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="struckout_has_reason",
                violation_error_message="Say why the entry is struck out.",
            ),
            models.CheckConstraint(
                condition=Q(struck__lt=F("entry")),
                name="struckout_is_later",
                violation_error_message="Only an earlier entry can be struck out.",
            ),
        ]

    def __str__(self) -> str:
        return f"entry {self.struck_id} struck out"


class Judgement(EntryRow):
    """What an entry was held against when it was made: value, limit and its source, as they were that day."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="judgements")
    code = models.CharField(max_length=60)
    level = models.CharField(max_length=20)
    value = MeasuredField(null=True)
    expanded_uncertainty = MeasuredField(default=0.0)
    low = MeasuredField(null=True)
    high = MeasuredField(null=True)
    unit = models.CharField(max_length=20, blank=True)
    source = models.CharField(max_length=300, blank=True)
    because = models.CharField(max_length=400, blank=True)
    tables_digest = models.CharField(max_length=64)

    class Meta:
        ordering: ClassVar = ["entry", "position"]
        constraints: ClassVar = [
            models.UniqueConstraint(fields=["entry", "position"], name="judgement_position_once"),
            models.CheckConstraint(
                condition=Q(level__in=["pass", "conditional pass", "conditional fail", "fail", "no verdict"]),
                name="judgement_level_known",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.code}: {self.level}"


def typed_row_models() -> Iterator[type[TypedRow]]:
    return (model for model in apps.get_models() if issubclass(model, TypedRow))


def entry_row_models() -> Iterator[type[EntryRow]]:
    return (model for model in apps.get_models() if issubclass(model, EntryRow))
