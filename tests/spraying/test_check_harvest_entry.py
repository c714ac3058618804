"""Pre-harvest and restricted-entry intervals. Limits of the invented library; the counting is the board's own."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from apps.safety.rules import harvest_opens
from apps.spraying.rules import Entry

from .mixes import ZONE, at, changed, facts, notes, reasons, relabelled, said

LOS_ANGELES = ZoneInfo("America/Los_Angeles")

PHI = [
    # F3 3 days, job ends 08:00 on 14 Sep
    ("to_the_minute", "2026-09-17T08:00", []),
    ("a_minute_early", "2026-09-17T07:59", ["phi"]),
    ("calendar_day_reached_but_not_72_hours", "2026-09-17T06:00", ["phi"]),
    ("long_after", "2026-10-01T08:00", []),
]


@pytest.mark.parametrize(("harvest", "refusing"), [r[1:] for r in PHI], ids=[r[0] for r in PHI])
def test_days_before_harvest(harvest, refusing):
    given = facts([("F3", 6), ("F1", 3)], start="2026-09-14T07:00", end="2026-09-14T08:00", harvest=harvest)

    assert reasons(given) == (refusing, [])


CLOCKS = [
    # F8 stands in with 14 days; both nights of 2026 in Los Angeles. G6 and G7: counting of the board, project rule.
    ("spring_elapsed_is_later", datetime(2026, 3, 1, 10), datetime(2026, 3, 15, 10, 59), ["phi"]),
    ("spring_open", datetime(2026, 3, 1, 10), datetime(2026, 3, 15, 11), []),
    ("autumn_wall_clock_is_later", datetime(2026, 10, 25, 10), datetime(2026, 11, 8, 9, 59), ["phi"]),
    ("autumn_open", datetime(2026, 10, 25, 10), datetime(2026, 11, 8, 10), []),
]


@pytest.mark.parametrize(("ended", "harvest", "refusing"), [r[1:] for r in CLOCKS], ids=[r[0] for r in CLOCKS])
def test_a_clock_change_takes_the_later_of_two_counts(ended, harvest, refusing):
    fourteen = relabelled("F1", 3, use={"phi_days": 14})
    given = changed(
        facts([]),
        lines=(fourteen,),
        zone=LOS_ANGELES,
        start_at=ended.replace(hour=9, tzinfo=LOS_ANGELES),
        end_at=ended.replace(tzinfo=LOS_ANGELES),
        harvest_at=harvest.replace(tzinfo=LOS_ANGELES),
    )

    assert [code for code in reasons(given)[0] if code == "phi"] == refusing


def test_plan_and_board_open_the_harvest_at_the_same_minute():
    """The check refuses a minute before the board's opening and not at it."""
    given = facts([("F3", 6), ("F1", 3)])
    opens_at = harvest_opens(given.end_at, 3, ZONE)
    minute_before = changed(given, harvest_at=opens_at - timedelta(minutes=1))

    assert (reasons(minute_before)[0], reasons(changed(given, harvest_at=opens_at))[0]) == (["phi"], [])


TIERS = [
    # I5 on sweet corn: up to 2.1 oz 1 day, up to 5.3 oz 7 days
    ("edge_of_the_low_tier", "2.1", "2026-08-05T08:00", []),
    ("a_trace_above", "2.11", "2026-08-05T08:00", ["phi"]),
    ("high_tier_after_7_days", "5.3", "2026-08-11T08:00", []),
    ("high_tier_a_day_early", "5.3", "2026-08-10T08:00", ["phi"]),
    ("59_grams_is_the_low_tier", None, "2026-08-05T08:00", []),  # 59 g = 2.08 oz
]


@pytest.mark.parametrize(("amount", "harvest", "refusing"), [r[1:] for r in TIERS], ids=[r[0] for r in TIERS])
def test_the_rate_chooses_the_interval(amount, harvest, refusing):
    row = ("I5", amount) if amount else ("I5", "59", "g")

    assert reasons(facts([row], crop="sweet_corn", harvest=harvest)) == (refusing, [])


def test_a_mix_waits_for_its_slowest_member():
    given = facts([("F3", 6), ("I9", 8)], harvest="2026-08-10T08:00")

    assert said(given, "phi") == [
        "I9: 7 days before harvest, so not before Tue, Aug 11, 8:00 AM EDT; "
        "harvest is planned for Mon, Aug 10, 8:00 AM EDT."
    ]


def test_unknown_is_not_zero():
    silent = relabelled("F1", 3, use={"phi_days": None})

    assert reasons(changed(facts([]), lines=(silent,))) == ([], ["phi_unknown"])


NO_HARVEST = [("F3", ["harvest_unknown"]), ("F1", [])]


@pytest.mark.parametrize(("code", "noted"), NO_HARVEST)
def test_no_harvest_planned_is_said_where_a_wait_is_due(code, noted):
    given = facts([(code, 3 if code == "F1" else 6)], harvest=None)

    assert [c for c in notes(given) if c.startswith("harvest")] == noted


