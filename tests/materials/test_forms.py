"""Tables of materials, as they are taken in and out."""

import csv
import io
from collections.abc import Iterator
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from hullbook.materials import selectors, services
from hullbook.materials.forms import LARGEST_IMPORT_BYTES, read_materials
from hullbook.materials.models import Material
from hullbook.materials.services import GivenMaterial, GivenProperty
from hullbook.quantities.reading import plain_cell
from hullbook.quantities.showing import neutral_cell
from tests.cast import open_shop, told
from tests.materials.factories import add, stock_shelf

HEAD = "code,kind,stock_unit,name,maker,fibre,finish,property,value,unit,source_kind,source"
LINE = "P-50,catalyst,kg,Peroxide,Tarn,,,density_kg_m3,1160,kg/m3,data sheet,edition 2"


def _read(text: str | bytes) -> list[GivenMaterial]:
    return read_materials(io.BytesIO(text.encode() if isinstance(text, str) else text))


def _problems(text: str | bytes) -> str:
    with pytest.raises(ValidationError) as refused:
        _read(text)
    return "\n".join(refused.value.messages)


def test_a_line_is_one_property_of_a_material() -> None:
    [material] = _read(f"{HEAD}\n{LINE}\n")
    assert material == GivenMaterial(
        "P-50", "catalyst", "kg", "Peroxide", "Tarn", "", "",
        [GivenProperty("density_kg_m3", 1160, "data sheet", "edition 2")],
    )  # fmt: skip


@pytest.mark.parametrize("start", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_a_mark_of_byte_order_and_either_line_ending_are_taken(start: bytes, ending: str) -> None:
    text = f"{HEAD}\n{LINE}, Ω\n".replace("2, Ω", "2 Ω").replace("\n", ending)
    [material] = _read(start + text.encode())
    assert material.properties[0].source == "edition 2 Ω"


def test_columns_may_stand_in_any_order() -> None:
    rows = list(csv.reader([HEAD, LINE]))
    text = "\n".join(",".join(reversed(row)) for row in rows)
    assert _read(text) == _read(f"{HEAD}\n{LINE}")


def test_a_value_is_taken_in_the_unit_beside_it() -> None:
    text = f"{HEAD}\nG,reinforcement,m2,Glass,,glass,,areal_weight_kg_m2,800,g/m2,data sheet,s\n"
    [material] = _read(text)
    assert material.properties[0].value == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "There is no material in it."),
        (HEAD, "There is no material in it."),
        (HEAD.replace(",", ";"), 'divided by ";"; give commas'),
        (HEAD.replace(",", "\t"), "divided by tabs; give commas"),
        (HEAD.removesuffix(",source"), "Missing columns: source."),
        (f"{HEAD},price", "Columns nobody knows: price."),
        (f"{HEAD},code", "Columns given twice: code."),
        (f"{HEAD}\n{LINE},more", "Row 2 has 13 cells, not 12."),
        (f"{HEAD}\n{LINE}\n\nP-51,catalyst", "Row 4 has 2 cells, not 12."),
        (f"{HEAD}\n{LINE.replace('catalyst', 'glue')}", 'Row 2, column kind: "glue" is not accepted'),
        (f"{HEAD}\n{LINE.replace(',kg,', ',litre,')}", "Row 2, column stock_unit"),
        (f"{HEAD}\n{LINE.replace('density_kg_m3', 'price')}", "Row 2, column property: price"),
        (f"{HEAD}\n{LINE.replace('1160', 'much')}", "Row 2, column value: density:"),
        (f"{HEAD}\n{LINE.replace('1160', '1e308')}", "Row 2, column value"),
        (f"{HEAD}\n{LINE.replace('1160', 'NaN')}", "Row 2, column value"),
        (f"{HEAD}\n{LINE.replace('1160', '=1+1')}", "Row 2, column value"),
        (f"{HEAD}\n{LINE.replace('1160', '')}", "Row 2, column value"),
        (f"{HEAD}\n{LINE.replace('1160', '1.16')}", "1.16 g/cm3 is 1160 kg/m³"),
        (f"{HEAD}\n{LINE.replace('kg/m3', 'stone')}", "the unit may be kg/m3"),
        (f"{HEAD}\n{LINE.replace('data sheet', 'hearsay')}", "Row 2, column source"),
        (f"{HEAD}\n{LINE.removesuffix('edition 2')}", "Row 2, column source"),
        (f"{HEAD}\n{LINE}\n{LINE}", "Row 3, column property: density_kg_m3 is given twice for P-50"),
        (f"{HEAD}\n{LINE}\n{LINE.replace('Tarn', 'Other')}", 'Row 3, column maker: "Other" is not what P-50 has'),
        (f"{HEAD}\n{LINE.replace('Tarn', '=HYPERLINK(1)')}", "Row 2, column maker"),
        (f"{HEAD}\n{LINE.replace('Tarn', 'Ta' + chr(0) + 'rn')}", "Row 2, column maker: maker: a NUL character"),
        (f'{HEAD}\n{LINE}\n"P-51', "Row 3 cannot be read"),
        (f"{HEAD}\n" + "x" * 200_000, "Row 2 cannot be read"),
        (f"{HEAD}\n{LINE}\n".encode("utf-16"), "Row 1 is not in UTF-8"),
        (f"{HEAD}\n{LINE}\nP-51,catalyst,kg,Per\xe9xide".encode("latin-1"), "Row 3 is not in UTF-8"),
        ("\0" * 1000, "Missing columns"),
        ("," * 100_000, "Missing columns"),
    ],
)  # fmt: skip
def test_a_table_that_cannot_be_taken_is_refused_by_row_and_column(text: str | bytes, words: str) -> None:
    assert words in _problems(text)


