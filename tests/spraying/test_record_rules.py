"""One text for equal bodies, and a chain in which every change shows."""

from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.spraying.rules import record
from apps.spraying.rules.record import GENESIS, Meaning, RecordFacts, canonical, chain_hash, content_hash, first_fault


@pytest.mark.parametrize(
    ("value", "text"),
    [
        pytest.param(Decimal("12.40"), '"12.4"', id="trailing zero"),
        pytest.param(Decimal("100"), '"100"', id="no exponent"),
        pytest.param(Decimal("1E+2"), '"100"', id="exponent typed"),
        pytest.param(Decimal("0.000"), '"0"', id="zero"),
        pytest.param(Decimal("-0"), '"0"', id="minus zero"),
        pytest.param(Decimal("0.0000001"), '"0.0000001"', id="tiny"),
        pytest.param(True, "true", id="yes"),
        pytest.param(None, "null", id="nothing"),
        pytest.param(7, "7", id="count"),
        pytest.param("Güero", '"Güero"', id="utf-8 as it is"),
        pytest.param("Gu\u0308ero", '"Güero"', id="two ways to write an umlaut"),
        pytest.param(date(2026, 6, 1), '"2026-06-01"', id="day"),
        pytest.param(datetime(2026, 6, 1, 14, 30, tzinfo=UTC), '"2026-06-01T14:30:00Z"', id="instant"),
        pytest.param(
            datetime(2026, 6, 1, 9, 30, tzinfo=timezone(-timedelta(hours=5))), '"2026-06-01T14:30:00Z"', id="offset"
        ),
        pytest.param((Decimal("1"), "a"), '["1","a"]', id="tuple"),
        pytest.param(Meaning.VOIDED, '"voided"', id="code of a list"),
    ],
)
def test_one_way_to_write(value, text):
    assert canonical({"b": value}) == '{"b":' + text + "}"


@pytest.mark.parametrize(
    "value",
    [1.5, Decimal("NaN"), Decimal("Infinity"), datetime(2026, 6, 1), {1: "a"}, {"a", "b"}, b"x"],
    ids=["float", "nan", "endless", "no zone", "number key", "set", "bytes"],
)
def test_what_has_no_single_form_is_refused(value):
    with pytest.raises(TypeError):
        canonical({"x": value})


def test_the_order_of_keys_does_not_matter():
    assert canonical({"b": 1, "a": {"d": 2, "c": 3}}) == canonical({"a": {"c": 3, "d": 2}, "b": 1})
    assert canonical({"b": 1, "a": 2}) == '{"a":2,"b":1}'


def test_the_hash_is_the_published_formula():
    body = '{"seq":1}'
    assert chain_hash(GENESIS, body) == hashlib.sha256(b"v1\0" + b"\0" * 32 + body.encode()).hexdigest()
    assert content_hash({"a": Decimal("1.0")}) == hashlib.sha256(b'v1\0{"a":"1"}').hexdigest()


def chain(*contents: dict) -> list[RecordFacts]:
    made, prev = [], GENESIS
    for seq, content in enumerate(contents, start=1):
        signature = {"shown_hash": content_hash(content)}
        text = canonical({"edition": 1, "seq": seq, "content": content, "signature": signature})
        made.append(RecordFacts(seq=seq, prev_hash=prev, hash=chain_hash(prev, text), body_text=text))
        prev = made[-1].hash
    return made


GOOD = chain({"block": "A"}, {"block": "B"}, {"block": "C"}, {"block": "D"})


def changed(at: int, **values: object) -> list[RecordFacts]:
    return [replace(r, **values) if i == at else r for i, r in enumerate(GOOD)]


def forged(content: dict) -> list[RecordFacts]:
    """Record 2 rewritten with a fresh hash, as somebody with the program but without the chain would."""
    text = canonical({"edition": 1, "seq": 2, "content": content, "signature": {"shown_hash": content_hash(content)}})
    return changed(1, body_text=text, hash=chain_hash(GOOD[1].prev_hash, text))


@pytest.mark.parametrize(
    ("rows", "fault"),
    [
        pytest.param(GOOD, None, id="untouched"),
        pytest.param([], None, id="empty"),
        pytest.param(
            changed(1, body_text=GOOD[1].body_text.replace('"B"', '"X"')), ("hash", "record 2"), id="text changed"
        ),
        pytest.param(forged({"block": "X"}), ("link", "record 3"), id="text and hash changed"),
        pytest.param(changed(2, hash="0" * 64), ("hash", "record 3"), id="hash changed"),
        pytest.param(changed(3, prev_hash=GENESIS), ("link", "record 4"), id="link changed"),
        pytest.param([*GOOD[:1], *GOOD[2:]], ("gap", "record 2"), id="one taken out"),
        pytest.param(GOOD[1:], ("gap", "record 1"), id="the first taken out"),
        pytest.param([GOOD[0], GOOD[0]], ("gap", "record 2"), id="one twice"),
        pytest.param([GOOD[0], GOOD[2], GOOD[1], GOOD[3]], ("gap", "record 2"), id="order changed"),
    ],
)
def test_the_first_fault_is_named(rows, fault):
    found = first_fault(rows)
    assert (found and (found.code, found.where)) == fault


def _single(body: dict) -> list[RecordFacts]:
    text = canonical(body)
    return [RecordFacts(seq=1, prev_hash=GENESIS, hash=chain_hash(GENESIS, text), body_text=text)]


