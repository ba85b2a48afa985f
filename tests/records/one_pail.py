"""Addresses for the tests of `log_page`: at one the same thing logged twice is named in the answer, at one not."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import path

from hullbook.records.views import log_page
from hullbook.urls import urlpatterns as the_books
from hullbook.web.views import posted
from hullbook.yard.forms import ClimateForm
from hullbook.yard.models import ClimateReading
from hullbook.yard.perms import Act, require
from hullbook.yard.services import log_climate


def _first_of(reading: ClimateReading) -> str:
    earlier = ClimateReading.objects.current().filter(place=reading.place, pk__lt=reading.pk).order_by("pk").first()
    return f"{reading.place} was also logged as entry {earlier.pk} by {earlier.entry.person}." if earlier else ""


def _page(request: HttpRequest, **more: Any) -> HttpResponse:
    require(request.user, Act.LOG)
    form = ClimateForm(posted(request))
    return log_page(
        request,
        form,
        lambda told: log_climate(**form.given(), told=told),
        template="yard/climate_log.html",
        context={"title": "Log the climate"},
        then=lambda reading: "/",
        **more,
    )


def named(request: HttpRequest) -> HttpResponse:
    return _page(request, beside=_first_of)


def unnamed(request: HttpRequest) -> HttpResponse:
    return _page(request)


urlpatterns = [*the_books, path("pail/named/", named, name="pail-named"), path("pail/unnamed/", unnamed, name="pail")]
