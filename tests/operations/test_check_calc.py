from io import StringIO

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from hullbook.operations.management.commands import check_calc


def test_a_surveyor_can_watch_every_sum_agree_with_the_books() -> None:
    printed = StringIO()
    call_command("check_calc", stdout=printed)
    assert "laminate.ply" in printed.getvalue()
    assert "check values agree" in printed.getvalue().splitlines()[-1]


def test_a_sum_that_differs_is_named_and_the_command_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(check_calc, "found", lambda row: -1.0)
    printed = StringIO()
    with pytest.raises(CommandError, match="differ"):
        call_command("check_calc", stdout=printed)
    assert "DIFFERS" in printed.getvalue()
