"""Every browser that is signed in has a device of its own, so that each entry names where it came from."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils.functional import SimpleLazyObject

from hullbook.yard.models import Device
from hullbook.yard.services import make_device

DEVICE_COOKIE = "hullbook-device"
TEN_YEARS = 10 * 365 * 24 * 3600


class DeviceMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        made: list[Device] = []

        def device() -> Device:
            code = request.get_signed_cookie(DEVICE_COOKIE, default="")
            known = Device.objects.filter(code=code).first() if code else None
            if known is None:
                known = make_device()
                made.append(known)
            return known

        # Looked for, and made where there is none, only once something is logged: nothing else writes.
        request.device = SimpleLazyObject(device)  # type: ignore[attr-defined]
        response = self.get_response(request)
        for new in made:
            response.set_signed_cookie(
                DEVICE_COOKIE, new.code, max_age=TEN_YEARS, secure=settings.HTTPS, httponly=True, samesite="Lax"
            )
        return response
