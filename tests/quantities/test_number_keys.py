"""The page and the book say the same of every number, word for word: one table of cases is put to both."""

import random

import pytest
from django.core.exceptions import ValidationError

from hullbook.calc.slips import Against
from hullbook.quantities.fields import QuantityField
from hullbook.quantities.tables import ranges, soft_bands
from tests.js.tablet import as_the_tablet_reads, judged_by_the_tablet

Said = tuple[str | None, str | None, str | None]

NO_NUMBERS = ("", "  ", "12.", ".5", "-", "1.2.3", "1,2,3", "ten", "--4", "=1+1", "7" * 50)
FACTORS = (
    0.005,
    0.01,
    0.0105,
    0.095,
    0.1,
    0.105,
    0.5,
    0.9,
    0.9001,
    0.97,
    1,
    1.02,
    1.06,
    1.1,
    1.1001,
    9.5,
    10,
    10.51,
    99,
    100,
)
EXPECTED: tuple[tuple[str, Against, str, float], ...] = (
    ("pail_mass_kg", "plan", "pail_mass", 12.5),
    ("pail_mass_kg", "plan", "pail_mass", 8.35),
    ("catalyst_mass_g", "worked out", "catalyst_mass", 187.5),
    ("catalyst_mass_g", "worked out", "catalyst_mass", 1234.5),
    ("air_temperature_c", "last", "shed_temperature", 20.5),
    ("air_temperature_c", "last", "shed_temperature", -1.5),
    ("bag_pressure_mbar_abs", "last", "vacuum", 18.0),
    ("bag_pressure_mbar_abs", "last", "vacuum", 0.4),
    ("hardness_barcol", "others", "hardness", 42.5),
)


def by_the_book(field: QuantityField, text: str) -> Said:
    try:
        value = field.clean(text)
    except ValidationError as refused:
        return refused.messages[0], None, None
    doubt = None if value is None else field.doubt(value)
    return (None, doubt.sentence, doubt.likely) if doubt else (None, None, None)


def by_the_tablet(answer: dict[str, object]) -> Said:
    question = answer["question"]
    if not isinstance(question, dict):
        return answer["refused"], None, None  # type: ignore[return-value]
    return answer["refused"], question["sentence"], question["likely"]  # type: ignore[return-value]


def texts_round(*values: float) -> list[str]:
    """Each value as it is and a little off, with point and with comma."""
    dice = random.Random(20261118)  # noqa: S311 - no secret
    texts = []
    for value in values:
        for off in (value, value * 1.0000001, value * 0.9999999, value * dice.uniform(0.2, 5.0)):
            text = f"{off:.9f}".rstrip("0").rstrip(".")
            texts += [text, text.replace(".", ",")]
    return texts


def cases() -> list[tuple[QuantityField, str]]:
    table = []
    for name, bounds in ranges().items():
        edges = (bounds.hard_low, bounds.hard_high, bounds.usual_low, bounds.usual_high)
        wide = [edge * factor for edge in edges for factor in (0.01, 0.1, 1, 10, 1000)] + [-1.0, 0.0, 1e6]
        for ask in (True, False):
            field = QuantityField(range_key=name, ask=ask, label=f"The {name}", required=ask)
            table += [(field, text) for text in (*texts_round(*wide), *NO_NUMBERS)]
    for name, against, band, value in EXPECTED:
        field = QuantityField(range_key=name, ask=False, label="Reading")
        field.expect(against, value, band=band)
        low, high = soft_bands()[band].bounds(value)
        table += [(field, text) for text in texts_round(low, high, *(value * factor for factor in FACTORS))]
    return table


def test_the_page_decides_and_speaks_as_the_book_does() -> None:
    table = cases()
    answers = judged_by_the_tablet([as_the_tablet_reads(field, text) for field, text in table])
    said = [by_the_book(field, text) for field, text in table]
    differ = [
        f'{field.range_key} "{text}": the book says {book}, the page {by_the_tablet(answer)}'
        for (field, text), book, answer in zip(table, said, answers, strict=True)
        if book != by_the_tablet(answer)
    ]
    assert differ == []
    refused, asked, likely = (sum(one[part] is not None for one in said) for part in range(3))
    assert len(table) > 10_000
    assert min(refused, asked, likely, sum(one == (None, None, None) for one in said)) > 200


@pytest.mark.parametrize("text", ["12500 g", "12.5 kg", "27.6 lb", "12,5kg"])
def test_a_number_with_a_unit_is_left_to_the_book(text: str) -> None:
    field = QuantityField(range_key="pail_mass_kg", label="Resin")
    (answer,) = judged_by_the_tablet([as_the_tablet_reads(field, text)])
    assert answer == {"value": None, "refused": None, "question": None}
    assert field.clean(text) == pytest.approx(12.5, rel=0.01)
