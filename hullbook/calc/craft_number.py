"""Identification numbers of craft: the twelve characters of 33 CFR 181.25 and the longer form of ISO 10087.

Both hold the builder's code, a serial, the month (A to L) and last digit of the year of build, and the model year;
the ISO form has the builder's country before, with a hyphen. Twelve characters of today's form came in with August
1984 (from memory), so no earlier year is read.
"""

from __future__ import annotations

import calendar
import string
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Literal, NoReturn

from hullbook.calc.errors import ErrorKey, InputRefused

MONTH_LETTERS = "ABCDEFGHIJKL"
NOT_IN_SERIAL = "IOQ"
EARLIEST_YEAR = 1984
FIRST_MODEL_YEAR_FROM_JUNE = 2019
DASHES = dict.fromkeys(map(ord, "\u2010\u2011\u2012\u2013\u2014\u2015\u2212\ufe58\ufe63\uff0d"), "-")
CAPITALS = str.maketrans(string.ascii_lowercase, string.ascii_uppercase)

Form = Literal["twelve characters", "ISO 10087"]


@dataclass(frozen=True)
class Question:
    """Something about a number that is unusual but may be right: it is asked, and the answer kept."""

    code: str
    sentence: str


@dataclass(frozen=True)
class CraftNumber:
    """An identification number taken apart. `country` is US for the twelve characters."""

    text_tidied: str
    form: Form
    country: str
    builder_code: str
    serial: str
    month: int
    year: int
    model_year: int
    in_words: str
    notes: tuple[Question, ...]


def read_craft_number(
    text: str,
    *,
    today: date,
    country_codes: Collection[str],
    laid_down: date | None = None,
    left_yard: date | None = None,
    known_builder_codes: Collection[str] | None = None,
) -> CraftNumber:
    """Read an identification number as it was typed, and say what must be asked about it.

    `country_codes` are the two-letter codes of ISO 3166-1. The month of build may not lie ahead of `today`, before
    `laid_down` or after `left_yard`. Raises InputRefused, its accepted text ending in the check's code: E1 length, E2
    characters, E3 country, E4 letters in the serial, E5 month, E6 year digit, E7 model year, E8 no year that fits or
    one ahead, E9 before the hull was laid down, E10 after it left. Asked about: W1 dashes or blanks tidied, W2 small
    letters raised, W3 outside the US model year, W4 model year before the year of build, E11 a code that is not the
    yard's. Source: 33 CFR 181.25; 46 USC 4302(e) and 33 CFR 181.3 (model year); ISO 10087 and Regulation (EU) 2017/1.
    """
    closed_up = "".join(text.translate(DASHES).split())
    tidied = closed_up.translate(CAPITALS)
    notes = []
    if closed_up != text:
        notes.append(Question("W1", f"Dashes or blanks were tidied: is {tidied} what the marking shows?"))
    if tidied != closed_up:
        notes.append(Question("W2", f"Small letters were raised: is {tidied} what the marking shows?"))

    if len(tidied) == 15 and tidied[2] == "-":
        form: Form = "ISO 10087"
        country, twelve = tidied[:2], tidied[3:]
    elif len(tidied) == 12:
        form = "twelve characters"
        country, twelve = "US", tidied
    else:
        _refuse("E1", tidied, "give twelve characters, or two letters of the country, a hyphen and twelve more")
    _require_shape(tidied, country, twelve, country_codes)

    builder_code, serial = twelve[:3], twelve[3:8]
    month = MONTH_LETTERS.index(twelve[8]) + 1
    year, model_year = _years(tidied, int(twelve[9]), int(twelve[10:]), today)
    month_of_build = (year, month)
    built = f"{calendar.month_name[month]} {year}"
    if month_of_build > (today.year, today.month):
        _refuse("E8", tidied, f"{built} lies ahead")
    if laid_down is not None and month_of_build < (laid_down.year, laid_down.month):
        _refuse("E9", tidied, f"{built} is before the hull was laid down on {laid_down.isoformat()}", "inconsistent")
    if left_yard is not None and month_of_build > (left_yard.year, left_yard.month):
        _refuse("E10", tidied, f"{built} is after the hull left the yard on {left_yard.isoformat()}", "inconsistent")

    if country == "US" and not _in_us_model_year(year, month, model_year):
        notes.append(Question("W3", f"Built in {built}, model year {model_year}: outside the US model year. Is it so?"))
    if country != "US" and model_year < year:
        notes.append(Question("W4", f"Model year {model_year} is before the year of build, {year}. Is it so?"))
    if known_builder_codes is not None and builder_code not in known_builder_codes:
        notes.append(Question("E11", f"{builder_code} is not one of this yard's codes. Whose is it?"))
    return CraftNumber(
        text_tidied=tidied,
        form=form,
        country=country,
        builder_code=builder_code,
        serial=serial,
        month=month,
        year=year,
        model_year=model_year,
        in_words=f"country {country}, builder {builder_code}, serial {serial}, {built}, model year {model_year}",
        notes=tuple(notes),
    )


def _require_shape(tidied: str, country: str, twelve: str, country_codes: Collection[str]) -> None:
    for place, character in enumerate(twelve, start=1):
        if character not in string.ascii_uppercase + string.digits:
            _refuse("E2", tidied, f"position {place} of the twelve is {character!r}; give A to Z and 0 to 9 only")
    if country not in country_codes:
        _refuse("E3", tidied, f"{country} is no country code of ISO 3166-1")
    for place, character in enumerate(twelve[3:8], start=4):
        if character in NOT_IN_SERIAL:
            accepted = (
                f"position {place} of the twelve is {character}; a serial has no I, O or Q: read the marking again"
            )
            _refuse("E4", tidied, accepted)
    if twelve[8] not in MONTH_LETTERS:
        _refuse(
            "E5", tidied, f"position 9 of the twelve is {twelve[8]}; give the month, A for January to L for December"
        )
    if twelve[9] not in string.digits:
        _refuse("E6", tidied, f"position 10 of the twelve is {twelve[9]}; give the last digit of the year of build")
    if not set(twelve[10:]) <= set(string.digits):
        _refuse("E7", tidied, f"positions 11 and 12 are {twelve[10:]}; give the last two digits of the model year")


def _years(tidied: str, year_digit: int, model_digits: int, today: date) -> tuple[int, int]:
    fitting = (
        (year, model_year)
        for year in range(today.year, EARLIEST_YEAR - 1, -1)
        for model_year in (year - 1, year, year + 1)
        if year % 10 == year_digit and model_year % 100 == model_digits
    )
    latest = next(fitting, None)
    if latest is None:
        years = f"ends in {year_digit} and lies within a year of a model year ending in {model_digits:02d}"
        _refuse("E8", tidied, f"no year up to {today.year} {years}")
    return latest


def _in_us_model_year(year: int, month: int, model_year: int) -> bool:
    if model_year == year:
        return month <= 7
    first_month = 6 if model_year >= FIRST_MODEL_YEAR_FROM_JUNE else 8
    return model_year == year + 1 and month >= first_month


def _refuse(code: str, tidied: str, accepted: str, key: ErrorKey = "impossible") -> NoReturn:
    raise InputRefused(key, "identification_number", tidied, f"{accepted} ({code})")
