"""Settings for the test suite: a data folder of its own, quick password hashing, plain static files."""

import os
import tempfile
from pathlib import Path

from hullbook.settings.base import *  # noqa: F403
from hullbook.settings.base import STORAGES
from hullbook.settings.database import database

DATA = Path(tempfile.mkdtemp(prefix="hullbook-tests-"))
MEDIA_ROOT = DATA / "files"
STATIC_ROOT = DATA / "static"
STATIC_ROOT.mkdir()
SECRET_KEY_FILE = DATA / "secret_key"
SECRET_KEY = "only-for-tests-" + "x" * 60  # noqa: S105
ALLOWED_HOSTS = ["*"]
DATABASES = {"default": database(os.environ.get("DATABASE_URL", ""), DATA)}
if DATABASES["default"]["ENGINE"] == "hullbook.sqlite_queue":
    # A file, not shared memory: write-ahead log and busy timeout do not apply to a book held in memory.
    DATABASES["default"]["TEST"] = {"NAME": str(DATA / "test_book.sqlite3")}
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
AXES_ENABLED = False
STORAGES = {
    **STORAGES,
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
