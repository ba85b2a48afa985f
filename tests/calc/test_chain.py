import json
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hullbook.calc.chain import GENESIS, canonical, fingerprint, link_hash

VECTORS = json.loads((Path(__file__).parents[2] / "shared" / "check_values" / "chain.json").read_text(encoding="utf-8"))

plain_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.text()
    | st.decimals(allow_nan=False, allow_infinity=False, places=6),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.from_regex(r"[a-z_]{1,8}", fullmatch=True), inner),
    max_leaves=12,
)
bodies = st.dictionaries(st.from_regex(r"[a-z_]{1,8}", fullmatch=True), plain_values, max_size=6)


@pytest.mark.parametrize("link", VECTORS["links"], ids=["first", "second", "third"])
def test_each_link_of_the_worked_chain_has_the_hash_openssl_gives(link: dict[str, str]) -> None:
    assert link_hash(bytes.fromhex(link["previous"]), link["envelope"]).hex() == link["hash"]


def test_the_worked_chain_starts_from_nothing_and_hangs_together() -> None:
    links = VECTORS["links"]
    assert len(links) == 3
    assert bytes.fromhex(links[0]["previous"]) == GENESIS == b"\0" * 32
    assert [link["previous"] for link in links[1:]] == [link["hash"] for link in links[:-1]]


@pytest.mark.parametrize("link", VECTORS["links"], ids=["first", "second", "third"])
def test_an_envelope_read_back_in_any_order_gives_the_same_text(link: dict[str, str]) -> None:
    read_back = json.loads(link["envelope"])
    assert canonical(dict(reversed(list(read_back.items())))) == link["envelope"]


def test_the_first_envelope_comes_from_decimals_times_and_uuids() -> None:
    envelope = {
        "number": 1,
        "kind": "pail mixed",
        "body": {
            "resin_kg": Decimal("20.000"),
            "catalyst_kg": Decimal("0.300"),
            "dose_phr": Decimal("1.50"),
            "pail": 1,
        },
        "device": UUID("11111111-1111-4111-8111-111111111111"),
        "device_sequence": 1,
        "entry_id": UUID("22222222-2222-4222-8222-222222222221"),
        "format": 1,
        "person": "KJ",
        "account": "tablet-2",
        "tapped_at": datetime(2026, 3, 2, 9, 15, 3, 1, tzinfo=timezone(timedelta(hours=1))),
        "happened_at": datetime(2026, 3, 2, 8, 15, tzinfo=UTC),
        "booked_at": datetime(2026, 3, 2, 8, 15, 4, 120000, tzinfo=UTC),
    }
    assert canonical(envelope) == VECTORS["links"][0]["envelope"]


@pytest.mark.parametrize("vector", VECTORS["fingerprints"])
def test_form_fields_have_the_fingerprint_openssl_gives(vector: dict[str, Any]) -> None:
    fields = [(name, value) for name, value in vector["fields"]]
    assert fingerprint(fields) == fingerprint(reversed(fields)) == vector["fingerprint"]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Decimal("1.50"), '"1.5"'),
        (Decimal("1E+3"), '"1000"'),
        (Decimal("1000"), '"1000"'),
        (Decimal("1E-7"), '"0.0000001"'),
        (Decimal("-0.0"), '"0"'),
        (Decimal("-0.250"), '"-0.25"'),
        (date(2026, 3, 1), '"2026-03-01"'),
        (datetime(2026, 3, 1, 0, 30, tzinfo=timezone(timedelta(hours=2))), '"2026-02-28T22:30:00.000000Z"'),
        (UUID(int=1), '"00000000-0000-0000-0000-000000000001"'),
        ("cafe\u0301", '"caf\u00e9"'),
        ((True, None, 7), "[true,null,7]"),
        ('tab\t"quote" \\ \x01', r'"tab\t\"quote\" \\ \u0001"'),
    ],
)
def test_every_kind_of_value_has_one_text(value: object, text: str) -> None:
    assert canonical({"v": value}) == f'{{"v":{text}}}'


@pytest.mark.parametrize(
    "value",
    [1.5, float("nan"), datetime(2026, 3, 1), {1: "key"}, b"bytes", {"a", "set"}],  # noqa: DTZ001
    ids=["float", "not a number", "time without offset", "number as key", "bytes", "set"],
)
def test_what_two_machines_may_write_two_ways_is_refused(value: object) -> None:
    with pytest.raises(TypeError):
        canonical({"v": [value]})


@pytest.mark.parametrize("value", [Decimal("NaN"), Decimal("Infinity"), {"caf\u00e9": 1, "cafe\u0301": 2}, "\ud800"])
def test_what_cannot_be_written_at_all_is_refused(value: object) -> None:
    with pytest.raises(ValueError, match=r"finite|NFC|surrogates"):
        canonical({"v": value})


def test_a_hash_before_of_the_wrong_length_is_refused() -> None:
    with pytest.raises(ValueError, match="32 bytes"):
        link_hash(b"short", "{}")


@given(bodies, st.randoms())
def test_the_text_does_not_depend_on_the_order_of_keys(body: dict[str, Any], dice: Any) -> None:
    keys = list(body)
    dice.shuffle(keys)
    assert canonical({key: body[key] for key in keys}) == canonical(body)


@given(bodies)
def test_the_text_read_back_and_written_again_is_the_same(body: dict[str, Any]) -> None:
    text = canonical(body)
    assert canonical(json.loads(text)) == text


@given(st.binary(min_size=32, max_size=32), st.text(st.characters(codec="utf-8"), min_size=1), st.data())
def test_changing_any_one_bit_before_or_in_the_entry_changes_the_hash(
    previous: bytes, envelope: str, data: st.DataObject
) -> None:
    honest = link_hash(previous, envelope)
    place = data.draw(st.integers(0, 255))
    flipped = bytearray(previous)
    flipped[place // 8] ^= 1 << (place % 8)
    assert link_hash(bytes(flipped), envelope) != honest
    letter = data.draw(st.integers(0, len(envelope) - 1))
    other = "x" if envelope[letter] != "x" else "y"
    assert link_hash(previous, envelope[:letter] + other + envelope[letter + 1 :]) != honest


@given(st.lists(st.tuples(st.text(st.characters(codec="utf-8")), st.text(st.characters(codec="utf-8"))), min_size=1))
def test_one_field_more_changes_the_fingerprint(fields: list[tuple[str, str]]) -> None:
    assert fingerprint(fields[1:]) != fingerprint(fields)
