"""The yard's own pages: the door, people, instruments, limits, climate."""

import secrets
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.conf import settings
from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import rotate_token
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject
from django.views.decorators.csrf import ensure_csrf_cookie
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from hullbook.records.models import TypedRow
from hullbook.records.selectors import BookCheck, book_head, last_sequence
from hullbook.records.services import Refused, Told
from hullbook.records.views import log_page
from hullbook.web.forms import LogForm
from hullbook.web.views import asks_for_json, leads_on_to, posted, reads
from hullbook.yard import services
from hullbook.yard.enums import LimitName
from hullbook.yard.forms import (
    BayForm,
    CalibrationForm,
    ClimateForm,
    EnrolForm,
    GivePinForm,
    InstrumentAddForm,
    LiftForm,
    LimitForm,
    OwnPinForm,
    PersonForm,
    RoleForm,
    YardForm,
)
from hullbook.yard.models import Bay, Instrument, Person
from hullbook.yard.perms import Act, may, require, signs_something
from hullbook.yard.selectors import (
    bays,
    climate_in,
    crew,
    crew_strip,
    instrument_cards,
    limits_in_force,
    people,
    standing_tablets,
    tablet_with_key,
    yard_in_force,
)


def yard_name(request: HttpRequest) -> dict[str, object]:
    """For every page: whose book it is, whether the yard is an invented one, on a tablet the crew on its strip, and
    what its scripts know.
    """
    yard = yard_in_force()
    tablet = getattr(request, "tablet", None)
    book = SimpleLazyObject(book_head)
    return {
        "yard_name": yard.name if yard else "hullbook",
        "yard_is_invented": bool(yard and yard.is_invented),
        "tablet": tablet,
        "strip": crew_strip(tablet) if tablet else [],
        # Asked only where it is printed: each page says how far the book was.
        "book": book,
        # Called by the pages that have a head to write it into.
        "tablet_state": lambda: _tablet_state(request, book),
    }


def _tablet_state(request: Any, book: BookCheck) -> dict[str, object] | None:
    """What a page's scripts know of the tablet or browser they run in; nothing where nobody may look."""
    person = getattr(request, "user", None)
    if person is None or not person.is_authenticated or not may(person, Act.READ):
        return None
    tablet, device = request.tablet, request.known_device()
    lit = tablet.lit if tablet else person
    on_strip = set(tablet.strip.values_list("pk", flat=True)) if tablet else set()
    return {
        "device": device.code if device else None,
        "name": tablet.name if tablet else "",
        "enrolled": tablet is not None,
        "crew": [
            {
                "initials": card.person.initials,
                "name": card.person.full_name,
                "on_strip": card.person.pk in on_strip,
                "signs": bool(card.person.pin) and signs_something(card.roles),
            }
            for card in people()
            if card.roles and card.person.is_active
        ],
        "lit": lit.initials if lit else None,
        "last_sequence": last_sequence(device.code) if device else 0,
        "head": {"number": book.entries, "hash": book.head},
        "now": timezone.now(),
        "csrf_cookie": settings.CSRF_COOKIE_NAME,
    }


@login_not_required
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    if request.tablet is not None:  # type: ignore[attr-defined]
        raise PermissionDenied(
            "This is a tablet of the shed: tap your tile. With a password you sign in at a computer."
        )
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
            services.begin_sign_in(request.session, timezone.now())
            return redirect(leads_on_to(request, reverse("hulls:shed")))
    return render(request, "yard/sign_in.html", {"form": form}, status=422 if request.method == "POST" else 200)


@require_POST
def sign_out(request: Any) -> HttpResponse:
    if request.tablet is not None:
        services.light_tile(tablet=request.tablet, person=None)
        return redirect("hulls:shed")
    logout(request)
    return redirect("yard:sign-in")


# ---- Tablets of the shed


@reads
def tablets(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.ENROL_TABLETS)
    rows = [(tablet, LiftForm(auto_id=False)) for tablet in standing_tablets()]
    return render(request, "yard/tablets.html", {"rows": rows})


@require_http_methods(["GET", "POST"])
def tablet_enrol(request: Any) -> HttpResponse:
    """Make this very browser a tablet; whoever does it is signed out of it, and taps a tile like everybody."""
    require(request.user, Act.ENROL_TABLETS)
    key = secrets.token_hex(32)
    form = EnrolForm(posted(request))
    response = log_page(
        request,
        form,
        lambda told: services.enrol_tablet(**form.given(), key=key, told=told),
        template="yard/tablet_enrol.html",
        context={},
        then=lambda enrolled: reverse("yard:strip"),
    )
    # The same form sent twice enrols once, and the second key opens nothing.
    if tablet_with_key(key, timezone.now()):
        logout(request)
        rotate_token(request)
        request.tablet_key = key
    return response