def test_a_record_with_a_good_hash_must_still_hold_together():
    shown = {"shown_hash": content_hash({"a": 1})}
    assert first_fault(_single({"edition": 1, "seq": 1, "content": {"a": 1}, "signature": shown})) is None
    assert first_fault(_single({"edition": 1, "seq": 1, "content": {"a": 2}, "signature": shown})).code == "shown"
    assert first_fault(_single({"edition": 1, "seq": 9, "content": {"a": 1}, "signature": shown})).code == "seq"


@pytest.mark.parametrize(
    "text",
    [
        '{"seq": 1}',
        "not a record",
        "[1]",
        '{"content":1,"seq":1,"signature":2}',
        '{"content":{},"edition":1,"seq":1,"signature":2}',
        '{"content":{},"edition":1,"seq":1, "signature":{}}',
        '{"content":{},"edition":1,"signature":{},"seq":1}',
        '{"content":{},"edition":1,"seq":1,"signature":{}',
    ],
)
def test_a_body_not_in_canonical_form_is_a_fault(text):
    row = RecordFacts(seq=1, prev_hash=GENESIS, hash=chain_hash(GENESIS, text), body_text=text)
    assert first_fault([row]).code == "form"


_VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.text()
    | st.decimals(allow_nan=False, allow_infinity=False, places=6),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@given(st.dictionaries(st.text(min_size=1), _VALUES, max_size=5))
def test_writing_what_was_read_gives_the_same_text(body):
    keys = {record._key(k) for k in body}
    if len(keys) == len(body):
        text = canonical(body)
        assert canonical(json.loads(text)) == text


@given(st.integers(0, 3), st.integers(0, 10_000), st.characters(min_codepoint=32, max_codepoint=126))
def test_any_single_character_changed_anywhere_is_found(at, where, letter):
    text = GOOD[at].body_text
    where %= len(text)
    rows = changed(at, body_text=text[:where] + letter + text[where + 1 :])
    assert (first_fault(rows) is None) == (text[where] == letter)


@given(st.dictionaries(st.sampled_from(["edition", "seq", "a"]), st.text(), max_size=3), st.text())
def test_the_content_is_found_whatever_is_written_in_it(content, words):
    """The fast walk splits the text without reading it: it must find what a full reading finds."""
    tricky = words + ',"edition":9,"seq":9'
    signature = {"reason": tricky, "shown_hash": content_hash(content)}
    body = {"content": content, "edition": 2, "job": 7, "seq": 1, "signature": signature, "supersedes": None}
    text = canonical(body)
    found, rest = record.split(text)
    assert found == canonical(json.loads(text)["content"])
    assert {**rest, "content": json.loads(found)} == json.loads(text)
    assert first_fault(_single(body)) is None


COLUMNS = {
    "job": 7,
    "meaning": "applied",
    "signer": 3,
    "time of signing": "2026-07-06T15:10:00Z",
    "edition": 2,
    "record it corrects": 5,
}


@pytest.mark.parametrize("name", COLUMNS)
def test_a_column_that_says_something_else_is_a_fault(name):
    content = {"a": 1}
    body = {
        "content": content,
        "edition": 2,
        "job": 7,
        "meaning": "applied",
        "seq": 1,
        "signature": {"person_id": 3, "at": "2026-07-06T15:10:00Z", "shown_hash": content_hash(content)},
        "supersedes": 5,
    }
    row = replace(_single(body)[0], columns=COLUMNS)
    assert first_fault([row]) is None
    found = first_fault([replace(row, columns={**COLUMNS, name: "else"})])
    assert (found.code, found.said) == ("column", f"its {name} is not the signed one")


# ---- heads kept elsewhere --------------------------------------------------------------

KEPT = record.Head(farm="alder", records=3, hash="a" * 64, at="2026-07-06T12:00:00Z", grown={"ledger": (9, 4)})


@pytest.mark.parametrize(
    ("now", "code"),
    [
        ({"records": 3, "hash_there": "a" * 64, "grown": {"ledger": 4}}, None),
        ({"records": 8, "hash_there": "a" * 64, "grown": {"ledger": 4}}, None),
        ({"records": 2, "hash_there": None, "grown": {"ledger": 4}}, "cut"),
        ({"records": 3, "hash_there": "b" * 64, "grown": {"ledger": 4}}, "rewritten"),
        ({"records": 9, "hash_there": "b" * 64, "grown": {"ledger": 4}}, "rewritten"),
        ({"records": 9, "hash_there": "a" * 64, "grown": {"ledger": 3}}, "shrunk"),
        ({"records": 9, "hash_there": "a" * 64, "grown": {}}, "shrunk"),
    ],
    ids=["the same", "grown since", "cut short", "rewritten", "rewritten and grown", "ledger cut", "no ledger"],
)
def test_a_kept_head_finds_what_the_book_cannot_find_in_itself(now, code):
    found = record.head_fault(KEPT, **now)
    assert (found and found.code) == code


def test_a_head_is_read_again_as_it_was_written():
    assert record.read_head(json.loads(json.dumps(KEPT.as_json()))) == KEPT
    few = {"farm": "x", "records": 1, "head": "a"}
    for bad in ({}, [], {**few, "records": "many"}, {**few, "grown": {"t": 1}}):
        with pytest.raises(ValueError):
            record.read_head(bad)
