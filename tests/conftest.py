import os
from collections.abc import Iterator

import pytest
from django.db import connection
from django.test import TransactionTestCase
from hypothesis import HealthCheck, settings

from hullbook.records import guards, triggers

# The machines are shared and noisy: how long an example takes says nothing. In the run that a change must pass the
# examples are the same every time; at a desk they are new each time.
settings.register_profile("desk", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("ci", settings.get_profile("desk"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "desk")


@pytest.fixture(autouse=True, scope="session")
def _guards_step_aside_for_flush() -> Iterator[None]:
    """Transactional tests end with a flush, which an append-only book refuses; the guards are back after it."""
    flush = TransactionTestCase._fixture_teardown

    def flush_without_guards(self: TransactionTestCase) -> None:
        triggers.drop_guards(connection, guards.append_only_tables(), guards.seals())
        try:
            flush(self)
        finally:
            triggers.create_guards(connection, guards.append_only_tables(), guards.seals())

    TransactionTestCase._fixture_teardown = flush_without_guards  # type: ignore[method-assign]
    yield
    TransactionTestCase._fixture_teardown = flush  # type: ignore[method-assign]


def pytest_report_header() -> str:
    return f"hullbook on {os.environ.get('TEST_DB', 'sqlite')}"