@require_http_methods(["GET", "POST"])
def tablet_lift(request: HttpRequest, code: str) -> HttpResponse:
    require(request.user, Act.ENROL_TABLETS)
    tablet = get_object_or_404(standing_tablets(), enrolment__device__code=code)
    return log_page(
        request,
        LiftForm(posted(request)),
        lambda told: services.lift_tablet(tablet=tablet, told=told),
        template="yard/act.html",
        context={"title": f"Lift {tablet.name}"},
        then=lambda _: reverse("yard:tablets"),
    )


def on_a_tablet(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A page that only a tablet of the shed has."""

    @wraps(view)
    def page(request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
        require(request.user, Act.READ)
        if request.tablet is None:
            raise Http404("Only a tablet of the shed has a crew strip; the quality lead enrols it on the yard's page.")
        return view(request, *args, **kwargs)

    return page


@reads
@ensure_csrf_cookie
def tablet_state(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.READ)
    return JsonResponse(_tablet_state(request, book_head()))


@reads
def waiting(request: HttpRequest) -> HttpResponse:
    """What was logged on this tablet in the last seven days, and where it is; the tablet itself fills it in."""
    require(request.user, Act.READ)
    return render(request, "yard/waiting.html")


@reads
@on_a_tablet
def who(request: HttpRequest) -> HttpResponse:
    return render(request, "yard/who.html", {"next": leads_on_to(request, reverse("hulls:shed"))})


def _of_the_crew(request: HttpRequest) -> Person:
    for person in crew():
        if person.initials == request.POST.get("person"):
            return person
    raise Http404("Nobody of the crew has these initials.")


@require_POST
@on_a_tablet
def light(request: Any) -> HttpResponse:
    """One tap on a tile: that person stands before the tablet now, with a new token, so that no older form goes under
    the new name.
    """
    person = _of_the_crew(request) if request.POST.get("person") else None
    try:
        services.light_tile(tablet=request.tablet, person=person)
    except Refused as refused:
        raise PermissionDenied(f"{refused} Put them on the strip first.") from refused
    if asks_for_json(request):
        # Told in the background, while a page may be sending: its token stays good.
        return JsonResponse(_tablet_state(request, book_head()))
    rotate_token(request)
    return redirect(leads_on_to(request, reverse("hulls:shed")))


@reads
def setting_up(request: HttpRequest) -> HttpResponse:
    """What a tablet keeps to itself: the millimetre on its glass, the hand, the theme. None of it is in the book."""
    require(request.user, Act.READ)
    context = {"glasses": ("8 in", "10.1 in", "10.9 in"), "sizes": (9, 15, 20, 30)}
    return render(request, "yard/setting_up.html", context)


@require_http_methods(["GET", "POST"])
@on_a_tablet
def strip(request: Any) -> HttpResponse:
    """Who is on the crew of this tablet; anybody who stands before it may say so."""
    problem = ""
    if request.method == "POST":
        person = _of_the_crew(request)
        change = services.put_on_strip if request.POST.get("on") == "yes" else services.take_off_strip
        try:
            change(tablet=request.tablet, person=person)
        except Refused as refused:
            problem = str(refused)
        else:
            return redirect("yard:strip")
    context = {"crew": crew(), "problem": problem}
    return render(request, "yard/strip.html", context, status=422 if problem else 200)


# ---- The PIN


@sensitive_post_parameters("pin", "again")
@require_http_methods(["GET", "POST"])
def own_pin(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.SET_OWN_PIN)
    form = OwnPinForm(posted(request))
    person: Any = request.user
    return _yard_act(
        request, "Your PIN", form, lambda told: services.give_pin(person=person, **form.given(), told=told)
    )


@sensitive_post_parameters("pin", "again")
@require_http_methods(["GET", "POST"])
def pin_give(request: HttpRequest) -> HttpResponse:
    require(request.user, Act.CHANGE_PEOPLE)
    form = GivePinForm(posted(request))
    return _yard_act(request, "Give a PIN", form, lambda told: services.give_pin(**form.given(), told=told))


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
