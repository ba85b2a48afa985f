"""Where the book is kept: SQLite under the data folder, or PostgreSQL by DATABASE_URL."""

from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, unquote, urlsplit

SQLITE_PRAGMAS = (
    "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; "
    "PRAGMA recursive_triggers=ON; PRAGMA cache_size=-32000;"
)


def sqlite(path: str | Path) -> dict[str, Any]:
    # IMMEDIATE: a deferred transaction that turns into a write is refused at once when another writer is busy.
    return {
        "ENGINE": "hullbook.sqlite_queue",
        "NAME": str(path),
        "CONN_MAX_AGE": 600,
        "OPTIONS": {"timeout": 20, "transaction_mode": "IMMEDIATE", "init_command": SQLITE_PRAGMAS},
    }


def postgresql(url: str) -> dict[str, Any]:
    parts = urlsplit(url)
    query = {key: values[-1] for key, values in parse_qs(parts.query).items()}
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": unquote(parts.path.lstrip("/")),
        "USER": unquote(parts.username or ""),
        "PASSWORD": unquote(parts.password or ""),
        "HOST": unquote(parts.hostname or "") or query.get("host", ""),
        "PORT": str(parts.port or query.get("port", "")),
        "CONN_MAX_AGE": 600,
        "CONN_HEALTH_CHECKS": True,
    }


def database(url: str, data: Path) -> dict[str, Any]:
    if not url:
        return sqlite(data / "book.sqlite3")
    scheme = urlsplit(url).scheme
    if scheme in ("postgres", "postgresql"):
        return postgresql(url)
    if scheme == "sqlite":
        return sqlite(url.removeprefix("sqlite:///"))
    raise ValueError(f"DATABASE_URL: {scheme or 'no'} scheme is not known; give postgresql://... or sqlite:///...")