def test_what_is_wrong_is_said_of_many_rows_but_not_of_thousands() -> None:
    problems = _problems(f"{HEAD}\n" + f"{LINE.replace('1160', 'much')}\n" * 3000)
    assert problems.count("Row") == 20
    assert problems.endswith("There may be more; mend these first.")


class _Endless(io.RawIOBase):
    """Ten million rows, made as they are asked for."""

    def __init__(self, row: str) -> None:
        self.lines: Iterator[bytes] = (line.encode() for line in self._rows(row))
        self.rest = b""
        self.given = 0

    @staticmethod
    def _rows(row: str) -> Iterator[str]:
        yield f"{HEAD}\n"
        for number in range(10_000_000):
            yield row.replace("P-50", f"P-{number}")

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        assert size > 0, "the whole file was asked for"
        parts, length = [self.rest], len(self.rest)
        while length < size and (line := next(self.lines, b"")):
            parts.append(line)
            length += len(line)
        found = b"".join(parts)
        self.rest = found[size:]
        self.given += min(size, length)
        return found[:size]


@pytest.mark.parametrize("row", [f"{LINE}\n", f"{LINE.replace('edition 2', 'e' * 290)}\n"])
def test_ten_million_rows_are_refused_without_reading_them(row: str) -> None:
    file: Any = _Endless(row)
    with pytest.raises(ValidationError, match="more than 5 MB or 5000 lines"):
        read_materials(file)
    assert file.given <= LARGEST_IMPORT_BYTES + 1


def test_five_thousand_lines_are_taken_and_one_more_is_not() -> None:
    lines = [LINE.replace("P-50", f"P-{number}") for number in range(5001)]
    assert len(_read("\n".join([HEAD, *lines[:5000]]))) == 5000
    assert "5000 lines" in _problems("\n".join([HEAD, *lines]))


NASTY = [
    "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1", "''=1", "'quoted'", "plain", "a=1", 'say "so"', "two\nlines",
    "a,b", "Ω µ °", "\u202egnirts", "=HYPERLINK(\"http://x\")", "", "'", "''", "-", "1e5", "007",
]  # fmt: skip


@pytest.mark.parametrize("text", NASTY)
def test_no_text_is_worked_out_by_a_spreadsheet_and_all_come_back_to_the_letter(text: str) -> None:
    """The starting signs are those of the OWASP page on CSV injection: = + - @, tab, carriage return."""
    cell = neutral_cell(text)
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r"))
    assert plain_cell(cell, field="name") == text


@pytest.mark.django_db
def test_materials_taken_out_and_in_again_are_the_same() -> None:
    stock_shelf(open_shop())
    for number, text in enumerate(text for text in NASTY if text.strip()):
        services.add_material(
            code=f"N-{number}",
            kind="consumable",
            stock_unit="piece",
            name=text,
            maker=text,
            properties=[GivenProperty("bore_mm", 0.1 * number + 6, "yard", text)],
            told=told(),
        )
    add("EMPTY", "consumable", "m", "Nothing known")
    out = _table()
    known = {sheet.material.code: (sheet.name, sheet.sheet.maker, sheet.values) for sheet in selectors.materials()}
    services.import_materials(materials=_read(out), told=told())
    again = {sheet.material.code: (sheet.name, sheet.sheet.maker, sheet.values) for sheet in selectors.materials()}
    assert again == known
    assert _table() == out
    assert Material.objects.count() == len(known)


def _table() -> str:
    text = io.StringIO(newline="")
    csv.writer(text).writerows(selectors.materials_csv_rows())
    return text.getvalue()
