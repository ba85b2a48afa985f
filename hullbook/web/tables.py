"""Tables to take out as CSV, and to take in."""

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import IO

from django.core.exceptions import ValidationError
from django.http import HttpResponse

from hullbook.quantities.showing import neutral_cell

Cell = str | float | int | None
MOST_SENTENCES = 20
FIGURES_KEPT = 12  # more than any scale shows, fewer than where sums of binary fractions end in 99999


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
    if isinstance(cell, float):
        return float(f"{cell:.{FIGURES_KEPT}g}")
    return "" if cell is None else cell


def read_table(
    file: IO[bytes], columns: Sequence[str], *, largest_bytes: int, most_lines: int
) -> Iterator[tuple[int, dict[str, str]]]:
    """Rows of a CSV file as a spreadsheet numbers them, by column; the column names are row 1.

    Never reads more than its limit of bytes, nor beyond its limit of lines; ValidationError says what is wrong.
    """
    too_large = f"The file has more than {largest_bytes // 1024**2} MB or {most_lines} lines; give it in parts."
    content = file.read(largest_bytes + 1)
    # A file that is too large is refused at its end or at its first line too many, whichever comes first.
    is_cut_short = len(content) > largest_bytes
    try:
        text = content.decode("utf-8-sig", errors="ignore" if is_cut_short else "strict")
    except UnicodeDecodeError as error:
        row = content[: error.start].count(b"\n") + 1
        raise ValidationError(f"Row {row} is not in UTF-8; keep the table again as CSV UTF-8.") from error
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    number = 1
    try:
        head = next(reader, None)
        if head is None:
            return
        names = _column_names(head, columns)
        for number, cells in enumerate(reader, start=2):
            if number > most_lines + 1:
                raise ValidationError(too_large)
            if cells and len(cells) != len(names):
                raise ValidationError(f"Row {number} has {len(cells)} cells, not {len(names)}.")
            if cells:
                yield number, dict(zip(names, cells, strict=True))
    except csv.Error as error:
        raise ValidationError(too_large if is_cut_short else f"Row {number + 1} cannot be read: {error}.") from error
    if is_cut_short:
        raise ValidationError(too_large)


def _column_names(cells: Sequence[str], wanted: Sequence[str]) -> list[str]:
    names = [cell.strip().lower() for cell in cells]
    if len(names) == 1 and (other := next((mark for mark in ";\t|" if mark in names[0]), None)):
        mark = "tabs" if other == "\t" else f'"{other}"'
        raise ValidationError(f"The columns are divided by {mark}; give commas.")
    problems = []
    if missing := [name for name in wanted if name not in names]:
        problems.append(f"Missing columns: {', '.join(missing)}.")
    if extra := [name[:40] or "one without a name" for name in names if name not in wanted]:
        problems.append(f"Columns nobody knows: {', '.join(extra[:MOST_SENTENCES])}.")
    if twice := sorted({name for name in names if name in wanted and names.count(name) > 1}):
        problems.append(f"Columns given twice: {', '.join(twice)}.")
    if problems:
        raise ValidationError([*problems, f"The columns, divided by commas, are {','.join(wanted)}."])
    return names
