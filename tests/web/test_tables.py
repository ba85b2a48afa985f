import csv
import io

import pytest

from hullbook.web.tables import csv_response


def rows_of(*rows: list) -> list[list[str]]:
    answer = csv_response("taken-out", ["what", "mass, kg"], rows)
    return list(csv.reader(io.StringIO(answer.content.decode())))


def test_a_table_is_a_file_to_keep_with_its_units_in_the_header() -> None:
    answer = csv_response("taken-out", ["what", "mass, kg"], [])
    assert answer["Content-Disposition"] == 'attachment; filename="taken-out.csv"'
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert rows_of() == [["what", "mass, kg"]]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx", "\rx"])
def test_text_that_a_spreadsheet_would_work_out_is_kept_as_text(text: str) -> None:
    assert rows_of([text, 1.5])[1] == [f"'{text}", "1.5"]


def test_numbers_stay_numbers_and_what_is_not_known_stays_empty() -> None:
    assert rows_of(["gelcoat", -1.5], ["core", None])[1:] == [["gelcoat", "-1.5"], ["core", ""]]
