"""What no page takes, whatever it is asked for."""

from collections.abc import Callable

from django.http import Http404, HttpRequest, HttpResponse


class NothingUnseenInAnAddress:
    """Nothing has a NUL in its name; one engine would look for it, the other breaks off."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "\0" in request.path or any("\0" in asked for asked in request.GET.values()):
            raise Http404("There is a NUL character in this address; nothing here is called so.")
        return self.get_response(request)
