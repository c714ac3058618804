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
from dataclasses import dataclass, field
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
    VOIDED = "voided"  # the signature before is withdrawn: the spray counts as reported and is unsigned


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
    """One stored record, as it is found, with what its columns say of it (``None`` = not compared)."""

    seq: int
    prev_hash: str
    hash: str
    body_text: str
    columns: Mapping[str, Any] | None = None


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
    """The hash covers every byte; the content, most of the text, is hashed as it stands and never parsed."""
    if chain_hash(row.prev_hash, row.body_text) != row.hash:
        return Fault(code="hash", where=where, said="its text was changed after signing")
    parts = split(row.body_text)
    if parts is None:
        return Fault(code="form", where=where, said="its text is not in canonical form")
    content, rest = parts
    if rest.get("seq") != row.seq:
        return Fault(code="seq", where=where, said="its text belongs to another place in the chain")
    if rest["signature"].get("shown_hash") != content_hash(content):
        return Fault(code="shown", where=where, said="what was signed is not what was shown")
    return _column_fault(row.columns or {}, rest, where)


def _column_fault(columns: Mapping[str, Any], rest: Mapping[str, Any], where: str) -> Fault | None:
    """The columns that lists show must say what the text says."""
    signature = rest["signature"]
    signed = {
        "job": rest.get("job"),
        "meaning": rest.get("meaning"),
        "signer": signature.get("person_id"),
        "time of signing": signature.get("at"),
        "edition": rest.get("edition"),
        "record it corrects": rest.get("supersedes"),
    }
    for name, kept in columns.items():
        if kept != signed[name]:
            return Fault(code="column", where=where, said=f"its {name} is not the signed one")
    return None


_OPENING, _SEAM = '{"content":', ',"edition":'


def split(text: str) -> tuple[str, dict[str, Any]] | None:
    """(the text of the content, everything else read); ``None`` when it is not such a text in canonical form.

    Sorted keys put the content first and ``edition`` after it. Inside a JSON string every quote is escaped, so
    the last seam in the text is the real one. The content itself is proven by the hash that was signed with it.
    """
    seam = text.rfind(_SEAM)
    if not text.startswith(_OPENING + "{") or seam < 0:
        return None
    end = "{" + text[seam + 1 :]
    try:
        rest = _READER.decode(end)
    except ValueError:
        return None
    if not isinstance(rest.get("signature"), dict) or "content" in rest:
        return None
    if _WRITER.encode(rest) != end or not unicodedata.is_normalized("NFC", end):
        return None
    return text[len(_OPENING) : seam], rest


def _no_float(text: str) -> None:
    raise ValueError("a record holds no float")


_READER = json.JSONDecoder(parse_float=_no_float, parse_constant=_no_float)
_WRITER = json.JSONEncoder(sort_keys=True, ensure_ascii=False, separators=(",", ":"), check_circular=False)


# ---- a head that was kept elsewhere ----------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Head:
    """The state of a farm's book at one instant, small enough to print: what can never shrink or change after it.

    ``records`` and ``hash`` are the chain's length and last hash; ``grown`` holds for each table that only grows
    (its last id, its number of rows up to there).
    """

    farm: str
    records: int
    hash: str
    at: str = ""
    grown: Mapping[str, tuple[int, int]] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        return {
            "farm": self.farm,
            "records": self.records,
            "head": self.hash,
            "at": self.at,
            "grown": {table: list(pair) for table, pair in self.grown.items()},
        }


def read_head(given: Mapping[str, Any]) -> Head:
    """A head again from its JSON; ``ValueError`` when it is not one."""
    try:
        grown = {str(t): (int(pair[0]), int(pair[1])) for t, pair in dict(given.get("grown") or {}).items()}
        return Head(
            farm=str(given["farm"]),
            records=int(given["records"]),
            hash=str(given["head"] or GENESIS).strip().lower(),
            at=str(given.get("at", "")),
            grown=grown,
        )
    except (KeyError, TypeError, IndexError, AttributeError) as error:
        raise ValueError(f"not a chain head: {error!r}") from None


def head_fault(kept: Head, *, records: int, hash_there: str | None, grown: Mapping[str, int]) -> Fault | None:
    """What an earlier head says against the book of today: cut short, rewritten, or an old copy put back.

    ``hash_there`` is the hash of today's record at the kept length, ``grown`` the number of rows up to each kept id.
    """
    where = f"head of {kept.at[:16] or kept.hash[:16]}"
    if records < kept.records:
        counts = f"the book had {kept.records} records then and has {records} now"
        return Fault(code="cut", where=where, said=f"{counts}: it was cut short or an old copy is in use")
    if kept.records and hash_there != kept.hash:
        return Fault(code="rewritten", where=where, said=f"record {kept.records} is not the one that stood there then")
    for table, (last_id, rows) in kept.grown.items():
        there = grown.get(table, 0)
        if there != rows:
            said = f"{table} had {rows} rows up to number {last_id} then and has {there} now"
            return Fault(code="shrunk", where=where, said=said)
    return None
