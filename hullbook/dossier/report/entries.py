"""How an entry reads in a table: its time, its verdicts, and the line through it when it no longer stands."""

from collections.abc import Iterable
from typing import Any

from reportlab.platypus import Flowable

from hullbook.dossier.report.paper import Line
from hullbook.dossier.selectors import Logged, moment
from hullbook.quantities.showing import NOT_KNOWN
from hullbook.records.models import Judgement

Story = list[Flowable]


def clock(logged: Logged[Any]) -> str:
    """Date and time of day of an entry, in UTC as everywhere in the dossier."""
    return moment(logged.entry.happened_at).removesuffix(" UTC")


def line_of(logged: Logged[Any], *cells: object) -> Line:
    return Line(cells, struck=not logged.stands, note=f"Entry {logged.row.pk} {logged.gone}" if logged.gone else "")


def verdict_words(judgements: Iterable[Judgement]) -> str:
    """The levels of an entry's judgements; which one is meant is said where it is not a pass."""
    judged = list(judgements)
    told = [f"{judgement.code}: {judgement.level}" for judgement in judged if judgement.level != "pass"]
    return "; ".join(told) or ("pass" if judged else NOT_KNOWN)
