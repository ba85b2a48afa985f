"""The book about a hull, in words."""

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from django.apps import apps
from django.core.exceptions import PermissionDenied
from django.db import models
from django.utils import timezone

from hullbook.hulls.models import Hull, Photo
from hullbook.materials.models import Lot
from hullbook.quantities.showing import show
from hullbook.records.models import Entry, StruckOut
from hullbook.records.selectors import entries_about
from hullbook.yard.models import Person
from hullbook.yard.perms import Act, may

OWN_STRIKE_OUT = timedelta(hours=24)

# Kinds of entry that have a page to correct them, and its name. All but the first are about a part.
CORRECTED_AT = {
    "hulls.craftnumbergiven": "hulls:craft-number-correct",
    "hulls.laying": "hulls:laying-correct",
    "pours.mix": "pours:mix-correct",
    "inspection.finding": "inspection:finding-correct",
    "inspection.hardnessset": "inspection:hardness-correct",
    "inspection.weighing": "inspection:weighing-correct",
}

UNIT_ENDINGS = (
    ("_kg_m2", "kg/m2"),
    ("_kg_m3", "kg/m3"),
    ("_mbar_abs", "mbar"),
    ("_mbar", "mbar"),
    ("_pa_s", "Pa.s"),
    ("_fraction", "fraction"),
    ("_percent", "%"),
    ("_phr", "phr"),
    ("_min", "min"),
    ("_m2", "m2"),
    ("_mm", "mm"),
    ("_kg", "kg"),
    ("_deg", "deg"),
    ("_m", "m"),
    ("_c", "degC"),
    ("_h", "h"),
)


def unit_of(name: str) -> str:
    """The unit that a column's name ends with; "1" for a plain number."""
    return next((unit for ending, unit in UNIT_ENDINGS if name.endswith(ending)), "1")


TOLD_AS = {
    "air_temperature_start_c": "air at the start",
    "air_temperature_end_c": "air at the end",
    "build_regime": "built as",
    "decided": "",
    "decision": "",
    "disc_high": "disc marked to",
    "disc_low": "disc marked from",
    "disc_reading": "disc reads",
    "dose_phr": "dose",
    "form": "",
    "gauge_kind": "gauge reads",
    "girth_mm": "from the keel",
    "how": "",
    "inlet_number": "inlet",
    "kind": "",
    "left_out_because": "left out:",
    "line": "",
    "line_number": "feed line",
    "move": "",
    "opens_after": "opens after feed line",
    "opens_front_mm": "its front at",
    "outcome": "",
    "pail_number": "pail",
    "part_temperature_c": "part at",
    "pull_number": "pull",
    "required_mean": "least mean wanted",
    "required_source": "which is",
    "resin_temperature_c": "resin at",
    "role": "",
    "state": "",
    "value": "",
    "what": "",
    "words": "",
    "zone_name": "zone",
}
"""Columns whose names are not the words of the yard; empty where the value speaks for itself."""


def words_of(name: str) -> str:
    """A column in words, without its unit."""
    if name in TOLD_AS:
        return TOLD_AS[name]
    ending = next((ending for ending, _ in UNIT_ENDINGS if name.endswith(ending) and ending != "_fraction"), "")
    return name.removesuffix(ending).replace("_", " ")


@dataclass(frozen=True)
class Said:
    """One column of an entry, in words."""

    words: str
    value: str

    def __str__(self) -> str:
        return f"{self.words} {self.value}".strip()


WHOSE = ("hull", "part", "pour")


@dataclass(frozen=True)
class EntryInWords:
    """An entry as a person reads it. `struck_by` is the entry that corrected it or struck it out."""

    entry: Entry
    what: str
    said: tuple[Said, ...]
    lines: tuple[tuple[Said, ...], ...]
    verdicts: tuple[Said, ...]
    corrects: int | None
    reason: str
    struck_by: int | None
    struck_because: str

    @property
    def in_short(self) -> str:
        return ", ".join(str(said) for said in [said for said in self.said if said.words not in WHOSE][:4])

    @property
    def readings(self) -> str:
        """Lines that are one reading each, side by side; empty where a line says more."""
        if any(line[0].words or len(line) > 2 for line in self.lines if line):
            return ""
        return ", ".join(" ".join(str(said) for said in line) for line in self.lines if line)

    @property
    def worst(self) -> str:
        """The gravest verdict that came with it, where it is not a pass."""
        levels = {verdict.words for verdict in self.verdicts}
        return next((level for level in ("fail", "conditional fail", "conditional pass") if level in levels), "")

    @property
    def can_be_corrected(self) -> bool:
        return self.entry.kind in CORRECTED_AT


LAST_SHOWN = 8
ENTRIES_A_PAGE = 25


Lines = dict[int, tuple[int, str]]
"""By entry: the later one that put a line through it, and why."""


def last_entries(hull: Hull) -> list[EntryInWords]:
    """The newest entries about a hull, told from their bodies alone: what corrects one is newer, so it is here."""
    entries = list(entries_about(hull.number).select_related("struck_out").order_by("-number")[:LAST_SHOWN])
    bodies = {entry.number: json.loads(entry.body) for entry in entries}
    rows = {number: body["row"] for number, body in bodies.items()}
    corrected = {row["corrects"]: (number, row["reason"]) for number, row in rows.items() if row["corrects"]}
    struck = [entry.struck_out for entry in entries if hasattr(entry, "struck_out")]
    lines = {**corrected, **{row.struck_id: (row.pk, row.reason) for row in struck}}
    return [_in_words(entry, bodies[entry.number], lines, Names()) for entry in entries]


