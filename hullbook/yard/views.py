"""The yard's own pages: the door, people, instruments, limits, climate."""

from typing import Any

from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from hullbook.records.selectors import book_head
from hullbook.records.views import log_page
from hullbook.web.views import reads
from hullbook.yard import services
from hullbook.yard.enums import LimitName
from hullbook.yard.forms import (
    BayForm,
    CalibrationForm,
    ClimateForm,
    InstrumentAddForm,
    LimitForm,
    PersonForm,
    RoleForm,
    YardForm,
)
from hullbook.yard.models import Bay, Instrument
from hullbook.yard.perms import Act, require
from hullbook.yard.selectors import bays, climate_in, instrument_cards, limits_in_force, people, yard_in_force


def yard_name(request: HttpRequest) -> dict[str, object]:
    """For every page: whose book it is, and whether the yard is an invented one."""
    yard = yard_in_force()
    return {"yard_name": yard.name if yard else "hullbook", "yard_is_invented": bool(yard and yard.is_invented)}


@login_not_required
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    form = AuthenticationForm(request, data=request.POST if request.method == "POST" else None)
    form.error_messages["invalid_login"] = (
        "No such name and password together. After five misses the door stays shut a while."
    )
    if request.method == "POST":
        came_in = form.is_valid()
        services.log_sign_in(
            sign_in_name=request.POST.get("username", ""),
            address=request.META.get("REMOTE_ADDR") or None,
            succeeded=came_in,
        )
        if came_in:
            login(request, form.get_user())
            return redirect(_where_to(request))
    return render(request, "yard/sign_in.html", {"form": form}, status=422 if request.method == "POST" else 200)


def _where_to(request: HttpRequest) -> str:
    wanted = request.GET.get("next", "")
    if url_has_allowed_host_and_scheme(wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()):
        return wanted
    return reverse("hulls:shed")


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("yard:sign-in")


@reads
def yard(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    today = timezone.localdate()
    context = {
        "yard": yard_in_force(),
        "people": people(),
        "instruments": instrument_cards(today),
        "limits": limits_in_force(),
        "limits_not_set": [name for name in LimitName if name not in {limit.name for limit in limits_in_force()}],
        "bays": bays(),
        "book": book_head(),
    }
    return render(request, "yard/yard.html", context)


def _back_to_yard(row: Any) -> str:
    return reverse("yard:yard")


@require_http_methods(["GET", "POST"])
def yard_named(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    form = YardForm(request.POST if request.method == "POST" else None)
    return log_page(
        request,
        form,
        lambda told: services.name_yard(**form.given(), told=told),
        template="yard/act.html",
        context={"title": "Name the yard"},
        then=_back_to_yard,
    )


@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def person_add(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_PEOPLE)
    form = PersonForm(request.POST if request.method == "POST" else None)
    return log_page(
        request,
        form,
        lambda told: services.add_person(**form.given(), told=told),
        template="yard/act.html",
        context={"title": "Name a person"},
        then=_back_to_yard,
    )


@require_http_methods(["GET", "POST"])
def role_change(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_PEOPLE)
    form = RoleForm(request.POST if request.method == "POST" else None)
    return log_page(
        request,
        form,
        lambda told: services.change_role(**form.given(), told=told),
        template="yard/act.html",
        context={"title": "Change a role"},
        then=_back_to_yard,
    )


@require_http_methods(["GET", "POST"])
def bay_add(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    form = BayForm(request.POST if request.method == "POST" else None)
    return log_page(
        request,
        form,
        lambda told: services.add_bay(**form.given(), told=told),
        template="yard/act.html",
        context={"title": "Add a bay"},
        then=_back_to_yard,
    )


@require_http_methods(["GET", "POST"])
def instrument_add(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    form = InstrumentAddForm(request.POST if request.method == "POST" else None)
    return log_page(
        request,
        form,
        lambda told: services.register_instrument(**form.given(), told=told),
        template="yard/act.html",
        context={"title": "Add an instrument"},
        then=_back_to_yard,
    )


@require_http_methods(["GET", "POST"])
def calibration_add(request: HttpRequest, code: str) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    instrument = get_object_or_404(Instrument.objects.current(), code=code)
    form = CalibrationForm(request.POST if request.method == "POST" else None)
    return log_page(
        request,
        form,
        lambda told: services.calibrate_instrument(instrument=instrument, **form.given(), told=told),
        template="yard/act.html",
        context={"title": f"Calibration of {instrument}"},
        then=_back_to_yard,
    )


@require_http_methods(["GET", "POST"])
def limit_set(request: HttpRequest, name: str) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    limit = LimitName(name)
    form = LimitForm(request.POST if request.method == "POST" else None, name=limit)
    return log_page(
        request,
        form,
        lambda told: services.set_limit(name=limit, **form.given(), told=told),
        template="yard/act.html",
        context={"title": f"The yard's limit: {limit.label}"},
        then=_back_to_yard,
    )


@require_http_methods(["GET", "POST"])
def climate_log(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.LOG)
    form = ClimateForm(request.POST if request.method == "POST" else None, initial={"bay": bays().first()})
    return log_page(
        request,
        form,
        lambda told: services.log_climate(**form.given(), told=told),
        template="yard/climate_log.html",
        context={"title": "Log the climate"},
        then=lambda reading: reverse("yard:climate", args=[reading.bay.code]),
    )


@reads
def climate(request: HttpRequest, code: str) -> HttpResponse:
    require(request.user, Act.READ)
    bay = get_object_or_404(Bay.objects.current(), code=code)
    readings = list(climate_in(bay).reverse()[:200])
    return render(request, "yard/climate.html", {"bay": bay, "readings": readings})
