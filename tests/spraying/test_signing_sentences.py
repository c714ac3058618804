"""Every sentence of a record read back, and which of them stand out."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from apps.spraying.amending.rules import UNKNOWN, What
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.signing import CORRECTED, STATEMENTS, Sentence, Standing, read_back
from farmops.wording import fill

from .test_signing_rules import block, closure, content, nothing

USUAL, STANDS_OUT = False, True
LUIS = {"signer": {"person_id": 9}}
SOME = block(treated_acres="3.456", part_note="north end")
AMENDS = {
    "record": 12,
    "signed_at": "2026-06-01T15:00:00Z",
    "signed_by": "Luis Mora",
    "reason": "wrong tank",
    "changes": [],
}


def told(sentences):
    return [(fill(s.template, s.numbers, "en"), s.unusual) for s in sentences]


AREAS = [
    ("all_by_another", {**LUIS}, 0, "Luis Mora sprayed all 12.4 acres of 7N Field 7 North, Winter squash.", USUAL),
    ("a_part", {"blocks": [SOME]}, 0,
     "You sprayed 3.46 acres of 7N Field 7 North, Winter squash (planned: 12.4 acres; part: north end).", STANDS_OUT),
    ("a_part_by_another", {**LUIS, "blocks": [SOME]}, 0,
     "Luis Mora sprayed 3.46 acres of 7N Field 7 North, Winter squash (planned: 12.4 acres; part: north end).",
     STANDS_OUT),
    ("no_crop", {"blocks": [block(crop="")]}, 0, "You sprayed all 12.4 acres of 7N Field 7 North, –.", USUAL),
    ("part_not_named", {"blocks": [block(treated_acres="3")]}, 0,
     "You sprayed 3 acres of 7N Field 7 North, Winter squash (planned: 12.4 acres; part: –).", STANDS_OUT),
    ("more_than_planned", {"blocks": [block(treated_acres=Decimal("12.5"))]}, 0,
     "You sprayed 12.5 acres of 7N Field 7 North, Winter squash (planned: 12.4 acres; part: –).", STANDS_OUT),
    ("nothing_there", {"blocks": [block(treated_acres="0")]}, 0, "7N Field 7 North: nothing was sprayed.", STANDS_OUT),
    ("times_of_another", {**LUIS}, 1,
     "Luis Mora started Mon, Jun 1, 8:00 AM CDT and finished Mon, Jun 1, 9:30 AM CDT.", USUAL),
    ("two_ends", {"disputed": True}, 1,
     "It began Mon, Jun 1, 8:00 AM CDT and ended Mon, Jun 1, 9:30 AM CDT; people gave different times, and the latest "
     "end counts.", STANDS_OUT),
    ("instants_as_such", {"started_at": datetime(2026, 6, 1, 13, tzinfo=UTC)}, 1,
     "You started Mon, Jun 1, 8:00 AM CDT and finished Mon, Jun 1, 9:30 AM CDT.", USUAL),
    ("volume_and_loads", {"spray_gpa": "18.666", "loads": "2.333"}, 2,
     "Spray volume 18.67 gal per acre, 2.33 loads.", USUAL),
    # 248 gal on 12.4 acres are 20 gal/acre: 7.5 % above 18.6; 5 % off is the house's limit
    ("put_on", {"sprayed_gal": "248.004", "achieved_gpa": "20.004"}, 3,
     "248 gallons were sprayed: 20 gal per acre, +7.5 % off the plan.", STANDS_OUT),
    ("put_on_as_planned", {"sprayed_gal": "230.64", "achieved_gpa": "18.6"}, 3,
     "230.64 gallons were sprayed: 18.6 gal per acre, 0 % off the plan.", USUAL),
    ("a_product_left_out", {"products": [
        {"name": "Demo B", "amount": "0", "unit": "pt", "per_acre": "0", "planned_text": "1 pt/acre"}]}, 3,
     "Demo B: none was used.", STANDS_OUT),
    ("on_no_acre", {"products": [
        {"name": "Demo B", "amount": "4", "unit": "pt", "per_acre": None, "planned_text": "1 pt/acre"}]}, 3,
     "Demo B: none was used.", STANDS_OUT),
    ("a_reason", {"deviation_reason": "a nozzle was worn"}, -1,
     "Why the rate differs from the plan: a nozzle was worn", STANDS_OUT),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "place", "sentence", "unusual"), [r[1:] for r in AREAS], ids=[r[0] for r in AREAS])
def test_each_sentence_of_a_record(changes, place, sentence, unusual):
    assert told(read_back(content(**changes)).sentences)[place] == (sentence, unusual)


READINGS = [
    ("wind_without_direction", {"wind_mph": "4"}, "4 mph"),
    ("gusts", {"wind_mph": "4", "wind_from": "sw", "gust_mph": "8"}, "4 mph SW, max 8 mph"),
    ("direction_alone_is_no_wind", {"wind_from": "sw", "temperature_f": "72"}, "72 °F"),
    ("moist", {"humidity_percent": "60"}, "60 % RH"),
    ("empty", {"temperature_f": "", "humidity_percent": "", "gust_mph": ""}, ""),
]


@pytest.mark.parametrize(("read", "words"), [r[1:] for r in READINGS], ids=[r[0] for r in READINGS])
def test_readings(read, words):
    """A start always has its sentence; an end only when something was read."""
    back = told(read_back(content(readings={"start": read, "end": read})).sentences)
    ends = [(f"Weather at the end: {words}.", USUAL)] if words else []

    assert back[4:] == [(f"Weather at the start: {words}.", USUAL), *ends]


def test_several_blocks_and_products_each_have_their_sentence_in_order():
    second = block(closure(products=["Demo A", "Demo B"]), closure(products=[], ends_at=None), code="8S", name="Low")
    other = {"name": "Demo B", "amount": "12.4", "unit": "qt", "per_acre": "1", "planned_text": "1 qt/acre"}
    made = content(blocks=[block(closure()), second], products=[*content()["products"], other])
    back = read_back(made)

    assert [s for s, _ in told(back.sentences)][:2] == [
        "You sprayed all 12.4 acres of 7N Field 7 North, Winter squash.",
        "You sprayed all 12.4 acres of 8S Low, Winter squash.",
    ]
    assert told(back.sentences)[5] == ("Demo B: 1 qt per acre, 12.4 qt in all (planned: 1 qt/acre).", USUAL)
    assert told(back.consequences) == [
        ("Because of this record, 7N Field 7 North stays closed until Wed, Jun 3, 9:30 AM CDT (Demo A).", USUAL),
        ("Because of this record, 8S Low stays closed until Wed, Jun 3, 9:30 AM CDT (Demo A, Demo B).", USUAL),
        ("8S Low stays closed with no end: the restricted-entry interval of – is not known.", STANDS_OUT),
    ]


PICKING = closure(kind="harvest", reason="phi")
WORK = [
    ("an_unknown_wait_stays_unknown", [closure(ends_at="2026-06-05T14:30:00Z"), {**PICKING, "ends_at": None}],
     "No picking on 7N Field 7 North: the wait before harvest of Demo A is not known.", STANDS_OUT),
    ("an_entry_that_ends_before_changes_nothing", [closure(ends_at="2026-06-02T14:30:00Z", products=["B"]), PICKING],
     "Earliest picking on 7N Field 7 North: Wed, Jun 3, 9:30 AM CDT (Demo A).", USUAL),
    ("the_latest_of_several_entries", [closure(ends_at="2026-06-09T14:30:00Z", products=["C"]),
                                       closure(ends_at="2026-06-05T14:30:00Z", products=["B"]), PICKING],
     "Earliest picking on 7N Field 7 North: Tue, Jun 9, 9:30 AM CDT (C).", USUAL),
    ("an_unknown_entry_of_other_work_does_not_matter", [
        closure(ends_at=None, activities=["irrigation"]), PICKING],
     "Earliest picking on 7N Field 7 North: Wed, Jun 3, 9:30 AM CDT (Demo A).", USUAL),
    ("an_unknown_entry_of_pickers_does", [closure(ends_at=None, activities=["picking_by_hand"]), PICKING],
     "No picking on 7N Field 7 North before it is open for entry.", STANDS_OUT),
]  # fmt: skip


@pytest.mark.parametrize(("rows", "sentence", "unusual"), [r[1:] for r in WORK], ids=[r[0] for r in WORK])
def test_the_earliest_picking(rows, sentence, unusual):
    assert told(read_back(content(blocks=[block(*rows)])).consequences)[-1] == (sentence, unusual)


NOTHING = [
    ("never_started", {}, []),
    ("started", {"started_at": "2026-06-01T13:10:00Z"}, ["It had been started Mon, Jun 1, 8:10 AM CDT."]),
    ("reported", {"started_at": "2026-06-01T13:10:00Z", "reported_before": {"ended_at": "x"}},
     ["It had been reported as sprayed. That report stays on file and counts no longer."]),
]  # fmt: skip
TWO = {"blocks": [{"name": "Low"}, {"name": "High"}], "products": [{"name": "Demo A"}, {"name": "Demo B"}]}


@pytest.mark.parametrize(("changes", "before"), [r[1:] for r in NOTHING], ids=[r[0] for r in NOTHING])
def test_nothing_was_applied(changes, before):
    back = read_back(nothing(**TWO, **changes))

    assert told(back.sentences) == [
        ("Spray job 7: Demo A, Demo B on Low, High, planned from Mon, Jun 1, 8:00 AM CDT to Mon, Jun 1, 11:00 AM CDT.",
         USUAL),
        ("Nothing was applied on Low, High under this job.", USUAL),
        *[(words, STANDS_OUT) for words in before],
    ]  # fmt: skip
    assert told(back.consequences) == [
        ("Because of this record, job 7 no longer closes Low, High. Other sprays there still count.", USUAL)
    ]
    assert back.statement == Sentence(template="Nothing was applied under this job.")


def test_a_withdrawn_signature():
    voids = {"record": 12, "signed_at": "2026-06-01T15:00:00Z", "signed_by": "Luis Mora"}
    back = read_back(nothing(**TWO, meaning="voided", voids=voids, statement="I withdraw it."))

    assert told(back.sentences) == [
        ("Record 12 of spray job 7 on Low, High, signed Mon, Jun 1, 10:00 AM CDT by Luis Mora.", USUAL),
        ("Its signature is withdrawn. The record stays readable, marked as withdrawn.", STANDS_OUT),
    ]
    assert told(back.consequences) == [
        ("The blocks are closed again until the spray is signed. Its amounts go on counting in season totals.",
         STANDS_OUT),
    ]  # fmt: skip
    assert back.statement.template == "I withdraw it."


CHANGES = [
    (What.MEANING, "What the record says changes."),
    (What.APPLICATOR, "Applied by: it said one, it says two now."),
    (What.SUPERVISOR, "Supervised by: it said one, it says two now."),
    (What.STARTED_AT, "Start: it was one, it is two now."),
    (What.ENDED_AT, "End: it was one, it is two now."),
    (What.LOADS, "Loads: it was one, it is two now."),
    (What.TREATED, "Area treated in it: it was one, it is two now."),
    (What.PART, "Part treated in it: it was one, it is two now."),
    (What.AMOUNT, "it: it was one, it is two now."),
    (What.LABEL, "Label version of it: it was one, it is two now."),
    (What.START_READINGS, "Weather at the start: it was one, it is two now."),
    (What.END_READINGS, "Weather at the end: it was one, it is two now."),
    (What.REMARK, "Why the rate differs from the plan: it was one, it is two now."),
    (What.ENTRY, "it, closed for entry: it was before one, it is before two now."),
    (What.HARVEST, "it, earliest picking: it was one, it is two now."),
]
DOUBT = [
    (What.ENTRY, UNKNOWN, "two",
     "it, closed for entry: whether it ends is not known before or after this change."),
    (What.HARVEST, "one", UNKNOWN, "it, earliest picking: it is not known before or after this change."),
    (What.LOADS, UNKNOWN, "two", f"Loads: it was {UNKNOWN}, it is two now."),
]  # fmt: skip
ROWS = [(what, "one", "two", words) for what, words in CHANGES] + DOUBT


def corrected(*changes, made=content):
    rows = [{"what": w, "subject": "it", "before": b, "after": a} for w, b, a in changes]
    return told(read_back(made(amends={**AMENDS, "changes": rows})).sentences)


@pytest.mark.parametrize(("what", "before", "after", "words"), ROWS)
def test_each_difference_of_a_correction(what, before, after, words):
    assert corrected((what.value, before, after))[:2] == [
        ("This corrects record 12, signed Mon, Jun 1, 10:00 AM CDT by Luis Mora. Why: wrong tank", STANDS_OUT),
        (words, STANDS_OUT),
    ]


def test_every_difference_has_its_words_and_a_record_of_nothing_is_corrected_too():
    assert {what for what, _ in CHANGES} == set(What)
    assert corrected(made=nothing)[0][0].startswith("This corrects record 12")
    assert corrected(made=nothing)[1][0].startswith("Spray job 7")


def test_what_is_signed_says_who_and_what():
    """Each statement is one sentence of its own but for a withdrawal; a correction says what it replaces first."""
    mine, watched = Standing.APPLIED, Standing.SUPERVISED

    assert STATEMENTS[Meaning.APPLIED, mine] == "I made this application as written above."
    assert STATEMENTS[Meaning.APPLIED, watched] == "I supervised this application as written above."
    assert {CORRECTED[key] == f"This replaces the earlier record. {STATEMENTS[key]}" for key in CORRECTED} == {True}
    assert set(CORRECTED) == {key for key in STATEMENTS if key[0] is not Meaning.VOIDED}
