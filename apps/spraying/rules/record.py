"""The signed record: one canonical text, one hash, one chain per farm.

A body is written in exactly one way (version 1): JSON in UTF-8 with sorted keys and no spaces,
amounts as decimal strings, instants in UTC, never a float. Each hash covers the previous one:

    hash = SHA-256( "v1" NUL  previous hash (32 bytes)  body )

so that no record can be changed, taken out or slipped in without every later one showing it.
"""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any

VERSION = b"v1\0"
GENESIS = "0" * 64
"""What the first record of a farm stands on."""


class Meaning(StrEnum):
    """What a signature says."""

    APPLIED = "applied"
    NOT_APPLIED = "not_applied"


def _plain(value: Any) -> Any:
    """``value`` as JSON can hold it without loss; ``TypeError`` for what cannot be written one way only."""
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, int):
        return value
    if isinstance(value, str):
        return unicodedata.normalize("NFC", value)
    if isinstance(value, Decimal):
        return decimal_text(value)
    if isinstance(value, datetime):
        return instant_text(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {_key(k): _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    raise TypeError(f"{type(value).__name__} has no canonical form")


def _key(key: Any) -> str:
    if not isinstance(key, str):
        raise TypeError("keys of a record are text")
    return unicodedata.normalize("NFC", str(key))


def decimal_text(value: Decimal) -> str:
    """``12.40`` and ``12.4`` are the same amount and are written the same way, without an exponent."""
    if not value.is_finite():
        raise TypeError("an amount must be finite")
    return f"{value.normalize():f}" if value else "0"


def instant_text(value: datetime) -> str:
    """An aware instant in UTC, to the microsecond only when it has any."""
    if value.utcoffset() is None:
        raise TypeError("an instant must have a zone")
    return value.astimezone(UTC).replace(tzinfo=None).isoformat() + "Z"


def canonical(body: Mapping[str, Any]) -> str:
    """The one text of ``body``. Equal bodies give equal texts on every machine."""
    return json.dumps(_plain(body), sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def content_hash(body: Mapping[str, Any] | str) -> str:
    """Hex SHA-256 of what a person is shown before signing; not part of any chain."""
    text = body if isinstance(body, str) else canonical(body)
    return hashlib.sha256(VERSION + text.encode()).hexdigest()


def chain_hash(prev_hash: str, body_text: str) -> str:
    """Hex SHA-256 over version, previous hash and body."""
    return hashlib.sha256(VERSION + bytes.fromhex(prev_hash) + body_text.encode()).hexdigest()


@dataclass(frozen=True, kw_only=True)
class RecordFacts:
    """One stored record, as it is found."""

    seq: int
    prev_hash: str
    hash: str
    body_text: str


@dataclass(frozen=True, kw_only=True)
class Fault:
    """The first thing that is wrong, and where."""

    code: str
    where: str
    said: str


def first_fault(records: Iterable[RecordFacts]) -> Fault | None:
    """Walk a farm's records in order; the first that does not stand on the one before, or ``None``."""
    expected_seq, expected_prev = 1, GENESIS
    for row in records:
        where = f"record {row.seq}"
        if row.seq != expected_seq:
            return Fault(code="gap", where=f"record {expected_seq}", said=f"missing: the next one is {row.seq}")
        if row.prev_hash != expected_prev:
            return Fault(code="link", where=where, said="does not stand on the record before it")
        fault = _own_fault(row, where)
        if fault is not None:
            return fault
        expected_seq, expected_prev = row.seq + 1, row.hash
    return None


def _own_fault(row: RecordFacts, where: str) -> Fault | None:
    if chain_hash(row.prev_hash, row.body_text) != row.hash:
        return Fault(code="hash", where=where, said="its text was changed after signing")
    body = _read(row.body_text)
    if body is None:
        return Fault(code="form", where=where, said="its text is not in canonical form")
    if body.get("seq") != row.seq:
        return Fault(code="seq", where=where, said="its text belongs to another place in the chain")
    if body["signature"].get("shown_hash") != content_hash(body["content"]):
        return Fault(code="shown", where=where, said="what was signed is not what was shown")
    return None


def _read(text: str) -> dict[str, Any] | None:
    """The body, or ``None`` when the text is not one in canonical form."""
    try:
        body = json.loads(text)
    except ValueError:
        return None
    parts = [body.get("content"), body.get("signature")] if isinstance(body, dict) else []
    if not parts or not all(isinstance(p, dict) for p in parts) or canonical(body) != text:
        return None
    return dict(body)
