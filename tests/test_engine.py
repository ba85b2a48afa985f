import os

from django.db import connection


def test_the_suite_runs_on_the_engine_it_was_asked_for() -> None:
    assert connection.vendor == {"pg": "postgresql", "": "sqlite"}[os.environ.get("TEST_DB", "")]
