"""A hull's dossier: how it stands, drawing it, issuing it, and handing out what was issued."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from hullbook.dossier.forms import IssueForm
from hullbook.dossier.report import draw_dossier
from hullbook.dossier.selectors import dossier_content, issue_for, issued_bytes, issues_of
from hullbook.dossier.services import issue_dossier
from hullbook.hulls.models import Hull
from hullbook.hulls.selectors import hull_for
from hullbook.records.views import ask_for_pin, log_page
from hullbook.web.views import reads
from hullbook.yard.perms import Act, may, require


def _page(hull: Hull) -> dict[str, Any]:
    return {
        "hull": hull,
        "content": dossier_content(hull),
        "issues": issues_of(hull),
        # Also where the form is shown again, at an address that only takes it.
        "shown_at": reverse("dossier:dossier", args=[hull.number]),
    }


@reads
def dossier(request: HttpRequest, number: str) -> HttpResponse:
    hull = hull_for(request.user, Act.READ, number)
    form = IssueForm()
    if may(request.user, Act.ISSUE_DOSSIER):
        require(request.user, Act.ISSUE_DOSSIER)
        ask_for_pin(request, form)
    return render(request, "dossier/dossier.html", {**_page(hull), "form": form})


@require_http_methods(["POST"])
def issue(request: HttpRequest, number: str) -> HttpResponse:
    hull = hull_for(request.user, Act.ISSUE_DOSSIER, number)
    return log_page(
        request,
        IssueForm(request.POST),
        lambda told: issue_dossier(hull=hull, told=told),
        template="dossier/dossier.html",
        context=_page(hull),
        then=lambda issued: reverse("dossier:dossier", args=[number]),
    )


@reads
def draw(request: HttpRequest, number: str) -> HttpResponse:
    hull = hull_for(request.user, Act.READ, number)
    return _pdf(draw_dossier(dossier_content(hull)), f"{hull.number}-dossier-as-it-stands.pdf", "inline")


@reads
def download(request: HttpRequest, number: str, issue: int) -> HttpResponse:
    issued = issue_for(request.user, Act.READ, number, issue)
    return _pdf(issued_bytes(issued), f"{number}-dossier-{issued.number}.pdf", "attachment")


def _pdf(content: bytes, name: str, disposition: str) -> HttpResponse:
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'{disposition}; filename="{name}"'
    return response
