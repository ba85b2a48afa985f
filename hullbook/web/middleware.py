"""What no page takes, whatever it is asked for."""

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse

GREATEST_NUMBER = 2**63 - 1


class NothingUnkeepable:
    """An address that names what neither engine can hold, a NUL or a number past its integers, names nothing here."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: dict[str, Any]) -> None:
        for asked in (*kwargs.values(), *request.GET.values()):
            if (isinstance(asked, str) and "\0" in asked) or (isinstance(asked, int) and asked > GREATEST_NUMBER):
                raise Http404("Nothing here is called so.")
