from collections.abc import Iterator

import pytest
from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker

from tests.inspection.factories import Sheltered
from tests.trace.factories import three_hulls


@pytest.fixture(scope="module")
def hulls(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[dict[str, Sheltered]]:
    """Three sisters, told once for all tests of a file; each test's own entries go with the test."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield three_hulls()
        transaction.set_rollback(True)
