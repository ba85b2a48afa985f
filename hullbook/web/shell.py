"""What a tablet keeps of the pages themselves, so that they open while the book is out of reach."""

from collections.abc import Iterator
from functools import cache
from hashlib import sha256
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.templatetags.static import static

FOLDERS = ("css", "fonts", "js", "marks")
SERVED_ELSEWHERE = frozenset({"js/sw.js"})
HTMX = "django_htmx/htmx-2.min.js"


def _own_files() -> Iterator[str]:
    for root in settings.STATICFILES_DIRS:
        for folder in FOLDERS:
            for path in sorted((Path(root) / folder).rglob("*")):
                name = path.relative_to(root).as_posix()
                if path.is_file() and path.suffix != ".txt" and name not in SERVED_ELSEWHERE:
                    yield name


@cache
def shell() -> tuple[str, ...]:
    """The address of every file that a page is made of."""
    return tuple(static(name) for name in (*_own_files(), HTMX))


@cache
def generation() -> str:
    """Changes with any of these files: their names carry the hashes of what they hold."""
    return sha256("\n".join([*shell(), _worker_source()]).encode()).hexdigest()[:16]


def _worker_source() -> str:
    found = finders.find("js/sw.js")
    assert isinstance(found, str)  # noqa: S101 - it is one of our own files
    return Path(found).read_text()


def service_worker() -> str:
    return f"self.SHELL = {list(shell())!r};\nself.GENERATION = {generation()!r};\n{_worker_source()}"


def manifest() -> dict[str, object]:
    """The web app manifest, by which a tablet puts hullbook on its home screen. W3C Web Application Manifest."""
    icons = [
        {"src": staticfiles_storage.url(f"marks/hullbook-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png"}
        for size in (192, 512)
    ]
    return {
        "name": "hullbook",
        "short_name": "hullbook",
        "description": "The build record of hulls, as it is logged in the shed.",
        "id": "/",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": "#F4F1E7",
        "theme_color": "#F4F1E7",
        "icons": [{**icon, "purpose": purpose} for icon in icons for purpose in ("any", "maskable")],
    }
