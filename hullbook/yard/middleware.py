"""Where a request comes from: a tablet of the shed with the tile lit on it, or a browser somebody has signed in on.

Each has a device, so that every entry names where it came from. What a tablet's outbox sends goes under whose tile was
lit at the tap, whoever stands there by now.
"""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse
from django.middleware.csrf import rotate_token
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from hullbook.web.clocks import clock_ahead, put_right, tablet_time
from hullbook.web.views import asks_for_json, problems_in_json
from hullbook.yard.models import Device, Person, Tablet
from hullbook.yard.perms import NobodyLit
from hullbook.yard.selectors import TABLET_KEY_LASTS, crew_strip, tablet_with_key, who_tapped
from hullbook.yard.services import (
    light_tile,
    make_device,
    pin_refused,
    see_tablet,
    sign_in_stands,
    use_sign_in,
)

DEVICE_COOKIE = "__Host-hullbook-device" if settings.HTTPS else "hullbook-device"
TEN_YEARS = 10 * 365 * 24 * 3600
TABLET_COOKIE = "__Host-hullbook-tablet" if settings.HTTPS else "hullbook-tablet"
# The tile tapped on the page that asks who it is; and what that page never hands on.
TILE_FIELD = "tile-tapped"
NOT_HANDED_ON = frozenset({"csrfmiddlewaretoken", "pin", TILE_FIELD})


class TabletMiddleware:
    """On an enrolled tablet the person is whose tile is lit, or nobody; a sign-in by password counts for nothing there.

    A page that needs a name while no tile is lit asks for it, and hands on what was keyed.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponse:
        # The key to be written down in the browser: one just made by enrolling it, or its own whenever it is seen anew.
        request.tablet, request.tablet_key = None, ""
        key, now = request.COOKIES.get(TABLET_COOKIE, ""), timezone.now()
        request.clock_ahead = clock_ahead(request.headers.get("HB-Clock", ""), now)
        if key and (tablet := tablet_with_key(key, now)):
            request.tablet = tablet
            if see_tablet(tablet, now):
                request.tablet_key = key
            _stand_before(request, tablet, tablet.lit)
        response = self.get_response(request)
        if request.tablet_key:
            response.set_cookie(
                TABLET_COOKIE,
                request.tablet_key,
                max_age=TABLET_KEY_LASTS,
                secure=settings.HTTPS,
                httponly=True,
                samesite="Lax",
            )
        return response

    def process_view(self, request: Any, view: object, args: object, kwargs: object) -> HttpResponse | None:
        """Who it goes under: on a tablet whose tile was lit at the tap, in a browser who has signed in and nobody else.

        The token of the page has been looked at by now.
        """
        if request.method != "POST":
            return None
        if request.tablet is not None and TILE_FIELD in request.POST:
            _light_tapped(request)
        logged_by = request.POST.get("logged_by", "")
        if not logged_by or not request.user.is_authenticated:
            return None
        if request.tablet is not None:
            return _stand_who_tapped(request, logged_by)
        if logged_by == request.user.initials:
            return None
        if asks_for_json(request):
            return JsonResponse({"why": "somebody else is signed in"}, status=401)
        raise PermissionDenied("Somebody else keyed this; it goes into the book when they have signed in here.")

    def process_exception(self, request: Any, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, NobodyLit):
            return None
        if asks_for_json(request):
            return JsonResponse({"why": "nobody is lit"}, status=401)
        if request.method != "POST":
            return redirect(f"{reverse('yard:who')}?{urlencode({'next': request.get_full_path()}, safe='/')}")
        keyed = [
            (name, value) for name, values in request.POST.lists() if name not in NOT_HANDED_ON for value in values
        ]
        context = {"keyed": keyed, "act": exception, "has_files": bool(request.FILES), "tile_field": TILE_FIELD}
        return render(request, "yard/who_for_a_form.html", context, status=422)


def _light_tapped(request: Any) -> None:
    """Light the tile tapped on the page that asks who it is."""
    posted = request.POST.copy()
    tapped = posted.pop(TILE_FIELD)[-1]
    request.POST = posted
    for person in crew_strip(request.tablet):
        if person.initials == tapped:
            light_tile(tablet=request.tablet, person=person)
            rotate_token(request)
            _stand_before(request, request.tablet, person)


def _stand_who_tapped(request: Any, initials: str) -> HttpResponse | None:
    """Stand whoever's tile was lit at the tap before this request; the tile lit now stays as it is."""
    now, tapped_at = timezone.now(), tablet_time(request.POST.get("tapped_at", ""))
    if tapped_at is not None:
        tapped_at = put_right(tapped_at, request.clock_ahead, now)
    person = who_tapped(initials, tapped_at)
    if person is None:
        words = f"{initials[:4]} holds no role in this yard, and held none at the tap; the quality lead gives roles."
        if asks_for_json(request):
            return problems_in_json({"logged_by": words}, 422, questions=[])
        raise PermissionDenied(words)
    person.tapped_at = tapped_at
    _stand_before(request, request.tablet, person)
    return None


def _stand_before(request: Any, tablet: Tablet, who: Person | None) -> None:
    person = who or Person()
    person.tablet = tablet
    request.user = person
    request.pin_refused = lambda pin: pin_refused(person=person, pin=pin)


class SignInEndsMiddleware:
    """A sign-in by password ends when it has stood idle; a script that only asks is no use of it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponse:
        if request.tablet is None:
            now = timezone.now()
            if not sign_in_stands(request.session, now):
                logout(request)
            elif request.method != "GET" or not asks_for_json(request):
                use_sign_in(request.session, now)
        return self.get_response(request)


class SignInRequiredMiddleware(LoginRequiredMiddleware):
    """Who has not signed in is sent to the door; a script is told why it is not let in, and keeps what it has."""

    def handle_no_permission(self, request: HttpRequest, view_func: Callable[..., Any]) -> HttpResponseBase:
        if asks_for_json(request):
            why = "not enrolled" if TABLET_COOKIE in request.COOKIES else "not signed in"
            return JsonResponse({"why": why}, status=401)
        return super().handle_no_permission(request, view_func)


class DeviceMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponse:
        made: list[Device] = []

        def known_device() -> Device | None:
            if request.tablet is not None:
                return request.tablet.device
            code = request.get_signed_cookie(DEVICE_COOKIE, default="")
            # A tablet is known by its key, never by its code.
            return Device.objects.filter(code=code, enrolment__isnull=True).first() if code else None

        def device() -> Device:
            if (known := known_device()) is not None:
                return known
            made.append(make_device())
            return made[-1]

        request.known_device = known_device
        # Looked for, and made where there is none, only once something is logged: nothing else writes.
        request.device = SimpleLazyObject(device)
        response = self.get_response(request)
        for new in made:
            response.set_signed_cookie(
                DEVICE_COOKIE, new.code, max_age=TEN_YEARS, secure=settings.HTTPS, httponly=True, samesite="Lax"
            )
        return response
