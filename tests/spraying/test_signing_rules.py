"""Who signs, and the record read back in sentences, with its consequences: plain rules."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from apps.spraying.rules.record import Meaning, canonical
from apps.spraying.rules.signing import STATEMENTS, Sentence, Standing, read_back, who_signs
from farmops.wording import fill

A, S = Standing.APPLIED, Standing.SUPERVISED


@pytest.mark.parametrize(
    ("supervised", "certified", "expected"),
    [(False, True, {A}), (False, False, {A}), (True, True, {A, S}), (True, False, {S})],
    ids=["alone", "alone, no card", "supervised, own card", "supervised, no card"],
)
def test_who_signs(supervised, certified, expected):
    """40 CFR 171.201: under supervision the certified supervisor answers for a noncertified person's application."""
    assert who_signs(supervised=supervised, applicator_certified=certified) == expected


def test_every_meaning_has_a_statement_for_every_standing():
    assert set(STATEMENTS) == {(m, s) for m in Meaning for s in Standing}


def closure(
    kind: str = "entry", reason: str = "rei", ends_at: str | None = "2026-06-03T14:30:00Z", **more: Any
) -> dict:
    return {"kind": kind, "reason": reason, "ends_at": ends_at, "activities": [], "products": ["Demo A"], **more}


def block(*closures: dict, **more: Any) -> dict:
    return {
        "code": "7N",
        "name": "Field 7 North",
        "planned_acres": "12.4",
        "treated_acres": "12.4",
        "crop": "Winter squash",
        "part_note": "",
        "closures": list(closures),
        **more,
    }


def content(**changes: Any) -> dict:
    """Luis sprayed 12.4 acres on Monday 1 June 2026, 8:00 to 9:30 AM in Chicago."""
    return {
        "meaning": "applied",
        "statement": "I made this application as written above.",
        "farm": {"time_zone": "America/Chicago"},
        "signer": {"person_id": 2},
        "applicator": {"person_id": 2, "name": "Luis Mora"},
        "started_at": "2026-06-01T13:00:00Z",
        "ended_at": "2026-06-01T14:30:00Z",
        "disputed": False,
        "loads": "3",
        "spray_gpa": "18.6",
        "readings": {"start": {"wind_mph": "4", "wind_from": "sw"}, "end": {}},
        "blocks": [block(closure())],
        "products": [
            {"name": "Demo A", "amount": "24.8", "unit": "pt", "per_acre": "2", "planned_text": "2 pt/acre"},
        ],
        "deviation_reason": "",
        **changes,
    }


def said(sentences: tuple[Sentence, ...]) -> list[str]:
    return [fill(s.template, s.numbers, "en") for s in sentences]


def test_the_plain_case_reads_as_a_person_would_say_it():
    back = read_back(content())
    assert said(back.sentences) == [
        "You sprayed all 12.4 acres of 7N Field 7 North, Winter squash.",
        "You started Mon, Jun 1, 8:00 AM CDT and finished Mon, Jun 1, 9:30 AM CDT.",
        "Spray volume 18.6 gal per acre, 3 loads.",
        "Demo A: 2 pt per acre, 24.8 pt in all (planned: 2 pt/acre).",
        "Weather at the start: 4 mph SW.",
    ]
    assert said(back.consequences) == [
        "Because of this record, 7N Field 7 North stays closed until Wed, Jun 3, 9:30 AM CDT (Demo A)."
    ]
    assert said((back.statement,)) == ["I made this application as written above."]
    assert [s.unusual for s in back.sentences] == [False] * 5


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        pytest.param(
            {"blocks": [block(treated_acres="3", part_note="north end")]},
            "You sprayed 3 acres of 7N Field 7 North, Winter squash (planned: 12.4 acres; part: north end).",
            id="a part",
        ),
        pytest.param(
            {"blocks": [block(treated_acres="0")]}, "7N Field 7 North: nothing was sprayed.", id="nothing treated"
        ),
        pytest.param(
            {"disputed": True},
            "It began Mon, Jun 1, 8:00 AM CDT and ended Mon, Jun 1, 9:30 AM CDT; people gave different times, "
            "and the latest end counts.",
            id="two ends",
        ),
        pytest.param(
            {
                "products": [
                    {"name": "Demo B", "amount": "0", "unit": "pt", "per_acre": "0", "planned_text": "1 pt/acre"}
                ]
            },
            "Demo B: none was used.",
            id="a product left out",
        ),
        pytest.param(
            {"deviation_reason": "a nozzle was worn"},
            "Why the rate differs from the plan: a nozzle was worn",
            id="off the plan",
        ),
    ],
)
def test_what_is_unusual_stands_out(changes, expected):
    back = read_back(content(**changes))
    assert said(tuple(s for s in back.sentences if s.unusual)) == [expected]


def test_a_supervisor_reads_who_did_it():
    back = read_back(content(signer={"person_id": 9}))
    assert said(back.sentences)[:2] == [
        "Luis Mora sprayed all 12.4 acres of 7N Field 7 North, Winter squash.",
        "Luis Mora started Mon, Jun 1, 8:00 AM CDT and finished Mon, Jun 1, 9:30 AM CDT.",
    ]


