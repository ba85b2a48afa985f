"""Pages of the cure."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from hullbook.cure import services
from hullbook.cure.forms import AboveForm, CureReadingForm, DemouldForm
from hullbook.cure.selectors import cure_plot, cure_view, probes_on_the_girth
from hullbook.hulls.selectors import girth_to_point_at, part_for
from hullbook.records.views import log_page
from hullbook.web.views import posted, reads
from hullbook.yard.perms import Act


@reads
def cure(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.READ, number, part)
    above = AboveForm(request.GET)
    view = cure_view(found, above.cleaned_data["above"] if above.is_valid() else None)
    context = {
        "part": found,
        "view": view,
        "above": above,
        "plot": cure_plot(view) if view.curves else None,
        "girth": probes_on_the_girth(view),
    }
    return render(request, "cure/cure.html", context, status=200 if above.is_valid() else 422)


@require_http_methods(["GET", "POST"])
def reading_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    form = CureReadingForm(posted(request), places=[curve.place for curve in cure_view(found).curves])
    return log_page(
        request,
        form,
        lambda told: services.log_cure_reading(part=found, **form.given(), told=told),
        template="cure/log.html",
        context={"part": found, "title": "Temperature of the part", "scene": girth_to_point_at(found)},
        then=lambda _: reverse("cure:cure", args=[number, part]),
    )


@require_http_methods(["GET", "POST"])
def demould_log(request: HttpRequest, number: str, part: str) -> HttpResponse:
    found = part_for(request.user, Act.LOG, number, part)
    form = DemouldForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: services.log_demould(part=found, **form.given(), told=told),
        template="cure/log.html",
        context={"part": found, "title": "Demould"},
        then=lambda _: reverse("cure:cure", args=[number, part]),
    )