def test_a_cover_crop_has_no_harvest():
    assert reasons(facts([("H1", 1)], crop="fallow_cover", harvest="2026-08-04T09:00"))[0] == ["rei_harvest"]


REI = [
    # F6 12 h, ends 22:15
    ("harvest_a_minute_early", {"harvest": "2026-09-15T10:14"}, ["rei_harvest"], []),
    ("harvest_to_the_minute", {"harvest": "2026-09-15T10:15"}, [], []),
    ("work_a_minute_early", {"entry": "2026-09-15T10:14"}, [], ["rei_entry"]),
    ("work_to_the_minute", {"entry": "2026-09-15T10:15"}, [], []),
    ("work_during_the_spray", {"entry": "2026-09-14T21:30"}, [], ["rei_entry"]),
    ("work_before_the_spray", {"entry": "2026-09-14T20:00"}, [], []),
]


@pytest.mark.parametrize(("ctx", "refusing", "asking"), [r[1:] for r in REI], ids=[r[0] for r in REI])
def test_entry_interval_runs_from_the_end_in_elapsed_hours(ctx, refusing, asking):
    """40 CFR 170.407."""
    given = facts([("F6", "18.5"), ("F1", 3)], start="2026-09-14T21:15", end="2026-09-14T22:15", **ctx)

    assert reasons(given) == (refusing, asking)


def test_the_longest_interval_of_the_tank_governs():
    given = facts([("F5", 5), ("F1", 3)], entry="2026-08-05T07:59")

    assert said(given, "rei_entry") == [
        "F5: entry is restricted for 24 h, until Wed, Aug 5, 8:00 AM EDT; "
        "work scheduled for Wed, Aug 5, 7:59 AM EDT will be held."
    ]


ACTIVITY = [
    # label-wide 12 h, picking by hand 120 h
    ("scouting_after_12_h", "scouting_on_foot", "2026-08-04T20:00", [], []),
    ("picking_after_12_h", "picking_by_hand", "2026-08-04T20:00", [], ["rei_entry"]),
    ("picking_after_5_days", "picking_by_hand", "2026-08-09T08:00", [], []),
    ("nobody_said_what", None, "2026-08-04T20:00", [], ["rei_entry"]),
]


@pytest.mark.parametrize(
    ("activity", "when", "refusing", "asking"), [r[1:] for r in ACTIVITY], ids=[r[0] for r in ACTIVITY]
)
def test_an_activity_may_have_its_own_interval(activity, when, refusing, asking):
    by_task = relabelled("F1", 3, activity_rei=[{"activity": "picking_by_hand", "hours": 120}])
    given = changed(facts([]), lines=(by_task,), entries=(Entry(at=at(when), activity=activity),))

    assert reasons(given) == (refusing, asking)


def test_a_scheduled_picking_is_a_harvest():
    picking = Entry(at=at("2026-08-05T07:00"), activity="picking_by_hand", is_harvest=True)
    given = changed(facts([("F3", 6), ("F5", 5), ("F1", 3)]), entries=(picking,))

    assert reasons(given) == (["phi", "rei_harvest"], [])


def test_an_interval_nobody_read_off_the_label_is_never_a_default():
    silent = relabelled("F1", 3, rei_hours=None)

    assert reasons(changed(facts([], entry="2026-08-04T09:00"), lines=(silent,))) == ([], ["rei_unknown"])


VALUE = [(True, ["value_late"]), (False, []), (None, [])]


@pytest.mark.parametrize(("mature", "asking"), VALUE)
def test_a_spray_on_mature_fruit_asks_whether_it_pays(mature, asking):
    assert reasons(facts([("F1", 3)], all_mature=mature)) == ([], asking)


EDGES = [
    ("picking_at_the_start", Entry(at=at("2026-08-04T07:00"), is_harvest=True), ["phi", "rei_harvest"], []),
    ("picking_before_the_start", Entry(at=at("2026-08-04T06:59"), is_harvest=True), [], []),
    ("work_at_the_start", Entry(at=at("2026-08-04T07:00")), [], ["rei_entry"]),
    ("work_before_the_start", Entry(at=at("2026-08-04T06:59")), [], []),
]


@pytest.mark.parametrize(("entry", "refusing", "asking"), [r[1:] for r in EDGES], ids=[r[0] for r in EDGES])
def test_work_counts_from_the_start_of_the_spray(entry, refusing, asking):
    given = changed(facts([("F3", 6), ("F1", 3)]), entries=(entry,))

    assert reasons(given) == (refusing, asking)


def test_the_first_of_several_pickings_counts():
    pickings = tuple(Entry(at=at(f"2026-08-{day:02}T07:00"), is_harvest=True) for day in (20, 6))

    assert reasons(changed(facts([("F3", 6), ("F1", 3)]), entries=pickings)) == (["phi"], [])
