import json
from io import StringIO

import pytest
from django.core.management import call_command

from tests.inspection.factories import Sheltered
from tests.trace.factories import FIRST, SECOND, SECOND_RESIN_LOT

pytestmark = pytest.mark.django_db


def traced(*words: str) -> dict:
    out = StringIO()
    call_command("trace", *words, stdout=out)
    answer: dict = json.loads(out.getvalue())
    assert out.getvalue() == json.dumps(answer, sort_keys=True, indent=2, ensure_ascii=False) + "\n"
    return answer


def test_a_lot_is_told_as_json_with_numbers_and_utc(hulls: dict[str, Sheltered]) -> None:
    answer = traced("lot", SECOND_RESIN_LOT)
    assert (answer["received"], answer["used"], answer["left"]) == (60.0, 24.0, 36.0)
    assert answer["whole"] is True
    pail = answer["hulls"][0]["parts"][0]["pails"][0]
    assert (pail["mass_kg"], pail["at"]) == (12.0, "2026-05-13T14:06:00Z")


def test_a_hull_is_told_as_json(hulls: dict[str, Sheltered]) -> None:
    answer = traced("hull", FIRST)
    assert answer["hull"] == FIRST
    assert {lot["lot"] for lot in answer["lots"]} >= {"R-0001", "R-0007"}


def test_a_batch_is_told_as_json(hulls: dict[str, Sheltered]) -> None:
    answer = traced("batch", "VE-10-26-04")
    assert [[hull["hull"] for hull in lot["hulls"]] for lot in answer["lots"]] == [[FIRST], [SECOND]]


@pytest.mark.parametrize(("what", "name"), [("lot", "R-9"), ("hull", "MB84-9"), ("batch", "nothing")])
def test_an_unknown_name_ends_with_a_sentence(hulls: dict[str, Sheltered], what: str, name: str) -> None:
    out, err = StringIO(), StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("trace", what, name, stdout=out, stderr=err)
    assert ended.value.code == 1
    assert out.getvalue() == ""
    assert f"{name} here." in err.getvalue()