def entries_in_words(entries: Iterable[Entry]) -> list[EntryInWords]:
    """Entries with all they say and what they point at by name; a query for each kind, however many there are."""
    entries = with_photos(entries)
    bodies = {entry.number: json.loads(entry.body) for entry in entries}
    lines, names = {**_corrected(entries), **_struck_out(entries)}, _names(bodies, entries)
    return [_in_words(entry, bodies[entry.number], lines, names) for entry in entries]


def with_photos(entries: Iterable[Entry]) -> list[Entry]:
    """Entries with the photos that count of each at hand, by one query."""
    entries = list(entries)
    models.prefetch_related_objects(entries, models.Prefetch("photos", queryset=Photo.objects.current()))
    return entries


def _corrected(entries: Sequence[Entry]) -> Lines:
    by_kind: dict[str, list[int]] = defaultdict(list)
    for entry in entries:
        by_kind[entry.kind].append(entry.number)
    found: Lines = {}
    for kind, numbers in by_kind.items():
        rows = apps.get_model(kind)._default_manager.filter(corrects__in=numbers)
        found |= {old: (new, reason) for old, new, reason in rows.values_list("corrects", "pk", "reason")}
    return found


def _struck_out(entries: Sequence[Entry]) -> Lines:
    rows = StruckOut.objects.filter(struck__in=[entry.number for entry in entries])
    return {old: (new, reason) for old, new, reason in rows.values_list("struck", "pk", "reason")}


@dataclass(frozen=True)
class Names:
    """What every row that entries point at is called, and what each lot is counted in."""

    by_row: dict[tuple[type[models.Model], Any], str] = field(default_factory=dict)
    stock_units: dict[int, str] = field(default_factory=dict)


def _names(bodies: dict[int, dict[str, Any]], entries: Sequence[Entry]) -> Names:
    wanted: dict[type[models.Model], set[Any]] = defaultdict(set)
    for entry in entries:
        body = bodies[entry.number]
        tables = [(entry.kind, [body["row"]]), *body["lines"].items()]
        for kind, rows in tables:
            model = apps.get_model(kind)
            for row in rows:
                for column, value in _columns(model, row):
                    if column.is_relation and value is not None and column.name not in ("corrects", "struck"):
                        wanted[column.related_model].add(value)
    names = Names()
    for model, keys in wanted.items():
        relations = [
            f.name for f in model._meta.concrete_fields if f.is_relation and f.name not in ("entry", "corrects")
        ]
        for key, row in model._default_manager.select_related(*relations).in_bulk(list(keys)).items():
            names.by_row[model, key] = str(row)
            if isinstance(row, Lot):
                names.stock_units[key] = row.material.stock_unit
    return names


def _columns(model: type[models.Model], row: dict[str, Any]) -> list[tuple[Any, Any]]:
    return [(column, row[column.name]) for column in model._meta.concrete_fields if column.name in row]


def _said(model: type[models.Model], row: dict[str, Any], names: Names) -> tuple[Said, ...]:
    said = []
    for column, value in _columns(model, row):
        if column.name in ("corrects", "reason", "position", "tables_digest") or value in (None, ""):
            continue
        if column.is_relation:
            text = f"entry {value}" if column.name == "struck" else names.by_row.get((column.related_model, value), "")
        elif column.choices:
            text = str(dict(column.flatchoices).get(value, value))
        elif isinstance(value, bool):
            text = "yes" if value else "no"
        elif column.get_internal_type() == "DecimalField":
            text = _figure(column.name, float(value), names.stock_units.get(row.get("lot", 0), ""))
        else:
            text = str(value)
        if text:
            said.append(Said(words_of(column.name), text))
    return tuple(said)


def _figure(name: str, value: float, stock_unit: str) -> str:
    """A figure with the unit its column's name ends with, or its lot is counted in; no figure without a known unit."""
    if name.endswith("quantity"):
        return show(value, stock_unit) if stock_unit else ""
    unit = unit_of(name)
    return f"{value:g}" if unit == "1" else show(value, unit)


def _in_words(entry: Entry, body: dict[str, Any], lines: Lines, names: Names) -> EntryInWords:
    model = apps.get_model(entry.kind)
    struck_by, because = lines.get(entry.number, (None, ""))
    judged = body["lines"].pop("records.judgement", [])
    return EntryInWords(
        entry=entry,
        what=str(model._meta.verbose_name),
        said=_said(model, body["row"], names),
        lines=tuple(_said(apps.get_model(kind), row, names) for kind, rows in body["lines"].items() for row in rows),
        verdicts=tuple(Said(one["level"], one["because"] or one["code"].replace(".", " ")) for one in judged),
        corrects=body["row"].get("corrects"),
        reason=body["row"]["reason"],
        struck_by=struck_by,
        struck_because=because,
    )


def require_own_or_lead(person: Person, entry: Entry, *, verb: str) -> None:
    """Correcting and striking out: one's own entry within a day; after that, and anybody else's, the quality lead."""
    is_own = entry.person == person.initials and timezone.now() - entry.booked_at <= OWN_STRIKE_OUT
    if not is_own and not may(person, Act.RELEASE_HOLD_POINT):
        raise PermissionDenied(
            f"Your own entry you {verb} within 24 hours; after that, and others', the quality lead does."
        )
