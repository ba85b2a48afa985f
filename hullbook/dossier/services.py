"""Issuing a dossier, and saying of a file whether it is one that was issued."""

import hashlib
import json
from dataclasses import dataclass
from typing import Any

from hullbook.calc import chain
from hullbook.dossier.models import DossierIssue
from hullbook.dossier.report import draw_dossier, record_inside
from hullbook.dossier.selectors import FORMAT, book_of, dossier_content, issues_of
from hullbook.hulls.models import Hull
from hullbook.materials.services import store_file
from hullbook.records.models import Entry
from hullbook.records.selectors import checked_book
from hullbook.records.services import Refused, Told, append, logs


@logs
def issue_dossier(*, hull: Hull, told: Told) -> DossierIssue:
    """Draw the hull as it stands, keep the bytes, and log it. Nothing is issued from a book that is not whole."""
    check = checked_book()
    if not check.is_whole:
        raise Refused(f"The book is not whole: entry {check.first_bad}, {check.because}. Nothing is issued from it.")
    number = max((issue.number for issue in issues_of(hull)), default=0) + 1
    content = dossier_content(hull, issue_number=number)
    file = store_file(content=draw_dossier(content), sent_name=f"{hull.number}-dossier-{number}.pdf")
    issue = DossierIssue(
        hull=hull,
        number=number,
        upto_entry=content.as_at.number,
        as_it_stands=content.as_it_stands,
        missing_count=len(content.missing),
        file=file,
    )
    return append(issue, told=told, about=hull.number)


@dataclass(frozen=True)
class DossierCheck:
    """What the book says of a file: the issue it is, if it is one, and where its entries differ from the book's."""

    sha256: str
    issue: DossierIssue | None
    entries: int
    problems: tuple[str, ...]

    @property
    def is_good(self) -> bool:
        return self.issue is not None and not self.problems

    @property
    def words(self) -> str:
        if self.issue is None:
            return f"not a dossier this book has issued: no issue has the SHA-256 {self.sha256}"
        issue, hull = self.issue, self.issue.hull.number
        return f"issue {issue.number} of hull {hull}, as at entry {issue.upto_entry}, logged in entry {issue.pk}"


def check_dossier(pdf: bytes) -> DossierCheck:
    """Hold a file against the book: by its hash, and entry by entry by what is inside it. Nothing is changed."""
    digest = hashlib.sha256(pdf).hexdigest()
    issue = DossierIssue.objects.filter(file_id=digest).select_related("hull").order_by("pk").first()
    text = record_inside(pdf)
    if text is None:
        return DossierCheck(digest, issue, 0, ("no book.json that can be read is inside this file",))
    try:
        record = json.loads(text)
        if record["format"] != FORMAT:
            return DossierCheck(digest, issue, 0, (f"book.json is in the form {record['format']}, not {FORMAT}",))
        told = {entry["number"]: entry for entry in record["entries"]}
        problems = [*_differing_entries(told), *_differing_words(record, text)]
    except (ValueError, KeyError, TypeError):
        return DossierCheck(digest, issue, 0, ("book.json inside this file is not as a dossier writes it",))
    return DossierCheck(digest, issue, len(told), tuple(problems))


def _differing_entries(told: dict[int, dict[str, Any]]) -> list[str]:
    in_book = Entry.objects.in_bulk(list(told))
    problems = []
    for number, one in sorted(told.items()):
        entry = in_book.get(number)
        if entry is None:
            problems.append(f"entry {number} is not in the book")
            continue
        as_booked = {**entry.envelope(), "previous_hash": entry.previous_hash, "hash": entry.hash}
        if json.loads(chain.canonical(as_booked)) != one:
            problems.append(f"entry {number} does not say what the book says")
    return problems


def _differing_words(record: dict[str, Any], text: str) -> list[str]:
    """What is worked out from the entries can be held against the book as long as the hull has not gone on since."""
    hull = Hull.objects.filter(number=record["hull"]).first()
    if hull is None:
        return [f"there is no hull {record['hull']} in the book"]
    content = dossier_content(hull, issue_number=record["issue"])
    if content.as_at.number == record["as_at"]["entry"] and book_of(content) != text:
        return ["what book.json says beside its entries is not what the book says"]
    return []
