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
        code = request.get_signed_cookie(DEVICE_COOKIE, default="")
        known = Device.objects.filter(code=code).exists() if code else False
        # Made only when something is posted: reading writes nothing.
        request.device = SimpleLazyObject(  # type: ignore[attr-defined]
            lambda: Device.objects.get(code=code) if known else make_device()
        )
        new = not known and request.method == "POST" and request.user.is_authenticated
        if new:
            code = request.device.code  # type: ignore[attr-defined]
            known = True
        response = self.get_response(request)
        if new:
            response.set_signed_cookie(
                DEVICE_COOKIE, code, max_age=TEN_YEARS, secure=settings.HTTPS, httponly=True, samesite="Lax"
            )
        return response
