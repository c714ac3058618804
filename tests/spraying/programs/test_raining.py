"""Rain after a spray, and when it asks for a decision. Plain rules.

The inch within a day is common practice, no source; rain-free hours are the label's.
"""

from __future__ import annotations

import os
from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.spraying.programs.rules import AskKind, Choice, asks
from tests.spraying.programs.stories import at, day, decide, program, rain, spray

MANY = settings(max_examples=1000 if os.environ.get("NIGHTLY") else 60, deadline=None)
DONE = at(day(7, 2), 14)  # the spray ends at 14:00
HEAVY, SOON = AskKind.HEAVY_RAIN, AskKind.RAIN_TOO_SOON
HOUR = timedelta(hours=1)


def kinds(rains, decisions=(), **changes):
    found = asks(program(), spray(day(7, 2), **changes), rains, decisions)
    return [(a.kind, a.inches, a.answered is not None) for a in found]


@pytest.mark.parametrize(
    ("rains", "changes", "expected"),
    [
        pytest.param([], {}, [], id="none"),
        pytest.param([rain(DONE + HOUR, 4, "1")], {}, [(HEAVY, Decimal(1), False)], id="an inch"),
        pytest.param([rain(DONE + HOUR, 4, "0.99")], {}, [], id="less than an inch"),
        pytest.param([rain(DONE - 6 * HOUR, 6, "2")], {}, [], id="ended as the spray ended"),
        pytest.param([rain(DONE - 6 * HOUR, 7, "2")], {}, [(HEAVY, Decimal(2), False)], id="may have come after"),
        pytest.param([rain(DONE + 23 * HOUR, 9, "2")], {}, [(HEAVY, Decimal(2), False)], id="may have come in time"),
        pytest.param([rain(DONE + 24 * HOUR, 9, "2")], {}, [], id="a day later"),
        pytest.param(
            [rain(DONE, 3, "0.6"), rain(DONE + 5 * HOUR, 3, "0.5")], {}, [(HEAVY, Decimal("1.1"), False)], id="summed"
        ),
        pytest.param(
            [rain(DONE, 3, "0.6"), rain(DONE, 3, "0.5")], {}, [], id="the same reading twice is one"
        ),
        pytest.param(
            [rain(DONE, 3, "0.6"), rain(DONE, 3, "0.7", own=True)], {}, [], id="two gauges are not added up"
        ),
        pytest.param([rain(DONE, 3, "0.6"), rain(DONE, 3, "1.2", own=True)], {}, [(HEAVY, Decimal("1.2"), False)],
                     id="the gauge that caught more"),
        pytest.param([rain(DONE, 4, "3")], {"protectant": False}, [], id="no protectant in the tank"),
        pytest.param([rain(DONE + HOUR, 4, "0.05")], {"rain_free_hours": Decimal(2)}, [(SOON, Decimal("0.05"), False)],
                     id="any rain in the label's hours"),
        pytest.param([rain(DONE + 2 * HOUR, 4, "0.05")], {"rain_free_hours": Decimal(2)}, [], id="after the hours"),
        pytest.param([rain(DONE, 4, "0")], {"rain_free_hours": Decimal(2)}, [], id="an empty gauge"),
        pytest.param([rain(DONE, 4, "1.5")], {"rain_free_hours": Decimal(2)},
                     [(HEAVY, Decimal("1.5"), False), (SOON, Decimal("1.5"), False)], id="both"),
    ],
)  # fmt: skip
def test_when_it_asks(rains, changes, expected):
    assert kinds(rains, **changes) == expected


@pytest.mark.parametrize(
    ("choice", "answered"),
    [(Choice.CONTINUE, True), (Choice.RESPRAY, True), (Choice.END, True), (Choice.SKIP, False), (Choice.START, False)],
)
def test_what_answers_it(choice, answered):
    wet = [rain(DONE + HOUR, 4, "1")]
    assert kinds(wet, [decide(choice, day(7, 3))]) == [(HEAVY, Decimal(1), answered)]


def test_a_decision_made_before_all_of_the_rain_was_known_answers_nothing():
    wet = [rain(DONE, 3, "1"), rain(DONE + 4 * HOUR, 3, "0.5", known=at(day(7, 4)))]
    assert kinds(wet, [decide(Choice.CONTINUE, day(7, 3))]) == [(HEAVY, Decimal("1.5"), False)]
    assert kinds(wet, [decide(Choice.CONTINUE, day(7, 4))]) == [(HEAVY, Decimal("1.5"), True)]


falls = st.lists(
    st.builds(
        lambda start, hours, tenths, own: rain(DONE + start * HOUR, hours, str(Decimal(tenths) / 10), own=own),
        st.integers(-30, 40), st.integers(1, 30), st.integers(0, 20), st.booleans(),
    ),
    max_size=6,
)  # fmt: skip


@MANY
@given(falls, falls)
def test_more_rain_never_takes_a_question_back(some, more):
    asked = {kind for kind, _, _ in kinds(some, rain_free_hours=Decimal(4))}
    assert asked <= {kind for kind, _, _ in kinds([*some, *more], rain_free_hours=Decimal(4))}
