"""What was issued, and the bytes that are handed out for it."""

import hashlib

from django.core.files.storage import default_storage
from django.http import Http404

from hullbook.dossier.models import DossierIssue
from hullbook.hulls.models import (
    Hull,
)
from hullbook.hulls.selectors import hull_for
from hullbook.yard.models import Person
from hullbook.yard.perms import Act


def issues_of(hull: Hull) -> list[DossierIssue]:
    """Every issue of a hull, the newest first; also one that was struck out, since its number stays taken."""
    issues = DossierIssue.objects.filter(hull=hull).select_related("entry__struck_out", "file")
    return list(issues.order_by("-number"))


def issue_for(person: Person, act: Act, hull_number: str, number: int) -> DossierIssue:
    hull = hull_for(person, act, hull_number)
    issue = DossierIssue.objects.filter(hull=hull, number=number).select_related("file").first()
    if issue is None:
        raise Http404(f"Hull {hull_number} has no dossier issue {number}.")
    return issue


def issued_bytes(issue: DossierIssue) -> bytes:
    """What was issued, byte for byte; 404 where the stored file is gone or is no longer what was issued."""
    try:
        with default_storage.open(issue.file.path) as stored:
            content: bytes = stored.read()
    except OSError as error:
        raise Http404(f"The file of {issue} is not in the store; bring it back from a backup.") from error
    if hashlib.sha256(content).hexdigest() != issue.file_id:
        raise Http404(f"The stored file of {issue} is not what was issued; bring it back from a backup.")
    return content
