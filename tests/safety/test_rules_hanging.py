"""What each step hangs, and the whole table of which reason may take down which kind."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from apps.safety.rules import (
    Closure,
    HarvestWait,
    Kind,
    LiftReason,
    NewClosure,
    Reason,
    check_ended,
    check_lift,
    check_replace,
    for_finish,
    for_signature,
)
from tests.safety.board import HALF_PAST_NINE, local, rei

START = local("06-01 08:00")
REASON_OF = {
    Kind.PLANNED: Reason.WINDOW,
    Kind.UNDERWAY: Reason.SPRAYING,
    Kind.UNCONFIRMED: Reason.UNSIGNED,
    Kind.ENTRY: Reason.REI,
    Kind.HARVEST: Reason.PHI,
    Kind.POSTED: Reason.SIGN,
    Kind.ZONE_PLANNED: Reason.ZONE,
    Kind.ZONE: Reason.ZONE,
}


def closure(kind, **more) -> Closure:
    facts = {"id": 1, "block_id": 1, "kind": kind, "reason_code": REASON_OF[kind], "starts_at": START} | more
    return Closure(**facts)


def new(kind, **more) -> NewClosure:
    facts = {"block_id": 1, "kind": kind, "reason_code": REASON_OF[kind], "starts_at": START} | more
    return NewClosure(**facts)


MAY = {
    *((reason, kind) for reason in (LiftReason.CALLED_OFF, LiftReason.STARTED)
      for kind in (Kind.PLANNED, Kind.ZONE_PLANNED)),
    *((LiftReason.NOT_APPLIED, kind) for kind in Kind if kind is not Kind.POSTED),
    *((LiftReason.FINISHED, kind) for kind in (Kind.PLANNED, Kind.UNDERWAY)),
    *((LiftReason.SIGNED, kind) for kind in (Kind.PLANNED, Kind.UNDERWAY, Kind.UNCONFIRMED)),
    *((LiftReason.LENGTHENED, kind) for kind in (Kind.UNCONFIRMED, Kind.ENTRY, Kind.HARVEST)),
    *((LiftReason.RESIGNED, kind) for kind in (Kind.UNCONFIRMED, Kind.ENTRY, Kind.HARVEST)),
    (LiftReason.SIGN_DOWN, Kind.POSTED),
    *((LiftReason.ENDED, kind) for kind in (Kind.ZONE_PLANNED, Kind.ZONE)),
}  # fmt: skip


@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("reason", list(LiftReason))
def test_which_reason_takes_down_which_kind(reason, kind):
    """Project rule, but for the sign: 40 CFR 170.407."""
    found = check_lift(closure(kind), reason=reason, now=START - timedelta(minutes=1))
    expected = [] if (reason, kind) in MAY else ["no_condition" if kind is Kind.ENTRY and reason is LiftReason.ATTESTED
                                                 else "wrong_reason"]  # fmt: skip
    assert [f.code for f in found] == expected


@pytest.mark.parametrize("condition", [Reason.UNTIL_DRY, Reason.UNTIL_LEVEL])
def test_only_a_condition_can_be_attested(condition):
    attest = {"reason": LiftReason.ATTESTED, "now": START}
    assert check_lift(closure(Kind.ENTRY, reason_code=condition), **attest) == []
    assert [f.code for f in check_lift(closure(Kind.ENTRY, reason_code=Reason.REI_MISSING), **attest)] == [
        "no_condition"
    ]


@pytest.mark.parametrize(("minutes", "codes"), [(-1, []), (0, ["window_begun"]), (600, ["window_begun"])])
def test_a_window_is_called_off_only_before_it_begins(minutes, codes):
    found = check_lift(closure(Kind.PLANNED), reason=LiftReason.CALLED_OFF, now=START + timedelta(minutes=minutes))
    assert [f.code for f in found] == codes


@pytest.mark.parametrize(
    ("reason", "old", "successor"),
    [
        (LiftReason.STARTED, Kind.PLANNED, Kind.UNDERWAY),
        (LiftReason.STARTED, Kind.ZONE_PLANNED, Kind.ZONE),
        (LiftReason.FINISHED, Kind.UNDERWAY, Kind.UNCONFIRMED),
        (LiftReason.SIGNED, Kind.UNCONFIRMED, Kind.ENTRY),
        (LiftReason.RESIGNED, Kind.ENTRY, Kind.ENTRY),
        (LiftReason.RESIGNED, Kind.HARVEST, Kind.HARVEST),
    ],
)
def test_a_step_must_hang_its_successor_on_the_same_block(reason, old, successor):
    standing = [closure(old)]
    assert check_replace(standing, [new(successor)], reason=reason) == []
    elsewhere = [new(successor, block_id=2)]
    wrong_kind = [new(kind) for kind in Kind if kind is not successor]
    for left_open in ([], elsewhere, wrong_kind):
        assert [f.code for f in check_replace(standing, left_open, reason=reason)] == ["left_open"]


@pytest.mark.parametrize("reason", [LiftReason.FINISHED, LiftReason.SIGNED, LiftReason.LENGTHENED, LiftReason.ENDED])
def test_a_zone_that_was_told_of_moves_on_only_by_the_start(reason):
    standing = [closure(Kind.ZONE_PLANNED)]
    assert [f.code for f in check_replace(standing, [new(Kind.ZONE)], reason=reason)] == ["left_open"]


@pytest.mark.parametrize(("hanging", "codes"), [
    ({Kind.ZONE}, []), ({Kind.ZONE, Kind.UNCONFIRMED}, []), ({Kind.ZONE, Kind.UNDERWAY}, ["still_spraying"]),
    ({Kind.ZONE_PLANNED, Kind.PLANNED}, ["still_spraying"]),
])  # fmt: skip
def test_a_zone_stands_until_the_end_is_reported(hanging, codes):
    """40 CFR 170.405(a): the zone exists while the application lasts."""
    assert [f.code for f in check_ended(hanging)] == codes


@pytest.mark.parametrize("reason", [LiftReason.CALLED_OFF, LiftReason.NOT_APPLIED, LiftReason.SIGN_DOWN])
def test_reasons_that_move_nothing_on_cannot_replace(reason):
    assert [f.code for f in check_replace([closure(Kind.PLANNED)], [new(Kind.PLANNED)], reason=reason)] == ["left_open"]


ENDS = START + timedelta(hours=12)
PICKING = frozenset({"picking_by_hand"})


@pytest.mark.parametrize(
    ("old", "taking_over", "holds"),
    [
        ({"ends_at": ENDS}, {"ends_at": ENDS}, True),
        ({"ends_at": ENDS}, {"ends_at": ENDS + timedelta(hours=1)}, True),
        ({"ends_at": ENDS}, {"ends_at": None}, True),
        ({"ends_at": ENDS}, {"ends_at": ENDS - timedelta(minutes=1)}, False),
        ({"ends_at": None}, {"ends_at": ENDS}, False),
        ({"ends_at": ENDS}, {"ends_at": ENDS, "activities": PICKING}, False),
        ({"ends_at": ENDS, "activities": PICKING}, {"ends_at": ENDS}, True),
        ({"ends_at": ENDS, "activities": PICKING}, {"ends_at": ENDS, "activities": PICKING | {"hand_labor"}}, True),
        ({"ends_at": ENDS, "activities": PICKING | {"hand_labor"}}, {"ends_at": ENDS, "activities": PICKING}, False),
        ({"ends_at": ENDS}, {"kind": Kind.HARVEST, "ends_at": ENDS}, False),
        ({"ends_at": ENDS}, {"kind": Kind.UNCONFIRMED}, True),
        ({"ends_at": ENDS}, {"ends_at": ENDS, "block_id": 2}, False),
    ],
)
def test_what_lengthens_must_hold_at_least_as_long(old, taking_over, holds):
    standing = closure(Kind.ENTRY, **old)
    kind = taking_over.get("kind", Kind.ENTRY)
    found = check_replace(
        [standing], [new(kind, **{k: v for k, v in taking_over.items() if k != "kind"})], reason=LiftReason.LENGTHENED
    )
    assert [f.code for f in found] == ([] if holds else ["left_open"])


def test_the_finish_shows_the_longest_provisional_time_or_none_if_one_is_not_known():
    finish = {"started_at": START, "ended_at": HALF_PAST_NINE}
    (made,) = for_finish([1], intervals=[rei(12), rei(48)], **finish)
    assert (made.kind, made.ends_at, made.provisional_ends_at) == (Kind.UNCONFIRMED, None, local("06-03 09:30"))
    (made,) = for_finish([1], intervals=[rei(12), rei(None)], **finish)
    assert made.provisional_ends_at is None


def test_the_signature_hangs_each_set_of_work_each_condition_and_the_harvest_wait():
    made = for_signature(
        1,
        started_at=START,
        ended_at=HALF_PAST_NINE,
        intervals=[
            rei(12, product="A"),
            rei(24, product="B"),
            rei(120, product="A", activities=PICKING),
            rei(None, product="C", condition=Reason.UNTIL_DRY),
        ],
        waits=[HarvestWait(product="A", days=3), HarvestWait(product="B", days=7)],
        zone="America/Chicago",
    )
    assert [(c.kind, c.reason_code, c.ends_at, c.activities, c.product_names, dict(c.numbers)) for c in made] == [
        (Kind.ENTRY, "until_dry", None, frozenset(), ("C",), {}),
        (Kind.ENTRY, "rei", local("06-02 09:30"), frozenset(), ("B",), {"hours": "24 h"}),
        (Kind.ENTRY, "rei", local("06-06 09:30"), PICKING, ("A",), {"hours": "120 h"}),
        (Kind.HARVEST, "phi", local("06-08 09:30"), frozenset(), ("B",), {"days": "7 d"}),
    ]
    assert {c.starts_at for c in made} == {START}


def test_a_closure_without_a_zone_cannot_be_built():
    with pytest.raises(ValueError, match="starts_at has no time zone"):
        new(Kind.PLANNED, starts_at=START.replace(tzinfo=None))
    with pytest.raises(ValueError, match="lifted_at has no time zone"):
        replace(closure(Kind.PLANNED), lifted_at=START.replace(tzinfo=None))
