"""From a posted form to one entry in the book, the same way for every page."""

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from hullbook.calc.errors import InputRefused
from hullbook.records.models import Entry, TypedRow
from hullbook.records.services import Refused, SameIdOtherWords, Told
from hullbook.web.forms import LogForm, PinField


def told_from(request: HttpRequest, form: LogForm) -> Told:
    """Who logs it and how they were known, on which device, and when the form says it happened."""
    now = timezone.now()
    person: Any = request.user
    return Told(
        entry_id=form.cleaned_data["entry_id"],
        fingerprint=form.fingerprint,
        person=person.initials,
        account=person.account,
        device=request.device.code,  # type: ignore[attr-defined]
        tapped_at=now,
        happened_at=form.cleaned_data["happened_at"] or now,
        keyed=form.keyed(),
        confirmed=tuple(
            {"field": asked.field, "given": asked.given, "question": asked.sentence} for asked in form.confirmed
        ),
    )


def ask_for_pin(request: HttpRequest, form: LogForm) -> None:
    """On a tablet of the shed, the form of an act of signing has one more field."""
    person: Any = request.user
    if person.must_sign:
        form.fields["pin"] = PinField()


def _is_signed(request: HttpRequest, form: LogForm) -> bool:
    """Whether the form carries the right PIN, if it has to; looked at last, when all else is as it should be."""
    person: Any = request.user
    if not person.must_sign:
        return True
    refused: str = request.pin_refused(form.cleaned_data.pop("pin"))  # type: ignore[attr-defined]
    if refused:
        form.refuse({"pin": refused})
    return not refused


def log_page(
    request: HttpRequest,
    form: LogForm,
    act: Callable[[Told], TypedRow],
    *,
    template: str,
    context: dict[str, Any],
    then: Callable[[Any], str],
) -> HttpResponse:
    """Show the form; when it is posted, do the act once and go on to `then(row)`, or show what is wrong (422).

    The answer to an accepted form names the entry in the HB-Entry header. A form sent twice is answered as the first
    time, before it is asked about anything.
    """
    ask_for_pin(request, form)
    if request.method == "POST" and (earlier := _made_already(form)):
        return _accepted(earlier.typed_row(), then)
    if request.method == "POST" and form.is_valid() and _is_signed(request, form):
        try:
            row = act(told_from(request, form))
        except Refused as refused:
            form.refuse(refused.problems)
        except InputRefused as refused:
            form.refuse({refused.field: str(refused)})
        except SameIdOtherWords as other:
            form.refuse({"": str(other)})
        else:
            return _accepted(row, then)
    return render(request, template, {"form": form, **context}, status=422 if request.method == "POST" else 200)


def _made_already(form: LogForm) -> Entry | None:
    """The entry that this very form has made, where it is sent again."""
    try:
        entry_id = UUID(form.posted.get("entry_id", ""))
    except ValueError:
        return None
    entry = Entry.objects.filter(entry_id=entry_id).first()
    return entry if entry and entry.fingerprint == form.fingerprint else None


def _accepted(row: TypedRow, then: Callable[[Any], str]) -> HttpResponse:
    response: HttpResponse = redirect(then(row))
    response["HB-Entry"] = str(row.pk)
    return response
