"""Pages that follow a lot to its hulls and a hull to its lots."""

from collections.abc import Callable
from typing import TypeVar

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from hullbook.trace import selectors
from hullbook.trace.selectors import NothingBySuchName
from hullbook.web.views import reads
from hullbook.yard.perms import Act, require

Answer = TypeVar("Answer")
PAGES = {"lot": "trace:lot", "hull": "trace:hull", "batch": "trace:batch"}


def _or_404(trace: Callable[[str], Answer], name: str) -> Answer:
    try:
        return trace(name)
    except NothingBySuchName as nothing:
        raise Http404(str(nothing)) from nothing


@reads
def trace(request: HttpRequest) -> HttpResponse:
    """Where to begin; a name typed leads on to its page."""
    require(request.user, Act.TRACE)
    asked = request.GET.get("q", "").strip()[:60]
    nothing = ""
    if asked:
        try:
            found = selectors.find(asked)
        except NothingBySuchName as error:
            nothing = str(error)
        else:
            return redirect(reverse(PAGES[found.kind], args=[found.name]))
    context = {**selectors.names_to_begin_with(), "asked": asked, "nothing": nothing}
    return render(request, "trace/trace.html", context, status=404 if nothing else 200)


@reads
def lot(request: HttpRequest, code: str) -> HttpResponse:
    require(request.user, Act.TRACE)
    return render(request, "trace/lot.html", {"trace": _or_404(selectors.lot_trace, code)})


@reads
def hull(request: HttpRequest, number: str) -> HttpResponse:
    require(request.user, Act.TRACE)
    return render(request, "trace/hull.html", {"trace": _or_404(selectors.hull_trace, number)})


@reads
def batch(request: HttpRequest, batch: str) -> HttpResponse:
    require(request.user, Act.TRACE)
    return render(request, "trace/batch.html", {"trace": _or_404(selectors.batch_trace, batch)})
