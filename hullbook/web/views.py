"""What every view shares: reading views that cannot write, and pages for what went wrong."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.db import connection
from django.http import HttpRequest, HttpResponse, QueryDict
from django.views.decorators.http import require_safe

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
