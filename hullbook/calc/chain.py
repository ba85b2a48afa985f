"""The chain of the book: one canonical text for an entry, and the hash that ties it to the entry before.

The text follows RFC 8785 (JSON Canonicalization Scheme) where that can be done with the standard library, with
four settled differences: keys sort by Unicode code point, strings and keys are brought to Unicode NFC, decimals
and times are strings, and floats are refused because two machines may print one float two ways. The hash is
SHA-256 (FIPS 180-4). This file needs nothing but Python, so a surveyor's own verifier may use it as it is.
"""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections.abc import Iterable, Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

GENESIS = bytes(32)
"""What stands before the first entry: 32 zero bytes."""

CHAIN_LABEL = b"hullbook-entry-1"
"""Stands before every hashed entry, so that no other SHA-256 of the same bytes can pass for a link."""


def canonical(obj: Mapping[str, Any]) -> str:
    """Give the one text of an entry: sorted keys, no spaces, NFC strings.

    Takes str, bool, int, None, Decimal, UUID, date, aware datetime, and lists, tuples and dicts of these. Equal
    decimals give equal text: no exponent, no trailing zeros, no negative zero ("1.50" is written "1.5"). Times are
    written in UTC with six fractional digits and Z. Raises TypeError for a float, a naive datetime, a key that is
    not a string or any other kind; ValueError for a decimal that is not finite, for two keys that become one under
    NFC and for text that UTF-8 cannot hold. Source: RFC 8785; Unicode Standard Annex 15 (NFC); RFC 3339 (times).
    """
    text = _dumped(_plain(obj))
    text.encode("utf-8")
    return text


def link_hash(previous: bytes, envelope: str) -> bytes:
    """Give the 32 raw bytes h(n) = SHA-256("hullbook-entry-1" || h(n-1) || envelope as UTF-8).

    `previous` is h(n-1), or GENESIS before the first entry. Raises ValueError when it is not 32 bytes long.
    Source: SHA-256, FIPS 180-4.
    """
    if len(previous) != len(GENESIS):
        raise ValueError(f"the hash before must be {len(GENESIS)} bytes, not {len(previous)}")
    return hashlib.sha256(CHAIN_LABEL + previous + envelope.encode("utf-8")).digest()


def fingerprint(fields: Iterable[tuple[str, str]]) -> str:
    """Give the SHA-256 (64 hex digits) of form fields, in whatever order they came.

    Names and values are brought to NFC, sorted, and written as a canonical JSON list of pairs. Raises TypeError for
    anything but text, ValueError for text that UTF-8 cannot hold. Source: SHA-256, FIPS 180-4.
    """
    pairs = sorted([_normalised(name), _normalised(value)] for name, value in fields)
    return hashlib.sha256(_dumped(pairs).encode("utf-8")).hexdigest()


def _dumped(plain: object) -> str:
    return json.dumps(plain, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":"))


def _normalised(text: str) -> str:
    if not isinstance(text, str):
        raise TypeError(f"text is wanted here, not {type(text).__name__}")
    return unicodedata.normalize("NFC", text)


def _plain(value: object) -> object:
    match value:
        case None | bool() | int():
            return value
        case str():
            return _normalised(value)
        case Decimal():
            return _decimal_text(value)
        case datetime():
            if value.utcoffset() is None:
                raise TypeError("a time without its offset cannot be booked")
            return value.astimezone(UTC).isoformat(timespec="microseconds").removesuffix("+00:00") + "Z"
        case date():
            return value.isoformat()
        case UUID():
            return str(value)
        case list() | tuple():
            return [_plain(member) for member in value]
        case Mapping():
            members = {_normalised(key): _plain(member) for key, member in value.items()}
            if len(members) != len(value):
                raise ValueError("two keys are the same text under NFC")
            return members
        case _:
            raise TypeError(
                f"{type(value).__name__} has no canonical form; give text, a decimal, a time or a whole number"
            )


def _decimal_text(value: Decimal) -> str:
    if not value.is_finite():
        raise ValueError(f"{value} is not a finite decimal")
    if value == 0:
        return "0"
    text = format(value, "f")
    return text.rstrip("0").removesuffix(".") if "." in text else text
