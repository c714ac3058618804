"""Early entry: cases D1 to D21 of the project's decision table, and C7. The tool rules out; it never grants.

Ground in its interval since 06-01 09:30, 48 h, America/Chicago 2026, unless a row says otherwise.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from apps.safety.rules.early import Briefing, Ground, Route, Stay, Wish, cap_minutes, ended_at, most_in_a_day, ruled_out
from tests.safety.board import HALF_PAST_NINE, local

GROUND = Ground(ended_at=HALF_PAST_NINE, confirmed=True, level_open=False, double_notice=False)
DOUBLE = replace(GROUND, double_notice=True)
LEVEL = replace(GROUND, level_open=True)
LAW, DUTIES = "40 CFR 170.603", "40 CFR 170.605"


def stay(at: str, minutes: int) -> Stay:
    return Stay(starts_at=local(at), minutes=minutes)


def wish(route: Route, at: str, minutes: int, **more) -> Wish:
    """Everything else met, as the table says."""
    met = {"listed": True, "age": 30, "gear_given": True, "briefed": frozenset(Briefing)}
    return Wish(route=route, stay=stay(at, minutes), **{**met, **more})


SHORT, LIMITED, EMERGENCY = Route.SHORT_TERM, Route.LIMITED_CONTACT, Route.EMERGENCY
NO_CONTACT, HANDLER = Route.NO_CONTACT, Route.HANDLER
PUMP = {"unforeseen": True, "real_loss": True, "contact_limited": True}
FROST = {"real_loss": True, "hand_labor": True}
DECLARED = {**FROST, "declaration": "State notice 26-114"}
USED = (stay("06-01 14:00", 40),)

CASES = [
    ("D1 13:29", LAW, GROUND, wish(SHORT, "06-01 13:29", 30), ["first_4_hours"]),
    ("D2 13:30 exactly", LAW, GROUND, wish(SHORT, "06-01 13:30", 60), []),
    ("D2 61 minutes", LAW, GROUND, wish(SHORT, "06-01 13:30", 61), ["too_long"]),
    ("D3 70 min in a rolling day", LAW, GROUND, wish(SHORT, "06-02 13:30", 30, used=USED), ["too_long"]),
    ("D4 the day after", LAW, GROUND, wish(SHORT, "06-02 14:40", 60, used=USED), []),
    ("D5 two fields add up", LAW + " (reading)", GROUND, wish(SHORT, "06-01 18:00", 30, used=USED), ["too_long"]),
    ("D6 hand weeding", LAW, GROUND, wish(SHORT, "06-01 15:00", 30, hand_labor=True), ["hand_labor"]),
    ("D7 broken pump, 5 h", LAW, GROUND, wish(LIMITED, "06-01 15:00", 300, **PUMP), []),
    ("D8 label wants both notices", LAW, DOUBLE, wish(LIMITED, "06-01 15:00", 300, **PUMP), ["double_notice"]),
    ("D9 routine irrigation", LAW, GROUND, wish(LIMITED, "06-01 15:00", 300, **PUMP | {"unforeseen": False}),
     ["foreseeable"]),
    ("D10 8 h 30", LAW, GROUND, wish(LIMITED, "06-01 15:00", 510, **PUMP), ["too_long"]),
    ("D10 8 h", LAW, GROUND, wish(LIMITED, "06-01 15:00", 480, **PUMP), []),
    ("D11 frost, nothing declared", LAW, GROUND, wish(EMERGENCY, "06-01 15:00", 300, **FROST), ["no_declaration"]),
    ("D12 declared, hand work", LAW + " (parts from memory)", GROUND, wish(EMERGENCY, "06-01 15:00", 600, **DECLARED),
     []),
    ("D13 double notice, 4 h", "from memory", DOUBLE, wish(EMERGENCY, "06-01 15:00", 240, **DECLARED), []),
    ("D13 double notice, 4 h 1", "from memory", DOUBLE, wish(EMERGENCY, "06-01 15:00", 241, **DECLARED), ["too_long"]),
    ("D14 closed cab", LAW, GROUND, wish(NO_CONTACT, "06-01 10:00", 20, touches_treated=False), []),
    ("D15 coveralls and gloves", LAW, GROUND, wish(NO_CONTACT, "06-01 10:00", 20, relies_on_gear=True),
     ["gear_is_contact"]),
    ("D16 aged 17", DUTIES + "(a)", GROUND, wish(SHORT, "06-01 15:00", 30, age=17), ["under_18"]),
    ("D16 age not known", "project rule", GROUND, wish(SHORT, "06-01 15:00", 30, age=None), ["age_unknown"]),
    ("D17 the owner prunes", "40 CFR 170.601 exempts nobody from 170.407", GROUND,
     wish(SHORT, "06-01 15:00", 30, hand_labor=True), ["hand_labor"]),
    ("D18 handler mends the sprayer", LAW, GROUND, wish(HANDLER, "06-01 10:00", 90, trained_handler=True), []),
    ("D18 without gear", DUTIES, GROUND, wish(HANDLER, "06-01 10:00", 90, trained_handler=True, gear_given=False),
     ["gear_missing"]),
    ("D18 not trained", "40 CFR 170.501", GROUND, wish(HANDLER, "06-01 10:00", 90), ["no_handler"]),
    ("D20 level open, short", LAW, LEVEL, wish(SHORT, "06-01 15:00", 30), ["level_open"]),
    ("D20 level open, no contact", LAW, LEVEL, wish(NO_CONTACT, "06-01 15:00", 30, touches_treated=False),
     ["level_open"]),
    ("D20 level open, limited", LAW, LEVEL, wish(LIMITED, "06-01 15:00", 300, **PUMP), ["level_open"]),
    ("D20 level open, emergency", LAW, LEVEL, wish(EMERGENCY, "06-01 15:00", 300, **DECLARED), ["level_open"]),
    ("D21 a visitor", "40 CFR 170.405; project rule", GROUND, wish(SHORT, "06-01 15:00", 30, listed=False),
     ["not_listed"]),
    ("not signed", "project rule", replace(GROUND, confirmed=False), wish(SHORT, "06-01 15:00", 30),
     ["not_confirmed"]),
    ("end not known", "project rule", replace(GROUND, ended_at=None), wish(SHORT, "06-01 15:00", 30), ["end_unknown"]),
    ("no gear", DUTIES + "(d)", GROUND, wish(SHORT, "06-01 15:00", 30, gear_given=False), ["gear_missing"]),
    ("nought minutes", "project rule", GROUND, wish(SHORT, "06-01 15:00", 0), ["no_minutes"]),
]  # fmt: skip


@pytest.mark.parametrize(("basis", "ground", "asked", "codes"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_case(basis, ground, asked, codes):
    assert [f.code for f in ruled_out(ground, asked)] == codes, basis


@pytest.mark.parametrize("missing", list(Briefing))
@pytest.mark.parametrize("route", [SHORT, LIMITED, EMERGENCY])
def test_d19_one_item_not_told_rules_it_out(route, missing):
    """40 CFR 170.605(b)."""
    told = wish(route, "06-01 15:00", 30, briefed=frozenset(Briefing) - {missing}, **PUMP, declaration="State 26-114")
    assert [(f.code, f.source) for f in ruled_out(GROUND, told)] == [("not_briefed", DUTIES + "(b)")]


@pytest.mark.parametrize("route", [SHORT, LIMITED])
def test_d17_hand_labor_is_shut_on_every_route_but_a_declared_emergency(route):
    found = ruled_out(GROUND, wish(route, "06-01 15:00", 30, hand_labor=True, **PUMP))
    assert [f.code for f in found] == ["hand_labor"]


def test_c7_four_elapsed_hours_in_the_night_of_the_change():
    """Los Angeles, end 2026-03-08 00:30 PST: the floor is reached 05:30 PDT, not 04:30 (IANA time zone database)."""
    ground = replace(GROUND, ended_at=datetime.fromisoformat("2026-03-08T00:30-08:00"))

    def said(at: str) -> list[str]:
        when = Stay(starts_at=datetime.fromisoformat(at), minutes=30)
        return [f.code for f in ruled_out(ground, replace(wish(SHORT, "06-01 15:00", 30), stay=when))]

    assert said("2026-03-08T04:30-07:00") == ["first_4_hours"]
    assert said("2026-03-08T05:30-07:00") == []


def test_the_caps_by_route():
    assert {r: cap_minutes(r, double_notice=False) for r in Route} == {
        NO_CONTACT: None, SHORT: 60, LIMITED: 480, EMERGENCY: None, HANDLER: None,
    }  # fmt: skip
    assert cap_minutes(EMERGENCY, double_notice=True) == 240


def test_nothing_stated_is_ruled_out_on_every_route():
    """Unknown is never taken for yes."""
    for route in Route:
        blank = Wish(route=route, stay=stay("06-01 15:00", 30), listed=True, age=30)
        assert ruled_out(GROUND, blank), route


@given(
    st.lists(st.tuples(st.integers(-3000, 3000), st.integers(1, 600)), max_size=5),
    st.integers(0, 600),
    st.integers(1, 600),
)
@example([(842, 600), (842, 600)], 0, 2)  # two entries of one worker that overlap on record
def test_the_rolling_day_is_the_worst_of_all_days(used, begin, minutes):
    """Against every window, minute by minute."""
    origin = HALF_PAST_NINE
    stays = [Stay(starts_at=origin + timedelta(minutes=b), minutes=m) for b, m in used]
    mine = Stay(starts_at=origin + timedelta(minutes=begin), minutes=minutes)
    spans = [(begin, begin + minutes), *((b, b + m) for b, m in used)]
    worst = max(
        sum(max(0, min(e, w + 1440) - max(b, w)) for b, e in spans) for w in range(begin - 1440, begin + minutes + 1)
    )
    assert most_in_a_day(mine, stays) >= minutes
    assert most_in_a_day(mine, stays) == worst


def test_the_end_behind_an_interval():
    assert ended_at("48 h", local("06-03 09:30")) == HALF_PAST_NINE
    assert ended_at("0.5 h", local("06-01 10:00")) == HALF_PAST_NINE
    assert ended_at("", local("06-03 09:30")) is None
    assert ended_at("48 h", None) is None
