from collections.abc import Iterator

import pytest
from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker

from tests.cast import open_shop
from tests.inspection.factories import Sheltered, complete_hull
from tests.materials.factories import stock_shelf


@pytest.fixture(scope="module")
def whole(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Sheltered]:
    """A hull with nothing missing, told once for all tests of a file; each test's own entries go with the test."""
    with django_db_blocker.unblock(), transaction.atomic():
        shop = open_shop()
        yield complete_hull(shop, stock_shelf(shop))
        transaction.set_rollback(True)