def test_readings_at_the_end_are_said_when_there_are_any():
    end = {"wind_mph": "6", "wind_from": "sw", "gust_mph": "9", "temperature_f": "80", "humidity_percent": "41"}
    back = read_back(content(readings={"start": {}, "end": end}))
    assert said(back.sentences)[-1] == "Weather at the end: 6 mph SW, max 9 mph, 80 °F, 41 % RH."


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (
            closure(activities=["hand_labor", "picking_by_hand"]),
            "Because of this record, 7N Field 7 North stays closed for hand labor, picking by hand "
            "until Wed, Jun 3, 9:30 AM CDT (Demo A).",
        ),
        (
            closure(reason="rei_missing", ends_at=None),
            "7N Field 7 North stays closed with no end: the restricted-entry interval of Demo A is not known.",
        ),
        (
            closure(reason="until_dry", ends_at=None),
            "7N Field 7 North stays closed until a named person confirms that Demo A has dried.",
        ),
        (
            closure(reason="until_level", ends_at=None),
            "7N Field 7 North stays closed until a named person confirms the condition on the label of Demo A.",
        ),
        (
            closure(kind="harvest", reason="phi"),
            "Earliest picking on 7N Field 7 North: Wed, Jun 3, 9:30 AM CDT (Demo A).",
        ),
        (
            closure(kind="harvest", reason="phi", ends_at="2026-06-03T14:30:01Z"),
            "Earliest picking on 7N Field 7 North: Wed, Jun 3, 9:30 AM CDT (Demo A).",
        ),
        (
            closure(kind="harvest", reason="phi_missing", ends_at=None),
            "No picking on 7N Field 7 North: the wait before harvest of Demo A is not known.",
        ),
    ],
    ids=[
        "for some work",
        "interval unknown",
        "until dry",
        "until a level",
        "harvest",
        "harvest with seconds",
        "harvest unknown",
    ],
)
def test_each_consequence_is_said(row, expected):
    back = read_back(content(blocks=[block(row)]))
    assert said(back.consequences) == [expected]
    assert back.consequences[0].unusual is (row["ends_at"] is None)


@pytest.mark.parametrize(
    ("entry", "expected"),
    [
        (
            closure(ends_at="2026-06-05T14:30:00Z", products=["Demo B"]),
            "Earliest picking on 7N Field 7 North: Fri, Jun 5, 9:30 AM CDT (Demo B).",
        ),
        (
            closure(ends_at="2026-06-05T14:30:00Z", products=["Demo B"], activities=["picking_by_hand"]),
            "Earliest picking on 7N Field 7 North: Fri, Jun 5, 9:30 AM CDT (Demo B).",
        ),
        (
            closure(ends_at="2026-06-05T14:30:00Z", products=["Demo B"], activities=["irrigation"]),
            "Earliest picking on 7N Field 7 North: Wed, Jun 3, 9:30 AM CDT (Demo A).",
        ),
        (
            closure(reason="rei_missing", ends_at=None),
            "No picking on 7N Field 7 North before it is open for entry.",
        ),
    ],
    ids=["entry ends later", "entry of pickers ends later", "entry of others ends later", "entry unknown"],
)
def test_nobody_is_promised_picking_before_the_pickers_may_enter(entry, expected):
    """G3, G4: picking waits for the entry interval too."""
    back = read_back(content(blocks=[block(entry, closure(kind="harvest", reason="phi"))]))
    assert said(back.consequences)[1] == expected


def test_anybody_but_the_signer_reads_the_name():
    back = read_back(content(), to_signer=False)
    assert said(back.sentences)[0] == "Luis Mora sprayed all 12.4 acres of 7N Field 7 North, Winter squash."


def nothing(**changes: Any) -> dict:
    return {
        "meaning": "not_applied",
        "statement": "Nothing was applied under this job.",
        "farm": {"time_zone": "America/Chicago"},
        "job": {
            "number": 7,
            "window_starts_at": datetime(2026, 6, 1, 13, tzinfo=UTC),
            "window_ends_at": "2026-06-01T16:00:00Z",
        },
        "started_at": None,
        "blocks": [{"name": "7N Field 7 North"}],
        "products": [{"name": "Demo A"}],
        "reported_before": None,
        **changes,
    }


@pytest.mark.parametrize(
    ("changes", "last"),
    [
        ({}, "Nothing was applied on 7N Field 7 North under this job."),
        ({"started_at": "2026-06-01T13:10:00Z"}, "It had been started Mon, Jun 1, 8:10 AM CDT."),
        (
            {"reported_before": {"ended_at": "x"}},
            "It had been reported as sprayed. That report stays on file and counts no longer.",
        ),
    ],
    ids=["never started", "started", "reported"],
)
def test_not_applied_says_what_stood_before(changes, last):
    back = read_back(nothing(**changes))
    assert said(back.sentences)[0] == (
        "Spray job 7: Demo A on 7N Field 7 North, planned from Mon, Jun 1, 8:00 AM CDT to Mon, Jun 1, 11:00 AM CDT."
    )
    assert said(back.sentences)[-1] == last
    assert said(back.consequences) == [
        "Because of this record, job 7 no longer closes 7N Field 7 North. Other sprays there still count."
    ]


def test_a_record_read_again_from_its_text_gives_the_same_sentences():
    for made in (content(), nothing()):
        assert said(read_back(json.loads(canonical(made))).sentences) == said(read_back(made).sentences)
