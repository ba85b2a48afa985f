"""What every view shares: reading views that cannot write, and pages for what went wrong."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.db import connection
from django.http import HttpRequest, HttpResponse, JsonResponse, QueryDict
from django.middleware.csrf import get_token
from django.utils.http import url_has_allowed_host_and_scheme
from django.views import csrf, defaults
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from hullbook.web import shell

READING_WORDS = ("SELECT", "WITH", "EXPLAIN", "PRAGMA", "SAVEPOINT", "RELEASE", "ROLLBACK", "BEGIN", "COMMIT")


class WriteInReadingView(RuntimeError):
    """A view that says it only reads has tried to write."""


def _only_reading(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
    if not sql.lstrip(" (").upper().startswith(READING_WORDS):
        raise WriteInReadingView(sql.split()[0])
    return execute(sql, params, many, context)


def reads(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """GET and HEAD only, and the database refuses it anything but reading."""

    @require_safe
    @wraps(view)
    def reading(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        with connection.execute_wrapper(_only_reading):
            return view(request, *args, **kwargs)

    return reading


def posted(request: HttpRequest) -> QueryDict | None:
    """What a form is bound to: what was posted, however little; nothing when it is only shown."""
    return request.POST if request.method == "POST" else None


def leads_on_to(request: HttpRequest, otherwise: str) -> str:
    """Where a page goes on to once it is done: the page of this book that the address names as `next`, if any."""
    wanted = request.POST.get("next") or request.GET.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if is_ours else otherwise


def asks_for_json(request: HttpRequest) -> bool:
    """Whether a script asks, a tablet's outbox say: it is answered in JSON and never sent to another page."""
    return request.get_preferred_type(["text/html", "application/json"]) == "application/json"


def problems_in_json(problems: dict[str, str], status: int, **more: object) -> JsonResponse:
    """What is wrong, in sentences by the field they are about; "" where it is about no one field."""
    return JsonResponse({"problems": problems, **more}, status=status)


def not_yours(request: HttpRequest, exception: Exception) -> HttpResponse:
    if asks_for_json(request):
        return problems_in_json({"": str(exception) or "This needs a role you do not hold."}, 403)
    return defaults.permission_denied(request, exception)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    if asks_for_json(request):
        words = exception.args[0] if exception.args and isinstance(exception.args[0], str) else ""
        return problems_in_json({"": words or "Nothing here is called so."}, 404)
    return defaults.page_not_found(request, exception)


def token_refused(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The token does not fit; the answer brings a fresh one, so that a script sends the same once more."""
    if asks_for_json(request):
        get_token(request)
        return JsonResponse({"why": "token"}, status=403)
    return csrf.csrf_failure(request, reason)


@login_not_required
@never_cache
@reads
def service_worker(request: HttpRequest) -> HttpResponse:
    """The script that keeps pages on a tablet; at the root, since it answers for every page below where it stands."""
    headers = {"Service-Worker-Allowed": "/"}
    return HttpResponse(shell.service_worker(), content_type="text/javascript; charset=utf-8", headers=headers)


@login_not_required
@reads
def manifest(request: HttpRequest) -> HttpResponse:
    return JsonResponse(shell.manifest(), content_type="application/manifest+json")
