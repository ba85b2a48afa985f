import csv
import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.craft_number import CraftNumber, read_craft_number
from hullbook.calc.errors import InputRefused

SHARED = Path(__file__).parents[2] / "shared"
TODAY = date(2026, 6, 15)


def _lines(name: str) -> list[dict[str, str]]:
    with (SHARED / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


COUNTRIES = {line["code"]: line["name"] for line in _lines("limits/countries.csv")}
VECTORS = _lines("check_values/craft_number.csv")


def read(text: str, **context: Any) -> CraftNumber:
    return read_craft_number(text, **{"today": TODAY, "country_codes": frozenset(COUNTRIES), **context})


def _context(line: dict[str, str]) -> dict[str, Any]:
    given_context = json.loads(line["context"])
    return {
        name: value if isinstance(value, list) else date.fromisoformat(value) for name, value in given_context.items()
    }


def _told(number: CraftNumber) -> str:
    told = (
        f"{number.country} {number.builder_code} {number.serial} {number.year}-{number.month:02d} {number.model_year}"
    )
    codes = " ".join(note.code for note in number.notes)
    return f"{told}; {codes}" if codes else told


@pytest.mark.parametrize("line", VECTORS, ids=lambda line: f"{line['text']} {line['expected']}")
def test_numbers_are_read_or_refused_as_the_table_says(line: dict[str, str]) -> None:
    if line["expected"].startswith("E"):
        code, _, place = line["expected"].partition(" ")
        with pytest.raises(InputRefused) as refused:
            read(line["text"], **_context(line))
        assert str(refused.value).endswith(f"({code})")
        assert place in str(refused.value)
        assert refused.value.field == "identification_number"
    else:
        assert _told(read(line["text"], **_context(line))) == line["expected"]


def test_the_table_covers_every_check_that_one_number_can_answer() -> None:
    seen = " ".join(line["expected"] for line in VECTORS)
    for code in (*(f"E{n}" for n in range(1, 12)), "W1", "W2", "W3", "W4"):
        assert code in seen.replace(";", "").split()


def test_all_country_codes_of_iso_3166_are_there() -> None:
    # ISO 3166-1 has 249 officially assigned two-letter codes.
    assert len(_lines("limits/countries.csv")) == len(COUNTRIES) == 249
    assert all(len(code) == 2 and code.isascii() and code.isupper() for code in COUNTRIES)
    assert all(COUNTRIES.values())
    assert {"US", "GB", "FI", "NZ", "SS", "AX"} <= set(COUNTRIES)
    assert not {"UK", "EU", "QQ", "XK", "AN", "SU"} & set(COUNTRIES)


def test_a_number_is_told_in_words() -> None:
    number = read("FI-XYZ7B012L425")
    assert number.in_words == "country FI, builder XYZ, serial 7B012, December 2024, model year 2025"
    assert number.form == "ISO 10087"
    assert read("ABC0A1Z9I324").in_words.endswith("September 2023, model year 2024")
    assert read("ABC0A1Z9I324").form == "twelve characters"


def test_what_was_tidied_is_shown() -> None:
    number = read(" fi \u2013 xyz7b012l425 ")
    assert number.text_tidied == "FI-XYZ7B012L425"
    assert [note.code for note in number.notes] == ["W1", "W2"]
    assert "FI-XYZ7B012L425" in number.notes[0].sentence


def test_an_o_is_never_turned_into_a_nought() -> None:
    with pytest.raises(InputRefused, match="position 5 of the twelve is O; a serial has no I, O or Q"):
        read("ABC0O041F525")


def test_letters_of_other_alphabets_are_not_letters_here() -> None:
    with pytest.raises(InputRefused, match=r"E2"):
        read("ABC0004\u0421F525")
    with pytest.raises(InputRefused, match=r"E2"):
        read("ABC0004\u0661F525")


def test_the_month_of_laying_down_and_of_leaving_are_allowed_themselves() -> None:
    number = read("ABC00041F525", laid_down=date(2025, 6, 30), left_yard=date(2025, 6, 1))
    assert number.notes == ()


def test_every_build_month_from_2018_to_2025_reads_back_as_it_was_written() -> None:
    allowed = 0
    for year in range(2018, 2026):
        for month in range(1, 13):
            for model_year in (year - 1, year, year + 1):
                text = f"ABC00041{'ABCDEFGHIJKL'[month - 1]}{year % 10}{model_year % 100:02d}"
                number = read(text)
                assert (number.year, number.month, number.model_year) == (year, month, model_year)
                # 46 USC 4302(e) and, before model year 2019, 33 CFR 181.3.
                opens = date(model_year - 1, 6 if model_year >= 2019 else 8, 1)
                inside = opens <= date(year, month, 15) <= date(model_year, 7, 31)
                assert bool(number.notes) is not inside
                allowed += inside
    assert allowed == 112


@given(st.text(max_size=20).filter(lambda text: len("".join(text.split())) not in (12, 15)))
def test_text_of_another_length_is_refused_for_its_length(text: str) -> None:
    with pytest.raises(InputRefused, match=r"\(E1\)"):
        read(text)


@given(st.from_regex(r"[A-Z0-9]{3}[A-HJ-NPR-Z0-9]{5}[A-L][0-9]", fullmatch=True), st.integers(-1, 1))
def test_every_number_of_the_right_make_reads_back(start: str, later: int) -> None:
    year = next(year for year in range(2025, 2015, -1) if year % 10 == int(start[-1]))
    number = read(f"{start}{(year + later) % 100:02d}")
    assert number.builder_code + number.serial == start[:8]
    assert (number.year, number.model_year) == (year, year + later)
