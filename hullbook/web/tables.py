"""Tables to take out as CSV."""

import csv
from collections.abc import Iterable, Sequence

from django.http import HttpResponse

from hullbook.quantities.showing import neutral_cell

Cell = str | float | int | None


def csv_response(name: str, header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> HttpResponse:
    """A table as a file to keep, `name` without its ending: UTF-8, the units in the header, no text that a spreadsheet
    would work out as a formula; numbers stay numbers and what is not known stays empty.
    """
    response = HttpResponse(
        content_type="text/csv; charset=utf-8", headers={"Content-Disposition": f'attachment; filename="{name}.csv"'}
    )
    writer = csv.writer(response)
    writer.writerow(header)
    for row in rows:
        writer.writerow([_cell(cell) for cell in row])
    return response


def _cell(cell: Cell) -> Cell:
    if isinstance(cell, str):
        return neutral_cell(cell)
    return "" if cell is None else cell
