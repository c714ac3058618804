"""What is said of a record or a head that does not hold, word for word: somebody may have to stand up for it."""

from __future__ import annotations

import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal

import pytest

from apps.spraying.rules import record
from apps.spraying.rules.record import GENESIS, Fault, RecordFacts, canonical, chain_hash, content_hash, first_fault

from .test_record_rules import COLUMNS, GOOD, KEPT, changed, forged

SHOWN = {"shown_hash": content_hash({"a": 1})}


def alone(text: str, **more: object) -> list[RecordFacts]:
    """The one record of a book, its hash in order."""
    return [RecordFacts(seq=1, prev_hash=GENESIS, hash=chain_hash(GENESIS, text), body_text=text, **more)]


def made(**changes: object) -> str:
    return canonical({"edition": 1, "seq": 1, "content": {"a": 1}, "signature": SHOWN, **changes})


FAULTS = [
    ("gap", [GOOD[0], GOOD[2]], "record 2", "missing: the next one is 3"),
    ("link", forged({"block": "X"}), "record 3", "does not stand on the record before it"),
    ("hash", changed(1, body_text="{}"), "record 2", "its text was changed after signing"),
    ("form", alone("[1]"), "record 1", "its text is not in canonical form"),
    ("seq", alone(made(seq=9)), "record 1", "its text belongs to another place in the chain"),
    ("shown", alone(made(content={"a": 2})), "record 1", "what was signed is not what was shown"),
    ("column", alone(made(), columns={**COLUMNS, "edition": 2}), "record 1", "its job is not the signed one"),
]


@pytest.mark.parametrize(("code", "rows", "where", "said"), FAULTS, ids=[r[0] for r in FAULTS])
def test_the_whole_fault(code, rows, where, said):
    assert first_fault(rows) == Fault(code=code, where=where, said=said)


THEN = {"records": 3, "hash_there": "a" * 64, "grown": {"ledger": 4}}
HEADS = [
    ("cut", {"records": 2}, "the book had 3 records then and has 2 now: it was cut short or an old copy is in use"),
    ("rewritten", {"hash_there": None}, "record 3 is not the one that stood there then"),
    ("shrunk", {"grown": {"ledger": 3}}, "ledger had 4 rows up to number 9 then and has 3 now"),
    ("shrunk", {"grown": {}}, "ledger had 4 rows up to number 9 then and has 0 now"),
]


@pytest.mark.parametrize(("code", "now", "said"), HEADS, ids=["cut", "rewritten", "fewer rows", "no rows"])
def test_the_whole_fault_of_a_kept_head(code, now, said):
    assert record.head_fault(KEPT, **{**THEN, **now}) == Fault(code=code, where="head of 2026-07-06T12:00", said=said)


def test_a_head_without_a_time_is_told_by_its_hash_and_an_empty_book_has_nothing_to_be_rewritten():
    undated = replace(KEPT, at="")
    empty = record.Head(farm="alder", records=0, hash=GENESIS)

    assert record.head_fault(undated, **{**THEN, "records": 0}).where == "head of " + "a" * 16
    assert record.head_fault(empty, records=5, hash_there=None, grown={}) is None


def test_a_head_may_come_without_a_time_and_in_capitals():
    read = record.read_head({"farm": "x", "records": "3", "head": " AB12 "})

    assert read == record.Head(farm="x", records=3, hash="ab12", at="", grown={})
    assert record.read_head({"farm": "x", "records": 0, "head": None}).hash == GENESIS
    with pytest.raises(ValueError, match="not a chain head: KeyError"):
        record.read_head({})


REFUSED = [
    (1.5, "float has no canonical form"),
    (Decimal("NaN"), "an amount must be finite"),
    (datetime(2026, 6, 1), "an instant must have a zone"),
    ({1: "a"}, "keys of a record are text"),
]


@pytest.mark.parametrize(("value", "words"), REFUSED, ids=["float", "not a number", "no zone", "number key"])
def test_what_has_no_single_form_is_named(value, words):
    with pytest.raises(TypeError, match=f"^{words}$"):
        canonical({"x": value})


def test_an_instant_is_the_same_on_a_machine_that_keeps_another_time(monkeypatch):
    monkeypatch.setenv("TZ", "America/New_York")
    time.tzset()
    try:
        at = datetime(2026, 6, 1, 9, 30, tzinfo=timezone(-timedelta(hours=5)))
        assert record.instant_text(at) == "2026-06-01T14:30:00Z"
        assert record.instant_text(datetime(2026, 6, 1, 14, 30, tzinfo=UTC)) == "2026-06-01T14:30:00Z"
    finally:
        monkeypatch.undo()
        time.tzset()


NOT_A_RECORD = [
    '{"b":{},"edition":1,"seq":1,"signature":{}}',  # a seam, and no content before it
    '{"content":[],"edition":1,"seq":1,"signature":{}}',
    '{"content":{},"seq":1,"signature":{}}',  # a content, and no seam after it
    '{"content":{},"edition":1.0,"seq":1,"signature":{}}',
    '{"content":{},"edition":NaN,"seq":1,"signature":{}}',
    '{"content":{},"edition":1,"content":{},"seq":1,"signature":{}}',
    '{"content":{},"edition":1,"name":"Gu\u0308ero","seq":1,"signature":{}}',
]


@pytest.mark.parametrize("text", NOT_A_RECORD)
def test_what_is_not_split(text):
    assert record.split(text) is None
