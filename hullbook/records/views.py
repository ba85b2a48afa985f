"""From a posted form to one entry in the book, the same way for every page."""

from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime, timedelta
from functools import partial
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from hullbook.calc.errors import InputRefused
from hullbook.records.models import Entry, TypedRow
from hullbook.records.selectors import book_head, in_own_order
from hullbook.records.services import Refused, SameIdOtherWords, Told
from hullbook.web.clocks import put_right
from hullbook.web.forms import PAPER_SHEET, LogForm, PinField
from hullbook.web.views import asks_for_json, problems_in_json


def told_from(request: HttpRequest, form: LogForm) -> Told:
    """Who logs it and how they were known, on which device, when it was tapped and when the form says it happened."""
    person: Any = request.user
    tapped_at = form.cleaned_data["tapped_at"] or timezone.now()
    clock = form.by_tablets_clock()
    ahead: timedelta | None = request.clock_ahead  # type: ignore[attr-defined]
    if clock and ahead is not None:
        clock["ahead_s"] = f"{ahead.total_seconds():.3f}"
    return Told(
        entry_id=form.cleaned_data["entry_id"],
        fingerprint=form.fingerprint,
        person=person.initials,
        account=person.account,
        device=request.device.code,  # type: ignore[attr-defined]
        device_sequence=form.cleaned_data["sequence"],
        tapped_at=tapped_at,
        happened_at=form.cleaned_data["happened_at"] or tapped_at,
        keyed=form.keyed(),
        confirmed=tuple(
            {"field": asked.field, "given": asked.given, "question": asked.sentence} for asked in form.confirmed
        ),
        tablet_clock=clock,
        paper_sheet=form.cleaned_data.get(PAPER_SHEET),
    )


def _tap_put_right(request: Any, tapped_at: datetime, sequence: int | None) -> datetime:
    """By the difference of clocks measured at sending; and never out of the tablet's own order."""
    right = put_right(tapped_at, request.clock_ahead, timezone.now())
    device = request.known_device()
    return right if sequence is None or device is None else in_own_order(device.code, sequence, right)


def ask_for_pin(request: HttpRequest, form: LogForm) -> None:
    """On a tablet of the shed, the form of an act of signing has one more field."""
    person: Any = request.user
    if person.tablet is not None and form.is_signed:
        person.must_sign = True
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
    beside: Callable[[Any], str] = lambda row: "",
) -> HttpResponse:
    """Show the form; when it is posted, do the act once and go on to `then(row)`, or show what is wrong (422).

    The answer to an accepted form names the entry in the HB-Entry header. A form sent twice is answered as the first
    time, before it is asked about anything. `beside(row)` names what else was logged about the same thing, in a
    sentence, where there is something. A script that asks for JSON is answered in JSON throughout.
    """
    ask_for_pin(request, form)
    form.put_right = partial(_tap_put_right, request)
    if request.method == "POST" and (earlier := _made_already(form)):
        return _accepted(request, earlier.typed_row(), then, beside, 200)
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
            return _accepted(request, row, then, beside, 201)
    if request.method == "POST" and asks_for_json(request):
        return _not_taken(form)
    return render(request, template, {"form": form, **context}, status=422 if request.method == "POST" else 200)


def _made_already(form: LogForm) -> Entry | None:
    """The entry that this very form has made, where it is sent again."""
    try:
        entry_id = UUID(form.posted.get("entry_id", ""))
    except ValueError:
        return None
    entry = Entry.objects.filter(entry_id=entry_id).first()
    return entry if entry and entry.fingerprint == form.fingerprint else None


def _accepted(
    request: HttpRequest, row: TypedRow, then: Callable[[Any], str], beside: Callable[[Any], str], status: int
) -> HttpResponse:
    also_logged = beside(row)
    if asks_for_json(request):
        head = book_head()
        ahead: timedelta | None = request.clock_ahead  # type: ignore[attr-defined]
        response: HttpResponse = JsonResponse(
            {
                "entry": row.pk,
                "id": row.entry.entry_id,
                "hash": row.entry.hash,
                "kind": row.entry.kind,
                "head": {"number": head.entries, "hash": head.head},
                "clock_ahead_s": None if ahead is None else round(ahead.total_seconds(), 1),
                "beside": also_logged or None,
                "then": then(row),
            },
            status=status,
        )
    else:
        if also_logged:
            messages.info(request, also_logged)
        response = redirect(then(row))
    response["HB-Entry"] = str(row.pk)
    return response


def _not_taken(form: LogForm) -> HttpResponse:
    problems = {"" if name == "__all__" else name: " ".join(map(str, said)) for name, said in form.errors.items()}
    return problems_in_json(problems, 422, questions=[asdict(question) for question in form.questions])
