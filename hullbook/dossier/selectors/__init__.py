"""Everything a hull's dossier says, gathered from the book; nothing here draws."""

from hullbook.dossier.selectors.content import (
    AS_IT_STANDS,
    FORMAT,
    Answer,
    Attachment,
    Chapter,
    DossierContent,
    EntryTold,
    HeldTest,
    LaidFeed,
    LayUp,
    Logged,
    LotUse,
    PartTold,
    PourTold,
    ReadPlan,
    SetPlan,
    TroubleTold,
    moment,
)
from hullbook.dossier.selectors.gather import dossier_content
from hullbook.dossier.selectors.issues import issue_for, issued_bytes, issues_of
from hullbook.dossier.selectors.telling import book_of

__all__ = [
    "AS_IT_STANDS",
    "FORMAT",
    "Answer",
    "Attachment",
    "Chapter",
    "DossierContent",
    "EntryTold",
    "HeldTest",
    "LaidFeed",
    "LayUp",
    "Logged",
    "LotUse",
    "PartTold",
    "PourTold",
    "ReadPlan",
    "SetPlan",
    "TroubleTold",
    "book_of",
    "dossier_content",
    "issue_for",
    "issued_bytes",
    "issues_of",
    "moment",
]
