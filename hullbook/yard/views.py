"""The yard's own pages: the door, people, instruments, limits, climate."""

from collections.abc import Callable

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

from hullbook.records.models import TypedRow
from hullbook.records.selectors import book_head
from hullbook.records.services import Told
from hullbook.records.views import log_page
from hullbook.web.forms import LogForm
from hullbook.web.views import posted, reads
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
    form = AuthenticationForm(request, data=posted(request))
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


def _yard_act(request: HttpRequest, title: str, form: LogForm, act: Callable[[Told], TypedRow]) -> HttpResponse:
    """A form about the yard itself; accepted, it leads back to the yard's page."""
    context = {"title": title}
    return log_page(request, form, act, template="yard/act.html", context=context, then=lambda _: reverse("yard:yard"))


@require_http_methods(["GET", "POST"])
def yard_named(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    form = YardForm(posted(request))
    return _yard_act(request, "Name the yard", form, lambda told: services.name_yard(**form.given(), told=told))


@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def person_add(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_PEOPLE)
    form = PersonForm(posted(request))
    return _yard_act(request, "Name a person", form, lambda told: services.add_person(**form.given(), told=told))


@require_http_methods(["GET", "POST"])
def role_change(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_PEOPLE)
    form = RoleForm(posted(request))
    return _yard_act(request, "Change a role", form, lambda told: services.change_role(**form.given(), told=told))


@require_http_methods(["GET", "POST"])
def bay_add(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    form = BayForm(posted(request))
    return _yard_act(request, "Add a bay", form, lambda told: services.add_bay(**form.given(), told=told))


@require_http_methods(["GET", "POST"])
def instrument_add(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    form = InstrumentAddForm(posted(request))
    return _yard_act(
        request, "Add an instrument", form, lambda told: services.register_instrument(**form.given(), told=told)
    )


@require_http_methods(["GET", "POST"])
def calibration_add(request: HttpRequest, code: str) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    instrument = get_object_or_404(Instrument.objects.current(), code=code)
    form = CalibrationForm(posted(request))
    return _yard_act(
        request,
        f"Calibration of {instrument}",
        form,
        lambda told: services.calibrate_instrument(instrument=instrument, **form.given(), told=told),
    )


@require_http_methods(["GET", "POST"])
def limit_set(request: HttpRequest, name: str) -> HttpResponse:
    require(request.user, Act.CHANGE_LIMITS)
    limit = LimitName(name)
    form = LimitForm(posted(request), name=limit)
    return _yard_act(
        request,
        f"The yard's limit: {limit.label}",
        form,
        lambda told: services.set_limit(name=limit, **form.given(), told=told),
    )


@require_http_methods(["GET", "POST"])
def climate_log(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.LOG)
    form = ClimateForm(posted(request), initial={"bay": bays().first()})
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
