from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction

from tests.architecture.standing_yard import StandingYard, stand_up


@pytest.fixture(scope="module")
def yard(django_db_setup: None, django_db_blocker: Any) -> Iterator[StandingYard]:
    """Told once for the tests of a file; each of them is undone, and so is the yard at the end."""
    with django_db_blocker.unblock(), transaction.atomic():
        yield stand_up()
        transaction.set_rollback(True)
