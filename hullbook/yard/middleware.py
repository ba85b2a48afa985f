"""Where a request comes from: a tablet of the shed with the tile lit on it, or a browser somebody has signed in on.

Each has a device, so that every entry names where it came from.
"""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import rotate_token
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject

from hullbook.yard.models import Device, Person, Tablet
from hullbook.yard.perms import NobodyLit
from hullbook.yard.selectors import TABLET_KEY_LASTS, crew_strip, tablet_with_key
from hullbook.yard.services import light_tile, make_device, pin_refused, see_tablet

DEVICE_COOKIE = "hullbook-device"
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
        if key and (tablet := tablet_with_key(key, now)):
            request.tablet = tablet
            if see_tablet(tablet, now):
                request.tablet_key = key
            _stand_before(request, tablet)
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
        """Light the tile tapped on the page that asks who it is; the token of that page has been looked at by now."""
        if request.tablet is None or request.method != "POST" or TILE_FIELD not in request.POST:
            return None
        posted = request.POST.copy()
        tapped = posted.pop(TILE_FIELD)[-1]
        request.POST = posted
        for person in crew_strip(request.tablet):
            if person.initials == tapped:
                light_tile(tablet=request.tablet, person=person)
                rotate_token(request)
                _stand_before(request, request.tablet)
        return None

    def process_exception(self, request: Any, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, NobodyLit):
            return None
        if request.method != "POST":
            return redirect(f"{reverse('yard:who')}?{urlencode({'next': request.get_full_path()}, safe='/')}")
        keyed = [
            (name, value) for name, values in request.POST.lists() if name not in NOT_HANDED_ON for value in values
        ]
        context = {"keyed": keyed, "act": exception, "has_files": bool(request.FILES), "tile_field": TILE_FIELD}
        return render(request, "yard/who_for_a_form.html", context, status=422)


def _stand_before(request: Any, tablet: Tablet) -> None:
    person = tablet.lit or Person()
    person.tablet = tablet
    request.user = person
    request.pin_refused = lambda pin: pin_refused(person=person, pin=pin)


class DeviceMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: Any) -> HttpResponse:
        made: list[Device] = []

        def device() -> Device:
            if request.tablet is not None:
                return request.tablet.device
            code = request.get_signed_cookie(DEVICE_COOKIE, default="")
            # A tablet is known by its key, never by its code.
            known = Device.objects.filter(code=code, enrolment__isnull=True).first() if code else None
            if known is None:
                known = make_device()
                made.append(known)
            return known

        # Looked for, and made where there is none, only once something is logged: nothing else writes.
        request.device = SimpleLazyObject(device)
        response = self.get_response(request)
        for new in made:
            response.set_signed_cookie(
                DEVICE_COOKIE, new.code, max_age=TEN_YEARS, secure=settings.HTTPS, httponly=True, samesite="Lax"
            )
        return response
